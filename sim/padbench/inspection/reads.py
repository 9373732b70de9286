"""One window to rows: what the console made of each read, and what stood on the wire."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padbench.buttons import pressed_in
from padbench.decode import Names, Read, decode, extra_clocks
from padbench.inspection.measures import Measure
from padbench.inspection.windows import Window
from padbench.rules.quality import apart, crossings, data_delays, short_pulses, stands_still
from padbench.timeline import HIGH, Timeline, Times, Wire

__all__ = ["ROW", "SeenRead", "WindowReads", "rows_of"]

ROW = np.dtype(
    [
        ("start", "i8"),
        ("end", "i8"),
        ("byte", "u1"),
        ("held", "u1"),
        ("undecided", "u1"),
        ("missing", "u1"),
        ("clocks", "u2"),
        ("extra", "u8"),
        ("flags", "u1"),
    ]
)
"""One read in 31 bytes: a capture of a day is a few hundred megabytes."""

CUT_SHORT, OPEN_ENDED, IN_GAP = 1, 2, 4


@dataclass(frozen=True, slots=True)
class SeenRead:
    """A read of a capture. Bytes as in `padbench.buttons`.

    ``byte`` is what the console has after it, ``held`` the first eight levels that stood on the
    line, which is what the pad had loaded: they differ where the console was made to miss one.
    ``undecided`` and ``missing`` are masks of ``byte``. ``extra`` are the clocks, from 1, that the
    program did not ask for. ``complete``: all bits were sampled before the next latch and before
    the end of the capture.
    """

    number: int
    start_ps: int
    end_ps: int
    byte: int
    held: int
    undecided: int
    missing: int
    clocks: int
    extra: tuple[int, ...]
    cut_short: bool
    open_ended: bool
    in_gap: bool

    @classmethod
    def of(cls, row: np.void, number: int) -> "SeenRead":
        """From a row of `ROW`; reads are counted from 1."""
        start, end, byte, held, undecided, missing, clocks, extra, flags = row.tolist()
        return cls(
            number,
            start,
            end,
            byte,
            held,
            undecided,
            missing,
            clocks,
            tuple(n + 1 for n in range(64) if extra >> n & 1),
            bool(flags & CUT_SHORT),
            bool(flags & OPEN_ENDED),
            bool(flags & IN_GAP),
        )

    @property
    def complete(self) -> bool:
        """Whether all bits were sampled."""
        return not self.missing

    @property
    def sure(self) -> bool:
        """Whether the byte can be relied on."""
        return not (self.missing or self.undecided or self.in_gap)

    @property
    def pressed(self) -> tuple[str, ...]:
        """Buttons the console takes as pressed."""
        return pressed_in(self.byte)


@dataclass(frozen=True)
class WindowReads:
    """What one window gave: its own rows, and its reads with that before for the rules."""

    rows: NDArray[np.void]
    reads: tuple[Read, ...]
    timeline: Timeline
    runts: dict[str, Times]
    glitches: Times
    slow: dict[str, tuple[Times, Times]]
    delays: tuple[Times, Times]


@dataclass(slots=True)
class Rhythm:
    """What is usual in a capture, in picoseconds; learnt from its first window with reads."""

    loop: int = 0
    shortest: int = 0

    def learn(self, clock: Wire, reads: tuple[Read, ...]) -> None:
        """From medians: the program's loop, and half the shorter part of a clock."""
        if self.loop or not any(read.clock_falls for read in reads):
            return
        loops = [np.diff(read.clock_falls) for read in reads if len(read.clock_falls) > 1]
        if not loops:
            return
        self.loop = int(np.median(np.concatenate(loops)))
        low, high = [], []
        for read in reads:
            falls, rises = np.asarray(read.clock_falls), np.asarray(read.clock_rises)
            if len(falls) == len(rises) > 1 and falls[0] < rises[0]:
                low.append(rises - falls)
                high.append(falls[1:] - rises[:-1])
        if low:
            widths = np.median(np.concatenate(low)), np.median(np.concatenate(high))
            self.shortest = int(min(widths)) // 2


