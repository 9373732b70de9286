"""Every case of a pad: all states and transitions, moments, stopped bits, extra clocks, ties.

    for part in pad_parts(pad, clocks=8): tally.add(count_part(pad, part))

A *case* is: these contacts are closed, at one moment of the read exactly those, and the read is
stopped at one of its bits, or at none, by so many extra clocks, with the serial input at one level.
Before it comes an undisturbed read of the first state. All 65 536 pairs of states are one block of
bit-sliced words; moment, stop and tie are the same for a whole block, so that none needs a mask.

What must come out is worked out without the register: the state at the end of the latch, moved up
from the stopped bit on, then stages without a button, then the serial input's level (common
practice; as in `padbench.scenarios.expect`).
"""

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, field
from functools import cache, lru_cache

import numpy as np

from padbench.buttons import BUTTONS
from padbench.pad import PadModel
from padbench.sweep.pads import ContactLanes, PadLanes, Words, filled, wires_of

__all__ = ["PadExample", "PadPart", "PadTally", "count_part", "moments", "pad_parts", "run_part"]

PAIRS = 1 << 16
"""Cases in a block: 256 states before and 256 after the change."""
_WORDS = PAIRS // 64
_EXTRAS = (1, 2, 3)
"""Extra clocks of a stopped read: joined one, or two or three where each counts (from memory)."""


@dataclass(frozen=True, slots=True, order=True)
class PadPart:
    """A block of cases: the change comes before event ``moment`` of the read (see `moments`).

    ``stopped_bit`` 0 is an undisturbed read; ``tie`` is the level of the serial input.
    """

    tie: int
    stopped_bit: int
    extra: int
    moment: int


@dataclass(frozen=True, slots=True)
class PadExample:
    """One wrong case: contacts ``held``, then ``then`` closed; ``expected`` and ``got`` bytes."""

    held: int
    then: int
    part: PadPart
    expected: int
    got: int


@dataclass
class PadTally:
    """Counts of cases as they grow.

    ``wrong`` reads are not what must come out; ``ghost`` and ``missed`` say for each button in how
    many of them it was seen and should not have been, or the other way round. ``spoilt`` reads come
    out as a stopped read must and yet are not what was held; ``spoilt_ghost`` are those of them
    that show a button which was not held. ``opposites`` show both sides of a pair of directions.
    """

    cases: int = 0
    wrong: int = 0
    spoilt: int = 0
    spoilt_ghost: int = 0
    opposites: int = 0
    ghost: list[int] = field(default_factory=lambda: [0] * 8)
    missed: list[int] = field(default_factory=lambda: [0] * 8)
    first: PadExample | None = None

    def add(self, other: "PadTally") -> None:
        """Take in other cases, in any order; of two examples that of the first part is kept."""
        self.cases += other.cases
        self.wrong += other.wrong
        self.spoilt += other.spoilt
        self.spoilt_ghost += other.spoilt_ghost
        self.opposites += other.opposites
        self.ghost = [a + b for a, b in zip(self.ghost, other.ghost, strict=True)]
        self.missed = [a + b for a, b in zip(self.missed, other.missed, strict=True)]
        found = [one for one in (self.first, other.first) if one is not None]
        self.first = min(found, key=lambda one: (one.part, one.held, one.then), default=None)


def moments(clocks: int, stopped_bit: int = 0, extra: int = 0) -> int:
    """How many places there are for a change in one read, before, between and after its events.

    The events: the latch rises (0), falls (1); then for each bit its extra clocks, its sample and
    its rising clock edge.
    """
    return 3 + 2 * clocks + (extra if stopped_bit else 0)


def pad_parts(clocks: int, ties: Sequence[int] = (0, 1)) -> list[PadPart]:
    """Every block there is."""
    stops = [(0, 0)] + [(bit, extra) for bit in range(1, min(8, clocks) + 1) for extra in _EXTRAS]
    return [
        PadPart(tie, bit, extra, moment)
        for tie in ties
        for bit, extra in stops
        for moment in range(moments(clocks, bit, extra))
    ]


@cache
def _states() -> tuple[tuple[Words, ...], tuple[Words, ...]]:
    """Eight wires of the state before, eight of the state after: case = before * 256 + after."""
    case = np.arange(PAIRS, dtype=np.uint32)
    wires = [
        np.packbits((case >> np.uint32(bit) & np.uint32(1)).astype(np.uint8), bitorder="little")
        .view(np.uint64)
        .copy()
        for bit in range(15, -1, -1)
    ]
    return tuple(wires[:8]), tuple(wires[8:])


def _events(clocks: int, part: PadPart) -> list[str]:
    events = ["rise", "fall"]
    for bit in range(1, clocks + 1):
        events += ["clock"] * (part.extra if bit == part.stopped_bit else 0)
        events += ["sample", "clock"]
    return events


