"""Recording of signals at almost no cost.

MyHDL calls ``_printVcd`` of a signal at each change while its ``_tracing`` is set; that hook is
all its own tracer has. Putting a list's ``append`` there costs a tenth of a process that waits
for the signal, which is what keeps the recorded simulation about as fast as a bare one. The
attributes are private, so the version of MyHDL is pinned and a test would notice a change.
"""

from collections.abc import Callable
from typing import Any

from myhdl import _simulator

__all__ = ["Log", "now", "record"]

Log = list[tuple[int, int]]


def now() -> int:
    """Time of the running simulation, in picoseconds."""
    return int(_simulator._time)


def record(signal: Any) -> Log:
    """A list that receives (picoseconds, value) now and at each later change of ``signal``."""
    log: Log = [(0, int(signal._val))]
    signal._printVcd = _appender(log.append, signal)
    signal._tracing = True
    return log


def _appender(append: Callable[[tuple[int, int]], None], signal: Any) -> Callable[[], None]:
    # The value of an intbv signal is changed in place, so its number is taken, not the object.
    if hasattr(signal._val, "_val"):
        return lambda: append((_simulator._time, signal._val._val))
    return lambda: append((_simulator._time, signal._val))
