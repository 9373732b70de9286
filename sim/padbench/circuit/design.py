"""Designs as numbers, many at a time: what the corner calculation works on.

    design = design_of(sheet, part, port)      # one design, every field of shape (1,)
    many = stacked([design, other])            # as many as you like, shape (n,)
    worst_case(many)                           # see `padbench.circuit.worst_case`

Every field is an array of shape (n,) in SI units. A resistor that is not there is `ABSENT` ohms.
"""

# ruff: noqa: RUF009 - `_by` makes a field, as `field` does

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padbench.core.findings import Source
from padbench.core.units import Value
from padbench.parts import Derating, Figure, PortKind, RegisterPart
from padbench.sheet import Sheet
from padbench.sheet.fields import RESISTOR_TOLERANCE
from padbench.sheet.model import Chip

Array = NDArray[np.float64]

ABSENT = 1e15
"""Ohms of a resistor that is not fitted: far above any leakage resistance."""

Feeding = Literal["sheet", "port", "itself"]
"""Whose figure a pad's supply is: the sheet's, the port's own, or the sheet's on every port."""

USUAL_SUPPLY = (4.5, 5.5)
"""V from a port: 5 V (common practice) and a spread (assumed)."""

_SMALLEST = 1e-6
"""Ohms of a wire; keeps a press on a wire in place of a pull-up from being 0 / 0."""


@dataclass(frozen=True, slots=True)
class _Made:
    """What a design is made from."""

    sheet: Sheet
    part: RegisterPart
    port: PortKind

    @property
    def chip(self) -> Chip:
        return self.sheet.chip

    @property
    def law(self) -> Derating | None:
        return self.part.derating

    @property
    def scale(self) -> float:
        """Volts for which a part gives its thresholds; 1 where they are fractions or fixed."""
        return 5.0 if self.part.levels == "series-b" else 1.0

    @property
    def by(self) -> Feeding:
        return feeding(self.sheet.pad.supply, self.port)

    @property
    def console(self) -> Value | Figure:
        return self.port.supply or self.sheet.pad.supply

    @property
    def plug(self) -> Value | Figure:
        return self.console if self.by == "port" else self.sheet.pad.supply

    @property
    def emission(self) -> float:
        return _or(most, self.port.diode_emission, 0.0)


