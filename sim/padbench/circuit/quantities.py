"""Every electrical quantity of a pad, one row each; all that is said or tried follows from it.

    QUANTITIES["levels.pressed"].mends             # ("pull-up.value", "contacts.worn")

A new quantity is one more row here: groups, findings, sentences, sources, remedies, the longest
cable and what a preferred resistor must not break are taken from the rows.
"""

from collections.abc import Callable, Iterator
from fnmatch import fnmatchcase
from functools import partial
from typing import Literal

import numpy as np

from padbench.circuit.circuits import Circuits, Line, each
from padbench.circuit.design import ABSENT, Array
from padbench.circuit.forecast import forecasts
from padbench.circuit.laws import rc_times
from padbench.circuit.quantity import Circuit, Quantity
from padbench.core.findings import Rule, Source

Pair = tuple[Array, Array]
Rests = tuple[Source | str, ...]
_Values = Callable[[Circuits], Pair]

_LATCH, _CLOCK, _UP = "resistors.latch-to-supply", "resistors.clock-to-supply", "pull-up.value"
_CABLE = ("cable.length", "cable.capacitance")
_DATA_UP, _DATA_DOWN = "port.*.data-pull-up", "port.*.data-pull-down"

_SHEET = Source("the sheet", "given")
_RC = Source("first-order RC", "calculated")
_MILLMAN = Source("Millman's theorem", "calculated")
_JOULE = Source("Joule's law", "calculated")
_COUPLED = Source("coupling of two cores: 10 to 20 % in a bundle of five", "from memory")
_SQUARE = Source("square law of a MOS output", "calculated")
_OHM = Source("Ohm's law", "calculated")
_TESTED = Source("answers are measured with 50 pF", "from memory")

_LEAKAGE: Rests = ("part.leakage", "part.leakage_over_temperature")
_INPUT: Rests = (_SHEET, *_LEAKAGE, _MILLMAN)
_LINE: Rests = (_SHEET, *_LEAKAGE, "port.output_leakage", _MILLMAN)
_PULLED: Rests = (
    *("port.output_low_resistance", "port.diode_saturation_current", "port.diode_emission"),
    Source("Shockley's diode", "calculated"),
)
_LIFTED: Rests = ("port.output_high_resistance", "port.output_high", "port.supply")
_PROTECTED, _HARMLESS = 0.3, 10e-6
_CLAMPED = Source("a protection diode begins to conduct 0.3 V above the supply", "assumed")
_EDGE: Rests = (
    *("part.input_low", "part.input_high", *_LINE, *_PULLED, *_LIFTED),
    *("part.input_capacitance", _RC),
)
_OUTPUT: Rests = (
    *("part.sink_current", "part.sink_current_over_temperature", "part.sink_drop"),
    *("part.source_current", "part.source_current_over_temperature", "part.source_drop"),
    *("port.data_pull_up", "port.data_pull_down", "port.input_leakage", _SQUARE),
    *("port.supply", "port.diode_saturation_current"),
)
_CHARGED: Rests = (
    *(_SHEET, "port.input_low", "port.input_high", *_OUTPUT, "part.output_transition"),
    "port.input_capacitance",
)
_ARRIVAL: Rests = (_SHEET, "part.clock_to_output", "part.derating", _TESTED, *_CHARGED, *_EDGE)
_CURRENT: Rests = (
    *("port.supply_current", _SHEET, "part.quiescent_current"),
    *("part.quiescent_current_over_temperature", "port.data_pull_down", "port.input_leakage"),
    *(*_PULLED, _OHM),
)


# Formulas of more than a line: measured and limit, arrays that broadcast to (n, corners).


def _largest_contact(c: Circuits) -> Pair:
    """Where the level equals the threshold: R = V_IL / ((V - V_IL) / R_pull-up ± I)."""
    low, over = c.input_thresholds[0], c.at_inputs
    into = (over.supply - low) / over.pull_up + c.input_leakage
    with np.errstate(divide="ignore"):
        contact = np.where(into > 0, np.minimum(low / np.where(into > 0, into, 1), ABSENT), ABSENT)
    return contact, each(c.design.worn)


