"""The shift registers a pad can be built with."""

from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

from pydantic import Field

from padbench.parts.figure import Entry, Figure, FigureEntry
from padbench.parts.tables import read_table

__all__ = ["RegisterPart", "register_names", "register_part", "registers_from"]


@dataclass(frozen=True, slots=True)
class RegisterPart:
    """One register, its figures in SI units.

    Requirements on what the part is given (widths, set-up, removal) carry the guaranteed figure as
    ``min``: give the part at least that. ``clock_frequency.min`` is, as data sheets print it, the
    frequency that every part is guaranteed to follow: give it at most that. Propagation delays
    have ``typ`` and ``max``; their ``min`` is None, because no data sheet promises one.
    ``clock_edge_max.max`` is None where the clock input is a Schmitt trigger: any edge will do.
    ``input_low`` (a maximum) and ``input_high`` (a minimum) are volts at a supply of 5 V for the B
    series and a fraction of the supply for the HC series; their ``unit`` says which.
    ``sink_drop`` and ``source_drop`` are the volts across the output at those currents.
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


class _RegisterEntry(Entry):
    family: Literal["4021", "4014", "165"]
    load: Literal["transparent", "synchronous"]
    load_level: Literal["high", "low"]
    schmitt_clock: bool
    stages: int = Field(ge=1)
    timing_of: str | None = None
    pins: _Pins
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


def registers_from(table: dict[str, dict[str, object]]) -> dict[str, RegisterPart]:
    """Check a table and turn it into parts.

    Raises:
        ValueError: an entry lacks a source or a figure, or has something the code would not
            read (pydantic's ValidationError is one).
        KeyError: ``timing-of`` names no entry.
    """
    entries = {name: _RegisterEntry.model_validate(raw) for name, raw in table.items()}
    return {name: _part(name, entry, entries) for name, entry in entries.items()}


def _part(name: str, entry: _RegisterEntry, entries: dict[str, _RegisterEntry]) -> RegisterPart:
    figures = {key: raw.figure() for key, raw in entry.figures.items()}
    if entry.timing_of is not None:
        for key, raw in entries[entry.timing_of].figures.items():
            # Another maker's part: whatever the class was there, here it is only believed.
            borrowed = f"taken from the {entry.timing_of}; from memory"
            figures.setdefault(key, replace(raw.figure(), source=borrowed, kind="M"))
    try:
        return RegisterPart(
            name=name,
            family=entry.family,
            load=entry.load,
            load_level=entry.load_level,
            schmitt_clock=entry.schmitt_clock,
            stages=entry.stages,
            pins=dict(entry.pins.numbers),
            source=entry.source,
            **{key.replace("-", "_"): figure for key, figure in figures.items()},
        )
    except TypeError as error:
        raise ValueError(f"{name}: {error}") from None
