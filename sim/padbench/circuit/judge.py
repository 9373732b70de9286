"""Levels, edges, arrival, current and power at every corner, for many designs in one call.

    for judged in judge(designs):
        judged.id, judged.margin            # "levels.pressed", array of shape (n,)

Each quantity is worked out at all corners of the axes it depends on, and the worst is kept.
"""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.circuit import (
    diode_current,
    diode_fall,
    diode_saturation,
    node,
    rc_times,
    stretch,
    thermal_voltage,
)
from padbench.circuit.design import ABSENT, Array, Design
from padbench.circuit.space import Space, space
from padbench.circuit.wires import WIRES, Edges, wire_times

__all__ = [
    "GROUPS",
    "TEST_LOAD",
    "AtCorners",
    "DrivenLine",
    "Judged",
    "Line",
    "answers_of",
    "at_every_corner",
    "data_levels",
    "data_taus",
    "driven_line",
    "input_levels",
    "judge",
    "line_of",
    "lines_of",
    "register_levels",
    "stretched",
    "thresholds",
]

TEST_LOAD = 50e-12
"""Farads already on the output when the data sheet measures its delays (from memory)."""

_AT_ONCE = 512
"""Designs in one piece of work, to bound memory."""

GROUPS = {
    "contacts": (
        "levels.pressed",
        "levels.contact",
        "levels.released",
        "edges.press",
        "edges.release",
        "power.pull-up",
    ),
    "latch": (
        "latch.high",
        "latch.low",
        "latch.rise",
        "power.latch-resistor",
        "latch.fall",
        "latch.pulse",
    ),
    "clock": (
        "clock.high",
        "clock.low",
        "clock.rise",
        "power.clock-resistor",
        "clock.fall",
        "clock.low-pulse",
        "clock.high-pulse",
    ),
    "data": (
        "data.low",
        "data.high",
        "data.rise",
        "data.fall",
        "data.first-bit",
        "data.later-bits",
    ),
    "supply": ("supply.idle", "supply.all-held"),
    "wires": WIRES,
}
"""What is judged together, because it comes out of the same circuit; wires only where asked for."""

Sense = Literal["at most", "at least"]


@dataclass(frozen=True)
class Judged:
    """One quantity of n designs at its worst corner; arrays of shape (n,).

    ``measured`` is infinite where a line never gets there, ``limit`` where there is none.
    ``corner`` counts in the space of ``axes``; ``matters``, shape (n, axes), says on which axes
    the other end would give another margin.
    """

    id: str
    unit: str
    sense: Sense
    axes: tuple[str, ...]
    measured: Array
    limit: Array
    margin: Array
    corner: NDArray[np.int64]
    matters: NDArray[np.bool_]

    @property
    def holds(self) -> NDArray[np.bool_]:
        """Which designs keep the limit; at the limit is kept."""
        return np.asarray(self.margin >= 0, np.bool_)


@dataclass(frozen=True)
class _Quantity:
    """One quantity at all corners; arrays that broadcast to (n, corners)."""

    id: str
    unit: str
    sense: Sense
    measured: Array
    limit: Array

    def margins(self, over: Space) -> tuple[Array, Array, Array]:
        """Measured, limit and margin at all corners, each of shape (n, corners)."""
        shape = over.supply.shape
        measured = np.broadcast_to(self.measured, shape)
        limit = np.broadcast_to(self.limit, shape)
        with np.errstate(invalid="ignore"):
            margin = limit - measured if self.sense == "at most" else measured - limit
        # inf - inf: a line that never gets there fails whatever the limit.
        never = np.isinf(measured) if self.sense == "at most" else np.isneginf(measured)
        return measured, limit, np.where(never, -np.inf, margin)

    def worst(self, over: Space) -> Judged:
        measured, limit, margin = self.margins(over)
        shape = margin.shape
        corner = np.argmin(margin, axis=1)
        rows = np.arange(shape[0])
        ends = len(over.axes)
        flipped = corner[:, None] ^ (1 << np.arange(ends)[::-1])
        matters = margin[rows[:, None], flipped] != margin[rows, corner][:, None]
        return Judged(
            self.id,
            self.unit,
            self.sense,
            over.axes,
            measured[rows, corner],
            limit[rows, corner],
            margin[rows, corner],
            corner.astype(np.int64),
            matters,
        )


