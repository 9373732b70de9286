"""One figure of a data sheet, with what it holds at and where it comes from; and how tables read.

figure = register_part("CD4021B").clock_to_output
figure.max, figure.unit, figure.at     # 3.2e-07, "s", "5 V, 25 °C, 50 pF"
figure.cited                           # Source("CD4021B data sheet (…)", "from memory")
"""

import json
import re
import tomllib
from dataclasses import dataclass
from decimal import Decimal
from importlib.resources import files
from typing import Annotated, Any, Literal, get_args, get_origin, get_type_hints

from pydantic import Field, GetCoreSchemaHandler, create_model, model_validator
from pydantic_core import CoreSchema, core_schema

from padbench.core.findings import Source, SourceClass
from padbench.toml import Refused, Table

FOLDER = files(__package__)

_CLASSES: dict[str, SourceClass] = {
    "P": "published",
    "P2": "second-hand",
    "C": "common practice",
    "M": "from memory",
    "A": "assumed",
    "X": "measured",
}
"""What a table writes behind ``class`` and what it means; see `SourceClass`."""

# How the tables write a unit: the SI unit and the power of ten to get there.
_SCALES = {
    "ns": ("s", -9),
    "µs": ("s", -6),
    "MHz": ("Hz", 6),
    "mA": ("A", -3),
    "µA": ("A", -6),
    "nA": ("A", -9),
    "pF": ("F", -12),
    "ns/pF": ("s/F", 3),
    "V": ("V", 0),
    "Ω": ("Ω", 0),
    "kΩ": ("Ω", 3),
    "°C": ("°C", 0),
    "fraction": ("fraction", 0),
}
_WRITTEN = {"s": "ns", "Hz": "MHz", "A": "µA", "F": "pF", "s/F": "ns/pF"}


def cited_text(cited: Source) -> str:
    """The keys ``source`` and ``class`` as a table writes them; what has no class there is C."""
    letter = next((letter for letter, kind in _CLASSES.items() if kind == cited.kind), "C")
    return f"source = {json.dumps(cited.title, ensure_ascii=False)}, class = {json.dumps(letter)}"