def _press(c: Circuits) -> Pair:
    """First-order RC from the full supply: a clean contact, whatever dirt does to the level."""
    over = c.at_inputs
    closing = 1 / (1 / over.pull_up + 1 / over.contact)
    tau = closing * each(c.design.input_c)
    fall = rc_times(tau, over.supply, c.inputs[0], c.input_thresholds[0])
    return fall, each(c.design.period)


def _release(c: Circuits) -> Pair:
    """First-order RC from the pressed level."""
    opening = 1 / (1 / c.at_inputs.pull_up + 1 / each(c.design.dirt))
    tau = opening * each(c.design.input_c)
    return rc_times(tau, *c.inputs, c.input_thresholds[1]), each(c.design.period)


def _pull_up_heat(c: Circuits) -> Pair:
    """Of a held button, P = V² R_pull-up / (R_pull-up + R_contact)²: Joule's law on the divider."""
    over = c.at_inputs
    heat = over.supply**2 * over.pull_up / (over.pull_up + over.contact) ** 2
    return heat, each(c.design.pull_up_rating)


def _line_heat(c: Circuits, line: Line) -> Pair:
    """Of the resistor of a line that is held low, P = (V - V_low)² / R."""
    heat = (c.at_lines.supply - line.low) ** 2 / line.resistor
    return heat, each(c.design.line_rating)


def _pulse(width: Array, begins: Array, ends: Array) -> Array:
    """What is left of the console's pulse beyond the thresholds, s.

    Its width, less the way to the far threshold at its start, plus the way to the same threshold
    at its end. Minus infinity where it never begins; one that never ends is cut at its width.
    """
    ends = np.where(np.isinf(ends), 0.0, ends)
    return np.where(np.isinf(begins), -np.inf, each(width) - begins + ends)


def _removal(c: Circuits) -> Pair:
    """Latest end of the load at the register, and a clock without any delay: none is promised."""
    wait = each(c.design.latch_to_clock + c.design.clock_low) - c.latch.fall_low
    return wait, _shortest(c, c.design.removal)


def _shortest(c: Circuits, least: Array) -> Array:
    return each(least) * c.stretched


def _data_edge(c: Circuits, *, rises: bool) -> Pair:
    """To the console's threshold, against the time from a clock to its sample."""
    return c.data_time(c.data_thresholds[rises], rises=rises), c.data_samples[1]


def _above_inputs(c: Circuits) -> Pair:
    """How far a port lifts latch and clock above the pad's supply, V.

    What holds it off is a protection diode's 0.3 V, and its resistance at a current that any input
    stands, 10 µA (both assumed).
    """
    d, over = c.design, c.at_lines
    level = np.where(each(d.lift_high) > 0, each(d.lift_high), over.console)
    lifts = each(d.lift_r) < ABSENT
    above = np.where(lifts, np.maximum(level - over.supply, 0.0), 0.0)
    return above, each(_PROTECTED + np.where(d.lift_r < ABSENT, d.lift_r * _HARMLESS, 0.0))


def _above_console(c: Circuits) -> Pair:
    """How far the pad lifts data above the console's supply, V; a diode there keeps it away."""
    over = c.at_lines
    above = np.maximum(over.supply - over.console, 0.0)
    return np.where(each(c.design.data_emission) > 0, 0.0, above), np.full((1, 1), _PROTECTED)


