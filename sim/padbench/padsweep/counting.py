"""Every case of a pad: all states and transitions, moments, stopped bits, extra clocks, ties.

    for parts in pad_parts(clocks=8): tally.add(count_parts(pad, parts))

A *case* is: these contacts are closed, at one moment of the read exactly those, and the read is
stopped at one of its bits, or at none, by so many extra clocks, with the serial input at one level.
Before it comes an undisturbed read of the first state. All 65 536 pairs of states are one block.

A register moves bits and never looks at them, so that a block is one run: what stands in a stage is
not a level but the wires that pull it low (`Pulled`), the eight buttons passed on before the change
and the eight after it. Only what the policy passes on, and the counts, are worked out case by case,
64 in a word.

What must come out is worked out without the register: the state at the end of the latch, moved up
from the stopped bit on, then stages without a button, then the serial input's level (common
practice; as in `padbench.scenarios.expect`). Every bit of every case is compared with it.

A level that nobody knows (an open contact without pull-up, a stage before its first load) counts as
the wrong one. A pad's defect reaches what is sampled and never what must come out; of latch and
clock it may be that one stays at a level, not that one is seen in place of the other, as a clock's
fall is no event.
"""

from collections.abc import Sequence
from functools import cache, lru_cache
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from padbench.core.buttons import BUTTONS, OPPOSITES
from padbench.core.pad import PadModel
from padbench.padsweep.tally import PadExample, PadKind, PadPart, PadTally

Words: TypeAlias = npt.NDArray[np.uint64]
"""One wire in many cases, a bit each; 1 is pressed."""

Pulled: TypeAlias = frozenset[int]
"""What pulls a wire low, any of it: buttons 0 to 7 before the change, 8 to 15 after, or these."""

_ALWAYS, _PERHAPS = 16, 17
_OPEN: Pulled = frozenset()
_AT: Sequence[Pulled] = (frozenset({_ALWAYS}), _OPEN, frozenset({_PERHAPS}))
"""What pulls a wire that is low, high or at no level whatever is done."""

PAIRS = 1 << 16
"""Cases in a block: 256 states before and 256 after the change."""
_WORDS = PAIRS // 64
_EXTRAS = (1, 2, 3)
"""Extra clocks of a stopped read: joined one, or two or three where each counts (from memory)."""
_SIDES = [tuple(BUTTONS.index(name) for name in pair) for pair in OPPOSITES]


def moments(clocks: int, stopped_bit: int = 0, extra: int = 0) -> int:
    """How many places there are for a change in one read, before, between and after its events.

    The events: the latch rises (0), falls (1); then for each bit its extra clocks, its sample and
    its rising clock edge.
    """
    return 3 + 2 * clocks + (extra if stopped_bit else 0)


def pad_parts(clocks: int, ties: Sequence[int] = (0, 1)) -> list[tuple[PadPart, ...]]:
    """Every block there is, those together that differ in their moment alone."""
    stops = [(0, 0)] + [(bit, extra) for bit in range(1, min(8, clocks) + 1) for extra in _EXTRAS]
    return [
        tuple(PadPart(tie, bit, extra, at) for at in range(moments(clocks, bit, extra)))
        for tie in ties
        for bit, extra in stops
    ]


class ContactLanes:
    """Eight contacts and the policy for opposite directions, as `padbench.model.contacts` has them.

    ``move`` closes exactly these contacts (eight wires in serial order) besides the stuck ones;
    ``effective`` is what is passed on.
    """

    def __init__(self, pad: PadModel, words: int) -> None:
        self.policy = pad.policy
        nothing = np.zeros(words, np.uint64)
        self.stuck = [~nothing if pad.stuck >> (7 - place) & 1 else nothing for place in range(8)]
        self.closed = [nothing] * 8
        # Of each pair: whether its first side went down first, and whether both did at once.
        self._first, self._tied = [nothing] * len(_SIDES), [nothing] * len(_SIDES)
        self.move(self.closed)  # stuck contacts were there first

    def move(self, closed: Sequence[Words]) -> None:
        """All contacts of all cases at one moment."""
        before, now = self.closed, [a | b for a, b in zip(closed, self.stuck, strict=True)]
        for place, (one, other) in enumerate(_SIDES):
            fresh_one, fresh_other = now[one] & ~before[one], now[other] & ~before[other]
            stayed = now[one] & now[other] & ~fresh_one & ~fresh_other
            self._tied[place] = (fresh_one & fresh_other) | (self._tied[place] & stayed)
            self._first[place] = (fresh_other & ~fresh_one) | (self._first[place] & stayed)
        self.closed = now

    def effective(self) -> list[Words]:
        """The buttons that the policy passes on, eight wires in serial order."""
        passed = list(self.closed)
        if self.policy == "both":
            return passed
        for place, (one, other) in enumerate(_SIDES):
            both = passed[one] & passed[other]
            first, clear = self._first[place], ~self._tied[place]
            if self.policy == "neither":
                clear = np.zeros_like(both)
            one_wins = first if self.policy == "older" else ~first
            passed[one] = passed[one] & (~both | (one_wins & clear))
            passed[other] = passed[other] & (~both | (~one_wins & clear))
        return passed


