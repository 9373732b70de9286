"""One window to rows: what the console made of each read, and what stood on the wire.

All reads of a window are worked on at once, as tables of a row a read and a column a bit; only
those with an extra clock, which are few, have their bits picked one by one.
"""

from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from padbench.capture.measures import Measure, clock_parts, measure_reads
from padbench.capture.reads import (
    CUT_SHORT,
    IN_GAP,
    IN_LATCH,
    OPEN_ENDED,
    PAIRED,
    ROW,
    SPIKED,
    UNEVEN,
)
from padbench.capture.windows import Window
from padbench.core.buttons import BUTTONS
from padbench.core.decode import Names, ReadArrays, extra_clocks, inside, read_arrays
from padbench.core.levels import HIGH, LOW, UNKNOWN
from padbench.core.quality import (
    apart,
    data_delays,
    runts_in,
    short_pulses,
    stands_still,
    steady,
)
from padbench.core.timeline import Timeline, Times, Wire

_BESIDE_PS = 10**6
"""What comes later after an edge is no ringing of a pad's cable (assumed)."""
_PAUSE = 100
"""Times a program's loop; within one read nobody waits so long (assumed)."""
_NEVER = np.iinfo(np.int64).max

Table = NDArray[np.intp]


@dataclass(slots=True)
class Rhythm:
    """What is usual in a capture, in picoseconds; learnt from its first window with reads."""

    loop: int = 0
    latch: int = 0
    shortest: int = 0
    judged_to: int = -_NEVER
    """Up to here noise was looked for."""

    def learn(self, some: ReadArrays) -> None:
        """From medians: the program's loop, its latch, and half the shorter part of a clock."""
        first, stop = some.fall_cuts
        later, before = np.minimum(first + 1, stop), np.maximum(stop - 1, first)
        loops = some.falls[inside((later, stop))] - some.falls[inside((first, before))]
        if self.loop or not len(loops):
            return
        self.loop = int(np.median(loops))
        self.latch = int(np.median(some.latch_ends - some.starts))
        _, low, high = clock_parts(some)
        if len(low) and len(high):
            self.shortest = int(min(np.median(low), np.median(high))) // 2


@dataclass(frozen=True)
class WindowReads:
    """What one window gave: its own rows, and its reads with that before for the rules."""

    rows: NDArray[np.void]
    reads: ReadArrays
    short: NDArray[np.bool_]
    timeline: Timeline
    runts: dict[str, Times]
    ringing: dict[str, Times]
    glitches: Times
    unlatched: Times
    delays: tuple[Times, Times]
    pulses: NDArray[np.int64]
    """How often the latch rose, the clock rose, that with the latch high, and the latch with the
    clock low.
    """
    whole: dict[tuple[str, str], tuple[int, int]]
    """Whole reads and all, as named; where too few are, also were any two lines latch and clock."""


def rows_of(window: Window, rhythm: Rhythm, wanted: int, measure: Measure) -> WindowReads:
    """Decode a window; widths of its own reads go to ``measure``."""
    timeline = window.timeline
    clock, data = timeline.wires["clock"], timeline.wires["data"]
    wire = _before_the_rises(
        read_arrays(timeline, Names("latch", "clock", "data", None)),
        data,
        window.zones.get("clock"),
    )
    sampled = "sample" in timeline.events
    seen = read_arrays(timeline, Names("latch", "clock", "data", "sample")) if sampled else wire
    if not window.last:
        # The latch at the end of the window begins a read of the next.
        wire, seen = wire.part(slice(-1)), seen.part(slice(-1))
    # The rule of eight clocks knows no other number: a last read short of more is not whole.
    short = seen.short(wanted, last=window.last and wanted <= 8)
    rhythm.learn(seen)

    # What goes to and fro beside an edge belongs to it: hysteresis is there for that.
    runts: dict[str, Times] = {}
    ringing: dict[str, Times] = {}
    for name in ("latch", "clock"):
        if name in window.zones:
            every = runts_in(window.zones[name])
            near = min(rhythm.shortest, _BESIDE_PS)
            runts[name] = apart(every, timeline.wires[name].times, near)
            ringing[name] = np.setdiff1d(every, runts[name], assume_unique=True)
    # What begins where samples are missing began nobody knows when.
    glitches = short_pulses(clock, rhythm.shortest)
    for start, stop in window.gaps:
        glitches = glitches[(glitches < start) | (glitches > stop)]
    ends = _ends(seen)
    ends[:-1] = np.where(short[:-1], seen.starts[1:], ends[:-1])
    judged = np.ones(len(seen), bool)
    for start, stop in window.gaps:
        judged &= (start >= ends) | (stop < seen.starts)
    doubts = np.sort(np.concatenate([*runts.values(), glitches]))
    # What is open when the window ends, or may yet belong to an edge, is counted with the next.
    since = rhythm.judged_to
    rhythm.judged_to = until = _NEVER if window.last else timeline.end_ps - rhythm.shortest
    first = int(np.searchsorted(seen.starts, window.own_from, side="left"))
    own = _Own(
        seen.part(slice(first, None)),
        wire.part(slice(first, None)),
        rhythm,
        wanted,
        sampled,
        last=window.last,
    )
    measure_reads(own.wire, measure)
    rises, latch = clock.rises(), timeline.wires["latch"]
    delays = data_delays(data, rises, latch.rises())
    for start, stop in window.gaps:
        seen_whole = (delays[0] >= stop) | (delays[0] + delays[1] <= start)
        delays = delays[0][seen_whole], delays[1][seen_whole]
    rises = rises[rises >= window.own_from]
    if len(own.seen):
        measure["data delay after the clock"].add(delays[1][delays[0] >= own.seen.starts[0]])

    def closed(some: dict[str, Times]) -> dict[str, Times]:
        return {n: _closed(window.zones[n], times, since, until) for n, times in some.items()}

    return WindowReads(
        own.rows(data, doubts, window),
        seen.part(judged),
        short[judged],
        timeline,
        closed(runts),
        closed(ringing),
        _closed(clock, glitches, since, until),
        own.unlatched(),
        delays,
        np.array(
            [
                *(len(own.wire), len(rises), np.count_nonzero(latch.at(rises) == HIGH)),
                np.count_nonzero(clock.at(own.wire.starts) == LOW),
            ]
        ),
        _whole_reads({"latch": latch, "clock": clock, "data": data}),
    )