def _current(c: Circuits, *, held: bool) -> Pair:
    """A from the port's supply, idle (latch low, clock high) or with all buttons held.

    Ohm's law, summed: quiescent current of the parts, V / (R_pull-up + R) through dirt or fresh
    contacts, (V - V_low) / R of the resistor of each line that stands low; with all held, both
    lines, as in the middle of a read. And what the register gives the console's data input while
    data is high, as it may be though all is held if that was since the latch: V / R of the
    console's resistor to ground, the output taken as without drop, since no data sheet promises
    the least of it, and the input's leakage. No source but these laws.
    """
    d, over = c.design, c.at_lines
    quiescent = np.where(over.celsius > 25.0, each(d.quiescent_hot), each(d.quiescent))
    data = over.supply / each(d.data_down)
    data = data + np.where(over.sign < 0, each(d.input_leakage), 0.0)
    through = each(d.closed if held else d.dirt)
    inputs = each(d.inputs) * over.supply / (over.pull_up + through)
    total = each(d.chips) * quiescent + data + inputs
    for line in (c.latch, c.clock) if held else (c.latch,):
        total = total + (over.supply - line.low) / line.resistor
    return total, each(d.budget)


def _row(
    id_: str,
    unit: str,
    circuit: Circuit,
    sense: Literal["at most", "at least"],
    values: _Values,
    rests_on: Rests,
    text: str,
    *mends: str,
    also_on: tuple[str, ...] = (),
    of_port: str = "",
    resistor: str = "",
    **cases: str,
) -> Quantity:
    """``text`` is for both verdicts, ``cases`` has other sentences."""
    rule = Rule(id_, unit, {"pass": text, "fail": text, **cases}, mends)
    return Quantity(rule, circuit, sense, values, rests_on, also_on, of_port, resistor)


def _of_inputs() -> Iterator[Quantity]:
    """Levels, edges and heat at a register input: pull-up, contact, dirt, leakage, capacitance."""
    yield _row(
        *("levels.pressed", "V", "inputs", "at most"),
        lambda c: (c.inputs[0], c.input_thresholds[0]),
        ("part.input_low", *_INPUT),
        "a pressed button's input stands at {measured}; {limit} and less reads low",
        *(_UP, "contacts.worn"),
    )
    yield _row(
        *("levels.contact", "Ω", "inputs", "at least", _largest_contact),
        ("part.input_low", *_INPUT),
        "a contact of up to {measured} still reads as pressed; a worn one has up to {limit}",
        *(_UP, "contacts.worn"),
    )
    yield _row(
        *("levels.released", "V", "inputs", "at least"),
        lambda c: (c.inputs[1], c.input_thresholds[1]),
        ("part.input_high", *_INPUT),
        "a released button's input stands at {measured}; {limit} and more reads high",
        *(_UP, "contacts.open"),
    )
    for name, values, done, way, get, contact in (
        ("press", _press, "pressed", "fall", "low", "worn"),
        ("release", _release, "released", "rise", "high", "open"),
    ):
        yield _row(
            *(f"edges.{name}", "s", "inputs", "at most", values),
            (f"part.input_{get}", *_INPUT, "part.input_capacitance", _RC),
            f"an input takes {{measured}} to {way} after a {name}; the next poll comes in"
            " {limit}",
            *(_UP, f"contacts.{contact}", "poll.period"),
            never=f"a {done} button's input never gets {get}",
        )
    yield _row(
        *("power.pull-up", "W", "inputs", "at most", _pull_up_heat, (_SHEET, _JOULE)),
        "a pull-up turns {measured} into heat; {limit} is allowed",
        *(_UP, "pull-up.rating"),
        resistor="pull_up",
        absent="no pull-up is fitted that could turn anything into heat",
    )