def judge(design: Design, ids: Collection[str] | None = None) -> tuple[Judged, ...]:
    """Every quantity of every design at its worst corner, always in one order.

    ``ids`` asks for some of them only, which costs less, or for ``timing.*`` (see
    `padbench.circuit.wires`), which are not among the others.
    """
    if len(design) <= _AT_ONCE:
        return tuple(_judge(design, ids))
    pieces = [
        tuple(_judge(_slice(design, start, start + _AT_ONCE), ids))
        for start in range(0, len(design), _AT_ONCE)
    ]
    return tuple(_joined(group) for group in zip(*pieces, strict=True))


@dataclass(frozen=True)
class AtCorners:
    """The margin of one quantity of n designs at every corner, shape (n, corners), in its unit."""

    id: str
    margin: Array


def at_every_corner(design: Design) -> Iterator[AtCorners]:
    """All that `judge` looks at, with nothing thrown away; for some designs, not for thousands."""
    for over, quantities in _quantities(design, None):
        for one in quantities:
            yield AtCorners(one.id, one.margins(over)[2])


def thresholds(
    low_part: Array, high_part: Array, series_b: Array, supply: Array
) -> tuple[Array, Array]:
    """Highest low and lowest high level (V) at a supply.

    Parts of the supply; for the B series JEDEC JESD13-B has 1.5 V and 3.5 V at 5 V, the same parts
    at 10 V, and 4 V and 11 V at 15 V, between which lies a straight line here (10 V and 15 V from
    memory).
    """
    beyond = np.clip((supply - 10.0) / 5.0, 0.0, 1.0) * (series_b > 0)
    low = low_part + beyond * (4.0 / 15.0 - low_part)
    high = high_part + beyond * (11.0 / 15.0 - high_part)
    return low * supply, high * supply


def register_levels(design: Design, over: Space) -> tuple[Array, Array]:
    """Highest low and lowest high level (V) of the register's inputs, at every corner."""
    low, high = _each(design.low_part), _each(design.high_part)
    parts = thresholds(low, high, _each(design.series_b), over.supply)
    fixed = _each(design.level_fixed) > 0
    return np.where(fixed, low, parts[0]), np.where(fixed, high, parts[1])


def _judge(design: Design, ids: Collection[str] | None) -> Iterator[Judged]:
    for over, quantities in _quantities(design, ids):
        yield from _worst(quantities, over, ids)


def _quantities(
    design: Design, ids: Collection[str] | None
) -> Iterator[tuple[Space, Iterable["_Quantity"]]]:
    def asked(group: str) -> bool:
        return group != "wires" if ids is None else any(id_ in ids for id_ in GROUPS[group])

    if asked("contacts"):
        over = space(design, ("supply", "resistors", "temperature", "leakage", "contact"))
        yield over, _contacts(design, over)
    over = space(design, ("supply", "resistors", "temperature", "leakage", "diode"))
    both = asked("data") or asked("supply") or asked("wires")
    lines = {
        name: line_of(design, over, name) for name in ("latch", "clock") if both or asked(name)
    }
    for name, line in lines.items():
        if asked(name):
            yield over, _line(design, over, name, line, ids)
    if asked("data"):
        yield over, _data(design, over, lines["latch"], lines["clock"])
    if asked("supply"):
        yield over, _supply(design, over, lines["latch"], lines["clock"])
    if asked("wires"):
        yield space(design, ()), _wires(design, over, lines)


def _worst(
    quantities: Iterable["_Quantity"], over: Space, ids: Collection[str] | None
) -> Iterator[Judged]:
    return (one.worst(over) for one in quantities if ids is None or one.id in ids)


def _each(field: Array) -> Array:
    return field[:, None]


def stretched(design: Design, over: Space) -> Array:
    """By how much a part's times are longer than in its table."""
    return stretch(
        over.supply,
        over.celsius,
        _each(design.stretch_volts),
        _each(design.stretch_threshold),
        _each(design.stretch_exponent),
        _each(design.stretch_degree),
    )


