"""What a scenario produces: something to do, and what must come out of it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

from padbench.core.pad import Beside, PadModel
from padbench.core.stimulus import PollTiming, Stimulus

Bits = tuple[bool | None, ...]
"""Bits in the order of the wire; True is pressed, None is "either will do"."""


class PollingRoutine(Protocol):
    """A read routine that makes the polls; `padbench.routines.poll` has the one there is."""

    @property
    def passes(self) -> int:
        """Reads in a poll."""

    @property
    def latch(self) -> tuple[int, int]:
        """Rise and fall of the first latch, in picoseconds since the poll began."""

    @property
    def longest(self) -> int:
        """Picoseconds of the longest poll."""

    def begin(self) -> Any:
        """A session, which plays poll after poll."""

    def fetch_stopping(self, held: int, number: int, bit: int) -> tuple[int, int] | None:
        """Period and phase of a sample fetch that first stops that bit of that pass."""

    def cases(self) -> Sequence[Any]:
        """The worst cases of its sweep."""


@dataclass(frozen=True, slots=True)
class Setting:
    """The design a scenario is made for: the pad at one corner, and the console's poll.

    ``period`` (from one poll to the next), ``bounce`` (longest time a contact bounces) in
    picoseconds; ``passes`` reads make one poll. A contact that moves counts ``settles`` later (of a
    pad that debounces), and no poll comes sooner unless a scenario wants it. With a ``routine``
    that makes the polls, ``timing`` has its shortest times; they are for reads that no routine
    makes.
    """

    pad: PadModel
    timing: PollTiming
    period: int
    bounce: int
    passes: int = 1
    settles: int = 0
    routine: PollingRoutine | None = None

    @property
    def typed(self) -> "Setting":
        """The same with reads at the given times, one by one where a routine makes the polls."""
        return self if self.routine is None else replace(self, routine=None, passes=1)


@dataclass(frozen=True, slots=True)
class Expected:
    """One read as it must come out: its bits, its number of clock pulses, what was held.

    ``held`` are the contacts that were closed when the load ended, ``passed_on`` those that the
    pad's policy for opposite directions hands on; None: the same.
    """

    bits: Bits
    clocks: int
    held: int
    passed_on: int | None = None

    @property
    def byte(self) -> int:
        """The expected byte; where either will do, what the pad hands on. Unread bits are 0."""
        given = self.held if self.passed_on is None else self.passed_on
        return sum(
            128 >> place
            for place, bit in enumerate(self.bits[:8])
            if (given & 128 >> place if bit is None else bit)
        )


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a routine handed on after the poll at ``at`` (picoseconds), and what it should have.

    None: it has not come back.
    """

    at: int
    got: int | None
    want: int | None


@dataclass(frozen=True)
class Script:
    """One scenario made concrete for one setting.

    Reads come in groups of ``passes``; with more than one, ``accepted`` holds for each group the
    states, as patterns of eight bits, that the console may act on after it. ``breaks`` names
    timing rules that the script breaks on purpose and must be found, ``tolerates`` those that it
    may break.

    A routine's polls depend on what they read: this script is for the bits that it was made with.
    ``replay`` makes the one for the bits that the wire really had, in the order of
    ``stimulus.driven.samples``; ``outcomes`` has what the routine hands on after each poll.
    ``first`` and ``beside`` as in `PadModel`.
    """

    stimulus: Stimulus
    expected: tuple[Expected, ...]
    passes: int = 1
    accepted: tuple[tuple[Bits, ...], ...] = ()
    breaks: frozenset[str] = frozenset()
    tolerates: frozenset[str] = frozenset()
    outcomes: tuple[Outcome, ...] = ()
    replay: "Callable[[Sequence[bool | None]], Script] | None" = None
    first: int = 0
    beside: tuple[Beside, ...] = ()


@dataclass(frozen=True, slots=True)
class Scenario:
    """A name, a sentence for people, and the function that makes the script."""

    name: str
    says: str
    build: Callable[[Setting], Script]
