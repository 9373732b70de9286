"""One figure of a data sheet, with what it holds at and where it comes from."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from padbench.core import findings
from padbench.core.findings import Source

__all__ = ["FROM_MEMORY", "Entry", "Figure", "FigureEntry", "SourceClass"]

SourceClass = Literal["P", "C", "M"]
"""P: published, the source is named. C: common practice. M: from memory, not looked up."""

FROM_MEMORY = "from memory"
"""What a source says where it was not looked up."""

_CLASSES: dict[SourceClass, findings.SourceClass] = {
    "P": "published",
    "C": "common practice",
    "M": "from memory",
}

# How the tables write a unit: the SI unit and the power of ten to get there.
_SCALES = {
    "ns": ("s", -9),
    "µs": ("s", -6),
    "MHz": ("Hz", 6),
    "mA": ("A", -3),
    "µA": ("A", -6),
    "nA": ("A", -9),
    "pF": ("F", -12),
    "V": ("V", 0),
    "Ω": ("Ω", 0),
    "kΩ": ("Ω", 3),
    "°C": ("°C", 0),
    "fraction": ("fraction", 0),
}


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure in the SI unit; ``None`` where the data sheet gives no number."""

    min: float | None
    typ: float | None
    max: float | None
    unit: str
    at: str
    source: str
    kind: SourceClass

    @property
    def cited(self) -> Source:
        """Its source as data."""
        return Source(self.source.removesuffix(f"; {FROM_MEMORY}"), _CLASSES[self.kind])


class Entry(BaseModel):
    """What every entry of a table has: a source, and no key that the code would not read."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, alias_generator=lambda name: name.replace("_", "-")
    )

    source: str = Field(min_length=1)
    kind: SourceClass = Field(alias="class")

    @property
    def told(self) -> str:
        """The source, with a word for what nobody looked up."""
        marked = self.kind != "M" or FROM_MEMORY in self.source
        return self.source if marked else f"{self.source}; {FROM_MEMORY}"


class FigureEntry(Entry):
    """A figure as a table writes it."""

    min: float | None = Field(default=None, allow_inf_nan=False)
    typ: float | None = Field(default=None, allow_inf_nan=False)
    max: float | None = Field(default=None, allow_inf_nan=False)
    unit: Literal["ns", "µs", "MHz", "mA", "µA", "nA", "pF", "V", "Ω", "kΩ", "°C", "fraction"]
    at: str = Field(min_length=1)
    no_limit: bool = False
    """The part has no limit here, as opposed to one that nobody looked up."""

    @model_validator(mode="after")
    def _says_something(self) -> "FigureEntry":
        if self.no_limit == any(x is not None for x in (self.min, self.typ, self.max)):
            raise ValueError("a figure has min, typ or max, or else no-limit = true")
        known = [x for x in (self.min, self.typ, self.max) if x is not None]
        if self.unit != "°C" and any(x < 0 for x in known):
            raise ValueError("a figure is not negative, unless it is a temperature")
        # Typical widths lie below the guaranteed min, so only the two ends are compared.
        if self.min is not None and self.max is not None and self.min > self.max:
            raise ValueError("a figure has a min that is not more than its max")
        return self

    def figure(self) -> Figure:
        """The figure in SI units; its source says so where it is from memory."""
        unit, power = _SCALES[self.unit]

        def si(number: float | None) -> float | None:
            # By way of Decimal, so that 160 ns is the float nearest to 1.6e-7.
            return None if number is None else float(Decimal(str(number)).scaleb(power))

        return Figure(si(self.min), si(self.typ), si(self.max), unit, self.at, self.told, self.kind)
