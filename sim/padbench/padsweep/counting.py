"""Every read of a held state: undisturbed, or stopped at any bit, with either tie and any policy.

    counts = PadCounts(["push-pull"], pad, clocks=8)
    for policy, part in pad_parts(pad, clocks=8):
        counts.reads[policy, part] = read_part(pad, policy, part, clocks=8)
    counts.whole.wrong, counts.safest

A *case* is a held state, the bit at which its read is stopped (or none), so many extra clocks
there, and the level of the serial input; before it comes an undisturbed read of the same state.
Contacts that change within a read are left to scenarios, which have times: a register that has
loaded no longer looks at them.

What must come out is worked out without the register (`padbench.scenarios.expect`). A level that
nobody knows (an open contact without pull-up, a stage before its first load) counts as the wrong
one. A pad's defect reaches what is sampled and never what must come out; of latch and clock it may
be that one stays at a level, not that one is seen in place of the other, as a clock's fall is no
event.
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

Bytes = npt.NDArray[np.int_]
Flags = npt.NDArray[np.bool_]
_NO_BYTES, _NO_FLAGS = np.zeros(0, np.int_), np.zeros(0, np.bool_)
Levels = npt.NDArray[np.int_]
"""By held state, then stage or bit: 1 is pressed, 2 is known to nobody."""
_AT = 1, 0, _UNKNOWN
"""The same of a wire that is low, high, or at no level."""


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


@dataclass(frozen=True)
class PadReads:
    """What came of a part: bytes by held state, as passed on, as they must be and as read.

    ``wrong``: some bit is not as it must be, ``past``: one past the eighth.
    """

    part: PadPart
    held: Bytes
    must: Bytes
    got: Bytes
    wrong: Flags
    past: Flags


@dataclass(frozen=True)
class PadTally:
    """Counts of cases; ``numbers`` are those of each of `PadKind`.

    ``wrong`` reads are not what must come out; ``ghost`` and ``missed`` say for each button in how
    many of them it was seen and should not have been, or the other way round. ``spoilt`` reads come
    out as a stopped read must and yet are not what was held. ``shown`` and ``lost`` count over all
    reads, for each button, where it was seen and not held, and held and not seen, whatever the
    reason. ``first`` is the first case of each kind, ``first_wrong`` of all wrong ones.
    """

    cases: int
    wrong: int
    spoilt: int
    numbers: dict[PadKind, int]
    ghost: list[int]
    missed: list[int]
    shown: list[int]
    lost: list[int]
    first: dict[PadKind, PadExample]
    first_wrong: PadExample | None

    @classmethod
    def of(cls, reads: Sequence[PadReads]) -> "PadTally":
        """Over some parts, in their order."""
        held, must, got = (
            np.concatenate([_NO_BYTES, *(getattr(one, name) for one in reads)])
            for name in ("held", "must", "got")
        )
        wrong, past = (
            np.concatenate([_NO_FLAGS, *(getattr(one, name) for one in reads)])
            for name in ("wrong", "past")
        )
        stopped = np.repeat([one.part.stopped_bit > 0 for one in reads], STATES).astype(bool)
        ghost, missed, shown, lost = got & ~must, must & ~got, got & ~held, held & ~got
        spoilt = stopped & ~wrong
        met: dict[PadKind, Flags] = {
            "seen_not_pressed": ghost != 0,
            "pressed_not_seen": missed != 0,
            "past_the_end": past,
            "spoilt_not_pressed": spoilt & (shown != 0),
            "spoilt_not_seen": spoilt & (lost != 0),
            "opposites": np.any([got & pair == pair for pair in _PAIRS], axis=0),
        }

        def first(where: Flags) -> PadExample:
            at = int(np.argmax(where))
            part = reads[at // STATES].part
            return PadExample(at % STATES, part, int(must[at]), int(got[at]))

        return cls(
            len(held),
            int(wrong.sum()),
            int((spoilt & (got != held)).sum()),
            {kind: int(where.sum()) for kind, where in met.items()},
            _by_button(ghost),
            _by_button(missed),
            _by_button(shown),
            _by_button(lost),
            {kind: first(where) for kind, where in met.items() if where.any()},
            first(wrong) if wrong.any() else None,
        )


Choice = tuple[Policy, int]
"""Policy, and level of the serial input."""


@dataclass
class PadCounts:
    """One pad on the ``ports`` on which it is the same logic, and its reads by policy and part.

    ``clocks`` is the number of bits that the poll reads.
    """

    ports: list[str]
    pad: PadModel
    clocks: int
    reads: dict[tuple[Policy, PadPart], PadReads] = field(default_factory=dict)

    @property
    def policy(self) -> Policy:
        """That of the sheet."""
        return self.pad.policy

    def total(self, policy: Policy, tie: int | None = None, *, stopped: bool = False) -> PadTally:
        """All cases of a policy, or those with a tie, or the stopped ones."""
        return PadTally.of(
            [
                one
                for (its, part), one in self.reads.items()
                if its == policy and tie in (None, part.tie) and part.stopped_bit >= stopped
            ]
        )

    @property
    def whole(self) -> PadTally:
        """All cases with the sheet's policy."""
        return self.total(self.policy)

    @property
    def choices(self) -> list[Choice]:
        """Every policy and tie of which cases were counted."""
        return list(dict.fromkeys((policy, part.tie) for policy, part in self.reads))

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