def _leakage(design: Design, over: Space) -> Array:
    """A of one register input: the figure over temperature as soon as it is above 25 °C."""
    return np.where(over.celsius > 25.0, _each(design.leakage_hot), _each(design.leakage))


def input_levels(design: Design, over: Space) -> tuple[Array, Array]:
    """Volts of an input with its button pressed and released, at every corner."""
    leak = over.sign * _leakage(design, over)
    pull_up = (over.supply, over.pull_up)
    pressed = node(pull_up, (0.0, over.contact), into=leak)
    released = node(pull_up, (0.0, _each(design.dirt)), into=leak)
    return np.clip(pressed, 0.0, over.supply), np.clip(released, 0.0, over.supply)


def _contacts(design: Design, over: Space) -> Iterator[_Quantity]:
    """Levels and edges at a register input: pull-up, contact, dirt, leakage, input capacitance.

    Levels by Millman's theorem; the largest contact resistance is where that level equals the
    threshold: R = V_IL / ((V - V_IL) / R_pull-up ± I). Edges are first-order RC. The pull-up of a
    held button turns P = V² R_pull-up / (R_pull-up + R_contact)² into heat (Joule's law on the
    voltage divider); the limit is the sheet's rating.
    """
    low, high = register_levels(design, over)
    leak = over.sign * _leakage(design, over)
    pressed, released = input_levels(design, over)
    dirt = _each(design.dirt)
    into = (over.supply - low) / over.pull_up + leak
    with np.errstate(divide="ignore"):
        contact = np.where(into > 0, np.minimum(low / np.where(into > 0, into, 1), ABSENT), ABSENT)
    farads = _each(design.input_c)
    yield _Quantity("levels.pressed", "V", "at most", pressed, low)
    yield _Quantity("levels.contact", "Ω", "at least", contact, _each(design.worn))
    yield _Quantity("levels.released", "V", "at least", released, high)
    closing = 1 / (1 / over.pull_up + 1 / over.contact)
    opening = 1 / (1 / over.pull_up + 1 / dirt)
    # From the full supply: a clean contact, whatever dirt does to the level.
    press = rc_times(closing * farads, over.supply, pressed, low)
    release = rc_times(opening * farads, pressed, released, high)
    yield _Quantity("edges.press", "s", "at most", press, _each(design.period))
    yield _Quantity("edges.release", "s", "at most", release, _each(design.period))
    heat = over.supply**2 * over.pull_up / (over.pull_up + over.contact) ** 2
    yield _Quantity("power.pull-up", "W", "at most", heat, _each(design.pull_up_rating))


@dataclass(frozen=True)
class Line:
    """Latch or clock at the register: levels (V) and times (s) at every corner.

    ``rise_low`` and ``rise_high`` run from the port's edge to the passing of the lower and of the
    upper threshold on the way up, ``fall_high`` and ``fall_low`` the same on the way down, which
    is worked out only when it is asked for.
    """

    driven: "DrivenLine"
    low_at: Array
    high_at: Array
    rise_low: Array
    rise_high: Array

    @property
    def resistor(self) -> Array:
        """Ohms from supply."""
        return self.driven.resistor

    @property
    def low(self) -> Array:
        """Volts that it gets down to."""
        return self.driven.low

    @property
    def high(self) -> Array:
        """Volts that it gets up to."""
        return self.driven.high

    @cached_property
    def fall_high(self) -> Array:
        """See above."""
        return self.driven.fall(self.high_at)

    @cached_property
    def fall_low(self) -> Array:
        """See above."""
        return self.driven.fall(self.low_at)


def lines_of(design: Design, over: Space) -> dict[str, Line]:
    """Latch and clock as the port, the pad's resistor and the cable make them."""
    return {name: line_of(design, over, name) for name in ("latch", "clock")}


def line_of(design: Design, over: Space, name: str) -> Line:
    """Latch or clock, whichever is named, at every corner."""
    low_at, high_at = register_levels(design, over)
    driven = driven_line(design, over, name)
    return Line(driven, low_at, high_at, driven.rise(low_at), driven.rise(high_at))


