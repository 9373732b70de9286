"""The circuits of many pads at every corner: input, latch, clock, data line, supply.

    circuits = Circuits(designs)
    pressed, released = circuits.inputs            # volts, shape (n, corners)
    circuits.latch.rise_high, circuits.data_levels

Each is worked out when it is first asked for, once, from the laws in `padbench.circuit.laws`.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from padbench.circuit.corners import Space
from padbench.circuit.design import ABSENT, Array, Design
from padbench.circuit.laws import (
    diode_current,
    diode_fall,
    diode_saturation,
    mos_gain,
    mos_level,
    mos_time,
    node,
    rc_times,
    stretch,
    thermal_voltage,
)

TEST_LOAD = 50e-12
"""Farads already on the output when the data sheet measures its delays (from memory)."""

LOADED = 67.5 / 100.5
"""How much of an output's transition at 50 pF is the load's: (1.35 ns/pF) C + 33 ns (Motorola CMOS
Logic Data, MC14001B). Taken for all parts; the rest is the output's own."""


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
        self, supply: Array, sink: Array, console: Array, to: Array
    ) -> tuple[Array, Array, Array]:
        """The pad's end goes from the first to the second (V), then the console's end alone (s).

        The pad's end goes to half-way between where the diode would just hold the console's end at
        ``to`` and the supply; from there the console's end goes by its own resistors. They overlap
        in truth, and the diode helps the pad: the sum is up to three times as long.
        """
        low = self._at(np.zeros_like(supply), sink)
        enough = to - self._drop((self.volts - to) / self.ohms)
        pad_low = diode_current(self.volts, self.ohms + sink, self.saturation, self.slope) * sink
        half_way = np.maximum((enough + supply) / 2, pad_low)
        alone = rc_times(self.ohms * console, low, self._at(half_way, np.zeros_like(low)), to)
        return pad_low, half_way, alone

    def below(self, sink: Array, cable: Array, console: Array, to: Array) -> Array:
        """Volts of the pad's end with which the console's end is at ``to`` on its way down.

        A diode's drop further down, at the current of the console's resistors and of its share of
        the output's.
        """
        share = console / np.maximum(cable + console, 1e-18)
        return to - self._drop((self.volts - to) / self.ohms + to / sink * share)


