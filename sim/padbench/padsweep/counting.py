"""Every case of a pad: all states and transitions, moments, stopped bits, extra clocks, ties.

    for parts in pad_parts(clocks=8): tally.add(count_parts(pad, parts))

A *case* is: these contacts are closed, at one moment of the read exactly those, and the read is
stopped at one of its bits, or at none, by so many extra clocks, with the serial input at one level.
Before it comes an undisturbed read of the first state. All 65 536 pairs of states are one block of
bit-sliced words; moment, stop and tie are the same for a whole block, so that none needs a mask.

What must come out is worked out without the register: the state at the end of the latch, moved up
from the stopped bit on, then stages without a button, then the serial input's level (common
practice; as in `padbench.scenarios.expect`). Every bit of every case is compared with it, and where
they differ with the block before; blocks that are equal in all bits are counted once.

A level that nobody knows (an open contact without pull-up, a stage before its first load) counts as
the wrong one: such pads are run with it low and with it high, and a bit that differs depends on it.
"""

from collections.abc import Container, Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache

import numpy as np

from padbench.core.buttons import BUTTONS, OPPOSITES
from padbench.core.pad import PadModel
from padbench.padsweep.pads import ContactLanes, PadLanes, Words, filled, wires_of
from padbench.padsweep.tally import PadExample, PadKind, PadPart, PadTally

__all__ = ["PAIRS", "count_parts", "moments", "pad_parts", "run_part"]

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


# glibc hands memory back to the system, page by page, whenever some lies free at the end of its
# heap; how much may lie there it learns from the largest block that was ever freed.
np.empty(1 << 22, np.uint8)

_HIGH, _LOW = filled(_WORDS, 1), filled(_WORDS, 0)


@cache
def _events(clocks: int, stopped_bit: int, extra: int) -> tuple[str, ...]:
    events = ["rise", "fall"]
    for bit in range(1, clocks + 1):
        events += ["clock"] * (extra if bit == stopped_bit else 0)
        events += ["sample", "clock"]
    return tuple(events)


class _Lines:
    """Pads at the far end of the console's lines, which may not bring every edge."""

    def __init__(self, pad: PadModel, pads: PadLanes) -> None:
        self.pads, self.got = pads, list[Words]()
        self.clocked = _clocked(pad)
        self.latched = pad.latch_line.rise is not None
        self.falls = pad.latch_line.fall is not None

    def play(self, events: Sequence[str]) -> None:
        """These events in order; what is sampled goes to ``got``."""
        for event in events:
            if event == "sample":
                self.got.append(self.pads.output)
            elif event == "clock":
                if self.clocked:
                    self.pads.clock()
            elif self.latched:
                level = _HIGH if event == "rise" or not self.falls else _LOW
                self.pads.latch(level, same=True)


def _clocked(pad: PadModel) -> bool:
    return None not in (pad.clock_line.rise, pad.clock_line.fall)


@lru_cache(maxsize=8)
def _passed_on(pad: PadModel) -> tuple[list[Words], list[Words]]:
    """What the policy hands on of the state before, and after the change."""
    before, after = _states()
    contacts = ContactLanes(pad, _WORDS)
    contacts.move(before)
    held = contacts.effective()
    contacts.move(after)
    return held, contacts.effective()


@dataclass(frozen=True)
class _Start:
    """Pads after a read of the first state, and the levels of their inputs after the change."""

    pads: PadLanes
    inputs_then: list[Words]


@lru_cache(maxsize=8)
def _read_before(pad: PadModel, tie: int, clocks: int, unknown: int) -> _Start:
    held, then = _passed_on(pad)
    pads = PadLanes(pad, _WORDS, tie, unknown)
    pads.inputs_are(wires_of(pad, held, unknown))
    _Lines(pad, pads).play(_events(clocks, 0, 0))
    return _Start(pads, wires_of(pad, then, unknown))


@lru_cache(maxsize=8)
def _unsure(pad: PadModel, tie: int, clocks: int) -> bool:
    """Whether a level that nobody knows is still there after the first read, or comes in later."""
    low, high = (_read_before(pad, tie, clocks, unknown).pads for unknown in (0, 1))
    pairs = zip(low.stages, high.stages, strict=True)
    return pad.floating or not all(np.array_equal(one, other) for one, other in pairs)


def _levels(start: _Start, pad: PadModel, events: Sequence[str], moment: int) -> list[Words]:
    """The data line at each sample of a block."""
    lines = _Lines(pad, start.pads.copy())
    lines.play(events[:moment])
    lines.pads.inputs_are(start.inputs_then)
    lines.play(events[moment:])
    return lines.got


def run_part(pad: PadModel, part: PadPart, clocks: int = 8, unknown: int = 0) -> list[Words]:
    """Bits sampled (1 is pressed) of a block; ``unknown`` is the level that nobody knows."""
    start = _read_before(pad, part.tie, clocks, unknown)
    events = _events(clocks, part.stopped_bit, part.extra)
    return [~wire for wire in _levels(start, pad, events, part.moment)]


