"""Edges of a line that is driven from outside the simulation."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from padbench.core.pad import LineDelays
from padbench.core.timeline import Wire

__all__ = ["Line", "far_end"]


@dataclass(frozen=True, slots=True)
class Line:
    """Level at the start, and the times (picoseconds, rising) at which it changes to the other."""

    start: int
    times: Sequence[int]

    def inverted(self) -> "Line":
        """The same edges, the other way up."""
        return Line(1 - self.start, self.times)

    def wire(self, end: int) -> Wire:
        """As a wire of a timeline that ends at ``end``."""
        times = np.asarray([0, *self.times], np.int64)
        levels = (np.arange(len(times)) + self.start) % 2
        kept = times <= end
        return Wire.from_arrays(times[kept], levels[kept])


def far_end(line: Line, delays: LineDelays) -> Line:
    """A driven line as it reaches the other end of the cable.

    An edge that would arrive no earlier than the one after it cancels out with it: the line had
    not got far enough when it was driven back. A direction whose delay is None never arrives.
    """
    rise, fall = delays.rise, delays.fall
    if rise is None or fall is None:
        return Line(0 if rise is None else 1, [])
    if rise == fall == 0:
        return line
    arrived: list[int] = []
    for number, when in enumerate(line.times):
        at = when + (fall if (line.start + number) % 2 else rise)
        if arrived and at <= arrived[-1]:
            arrived.pop()
        else:
            arrived.append(at)
    return Line(line.start, arrived)