def _of_line(name: Literal["latch", "clock"], resistor: str) -> Iterator[Quantity]:
    """Levels, edges and heat of latch or clock; pulses differ."""

    def line(c: Circuits) -> Line:
        return c.latch if name == "latch" else c.clock

    edge_max = "latch_edge_max" if name == "latch" else "edge_max"

    def edge(way: Literal["rise", "fall"], ends: str, get: str) -> Quantity:
        # The line of an inverted latch ends at the inverter, which is a fact of the finding.
        text = f"the {name} {way}s from {ends} % in {{measured}} at the {{{name}_end}}"
        text += ", {limit} is allowed"
        return _row(
            *(f"{name}.{way}", "s", name, "at most"),
            lambda c: (getattr(line(c), way), each(getattr(c.design, edge_max))),
            ("part.clock_edge_max", *_EDGE),
            *(text, resistor, *_CABLE),
            never=f"the {name} line never gets {get}",
            unlimited=text.replace("{limit}", "any time"),
        )

    sunk = f"the {{port}} port sinks {{measured}} while {name} is low; "
    yield _row(
        *(f"{name}.high", "V", name, "at least"),
        lambda c: (line(c).high, line(c).high_at),
        ("part.input_high", *_LINE, *_LIFTED),
        f"the {name} line gets to {{measured}} on a {{port}} port; {{limit}} and more reads high",
        resistor,
        of_port=name,
        unlifted=f"the {name} line never gets high: a {{port}} port cannot lift it, and what"
        f" the pad has between supply and {name} leaves it at {{measured}}; {{limit}} is high",
    )
    yield _row(
        *(f"{name}.low", "V", name, "at most"),
        lambda c: (line(c).low, line(c).low_at),
        ("part.input_low", *_LINE, *_PULLED),
        f"the {name} line gets down to {{measured}}; {{limit}} and less reads low",
        resistor,
    )
    yield _row(
        *(f"{name}.sink", "A", name, "at most"),
        lambda c: (line(c).sunk, each(c.design.sink_most)),
        ("port.sink_current", "port.supply", *_LINE, *_PULLED),
        f"{sunk}{{limit}} is allowed",
        resistor,
        unlimited=f"{sunk}nobody says how much is allowed",
    )
    yield edge("rise", "10 to 90", "high")
    yield _row(
        *(f"power.{name}-resistor", "W", name, "at most"),
        lambda c: _line_heat(c, line(c)),
        (*_LINE, *_PULLED, _JOULE),
        f"the {name} resistor turns {{measured}} into heat; {{limit}} is allowed",
        *(resistor, "resistors.rating"),
        resistor=f"{name}_r",
        absent=f"no resistor is fitted from {name} to supply that could get warm",
    )
    yield edge("fall", "90 to 10", "low")


def _of_pulses() -> Iterator[Quantity]:
    """What the register sees of the console's pulses; see `_pulse`."""

    def row(
        id_: str, what: str, sees: str, mends: tuple[str, ...], need: str, values: _Values
    ) -> Quantity:
        line: Circuit = "latch" if id_.startswith("latch") else "clock"
        return _row(
            *(id_, "s", line, "at least", values, (need, "part.derating", *_EDGE)),
            f"the register sees {{measured}} of {what} and needs {{limit}}",
            *(*mends, "register.shortest-pulse"),
            never=f"the register never sees the {sees}",
            none=f"nothing of {what} gets through to the register, which needs {{limit}}",
            # Where its transistors do not conduct, its times are without bound.
            unlimited="at so little supply the register takes in no pulse, however long",
        )

    yield row(
        *("latch.pulse", "the latch pulse", "latch", (_LATCH, *_CABLE, "poll.latch-width")),
        "part.load_width",
        lambda c: (
            _pulse(c.design.latch_width, c.latch.rise_high, c.latch.fall_high),
            _shortest(c, c.design.load_min),
        ),
    )
    yield row(
        *("clock.low-pulse", "the clock's low part", "clock go low"),
        *((_CLOCK, *_CABLE, "poll.clock-low"), "part.clock_width"),
        lambda c: (
            _pulse(c.design.clock_low, c.clock.fall_low, c.clock.rise_low),
            _shortest(c, c.design.clock_min),
        ),
    )
    yield row(
        *("clock.high-pulse", "the clock's high part", "clock go high"),
        *((_CLOCK, *_CABLE, "poll.clock-high"), "part.clock_width"),
        lambda c: (
            _pulse(c.design.clock_high, c.clock.rise_high, c.clock.fall_high),
            _shortest(c, c.design.clock_min),
        ),
    )
    early = "with the latch at its latest and the clock at its earliest the first rising clock edge"
    yield _row(
        *("latch.removal", "s", "latch", "at least", _removal),
        ("part.removal", "part.derating", *_EDGE),
        f"{early} comes {{measured}} after the end of the load; the register needs {{limit}}",
        *(_LATCH, *_CABLE, "poll.latch-to-clock", "poll.clock-low", "register.shortest-pulse"),
        never="the load never ends: the latch line never gets low",
        none=f"{early} comes before the end of the load; the register needs {{limit}} between the"
        " two",
        unlimited="at so little supply no clock comes late enough after the load",
    )


