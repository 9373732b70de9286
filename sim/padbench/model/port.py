"""The console's port: an inverter on the data coming in."""

from typing import Any

from myhdl import always

__all__ = ["data_input"]

_INVERTED = (1, 0, 2)


def data_input(line: Any, inside: Any) -> Any:
    """Pressed is low on the line and arrives as 1 (from memory); 2, no level, stays 2."""

    @always(line)
    def inverter() -> None:
        inside.next = _INVERTED[line._val]

    return inverter
