"""The shift registers a pad can be built with.

part = register_part("CD4021B")
part.clock_width.min, part.pins["clock"]    # 1.8e-07 (s), 10
"""

import re
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields, replace
from functools import cache
from typing import Annotated, Any, Literal

from pydantic import Field

from padbench.core.findings import Source
from padbench.parts.figure import Entry, Figure, Needs, read_table, table_of
from padbench.toml import Refused

Levels = Literal["fraction", "hc", "series-b", "fixed"]
"""How thresholds go with the supply: parts of it, as in the HC series (less below 4.5 V) or as in
JESD13-B, or not at all (TTL levels).
"""


class Derating(Entry):
    """How a part's times stretch away from ``volts`` and 25 °C, where its figures hold.

    ``threshold`` (V), ``exponent`` and ``per_degree`` (per °C) are those of the law in
    `padbench.circuit.laws.stretch`.
    """

    volts: float = Field(gt=0, le=100)
    threshold: float = Field(gt=0, le=100)
    exponent: float = Field(ge=1, le=4)  # below 1 a time would grow with the supply
    per_degree: float = Field(ge=0, le=0.1)


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
    ``pins_cited`` is where the numbers of the pins come from, None where there are none.
    ``derating`` says how times stretch; where it is None they are taken to hold anywhere.
    ``load_to_output`` is the answer to the load, None: as ``clock_to_output``. ``transition_slope``
    and ``delay_slope`` (s/F) are what the output's load adds to its transition and its delay.
    ``clock_high_at_load_end``: it may shift when the load ends with the clock low. ``borrowed``
    names the figures that are another part's, and that part.
    """

    name: str
    family: Literal["4021", "4014", "165"]
    load: Literal["transparent", "synchronous"]
    load_level: Literal["high", "low"]
    schmitt_clock: bool
    stages: int
    pins: dict[str, int]
    cited: Source
    pins_cited: Source | None
    supply: Annotated[Figure, Needs("V", "min", "max")]
    temperature: Annotated[Figure, Needs("°C", "min", "max")]
    input_low: Annotated[Figure, Needs("V", "fraction", "max")]
    input_high: Annotated[Figure, Needs("V", "fraction", "min")]
    sink_current: Annotated[Figure, Needs("A", "min", positive=True)]
    sink_current_over_temperature: Annotated[Figure, Needs("A", "min", positive=True)]
    source_current: Annotated[Figure, Needs("A", "min", positive=True)]
    source_current_over_temperature: Annotated[Figure, Needs("A", "min", positive=True)]
    clock_to_output: Annotated[Figure, Needs("s", "max")]
    output_transition: Annotated[Figure, Needs("s")]
    clock_width: Annotated[Figure, Needs("s", "min")]
    load_width: Annotated[Figure, Needs("s", "min")]
    setup_serial: Annotated[Figure, Needs("s", "min")]
    setup_parallel: Annotated[Figure, Needs("s", "min")]
    removal: Annotated[Figure, Needs("s", "min")]
    clock_frequency: Annotated[Figure, Needs("Hz", "min", positive=True)]
    clock_edge_max: Annotated[Figure, Needs("s")]
    leakage: Annotated[Figure, Needs("A", "max")]
    leakage_over_temperature: Annotated[Figure, Needs("A", "max")]
    input_capacitance: Annotated[Figure, Needs("F")]
    sink_drop: Annotated[Figure, Needs("V", "max", positive=True)]
    source_drop: Annotated[Figure, Needs("V", "max", positive=True)]
    quiescent_current: Annotated[Figure, Needs("A", "max")]
    quiescent_current_over_temperature: Annotated[Figure, Needs("A", "max")]
    load_to_output: Annotated[Figure, Needs("s", "max")] | None = None
    transition_slope: Annotated[Figure, Needs("s/F")] | None = None
    delay_slope: Annotated[Figure, Needs("s/F")] | None = None
    clock_high_at_load_end: bool = False
    borrowed: Mapping[str, str] = field(default_factory=dict)
    derating: Derating | None = None
    levels: Levels = "fraction"

    def next_to(self, pin: str) -> tuple[str, ...]:
        """Names of the pins beside one, in a package with two rows."""
        at, half = self.pins.get(pin, 0), len(self.pins) // 2
        rows = {name: number > half for name, number in self.pins.items()}
        return tuple(
            name
            for name, number in self.pins.items()
            if abs(number - at) == 1 and rows[name] == rows.get(pin)
        )

    @property
    def lacked(self) -> tuple[str, ...]:
        """Times and drive that are another part's, or assumed: nobody knows this part's own."""
        return tuple(
            key
            for key in _WORSE
            if key in self.borrowed or getattr(self, key).cited.kind == "assumed"
        )


class _Figures(table_of(RegisterPart, optional=True)):  # type: ignore[misc]
    """The figures of a register, each left out where another part's stand in."""

    @property
    def given(self) -> dict[str, Figure]:
        """Those that are there, by attribute."""
        entries = {key: getattr(self, key) for key in _Figures.model_fields}
        return {key: entry.figure() for key, entry in entries.items() if entry is not None}


