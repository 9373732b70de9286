"""The circuits of many pads at every corner: input, latch, clock, data line, supply.

    circuits = Circuits(designs)
    pressed, released = circuits.inputs            # volts, shape (n, corners)
    circuits.latch.rise_high, circuits.data_levels

Each is worked out when it is first asked for, once, from the laws in `padbench.circuit.laws`.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from padbench.circuit.corners import Space, space
from padbench.circuit.design import ABSENT, Array, Design
from padbench.circuit.laws import (
    diode_current,
    diode_fall,
    diode_saturation,
    node,
    rc_times,
    stretch,
    thermal_voltage,
)

__all__ = ["TEST_LOAD", "Circuits", "DataDiode", "DrivenLine", "Line", "each", "thresholds"]

TEST_LOAD = 50e-12
"""Farads already on the output when the data sheet measures its delays (from memory)."""


def each(field: Array) -> Array:
    """A field of n designs, to go with arrays of shape (n, corners)."""
    return field[:, None]


def thresholds(
    low_part: Array, high_part: Array, series_b: Array, supply: Array, hc: Array | float = 0.0
) -> tuple[Array, Array]:
    """Highest low and lowest high level (V) at a supply.

    Parts of the supply; for the B series JEDEC JESD13-B has 1.5 V and 3.5 V at 5 V, the same parts
    at 10 V, and 4 V and 11 V at 15 V, between which lies a straight line here (10 V and 15 V from
    memory). The HC series has 0.5 V and 1.5 V at 2 V (CD74HC165, SCHS156), its parts from 4.5 V on,
    and between them a straight line here.
    """
    poor = np.clip((4.5 - supply) / 2.5, 0.0, 1.0) * (np.asarray(hc) > 0)
    low_part = low_part + poor * (0.25 - low_part)
    high_part = high_part + poor * (0.75 - high_part)
    beyond = np.clip((supply - 10.0) / 5.0, 0.0, 1.0) * (series_b > 0)
    low = low_part + beyond * (4.0 / 15.0 - low_part)
    high = high_part + beyond * (11.0 / 15.0 - high_part)
    return low * supply, high * supply


@dataclass(frozen=True)
class DrivenLine:
    """A line with its port: what it takes to follow its voltage; arrays of one shape.

    ``source`` is the pad's resistor and the leakage as one source (V) behind ``resistor`` (Ω); it
    holds against the port when that pulls down through ``pull_r`` and the diode, which then sinks
    ``sunk`` (A). ``tau`` (s) is that of the rise towards ``reach`` (V), up to ``knee`` (V), beyond
    which the port lifts no more and the rest goes at ``alone`` (s). ``low`` and ``high`` are the
    volts that it gets to.
    """

    resistor: Array
    source: Array
    pull_r: Array
    saturation: Array
    slope: Array
    farads: Array
    tau: Array
    alone: Array
    reach: Array
    knee: Array
    sunk: Array
    low: Array
    high: Array

    def rise(self, to: Array) -> Array:
        """Seconds from the port's edge until the line, settled low, passes ``to`` volts."""
        lifted = rc_times(self.tau, self.low, self.reach, np.minimum(to, self.knee))
        whole = rc_times(self.tau, self.low, self.high, to)
        on = lifted + rc_times(self.alone, self.knee, self.high, to)
        return np.asarray(np.where(self.knee < self.high, on, whole), np.float64)

    def fall(self, to: Array) -> Array:
        """Seconds from the port's edge until the line, settled high, passes ``to`` volts."""
        return diode_fall(
            self.high,
            to,
            self.resistor,
            self.source,
            self.pull_r,
            self.saturation,
            self.slope,
            self.farads,
        )