@dataclass(frozen=True)
class DrivenLine:
    """A line with its port: what it takes to follow its voltage; arrays of one shape.

    ``source`` is the pad's resistor and the leakage as one source (V) behind ``resistor`` (Ω); it
    holds against the port when that pulls down through ``pull_r`` and the diode. ``tau`` (s) is
    that of the rise.
    """

    resistor: Array
    source: Array
    pull_r: Array
    saturation: Array
    slope: Array
    farads: Array
    tau: Array
    low: Array
    high: Array

    def rise(self, to: Array) -> Array:
        """Seconds from the port's edge until the line, settled low, passes ``to`` volts."""
        return rc_times(self.tau, self.low, self.high, to)

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


def driven_line(design: Design, over: Space, name: str) -> DrivenLine:
    """Latch or clock with what drives it, at every corner.

    High by Millman's theorem, τ = C / (1 / R + 1 / R_lift), low the diode's and the port's drop at
    the current that `diode_current` solves for.
    """
    ohms = over.latch_r if name == "latch" else over.clock_r
    chips = _each(design.chips)
    leak = over.sign * (chips * _leakage(design, over) + _each(design.port_leakage))
    farads = _each(design.cable_length * design.cable_per_metre) + chips * _each(design.input_c)
    emission = _each(design.emission)
    saturation = diode_saturation(over.saturation, emission, over.celsius)
    slope = emission * thermal_voltage(over.celsius)
    pull_r, lift_r = _each(design.pull_r), _each(design.lift_r)
    high = np.clip(node((over.supply, ohms), (over.supply, lift_r), into=leak), 0.0, over.supply)
    source = over.supply + leak * ohms
    current = diode_current(source, ohms + pull_r, saturation, slope)
    low = slope * np.log1p(current / saturation) + pull_r * current
    tau = farads / (1 / ohms + 1 / lift_r)
    return DrivenLine(ohms, source, pull_r, saturation, slope, farads, tau, low, high)


def _line(
    design: Design, over: Space, name: str, line: Line, ids: Collection[str] | None
) -> Iterator[_Quantity]:
    """Levels, edges and pulses of latch or clock.

    An edge is the time between the two thresholds. A pulse is what is left of the console's
    beyond the thresholds: its width, less the way to the far threshold at its start, plus the way
    to the same threshold at its end. Levels by Millman's theorem and Shockley's diode, rises
    first-order RC (see `driven_line`). The resistor of a line that is held low turns
    P = (V - V_low)² / R into heat (Joule's law); the limit is the sheet's rating.
    """
    edge = _each(design.edge_max)
    yield _Quantity(f"{name}.high", "V", "at least", line.high, line.high_at)
    yield _Quantity(f"{name}.low", "V", "at most", line.low, line.low_at)
    yield _Quantity(f"{name}.rise", "s", "at most", _less(line.rise_high, line.rise_low), edge)
    heat = (over.supply - line.low) ** 2 / line.resistor
    yield _Quantity(f"power.{name}-resistor", "W", "at most", heat, _each(design.line_rating))
    falling = (f"{name}.fall", f"{name}.pulse", f"{name}.low-pulse", f"{name}.high-pulse")
    if ids is not None and not any(id_ in ids for id_ in falling):
        return
    yield _Quantity(f"{name}.fall", "s", "at most", _less(line.fall_low, line.fall_high), edge)
    longer = stretched(design, over)
    if name == "latch":
        width = _pulse(design.latch_width, line.rise_high, line.fall_high)
        needed = _each(design.load_min) * longer
        yield _Quantity("latch.pulse", "s", "at least", width, needed)
    else:
        low_width = _pulse(design.clock_low, line.fall_low, line.rise_low)
        high_width = _pulse(design.clock_high, line.rise_high, line.fall_high)
        needed = _each(design.clock_min) * longer
        yield _Quantity("clock.low-pulse", "s", "at least", low_width, needed)
        yield _Quantity("clock.high-pulse", "s", "at least", high_width, needed)


def _less(late: Array, early: Array) -> Array:
    return np.where(np.isinf(late), np.inf, late - np.where(np.isinf(early), 0.0, early))


