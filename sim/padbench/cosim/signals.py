"""Time and values inside an HDL simulation: picoseconds, and the levels of a timeline.

The bench counts picoseconds; a simulator counts steps of its own precision. Every time the bench
asks for is a whole number of nanoseconds (`padbench.cosim.job.GRID`), so a precision of 1 ns or
finer is exact.
"""

from collections.abc import Iterable
from typing import Any

from cocotb import simulator
from cocotb.handle import ValueObjectBase
from cocotb.simtime import TimeUnit, convert
from cocotb.triggers import Timer
from cocotb.types import Logic, LogicArray

from padbench.core.levels import FLOATING, HIGH, LOW, UNKNOWN

_LEVELS = {"0": LOW, "1": HIGH, "L": LOW, "H": HIGH, "Z": FLOATING}
"""Weak levels of VHDL count as levels; all else (X, U, W, -) is unknown (IEEE Std 1164)."""

_TURNED = (HIGH, LOW, UNKNOWN, FLOATING)


Time = int | tuple[float, TimeUnit]
"""Picoseconds, or a value and its unit as cocotb has them: ``(320, "ns")``."""


def ps_of(time: Time) -> int:
    """A time as picoseconds, rounded. Raises ``ValueError`` for another unit."""
    return time if isinstance(time, int) else round(convert(*time, to="ps"))


def whole(name: str, value: Any, least: int = 0, most: int | None = None) -> int:
    """A whole number of a field; ``ValueError`` names both where it is none, or out of bounds."""
    fits = isinstance(value, int) and not isinstance(value, bool) and value >= least
    if not fits or (most is not None and value > most):
        wanted = f"at least {least}" if most is None else f"from {least} to {most}"
        raise ValueError(f"{name} is {value!r:.60}; give a whole number {wanted}")
    return int(value)


def length_of(name: str, time: Time, least: int = 0) -> int:
    """A time as picoseconds; ``ValueError`` names the field where it is shorter or no time."""
    wrong = f"{name} is {time!r:.60}; give picoseconds or (value, unit), such as (320, 'ns')"
    if not isinstance(time, int | tuple) or isinstance(time, bool):
        raise ValueError(wrong)
    try:
        ps = ps_of(time)
    except (TypeError, ValueError, OverflowError):
        raise ValueError(wrong) from None
    if ps < least:
        raise ValueError(f"{name} is {time!r:.60}; give a time of at least {least} ps")
    return ps


class BitOf:
    """One bit of a vector, to be read and driven as a port of its own."""

    def __init__(self, vector: Any, bit: int, shadow: LogicArray) -> None:
        self.vector, self.bit, self.shadow = vector, bit, shadow

    def __len__(self) -> int:
        """One bit."""
        return 1

    @property
    def value(self) -> Any:
        """Its level."""
        return self.vector.value[self.bit]

    @value.setter
    def value(self, level: Any) -> None:
        self.shadow[self.bit] = Logic(int(level) if isinstance(level, bool | int) else level)
        self.vector.value = self.shadow

    @property
    def value_change(self) -> Any:
        """Some bit of its vector changes."""
        return self.vector.value_change


def width_of(handle: Any) -> int:
    """Bits of a signal; 0 for what is none, or has no bits."""
    signal = isinstance(handle, ValueObjectBase | BitOf) and hasattr(handle, "__len__")
    return len(handle) if signal else 0


def single(role: str, handle: Any) -> Any:
    """The handle; ``ValueError`` if it is not that of a signal of one bit."""
    if width_of(handle) != 1:
        has = f"has {width_of(handle)} bits" if width_of(handle) else f"is {handle!r:.60}"
        raise ValueError(f"{role} {has}; pass the handle of a signal of one bit")
    return handle


class PrecisionError(Exception):
    """The simulator's time step is coarser than 1 ns; the message says what it is."""


def _exponent() -> int:
    """The simulator's step is 10 to this power of a picosecond."""
    exponent = int(simulator.get_precision()) + 12
    if exponent > 3:
        raise PrecisionError(f"the simulator counts time in steps of 1e{exponent - 12} s")
    return exponent


def steps(ps: int) -> int:
    """Picoseconds as steps of the simulator, rounded; raises `PrecisionError`."""
    exponent = _exponent()
    return int(ps * 10**-exponent) if exponent <= 0 else round(ps / 10**exponent)


def now_ps() -> int:
    """Time of the simulation in picoseconds, rounded down."""
    high, low = simulator.get_sim_time()
    exponent, now = int(simulator.get_precision()) + 12, (int(high) << 32) + int(low)
    return int(now * 10**exponent) if exponent >= 0 else int(now // 10**-exponent)


async def wait_until(when: int) -> None:
    """Sleep until a time in picoseconds; returns at once if that has passed."""
    left = when - now_ps()
    if left > 0:
        await Timer(max(1, steps(left)), "step")


async def play(actions: Iterable[tuple[int, Any, Any]]) -> None:
    """Give handles their values on time: (picoseconds from now, handle, value) in time order."""
    waits: dict[int, Any] = {}
    at = 0
    for when, handle, value in actions:
        if when > at:
            # The same few pauses come again and again; a timer can be waited for many times.
            pause = when - at
            timer = waits.get(pause)
            if timer is None:
                timer = waits[pause] = Timer(steps(pause), "step")
            await timer
            at = when
        handle.value = value


def level_of(value: Any) -> int:
    """LOW, HIGH, UNKNOWN or FLOATING of a 1-bit value."""
    return _LEVELS.get(str(value).upper(), UNKNOWN)


def turned(level: int) -> int:
    """The level on the other side of an inverter; what is no level stays as it is."""
    return _TURNED[level]


def word_of(value: Any) -> int | None:
    """A vector as a number, None if any bit is neither high nor low."""
    text = str(value).upper().replace("L", "0").replace("H", "1")
    return None if text.strip("01") else int(text, 2)
