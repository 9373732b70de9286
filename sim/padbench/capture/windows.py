"""A stream of pieces cut to windows, with whole reads in them, and to short stretches for pictures.

A window ends at the rise of a latch and begins one read early, so that what is measured from one
read to the next is seen although windows come one at a time. Reads before ``own_from`` were in the
window before; their measurements may repeat without harm to a worst value.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padbench.core.levels import HIGH, UNKNOWN
from padbench.core.quality import steady
from padbench.core.timeline import Timeline, Times, Wire
from padbench.waveio import Piece

MOST_CHANGES = 1 << 23
"""Changes kept while no new latch comes; a latch that never comes must not fill the memory."""

_OFTEN = 1 << 18

Levels = NDArray[np.uint8]


class TooMuch(ValueError):
    """Too many changes without a latch: surely the wrong channel."""


@dataclass(frozen=True, slots=True)
class Window:
    """``timeline`` has "latch", "clock" with hysteresis, and their ``zones``; "data" as it is.

    ``last`` says that the capture ends here, so its last read is there too.
    """

    timeline: Timeline
    zones: dict[str, Wire]
    own_from: int
    gaps: tuple[tuple[int, int], ...]
    last: bool


def windows(pieces: Iterable[Piece]) -> Iterator[Window]:
    """Cut a stream with the channels "latch", "clock" and "data" into windows, the last at the end.

    Raises `TooMuch` if changes pile up and no latch comes.
    """
    kept = _Kept()
    for piece in pieces:
        kept.add(piece)
        window = kept.cut()
        if window is not None:
            yield window
    yield kept.rest()


class _Kept:
    """What has come and is not done with."""

    def __init__(self) -> None:
        self._wires: dict[str, Wire] = {}
        self._parts: dict[str, list[tuple[Times, Levels]]] = {}
        self._events: dict[str, list[Times]] = {}
        self._gaps: list[tuple[int, int]] = []
        self._count = 0
        self._own_from = np.iinfo(np.int64).min
        self._end = 0
        self._next_look = _OFTEN

    def add(self, piece: Piece) -> None:
        for name, (times, levels) in piece.changes.items():
            if len(times):
                self._parts.setdefault(name, []).append((times, levels))
                self._count += len(times)
        for name, times in piece.events.items():
            self._events.setdefault(name, []).append(times)
        self._gaps += piece.gaps
        self._end = piece.end_ps

    def cut(self) -> Window | None:
        """A window up to the last latch so far, if there are two at least."""
        raised = any((levels == HIGH).any() for _, levels in self._parts.get("latch", ()))
        if not raised and self._count < self._next_look:
            return None
        self._merge()
        # To look at everything again for each piece would cost the square of the length.
        self._next_look = max(_OFTEN, 2 * self._count)
        rises = self._steady("latch").rises()
        new = rises[rises > self._own_from]
        if len(new) < 2:
            if not len(rises):
                # Nothing before the first latch belongs to a read.
                self._forget_before(self._end)
                self._next_look = _OFTEN
            elif self._count > MOST_CHANGES:
                at = int(rises[-1])
                raise TooMuch(
                    f"more than {self._count} changes after the latch at {at / 1e6:.1f} µs and no "
                    "other latch; name the latch and the clock with --latch and --clock"
                )
            return None
        end = int(new[-1])
        window = self._window(end, last=False)
        self._own_from = end
        self._forget_before(int(rises[-2]))
        return window

    def rest(self) -> Window:
        """What is left when the capture has ended."""
        self._merge()
        return self._window(self._end, last=True)

    def _merge(self) -> None:
        for name, parts in self._parts.items():
            known = self._wires.get(name)
            if known is not None:
                parts.insert(0, (known.times, known.levels))
            self._wires[name] = _joined(parts)
        self._parts = {}

    def _steady(self, name: str) -> Wire:
        zones = self._wires.get(name)
        wire = None if zones is None else steady(zones)
        return Wire.of([(self._end, UNKNOWN)]) if wire is None else wire

    def _window(self, end: int, *, last: bool) -> Window:
        zones = {name: _up_to(wire, end) for name, wire in self._wires.items()}
        wires = {name: _up_to(self._steady(name), end) for name in ("latch", "clock")}
        nothing = Wire.of([(end, UNKNOWN)])
        wires["data"] = zones.get("data", nothing)
        if "sync" in zones:
            wires["sync"] = _up_to(self._steady("sync"), end)
        events = {}
        for name, parts in self._events.items():
            times = np.concatenate(parts)
            self._events[name] = [times]
            events[name] = times[times <= end]
        gaps = tuple(gap for gap in self._gaps if gap[0] <= end)
        return Window(Timeline(end, wires, events=events), zones, self._own_from, gaps, last)

    def _forget_before(self, when: int) -> None:
        """Keep one level from before, so that the first edge kept is still an edge."""
        for name, wire in self._wires.items():
            first = int(np.searchsorted(wire.times, when, side="left"))
            known = np.flatnonzero(wire.levels[:first] <= 1)
            # The last level with hysteresis, and what stands between it and now.
            first = int(known[-1]) if len(known) else max(0, first - 1)
            self._wires[name] = Wire(wire.times[first:], wire.levels[first:])
        for name, parts in self._events.items():
            self._events[name] = [times[times >= when] for times in parts]
        self._gaps = [gap for gap in self._gaps if gap[1] >= when]
        self._count = sum(len(wire.times) for wire in self._wires.values())


def _joined(parts: Sequence[tuple[Times, Levels]]) -> Wire:
    return Wire.from_arrays(*(np.concatenate(some) for some in zip(*parts, strict=True)))


def _up_to(wire: Wire, end: int) -> Wire:
    """The changes up to a time; all unknown if there are none."""
    count = int(np.searchsorted(wire.times, end, side="right"))
    return Wire(wire.times[:count], wire.levels[:count]) if count else Wire.of([(end, UNKNOWN)])


def stretches(
    pieces: Iterable[Piece], spans: Sequence[tuple[int, int]]
) -> Iterator[tuple[int, Timeline]]:
    """For each span (picoseconds, in order of their begins) its begin, and its wires from there.

    Time 0 of a timeline is the start of its span. One that the capture does not reach is left out.
    """
    waiting, kept = [*spans], list[Piece]()
    stood: dict[str, int] = {}
    for piece in pieces:
        kept.append(piece)
        while waiting and piece.end_ps >= waiting[0][1]:
            begin, end = waiting.pop(0)
            yield begin, _stretch(kept, stood, begin, end)
        if not waiting:
            return
        while kept and kept[0].end_ps < waiting[0][0]:
            changes = kept.pop(0).changes.items()
            stood |= {name: int(levels[-1]) for name, (_, levels) in changes if len(levels)}
    for begin, end in waiting:
        if kept and kept[-1].end_ps >= begin:
            yield begin, _stretch(kept, stood, begin, end)


def _stretch(pieces: Sequence[Piece], stood: Mapping[str, int], begin: int, end: int) -> Timeline:
    """What of some pieces lies inside, counted from its begin; ``stood`` are the levels before."""
    wires, events = {}, {}
    for name in dict.fromkeys([*stood, *(name for piece in pieces for name in piece.changes)]):
        own = [piece.changes[name] for piece in pieces if name in piece.changes]
        first = min([begin, *(int(times[0]) for times, _ in own if len(times))]) - 1
        before = np.array([first]), np.array([stood.get(name, UNKNOWN)], np.uint8)
        wire = _joined([before, *own])
        inside = (wire.times > begin) & (wire.times <= end)
        times = np.append(begin, wire.times[inside]) - begin
        wires[name] = Wire.from_arrays(times, np.append(wire.at(begin), wire.levels[inside]))
    for name in dict.fromkeys(name for piece in pieces for name in piece.events):
        times = np.concatenate([p.events[name] for p in pieces if name in p.events])
        events[name] = times[(times >= begin) & (times <= end)] - begin
    return Timeline(end - begin, wires, events=events)