class Line:
    """Latch or clock with what drives it; volts and seconds at every corner, (n, corners).

    ``source`` is the pad's resistor and the leakage as one source (V) behind ``resistor`` (Ω); it
    holds against the port when that pulls down through ``pull_r`` and the diode, which then sinks
    ``sunk`` (A). ``tau`` (s) is that of the rise towards ``reach`` (V), up to ``knee`` (V), beyond
    which the port lifts no more and the rest goes at ``alone`` (s). ``low`` and ``high`` are the
    volts that it gets to. High by Millman's theorem, τ = C / (1 / R + 1 / R_lift), low the diode's
    and the port's drop at the current that `diode_current` solves for. A port that only lifts lets
    go of a line that the pad's resistor takes higher, which then has τ = C R.

    ``rise_low`` and ``rise_high`` run from the port's edge to the passing of the lower and of the
    upper threshold on the way up, ``fall_high`` and ``fall_low`` the same on the way down.
    """

    def __init__(
        self, design: Design, over: Space, ohms: Array, leakage: Array, levels: tuple[Array, Array]
    ) -> None:
        d = design
        self.low_at, self.high_at = levels
        leak = over.sign * (each(d.chips) * leakage + each(d.port_leakage))
        emission, lift_r = each(d.emission), each(d.lift_r)
        self.resistor, self.pull_r = ohms, each(d.pull_r)
        self.farads = each(d.cable_length * d.cable_per_metre) + each(d.chips) * each(d.input_c)
        self.saturation = diode_saturation(over.saturation, emission, over.celsius)
        self.slope = emission * thermal_voltage(over.celsius)
        level = np.where(each(d.lift_low) > 0, each(d.lift_low), over.console)
        alone = np.clip(over.supply + leak * ohms, 0.0, over.supply)
        let_go = (each(d.lifts_only) > 0) & (alone > level)
        most = np.where(lift_r < ABSENT, np.maximum(over.supply, level), over.supply)
        self.reach = np.clip(node((over.supply, ohms), (level, lift_r), into=leak), 0.0, most)
        self.high = np.where(let_go, alone, self.reach)
        self.source = over.supply + leak * ohms
        self.sunk = diode_current(self.source, ohms + self.pull_r, self.saturation, self.slope)
        self.low = self.slope * np.log1p(self.sunk / self.saturation) + self.pull_r * self.sunk
        self.tau, self.alone = self.farads / (1 / ohms + 1 / lift_r), self.farads * ohms
        self.knee = np.where(let_go, np.maximum(level, self.low), self.high)

    def rise_to(self, volts: Array) -> Array:
        """Seconds from the port's edge until the line, settled low, passes so many volts."""
        lifted = rc_times(self.tau, self.low, self.reach, np.minimum(volts, self.knee))
        whole = rc_times(self.tau, self.low, self.high, volts)
        on = lifted + rc_times(self.alone, self.knee, self.high, volts)
        return np.asarray(np.where(self.knee < self.high, on, whole), np.float64)

    def fall_to(self, volts: Array, start: Array | None = None) -> Array:
        """Seconds from ``start`` (settled high if none is given) until it passes ``volts``."""
        pull = (self.pull_r, self.saturation, self.slope, self.farads)
        start = self.high if start is None else start
        return diode_fall(start, volts, self.resistor, self.source, *pull)

    @cached_property
    def rise_low(self) -> Array:
        """See above."""
        return self.rise_to(self.low_at)

    @cached_property
    def rise_high(self) -> Array:
        """See above."""
        return self.rise_to(self.high_at)

    @cached_property
    def rise(self) -> Array:
        """From 10 to 90 % of the swing, as data sheets measure edges: τ ln 9, first-order RC.

        Without end if it never gets to the threshold.
        """
        return np.where(np.isinf(self.rise_high), np.inf, self.tau * np.log(9.0))

    @cached_property
    def fall(self) -> Array:
        """From 90 to 10 % of the swing, likewise; through a diode as `laws.diode_fall` has it."""
        tenth = (self.high - self.low) / 10
        edge = self.fall_to(self.low + tenth, self.high - tenth)
        alone = self.farads / (1 / self.resistor + 1 / self.pull_r) * np.log(9.0)
        edge = np.where(self.slope > 0, edge, alone)
        return np.where(np.isinf(self.fall_low), np.inf, edge)

    @cached_property
    def fall_high(self) -> Array:
        """See above."""
        return self.fall_to(self.high_at)

    @cached_property
    def fall_low(self) -> Array:
        """See above."""
        return self.fall_to(self.low_at)