def read_part(pad: PadModel, policy: Policy, part: PadPart, clocks: int = 8) -> PadReads:
    """Read every held state; ``clocks`` is the number of bits that the poll reads."""
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
    wrong = seen != wanted
    was = held & 0xFF00 >> min(8, clocks) & 0xFF
    return PadReads(
        part, was, _bytes(wanted), _bytes(seen), wrong.any(axis=1), wrong[:, 8:].any(axis=1)
    )


@cache
def _passed_on(policy: Policy, stuck: int) -> list[int]:
    """What a pad with these stuck contacts passes on of each state, all closed at once."""
    moves = [((0, stuck), (1, held | stuck)) for held in range(STATES)]
    return [held_state(one, 1, policy) for one in moves]


def _bytes(bits: Flags) -> Bytes:
    first = bits[:, :8]
    return np.asarray(first @ (0x80 >> np.arange(first.shape[1])))


def _by_button(bytes_: Bytes) -> list[int]:
    return [int(np.count_nonzero(bytes_ & 0x80 >> place)) for place in range(8)]


def _arrives(pad: PadModel) -> bool:
    return None not in (pad.clock_line.rise, pad.clock_line.fall)


def _read(pad: PadModel, held: Bytes, part: PadPart, clocks: int) -> Levels:
    """What is sampled of a register at the far end of lines that may not bring every edge.

    Stage by stage the truth table of the data sheet: while the load is high all stages follow the
    inputs (a synchronous part: at a rising clock edge), else each rising clock edge shifts by one
    and the serial input enters stage 1 (CD4021B data sheet, SCHS024). A part that loads while the
    latch is low is ``load_inverted``.
    """
    tie = part.tie if pad.defect.serial is None else pad.defect.serial
    pad = pad.as_broken()
    broken = pad.defect
    pulled = np.zeros((len(held), pad.stages), bool)
    for button, stage in pad.stage_of:
        pulled[:, stage - 1] |= held & button != 0
    loose, weak = (_flags(mask, pad.stages) for mask in pad.no_level)
    inputs = np.where(pulled, np.where(weak, _UNKNOWN, 1), np.where(loose, _UNKNOWN, 0))
    inputs = _stuck(inputs, broken.inputs)
    serial = np.full((len(held), 1), _AT[tie])
    stages, latched = _stuck(np.full_like(inputs, _UNKNOWN), broken.stages), broken.latch == "high"
    samples: list[Levels] = []
    count = 0
    for event in [*_events(clocks, PadPart(0)), *_events(clocks, part)]:
        loads = latched is not pad.load_inverted
        if event == "sample":
            level = stages[:, -1] if broken.data is None else np.full(len(held), _AT[broken.data])
            samples.append(np.where(held & pad.dragging, _AT[0], level))
        elif event == "clock":
            count += 1
            times = 1 + (count == broken.extra) - (count == broken.lost)
            for _ in range(times if _arrives(pad) and broken.clock == "own" else 0):
                if not loads:
                    moved = _stuck(np.hstack([serial, stages[:, :-1]]), broken.links[:2])
                    moved = np.where(_flags(broken.links[2], pad.stages), _UNKNOWN, moved)
                    stages = _stuck(moved, broken.stages)
                elif pad.load == "synchronous":
                    stages = _stuck(inputs, broken.stages)
        else:
            count = 0
            if pad.latch_line.rise is not None and broken.latch == "own":
                latched = event == "rise" or pad.latch_line.fall is None
        if (latched is not pad.load_inverted) and pad.load == "transparent":
            stages = _stuck(inputs, broken.stages)
    return np.column_stack(samples[clocks:])


def _flags(mask: int, stages: int) -> Flags:
    return (mask >> np.arange(stages) & 1).astype(bool)


def _stuck(levels: Levels, fixed: tuple[int, int]) -> Levels:
    """The same with those of the mask at their levels on the wire, by stage."""
    mask, wire = (_flags(one, levels.shape[1]) for one in fixed)
    return np.where(mask, np.where(wire, _AT[1], _AT[0]), levels)


def _events(clocks: int, part: PadPart) -> Sequence[str]:
    events = ["rise", "fall"]
    for bit in range(1, clocks + 1):
        events += ["clock"] * (part.extra if bit == part.stopped_bit else 0)
        events += ["sample", "clock"]
    return events
