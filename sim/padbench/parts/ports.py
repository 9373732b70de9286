"""The kinds of console port a pad can meet."""

from dataclasses import dataclass
from functools import cache

from padbench.parts.figure import Entry, Figure, FigureEntry, SourceClass
from padbench.parts.tables import read_table

__all__ = ["PortKind", "port_kind", "port_names"]


@dataclass(frozen=True, slots=True)
class PortKind:
    """How a port drives latch and clock. ``input_capacitance`` (F) loads the data line."""

    name: str
    drives_high: bool
    diode: bool
    input_capacitance: Figure
    note: str
    source: str
    kind: SourceClass


class _PortEntry(Entry):
    drives_high: bool
    diode: bool
    note: str
    input_capacitance: FigureEntry


def port_kind(name: str) -> PortKind:
    """The port kind of that name; ``KeyError`` for one that is not in the table."""
    return _ports()[name]


def port_names() -> tuple[str, ...]:
    """Every port kind in the table, in its order."""
    return tuple(_ports())


@cache
def _ports() -> dict[str, PortKind]:
    entries = {
        name: _PortEntry.model_validate(raw) for name, raw in read_table("ports.toml").items()
    }
    return {
        name: PortKind(
            name=name,
            drives_high=entry.drives_high,
            diode=entry.diode,
            input_capacitance=entry.input_capacitance.figure(),
            note=entry.note,
            source=entry.source,
            kind=entry.kind,
        )
        for name, entry in entries.items()
    }