class Circuits:
    """All circuits of n designs, worked out on demand; arrays of shape (n, corners), SI units.

    ``at_inputs`` is the space of the register's inputs (its corners have a contact), ``at_lines``
    that of everything that depends on the port.
    """

    def __init__(self, design: Design) -> None:
        self.design = design

    @cached_property
    def at_inputs(self) -> Space:
        """See above."""
        axes = ("supply", "resistors", "temperature", "leakage", "contact")
        return Space(self.design, axes)

    @cached_property
    def at_lines(self) -> Space:
        """See above."""
        axes = ("supply", "resistors", "temperature", "leakage", "diode")
        return Space(self.design, axes)

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

        The register's output is a MOS transistor of the guaranteed current (`laws.mos_level`);
        beside it are the console's resistors to its own supply and to ground, and its leakage.
        Behind a diode see `DataDiode`.
        """
        supply = self.at_lines.supply
        low, drop = (
            np.clip(mos_level(self.gains(rises)[0], *self._against(rises)), 0.0, supply)
            for rises in (False, True)
        )
        high = supply - drop
        if self.data_diode is not None:
            behind = self.data_diode.levels(supply, *self._outputs)
            low, high = (self._behind(*pair) for pair in zip(behind, (low, high), strict=True))
        most = np.maximum(supply, self.at_lines.console)
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

    def data_time(self, to: Array, *, rises: bool, farads: Array | None = None) -> Array:
        """Seconds of the data line from one of its levels to ``to`` volts: `laws.mos_time`.

        The transistor is the weaker of what current and transition time in its table promise.
        ``farads``, shape (n, 1), as on the line if not given. Behind a diode see `DataDiode`.
        """
        (low, high), supply = self.data_levels, self.at_lines.supply
        start, end = (supply - low, supply - to) if rises else (high, to)
        farads = each(self.data_farads) if farads is None else farads
        gain = np.minimum(*self.gains(rises))
        straight = mos_time(farads, start, end, gain, *self._against(rises))
        if self.data_diode is None:
            return straight
        console = each(self.design.console_c)
        cable = np.maximum(farads - console, 0.0)
        sink, _ = self._outputs
        if rises:
            first, last, alone = self.data_diode.rise(supply, sink, console, to)
            overdrive, *_ = self._against(rises)
            nothing = (overdrive, 1 / ABSENT, 0.0)
            behind = mos_time(cable, supply - first, supply - last, gain, *nothing) + alone
        else:
            below = self.data_diode.below(sink, cable, console, to)
            behind = mos_time(farads, supply, below, gain, *self._against(rises))
        return self._behind(behind, straight)

    @cached_property
    def answers(self) -> tuple[Array, Array]:
        """Seconds from latch and from clock at the register to the data line at the console.

        The longest answer of the part, which ends at half the supply with 50 pF on the output, and
        what the output takes from there. Infinite if it never gets to the thresholds. Behind a
        diode it is what charging all beyond the 50 pF takes.
        """
        d, charged = self.design, np.zeros(self.at_lines.supply.shape)
        tested = np.full((1, 1), TEST_LOAD)
        beyond = each(np.maximum(self.data_farads - TEST_LOAD, 0.0))
        for rises, to in zip((False, True), self.data_thresholds, strict=True):
            half = self.data_time(self.at_lines.supply / 2, rises=rises, farads=tested)
            whole = self.data_time(to, rises=rises)
            # Where a pull keeps it from half the supply, nothing is known to be done by then.
            more = whole - np.where(np.isinf(half), 0.0, half)
            if self.data_diode is not None:
                more = self._behind(self.data_time(to, rises=rises, farads=beyond), more)
            charged = np.maximum(charged, more)
        return (
            each(d.load_to_output) * self.stretched + charged,
            each(d.clock_to_output) * self.stretched + charged,
        )

    @cached_property
    def dragged_back(self) -> Array:
        """Seconds for which falling data hold a rising clock below its threshold, shape (n, 1).

        Typical figures all through. The clock rises through the threshold of a usual part, 0.55 of
        the supply (2.75 V at 5 V, from memory), and the part answers. While data fall, at S / t_f
        for the first four fifths of the swing S, the coupling share k draws k S / t_f from the
        line: with its τ to the level V, dv/dt = (V - v) / τ - k S / t_f. A Schmitt trigger has to
        get to its lower threshold. Without end where the line never gets to its threshold at all.
        """
        d, line = self.design, self.clock

        def usual(corners: Array) -> Array:
            """Between the ends of all spreads, leakage both ways among them."""
            return np.asarray(np.mean(corners, axis=1, keepdims=True))

        supply, high, tau = (usual(a) for a in (self.at_lines.supply, line.high, line.tau))
        at = usual((line.low_at + line.high_at) / 2 + (line.high_at - line.low_at) / 8)
        back = np.where(np.isinf(each(d.edge_max)), usual(line.low_at), at)
        low, up = (usual(level) for level in self.data_levels)
        volts = each(d.drive_volts)
        gain = mos_gain(each(d.sink_typical), each(d.sink_drop), volts - each(d.drive_threshold))
        _, siemens, held = self._against(rises=False)
        overdrive = np.maximum(supply - each(d.drive_threshold), 0.0)
        fifth, farads = low + (up - low) / 5, each(self.data_farads)
        falls = mos_time(farads, up, fifth, gain, overdrive, siemens, usual(held)) / 0.8
        share = each(d.coupling * d.cable_length * d.cable_per_metre) / usual(line.farads)
        with np.errstate(divide="ignore", invalid="ignore"):
            begins = high - (high - at) * np.exp(-each(d.answer_typical) / tau)
            drawn = share * (up - low) / falls * tau - (high - begins)
            lowest = begins - drawn * -np.expm1(-falls / tau)
            down = -tau * np.log1p(-(begins - back) / drawn)
            again = tau * np.log((high - lowest) / (high - back))
        dragged = (drawn > 0) & (lowest < back) & np.isfinite(falls)
        return np.where(at < high, np.where(dragged, falls - down + again, 0.0), np.inf)

    @cached_property
    def data_samples(self) -> tuple[Array, Array]:
        """Seconds from latch and from clock to the sample that takes the bit, shape (n, 1)."""
        d = self.design
        return each(d.latch_width + d.latch_to_clock + d.sample), each(d.clock_high + d.sample)

    @property
    def data_farads(self) -> Array:
        """What depends on the data line, F, shape (n,)."""
        return self.design.cable_length * self.design.cable_per_metre + self.design.console_c

    def _against(self, rises: bool) -> tuple[Array, Array, Array]:
        """Overdrive (V) of the output's transistor, and what holds against it: siemens, amperes.

        The resistors' current is that with the line at the rail that it is sent to.
        """
        d, over = self.design, self.at_lines
        up, down = each(1 / d.data_up), each(1 / d.data_down)
        leak = over.sign * each(d.input_leakage)
        held = over.console * up + leak
        if rises:
            held = over.supply * (up + down) - held
        overdrive = np.maximum(over.supply - each(d.drive_threshold), 0.0)
        return overdrive, up + down, held

    def gains(self, rises: bool) -> tuple[Array, Array]:
        """A/V² of the output by its guaranteed current, and by its transition time.

        See `_output_current`. The transition, 10 to 90 %, grows as the part's other times do.
        """
        d = self.design
        volts = each(d.drive_volts)
        overdrive = volts - each(d.drive_threshold)
        # A transistor of 1 A/V² takes so many seconds for each farad.
        alone = mos_time(1.0, 0.9 * volts, 0.1 * volts, 1.0, overdrive, 1 / ABSENT, 0.0)
        warm = 1 + each(d.stretch_degree) * np.maximum(self.at_lines.celsius - 25.0, 0.0)
        with np.errstate(divide="ignore"):
            timed = alone * TEST_LOAD / (LOADED * each(d.transition) * warm)
        return mos_gain(*self._output_current(rises), overdrive), timed

    @cached_property
    def _outputs(self) -> tuple[Array, Array]:
        """Ohms of the output, sinking and sourcing: what drops its volts at its current."""
        (sink, sink_drop), (source, source_drop) = map(self._output_current, (False, True))
        return sink_drop / sink, source_drop / source

    def _output_current(self, rises: bool) -> tuple[Array, Array]:
        """A that the output gives, and the volts across it then.

        Above 25 °C the guaranteed current falls on a straight line to the figure over temperature,
        which data sheets give for the hottest (B series: 0.51, 0.42 and 0.36 mA at 25, 85 and
        125 °C, from memory, lie on one). Below, the 25 °C figure stands, though parts are stronger
        there.
        """
        d = self.design
        kind = "source" if rises else "sink"
        cold, hot, drop = (each(getattr(d, kind + tail)) for tail in ("", "_hot", "_drop"))
        way = (self.at_lines.celsius - 25.0) / np.maximum(each(d.hottest) - 25.0, 1.0)
        return cold + np.clip(way, 0.0, 1.0) * (hot - cold), drop

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
        over = self.at_lines
        return Line(self.design, over, ohms, self._leakage(over), self._register_levels(over))
