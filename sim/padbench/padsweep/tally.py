"""What a sweep of a pad counts, and the first case of each kind that it met."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from padbench.core.pad import Policy

Tie = Literal["ground", "supply", "open"]

TIES: dict[int | None, Tie] = {0: "ground", 1: "supply", None: "open"}
"""Names of the levels of the serial input."""

PadKind = Literal[
    "seen_not_pressed",
    "pressed_not_seen",
    "past_the_end",
    "spoilt_not_pressed",
    "spoilt_not_seen",
    "opposites",
]

FAULTS: dict[PadKind, str] = {
    "seen_not_pressed": "a wrong read shows a button that is not pressed",
    "pressed_not_seen": "a wrong read misses a button that is pressed",
    "past_the_end": "a wrong bit past the eighth",
}
"""Reads that do not come out as they must: the pad's fault."""

KINDS: dict[PadKind, str] = {
    **FAULTS,
    "spoilt_not_pressed": "a stopped read shows a button that is not held",
    "spoilt_not_seen": "a stopped read misses a button that is held",
    "opposites": "a read shows opposite directions",
}
"""All that is counted with an example. The last three come out as they must, and yet no program
should act on them."""


_COUNTS = ("cases", "wrong", "spoilt", "spoilt_ghost", "spoilt_missed", "opposites")
_BY_BUTTON = ("ghost", "missed", "shown", "lost")


@dataclass(frozen=True, slots=True, order=True)
class PadPart:
    """A block of cases: the change comes before event ``moment`` of the read.

    ``stopped_bit`` 0 is an undisturbed read, else ``extra`` clocks come before that bit's sample;
    ``tie`` is the level of the serial input. Events: see `padbench.padsweep.counting.moments`.
    """

    tie: int
    stopped_bit: int
    extra: int
    moment: int


@dataclass(frozen=True, slots=True)
class PadCase:
    """One case: contacts ``held``, then ``then`` closed."""

    held: int
    then: int
    part: PadPart


@dataclass(frozen=True, slots=True)
class PadExample(PadCase):
    """A case and what came of it: ``expected`` and ``got`` bytes."""

    expected: int
    got: int


@dataclass
class PadTally:
    """Counts of cases as they grow.

    ``wrong`` reads are not what must come out; ``ghost`` and ``missed`` say for each button in how
    many of them it was seen and should not have been, or the other way round. ``spoilt`` reads come
    out as a stopped read must and yet are not what was held; ``spoilt_ghost`` are those of them
    that show a button which was not held, ``spoilt_missed`` those that miss one. ``opposites``
    reads show both sides of a pair of directions. ``shown`` and ``lost`` count over all reads, for
    each button, where it was seen and not held, and held and not seen, whatever the reason.
    ``first`` is the first case of each kind.
    """

    cases: int = 0
    wrong: int = 0
    spoilt: int = 0
    spoilt_ghost: int = 0
    spoilt_missed: int = 0
    opposites: int = 0
    ghost: list[int] = field(default_factory=lambda: [0] * 8)
    missed: list[int] = field(default_factory=lambda: [0] * 8)
    shown: list[int] = field(default_factory=lambda: [0] * 8)
    lost: list[int] = field(default_factory=lambda: [0] * 8)
    first: dict[PadKind, PadExample] = field(default_factory=dict)

    @property
    def first_wrong(self) -> PadExample | None:
        """Of the wrong cases the one of the first part, then of the smallest states."""
        examples = [self.first[kind] for kind in FAULTS if kind in self.first]
        return min(examples, key=_place, default=None)

    def add(self, other: "PadTally", parts: Sequence[PadPart] = ()) -> None:
        """Take in other cases, in any order; of two examples that of the first part is kept.

        With ``parts`` each of these comes out like the other.
        """
        times = len(parts) or 1
        for name in _COUNTS:
            setattr(self, name, getattr(self, name) + times * getattr(other, name))
        for name in _BY_BUTTON:
            pairs = zip(getattr(self, name), getattr(other, name), strict=True)
            setattr(self, name, [ours + times * theirs for ours, theirs in pairs])
        for kind, example in other.first.items():
            example = replace(example, part=min(parts, default=example.part))  # noqa: PLW2901
            known = self.first.get(kind)
            if known is None or _place(example) < _place(known):
                self.first[kind] = example


def _place(example: PadExample) -> tuple[PadPart, int, int]:
    return example.part, example.held, example.then


Choice = tuple[Policy, int]
"""Policy, and level of the serial input."""


@dataclass
class PadCounts:
    """Counts of one pad on the ``ports`` on which it is the same logic.

    ``whole`` are all cases with the sheet's policy; ``reads`` the same by level of the serial
    input, stopped bit (0 for none) and extra clocks; ``choices`` all cases of every policy and tie,
    ``stopped`` those of them with a stopped read.
    """

    ports: tuple[str, ...]
    policy: Policy
    serial: int | None
    whole: PadTally = field(default_factory=PadTally)
    reads: dict[tuple[int, int, int], PadTally] = field(default_factory=dict)
    choices: dict[Choice, PadTally] = field(default_factory=dict)
    stopped: dict[Choice, PadTally] = field(default_factory=dict)

    def add(self, policy: Policy, part: PadPart, tally: PadTally) -> None:
        """Take in blocks of cases that are like ``part`` but for the moment."""
        choice = policy, part.tie
        self.choices.setdefault(choice, PadTally()).add(tally)
        if part.stopped_bit:
            self.stopped.setdefault(choice, PadTally()).add(tally)
        if policy == self.policy:
            self.whole.add(tally)
            read = part.tie, part.stopped_bit, part.extra
            self.reads.setdefault(read, PadTally()).add(tally)

    @property
    def safest(self) -> list[Choice]:
        """The policies and ties with the fewest wrong reads, of these with the fewest reads that
        show opposite directions, then a press that was not there, then miss a press; several if
        they are equal, none if no read is ever right.
        """

        def harm(choice: Choice) -> tuple[int, ...]:
            tally = self.choices[choice]
            return tally.wrong, tally.opposites, tally.spoilt_ghost, tally.spoilt_missed

        usable = [choice for choice, tally in self.choices.items() if tally.wrong < tally.cases]
        least = min(map(harm, usable), default=())
        return [choice for choice in usable if harm(choice) == least]
