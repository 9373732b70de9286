"""Recording of signals at almost no cost.

    log = record(signal)                # before the run
    log.times, log.values               # after it

MyHDL calls ``_printVcd`` of a signal at each change while its ``_tracing`` is set; that hook is
all its own tracer has. Appending to lists there costs a tenth of a process that waits for the
signal, which is what keeps the recorded simulation about as fast as a bare one. The attributes are
private, so the version of MyHDL is pinned and a test would notice a change.
"""

from collections.abc import Callable, Iterator
from typing import Any

from myhdl import _simulator


class Log:
    """Times (picoseconds) and values, in two lists of plain numbers.

    Pairs would be a million small objects for the garbage collector to walk over in a long run;
    numbers it leaves alone.
    """

    __slots__ = ("times", "values")

    def __init__(self) -> None:
        self.times: list[int] = []
        self.values: list[int] = []

    def add(self, value: int) -> None:
        """Note a value at the present time of the simulation."""
        self.times.append(_simulator._time)
        self.values.append(value)


def now() -> int:
    """Time of the running simulation, in picoseconds."""
    return int(_simulator._time)


def on_change(action: Callable[[], None], *events: Any) -> Iterator[Any]:
    """A process that runs ``action`` at each of ``events`` (signals, or edges of signals)."""
    awaited = events[0] if len(events) == 1 else events
    while True:
        yield awaited
        action()


def record(signal: Any) -> Log:
    """A log that holds the signal's value at time 0 and at each later change."""
    log = Log()
    log.times.append(0)
    log.values.append(int(signal._val))
    signal._printVcd = _appender(log, signal)
    signal._tracing = True
    return log


def _appender(log: Log, signal: Any) -> Callable[[], None]:
    add_time, add_value = log.times.append, log.values.append

    def append() -> None:
        add_time(_simulator._time)
        add_value(signal._val)

    def append_number() -> None:
        # The value of an intbv signal is changed in place, so its number is taken.
        add_time(_simulator._time)
        add_value(signal._val._val)

    return append_number if hasattr(signal._val, "_val") else append