def _pulse(width: Array, begins: Array, ends: Array) -> Array:
    """Minus infinity where the pulse never begins; one that never ends is cut at its width."""
    ends = np.where(np.isinf(ends), 0.0, ends)
    return np.where(np.isinf(begins), -np.inf, _each(width) - begins + ends)


def _output(current: Array, hot: Array, drop: Array, design: Design, over: Space) -> Array:
    """Ohms of the register's output: what drops the data sheet's volts at its current.

    Above 25 °C the guaranteed current falls on a straight line to the figure over temperature,
    which data sheets give for the hottest (B series: 0.51, 0.42 and 0.36 mA at 25, 85 and 125 °C,
    from memory, lie on one). Below, the 25 °C figure stands, though parts are stronger there.
    """
    way = (over.celsius - 25.0) / np.maximum(_each(design.hottest) - 25.0, 1.0)
    amperes = _each(current) + np.clip(way, 0.0, 1.0) * (_each(hot) - _each(current))
    return _each(drop) / amperes


def _outputs(design: Design, over: Space) -> tuple[Array, Array]:
    """Ohms of the register's output, sinking and sourcing."""
    return (
        _output(design.sink, design.sink_hot, design.sink_drop, design, over),
        _output(design.source, design.source_hot, design.source_drop, design, over),
    )


def _data_ohms(design: Design, over: Space) -> tuple[Array, Array]:
    """Ohms that charge the data line, rising and falling: the output beside the console's."""
    sink, source = _outputs(design, over)
    rest = _each(1 / design.data_up + 1 / design.data_down)
    return 1 / (1 / source + rest), 1 / (1 / sink + rest)


def data_taus(design: Design, over: Space) -> tuple[Array, Array]:
    """Time constants (s) of the data line at the console, rising and falling.

    τ = R C, with the output beside the console's resistors, and the cable beside its input.
    """
    farads = _each(design.cable_length * design.cable_per_metre + design.console_c)
    rise_r, fall_r = _data_ohms(design, over)
    return rise_r * farads, fall_r * farads


def data_levels(design: Design, over: Space) -> tuple[Array, Array]:
    """Volts of the data line low and high, with what the console puts on it, at every corner.

    Millman's theorem, V = (Σ V_k / R_k ± I) / Σ 1 / R_k: the register's output to ground or to
    supply (see `_output`), the console's resistors to supply and to ground, and its leakage I.
    """
    sink, source = _outputs(design, over)
    leak = over.sign * _each(design.input_leakage)
    up, down = (over.supply, _each(design.data_up)), (0.0, _each(design.data_down))
    low = node((0.0, sink), up, down, into=leak)
    high = node((over.supply, source), up, down, into=leak)
    return np.clip(low, 0.0, over.supply), np.clip(high, 0.0, over.supply)


def _data(design: Design, over: Space, latch: Line, clock: Line) -> Iterator[_Quantity]:
    """The data line at the console: levels, edges, and arrival before the sample.

    Arrival is the line's own delay to the register's upper threshold, the longest answer of the
    part, and the charging of what is on the line beyond the 50 pF of the data sheet's test; edges
    are first-order RC, t = τ ln((V_end - V_start) / (V_end - V_threshold)) with `data_taus`. Limits
    of the levels are the port's ``input-low`` and ``input-high``, of the times the sheet's poll.
    """
    low_at, high_at = _input_levels_at(design, over)
    low, high = data_levels(design, over)
    yield _Quantity("data.low", "V", "at most", low, low_at)
    yield _Quantity("data.high", "V", "at least", high, high_at)

    later = _each(design.clock_high + design.sample)
    first = _each(design.latch_width + design.latch_to_clock + design.sample)
    rise_tau, fall_tau = data_taus(design, over)
    rise = rc_times(rise_tau, low, high, high_at)
    fall = rc_times(fall_tau, high, low, low_at)
    yield _Quantity("data.rise", "s", "at most", rise, later)
    yield _Quantity("data.fall", "s", "at most", fall, later)
    to_first, to_next = answers_of(design, over)
    yield _Quantity("data.first-bit", "s", "at most", latch.rise_high + to_first, first)
    yield _Quantity("data.later-bits", "s", "at most", clock.rise_high + to_next, later)