class _Pins(Entry):
    numbers: dict[str, int]


class RegisterEntry(Entry):
    """A register as a table writes it."""

    family: Literal["4021", "4014", "165"] = Field(examples=["4021"])
    load: Literal["transparent", "synchronous"] = Field(examples=["transparent"])
    load_level: Literal["high", "low"] = Field(examples=["high"])
    schmitt_clock: bool
    stages: int = Field(ge=1, le=64)
    levels: Literal["hc", "series-b", "fixed"] | None = None
    clock_high_at_load_end: bool = False
    timing_of: str | None = Field(default=None, examples=["CD4021B"])
    pins: _Pins
    derating: Derating | None = None
    figures: _Figures


def register_part(name: str) -> RegisterPart:
    """The register of that name; ``KeyError`` for one that is not in the table."""
    return _registers()[name]


def register_names() -> tuple[str, ...]:
    """Every register in the table, in its order."""
    return tuple(_registers())


@cache
def _registers() -> dict[str, RegisterPart]:
    return registers_from(read_table("registers.toml"))


def registers_from(table: Mapping[str, Any]) -> dict[str, RegisterPart]:
    """A whole table; ``ValueError`` for an entry that cannot be used."""
    entries = register_entries(table)
    return {name: part_from(name, entry, entries) for name, entry in entries.items()}


def register_entries(table: Mapping[str, Any]) -> dict[str, RegisterEntry]:
    """A table's entries, each checked by itself; ``ValidationError`` says what is off."""
    return {name: RegisterEntry.model_validate(raw) for name, raw in table.items()}


def part_from(
    name: str, entry: RegisterEntry, entries: Mapping[str, RegisterEntry]
) -> RegisterPart:
    """The part that an entry describes; ``timing-of`` names one of ``entries``, and so on.

    Raises:
        Refused: a figure or a pin is missing, or the entry's parts do not go together.
    """
    figures, derating = entry.figures.given, entry.derating
    sister, lenders, borrowed = entry, {name}, dict[str, str]()
    while (lender := sister.timing_of or "") in entries and lender not in lenders:
        lenders.add(lender)
        sister = entries[lender]
        derating = derating or sister.derating
        # Another maker's part: whatever the class was there, here it is only believed.
        believed = Source(f"taken from the {lender}", "from memory")
        for key, figure in sister.figures.given.items():
            if key in _NEEDED and key not in figures:
                figures[key], borrowed[key] = replace(figure, cited=believed), lender
    lacking = next((key for key in _NEEDED if key not in figures), None)
    if lacking is not None:
        key = lacking.replace("_", "-")
        raise Refused(
            f"the figure {key} is missing",
            f"name a timing-of, or write {key} = {{ … }} with its numbers, unit, at, source, class",
        )
    low, high = figures["input_low"], figures["input_high"]
    if low.unit != high.unit or (low.max or 0) >= (high.min or 0):
        raise Refused(
            "input-low is not below input-high",
            "give both in one unit, input-low below",
        )
    _check_pins(entry)
    _check_derating(derating, figures["supply"])
    return RegisterPart(
        name=name,
        family=entry.family,
        load=entry.load,
        load_level=entry.load_level,
        schmitt_clock=entry.schmitt_clock,
        stages=entry.stages,
        pins=dict(entry.pins.numbers),
        cited=entry.cited,
        pins_cited=entry.pins.cited,
        levels=_levels(entry, low, high),
        clock_high_at_load_end=entry.clock_high_at_load_end,
        borrowed=borrowed,
        derating=derating,
        **figures,
    )