def rows_of(window: Window, rhythm: Rhythm, wanted: int, measure: Measure) -> WindowReads:
    """Decode a window; widths of its own reads go to ``measure``."""
    timeline = window.timeline
    names = Names("latch", "clock", "data", "sample" if "sample" in timeline.events else None)
    clock, data = timeline.wires["clock"], timeline.wires["data"]
    reads = decode(timeline, names, wanted)
    on_wire = (
        reads
        if names.sample is None
        else decode(timeline, Names("latch", "clock", "data", None), wanted)
    )
    if not window.last:
        reads, on_wire = reads[:-1], on_wire[:-1]
    rhythm.learn(clock, reads)

    # What goes to and fro beside an edge belongs to it: hysteresis is there for that.
    runts = {
        name: apart(crossings(zones).runts, timeline.wires[name].times, rhythm.shortest)
        for name, zones in window.zones.items()
        if name in ("latch", "clock")
    }
    glitches = short_pulses(clock, rhythm.shortest)
    doubts = np.sort(np.concatenate([*runts.values(), glitches]))
    judged = [
        _Judged(window, read, wire, rhythm, wanted, names.sample is not None)
        for read, wire in zip(reads, on_wire, strict=True)
    ]
    own = [one for one in judged if one.read.start_ps >= window.own_from]
    starts = np.asarray([one.read.start_ps for one in own], np.int64)
    following = [*starts[1:].tolist(), timeline.end_ps + (1 if window.last else 0)][: len(own)]
    rows = np.zeros(len(own), ROW)
    for place, (one, until) in enumerate(zip(own, following, strict=True)):
        first = np.searchsorted(doubts, one.read.start_ps, side="left")
        doubt = int(doubts[first]) if first < len(doubts) and doubts[first] < until else None
        rows[place] = one.row(data, doubt, until, last=window.last and place + 1 == len(own))
    _measure([one.read for one in own], clock, measure)
    delays = data_delays(data, clock.rises(), timeline.wires["latch"].rises())
    if own:
        measure["data delay after the clock"].add(delays[1][delays[0] >= own[0].read.start_ps])
    return WindowReads(
        rows,
        reads,
        timeline,
        {name: times[times >= window.own_from] for name, times in runts.items()},
        glitches[glitches >= window.own_from],
        dict(_slow(window)),
        delays,
    )


def _slow(window: Window) -> Iterator[tuple[str, tuple[Times, Times]]]:
    for name, zones in window.zones.items():
        found = crossings(zones)
        own = found.edges >= window.own_from
        yield name, (found.edges[own], found.durations[own])


@dataclass(frozen=True, slots=True)
class _Judged:
    """One read with what its surroundings say about it."""

    window: Window
    read: Read
    wire: Read
    rhythm: Rhythm
    wanted: int
    sampled: bool

    def row(self, data: Wire, doubt: int | None, until: int, *, last: bool) -> tuple[int, ...]:
        read, wire = self.read, self.wire
        extra = extra_clocks(wire, self.rhythm.loop, self.wanted)
        bits = list(read.bits)
        samples = list(read.samples)
        if not self.sampled:
            kept = [n for n in range(len(bits)) if n not in extra]
            bits, samples = [bits[n] for n in kept], [samples[n] for n in kept]
        bits, samples = bits[: self.wanted], samples[: self.wanted]
        if self._spike():
            doubt = read.start_ps
        if samples:
            unsure = self._unsteady(data, samples)
            if doubt is not None:
                unsure |= np.asarray(samples) > doubt
            bits = [None if no else bit for bit, no in zip(bits, unsure.tolist(), strict=True)]
        end = max([read.latch_end_ps, *wire.clock_rises[-1:]])
        short = len(bits) < min(self.wanted, 8)
        flags = CUT_SHORT * (short and not last) + OPEN_ENDED * (short and last)
        if any(start < end and stop > read.start_ps for start, stop in self.window.gaps):
            flags += IN_GAP
        return (
            read.start_ps,
            end,
            _mask(bits, True),
            _mask(wire.bits, True),
            _mask(bits, None),
            0xFF >> min(8, len(bits)) if self.wanted >= 8 else 0,
            min(len(wire.clock_rises), 0xFFFF),
            sum(1 << place for place in extra if place < 64),
            flags,
        )

    def _spike(self) -> bool:
        """A latch shorter than any clock: nobody knows whether the pad has loaded."""
        return self.read.latch_end_ps - self.read.start_ps < self.rhythm.shortest

    def _unsteady(self, data: Wire, samples: list[int]) -> NDArray[np.bool_]:
        """Bits whose level did not stand in the second half of the low part of their clock.

        One noisy sample must not decide a bit. A wire with two levels only has no noise to see,
        and there a sample is a sample.
        """
        if not ((data.levels > HIGH) & (data.times > self.read.start_ps)).any():
            return np.zeros(len(samples), bool)
        ends = np.asarray(samples, np.int64)
        falls = np.asarray(self.wire.clock_falls or (self.read.start_ps,), np.int64)
        begins = falls[np.maximum(np.searchsorted(falls, ends, side="left") - 1, 0)]
        return ~stands_still(data, np.minimum(begins, ends) // 2 + ends // 2, ends)


def _mask(bits: "tuple[bool | None, ...] | list[bool | None]", value: bool | None) -> int:
    return sum(128 >> place for place, bit in enumerate(bits[:8]) if bit is value)


def _measure(reads: list[Read], clock: Wire, measure: Measure) -> None:
    low, high, first, latch, length = [], [], [], [], []
    for read in reads:
        falls, rises = read.clock_falls, read.clock_rises
        latch.append(read.latch_end_ps - read.start_ps)
        if falls and rises and falls[0] < rises[0]:
            low += [rise - fall for fall, rise in zip(falls, rises, strict=False)]
            high += [fall - rise for rise, fall in zip(rises, falls[1:], strict=False)]
            first.append(falls[0] - read.latch_end_ps)
            length.append(rises[-1] - read.start_ps)
    for name, values in (
        ("latch width", latch),
        ("clock low", low),
        ("clock high", high),
        ("latch to first clock", first),
        ("read length", length),
    ):
        measure[name].add(values)