def _by(number: Callable[[_Made], float]) -> Any:
    """A field of `Design`, and how its number comes about."""
    return field(metadata={"by": number})


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
    what a port may sink. ``edge_max`` is infinite where any edge of the clock will do,
    ``latch_edge_max`` where any of the latch. Of the poll's times the
    shortest stand first and the longest end in ``_high``; ``stretch_*`` are those of
    `padbench.parts.Derating`. ``part_least`` and ``part_most`` are the supplies that a part takes.
    ``sink_drop`` and ``source_drop`` are volts across the output at its currents and at a supply of
    ``drive_volts``, ``transition`` (s) its slowest edge there, 10 to 90 %, with 50 pF.
    ``hold`` is the shortest answer to a clock that anybody promises.
    """

    supply_low: Array = _by(lambda x: _ends(x.plug)[0])
    supply_high: Array = _by(lambda x: _ends(x.plug)[1])
    fed: Array = _by(lambda x: x.by != "itself")
    console_low: Array = _by(lambda x: _ends(x.console)[0])
    console_high: Array = _by(lambda x: _ends(x.console)[1])
    coldest_used: Array = _by(lambda x: x.sheet.pad.temperature.low)
    hottest_used: Array = _by(lambda x: x.sheet.pad.temperature.high)
    pull_up: Array = _by(lambda x: _ohms(x.sheet.pull_up.value))
    pull_up_tol: Array = _by(lambda x: _tolerance(x.sheet.pull_up.value))
    pull_up_rating: Array = _by(lambda x: x.sheet.pull_up.rating.low)
    closed: Array = _by(lambda x: max(x.sheet.contacts.closed.low, _SMALLEST))
    worn: Array = _by(lambda x: max(x.sheet.contacts.worn.high, _SMALLEST))
    dirt: Array = _by(lambda x: x.sheet.contacts.open.low)
    cable_length: Array = _by(lambda x: x.sheet.cable.length.high)
    cable_per_metre: Array = _by(lambda x: x.sheet.cable.capacitance.high)
    coupling: Array = _by(lambda x: x.sheet.cable.coupling.high / 100)
    latch_r: Array = _by(lambda x: _ohms(x.sheet.resistors.latch_to_supply))
    latch_tol: Array = _by(lambda x: _tolerance(x.sheet.resistors.latch_to_supply))
    clock_r: Array = _by(lambda x: _ohms(x.sheet.resistors.clock_to_supply))
    clock_tol: Array = _by(lambda x: _tolerance(x.sheet.resistors.clock_to_supply))
    line_rating: Array = _by(lambda x: x.sheet.resistors.rating.low)
    latch_width: Array = _by(lambda x: x.sheet.poll.latch_width.low)
    latch_to_clock: Array = _by(lambda x: x.sheet.poll.latch_to_clock.low)
    clock_low: Array = _by(lambda x: x.sheet.poll.clock_low.low)
    clock_high: Array = _by(lambda x: x.sheet.poll.clock_high.low)
    sample: Array = _by(lambda x: x.sheet.poll.sample.low)
    clocks: Array = _by(lambda x: x.sheet.poll.clocks)
    latch_width_high: Array = _by(lambda x: x.sheet.poll.latch_width.high)
    latch_to_clock_high: Array = _by(lambda x: x.sheet.poll.latch_to_clock.high)
    clock_low_high: Array = _by(lambda x: x.sheet.poll.clock_low.high)
    clock_high_high: Array = _by(lambda x: x.sheet.poll.clock_high.high)
    sample_high: Array = _by(lambda x: x.sheet.poll.sample.high)
    period: Array = _by(lambda x: x.sheet.poll.period.low)

    part_least: Array = _by(lambda x: x.part.supply.min or 0.0)
    part_most: Array = _by(lambda x: np.inf if x.part.supply.max is None else x.part.supply.max)
    chips: Array = _by(lambda x: x.sheet.registers)
    inputs: Array = _by(lambda x: x.sheet.inputs)
    low_part: Array = _by(lambda x: most(x.part.input_low) / x.scale)
    high_part: Array = _by(lambda x: least(x.part.input_high) / x.scale)
    series_b: Array = _by(lambda x: x.part.levels == "series-b")
    hc: Array = _by(lambda x: x.part.levels == "hc")
    level_fixed: Array = _by(lambda x: x.part.levels == "fixed")
    hottest: Array = _by(lambda x: most(x.part.temperature))
    sink: Array = _by(lambda x: least(x.part.sink_current))
    sink_hot: Array = _by(lambda x: least(x.part.sink_current_over_temperature))
    sink_drop: Array = _by(lambda x: most(x.part.sink_drop))
    source: Array = _by(lambda x: least(x.part.source_current))
    source_hot: Array = _by(lambda x: least(x.part.source_current_over_temperature))
    source_drop: Array = _by(lambda x: most(x.part.source_drop))
    sink_typical: Array = _by(lambda x: x.part.sink_current.typ or least(x.part.sink_current))
    transition: Array = _by(lambda x: most(x.part.output_transition))
    # Those of the derating. A part without one: 5 V, and three tenths of it, as 1.5 V of the B
    # series (assumed; a transistor fitted with a higher threshold is slower between the same
    # figures).
    drive_volts: Array = _by(lambda x: 5.0 if x.law is None else x.law.volts)
    drive_threshold: Array = _by(lambda x: 1.5 if x.law is None else x.law.threshold)
    leakage: Array = _by(lambda x: most(x.part.leakage))
    leakage_hot: Array = _by(lambda x: most(x.part.leakage_over_temperature))
    quiescent: Array = _by(lambda x: most(x.part.quiescent_current))
    quiescent_hot: Array = _by(lambda x: most(x.part.quiescent_current_over_temperature))
    input_c: Array = _by(lambda x: most(x.part.input_capacitance))
    # A program has two answers; most registers' data sheets give one for both edges.
    clock_to_output: Array = _by(
        lambda x: x.chip.next_bit.high if x.chip.next_bit else most(x.part.clock_to_output)
    )
    load_to_output: Array = _by(
        lambda x: (
            x.chip.first_bit.high
            if x.chip.first_bit
            else most(x.part.load_to_output or x.part.clock_to_output)
        )
    )
    hold: Array = _by(lambda x: x.chip.next_bit.low if x.chip.next_bit else 0.0)
    load_min: Array = _by(lambda x: least(x.part.load_width))
    clock_min: Array = _by(lambda x: least(x.part.clock_width))
    # What a usual part notices and when it answers; without figures half the limits. So it is with
    # the 4021 family (90 of 180 ns, 160 of 320 ns; from memory).
    clock_typical: Array = _by(lambda x: x.part.clock_width.typ or least(x.part.clock_width) / 2)
    answer_typical: Array = _by(
        lambda x: (
            x.chip.next_bit.low
            if x.chip.next_bit
            else x.part.clock_to_output.typ or most(x.part.clock_to_output) / 2
        )
    )
    clock_period: Array = _by(lambda x: shortest_period(x.part, x.chip.stages).min or 0.0)
    removal: Array = _by(lambda x: least(x.part.removal))
    clock_at_load_end: Array = _by(lambda x: x.part.clock_high_at_load_end)
    # Numbers with which the law of `Derating` gives 1 stand for a part that has none.
    stretch_volts: Array = _by(lambda x: 1.0 if x.law is None else x.law.volts)
    stretch_threshold: Array = _by(lambda x: 0.0 if x.law is None else x.law.threshold)
    stretch_exponent: Array = _by(lambda x: 1.0 if x.law is None else x.law.exponent)
    stretch_degree: Array = _by(lambda x: 0.0 if x.law is None else x.law.per_degree)
    edge_max: Array = _by(
        lambda x: np.inf if x.part.clock_edge_max.max is None else x.part.clock_edge_max.max
    )
    latch_edge_max: Array = _by(
        lambda x: (
            np.inf
            if x.part.clock_edge_max.max is None
            or (x.chip.latch_inverted and x.chip.schmitt_inverter)
            else x.part.clock_edge_max.max
        )
    )

    lift_r: Array = _by(lambda x: _or(most, x.port.output_high_resistance, ABSENT))
    lift_low: Array = _by(lambda x: _or(least, x.port.output_high, 0.0))
    lift_high: Array = _by(lambda x: _or(most, x.port.output_high, 0.0))
    lifts_only: Array = _by(lambda x: x.port.lifts_only)
    sink_most: Array = _by(lambda x: _or(most, x.port.sink_current, np.inf))
    pull_r: Array = _by(lambda x: max(most(x.port.output_low_resistance), 1e-3))
    port_leakage: Array = _by(lambda x: most(x.port.output_leakage))
    # Without a diode its number is not used; the equations want one that is not zero.
    saturation_low: Array = _by(lambda x: _or(least, x.port.diode_saturation_current, 1e-9))
    saturation_high: Array = _by(lambda x: _or(most, x.port.diode_saturation_current, 1e-9))
    emission: Array = _by(lambda x: x.emission * x.port.diode)
    # What makes its own supply is not bound to what comes through the port's diode.
    supply_emission: Array = _by(lambda x: x.emission * (x.port.supply_diode and x.by != "itself"))
    data_emission: Array = _by(lambda x: x.emission * x.port.data_diode)
    input_low_part: Array = _by(lambda x: most(x.port.input_low))
    input_high_part: Array = _by(lambda x: least(x.port.input_high))
    input_fixed: Array = _by(lambda x: x.port.input_low.unit == "V")
    input_leakage: Array = _by(lambda x: most(x.port.input_leakage))
    console_c: Array = _by(lambda x: most(x.port.input_capacitance))
    data_up: Array = _by(lambda x: _or(least, x.port.data_pull_up, ABSENT))
    data_down: Array = _by(lambda x: _or(least, x.port.data_pull_down, ABSENT))
    budget: Array = _by(lambda x: most(x.port.supply_current))

    def __len__(self) -> int:
        """How many designs there are."""
        return len(self.supply_low)


def design_of(sheet: Sheet, part: RegisterPart, port: PortKind) -> Design:
    """One sheet on one kind of port; spreads of cable, contact and poll at their worst ends."""
    made = _Made(sheet, part, port)
    numbers = {field.name: field.metadata["by"](made) for field in fields(Design)}
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


def stacked(designs: Sequence[Design]) -> Design:
    """Several arrays of designs as one, in their order."""
    columns = zip(*(vars(design).values() for design in designs), strict=True)
    return Design(*map(np.concatenate, columns))


def changed(design: Design, **values: ArrayLike) -> Design:
    """One design with other values; arrays among them make as many designs as they have items."""
    arrays = {name: np.atleast_1d(np.asarray(value, np.float64)) for name, value in values.items()}
    arrays = vars(design) | arrays
    size = max(map(len, arrays.values()))
    # Not `broadcast_to`, which takes fifty times as long for so few numbers.
    return Design(
        **{name: a if len(a) == size else np.repeat(a, size) for name, a in arrays.items()}
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


def _ohms(value: Value | None) -> float:
    return ABSENT if value is None else max(value.nominal, _SMALLEST)


def _tolerance(value: Value | None) -> float:
    if value is None or value.nominal == 0:
        return RESISTOR_TOLERANCE
    return value.high / value.nominal - 1


def _or(end: Callable[[Figure], float], figure: Figure | None, absent: float) -> float:
    return absent if figure is None else end(figure)
