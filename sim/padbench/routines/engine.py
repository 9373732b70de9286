"""The narrow interface behind which sweeps are made, so that a faster engine can take its place.

An engine gets a routine, a console and a fetch period, and counts over all cases. A *case* is one
held state with one fetch phase, held steady, with the result places preset to the held state.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, Protocol

from padbench.routines.fetch import Console
from padbench.routines.routine import DEFAULT_LIMIT, Routine

__all__ = ["STATES", "Counterexample", "Kind", "RoutineEngine", "SweepCounts"]

STATES = 256
"""Held states of eight buttons."""

Kind = Literal["accepted_wrong", "never_settles", "corrupt"]
"""What a counterexample shows, the worst first."""


@dataclass(frozen=True, slots=True)
class Counterexample:
    """One case of the worst kind that a sweep found.

    Of several it is the one with the smallest held state, then with the smallest phase.
    ``got`` is the byte handed on (of the first pad whose result is wrong), for ``never_settles``
    and ``corrupt`` the first wrong byte that a pass read. ``pad`` is 1 or 2.
    """

    kind: Kind
    held: int
    phase: int
    got: int
    pad: int = 1


@dataclass(frozen=True, slots=True)
class SweepCounts:
    """Counts over all cases of one fetch period.

    ``hit``: a fetch stopped a read of a port. ``corrupt``: some pass (the first eight reads of a
    port after a latch) read a byte that is not the held state. ``accepted_wrong``: what the
    routine hands on is not the held state. ``never_settles``: it had not finished after the cycle
    limit. ``kept_old``: with a corrupt pass, it handed on exactly what had stood in the result
    place before, whatever that was. ``counterexample`` is of the worst kind, ``examples`` has one
    of each kind, the worst first.
    """

    period: int
    cases: int
    hit: int
    corrupt: int
    accepted_wrong: int
    never_settles: int
    kept_old: int
    counterexample: Counterexample | None
    examples: tuple[Counterexample, ...] = ()


class RoutineEngine(Protocol):
    """Anything that can sweep a routine."""

    def __hash__(self) -> int:
        """What is made with an engine is kept by it."""
        ...

    def sweep(
        self,
        routine: Routine,
        console: Console,
        period: int,
        *,
        limit: int = DEFAULT_LIMIT,
        step: Callable[[], None] = lambda: None,
    ) -> SweepCounts:
        """Count over 256 held states and ``period`` phases.

        ``step`` is called after each held state. Raises `RoutineError` for a routine that cannot
        be run, ``ValueError`` for a period that no fetch has.
        """
        ...
