"""The data line on its way to the console, and the port's inverter at its end.

processes = late_data(pad, load, output, line, NO_LEVEL), data_input(line, inside)
"""

from typing import Any

from myhdl import always, delay, instance

from padbench.core.pad import PadModel
from padbench.model.record import now

_INVERTED = (1, 0, 2)


def data_input(line: Any, inside: Any) -> Any:
    """Pressed is low on the line and arrives as 1 (from memory); 2, no level, stays 2."""

    @always(line)
    def inverter() -> None:
        inside.next = _INVERTED[line._val]

    return inverter


def late_data(pad: PadModel, load: Any, output: Any, line: Any, unsettled: int) -> Any:
    """The line follows the register's output, as soon and as late as ``pad.answers`` says.

    A sample in between may find the old level, the new one, or neither; so from the soonest answer
    to a change until the longest the line is ``unsettled``, and a sample then is never taken as
    right.
    """

    @instance
    def follow() -> Any:
        while True:
            yield output
            soonest, longest = pad.answers(bool(load._val))
            begins, settles = now() + soonest, now() + longest
            moving = False
            while now() < settles:
                if not moving and now() >= begins:
                    line.next, moving = unsettled, True
                level = output._val
                yield output, delay((settles if moving else begins) - now())
                if output._val != level:
                    settles = now() + pad.answers(bool(load._val))[1]
            line.next = output._val

    return follow
