"""Where in the frame each read falls, from a recording of the console's video sync.

    watch = SyncWatch()
    watch.add(window.timeline.wires["sync"])
    frames = watch.frames()
    frames.place(read.start_ps, read.end_ps).line

A composite sync is low for about 4.7 µs a line, and for most of the time while vertical sync lasts
(SMPTE 170M: broad pulses of 27.1 µs, from memory); a vertical sync by itself is one pulse a frame.
Which level is the pulse is seen from which is the shorter one.
"""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from padbench.core.levels import HIGH
from padbench.core.timeline import Times, Wire
from padbench.parts import ConsoleTiming, console_names, console_timing
from padbench.routines.frames import Span, where_in_frame

_FIRST_LOOK = 200
"""Edges after which the kind of pulse is settled; some of them may be those of a vertical sync."""
_BROAD = 3
"""So many times the usual width is a pulse of the vertical sync: 4.7 and 2.3 are not, 27.1 is."""
_LONGEST_LINE_PS = 10**9
"""What comes less often than every millisecond comes once a frame."""
_APART = 20
"""Lines from one vertical sync to the next at least; its pulses stand half a line or one apart."""

_NONE = np.zeros(0, np.int64)


@dataclass(frozen=True, slots=True)
class Place:
    """``after_sync`` is in lines since vertical sync began, ``span`` the lines of the frame."""

    after_sync: float
    span: Span | None

    @property
    def part(self) -> str:
        """In words."""
        if self.span is None:
            return "no known frame"
        names = (("picture", self.span.picture), ("vertical blanking", self.span.blanking))
        return " and ".join(name for name, inside in names if inside) or "below the picture"


@dataclass(frozen=True, slots=True)
class FrameSync:
    """``starts`` are those of vertical sync, ``line_ps`` and ``frame_ps`` medians (picoseconds).

    ``timing`` is the console whose frame has so many lines, None if there is none; ``sync_from`` is
    the line in which its vertical sync begins.
    """

    starts: Times
    line_ps: float
    frame_ps: float
    timing: ConsoleTiming | None
    sync_from: int

    def place(self, start_ps: int, end_ps: int) -> Place | None:
        """Of a read, to within a line; None more than a frame and a half from any vertical sync."""
        before = int(np.searchsorted(self.starts, start_ps, side="right")) - 1
        since = (start_ps - int(self.starts[max(before, 0)])) / self.line_ps
        lines = self.frame_ps / self.line_ps
        if not -1.5 * lines < since < 1.5 * lines:
            return None
        since %= lines
        if self.timing is None:
            return Place(since, None)
        line, part = divmod((self.sync_from + since) % self.timing.lines, 1)
        cycles = round((end_ps - start_ps) / float(self.timing.cycle_ps))
        into = Fraction(part).limit_denominator(1000) * self.timing.cycles_per_line
        return Place(since, where_in_frame(self.timing, int(line), cycles, start=into))


class SyncWatch:
    """Takes the sync of one window after another; keeps the vertical ones only."""

    def __init__(self, sync_from: int | None = None) -> None:
        """``sync_from``: the line in which vertical sync begins, None as the console has it."""
        self._sync_from = sync_from
        self._seen = np.iinfo(np.int64).min
        self._times: list[Times] = []
        self._levels: list[NDArray[np.uint8]] = []
        self._waiting = 0
        self._pulse: int | None = None
        self._usual = 0.0
        self._starts: list[int] = []
        self._last = 0

    def add(self, sync: Wire) -> Times:
        """The wire, with hysteresis, as far as known; times of before may be among it again.

        Gives the widths of the lines that were completed.
        """
        new = (sync.times > self._seen) & (sync.levels <= HIGH)
        if new.any():
            self._times.append(sync.times[new])
            self._levels.append(sync.levels[new])
            self._waiting += int(new.sum())
            self._seen = int(sync.times[new][-1])
        return self._take() if self._waiting >= _FIRST_LOOK else _NONE

    def rest(self) -> Times:
        """As `add`, when nothing more comes."""
        return self._take() if self._waiting > 2 else _NONE

    def frames(self, line_ps: float | None) -> FrameSync | None:
        """None if there were not two vertical syncs. ``line_ps``: None if no line was measured."""
        starts = np.asarray(self._starts, np.int64)
        if len(starts) < 2:
            return None
        frame = float(np.median(np.diff(starts)))
        consoles = [console_timing(name) for name in console_names()]

        def off(timing: ConsoleTiming) -> float:
            line = line_ps or float(timing.cycles_per_line * timing.cycle_ps)
            return abs(frame / line - timing.lines)

        near = min(consoles, key=off)
        timing = near if off(near) < 2 else None
        if not (line_ps or timing):
            return None
        line_ps = line_ps or frame / near.lines
        begin = near.sync_from if self._sync_from is None else self._sync_from
        return FrameSync(starts, line_ps, frame, timing, begin)

    def _take(self) -> Times:
        times, levels = np.concatenate(self._times), np.concatenate(self._levels)
        changes = np.insert(levels[1:] != levels[:-1], 0, True)
        times, levels = times[changes], levels[changes]
        widths = np.diff(times)
        if self._pulse is None:
            usual = [np.median(widths[levels[:-1] == level]) for level in (0, 1)]
            self._pulse = int(usual[1] < usual[0])
            self._usual = float(usual[self._pulse])
        begins = np.flatnonzero(levels[:-1] == self._pulse)
        # The last whole pulse comes again, to measure from it to the next.
        keep = int(begins[-1]) if len(begins) else 0
        starts, wide = times[begins], widths[begins]
        lines: Times = np.diff(starts)
        self._times, self._levels = [times[keep:]], [levels[keep:]]
        self._waiting = len(times) - keep
        if not len(lines):
            return _NONE
        usual_line = float(np.median(lines))
        if usual_line > _LONGEST_LINE_PS:
            self._found(starts, _LONGEST_LINE_PS)
            return _NONE
        broad = (wide > _BROAD * self._usual) & (wide < usual_line)
        self._found(starts[broad], int(_APART * usual_line))
        return lines

    def _found(self, starts: Times, apart: int) -> None:
        for start in starts.tolist():
            if not self._starts or start - self._last > apart:
                self._starts.append(start)
            self._last = start
