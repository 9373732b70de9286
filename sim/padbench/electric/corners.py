"""From a design sheet to the numbers that the simulation runs with, at two corners.

The fast corner has no delay at all: no data sheet promises a shortest one, so nothing less is
safe. The slow corner has the data sheet's longest answer plus the charging of the cable. Whatever
the hardware does lies between the two.
"""

from typing import Literal

from padbench.buttons import button_bit
from padbench.electric.edges import rc_time
from padbench.pad import LineDelays, PadModel
from padbench.parts import Figure, PortKind, RegisterPart, port_kind, register_part
from padbench.rules.limits import Limit, Limits
from padbench.sheet import Sheet
from padbench.units import Value, to_ps

__all__ = ["CORNERS", "Corner", "answer_time", "limits_of", "line_delays", "pad_model"]

Corner = Literal["fast", "slow"]
CORNERS: tuple[Corner, ...] = ("fast", "slow")

_OUTPUT_DROP = 0.4
"""Volts across the output at the currents of the data sheet (fact of the B series, from memory)."""
_TEST_LOAD = 50e-12
"""Farads already on the output when the data sheet measures its delays (from memory)."""
_HIGH, _LOW = 0.7, 0.3
"""Input thresholds as parts of the supply: 3.5 V and 1.5 V at 5 V, JEDEC JESD13-B."""


def limits_of(
    part: RegisterPart, stages: int, answer: float, latch_rise: float, clock_rise: float
) -> Limits:
    """The part's guaranteed requirements.

    ``answer`` is the register's slowest answer, ``latch_rise`` and ``clock_rise`` what the lines
    to it take, all in seconds. Between chained parts a bit has to be out of one and stand at the
    next before the clock comes again: clock to output plus set-up of the serial input.
    """
    frequency, delay, setup = part.clock_frequency, part.clock_to_output, part.setup_serial
    assert frequency.min is not None
    assert delay.max is not None
    assert setup.min is not None
    period = Limit(to_ps(1 / frequency.min), frequency.source)
    hop = Limit(to_ps(delay.max + setup.min), f"chained parts; {delay.source}")
    if stages > part.stages and hop.ps > period.ps:
        period = hop
    source = part.clock_to_output.source + "; cable: first-order RC"
    return Limits(
        load_width=_at_least(part.load_width),
        clock_width=_at_least(part.clock_width),
        clock_period=period,
        removal=_at_least(part.removal),
        setup_parallel=_at_least(part.setup_parallel),
        # One picosecond more than the answer: a sample at the very moment still sees the old level.
        answer=Limit(to_ps(answer) + to_ps(clock_rise) + 1, source),
        first_answer=Limit(to_ps(answer) + to_ps(latch_rise) + 1, source),
    )


def _at_least(figure: Figure) -> Limit:
    assert figure.min is not None
    return Limit(to_ps(figure.min), figure.source)


def answer_time(sheet: Sheet, part: RegisterPart, port: PortKind) -> float:
    """Seconds from an edge at the register to the data line at the console, at the slowest.

    Longest clock-to-output delay, plus the charging of cable and console input beyond the load of
    the data sheet's test, through the output's resistance, to 70 % of the supply. The output is
    taken as the resistor that drops 0.4 V at its guaranteed current.
    """
    delay = part.clock_to_output.max
    current = min(part.sink_current.min or 0.0, part.source_current.min or 0.0)
    assert delay is not None
    load = _cable_capacitance(sheet) + _most(port.input_capacitance) - _TEST_LOAD
    supply = sheet.pad.supply.low
    return delay + rc_time(_OUTPUT_DROP / current, max(load, 0.0), 0.0, supply, _HIGH * supply)


def line_delays(
    sheet: Sheet, part: RegisterPart, port: PortKind, pull_up: Value | None
) -> LineDelays:
    """How late latch or clock reaches the register at the slowest.

    A port that drives both ways is taken as quick: its strength is not known. One that only pulls
    down leaves the rise to the pad's own resistor, which charges cable and inputs to 70 % of the
    supply (first-order RC, from 0 V, which is on the safe side of the diode's drop).
    """
    if port.drives_high:
        return LineDelays(0, 0)
    if pull_up is None:
        return LineDelays(None, 0)
    chips = -(-sheet.chip.stages // part.stages)
    load = _cable_capacitance(sheet) + chips * _most(part.input_capacitance)
    supply = sheet.pad.supply.low
    return LineDelays(to_ps(rc_time(pull_up.high, load, 0.0, supply, _HIGH * supply)), 0)


def _most(figure: Figure) -> float:
    """The maximum, or the typical figure of a table that gives no more."""
    return figure.max if figure.max is not None else figure.typ or 0.0


def _cable_capacitance(sheet: Sheet) -> float:
    return sheet.cable.length.high * sheet.cable.capacitance.high


def pad_model(sheet: Sheet, port_name: str, corner: Corner) -> PadModel:
    """The pad of a sheet on one kind of port, at one corner. ``KeyError`` for an unknown port."""
    part, port = register_part(sheet.chip.part), port_kind(port_name)
    slow = corner == "slow"
    answer = answer_time(sheet, part, port)
    latch = line_delays(sheet, part, port, sheet.resistors.latch_to_supply)
    clock = line_delays(sheet, part, port, sheet.resistors.clock_to_supply)
    return PadModel(
        limits=limits_of(
            part, sheet.chip.stages, answer, (latch.rise or 0) * 1e-12, (clock.rise or 0) * 1e-12
        ),
        stages=sheet.chip.stages,
        stage_of=tuple((button_bit(name), stage) for name, stage in sheet.buttons.items()),
        serial={"ground": 0, "supply": 1, "open": None}[sheet.chip.serial_input],
        load=part.load,
        load_inverted=sheet.chip.latch_inverted != (part.load_level == "low"),
        floating=sheet.pull_up.value is None,
        policy=sheet.policy.opposite_directions,
        stuck=sum(button_bit(name) for name in sheet.contacts.stuck),
        answer=to_ps(answer) if slow else 0,
        latch_line=latch if slow else _undelayed(latch),
        clock_line=clock if slow else _undelayed(clock),
    )


def _undelayed(line: LineDelays) -> LineDelays:
    return LineDelays(None if line.rise is None else 0, None if line.fall is None else 0)
