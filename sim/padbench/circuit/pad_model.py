"""From a design sheet to the numbers that the simulation runs with, at two corners.

The fast corner has no delay at all: no data sheet promises a shortest one, so nothing less is
safe. The slow corner has the longest of `padbench.circuit.circuits`: the data sheet's longest
answer plus the charging of the cable, and the lines' latest edges. Whatever the hardware does lies
between the two.
"""

from dataclasses import replace
from typing import Literal

import numpy as np

from padbench.circuit.circuits import Circuits, Line
from padbench.circuit.defects import defect_of
from padbench.circuit.design import Array, design_of, shortest_period
from padbench.core.buttons import button_bit
from padbench.core.findings import Source
from padbench.core.limits import Limit, Limits
from padbench.core.pad import LineDelays, PadModel
from padbench.core.units import to_ps
from padbench.parts import Figure, RegisterPart
from padbench.sheet import Sheet

__all__ = ["CORNERS", "Corner", "limits_of", "pad_model"]

Corner = Literal["fast", "slow"]
CORNERS: tuple[Corner, ...] = ("fast", "slow")

_CABLE = Source("cable: first-order RC", "calculated")
_STRETCHED = Source("its times at this supply and temperature: a fitted law", "from memory")


def limits_of(
    part: RegisterPart,
    stages: int,
    answers: tuple[float, float],
    latch_rise: float,
    clock_rise: float,
    *,
    stretch: float = 1.0,
) -> Limits:
    """The part's guaranteed requirements.

    ``answer`` is the register's slowest answer, ``latch_rise`` and ``clock_rise`` what the lines
    to it take, all in seconds. ``stretch`` is by how much the part's own times are longer than in
    its table, which is where they hold.
    """

    def at_least(figure: Figure) -> Limit:
        assert figure.min is not None
        # A second is as good as never here.
        needed = to_ps(min(figure.min * stretch, 1.0))
        return Limit(needed, (figure.cited,) if stretch == 1.0 else (figure.cited, _STRETCHED))

    sources = (part.clock_to_output.cited, _CABLE)
    return Limits(
        load_width=at_least(part.load_width),
        clock_width=at_least(part.clock_width),
        clock_period=at_least(shortest_period(part, stages)),
        removal=at_least(part.removal),
        setup_parallel=at_least(part.setup_parallel),
        # One picosecond more than the answer: a sample at the very moment still sees the old level.
        answer=Limit(to_ps(answers[1]) + to_ps(clock_rise) + 1, sources),
        first_answer=Limit(to_ps(answers[0]) + to_ps(latch_rise) + 1, sources),
        clock_at_load_end=(part.cited,) if part.clock_high_at_load_end else (),
    )


def _delays(line: Line) -> LineDelays:
    """How late a line reaches the register at the slowest: the far threshold, worst corner.

    None where the line never gets there at that corner.
    """
    return LineDelays(_latest(line.rise_high), _latest(line.fall_low))


def _latest(times: Array) -> int | None:
    late = float(np.max(times))
    return to_ps(late) if np.isfinite(late) else None


def pad_model(sheet: Sheet, port_name: str, corner: Corner) -> PadModel:
    """The pad of a sheet on one kind of port, at one corner. ``KeyError`` for an unknown port."""
    part = sheet.part
    circuits = Circuits(design_of(sheet, part, sheet.port(port_name)))
    slow = corner == "slow"
    # A line that never gets there is a finding; the simulation takes an answer after all polls.
    first, following = (min(float(np.max(times)), 1.0) for times in circuits.answers)
    latch, clock = _delays(circuits.latch), _delays(circuits.clock)
    limits = limits_of(
        part,
        sheet.chip.stages,
        (first, following),
        _seconds(latch),
        _seconds(clock),
        stretch=float(np.max(circuits.stretched)),
    )
    soonest, answers = _program(sheet, (first, following), slow)
    if sheet.chip.kind == "firmware":
        limits = replace(limits, hold=Limit(soonest[1], (Source("the sheet says so", "given"),)))
    return PadModel(
        limits=limits,
        stages=sheet.chip.stages,
        stage_of=tuple((button_bit(name), stage) for name, stage in sheet.buttons.items()),
        serial={"ground": 0, "supply": 1, "open": None}[sheet.chip.serial_input],
        load=part.load,
        load_inverted=sheet.chip.latch_inverted != (part.load_level == "low"),
        floating=sheet.pull_up.value is None,
        policy=sheet.policy.opposite_directions,
        stuck=sum(button_bit(name) for name in sheet.contacts.stuck),
        answer=answers[1],
        soonest=soonest[1],
        first_answer=answers[0] if sheet.chip.kind == "firmware" else None,
        first_soonest=soonest[0],
        latch_line=latch if slow else _undelayed(latch),
        clock_line=clock if slow else _undelayed(clock),
        defect=defect_of(sheet, port_name),
    )


def _program(
    sheet: Sheet, longest: tuple[float, float], slow: bool
) -> tuple[tuple[int, int], tuple[int, int]]:
    """Soonest and longest answers (ps) to latch and clock at one corner.

    Only a program promises a shortest one. At the fast corner every answer is the soonest.
    """
    times = (sheet.chip.first_bit, sheet.chip.next_bit)
    first, following = (0 if time is None else to_ps(time.low) for time in times)
    soonest = (first, following)
    return soonest, (to_ps(longest[0]), to_ps(longest[1])) if slow else soonest


def _seconds(line: LineDelays) -> float:
    """Time in which a rise gets there; none for a line that never does, whose finding says so."""
    return (line.rise or 0) * 1e-12


def _undelayed(line: LineDelays) -> LineDelays:
    return LineDelays(None if line.rise is None else 0, None if line.fall is None else 0)
