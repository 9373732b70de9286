"""The kinds of console port a pad can meet.

port_kind("push-pull").output_high_resistance.max    # 75.0, in Ω
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any

from pydantic import Field, model_validator

from padbench.core.findings import Source
from padbench.parts.figure import Entry, Figure, FigureEntry, Needs, read_table, table_of
from padbench.toml import Refused


@dataclass(frozen=True, slots=True)
class PortKind:
    """A port as a circuit: what it feeds a pad with, drives latch and clock with, and does to data.

    ``supply`` (V) is what its chips run on, and what it gives a pad, with ``supply_diode`` through
    a diode; None for whatever a sheet says. A line is lifted to ``output_high`` (V), or where that
    is None to the supply; ``lifts_only`` marks a driver that does not hold a line which something
    else lifts higher. ``sink_current`` (A) is what it may sink while it holds a line low, None if
    nobody knows. With ``data_diode`` a diode stands in the data line, its cathode towards the pad.
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
    supply_diode: bool
    data_diode: bool
    lifts_only: bool
    supply: Annotated[Figure, Needs("V", "min", "max", positive=True)] | None
    sink_current: Annotated[Figure, Needs("A", "max", positive=True)] | None
    output_high: Annotated[Figure, Needs("V", "min", "max", positive=True)] | None
    input_capacitance: Annotated[Figure, Needs("F")]
    output_high_resistance: Annotated[Figure, Needs("Ω", "max", positive=True)] | None
    output_low_resistance: Annotated[Figure, Needs("Ω", "max", positive=True)]
    output_leakage: Annotated[Figure, Needs("A", "max")]
    diode_saturation_current: Annotated[Figure, Needs("A", positive=True)] | None
    diode_emission: Annotated[Figure, Needs("fraction", positive=True)] | None
    input_low: Annotated[Figure, Needs("V", "fraction", "max")]
    input_high: Annotated[Figure, Needs("V", "fraction", "min")]
    input_leakage: Annotated[Figure, Needs("A", "max")]
    data_pull_up: Annotated[Figure, Needs("Ω", positive=True)] | None
    data_pull_down: Annotated[Figure, Needs("Ω", positive=True)] | None
    supply_current: Annotated[Figure, Needs("A", "max")]
    note: str
    cited: Source


class PortEntry(table_of(PortKind), Entry):  # type: ignore[misc]
    """A kind of port as a table writes it."""

    drives_high: bool
    diode: bool
    supply_diode: bool = False
    data_diode: bool = False
    lifts_only: bool = False
    note: str = Field(examples=["what sets this port apart"])

    @model_validator(mode="after")
    def _fits_together(self) -> "PortEntry":
        lifts = self.output_high_resistance is not None
        if self.drives_high != lifts:
            raise Refused(
                f"has {'an' if lifts else 'no'} output-high-resistance",
                "it stands where drives-high = true, only there",
            )
        if not lifts and (self.lifts_only or self.output_high is not None):
            raise Refused(
                f"has {'lifts-only' if self.lifts_only else 'an output-high'}",
                "it stands where drives-high = true, only there",
            )
        for key in ("diode_saturation_current", "diode_emission"):
            given = getattr(self, key) is not None
            if (self.diode or self.supply_diode or self.data_diode) != given:
                raise Refused(
                    f"has {'a' if given else 'no'} {key.replace('_', '-')}",
                    "it stands where diode, supply-diode or data-diode = true, only there",
                )
        if self.data_diode and self.data_pull_up is None:
            raise Refused(
                "has a data-diode without a data-pull-up",
                "nothing else lifts data behind a diode: give the data-pull-up",
            )
        low, high = self.input_low, self.input_high
        if low.unit != high.unit or (low.max or 0) >= (high.min or 0):
            raise Refused(
                "input-low is not below input-high",
                "give both in one unit, input-low below",
            )
        return self

    def port(self, name: str) -> PortKind:
        """The kind of port, its figures in SI units."""
        values: dict[str, Any] = {key: getattr(self, key) for key in PortEntry.model_fields}
        del values["source"], values["kind"]
        for key, value in values.items():
            values[key] = value.figure() if isinstance(value, FigureEntry) else value
        return PortKind(name=name, cited=self.cited, **values)


def port_kind(name: str) -> PortKind:
    """The port kind of that name; ``KeyError`` for one that is not in the table."""
    return _ports()[name]


def port_names() -> tuple[str, ...]:
    """Every port kind in the table, in its order."""
    return tuple(_ports())


@cache
def _ports() -> dict[str, PortKind]:
    table: Mapping[str, Any] = read_table("ports.toml")
    return {name: PortEntry.model_validate(raw).port(name) for name, raw in table.items()}
