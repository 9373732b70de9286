"""Every read of a held state: undisturbed, or stopped at any bit, with either tie and any policy.

    counts = PadCounts(("push-pull",), pad.policy, pad.serial)
    for policy, part in pad_parts(pad, clocks=8):
        counts.add(policy, part, count_part(pad, policy, part, clocks=8))

A *case* is a held state, the bit at which its read is stopped (or none), so many extra clocks
there, and the level of the serial input; before it comes an undisturbed read of the same state.
Contacts that change within a read are left to scenarios, which have times: a register that has
loaded no longer looks at them.

What must come out is worked out without the register (`padbench.scenarios.expect`). A level that
nobody knows (an open contact without pull-up, a stage before its first load) counts as the wrong
one.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Literal

import numpy as np
import numpy.typing as npt

from padbench.core.buttons import OPPOSITES, byte_of
from padbench.core.pad import PadModel, Policy
from padbench.scenarios.expect import expected_bits, held_state

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

STATES = 256
_EXTRAS = (1, 2, 3)
"""Extra clocks of a stopped read: joined one, or two or three where each counts (from memory)."""
_POLICIES: tuple[Policy, ...] = ("both", "neither", "newer", "older")
_PAIRS = [byte_of(pair) for pair in OPPOSITES]
_UNKNOWN = 2

Levels = npt.NDArray[np.int8]
"""By held state, then stage or bit: 1 is pressed, 2 is known to nobody."""


@dataclass(frozen=True, slots=True, order=True)
class PadPart:
    """Cases that differ in the held state alone.

    ``stopped_bit`` 0 is an undisturbed read, else ``extra`` clocks come before that bit's sample;
    ``tie`` is the level of the serial input.
    """

    tie: int
    stopped_bit: int = 0
    extra: int = 0


@dataclass(frozen=True, slots=True)
class PadCase:
    """One case: contacts ``held``."""

    held: int
    part: PadPart


@dataclass(frozen=True, slots=True)
class PadExample(PadCase):
    """A case and what came of it: ``expected`` and ``got`` bytes."""

    expected: int
    got: int


@dataclass
class PadTally:
    """Counts of cases as they grow; ``numbers`` are the cases of each of `PadKind`.

    ``wrong`` reads are not what must come out; ``ghost`` and ``missed`` say for each button in how
    many of them it was seen and should not have been, or the other way round. ``spoilt`` reads come
    out as a stopped read must and yet are not what was held. ``shown`` and ``lost`` count over all
    reads, for each button, where it was seen and not held, and held and not seen, whatever the
    reason. ``first`` is the first case of each kind.
    """

    cases: int = 0
    wrong: int = 0
    spoilt: int = 0
    numbers: dict[PadKind, int] = field(default_factory=lambda: dict.fromkeys(KINDS, 0))
    ghost: list[int] = field(default_factory=lambda: [0] * 8)
    missed: list[int] = field(default_factory=lambda: [0] * 8)
    shown: list[int] = field(default_factory=lambda: [0] * 8)
    lost: list[int] = field(default_factory=lambda: [0] * 8)
    first: dict[PadKind, PadExample] = field(default_factory=dict)

    @property
    def first_wrong(self) -> PadExample | None:
        """Of the wrong cases the one of the first part, then of the smallest state."""
        return min(
            (self.first[kind] for kind in FAULTS if kind in self.first), key=_place, default=None
        )

    def add(self, other: "PadTally") -> None:
        """Take in other cases, in any order; of two examples that of the first part is kept."""
        self.cases += other.cases
        self.wrong += other.wrong
        self.spoilt += other.spoilt
        for kind, number in other.numbers.items():
            self.numbers[kind] += number
        for name in ("ghost", "missed", "shown", "lost"):
            pairs = zip(getattr(self, name), getattr(other, name), strict=True)
            setattr(self, name, [ours + theirs for ours, theirs in pairs])
        for kind, example in other.first.items():
            self.first[kind] = min(self.first.get(kind, example), example, key=_place)


def _place(example: PadExample) -> tuple[PadPart, int]:
    return example.part, example.held


Choice = tuple[Policy, int]
"""Policy, and level of the serial input."""


@dataclass
class PadCounts:
    """Counts of one pad on the ``ports`` on which it is the same logic, by policy and part."""

    ports: tuple[str, ...]
    policy: Policy
    serial: int | None
    tallies: dict[tuple[Policy, PadPart], PadTally] = field(default_factory=dict)

    def add(self, policy: Policy, part: PadPart, tally: PadTally) -> None:
        """Take in the cases of a part."""
        self.tallies[policy, part] = tally

    def total(self, policy: Policy, tie: int | None = None, *, stopped: bool = False) -> PadTally:
        """All cases of a policy, or those with a tie, or the stopped ones."""
        whole = PadTally()
        for (one, part), tally in self.tallies.items():
            if one == policy and tie in (None, part.tie) and part.stopped_bit >= stopped:
                whole.add(tally)
        return whole

    @property
    def whole(self) -> PadTally:
        """All cases with the sheet's policy."""
        return self.total(self.policy)

    @property
    def choices(self) -> list[Choice]:
        """Every policy and tie of which cases were counted."""
        return list(dict.fromkeys((policy, part.tie) for policy, part in self.tallies))

    @property
    def safest(self) -> list[Choice]:
        """The policies and ties with the fewest wrong reads, of these with the fewest reads that
        show opposite directions, then a press that was not there, then miss a press; several if
        they are equal, none if no read is ever right.
        """
        kinds: tuple[PadKind, ...] = ("opposites", "spoilt_not_pressed", "spoilt_not_seen")
        harm = {}
        for choice in self.choices:
            tally = self.total(*choice)
            if tally.wrong < tally.cases:
                harm[choice] = tally.wrong, *(tally.numbers[kind] for kind in kinds)
        return [choice for choice, bad in harm.items() if bad == min(harm.values())]


