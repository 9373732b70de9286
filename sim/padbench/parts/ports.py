"""The kinds of console port a pad can meet."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from pydantic import model_validator

from padbench.parts.figure import Entry, Figure, FigureEntry, SourceClass
from padbench.parts.tables import read_table

__all__ = ["PortKind", "port_kind", "port_names", "ports_from"]


@dataclass(frozen=True, slots=True)
class PortKind:
    """How a port drives latch and clock, and what it does to the data line.

    ``input_capacitance`` (F), ``input_low`` (a maximum), ``input_high`` (a minimum; both V at 5 V,
    or a fraction of the supply), ``input_leakage`` (A), ``data_pull_up`` and ``data_pull_down`` (Ω,
    None if there are none) are the data line's. ``output_high_resistance`` (Ω) is None for a port
    that never lifts a line; ``output_leakage`` (A) flows while it pulls neither way. A diode has
    its saturation current (A) and emission coefficient. ``supply_current`` (A) is what one pad may
    take.
    """

    name: str
    drives_high: bool
    diode: bool
    input_capacitance: Figure
    output_high_resistance: Figure | None
    output_low_resistance: Figure
    output_leakage: Figure
    diode_saturation_current: Figure | None
    diode_emission: Figure | None
    input_low: Figure
    input_high: Figure
    input_leakage: Figure
    data_pull_up: Figure | None
    data_pull_down: Figure | None
    supply_current: Figure
    note: str
    source: str
    kind: SourceClass


class _PortEntry(Entry):
    drives_high: bool
    diode: bool
    note: str
    input_capacitance: FigureEntry
    output_high_resistance: FigureEntry | None = None
    output_low_resistance: FigureEntry
    output_leakage: FigureEntry
    diode_saturation_current: FigureEntry | None = None
    diode_emission: FigureEntry | None = None
    input_low: FigureEntry
    input_high: FigureEntry
    input_leakage: FigureEntry
    data_pull_up: FigureEntry | None = None
    data_pull_down: FigureEntry | None = None
    supply_current: FigureEntry

    @model_validator(mode="after")
    def _fits_together(self) -> "_PortEntry":
        if self.drives_high != (self.output_high_resistance is not None):
            raise ValueError("output-high-resistance stands where drives-high = true, only there")
        if self.diode != (self.diode_saturation_current is not None) or self.diode != (
            self.diode_emission is not None
        ):
            raise ValueError(
                "diode-saturation-current and diode-emission stand where diode = true, only there"
            )
        for name in ("input_low", "output_low_resistance", "output_leakage", "supply_current"):
            if getattr(self, name).max is None:
                raise ValueError(f"{name.replace('_', '-')} needs a max")
        if self.output_high_resistance is not None and self.output_high_resistance.max is None:
            raise ValueError("output-high-resistance needs a max")
        if self.input_high.min is None or self.input_leakage.max is None:
            raise ValueError("input-high needs a min and input-leakage a max")
        for name, units in _UNITS.items():
            figure = getattr(self, name)
            if figure is not None and figure.unit not in units:
                raise ValueError(
                    f"{name.replace('_', '-')} is not in {' or '.join(units)}; give it in that"
                )
        for name in _POSITIVE:
            figure = getattr(self, name)
            known = () if figure is None else (figure.min, figure.typ, figure.max)
            if any(number is not None and number <= 0 for number in known):
                raise ValueError(
                    f"{name.replace('_', '-')} is not more than 0; give a positive number"
                )
        if self.input_low.unit != self.input_high.unit or (
            (self.input_low.max or 0) >= self.input_high.min
        ):
            raise ValueError(
                "input-low is not below input-high; give both in one unit, input-low below"
            )
        return self


_UNITS = {
    "input_capacitance": ("pF",),
    "output_high_resistance": ("Ω", "kΩ"),
    "output_low_resistance": ("Ω", "kΩ"),
    "output_leakage": ("mA", "µA", "nA"),
    "diode_saturation_current": ("mA", "µA", "nA"),
    "diode_emission": ("fraction",),
    "input_low": ("V", "fraction"),
    "input_high": ("V", "fraction"),
    "input_leakage": ("mA", "µA", "nA"),
    "data_pull_up": ("Ω", "kΩ"),
    "data_pull_down": ("Ω", "kΩ"),
    "supply_current": ("mA", "µA"),
}
_POSITIVE = (
    "output_high_resistance",
    "output_low_resistance",
    "diode_saturation_current",
    "diode_emission",
    "data_pull_up",
    "data_pull_down",
)


def port_kind(name: str) -> PortKind:
    """The port kind of that name; ``KeyError`` for one that is not in the table."""
    return _ports()[name]


def port_names() -> tuple[str, ...]:
    """Every port kind in the table, in its order."""
    return tuple(_ports())


@cache
def _ports() -> dict[str, PortKind]:
    return ports_from(read_table("ports.toml"))


def ports_from(table: Mapping[str, object]) -> dict[str, PortKind]:
    """Check a table and turn it into port kinds.

    Raises ``ValueError`` (pydantic's ValidationError is one) for an entry without a source, with
    a key that nobody reads, or whose figures do not go together.
    """
    entries = {name: _PortEntry.model_validate(raw) for name, raw in table.items()}
    return {name: _kind(name, entry) for name, entry in entries.items()}


def _kind(name: str, entry: _PortEntry) -> PortKind:
    figures = {
        key: raw.figure() if isinstance(raw := getattr(entry, key), FigureEntry) else None
        for key in _PortEntry.model_fields
        if key not in ("drives_high", "diode", "note", "source", "kind")
    }
    return PortKind(
        name=name,
        drives_high=entry.drives_high,
        diode=entry.diode,
        note=entry.note,
        source=entry.source,
        kind=entry.kind,
        **figures,  # type: ignore[arg-type]
    )
