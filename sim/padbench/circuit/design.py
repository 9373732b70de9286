"""Designs as numbers, many at a time: what the corner calculation works on.

    design = design_of(sheet, part, port)      # one design, every field of shape (1,)
    many = stacked([design, other])            # as many as you like, shape (n,)
    worst_case(many)                           # see `padbench.circuit.worst_case`

Every field is an array of shape (n,) in SI units. A resistor that is not there is `ABSENT` ohms.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padbench.core.findings import Source
from padbench.core.units import Value
from padbench.parts import Figure, PortKind, RegisterPart
from padbench.sheet import Sheet
from padbench.sheet.fields import RESISTOR_TOLERANCE

__all__ = [
    "ABSENT",
    "USUAL_SUPPLY",
    "Array",
    "Design",
    "Feeding",
    "changed",
    "design_of",
    "feeding",
    "least",
    "most",
    "shortest_period",
    "stacked",
]

Array = NDArray[np.float64]

ABSENT = 1e15
"""Ohms of a resistor that is not fitted: far above any leakage resistance."""

Feeding = Literal["sheet", "port", "itself"]
"""Whose figure a pad's supply is: the sheet's, the port's own, or the sheet's on every port."""

USUAL_SUPPLY = (4.5, 5.5)
"""V from a port: 5 V (common practice) and a spread (assumed)."""

_SMALLEST = 1e-6
"""Ohms of a wire; keeps a press on a wire in place of a pull-up from being 0 / 0."""


@dataclass(frozen=True)
class Design:
    """n pads, each on one kind of port. Names ending in ``_tol`` are parts of one.

    ``low_part`` and ``high_part`` are the register's thresholds as parts of the supply,
    ``input_low_part`` and ``input_high_part`` those of the console's data input, or volts whatever
    the supply where ``level_fixed`` and ``input_fixed`` are not 0. ``*_hot`` figures
    hold from 25 °C to ``hottest`` (°C), the others at 25 °C. Where ``fed`` is 1 the supply is the
    console's too, in front of a diode if there is one; where it is 0 the pad makes its own, and the
    console's is ``console_low`` to ``console_high``. ``emission``, ``supply_emission`` and
    ``data_emission`` are 0 where there is no diode in latch and clock, supply or data.
    ``lift_low`` and ``lift_high`` are the level that a port lifts a line to, 0 for its supply, and
    ``lifts_only`` is 1 where it does no more than that. ``sink_most`` is infinite where nobody says
    what a port may sink. ``edge_max`` is infinite where any edge will do. Of the poll's times the
    shortest stand first and the longest end in ``_high``; ``stretch_*`` are those of
    `padbench.parts.Derating`. ``part_least`` and ``part_most`` are the supplies that a part takes.
    ``sink_drop`` and ``source_drop`` are volts across the output at its currents and at a supply of
    ``drive_volts``, ``transition`` (s) its slowest edge there, 10 to 90 %, with 50 pF.
    ``hold`` is the shortest answer to a clock that anybody promises.
    """

    supply_low: Array
    supply_high: Array
    fed: Array
    console_low: Array
    console_high: Array
    coldest_used: Array
    hottest_used: Array
    pull_up: Array
    pull_up_tol: Array
    pull_up_rating: Array
    closed: Array
    worn: Array
    dirt: Array
    bounce: Array
    cable_length: Array
    cable_per_metre: Array
    coupling: Array
    latch_r: Array
    latch_tol: Array
    clock_r: Array
    clock_tol: Array
    line_rating: Array
    latch_width: Array
    latch_to_clock: Array
    clock_low: Array
    clock_high: Array
    sample: Array
    clocks: Array
    latch_width_high: Array
    latch_to_clock_high: Array
    clock_low_high: Array
    clock_high_high: Array
    sample_high: Array
    period: Array

    part_least: Array
    part_most: Array
    chips: Array
    inputs: Array
    low_part: Array
    high_part: Array
    series_b: Array
    hc: Array
    level_fixed: Array
    hottest: Array
    sink: Array
    sink_hot: Array
    sink_drop: Array
    source: Array
    source_hot: Array
    source_drop: Array
    sink_typical: Array
    transition: Array
    drive_volts: Array
    drive_threshold: Array
    leakage: Array
    leakage_hot: Array
    quiescent: Array
    quiescent_hot: Array
    input_c: Array
    clock_to_output: Array
    load_to_output: Array
    hold: Array
    load_min: Array
    clock_min: Array
    clock_typical: Array
    answer_typical: Array
    clock_period: Array
    removal: Array
    clock_at_load_end: Array
    stretch_volts: Array
    stretch_threshold: Array
    stretch_exponent: Array
    stretch_degree: Array
    edge_max: Array

    lift_r: Array
    lift_low: Array
    lift_high: Array
    lifts_only: Array
    sink_most: Array
    pull_r: Array
    port_leakage: Array
    saturation_low: Array
    saturation_high: Array
    emission: Array
    supply_emission: Array
    data_emission: Array
    input_low_part: Array
    input_high_part: Array
    input_fixed: Array
    input_leakage: Array
    console_c: Array
    data_up: Array
    data_down: Array
    budget: Array

    def __len__(self) -> int:
        """How many designs there are."""
        return len(self.supply_low)


def design_of(sheet: Sheet, part: RegisterPart, port: PortKind) -> Design:
    """One sheet on one kind of port; spreads of cable, contact and poll at their worst ends."""
    poll, pad = sheet.poll, sheet.pad
    resistors = sheet.resistors
    scale = 5.0 if part.levels == "series-b" else 1.0
    diode_low, diode_high = _diode(port)
    emission = 0.0 if port.diode_emission is None else most(port.diode_emission)
    console = pad.supply if port.supply is None else port.supply
    fed = feeding(pad.supply, port)
    plug = console if fed == "port" else pad.supply
    lifted = port.output_high
    numbers: dict[str, float] = {
        "supply_low": _ends(plug)[0],
        "supply_high": _ends(plug)[1],
        "fed": float(fed != "itself"),
        "console_low": _ends(console)[0],
        "console_high": _ends(console)[1],
        "coldest_used": pad.temperature.low,
        "hottest_used": pad.temperature.high,
        "pull_up": _ohms(sheet.pull_up.value),
        "pull_up_tol": _tolerance(sheet.pull_up.value),
        "pull_up_rating": sheet.pull_up.rating.low,
        "closed": max(sheet.contacts.closed.low, _SMALLEST),
        "worn": max(sheet.contacts.worn.high, _SMALLEST),
        "dirt": sheet.contacts.open.low,
        "bounce": sheet.contacts.bounce.high,
        "cable_length": sheet.cable.length.high,
        "cable_per_metre": sheet.cable.capacitance.high,
        "coupling": sheet.cable.coupling.high / 100,
        "latch_r": _ohms(resistors.latch_to_supply),
        "latch_tol": _tolerance(resistors.latch_to_supply),
        "clock_r": _ohms(resistors.clock_to_supply),
        "clock_tol": _tolerance(resistors.clock_to_supply),
        "line_rating": resistors.rating.low,
        "latch_width": poll.latch_width.low,
        "latch_to_clock": poll.latch_to_clock.low,
        "clock_low": poll.clock_low.low,
        "clock_high": poll.clock_high.low,
        "sample": poll.sample.low,
        "clocks": poll.clocks,
        "latch_width_high": poll.latch_width.high,
        "latch_to_clock_high": poll.latch_to_clock.high,
        "clock_low_high": poll.clock_low.high,
        "clock_high_high": poll.clock_high.high,
        "sample_high": poll.sample.high,
        "period": poll.period.low,
        "part_least": part.supply.min or 0.0,
        "part_most": np.inf if part.supply.max is None else part.supply.max,
        "chips": -(-sheet.chip.stages // part.stages),
        "inputs": len(sheet.buttons),
        "low_part": most(part.input_low) / scale,
        "high_part": least(part.input_high) / scale,
        "series_b": float(part.levels == "series-b"),
        "hc": float(part.levels == "hc"),
        "level_fixed": float(part.levels == "fixed"),
        "hottest": most(part.temperature),
        "sink": least(part.sink_current),
        "sink_hot": least(part.sink_current_over_temperature),
        "sink_drop": most(part.sink_drop),
        "source": least(part.source_current),
        "source_hot": least(part.source_current_over_temperature),
        "source_drop": most(part.source_drop),
        "sink_typical": part.sink_current.typ or least(part.sink_current),
        "transition": most(part.output_transition),
        **_drive(part),
        "leakage": most(part.leakage),
        "leakage_hot": most(part.leakage_over_temperature),
        "quiescent": most(part.quiescent_current),
        "quiescent_hot": most(part.quiescent_current_over_temperature),
        "input_c": most(part.input_capacitance),
        "clock_to_output": _answer(sheet.chip.next_bit, part),
        "load_to_output": _answer(sheet.chip.first_bit, part, part.load_to_output),
        "hold": 0.0 if sheet.chip.next_bit is None else sheet.chip.next_bit.low,
        "load_min": least(part.load_width),
        "clock_min": least(part.clock_width),
        **_typical(sheet, part),
        "clock_period": shortest_period(part, sheet.chip.stages).min or 0.0,
        "removal": least(part.removal),
        "clock_at_load_end": float(part.clock_high_at_load_end),
        **_stretch(part),
        "edge_max": np.inf if part.clock_edge_max.max is None else part.clock_edge_max.max,
        "lift_r": ABSENT
        if port.output_high_resistance is None
        else most(port.output_high_resistance),
        "lift_low": 0.0 if lifted is None else least(lifted),
        "lift_high": 0.0 if lifted is None else most(lifted),
        "lifts_only": float(port.lifts_only),
        "sink_most": np.inf if port.sink_current is None else most(port.sink_current),
        "pull_r": max(most(port.output_low_resistance), 1e-3),
        "port_leakage": most(port.output_leakage),
        "saturation_low": diode_low,
        "saturation_high": diode_high,
        "emission": emission * port.diode,
        # What makes its own supply is not bound to what comes through the port's diode.
        "supply_emission": emission * (port.supply_diode and fed != "itself"),
        "data_emission": emission * port.data_diode,
        "input_low_part": most(port.input_low),
        "input_high_part": least(port.input_high),
        "input_fixed": float(port.input_low.unit == "V"),
        "input_leakage": most(port.input_leakage),
        "console_c": most(port.input_capacitance),
        "data_up": ABSENT if port.data_pull_up is None else least(port.data_pull_up),
        "data_down": ABSENT if port.data_pull_down is None else least(port.data_pull_down),
        "budget": most(port.supply_current),
    }
    return Design(**{name: np.array([number], np.float64) for name, number in numbers.items()})


def feeding(supply: Value, port: PortKind) -> Feeding:
    """Who feeds a pad of this supply on this port.

    The sheet's figure holds wherever the port has none of its own, or none that it disagrees with.
    Else a pad for the usual 5 V runs on what the port gives, and one for anything else (3.3 V from
    a regulator, 12 V) makes its own supply, on a port whose lines stay as they are.
    """

    def meets(low: float, high: float) -> bool:
        return supply.low <= high and supply.high >= low

    if port.supply is None or meets(*_ends(port.supply)):
        return "sheet"
    return "port" if meets(*USUAL_SUPPLY) else "itself"


def shortest_period(part: RegisterPart, stages: int) -> Figure:
    """The least time (s) from one rising clock edge to the next, as ``min``.

    Between chained parts a bit has to be out of one and stand at the next before the clock comes
    again: clock to output plus set-up of the serial input.
    """
    period = 1 / least(part.clock_frequency)
    hop = most(part.clock_to_output) + least(part.setup_serial)
    if stages > part.stages and hop > period:
        known = part.clock_to_output.cited
        source = Source(f"chained parts; {known.title}", known.kind)
        return replace(part.clock_to_output, min=hop, typ=None, max=None, cited=source)
    return replace(part.clock_frequency, min=period, typ=None, max=None, unit="s")


def _typical(sheet: Sheet, part: RegisterPart) -> dict[str, float]:
    """What a usual part notices of a clock, and when it answers; without figures half the limits.

    So it is with the 4021 family (90 of 180 ns, 160 of 320 ns; from memory).
    """
    width, answer, own = part.clock_width, part.clock_to_output, sheet.chip.next_bit
    return {
        "clock_typical": width.typ or least(width) / 2,
        "answer_typical": (answer.typ or most(answer) / 2) if own is None else own.low,
    }


def _drive(part: RegisterPart) -> dict[str, float]:
    """The supply at which the output's figures hold, and the threshold of its transistors (V).

    Those of the derating. A part without one: 5 V, and three tenths of it, as 1.5 V of the B series
    (assumed; a transistor fitted with a higher threshold is slower between the same figures).
    """
    law = part.derating
    volts, threshold = (5.0, 1.5) if law is None else (law.volts, law.threshold)
    return {"drive_volts": volts, "drive_threshold": threshold}


def _stretch(part: RegisterPart) -> dict[str, float]:
    """Numbers with which the law of `Derating` gives 1 stand for a part that has none."""
    law = part.derating
    if law is None:
        numbers = (1.0, 0.0, 1.0, 0.0)
    else:
        numbers = (law.volts, law.threshold, law.exponent, law.per_degree)
    names = ("volts", "threshold", "exponent", "degree")
    return {f"stretch_{name}": number for name, number in zip(names, numbers, strict=True)}


def stacked(designs: Sequence[Design]) -> Design:
    """Several arrays of designs as one, in their order."""
    return Design(
        **{
            field.name: np.concatenate([getattr(design, field.name) for design in designs])
            for field in fields(Design)
        }
    )


def changed(design: Design, **values: ArrayLike) -> Design:
    """One design with other values; arrays among them make as many designs as they have items."""
    arrays = {name: np.atleast_1d(np.asarray(value, np.float64)) for name, value in values.items()}
    size = max([len(design), *(len(array) for array in arrays.values())])
    wide = {
        field.name: np.broadcast_to(getattr(design, field.name), (size,))
        for field in fields(Design)
    }
    return replace(
        design, **wide | {name: np.broadcast_to(array, (size,)) for name, array in arrays.items()}
    )


def least(figure: Figure) -> float:
    """The minimum, or the typical figure of a table that gives no less."""
    return _first(figure.min, figure.typ, figure.max)


def most(figure: Figure) -> float:
    """The maximum, or the typical figure of a table that gives no more."""
    return _first(figure.max, figure.typ, figure.min)


def _first(*numbers: float | None) -> float:
    return next((number for number in numbers if number is not None), 0.0)


def _ends(volts: Value | Figure) -> tuple[float, float]:
    return (volts.low, volts.high) if isinstance(volts, Value) else (least(volts), most(volts))


def _answer(own: Value | None, part: RegisterPart, to_load: Figure | None = None) -> float:
    """A program has two answers; most registers' data sheets give one for both edges."""
    return most(to_load or part.clock_to_output) if own is None else own.high


def _ohms(value: Value | None) -> float:
    return ABSENT if value is None else max(value.nominal, _SMALLEST)


def _tolerance(value: Value | None) -> float:
    if value is None or value.nominal == 0:
        return RESISTOR_TOLERANCE
    return value.high / value.nominal - 1


def _diode(port: PortKind) -> tuple[float, float]:
    current = port.diode_saturation_current
    # Without a diode the number is not used; the equations want one that is not zero.
    return (1e-9, 1e-9) if current is None else (least(current), most(current))
