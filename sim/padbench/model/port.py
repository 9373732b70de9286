"""The console's port: lines with their delays going out, an inverter on the data coming in."""

from collections.abc import Iterable
from typing import Any

from myhdl import always, block

from padbench.pad import LineDelays

__all__ = ["data_input", "far_end"]

_INVERTED = (1, 0, 2)


@block
def data_input(line: Any, inside: Any) -> Any:
    """Pressed is low on the line and arrives as 1 (from memory); 2, no level, stays 2."""

    @always(line)
    def inverter() -> None:
        inside.next = _INVERTED[line._val]

    return inverter


def far_end(
    edges: Iterable[tuple[int, int]], delays: LineDelays, start: int
) -> tuple[int, list[tuple[int, int]]]:
    """Edges of a driven line as they reach the pad: its level at the start, and (time, level).

    ``edges`` are the driver's, alternating, beginning with a change from ``start``. An edge that
    would arrive no earlier than the one after it cancels out with it: the line had not got far
    enough when it was driven back. A direction whose delay is None never arrives.
    """
    if delays.rise is None or delays.fall is None:
        return (0 if delays.rise is None else 1), []
    arrived: list[tuple[int, int]] = []
    for when, level in edges:
        at = when + (delays.rise if level else delays.fall)
        if arrived and at <= arrived[-1][0]:
            arrived.pop()
        else:
            arrived.append((at, level))
    return start, arrived
