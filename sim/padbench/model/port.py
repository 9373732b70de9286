"""The data line on its way to the console, and the port's inverter at its end."""

from typing import Any

from myhdl import always, delay, instance

from padbench.model.record import now

__all__ = ["data_input", "late_data"]

_INVERTED = (1, 0, 2)


def data_input(line: Any, inside: Any) -> Any:
    """Pressed is low on the line and arrives as 1 (from memory); 2, no level, stays 2."""

    @always(line)
    def inverter() -> None:
        inside.next = _INVERTED[line._val]

    return inverter


def late_data(output: Any, line: Any, answer: int, unsettled: int) -> Any:
    """The line follows the register's output at some time within ``answer`` picoseconds.

    A sample before that may find the old level, the new one, or neither; so from a change until
    ``answer`` after it the line is ``unsettled``, and a sample then is never taken as right.
    """

    @instance
    def follow() -> Any:
        while True:
            yield output
            line.next = unsettled
            settles = now() + answer
            while now() < settles:
                level = output._val
                yield output, delay(settles - now())
                if output._val != level:
                    settles = now() + answer
            line.next = output._val

    return follow