@dataclass(frozen=True)
class DataDiode:
    """The console's end of a data line with a diode in it, whose cathode is towards the pad.

    ``volts`` behind ``ohms`` are the console's resistors and leakage as one source; arrays of shape
    (n, corners). The pad pulls that down through the diode; up it goes by itself.
    """

    volts: Array
    ohms: Array
    saturation: Array
    slope: Array

    def _at(self, pad: Array, ohms: Array) -> Array:
        """Volts at the console with the pad's end at ``pad`` volts behind so many ohms."""
        through = diode_current(self.volts - pad, self.ohms + ohms, self.saturation, self.slope)
        return self.volts - through * self.ohms

    def _drop(self, current: Array) -> Array:
        return self.slope * np.log1p(np.maximum(current, 0.0) / self.saturation)

    def levels(self, supply: Array, sink: Array, source: Array) -> tuple[Array, Array]:
        """Volts at the console low and high: Shockley's diode between two sources."""
        return self._at(np.zeros_like(supply), sink), self._at(supply, source)

    def rise(
        self, supply: Array, sink: Array, source: Array, cable: Array, console: Array, to: Array
    ) -> Array:
        """Seconds until the console's end passes ``to``, never less than it takes.

        The pad's end first, to half-way between where the diode would just hold the console's end
        at ``to`` and the supply; from there the console's end alone, by its own resistors. They
        overlap in truth, and the diode helps the pad: this is the sum, up to three times as long.
        """
        low = self._at(np.zeros_like(supply), sink)
        pad_low = diode_current(self.volts, self.ohms + sink, self.saturation, self.slope) * sink
        enough = to - self._drop((self.volts - to) / self.ohms)
        half_way = np.maximum((enough + supply) / 2, pad_low)
        way = rc_times(source * cable, pad_low, supply, half_way)
        return way + rc_times(self.ohms * console, low, self._at(half_way, np.zeros_like(low)), to)

    def fall(self, supply: Array, sink: Array, cable: Array, console: Array, to: Array) -> Array:
        """Seconds until the console's end passes ``to``.

        The pad's end goes a diode's drop further down, at the current of the console's resistors
        and of its share of the output's.
        """
        share = console / np.maximum(cable + console, 1e-18)
        below = to - self._drop((self.volts - to) / self.ohms + to / sink * share)
        pad_low = diode_current(self.volts, self.ohms + sink, self.saturation, self.slope) * sink
        tau = (cable + console) / (1 / sink + 1 / self.ohms)
        return rc_times(tau, supply, pad_low, below)


class Line:
    """Latch or clock at the register: volts and seconds at every corner, shape (n, corners).

    ``rise_low`` and ``rise_high`` run from the port's edge to the passing of the lower and of the
    upper threshold on the way up, ``fall_high`` and ``fall_low`` the same on the way down.
    """

    def __init__(self, driven: DrivenLine, low_at: Array, high_at: Array) -> None:
        self.driven, self.low_at, self.high_at = driven, low_at, high_at

    @cached_property
    def rise_low(self) -> Array:
        """See above."""
        return self.driven.rise(self.low_at)

    @cached_property
    def rise_high(self) -> Array:
        """See above."""
        return self.driven.rise(self.high_at)

    @cached_property
    def fall_high(self) -> Array:
        """See above."""
        return self.driven.fall(self.high_at)

    @cached_property
    def fall_low(self) -> Array:
        """See above."""
        return self.driven.fall(self.low_at)