def _of_coupling() -> Iterator[Quantity]:
    drag = "data that fall as the clock rises drag it back below its threshold for {measured}"
    yield _row(
        *("clock.coupling", "s", "clock", "at most"),
        lambda c: (c.dragged_back, each(c.design.clock_typical / 2)),
        (_COUPLED, "part.clock_width", "part.clock_to_output", "part.output_transition", *_EDGE),
        f"{drag}; a usual part counts a second clock from {{limit}} on",
        *(_CLOCK, "cable.length", "cable.coupling"),
        also_on=(_DATA_UP, _DATA_DOWN),
        fail=f"{drag}, and from {{limit}} on a usual part counts a second clock; a part with a"
        " Schmitt-trigger clock, or a lead whose clock and data lie apart, does not",
        never="the clock line never gets high",
        none="data that fall as the clock rises do not drag it back below its threshold",
    )


def _of_data() -> Iterator[Quantity]:
    """The data line at the console: levels, edges, and arrival before the sample.

    Arrival is the line's own delay to the register's upper threshold and `Circuits.answers`.
    """
    pulls = (_DATA_UP, _DATA_DOWN)
    yield _row(
        *("data.low", "V", "data", "at most"),
        lambda c: (c.data_levels[0], c.data_thresholds[0]),
        ("port.input_low", _SHEET, *_OUTPUT),
        "data gets down to {measured} at the console; {limit} and less reads low",
        *pulls,
    )
    yield _row(
        *("data.high", "V", "data", "at least"),
        lambda c: (c.data_levels[1], c.data_thresholds[1]),
        ("port.input_high", _SHEET, *_OUTPUT),
        "data gets up to {measured} at the console; {limit} and more reads high",
        *pulls[::-1],
    )
    for way, get in (("rise", "high"), ("fall", "low")):
        yield _row(
            *(f"data.{way}", "s", "data", "at most", partial(_data_edge, rises=way == "rise")),
            _CHARGED,
            f"data takes {{measured}} to {way} at the console; sampled {{limit}} after the clock",
            *(*_CABLE, "poll.clock-high", "poll.sample", "port.*.input-capacitance"),
            also_on=pulls,
            never=f"data never gets {get} at the console",
        )
    yield _row(
        *("data.first-bit", "s", "data", "at most"),
        lambda c: (c.latch.rise_high + c.answers[0], c.data_samples[0]),
        _ARRIVAL,
        "the first bit stands {measured} after the latch; it is sampled after {limit}",
        *(*_CABLE, _LATCH, "register.first-bit"),
        *("poll.latch-width", "poll.latch-to-clock", "poll.sample"),
        also_on=pulls,
        never="the first bit never stands: latch or data never gets to its level",
    )
    yield _row(
        *("data.later-bits", "s", "data", "at most"),
        lambda c: (c.clock.rise_high + c.answers[1], c.data_samples[1]),
        _ARRIVAL,
        "a later bit stands {measured} after its clock; it is sampled after {limit}",
        *(*_CABLE, _CLOCK, "register.next-bit", "poll.clock-high", "poll.sample"),
        also_on=pulls,
        never="later bits never stand: clock or data never gets to its level",
    )