def _input_levels_at(design: Design, over: Space) -> tuple[Array, Array]:
    """Highest low and lowest high level (V) of the console's data input."""
    # A threshold given in volts (TTL levels) does not move with the supply.
    unit = np.where(_each(design.input_fixed) > 0, 1.0, over.supply)
    return _each(design.input_low_part) * unit, _each(design.input_high_part) * unit


def answers_of(design: Design, over: Space) -> tuple[Array, Array]:
    """From latch and from clock at the register to the data line at the console (s)."""
    low_at, high_at = _input_levels_at(design, over)
    low, high = data_levels(design, over)
    farads = _each(design.cable_length * design.cable_per_metre + design.console_c)
    beyond = np.maximum(farads - TEST_LOAD, 0.0)
    rise_r, fall_r = _data_ohms(design, over)
    charged = np.maximum(
        rc_times(rise_r * beyond, low, high, high_at), rc_times(fall_r * beyond, high, low, low_at)
    )
    longer = stretched(design, over)
    return (
        _each(design.load_to_output) * longer + charged,
        _each(design.clock_to_output) * longer + charged,
    )


def _wires(design: Design, over: Space, lines: dict[str, Line]) -> Iterator[_Quantity]:
    """What the rules would measure in a run: the latest edges of all corners together."""
    latch, clock = lines["latch"], lines["clock"]
    to_first, to_next = answers_of(design, over)
    edges = Edges(
        latch_rise=np.max(latch.rise_high, axis=1),
        latch_fall=np.max(latch.fall_low, axis=1),
        clock_rise=np.max(clock.rise_high, axis=1),
        clock_fall=np.max(clock.fall_low, axis=1),
        first_answer=np.max(to_first, axis=1),
        answer=np.max(to_next, axis=1),
        stretch=np.max(stretched(design, over), axis=1),
    )
    for id_, measured, limit in wire_times(design, edges):
        yield _Quantity(id_, "s", "at least", _each(measured), _each(limit))


def _supply(design: Design, over: Space, latch: Line, clock: Line) -> Iterator[_Quantity]:
    """Current from the port's supply, idle (latch low, clock high) and with all buttons held.

    Ohm's law, summed: quiescent current of the parts, V / (R_pull-up + R) through dirt or fresh
    contacts, (V - V_low) / R of the resistor of each line that stands low; with all held, both
    lines, as in the middle of a read. And what the register gives the console's data input while
    data is high, as it may be though all is held if that was since the latch: V / R of the
    console's resistor to ground, the output taken as without drop, since no data sheet promises
    the least of it, and the input's leakage. The limit is the port's ``supply-current``. No source
    but these laws.
    """
    parts = _each(design.chips) * np.where(
        over.celsius > 25.0, _each(design.quiescent_hot), _each(design.quiescent)
    )
    inputs = _each(design.inputs)
    latch_i = (over.supply - latch.low) / latch.resistor
    clock_i = (over.supply - clock.low) / clock.resistor
    open_i = inputs * over.supply / (over.pull_up + _each(design.dirt))
    held_i = inputs * over.supply / (over.pull_up + _each(design.closed))
    data_i = over.supply / _each(design.data_down)
    data_i = data_i + np.where(over.sign < 0, _each(design.input_leakage), 0.0)
    parts = parts + data_i
    budget = _each(design.budget)
    yield _Quantity("supply.idle", "A", "at most", parts + open_i + latch_i, budget)
    yield _Quantity("supply.all-held", "A", "at most", parts + held_i + latch_i + clock_i, budget)


def _slice(design: Design, start: int, stop: int) -> Design:
    return Design(
        **{field.name: getattr(design, field.name)[start:stop] for field in fields(Design)}
    )


def _joined(group: tuple[Judged, ...]) -> Judged:
    first = group[0]
    return Judged(
        first.id,
        first.unit,
        first.sense,
        first.axes,
        np.concatenate([one.measured for one in group]),
        np.concatenate([one.limit for one in group]),
        np.concatenate([one.margin for one in group]),
        np.concatenate([one.corner for one in group]),
        np.concatenate([one.matters for one in group]),
    )