@dataclass(frozen=True)
class _Alike:
    """Blocks that come out alike, case by case.

    ``held`` and ``bits``, what must come out, are 1 for pressed, ``levels`` are those of the data
    line; ``tally`` has the counts of one block, ``parts`` says which blocks they are.
    """

    held: list[Words]
    bits: list[Words]
    levels: list[Words]
    tally: PadTally
    parts: list[PadPart] = field(default_factory=list)


def _must(pad: PadModel, part: PadPart, clocks: int, changed: bool) -> _Alike:
    """Blocks that come out as they must; ``changed``: contacts move before the latch's end."""
    held = _passed_on(pad)[changed]
    # Extra clocks that the line does not bring move nothing.
    extra = part.extra if part.stopped_bit and _clocked(pad) else 0
    wire = [*held, *[_LOW] * max(0, pad.stages - 8)]
    wire += [_LOW if part.tie else _HIGH] * (clocks + extra)
    if extra:
        del wire[part.stopped_bit - 1 : part.stopped_bit - 1 + extra]
    bits = wire[:clocks]
    return _Alike(held, bits, [~one for one in bits], _counted(part, held, bits, bits, _LOW))


def count_parts(pad: PadModel, parts: Sequence[PadPart], clocks: int = 8) -> PadTally:
    """Run and judge blocks that differ in their moment alone.

    ``clocks`` is the number of bits that the poll reads.
    """
    one = parts[0]
    start = _read_before(pad, one.tie, clocks, 0)
    other = _read_before(pad, one.tie, clocks, 1) if _unsure(pad, one.tie, clocks) else None
    events = _events(clocks, one.stopped_bit, one.extra)
    whole = PadTally()
    musts: dict[bool, _Alike] = {}
    wrong_ones: list[_Alike] = []
    for part in parts:
        changed = part.moment <= 1
        if changed not in musts:
            musts[changed] = _must(pad, part, clocks, changed)
        must = musts[changed]
        levels = _levels(start, pad, events, part.moment)
        if other is not None:
            high = _levels(other, pad, events, part.moment)
            levels = _worst(levels, high, must.levels)
        wrong = _differ(levels, must.levels)
        if not wrong.any():
            must.parts.append(part)
            continue
        last = wrong_ones[-1] if wrong_ones else None
        if last is None or last.held is not must.held or _differ(levels, last.levels).any():
            seen = [~wire for wire in levels]
            known = {kind for one in wrong_ones for kind in one.tally.first}
            tally = _counted(part, must.held, must.bits, seen, wrong, known)
            last = _Alike(must.held, must.bits, levels, tally)
            wrong_ones.append(last)
        last.parts.append(part)
    for alike in (*musts.values(), *wrong_ones):
        whole.add(alike.tally.of(alike.parts))
    return whole


def _worst(low: list[Words], high: list[Words], wanted: list[Words]) -> list[Words]:
    """A bit that depends on a level that nobody knows is the opposite of what it must be."""
    return [
        one ^ ((one ^ two) & ~(one ^ want))
        for one, two, want in zip(low, high, wanted, strict=True)
    ]


def _counted(
    part: PadPart,
    held: Sequence[Words],
    must: Sequence[Words],
    seen: Sequence[Words],
    wrong: Words,
    known: Container[PadKind] = (),
) -> PadTally:
    """The counts of a block and the first cases of kinds that are not known yet.

    All wires are 1 for pressed.
    """
    read = min(8, len(must))
    was, wanted, got = (np.array(wires[:read]) for wires in (held, must, seen))
    ghost, missed, shown, lost = got & ~wanted, wanted & ~got, got & ~was, was & ~got
    both = [got[one] & got[other] for one, other in _SIDES if other < read]
    met: dict[PadKind, Words] = {
        "seen_not_pressed": _any(ghost),
        "pressed_not_seen": _any(missed),
        "past_the_end": _differ(seen[8:], must[8:]),
        "opposites": _any([*both, _LOW]),
    }
    if part.stopped_bit:
        met["spoilt_not_pressed"] = _any(shown) & ~wrong
        met["spoilt_not_seen"] = _any(lost) & ~wrong
    counts = dict(zip(met, _counts(list(met.values())), strict=True))
    spoilt = met.get("spoilt_not_pressed", _LOW) | met.get("spoilt_not_seen", _LOW)
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
            kind: _example(part, wire, must, seen)
            for kind, wire in met.items()
            if counts[kind] and kind not in known
        },
    )


def _differ(some: Sequence[Words], others: Sequence[Words]) -> Words:
    differing, change = np.zeros(_WORDS, np.uint64), np.empty(_WORDS, np.uint64)
    for one, other in zip(some, others, strict=True):
        np.bitwise_xor(one, other, out=change)
        np.bitwise_or(differing, change, out=differing)
    return differing


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