def _levels(entry: RegisterEntry, low: Figure, high: Figure) -> Levels:
    """What the entry says; volts hold at any supply unless they are those of JESD13-B at 5 V."""
    if low.unit == "fraction":
        return "hc" if entry.levels == "hc" else "fraction"
    series_b = entry.family != "165" and (low.max, high.min) == (1.5, 3.5)
    return entry.levels or ("series-b" if series_b else "fixed")


_NEEDED = tuple(
    own.name
    for own in fields(RegisterPart)
    if own.name in _Figures.model_fields and own.default is MISSING
)
"""The figures without which there is no part; the others are nobody's to lend."""

_WORSE = {
    **dict.fromkeys(("clock_to_output", "output_transition"), ("max", max)),
    **dict.fromkeys(
        ("clock_width", "load_width", "setup_serial", "setup_parallel", "removal"), ("min", max)
    ),
    "clock_frequency": ("min", min),
    "clock_edge_max": ("max", min),
    **dict.fromkeys(
        (
            *("sink_current", "sink_current_over_temperature"),
            *("source_current", "source_current_over_temperature"),
        ),
        ("min", min),
    ),
}
"""The figures by which lines of a family differ: the end that counts, and which of two is worse."""


def worst_of_family(part: RegisterPart) -> RegisterPart | None:
    """The part with the worst figure that is known of its family in place of each that it lacks.

    None where it lacks none.
    """
    if not part.lacked:
        return None
    family = [other for other in _registers().values() if other.family == part.family]
    worst: dict[str, Any] = {}
    for key in part.lacked:
        end, worse = _WORSE[key]
        own = [getattr(other, key) for other in family if key not in other.borrowed]
        known = [
            figure for figure in (getattr(part, key), *own) if getattr(figure, end) is not None
        ]
        worst[key] = worse(
            known, key=lambda figure: getattr(figure, end), default=getattr(part, key)
        )
    return replace(part, **worst)


def _check_derating(law: Derating | None, supply: Figure) -> None:
    """The law of stretching has no meaning at or below its threshold."""
    least = 0.0 if law is None else min(law.volts, supply.min or law.volts)
    if law is not None and law.threshold >= least:
        raise Refused(
            "the derating's threshold is not below the least supply",
            f"give one below {least:g}",
        )


def _check_pins(entry: RegisterEntry) -> None:
    """Every pin that is wired, and each number once."""
    stages, numbers = entry.stages, entry.pins.numbers
    wanted = {"VDD", "VSS", "clock", "load", "serial", f"Q{stages}"}
    wanted |= {f"P{stage}" for stage in range(1, stages + 1)}
    lacking = ", ".join(sorted(wanted - set(numbers)))
    if lacking:
        raise Refused(f"the pins lack {lacking}", "give each of them its number")
    odd = [pin for pin in numbers if pin not in wanted and not _OTHER_PIN.fullmatch(pin)]
    if odd:
        raise Refused(
            f"the pin {odd[0]:.60} is not known",
            f"known are {', '.join(sorted(wanted))}, other outputs, such as Q6 or Q8-inverted, and"
            " clock-inhibit",
        )
    if sorted(numbers.values()) != list(range(1, len(numbers) + 1)):
        raise Refused(
            f"the pins are not numbered 1 to {len(numbers)}, each once",
            "name all pins of the package",
        )


_OTHER_PIN = re.compile(r"Q[0-9]+(-inverted)?|clock-inhibit")