@lru_cache(maxsize=8)
def _wires(pad: PadModel) -> tuple[Words, ...]:
    """The wires of `Pulled` in all pairs of states: case = before * 256 + after."""
    case = np.arange(PAIRS, dtype=np.uint32)
    states = [
        np.packbits((case >> bit & 1).astype(np.uint8), bitorder="little").view(np.uint64)
        for bit in range(15, -1, -1)
    ]
    contacts = ContactLanes(pad, _WORDS)
    contacts.move(states[:8])
    held = contacts.effective()
    contacts.move(states[8:])
    return *held, *contacts.effective(), np.full(_WORDS, ~np.uint64(0))


@cache
def _events(clocks: int, stopped_bit: int, extra: int) -> tuple[str, ...]:
    events = ["rise", "fall"]
    for bit in range(1, clocks + 1):
        events += ["clock"] * (extra if bit == stopped_bit else 0)
        events += ["sample", "clock"]
    return tuple(events)


class _Register:
    """The register at the far end of lines that may not bring every edge.

    Stage by stage the truth table of the data sheet: while the load is high all stages follow the
    inputs (a synchronous part: at a rising clock edge), else each rising clock edge shifts by one
    and the serial input enters stage 1 (CD4021B data sheet, SCHS024). A part that loads while the
    latch is low is ``load_inverted``.
    """

    def __init__(self, pad: PadModel, tie: int) -> None:
        self.pad, self.broken = pad.as_broken(), pad.defect
        self.serial = _AT[tie if self.broken.serial is None else self.broken.serial]
        self.stages = self._held([_AT[2]] * pad.stages)
        self.latched = self.broken.latch == "high"
        self.count = 0
        self.inputs = [_OPEN] * pad.stages
        self._follow()

    def inputs_are(self, first: int) -> None:
        """The buttons from ``first`` of `Pulled` on stand at the inputs."""
        self.inputs = [_OPEN] * self.pad.stages
        loose, unsure = self.pad.no_level
        mask, levels = self.broken.inputs
        for bit, stage in self.pad.stage_of:
            # Not pulled is the wrong one of both levels that a weak contact may give.
            if not unsure >> stage - 1 & 1:
                self.inputs[stage - 1] |= {first + 8 - bit.bit_length()}
        for place in range(self.pad.stages):
            if loose >> place & 1:
                self.inputs[place] |= {_PERHAPS}
            if mask >> place & 1:
                self.inputs[place] = _AT[levels >> place & 1]
        self._follow()

    def _held(self, stages: Sequence[Pulled]) -> list[Pulled]:
        """The stages, of which some may be stuck."""
        mask, levels = self.broken.stages
        return [
            _AT[levels >> place & 1] if mask >> place & 1 else one
            for place, one in enumerate(stages)
        ]

    def play(self, events: Sequence[str]) -> list[Pulled]:
        """These events in order; what is sampled."""
        samples: list[Pulled] = []
        latch, clock, broken = self.pad.latch_line, self.pad.clock_line, self.broken
        for event in events:
            if event == "sample":
                samples.append(self.stages[-1] if broken.data is None else _AT[broken.data])
            elif event == "clock":
                self.count += 1
                arrives = None not in (clock.rise, clock.fall) and broken.clock == "own"
                times = 1 + (self.count == broken.extra) - (self.count == broken.lost)
                for _ in range(times if arrives else 0):
                    self._clock()
            else:
                self.count = 0
                if latch.rise is not None and broken.latch == "own":
                    self.latched = event == "rise" or latch.fall is None
                    self._follow()
        return samples

    @property
    def _loads(self) -> bool:
        return self.latched is not self.pad.load_inverted

    def _clock(self) -> None:
        if not self._loads:
            self.stages = self._held([self.serial, *self.stages[:-1]])
        elif self.pad.load == "synchronous":
            self.stages = self._held(self.inputs)

    def _follow(self) -> None:
        if self._loads and self.pad.load == "transparent":
            self.stages = self._held(self.inputs)


def _seen(pad: PadModel, part: PadPart, clocks: int) -> tuple[Pulled, ...]:
    """What is sampled in all cases of a block."""
    register = _Register(pad, part.tie)
    register.inputs_are(0)
    register.play(_events(clocks, 0, 0))
    events = _events(clocks, part.stopped_bit, part.extra)
    samples = register.play(events[: part.moment])
    register.inputs_are(8)
    return *samples, *register.play(events[part.moment :])


