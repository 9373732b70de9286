"""Short stretches of a long capture, for pictures: taken from the stream in one more pass.

    for begin, line in stretches(scan.pieces(...), [(begin, end), ...]): ...

Nothing but what lies in the stretches is kept, and the stream is left after the last of them.
"""

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from padbench.capture.windows import Levels, Stretch
from padbench.core.timeline import UNKNOWN, Timeline, Times, Wire

__all__ = ["stretches"]


def stretches(
    pieces: Iterable[Stretch], spans: Sequence[tuple[int, int]]
) -> Iterator[tuple[int, Timeline]]:
    """For each span (picoseconds, in order of their begins) its begin, and its wires from there.

    Time 0 of a timeline is the begin of its span. One that the capture does not reach is left out.
    """
    waiting = [_Cut(begin, end) for begin, end in spans]
    last: dict[str, int] = {}
    for piece in pieces:
        for cut in waiting:
            cut.take(piece, last)
        last |= {
            name: int(levels[-1]) for name, (_, levels) in piece.changes.items() if len(levels)
        }
        while waiting and piece.end_ps >= waiting[0].end:
            cut = waiting.pop(0)
            yield cut.begin, cut.timeline()
        if not waiting:
            return
    for cut in waiting:
        if cut.wires:
            yield cut.begin, cut.timeline()


class _Cut:
    """One span as it fills."""

    def __init__(self, begin: int, end: int) -> None:
        self.begin, self.end = begin, end
        self.wires: dict[str, list[tuple[Times, Levels]]] = {}
        self._events: dict[str, list[Times]] = {}

    def take(self, piece: Stretch, last: dict[str, int]) -> None:
        """What of a piece lies inside; ``last`` are the levels at its beginning."""
        if piece.end_ps < self.begin:
            return
        for name, (times, levels) in piece.changes.items():
            first = int(np.searchsorted(times, self.begin, side="right"))
            stop = int(np.searchsorted(times, self.end, side="right"))
            self._start(name, int(levels[first - 1]) if first else last.get(name, UNKNOWN))
            self.wires[name].append((times[first:stop], levels[first:stop]))
        for name, level in last.items():
            self._start(name, level)
        for name, times in piece.events.items():
            inside = times[(times >= self.begin) & (times <= self.end)]
            self._events.setdefault(name, []).append(inside)

    def _start(self, name: str, level: int) -> None:
        """The level that stood when the span began, unless it is known already."""
        if name not in self.wires:
            at = np.asarray([self.begin], np.int64)
            self.wires[name] = [(at, np.asarray([level], np.uint8))]

    def timeline(self) -> Timeline:
        """All of it, counted from its begin."""
        wires = {
            name: Wire.from_arrays(
                np.concatenate([times for times, _ in parts]) - self.begin,
                np.concatenate([levels for _, levels in parts]),
            )
            for name, parts in self.wires.items()
        }
        events = {n: np.concatenate(parts) - self.begin for n, parts in self._events.items()}
        return Timeline(self.end - self.begin, wires, events=events)