def pad_parts(pad: PadModel, clocks: int) -> Iterator[tuple[Policy, PadPart]]:
    """Every part there is; the pad's own policy first, since that is the verdict."""
    stops = [(0, 0)] + [(bit, extra) for bit in range(1, min(8, clocks) + 1) for extra in _EXTRAS]
    for policy in sorted(_POLICIES, key=lambda name: name != pad.policy):
        for tie in (0, 1):
            for stop in stops:
                yield policy, PadPart(tie, *stop)


def count_part(pad: PadModel, policy: Policy, part: PadPart, clocks: int = 8) -> PadTally:
    """Read every held state and judge it; ``clocks`` is the number of bits that the poll reads."""
    held = np.array(_passed_on(policy, pad.stuck))
    # Extra clocks that the line does not bring move nothing.
    extra = part.extra if _arrives(pad) else 0
    wanted = np.array(
        [
            expected_bits(
                state, clocks=clocks, stages=pad.stages, serial=part.tie,
                stopped_bit=part.stopped_bit, extra_clocks=extra,
            )
            for state in held.tolist()
        ]
    )  # fmt: skip
    bits = _read(pad, held, part, clocks)
    seen = np.where(bits == _UNKNOWN, ~wanted, bits == 1)
    must, got = _bytes(wanted), _bytes(seen)
    was = held & 0xFF00 >> min(8, clocks) & 0xFF
    wrong = (seen != wanted).any(axis=1)
    spoilt = ~wrong & (part.stopped_bit > 0)
    met: dict[PadKind, npt.NDArray[np.bool_]] = {
        "seen_not_pressed": got & ~must != 0,
        "pressed_not_seen": must & ~got != 0,
        "past_the_end": (seen[:, 8:] != wanted[:, 8:]).any(axis=1),
        "spoilt_not_pressed": spoilt & (got & ~was != 0),
        "spoilt_not_seen": spoilt & (was & ~got != 0),
        "opposites": np.any([got & pair == pair for pair in _PAIRS], axis=0),
    }
    firsts = {kind: int(np.argmax(where)) for kind, where in met.items() if where.any()}
    masks = (got & ~must, must & ~got, got & ~was, was & ~got)
    ghost, missed, shown, lost = map(_by_button, masks)
    first = {
        kind: PadExample(state, part, int(must[state]), int(got[state]))
        for kind, state in firsts.items()
    }
    numbers = {kind: int(where.sum()) for kind, where in met.items()}
    spoilt_reads = int((spoilt & (got != was)).sum())
    return PadTally(
        STATES, int(wrong.sum()), spoilt_reads, numbers, ghost, missed, shown, lost, first
    )


@cache
def _passed_on(policy: Policy, stuck: int) -> list[int]:
    """What a pad with these stuck contacts passes on of each state, all closed at once."""
    moves = [((0, stuck), (1, held | stuck)) for held in range(STATES)]
    return [held_state(one, 1, policy) for one in moves]


def _bytes(bits: npt.NDArray[np.bool_]) -> npt.NDArray[np.int_]:
    first = bits[:, :8]
    return np.asarray(first @ (0x80 >> np.arange(first.shape[1])))


def _by_button(bytes_: npt.NDArray[np.int_]) -> list[int]:
    return [int(np.count_nonzero(bytes_ & 0x80 >> place)) for place in range(8)]


def _arrives(pad: PadModel) -> bool:
    return None not in (pad.clock_line.rise, pad.clock_line.fall)


def _read(pad: PadModel, held: npt.NDArray[np.int_], part: PadPart, clocks: int) -> Levels:
    """What is sampled of a register at the far end of lines that may not bring every edge.

    Stage by stage the truth table of the data sheet: while the load is high all stages follow the
    inputs (a synchronous part: at a rising clock edge), else each rising clock edge shifts by one
    and the serial input enters stage 1 (CD4021B data sheet, SCHS024). A part that loads while the
    latch is low is ``load_inverted``.
    """
    inputs = np.zeros((len(held), pad.stages), np.int8)
    for button, stage in pad.stage_of:
        open_ = _UNKNOWN if pad.floating else 0
        inputs[:, stage - 1] |= np.where(held & button, 1, 0).astype(np.int8)
        inputs[:, stage - 1][inputs[:, stage - 1] != 1] = open_
    serial = np.full((len(held), 1), part.tie == 0, np.int8)
    stages, latched = np.full_like(inputs, _UNKNOWN), False
    samples: list[Levels] = []
    for event in [*_events(clocks, PadPart(0)), *_events(clocks, part)]:
        loads = latched is not pad.load_inverted
        if event == "sample":
            samples.append(stages[:, -1])
        elif event == "clock":
            if _arrives(pad) and not loads:
                stages = np.hstack([serial, stages[:, :-1]])
            elif _arrives(pad) and pad.load == "synchronous":
                stages = inputs
        elif pad.latch_line.rise is not None:
            latched = event == "rise" or pad.latch_line.fall is None
        if (latched is not pad.load_inverted) and pad.load == "transparent":
            stages = inputs
    return np.column_stack(samples[clocks:])


def _events(clocks: int, part: PadPart) -> Sequence[str]:
    events = ["rise", "fall"]
    for bit in range(1, clocks + 1):
        events += ["clock"] * (part.extra if bit == part.stopped_bit else 0)
        events += ["sample", "clock"]
    return events
