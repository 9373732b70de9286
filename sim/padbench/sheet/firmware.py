"""A pad or adapter that is a program on a microcontroller, as a part like any register."""

from padbench.core.findings import Source
from padbench.core.units import Value
from padbench.parts import Figure, RegisterPart


class Firmware(str):
    """The name of such a part; no text of a sheet can be one."""

    __slots__ = ()


FIRMWARE = Firmware("firmware")

_PIN = Source("an ordinary microcontroller pin", "assumed")
_SHEET = Source("the sheet says so", "given")


def firmware_part(first: Value, following: Value, pulse: Value, stages: int) -> RegisterPart:
    """The part that such a program amounts to, at its worst.

    It notices no pulse shorter than ``pulse`` (s). Its longest answer is the longer one of
    ``first`` (from the latch) and ``following`` (from a clock), both in seconds, and it follows no
    clock that is faster than its longest answer to one.
    """

    def promised(least: float | None, most: float | None, unit: str = "s") -> Figure:
        return Figure(least, None, most, unit, "as it runs", _SHEET)

    def pin(least: float | None, most: float | None, unit: str) -> Figure:
        return Figure(least, None, most, unit, "3 V to 5 V", _PIN)

    shortest = promised(pulse.high, None)
    drive, leak, quiescent = pin(4e-3, None, "A"), pin(None, 1e-6, "A"), pin(None, 20e-3, "A")
    return RegisterPart(
        name="firmware",
        family="4021",
        load="transparent",
        load_level="high",
        schmitt_clock=True,
        stages=stages,
        pins={},
        cited=_SHEET,
        pins_cited=None,
        supply=pin(0.0, 50.0, "V"),
        temperature=pin(-40.0, 85.0, "°C"),
        input_low=pin(None, 0.3, "fraction"),
        input_high=pin(0.7, None, "fraction"),
        sink_current=drive,
        sink_current_over_temperature=drive,
        source_current=drive,
        source_current_over_temperature=drive,
        clock_to_output=promised(None, max(first.high, following.high)),
        output_transition=pin(None, 50e-9, "s"),
        clock_width=shortest,
        load_width=shortest,
        setup_serial=shortest,
        setup_parallel=shortest,
        removal=shortest,
        clock_frequency=promised(1 / following.high, None, "Hz"),
        clock_edge_max=Figure(None, None, None, "s", "any edge", _PIN),
        leakage=leak,
        leakage_over_temperature=leak,
        input_capacitance=pin(None, 10e-12, "F"),
        sink_drop=pin(None, 0.5, "V"),
        source_drop=pin(None, 0.5, "V"),
        quiescent_current=quiescent,
        quiescent_current_over_temperature=quiescent,
    )
