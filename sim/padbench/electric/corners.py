"""From a design sheet to the numbers that the simulation runs with, at two corners.

The fast corner has no delay at all: no data sheet promises a shortest one, so nothing less is
safe. The slow corner has the longest of `padbench.electric.judge`: the data sheet's longest answer
plus the charging of the cable, and the lines' latest edges. Whatever the hardware does lies between
the two.
"""

from typing import Literal

import numpy as np

from padbench.buttons import button_bit
from padbench.electric.design import Array, Design, design_of
from padbench.electric.judge import judge, lines_of
from padbench.electric.space import space
from padbench.pad import LineDelays, PadModel
from padbench.parts import Figure, RegisterPart
from padbench.rules.limits import Limit, Limits
from padbench.sheet import Sheet
from padbench.units import to_ps

__all__ = ["CORNERS", "Corner", "answer_time", "limits_of", "line_delays", "pad_model"]

Corner = Literal["fast", "slow"]
CORNERS: tuple[Corner, ...] = ("fast", "slow")


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


def answer_time(design: Design) -> float:
    """Seconds from an edge at the register to the data line at the console, at the slowest.

    Infinite if the line never gets to the console's thresholds.
    """
    (answer,) = judge(design, ("data.answer",))
    return float(answer.measured[0])


def line_delays(design: Design) -> dict[str, LineDelays]:
    """How late latch and clock reach the register at the slowest: the far threshold, worst corner.

    None where the line never gets there at that corner.
    """
    lines = lines_of(
        design, space(design, ("supply", "resistors", "temperature", "diode", "leakage"))
    )
    return {
        name: LineDelays(_latest(line.rise_high), _latest(line.fall_low))
        for name, line in lines.items()
    }


def _latest(times: Array) -> int | None:
    late = float(np.max(times))
    return to_ps(late) if np.isfinite(late) else None


def pad_model(sheet: Sheet, port_name: str, corner: Corner) -> PadModel:
    """The pad of a sheet on one kind of port, at one corner. ``KeyError`` for an unknown port."""
    part = sheet.part
    design = design_of(sheet, part, sheet.port(port_name))
    slow = corner == "slow"
    # A line that never gets there is a finding; the simulation takes an answer after all polls.
    answer = min(answer_time(design), 1.0)
    lines = line_delays(design)
    return PadModel(
        limits=limits_of(
            part, sheet.chip.stages, answer, _seconds(lines["latch"]), _seconds(lines["clock"])
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
        latch_line=lines["latch"] if slow else _undelayed(lines["latch"]),
        clock_line=lines["clock"] if slow else _undelayed(lines["clock"]),
    )


def _seconds(line: LineDelays) -> float:
    """Time in which a rise gets there; none for a line that never does, whose finding says so."""
    return (line.rise or 0) * 1e-12


def _undelayed(line: LineDelays) -> LineDelays:
    return LineDelays(None if line.rise is None else 0, None if line.fall is None else 0)