def _of_supply() -> Iterator[Quantity]:
    for id_, what, held, mends in (
        ("supply.idle", "nothing", False, (_LATCH, _UP, "contacts.open", _DATA_DOWN)),
        ("supply.all-held", "everything", True, (_UP, _LATCH, _CLOCK, _DATA_DOWN)),
    ):
        yield _row(
            *(id_, "A", "supply", "at most", partial(_current, held=held), _CURRENT),
            f"the pad takes {{measured}} with {what} pressed; the port spares {{limit}}",
            *mends,
        )


def _of_two_supplies() -> Iterator[Quantity]:
    """The pad's supply on each port, and what its chips and the console's do to each other."""
    fed = (_SHEET, "port.supply", "port.diode_saturation_current", "port.diode_emission")
    runs = "on a {port} port the pad runs on {measured}, {fed}; the register takes {limit} and"
    yield _row(
        *("supply.least", "V", "supply", "at least"),
        lambda c: (c.at_lines.supply, each(c.design.part_least)),
        ("part.supply", *fed),
        *(f"{runs} more", "pad.supply"),
        of_port="supply",
    )
    yield _row(
        *("supply.most", "V", "supply", "at most"),
        lambda c: (c.at_lines.supply, each(c.design.part_most)),
        ("part.supply", *fed),
        *(f"{runs} less", "pad.supply"),
    )
    yield _row(
        *("latch.over-voltage", "V", "latch", "at most", _above_inputs),
        (_CLAMPED, *fed, *_LIFTED),
        "a {port} port lifts latch and clock {measured} above the pad's supply; its inputs stand"
        " {limit}",
        "pad.supply",
        of_port="over-voltage",
        fail="a {port} port lifts latch and clock {measured} above the pad's own supply; beyond"
        " {limit} a current flows into its inputs",
        none="a {port} port lifts latch and clock no higher than the pad's supply",
    )
    lifts = "the pad lifts data {measured} above the supply of a {port} port; "
    yield _row(
        *("data.over-voltage", "V", "data", "at most", _above_console, (_CLAMPED, *fed)),
        f"{lifts}its input stands {{limit}}",
        "pad.supply",
        fail=f"{lifts}beyond {{limit}} a current flows into its input",
        none="the pad lifts data no higher than the supply of a {port} port",
    )


def _rows() -> Iterator[Quantity]:
    latch, clock = _of_line("latch", _LATCH), _of_line("clock", _CLOCK)
    latch_pulse, *clock_pulses, removal = _of_pulses()
    yield from (*_of_inputs(), *latch, latch_pulse, removal, *clock, *clock_pulses)
    yield from _of_coupling()
    yield from (*_of_data(), *_of_supply(), *_of_two_supplies(), *forecasts())


QUANTITIES: dict[str, Quantity] = {row.id: row for row in _rows()}
"""By id, in the order of the findings; last what a run will measure, which has no finding here."""


def of_circuits(*circuits: Circuit) -> tuple[str, ...]:
    """The ids of everything of those circuits."""
    return tuple(id_ for id_, row in QUANTITIES.items() if row.circuit in circuits)


def growing_with_cable() -> tuple[str, ...]:
    """What grows worse with the length of the cable, and so bounds it."""
    rows = QUANTITIES.items()
    return tuple(id_ for id_, row in rows if "cable.length" in row.mends and row.circuit != "run")


def followed_by_a_program(key: str = "") -> tuple[str, ...]:
    """What it takes for a program to follow a poll in every run; of that what a key bears on.

    All on which a time of the program, as which a pad may be built, bears.
    """
    return tuple(
        id_
        for id_, row in QUANTITIES.items()
        if any(one.startswith("register.") for one in (*row.mends, *row.also_on))
        and (not key or key in row.mends)
    )


def kept_by(key: str) -> tuple[str, ...]:
    """What a preferred value of that resistor must not break: all that it bears on."""
    return tuple(
        id_
        for id_, row in QUANTITIES.items()
        if row.circuit != "run"
        and any(fnmatchcase(key, pattern) for pattern in (*row.mends, *row.also_on))
    )