def _before_the_rises(reads: ReadArrays, data: Wire, clock: Wire | None) -> ReadArrays:
    """The same, each bit as it stood when the clock left its low level in volts: the register may
    shift anywhere on a slow edge, and the console looks before.
    """
    if clock is None or not len(reads.samples):
        return reads
    place = np.searchsorted(clock.times, reads.samples) - 1
    slow = (place >= 0) & (clock.levels[place] == UNKNOWN)
    samples = np.where(slow, clock.times[place], reads.samples)
    return replace(reads, samples=samples, levels=data.before(samples))


def _ends(reads: ReadArrays) -> Times:
    """When the latch of each has ended and its last clock has come."""
    counts = reads.rise_cuts[1] - reads.rise_cuts[0]
    last = np.append(reads.rises, 0)[np.where(counts > 0, reads.rise_cuts[1] - 1, -1)]
    ends: Times = np.where(counts > 0, np.maximum(reads.latch_ends, last), reads.latch_ends)
    return ends


def _whole_reads(wires: dict[str, Wire]) -> dict[tuple[str, str], tuple[int, int]]:
    """A whole read has eight clocks or more, as many as most, and none while its latch is high."""
    found: dict[tuple[str, str], tuple[int, int]] = {}
    for latch, clock in permutations(wires, 2):
        one, other = (steady(wires[name]) for name in (latch, clock))
        if one is None or other is None:
            continue
        starts, ends, falls = one.rises(), one.falls(), other.falls()
        ends = np.append(ends, _NEVER)[np.searchsorted(ends, starts)]
        begin, end = (np.searchsorted(falls, times) for times in (starts, ends))
        clocks = np.diff(begin)
        usual = int(np.median(clocks)) if len(clocks) else 0
        whole = (clocks >= 8) & (clocks == usual) & (begin == end)[:-1]
        found[latch, clock] = int(np.count_nonzero(whole)), len(clocks)
        if (latch, clock) == ("latch", "clock") and 2 * whole.sum() > len(clocks):
            break
    return found


def _closed(wire: Wire, begins: Times, since: int, until: int) -> Times:
    """Those that begin so whose next change comes after ``since`` and until ``until``."""
    ends = wire.times[np.searchsorted(wire.times, begins, side="right")]
    chosen: Times = begins[(ends > since) & (ends <= until)]
    return chosen