def _must(pad: PadModel, part: PadPart, clocks: int) -> tuple[Pulled, ...]:
    """What must be sampled: the state after the change if it comes before the latch's end."""
    # Extra clocks that the line does not bring move nothing.
    clocked = None not in (pad.clock_line.rise, pad.clock_line.fall)
    extra = part.extra if part.stopped_bit and clocked else 0
    wire = [frozenset({_first(part) + place}) for place in range(8)]
    wire += [_OPEN] * max(0, pad.stages - 8) + [_AT[part.tie]] * (clocks + extra)
    if extra:
        del wire[part.stopped_bit - 1 : part.stopped_bit - 1 + extra]
    return tuple(wire[:clocks])


def _first(part: PadPart) -> int:
    """The first wire of the state that the read must show."""
    return 8 if part.moment <= 1 else 0


def run_part(pad: PadModel, part: PadPart, clocks: int = 8) -> list[Words]:
    """Bits sampled of a block; one that depends on a level that nobody knows is the wrong one."""
    wires = _wires(pad)
    must = [_pressed(wires, one) for one in _must(pad, part, clocks)]
    return _bits(wires, _seen(pad, part, clocks), must)


def _bits(wires: Sequence[Words], seen: Sequence[Pulled], must: Sequence[Words]) -> list[Words]:
    return [
        _pressed(wires, one) | (~wanted if _PERHAPS in one else np.uint64(0))
        for one, wanted in zip(seen, must, strict=True)
    ]


def _pressed(wires: Sequence[Words], pulled: Pulled) -> Words:
    low = np.zeros(_WORDS, np.uint64)
    for one in pulled - {_PERHAPS}:
        low = low | wires[one]
    return low


def count_parts(pad: PadModel, parts: Sequence[PadPart], clocks: int = 8) -> PadTally:
    """Run and judge blocks that differ in their moment alone.

    ``clocks`` is the number of bits that the poll reads.
    """
    alike: dict[tuple[int, tuple[Pulled, ...]], list[PadPart]] = {}
    for part in parts:
        alike.setdefault((_first(part), _seen(pad, part, clocks)), []).append(part)
    wires, whole = _wires(pad), PadTally()
    for (first, seen), same in alike.items():
        must = [_pressed(wires, one) for one in _must(pad, same[0], clocks)]
        held = wires[first : first + 8]
        whole.add(_counted(same[0], held, must, _bits(wires, seen, must)), same)
    return whole


def _counted(
    part: PadPart, held: Sequence[Words], must: Sequence[Words], seen: Sequence[Words]
) -> PadTally:
    """The counts of a block, and the first cases of each kind."""
    read = min(8, len(must))
    was, wanted, got = (np.array(wires[:read]) for wires in (held, must, seen))
    ghost, missed, shown, lost = got & ~wanted, wanted & ~got, got & ~was, was & ~got
    wrong = _any(np.array(seen) ^ np.array(must))
    nothing = np.zeros((1, _WORDS), np.uint64)
    both = [got[one] & got[other] for one, other in _SIDES if other < read]
    met: dict[PadKind, Words] = {
        "seen_not_pressed": _any(ghost),
        "pressed_not_seen": _any(missed),
        "past_the_end": _any([*nothing, *(a ^ b for a, b in zip(seen[8:], must[8:], strict=True))]),
        "opposites": _any([*nothing, *both]),
    }
    spoilt = nothing[0]
    if part.stopped_bit:
        met["spoilt_not_pressed"] = _any(shown) & ~wrong
        met["spoilt_not_seen"] = _any(lost) & ~wrong
        spoilt = met["spoilt_not_pressed"] | met["spoilt_not_seen"]
    counts = dict(zip(met, _counts(list(met.values())), strict=True))
    unread = [0] * (8 - read)
    return PadTally(
        cases=PAIRS,
        wrong=_counts([wrong])[0],
        spoilt=_counts([spoilt])[0],
        spoilt_ghost=counts.get("spoilt_not_pressed", 0),
        spoilt_missed=counts.get("spoilt_not_seen", 0),
        opposites=counts["opposites"],
        ghost=_counts(ghost) + unread,
        missed=_counts(missed) + unread,
        shown=_counts(shown) + unread,
        lost=_counts(lost) + unread,
        first={
            kind: _example(part, wire, must, seen) for kind, wire in met.items() if counts[kind]
        },
    )


def _any(wires: Words | Sequence[Words]) -> Words:
    any_of: Words = np.bitwise_or.reduce(wires)
    return any_of


def _counts(wires: Words | Sequence[Words]) -> list[int]:
    """In how many cases each wire is 1."""
    counts: list[int] = np.bitwise_count(wires).sum(axis=-1, dtype=np.uint32).tolist()
    return counts


def _example(part: PadPart, met: Words, must: Sequence[Words], seen: Sequence[Words]) -> PadExample:
    word = int(np.flatnonzero(met)[0])
    bit = (int(met[word]) & -int(met[word])).bit_length() - 1
    case = 64 * word + bit

    def byte(wires: Sequence[Words]) -> int:
        levels = (int(wire[word]) >> bit & 1 for wire in wires[: len(BUTTONS)])
        return sum(128 >> place for place, level in enumerate(levels) if level)

    return PadExample(case >> 8, case & 0xFF, part, byte(must), byte(seen))
