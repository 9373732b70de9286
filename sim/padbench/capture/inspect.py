"""The whole inspection of a stream: reads, statistics, and what the rules say.

    result = inspect(scan.pieces(...), Settings(limits=limits))
    result.reads(), result.findings

The pieces may come from any reader; nothing in here opens a file.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from padbench.capture.frame_seen import FrameSync, Place, SyncWatch
from padbench.capture.measures import Measure, Statistics
from padbench.capture.reads import ROW, Rhythm, SeenRead, WindowReads, rows_of
from padbench.capture.windows import Stretch, windows
from padbench.core.decode import Names
from padbench.core.findings import Finding, worst_of_each
from padbench.core.limits import Limit, Limits
from padbench.core.quality import CLOCK_EDGE, DATA_DELAY, held_to_most
from padbench.core.timeline import Times
from padbench.core.timing import PinNames, judge_timing

__all__ = ["Inspection", "Settings", "inspect"]

_NOISES = 1000
"""So many runts are remembered one by one; a noisy capture has millions and they say the same."""

_AT_ONCE = 4096
"""Rows that become objects together: quicker than one by one, and never all of them."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What a capture is held to.

    ``wanted`` is the number of bits the program reads, ``passes`` how many reads make a poll (0:
    found from the capture), ``edge`` the slowest edge the clock input takes, 10 to 90 %, None if
    any will do; ``delay`` the longest time from a clock's rise to its data at the console;
    ``sync_from`` the line of the frame in which vertical sync begins, None as the console has it.
    """

    limits: Limits
    wanted: int = 8
    passes: int = 0
    edge: Limit | None = None
    delay: Limit | None = None
    sync_from: int | None = None
    pins: PinNames = field(default_factory=lambda: PinNames("latch", "clock", "none"))


@dataclass(frozen=True)
class Inspection:
    """What came out. ``rows`` has one entry a read; `reads` gives them one by one."""

    rows: NDArray[np.void]
    end_ps: int
    measures: dict[str, Statistics]
    timing: tuple[Finding, ...]
    runts: dict[str, tuple[int, tuple[int, ...]]]
    glitches: tuple[int, tuple[int, ...]]
    gaps: tuple[tuple[int, int], ...]
    broken_off: str | None
    volts: dict[str, tuple[float, float]]
    passes: int
    frame: FrameSync | None = None

    def reads(self) -> Iterator[SeenRead]:
        """All reads in time order."""
        for first in range(0, len(self.rows), _AT_ONCE):
            rows = self.rows[first : first + _AT_ONCE].tolist()
            yield from (SeenRead.of(row, number) for number, row in enumerate(rows, first + 1))

    def place(self, read: SeenRead) -> Place | None:
        """Where in the frame a read falls; None where no video sync was recorded near it."""
        return None if self.frame is None else self.frame.place(read.start_ps, read.end_ps)


@dataclass(slots=True)
class _Watched:
    """What a stream leaves behind as it passes."""

    end: int = 0
    broken_off: str | None = None
    gaps: list[tuple[int, int]] = field(default_factory=list)
    volts: dict[str, tuple[float, float]] = field(default_factory=dict)

    def watch(self, pieces: Iterable[Stretch]) -> Iterator[Stretch]:
        for piece in pieces:
            self.end = piece.end_ps
            self.broken_off = getattr(piece, "broken_off", None) or self.broken_off
            self.gaps += piece.gaps
            for name, (least, most) in getattr(piece, "volts", {}).items():
                known = self.volts.get(name, (least, most))
                self.volts[name] = min(known[0], least), max(known[1], most)
            yield piece


def inspect(pieces: Iterable[Stretch], settings: Settings) -> Inspection:
    """Read a stream to its end. Raises `windows.TooMuch` where no latch comes."""
    watched = _Watched()
    measure, rhythm = Measure(), Rhythm()
    rows: list[NDArray[np.void]] = []
    found: tuple[Finding, ...] = ()
    runts: dict[str, _Some] = {"latch": _Some(), "clock": _Some()}
    glitches = _Some()
    syncs = SyncWatch(settings.sync_from)
    for window in windows(watched.watch(pieces)):
        part = rows_of(window, rhythm, settings.wanted, measure)
        rows.append(part.rows)
        found = worst_of_each([*found, *_judge(part, settings)])
        for name, times in part.runts.items():
            runts[name].add(times)
        glitches.add(part.glitches)
        sync = window.timeline.wires.get("sync")
        if sync is not None:
            measure["line period"].add(syncs.add(sync))
    measure["line period"].add(syncs.rest())
    every = np.concatenate(rows) if rows else np.zeros(0, ROW)
    passes = settings.passes or _passes(every["start"])
    starts = every["start"][::passes]
    measure["poll period"].add(np.diff(starts))
    statistics = measure.statistics()
    line = statistics.get("line period")
    frame = syncs.frames(None if line is None else line.median)
    if frame is not None:
        measure["frame period"].add(np.diff(frame.starts))
        statistics = measure.statistics()
    return Inspection(
        every,
        watched.end,
        statistics,
        found,
        {name: some.told() for name, some in runts.items()},
        glitches.told(),
        tuple(watched.gaps),
        watched.broken_off,
        watched.volts,
        passes,
        frame,
    )


class _Some:
    """Counts moments and remembers the first of them."""

    def __init__(self) -> None:
        self._count = 0
        self._first: list[int] = []

    def add(self, times: Times) -> None:
        self._count += len(times)
        self._first += times[: _NOISES - len(self._first)].tolist()

    def told(self) -> tuple[int, tuple[int, ...]]:
        return self._count, tuple(self._first)


def _judge(part: WindowReads, settings: Settings) -> Iterator[Finding]:
    names = Names("latch", "clock", "data", "sample")
    yield from judge_timing(
        part.timeline, part.reads, settings.limits, pins=settings.pins, names=names
    )
    if settings.delay is not None:
        at, delays = part.delays
        what = "time from a clock to its data"
        yield held_to_most(DATA_DELAY, at, delays, settings.delay, what)
    if settings.edge is not None and "clock" in part.slow:
        at, durations = part.slow["clock"]
        # Between the thresholds lie 40 % of the supply, between 10 and 90 % twice as much; a
        # straight edge is taken for granted.
        what = "edge of the clock, 10 to 90 %"
        yield held_to_most(CLOCK_EDGE, at, 2 * durations, settings.edge, what)


def _passes(starts: Times) -> int:
    """How many reads make a poll: as many as usually stand close together.

    A poll comes once a frame; what follows within a third of the longer waits is a pass of the
    same one.
    """
    waits = np.diff(starts)
    if len(waits) < 3:
        return 1
    close = waits < np.percentile(waits, 90) / 3
    if not close.any():
        return 1
    ends = np.flatnonzero(~close)
    sizes = np.diff(np.concatenate([[-1], ends, [len(waits)]]))
    values, counts = np.unique(sizes, return_counts=True)
    usual = int(values[np.argmax(counts)])
    return usual if counts.max() * 10 >= 8 * counts.sum() else 1
