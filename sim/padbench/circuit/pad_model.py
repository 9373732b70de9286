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
from padbench.circuit.design import design_of, shortest_period
from padbench.core.buttons import BUTTONS, button_bit
from padbench.core.findings import Source
from padbench.core.limits import Limit, Limits
from padbench.core.pad import Beside, LineDelays, PadModel
from padbench.core.units import to_ps
from padbench.parts import Figure, RegisterPart
from padbench.sheet import Sheet

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
        # Of a line that never gets there its finding says so.
        *((line.rise or 0) * 1e-12 for line in (latch, clock)),
        stretch=float(np.max(circuits.stretched)),
    )
    # Only a program promises a shortest answer. At the fast corner every answer is the soonest.
    own = (sheet.chip.first_bit, sheet.chip.next_bit)
    soonest = [0 if time is None else to_ps(time.low) for time in own]
    answers = [to_ps(first), to_ps(following)] if slow else soonest
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
        first=sheet.chip.stages - sheet.last_stage,
        beside=others_in_chain(sheet),
    )


def others_in_chain(sheet: Sheet) -> tuple[Beside, ...]:
    """The other pads of the chain, each holding every other one of its buttons, no two alike."""
    others = []
    for place, (name, last, buttons) in enumerate(sheet.beside):
        held = [one for one in BUTTONS if one in buttons][place % 2 :: 2]
        bits = (last - buttons[one] for one in held)
        others.append(Beside(name, sheet.chip.stages - last, sum(128 >> bit for bit in bits)))
    return tuple(others)


def _delays(line: Line) -> LineDelays:
    """How late a line reaches the register at the slowest: the far threshold, worst corner.

    None where the line never gets there at that corner.
    """
    late = (float(np.max(times)) for times in (line.rise_high, line.fall_low))
    return LineDelays(*(to_ps(time) if np.isfinite(time) else None for time in late))


def _undelayed(line: LineDelays) -> LineDelays:
    return LineDelays(*(None if time is None else 0 for time in (line.rise, line.fall)))
