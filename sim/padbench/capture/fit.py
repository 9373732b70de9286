"""A kind of port and a register as a capture in volts shows them, for a parts file of one's own.

    text = fitted(seen, sheet, "push-pull", Source("measured, bench.csv, 2024-05-31", "measured"))

What latch, clock and data do from 10 to 90 % and how long data take to answer is put down to the
sheet's cable and resistors, by the circuits that the sheet is judged with, at 25 °C and at the
supply that the data line's high level shows; what is left is the port's and the register's. What no
capture shows stays that of the sheet's parts, with its own sources.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from padbench.capture.edges import ANSWERS, LineEdges, named
from padbench.capture.inspect import Inspection
from padbench.circuit.circuits import TEST_LOAD, Circuits
from padbench.circuit.design import Array, Design, changed, design_of, most
from padbench.core.findings import Source
from padbench.parts import Figure, PortKind, RegisterPart
from padbench.parts.own import own_text
from padbench.sheet import Sheet

_SAMPLES = 2
"""Between 10 and 90 %, on average: with fewer an edge cannot be told from a step (assumed)."""
_OHMS = np.geomspace(1.0, 1e5, 500)
_AMPERES = np.geomspace(1e-5, 1.0, 500)
_WEAK = 0.9
"""Part of the supply below which a line's high level is the port's own (assumed)."""


class NotShown(ValueError):
    """The capture does not show what would have to be measured; one line."""


def fitted(seen: Inspection, sheet: Sheet, port: str, source: Source) -> str:
    """The text of a parts file with ``measured-...`` in place of the sheet's port and register.

    A program in place of a register, or one behind a diode in the data line, is not fitted. Raises
    `NotShown`.
    """
    lines = {name: _shown(seen.edges.get(name), name) for name in ("latch", "clock", "data")}
    kind, part = sheet.port(port), sheet.part
    supply = _supply(seen, lines)
    usual = _usual(sheet, kind, supply)
    tables = [own_text(_port(seen, lines, kind, usual, supply, source))]
    if sheet.chip.firmware is None and not kind.data_diode:
        tables.append(own_text(_register(seen, part, usual, supply, source)))
    head = (
        f"# {source.title}: one pad on one console, on one day; others of its kind may differ.\n"
        '# A sheet takes it with [parts] file = "..." and the names below.\n'
    )
    return "\n".join([head, *tables])


def _shown(line: LineEdges | None, name: str) -> LineEdges:
    """A line whose edges can be measured."""
    if line is None or line.levels is None:
        says = f"shows {name} in no volts with two levels; give a capture of an oscilloscope"
        raise NotShown(f"the capture {says}")
    if line.count < 2 or line.longest is None:
        raise NotShown(f"the capture shows no edges of {name}; record a few reads, a button held")
    if line.inside < _SAMPLES * line.count:
        between = line.inside / line.count
        raise NotShown(
            f"an edge of {name} has {between:.1f} samples between 10 and 90 %, too few to measure "
            f"it; {_SAMPLES} at least should lie there, so sample faster"
        )
    return line


def _supply(seen: Inspection, lines: dict[str, LineEdges]) -> float:
    """Volts of the pad: as recorded, else the data line's high level, which is its output's."""
    if "supply" in seen.volts:
        return sum(seen.volts["supply"]) / 2
    levels = lines["data"].levels
    assert levels is not None
    return levels[1]


def _usual(sheet: Sheet, kind: PortKind, supply: float) -> Design:
    """The sheet as it is on a bench: nothing at the end of its spread."""
    design = design_of(sheet, sheet.part, kind)
    lifted = 0.0 if kind.output_high is None else most(kind.output_high)
    quiet = ("leakage", "leakage_hot", "port_leakage", "input_leakage", "quiescent", "fed")
    spread = ("latch_tol", "clock_tol", "pull_up_tol", "supply_emission")
    diode = np.sqrt(design.saturation_low * design.saturation_high)
    return changed(
        design,
        **dict.fromkeys((*quiet, *spread), 0.0),
        **dict.fromkeys(("supply_low", "supply_high", "console_low", "console_high"), supply),
        **dict.fromkeys(("coldest_used", "hottest_used"), 25.0),
        **dict.fromkeys(("lift_low", "lift_high"), lifted),
        saturation_low=diode,
        saturation_high=diode,
        cable_length=sheet.cable.length.nominal,
        cable_per_metre=sheet.cable.capacitance.nominal,
        transition=1e-12,
    )


def _solved(values: Array, times: Array, measured: float) -> float:
    """The value that takes so long (s); ``times`` rise or fall along ``values`` all the way."""
    fine = np.isfinite(times)
    values, times = np.log(values[fine]), times[fine]
    order = np.argsort(times)
    return float(np.exp(np.interp(measured, times[order], values[order])))


def _port(
    seen: Inspection,
    lines: dict[str, LineEdges],
    kind: PortKind,
    usual: Design,
    supply: float,
    source: Source,
) -> PortKind:
    at = f"{supply:.3g} V, from edges with the sheet's cable and resistors"
    pulled = Circuits(changed(usual, pull_r=_OHMS))
    low = [
        _solved(_OHMS, line.fall[:, 0], width * 1e-12)
        for name, line in (("latch", pulled.latch), ("clock", pulled.clock))
        for width in _ends(seen, named(name, rises=False))
    ]
    levels = [lines[name].levels or (0.0, supply) for name in ("latch", "clock")]
    if not kind.diode:
        low += _by_level(levels, usual, supply)
    new = replace(
        kind,
        name=f"measured-{kind.name}"[:40],
        note=f"as {kind.name}, fitted: low {_volts(levels, 0)}, high {_volts(levels, 1)}",
        output_low_resistance=_figure("Ω", low, at, source),
        cited=source,
    )
    if not kind.drives_high:
        return new
    lifted = Circuits(changed(usual, lift_r=_OHMS))
    high = [
        _solved(_OHMS, line.rise[:, 0], width * 1e-12)
        for name, line in (("latch", lifted.latch), ("clock", lifted.clock))
        for width in _ends(seen, named(name, rises=True))
    ]
    new = replace(new, output_high_resistance=_figure("Ω", high, at, source))
    tops = [level[1] for level in levels]
    if kind.output_high is None and min(tops) < _WEAK * supply:
        reach = Figure(min(tops), sum(tops) / len(tops), max(tops), "V", at, source)
        new = replace(new, output_high=reach)
    return new


def _volts(levels: list[tuple[float, float]], which: int) -> str:
    return " and ".join(f"{level[which]:.3g} V" for level in levels)


def _by_level(levels: list[tuple[float, float]], usual: Design, supply: float) -> Iterator[float]:
    """Ohms by what the pad's own resistors put on a line that is low: a divider."""
    for (low, _), ohms in zip(levels, (usual.latch_r, usual.clock_r), strict=True):
        if low > 0 and ohms[0] < 1e6:
            yield float(ohms[0]) * low / (supply - low)