class Circuits:
    """All circuits of n designs, worked out on demand; arrays of shape (n, corners), SI units.

    ``at_inputs`` is the space of the register's inputs (its corners have a contact), ``at_lines``
    that of everything that hangs on the port.
    """

    def __init__(self, design: Design) -> None:
        self.design = design

    @cached_property
    def at_inputs(self) -> Space:
        """See above."""
        axes = ("supply", "resistors", "temperature", "leakage", "contact")
        return space(self.design, axes)

    @cached_property
    def at_lines(self) -> Space:
        """See above."""
        axes = ("supply", "resistors", "temperature", "leakage", "diode")
        return space(self.design, axes)

    @cached_property
    def input_thresholds(self) -> tuple[Array, Array]:
        """Highest low and lowest high level (V) of an input, over ``at_inputs``."""
        return self._register_levels(self.at_inputs)

    @cached_property
    def inputs(self) -> tuple[Array, Array]:
        """Volts of an input with its button pressed and released: Millman's theorem."""
        over, leak = self.at_inputs, self.input_leakage
        pull_up = (over.supply, over.pull_up)
        pressed = node(pull_up, (0.0, over.contact), into=leak)
        released = node(pull_up, (0.0, each(self.design.dirt)), into=leak)
        return np.clip(pressed, 0.0, over.supply), np.clip(released, 0.0, over.supply)

    @cached_property
    def input_leakage(self) -> Array:
        """A into an input, over ``at_inputs``."""
        return self.at_inputs.sign * self._leakage(self.at_inputs)

    @cached_property
    def stretched(self) -> Array:
        """By how much a part's times are longer than in its table, over ``at_lines``."""
        d, over = self.design, self.at_lines
        return stretch(
            over.supply,
            over.celsius,
            each(d.stretch_volts),
            each(d.stretch_threshold),
            each(d.stretch_exponent),
            each(d.stretch_degree),
        )

    @cached_property
    def latch(self) -> Line:
        """The latch as the port, the pad's resistor and the cable make it."""
        return self._line(self.at_lines.latch_r)

    @cached_property
    def clock(self) -> Line:
        """The clock, likewise."""
        return self._line(self.at_lines.clock_r)

    @cached_property
    def data_thresholds(self) -> tuple[Array, Array]:
        """Highest low and lowest high level (V) of the console's data input."""
        # A threshold given in volts (TTL levels) does not move with the supply.
        unit = np.where(each(self.design.input_fixed) > 0, 1.0, self.at_lines.console)
        return each(self.design.input_low_part) * unit, each(self.design.input_high_part) * unit

    @cached_property
    def data_levels(self) -> tuple[Array, Array]:
        """Volts of the data line low and high, with what the console puts on it.

        Millman's theorem, V = (Σ V_k / R_k ± I) / Σ 1 / R_k: the register's output to ground or to
        supply, the console's resistors to its own supply and to ground, and its leakage I.
        """
        d, over = self.design, self.at_lines
        sink, source = self._outputs
        leak = over.sign * each(d.input_leakage)
        up, down = (over.console, each(d.data_up)), (0.0, each(d.data_down))
        low = node((0.0, sink), up, down, into=leak)
        high = node((over.supply, source), up, down, into=leak)
        if self.data_diode is not None:
            behind = self.data_diode.levels(over.supply, sink, source)
            low, high = (self._behind(*pair) for pair in zip(behind, (low, high), strict=True))
        most = np.maximum(over.supply, over.console)
        return np.clip(low, 0.0, most), np.clip(high, 0.0, most)

    @cached_property
    def data_diode(self) -> "DataDiode | None":
        """What stands behind a diode in the data line; None if none of the designs has one."""
        d, over = self.design, self.at_lines
        if not np.any(d.data_emission > 0):
            return None
        emission = each(np.where(d.data_emission > 0, d.data_emission, 1.0))
        leak = over.sign * each(d.input_leakage)
        ohms = each(1 / (1 / d.data_up + 1 / d.data_down))
        return DataDiode(
            node((over.console, each(d.data_up)), (0.0, each(d.data_down)), into=leak),
            ohms,
            diode_saturation(over.saturation, emission, over.celsius),
            emission * thermal_voltage(over.celsius),
        )

    def _behind(self, behind: Array, straight: Array) -> Array:
        return np.where(each(self.design.data_emission) > 0, behind, straight)

    def data_times(self, farads: Array) -> tuple[Array, Array]:
        """Seconds in which the output charges so much to the console's threshold, up and down.

        First-order RC, with what stands behind a diode as in `DataDiode`.
        """
        d = self.design
        (low_at, high_at), (low, high) = self.data_thresholds, self.data_levels
        rise_r, fall_r = self._data_ohms
        rise = rc_times(rise_r * each(farads), low, high, high_at)
        fall = rc_times(fall_r * each(farads), high, low, low_at)
        if self.data_diode is None:
            return rise, fall
        cable = each(np.maximum(farads - d.console_c, 0.0))
        supply, console = self.at_lines.supply, each(d.console_c)
        behind = self.data_diode
        return (
            self._behind(behind.rise(supply, *self._outputs, cable, console, high_at), rise),
            self._behind(behind.fall(supply, self._outputs[0], cable, console, low_at), fall),
        )

    @cached_property
    def data_taus(self) -> tuple[Array, Array]:
        """Time constants (s) of the data line at the console, rising and falling.

        τ = R C, with the output beside the console's resistors, and the cable beside its input.
        """
        rise_r, fall_r = self._data_ohms
        return rise_r * each(self.data_farads), fall_r * each(self.data_farads)

    @cached_property
    def answers(self) -> tuple[Array, Array]:
        """Seconds from latch and from clock at the register to the data line at the console.

        The longest answer of the part, and the charging of what is on the line beyond the 50 pF
        of the data sheet's test: first-order RC. Infinite if it never gets to the thresholds.
        """
        d = self.design
        charged = np.maximum(*self.data_times(np.maximum(self.data_farads - TEST_LOAD, 0.0)))
        return (
            each(d.load_to_output) * self.stretched + charged,
            each(d.clock_to_output) * self.stretched + charged,
        )

    @cached_property
    def data_samples(self) -> tuple[Array, Array]:
        """Seconds from latch and from clock to the sample that takes the bit, shape (n, 1)."""
        d = self.design
        return each(d.latch_width + d.latch_to_clock + d.sample), each(d.clock_high + d.sample)

    @property
    def data_farads(self) -> Array:
        """What hangs on the data line, F, shape (n,)."""
        return self.design.cable_length * self.design.cable_per_metre + self.design.console_c

    @cached_property
    def _data_ohms(self) -> tuple[Array, Array]:
        """Ohms that charge the data line, rising and falling: the output beside the console's."""
        sink, source = self._outputs
        rest = each(1 / self.design.data_up + 1 / self.design.data_down)
        return 1 / (1 / source + rest), 1 / (1 / sink + rest)

    @cached_property
    def _outputs(self) -> tuple[Array, Array]:
        """Ohms of the register's output, sinking and sourcing."""
        d = self.design
        return (
            self._output(d.sink, d.sink_hot, d.sink_drop),
            self._output(d.source, d.source_hot, d.source_drop),
        )

    def _output(self, current: Array, hot: Array, drop: Array) -> Array:
        """Ohms of the register's output: what drops the data sheet's volts at its current.

        Above 25 °C the guaranteed current falls on a straight line to the figure over temperature,
        which data sheets give for the hottest (B series: 0.51, 0.42 and 0.36 mA at 25, 85 and
        125 °C, from memory, lie on one). Below, the 25 °C figure stands, though parts are stronger
        there.
        """
        way = (self.at_lines.celsius - 25.0) / np.maximum(each(self.design.hottest) - 25.0, 1.0)
        amperes = each(current) + np.clip(way, 0.0, 1.0) * (each(hot) - each(current))
        return each(drop) / amperes

    def _register_levels(self, over: Space) -> tuple[Array, Array]:
        d = self.design
        low, high = each(d.low_part), each(d.high_part)
        parts = thresholds(low, high, each(d.series_b), over.supply, each(d.hc))
        fixed = each(d.level_fixed) > 0
        return np.where(fixed, low, parts[0]), np.where(fixed, high, parts[1])

    def _leakage(self, over: Space) -> Array:
        """A of one input: the figure over temperature as soon as it is above 25 °C."""
        hot = each(self.design.leakage_hot)
        return np.where(over.celsius > 25.0, hot, each(self.design.leakage))

    def _line(self, ohms: Array) -> Line:
        """Latch or clock with what drives it; ``ohms`` are its resistor's.

        High by Millman's theorem, τ = C / (1 / R + 1 / R_lift), low the diode's and the port's drop
        at the current that `diode_current` solves for. A port that only lifts lets go of a line
        that the pad's resistor takes higher, which then has τ = C R.
        """
        d, over = self.design, self.at_lines
        chips = each(d.chips)
        leak = over.sign * (chips * self._leakage(over) + each(d.port_leakage))
        farads = each(d.cable_length * d.cable_per_metre) + chips * each(d.input_c)
        emission = each(d.emission)
        saturation = diode_saturation(over.saturation, emission, over.celsius)
        slope = emission * thermal_voltage(over.celsius)
        pull_r, lift_r = each(d.pull_r), each(d.lift_r)
        level = np.where(each(d.lift_low) > 0, each(d.lift_low), over.console)
        held = node((over.supply, ohms), (level, lift_r), into=leak)
        alone = np.clip(over.supply + leak * ohms, 0.0, over.supply)
        let_go = (each(d.lifts_only) > 0) & (alone > level)
        held = np.clip(
            held, 0.0, np.where(lift_r < ABSENT, np.maximum(over.supply, level), over.supply)
        )
        high = np.where(let_go, alone, held)
        source = over.supply + leak * ohms
        current = diode_current(source, ohms + pull_r, saturation, slope)
        low = slope * np.log1p(current / saturation) + pull_r * current
        tau = farads / (1 / ohms + 1 / lift_r)
        knee = np.where(let_go, np.maximum(level, low), high)
        driven = DrivenLine(
            *(ohms, source, pull_r, saturation, slope, farads),
            *(tau, farads * ohms, held, knee, current, low, high),
        )
        return Line(driven, *self._register_levels(over))