def read_table(name: str) -> dict[str, Any]:
    """The entries of one shipped table file, by name, not yet checked."""
    return tomllib.loads((FOLDER / name).read_text(encoding="utf-8"))


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure in the SI unit (``"fraction"``: of the supply, or a plain number).

    ``min``, ``typ`` and ``max`` are None where the data sheet gives no number. ``at`` says what it
    holds at, ``cited`` where it comes from and of which class that is.
    """

    min: float | None
    typ: float | None
    max: float | None
    unit: str
    at: str
    cited: Source

    def text(self) -> str:
        """As a table writes it, in a unit in which its numbers are short."""
        unit = _WRITTEN.get(self.unit, self.unit)
        power = _SCALES[unit][1]
        known = {"min": self.min, "typ": self.typ, "max": self.max}
        numbers = [f"{k} = {x / 10.0**power:.6g}" for k, x in known.items() if x is not None]
        at = f"at = {json.dumps(self.at, ensure_ascii=False)}"
        parts = [*(numbers or ["no-limit = true"]), f'unit = "{unit}"', at, cited_text(self.cited)]
        return f"{{ {', '.join(parts)} }}"


class Entry(Table):
    """What every entry of a table has: a source and its class."""

    source: str = Field(min_length=1, examples=["the data sheet's title"])
    kind: Literal["P", "P2", "C", "M", "A", "X"] = Field(alias="class", examples=["P"])

    @model_validator(mode="after")
    def _can_be_followed_up(self) -> "Entry":
        if self.kind == "P2" and not re.search(r"\bquoted\b", self.source):
            raise Refused(
                "is of class P2 but its source does not say who quotes it",
                'write for example source = "TITLE, quoted in BOOK"',
            )
        if self.kind == "X" and not re.search(r"\b\d{4}-\d\d-\d\d\b", self.source):
            raise Refused(
                "is of class X but its source does not say when it was measured",
                'write for example source = "scope-3.csv, 2024-05-31"',
            )
        return self

    @property
    def cited(self) -> Source:
        """Source and class as data."""
        return Source(self.source, _CLASSES[self.kind])


class FigureEntry(Entry):
    """A figure as a table writes it."""

    min: float | None = Field(default=None, allow_inf_nan=False, examples=[160])
    typ: float | None = Field(default=None, allow_inf_nan=False, examples=[160])
    max: float | None = Field(default=None, allow_inf_nan=False, examples=[160])
    unit: Literal[
        "ns", "µs", "MHz", "mA", "µA", "nA", "pF", "ns/pF", "V", "Ω", "kΩ", "°C", "fraction"
    ]
    at: str = Field(min_length=1, examples=["5 V, 25 °C"])
    no_limit: bool = False
    """The part has no limit here, as opposed to one that nobody looked up."""

    @model_validator(mode="after")
    def _says_something(self) -> "FigureEntry":
        known = [x for x in (self.min, self.typ, self.max) if x is not None]
        if self.no_limit == bool(known):
            raise Refused(
                "has no number" if not known else "has a number and no-limit",
                "a figure has min, typ or max, or else no-limit = true",
            )
        if self.unit != "°C" and any(x < 0 for x in known):
            raise Refused("is below 0", "a figure is not negative, unless it is a temperature")
        smallest, largest = (1e-9, 1e9) if self.unit != "°C" else (0, 300)
        if any(x and not smallest <= abs(x) <= largest for x in known):
            raise Refused(
                "is absurdly small or large",
                f"a figure in {self.unit} is at most {largest:g}"
                + (f" and, unless 0, at least {smallest:g}" if smallest else ""),
            )
        # Typical widths lie below the guaranteed min, so only the two ends are compared.
        if self.min is not None and self.max is not None and self.min > self.max:
            raise Refused("has a min above its max", "a figure has a min that is not more")
        return self

    def figure(self) -> Figure:
        """The figure in SI units."""
        unit, power = _SCALES[self.unit]

        def si(number: float | None) -> float | None:
            # By way of Decimal, so that 160 ns is the float nearest to 1.6e-7.
            return None if number is None else float(Decimal(str(number)).scaleb(power))

        return Figure(si(self.min), si(self.typ), si(self.max), unit, self.at, self.cited)


class Needs:
    """Marks what a figure must be: ``Annotated[FigureEntry, Needs("Ω", "max", positive=True)]``.

    In that SI unit, or one of several, with the ends that are calculated with. ``positive``: a 0
    would be an output of no ohms, or of infinitely many.
    """

    def __init__(self, *units_and_ends: str, positive: bool = False) -> None:
        """Take units and, of "min" and "max", the ends."""
        self._ends = [word for word in units_and_ends if word in ("min", "max")]
        units = set(units_and_ends)
        self._units = [unit for unit, (si, _) in _SCALES.items() if si in units]
        self._positive = positive

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Check the figure after it was read."""
        return core_schema.no_info_after_validator_function(self._fits, handler(source))

    def _fits(self, entry: FigureEntry) -> FigureEntry:
        if entry.unit not in self._units:
            fit = " or ".join(self._units)
            raise Refused(f"is in {entry.unit}, not in {fit}", f"give it in {fit}")
        for end in self._ends:
            if getattr(entry, end) is None and not entry.no_limit:
                raise Refused(f"needs a {end}", f"write its {end}, too")
        numbers = (entry.min, entry.typ, entry.max)
        if self._positive and any(number is not None and number <= 0 for number in numbers):
            raise Refused("is not more than 0", "give a positive number")
        return entry


def table_of(part: type, *, optional: bool = False) -> type[Table]:
    """A table with a figure for each that the class of a part has, and needs."""
    figures: dict[str, Any] = {}
    for name, kind in get_type_hints(part, include_extras=True).items():
        marked = next((k for k in (kind, *get_args(kind)) if get_origin(k) is Annotated), None)
        if marked is not None:
            entry = Annotated[FigureEntry, *marked.__metadata__]
            free = optional or kind is not marked
            figures[name] = (entry | None, None) if free else (entry, ...)
    return create_model(f"{part.__name__}Figures", __base__=Table, **figures)