def _ends(seen: Inspection, name: str) -> tuple[float, float]:
    """The usual and the longest, in picoseconds."""
    known = seen.measures.get(name)
    if known is None:
        raise NotShown(f"the capture shows no {name}; record a few reads, with a button held")
    return known.median, float(known.most)


def _figure(unit: str, values: list[float], at: str, source: Source) -> Figure:
    """What is worst where it is largest; usual is the median."""
    return Figure(None, float(np.median(values)), max(values), unit, at, source)


def _register(
    seen: Inspection, part: RegisterPart, usual: Design, supply: float, source: Source
) -> RegisterPart:
    """Drive by the data line's edges; the answer less what all beyond 50 pF takes."""
    at = f"5 V, 25 °C, 50 pF; measured at {supply:.3g} V, the cable's part taken off"
    stretched = float(Circuits(usual).stretched[0, 0])
    own: dict[str, Figure] = {}
    answers: list[tuple[float, float]] = []
    transitions: list[float] = []
    for rises, key in ((False, "sink_current"), (True, "source_current")):
        times = _edge_times(usual, _AMPERES, rises=rises)
        usually, longest = (
            _solved(_AMPERES, times, width * 1e-12)
            for width in _ends(seen, named("data", rises=rises))
        )
        cold, hot = getattr(part, key), getattr(part, f"{key}_over_temperature")
        own[key] = Figure(longest, usually, None, "A", at, source)
        # Nobody measured it hot: it falls as the table's does.
        falls = min((hot.min or cold.min) / cold.min, 1.0)
        own[f"{key}_over_temperature"] = Figure(longest * falls, None, None, "A", at, source)
        if ANSWERS[rises] in seen.measures:
            beyond = _beyond(usual, usually, rises=rises)
            soon, late = _ends(seen, ANSWERS[rises])
            answers.append(
                ((soon * 1e-12 - beyond) / stretched, (late * 1e-12 - beyond) / stretched)
            )
        tested = _edge_times(usual, np.array([usually, longest]), TEST_LOAD, rises=rises)
        transitions += tested.tolist()
    if not answers:
        what = "change of data after a clock; record a few reads, with a button held"
        raise NotShown(f"the capture shows no {what}")
    # A time below none would mean that the sheet's cable is longer than the one recorded.
    typ = max(float(np.mean([usually for usually, _ in answers])), 1e-9)
    slowest = max(typ, *(longest for _, longest in answers))
    own["clock_to_output"] = Figure(None, typ, slowest, "s", at, source)
    own["output_transition"] = _figure("s", transitions, at, source)
    borrowed = {key: lender for key, lender in part.borrowed.items() if key not in own}
    name = f"measured-{part.name}"[:40]
    cited = Source(f"{source.title}; the rest as {part.name}", source.kind)
    return replace(part, name=name, cited=cited, borrowed=borrowed, **own)  # type: ignore[arg-type]


def _driving(usual: Design, amperes: Array) -> Circuits:
    names = ("sink", "sink_hot", "source", "source_hot")
    return Circuits(changed(usual, **dict.fromkeys(names, amperes)))


def _edge_times(
    usual: Design, amperes: Array, farads: float | None = None, *, rises: bool
) -> Array:
    """Seconds of the data line from 10 to 90 % for outputs of these currents, shape (n,)."""
    circuits = _driving(usual, amperes)
    low, high = circuits.data_levels
    tenth = (high - low) / 10
    load = None if farads is None else np.full((1, 1), farads)
    ends = (low + tenth, high - tenth) if rises else (high - tenth, low + tenth)
    begin, end = (circuits.data_time(to, rises=rises, farads=load) for to in ends)
    times: Array = (end - begin)[:, 0]
    return times


def _beyond(usual: Design, amperes: float, *, rises: bool) -> float:
    """Seconds to half the supply that the line takes longer than 50 pF would."""
    circuits, middle = _driving(usual, np.array([amperes])), usual.supply_low[:, None] / 2
    line = circuits.data_time(middle, rises=rises)
    tested = circuits.data_time(middle, rises=rises, farads=np.full((1, 1), TEST_LOAD))
    return float((line - tested)[0, 0])
