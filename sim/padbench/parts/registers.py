"""The shift registers a pad can be built with."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal, get_args

from pydantic import Field

from padbench.parts.figure import Entry, Figure, FigureEntry
from padbench.parts.tables import read_table

__all__ = [
    "Derating",
    "Levels",
    "RegisterPart",
    "register_names",
    "register_part",
    "registers_from",
]


Levels = Literal["fraction", "series-b", "fixed"]
"""How thresholds go with the supply: parts of it, as in JESD13-B, or not at all (TTL levels)."""


@dataclass(frozen=True, slots=True)
class Derating:
    """How a part's times stretch away from ``volts`` and 25 °C, where its figures hold.

    ``threshold`` (V), ``exponent`` and ``per_degree`` (per °C) are those of the law in
    `padbench.circuit.laws.stretch`.
    """

    volts: float
    threshold: float
    exponent: float
    per_degree: float
    source: str


@dataclass(frozen=True, slots=True)
class RegisterPart:
    """One register, its figures in SI units.

    Requirements on what the part is given (widths, set-up, removal) carry the guaranteed figure as
    ``min``: give the part at least that. ``clock_frequency.min`` is, as data sheets print it, the
    frequency that every part is guaranteed to follow: give it at most that. Propagation delays
    have ``typ`` and ``max``; their ``min`` is None, because no data sheet promises one.
    ``clock_edge_max.max`` is None where the clock input is a Schmitt trigger: any edge will do.
    ``input_low`` (a maximum) and ``input_high`` (a minimum) are a fraction of the supply for the HC
    series and volts else: by ``levels`` at a supply of 5 V (B series), or at any (TTL levels).
    ``sink_drop`` and ``source_drop`` are the volts across the output at those currents.
    ``pins_source`` is where the numbers of the pins come from.
    ``derating`` says how times stretch; where it is None they are taken to hold anywhere.
    """

    name: str
    family: Literal["4021", "4014", "165"]
    load: Literal["transparent", "synchronous"]
    load_level: Literal["high", "low"]
    schmitt_clock: bool
    stages: int
    pins: dict[str, int]
    source: str
    supply: Figure
    temperature: Figure
    input_low: Figure
    input_high: Figure
    sink_current: Figure
    sink_current_over_temperature: Figure
    source_current: Figure
    source_current_over_temperature: Figure
    clock_to_output: Figure
    output_transition: Figure
    clock_width: Figure
    load_width: Figure
    setup_serial: Figure
    setup_parallel: Figure
    removal: Figure
    clock_frequency: Figure
    clock_edge_max: Figure
    leakage: Figure
    leakage_over_temperature: Figure
    input_capacitance: Figure
    sink_drop: Figure
    source_drop: Figure
    quiescent_current: Figure
    quiescent_current_over_temperature: Figure
    derating: Derating | None = None
    pins_source: str = ""
    levels: Levels = "fraction"


FigureName = Literal[
    "supply",
    "temperature",
    "input-low",
    "input-high",
    "sink-current",
    "sink-current-over-temperature",
    "source-current",
    "source-current-over-temperature",
    "clock-to-output",
    "output-transition",
    "clock-width",
    "load-width",
    "setup-serial",
    "setup-parallel",
    "removal",
    "clock-frequency",
    "clock-edge-max",
    "leakage",
    "leakage-over-temperature",
    "input-capacitance",
    "sink-drop",
    "source-drop",
    "quiescent-current",
    "quiescent-current-over-temperature",
]


class _Pins(Entry):
    numbers: dict[str, int]


class _Derating(Entry):
    volts: float = Field(gt=0, allow_inf_nan=False)
    threshold: float = Field(gt=0, allow_inf_nan=False)
    exponent: float = Field(ge=1, le=4)  # below 1 a time would grow with the supply
    per_degree: float = Field(ge=0, le=0.1)


class _RegisterEntry(Entry):
    family: Literal["4021", "4014", "165"]
    load: Literal["transparent", "synchronous"]
    load_level: Literal["high", "low"]
    schmitt_clock: bool
    stages: int = Field(ge=1)
    levels: Literal["series-b", "fixed"] | None = None
    timing_of: str | None = None
    pins: _Pins
    derating: _Derating | None = None
    figures: dict[FigureName, FigureEntry]


def register_part(name: str) -> RegisterPart:
    """The register of that name; ``KeyError`` for one that is not in the table."""
    return _registers()[name]


def register_names() -> tuple[str, ...]:
    """Every register in the table, in its order."""
    return tuple(_registers())


@cache
def _registers() -> dict[str, RegisterPart]:
    return registers_from(read_table("registers.toml"))


def registers_from(
    table: Mapping[str, object], beside: Mapping[str, object] | None = None
) -> dict[str, RegisterPart]:
    """Check a table and turn it into parts; ``timing-of`` may name an entry of ``beside`` too.

    Raises:
        ValueError: an entry lacks a source or a figure, or has something the code would not
            read (pydantic's ValidationError is one).
        KeyError: ``timing-of`` names no entry.
    """
    entries = {name: _RegisterEntry.model_validate(raw) for name, raw in table.items()}
    others = {name: _RegisterEntry.model_validate(raw) for name, raw in (beside or {}).items()}
    return {name: _part(name, entry, others | entries) for name, entry in entries.items()}


def _part(name: str, entry: _RegisterEntry, entries: dict[str, _RegisterEntry]) -> RegisterPart:
    figures = {key: raw.figure() for key, raw in entry.figures.items()}
    derating = entry.derating
    if entry.timing_of is not None:
        derating = derating or entries[entry.timing_of].derating
        for key, raw in entries[entry.timing_of].figures.items():
            # Another maker's part: whatever the class was there, here it is only believed.
            borrowed = f"taken from the {entry.timing_of}; from memory"
            figures.setdefault(key, replace(raw.figure(), source=borrowed, kind="M"))
    _complete(name, entry, figures)
    return RegisterPart(
        name=name,
        family=entry.family,
        load=entry.load,
        load_level=entry.load_level,
        schmitt_clock=entry.schmitt_clock,
        stages=entry.stages,
        pins=dict(entry.pins.numbers),
        source=entry.told,
        pins_source=entry.pins.told,
        levels=_levels(entry, figures),
        derating=_stretch(name, derating, figures),
        **{key.replace("-", "_"): figure for key, figure in figures.items()},
    )


def _levels(entry: _RegisterEntry, figures: Mapping[FigureName, Figure]) -> Levels:
    """What the entry says; volts hold at any supply unless they are those of JESD13-B at 5 V."""
    low, high = figures["input-low"], figures["input-high"]
    if low.unit == "fraction":
        return "fraction"
    series_b = entry.family != "165" and (low.max, high.min) == (1.5, 3.5)
    return entry.levels or ("series-b" if series_b else "fixed")


def _stretch(
    name: str, entry: _Derating | None, figures: Mapping[FigureName, Figure]
) -> Derating | None:
    """How times stretch, if the table says so; the law has no meaning at or below its threshold."""
    if entry is None:
        return None
    least = figures["supply"].min
    if entry.threshold >= min(entry.volts, least or entry.volts):
        raise ValueError(
            f"{name}: the derating's threshold is not below the least supply; give one below"
            f" {min(entry.volts, least or entry.volts):g}"
        )
    numbers = entry.model_dump(exclude={"source", "kind"})
    return Derating(source=entry.source, **numbers)


def _complete(name: str, entry: _RegisterEntry, figures: Mapping[FigureName, Figure]) -> None:
    """Every figure with the end that is calculated with, and every pin that is wired."""
    for key in get_args(FigureName):
        if key not in figures:
            raise ValueError(
                f"{name}: the figure {key} is missing; name a timing-of, or write {key}"
                " = { … } with its numbers, unit, at, source and class"
            )
        figure = figures[key]
        unit = _UNITS.get(key, ("s",))
        if figure.unit not in unit:
            raise ValueError(
                f"{name}: the figure {key} is in {figure.unit}, not {' or '.join(unit)};"
                f" give it in {' or '.join(unit)}, or parts of that"
            )
        for end in _ENDS.get(key, ("min",)):
            if getattr(figure, end) is None:
                raise ValueError(f"{name}: the figure {key} needs a {end}; write its {end}, too")
            # A current or a drop of 0 would be an output of no ohms, or of infinitely many.
            if key in _POSITIVE and not getattr(figure, end):
                raise ValueError(
                    f"{name}: the figure {key} needs a {end} above 0; give one that is"
                )
    low, high = figures["input-low"], figures["input-high"]
    if low.unit != high.unit or (low.max or 0) >= (high.min or 0):
        raise ValueError(
            f"{name}: input-low is not below input-high; give both in one unit, input-low below"
        )
    stages = entry.stages
    wanted = {"VDD", "VSS", "clock", "load", "serial", f"Q{stages}"}
    wanted |= {f"P{stage}" for stage in range(1, stages + 1)}
    numbers = entry.pins.numbers
    if wanted - set(numbers):
        lacking = ", ".join(sorted(wanted - set(numbers)))
        raise ValueError(f"{name}: the pins lack {lacking}; give each of them its number")
    odd = [pin for pin in numbers if pin not in wanted and not _OTHER_PIN.fullmatch(pin)]
    if odd:
        raise ValueError(
            f"{name}: the pin {odd[0]} is not known; known are {', '.join(sorted(wanted))},"
            " other outputs, such as Q6 or Q8-inverted, and clock-inhibit"
        )
    if sorted(numbers.values()) != list(range(1, len(numbers) + 1)):
        raise ValueError(
            f"{name}: the pins are not numbered 1 to {len(numbers)}, each once; name all pins of"
            " the package"
        )


_OTHER_PIN = re.compile(r"Q[0-9]+(-inverted)?|clock-inhibit")
_ENDS: dict[str, tuple[str, ...]] = {
    "supply": ("min", "max"),
    "temperature": ("min", "max"),
    "clock-edge-max": (),
    "input-capacitance": (),
    "output-transition": (),
    **dict.fromkeys(
        (
            *("input-low", "sink-drop", "source-drop", "clock-to-output", "leakage"),
            *("leakage-over-temperature", "quiescent-current"),
            "quiescent-current-over-temperature",
        ),
        ("max",),
    ),
}
"""Which end of a figure is calculated with, where it is not the guaranteed min."""
_UNITS = {
    "clock-frequency": ("Hz",),
    "input-capacitance": ("F",),
    "temperature": ("°C",),
    **dict.fromkeys(("input-low", "input-high"), ("V", "fraction")),
    **dict.fromkeys(("supply", "sink-drop", "source-drop"), ("V",)),
    **{
        f"{key}{when}": ("A",)
        for key in ("sink-current", "source-current", "leakage", "quiescent-current")
        for when in ("", "-over-temperature")
    },
}
"""Units where they are not seconds."""
_POSITIVE = (
    "clock-frequency",
    "sink-current",
    "sink-current-over-temperature",
    "source-current",
    "source-current-over-temperature",
    "sink-drop",
    "source-drop",
)
