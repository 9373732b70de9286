"""One window to rows: what the console made of each read, and what stood on the wire."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padbench.capture.measures import Measure
from padbench.capture.rows import CUT_SHORT, IN_GAP, OPEN_ENDED, ROW, Own, Rhythm, measure_reads
from padbench.capture.windows import Window
from padbench.core.buttons import pressed_in
from padbench.core.decode import Names, Read, read_arrays
from padbench.core.quality import apart, crossings, data_delays, short_pulses
from padbench.core.timeline import Timeline, Times

__all__ = ["ROW", "Rhythm", "SeenRead", "WindowReads", "rows_of"]


@dataclass(frozen=True, slots=True)
class SeenRead:
    """A read of a capture. Bytes as in `padbench.core.buttons`.

    ``byte`` is what the console has after it, ``held`` the first eight levels that stood on the
    line, which is what the pad had loaded: they differ where the console was made to miss one.
    ``undecided`` and ``missing`` are masks of ``byte``. ``extra`` are the clocks, from 1, that the
    program did not ask for. ``complete``: at least as many bits as wanted were sampled before the
    next latch and before the end of the capture; else it is ``cut_short`` or ``open_ended``.
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
    def of(cls, row: np.void | tuple[int, ...], number: int) -> "SeenRead":
        """From a row of `ROW`, or what ``tolist`` makes of one; reads are counted from 1."""
        values = row if isinstance(row, tuple) else row.tolist()
        start, end, byte, held, undecided, missing, clocks, extra, flags = values
        return cls(
            number,
            start,
            end,
            byte,
            held,
            undecided,
            missing,
            clocks,
            tuple(n + 1 for n in range(64) if extra >> n & 1) if extra else (),
            bool(flags & CUT_SHORT),
            bool(flags & OPEN_ENDED),
            bool(flags & IN_GAP),
        )

    @property
    def complete(self) -> bool:
        """Whether all bits were sampled."""
        return not (self.cut_short or self.open_ended)

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


def rows_of(window: Window, rhythm: Rhythm, wanted: int, measure: Measure) -> WindowReads:
    """Decode a window; widths of its own reads go to ``measure``."""
    timeline = window.timeline
    clock, data = timeline.wires["clock"], timeline.wires["data"]
    wire = read_arrays(timeline, Names("latch", "clock", "data", None))
    sampled = "sample" in timeline.events
    seen = read_arrays(timeline, Names("latch", "clock", "data", "sample")) if sampled else wire
    if not window.last:
        # The latch at the end of the window begins a read of the next.
        wire, seen = wire.part(slice(-1)), seen.part(slice(-1))
    # The rule of eight clocks knows no other number: a last read short of more is not whole.
    reads = seen.reads(wanted, last=window.last and wanted <= 8)
    rhythm.learn(clock, reads)

    # What goes to and fro beside an edge belongs to it: hysteresis is there for that.
    runts = {
        name: apart(crossings(zones).runts, timeline.wires[name].times, rhythm.shortest)
        for name, zones in window.zones.items()
        if name in ("latch", "clock")
    }
    glitches = short_pulses(clock, rhythm.shortest)
    doubts = np.sort(np.concatenate([*runts.values(), glitches]))
    first = int(np.searchsorted(seen.starts, window.own_from, side="left"))
    own = Own(
        seen.part(slice(first, None)),
        wire.part(slice(first, None)),
        rhythm,
        wanted,
        sampled,
        last=window.last,
    )
    measure_reads(own.wire, measure)
    delays = data_delays(data, clock.rises(), timeline.wires["latch"].rises())
    if len(own.seen):
        measure["data delay after the clock"].add(delays[1][delays[0] >= own.seen.starts[0]])
    return WindowReads(
        own.rows(data, doubts, window.gaps),
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