_HIGH, _LOW = filled(_WORDS, 1), filled(_WORDS, 0)


def _read(pads: PadLanes, pad: PadModel, event: str, got: list[Words]) -> None:
    """One event, if the line gets it to the pad at all."""
    if event == "sample":
        got.append(pads.output)
    elif event == "clock":
        if None not in (pad.clock_line.rise, pad.clock_line.fall):
            pads.clock()
    elif pad.latch_line.rise is not None:
        level = event == "rise" or pad.latch_line.fall is None
        pads.latch(_HIGH if level else _LOW, same=True)


def count_part(pad: PadModel, part: PadPart, clocks: int = 8) -> PadTally:
    """Run one block and judge it. ``clocks`` is the number of bits that the poll reads."""
    return _judge(pad, part, clocks, *run_part(pad, part, clocks))


@lru_cache(maxsize=4)
def _read_before(
    pad: PadModel, tie: int, clocks: int
) -> tuple[ContactLanes, PadLanes, list[Words]]:
    """Contacts and pads after a read of the first state, and what the policy passes on of it."""
    before, _ = _states()
    contacts = ContactLanes(pad, _WORDS)
    pads = PadLanes(pad, _WORDS, tie)
    contacts.move(before)
    held = contacts.effective()
    pads.inputs_are(wires_of(pad, held))
    for event in _events(clocks, PadPart(tie, 0, 0, 0)):
        _read(pads, pad, event, [])
    return contacts, pads, held


def run_part(pad: PadModel, part: PadPart, clocks: int = 8) -> tuple[list[Words], list[Words]]:
    """Buttons passed on at the end of the latch, and bits sampled (1 is pressed), of a block."""
    _, after = _states()
    contacts, pads, held = _read_before(pad, part.tie, clocks)
    contacts, pads = copy(contacts), copy(pads)  # no array of theirs is ever changed in place
    got: list[Words] = []
    events = _events(clocks, part)
    contacts_then = held
    for place in range(len(events) + 1):
        if place == part.moment:
            contacts.move(after)
            contacts_then = contacts.effective()
            pads.inputs_are(wires_of(pad, contacts_then))
        if place < len(events):
            _read(pads, pad, events[place], got)
    loaded = contacts_then if part.moment <= 1 else held
    return loaded, [~wire for wire in got]


def _judge(
    pad: PadModel, part: PadPart, clocks: int, held: list[Words], seen: list[Words]
) -> PadTally:
    """Compare what was seen (1 is pressed) with what must be, all cases at once."""
    size = clocks + part.extra
    unused = [_LOW] * max(0, pad.stages - 8)
    wire = [*held, *unused, *[_LOW if part.tie else _HIGH] * size]
    if part.stopped_bit:
        del wire[part.stopped_bit - 1 : part.stopped_bit - 1 + part.extra]
    expected = wire[:clocks]
    wrong = _differ(seen, expected)
    tally = PadTally(cases=PAIRS, wrong=_count(wrong))
    if tally.wrong:
        for place in range(min(8, clocks)):
            tally.ghost[place] = _count(seen[place] & ~expected[place])
            tally.missed[place] = _count(expected[place] & ~seen[place])
        tally.first = _example(part, wrong, expected, seen)
    if part.stopped_bit:
        tally.spoilt = _count(_differ(expected[:8], held) & ~wrong)
        ghosts = [a & ~b for a, b in zip(expected[:8], held, strict=False)]
        tally.spoilt_ghost = _count(np.bitwise_or.reduce(ghosts) & ~wrong)
    for one, other in ((4, 5), (6, 7)):
        if other < clocks:
            tally.opposites += _count(seen[one] & seen[other])
    return tally


def _differ(some: Sequence[Words], others: Sequence[Words]) -> Words:
    found = np.zeros(_WORDS, np.uint64)
    for one, other in zip(some, others, strict=False):
        found |= one ^ other
    return found


def _count(wire: Words) -> int:
    return int(np.bitwise_count(wire).sum())


def _example(
    part: PadPart, wrong: Words, expected: Sequence[Words], seen: Sequence[Words]
) -> PadExample:
    word = int(np.flatnonzero(wrong)[0])
    bit = (int(wrong[word]) & -int(wrong[word])).bit_length() - 1
    case = 64 * word + bit

    def byte(wires: Sequence[Words]) -> int:
        levels = (int(wire[word]) >> bit & 1 for wire in wires[: len(BUTTONS)])
        return sum(128 >> place for place, level in enumerate(levels) if level)

    return PadExample(case >> 8, case & 0xFF, part, byte(expected), byte(seen))