@dataclass(frozen=True)
class _Own:
    """The reads of one window, as sampled (``seen``) and as they stand on the wire.

    Both have the same latches. ``sampled``: the moments of the samples are known; ``last``: the
    capture ends with the last of the reads.
    """

    seen: ReadArrays
    wire: ReadArrays
    rhythm: Rhythm
    wanted: int
    sampled: bool
    last: bool

    def rows(self, data: Wire, doubts: Times, window: Window) -> NDArray[np.void]:
        """A row of `ROW` for each. After one of the ``doubts`` no bit of its read is sure."""
        seen, wire = self.seen, self.wire
        rows = np.zeros(len(seen), ROW)
        if not len(seen):
            return rows
        extra = self._extra_clocks()
        places, there = self._chosen(extra)
        samples = np.append(seen.samples, 0)[places]
        levels = np.append(seen.levels, LOW)[places]
        unsure = samples > self._doubt(doubts)[:, None]
        unsure |= self._unsteady(data, samples)
        count = there[:, :8].sum(axis=1)
        counts = wire.rise_cuts[1] - wire.rise_cuts[0]
        ends = _ends(wire)
        every = seen.sample_cuts[1] - seen.sample_cuts[0]
        for number, clocks in extra.items():
            every[number] -= 0 if self.sampled else len(clocks)
        short = every < self.wanted
        open_ended = np.zeros(len(seen), bool)
        open_ended[-1] = self.last
        flags = np.where(short, np.where(open_ended, OPEN_ENDED, CUT_SHORT), 0)
        # What an unfinished read lacks may lie in a gap that comes before the next.
        until = np.where(short, np.append(seen.starts[1:], _NEVER), ends)
        in_gap = np.zeros(len(seen), bool)
        for start, stop in window.gaps:
            in_gap |= (start < until) & (stop >= seen.starts)
        rows["start"], rows["end"] = seen.starts, ends
        rows["contacts"], rows["settled"] = self._contacts(window.zones)
        low, doubtful = there & (levels == LOW) & ~unsure, there & ((levels > HIGH) | unsure)
        rows["byte"] = _mask(low)
        rows["held"] = self._held()
        rows["undecided"] = _mask(doubtful)
        if self.wanted > 8:
            place = np.uint64(1) << np.arange(low.shape[1] - 8, dtype=np.uint64)
            rows["later"], rows["unsure"] = low[:, 8:] @ place, doubtful[:, 8:] @ place
        rows["missing"] = (0xFF >> np.minimum(8, count)) & ~(0xFF >> min(8, self.wanted))
        rows["clocks"] = np.minimum(counts, 0xFFFF)
        flags[in_gap] += IN_GAP
        flags[self._uneven()] += UNEVEN
        flags[self._paired()] += PAIRED
        behind = wire.rise_cuts[1] - np.searchsorted(wire.rises, wire.latch_ends)
        flags[(counts >= self.wanted) & (behind < self.wanted)] += IN_LATCH
        spiked = 2 * (wire.latch_ends - wire.starts) < self.rhythm.latch
        # The last latch may have been cut by the end of the recording.
        flags[spiked & ~(open_ended & (counts == 0))] += SPIKED
        rows["flags"] = flags
        for number, clocks in extra.items():
            rows["extra"][number] = sum(1 << place for place in clocks if place < 64)
        return rows

    def _extra_clocks(self) -> dict[int, tuple[int, ...]]:
        """By number of the read, from 0, for those that have any."""
        wire = self.wire
        falls = wire.fall_cuts[1] - wire.fall_cuts[0]
        rises = wire.rise_cuts[1] - wire.rise_cuts[0]
        extra = {}
        for number in np.flatnonzero((falls > self.wanted) & (falls == rises)).tolist():
            (read,) = wire.part(slice(number, number + 1)).reads(self.wanted)
            clocks = extra_clocks(read, self.rhythm.loop, self.wanted)
            if clocks:
                extra[number] = clocks
        return extra

    def _uneven(self) -> NDArray[np.bool_]:
        """Reads with two clocks as close as those of a stopped read, as `extra_clocks` has it.

        In one with more or fewer clocks than wanted, two clocks as far apart the other way count
        too; a read of the usual number may well be interrupted.
        """
        first, stop = self.wire.fall_cuts
        apart, loop = np.diff(self.wire.falls), self.rhythm.loop
        uneven = np.zeros(len(first), bool)
        for wrong, some in (
            (10 * apart < 6 * loop, stop - first > 1),
            (6 * apart > 10 * loop, (stop - first > 1) & (stop - first != self.wanted)),
        ):
            upto = np.concatenate([[0], np.cumsum(wrong)])
            uneven[some] |= upto[stop[some] - 1] > upto[first[some]]
        return uneven

    def _paired(self) -> NDArray[np.bool_]:
        """Reads with more clocks than wanted, two and two less than half as far apart as pairs."""
        first, stop = self.wire.fall_cuts
        counts, paired = stop - first, np.zeros(len(first), bool)
        for count in np.unique(counts[(counts > self.wanted) & (counts % 2 == 0)]).tolist():
            some = counts == count
            gaps = np.diff(self.wire.falls[first[some, None] + np.arange(count)], axis=1)
            paired[some] = 2 * gaps[:, ::2].max(axis=1) < gaps[:, 1::2].min(axis=1, initial=_NEVER)
        return paired

    def unlatched(self) -> Times:
        """The first of so many clocks as a read has, long after latch and clocks before them."""
        (first, stop), falls = self.wire.fall_cuts, self.wire.falls
        if not (self.rhythm.loop and len(first)):
            return falls[:0]
        late = np.flatnonzero(np.diff(falls) > _PAUSE * self.rhythm.loop) + 1
        own = np.searchsorted(first, late, side="right") - 1
        known = (own >= 0) & (falls[late] - self.wire.latch_ends[own] > _PAUSE * self.rhythm.loop)
        late, own = late[known], own[known]
        ends = np.minimum(np.append(late[1:], len(falls)), stop[own])
        begins: Times = falls[late[ends - late >= self.wanted]]
        return begins

    def _chosen(self, extra: dict[int, tuple[int, ...]]) -> tuple[Table, NDArray[np.bool_]]:
        """Where the samples of the bits stand, and which bits there are; both a row a read.

        Where nobody says when the console sampled, it did at the clocks that it meant to make.
        """
        width = max(8, self.wanted)
        places, there = _table(self.seen.sample_cuts, self.wanted, width)
        if self.sampled:
            return places, there
        for number, clocks in extra.items():
            first, last = (int(cut[number]) for cut in self.seen.sample_cuts)
            kept = [first + n for n in range(last - first) if n not in clocks]
            kept = kept[: self.wanted]
            there[number] = np.arange(width) < len(kept)
            places[number] = [*kept, *[-1] * (width - len(kept))]
        return places, there

    def _contacts(self, zones: dict[str, Wire]) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
        """Which inputs of the register were low when its load ended, and which surely stood so.

        A register loads as long as its latch is high. What changed within a quarter of its width
        from its end may have come out either way.
        """
        pressed, settled = np.zeros((2, len(self.wire), 8), bool)
        ends = self.wire.latch_ends
        near = (ends - self.wire.starts) // 4
        for place, name in enumerate(BUTTONS):
            if name in zones:
                pressed[:, place] = zones[name].at(ends) == LOW
                settled[:, place] = stands_still(zones[name], ends - near, ends + near)
        return _mask(pressed), _mask(settled)

    def _held(self) -> NDArray[np.uint8]:
        places, there = _table(self.wire.sample_cuts, 8, 8)
        return _mask(there & (np.append(self.wire.levels, HIGH)[places] == LOW))

    def _doubt(self, doubts: Times) -> Times:
        """From when on nobody knows what the pad has made of latch and clock, by read.

        It may lie after the read, where it does no harm.
        """
        starts = self.seen.starts
        first = np.append(doubts, _NEVER)[np.searchsorted(doubts, starts, side="left")]
        # A latch shorter than any clock: nobody knows whether the pad has loaded.
        spike = self.seen.latch_ends - starts < self.rhythm.shortest
        when: Times = np.where(spike, starts, first)
        return when

    def _unsteady(self, data: Wire, samples: Times) -> NDArray[np.bool_]:
        """Bits whose level did not stand in the last quarter of the low part of their clock.

        One noisy sample must not decide a bit. A wire with two levels only has no noise to see,
        and there a sample is a sample.
        """
        starts = self.seen.starts
        noisy = data.times[data.levels > HIGH].max(initial=np.iinfo(np.int64).min) > starts
        unsteady = np.zeros(samples.shape, bool)
        if not noisy.any():
            return unsteady
        ends = samples[noisy]
        falls, (first, last) = self.wire.falls, self.wire.fall_cuts
        place = np.searchsorted(falls, ends, side="left") - 1
        place = np.maximum(place, first[noisy, None])
        some = (last > first)[noisy, None]
        begins = np.where(
            some, np.append(falls, 0)[np.minimum(place, len(falls))], starts[noisy, None]
        )
        begins = ends - (ends - np.minimum(begins, ends)) // 4
        unsteady[noisy] = ~stands_still(data, begins.ravel(), ends.ravel()).reshape(ends.shape)
        return unsteady


def _table(cuts: tuple[Table, Table], most: int, width: int) -> tuple[Table, NDArray[np.bool_]]:
    """Places of the first ``most`` of each read, -1 where it has none; and where it has some."""
    first, last = cuts
    columns = np.arange(width)
    there = columns < np.minimum(last - first, most)[:, None]
    return np.where(there, first[:, None] + columns, -1), there


def _mask(bits: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """The first column in bit 7, the first eight columns in all."""
    mask: NDArray[np.uint8] = np.packbits(bits, axis=1)[:, 0]
    return mask
