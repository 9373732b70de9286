"""How the facts of a finding look in its sentence.

    filled("{wait:s4} after {count:read|reads}", {"wait": 2.8e-7, "count": 1})
    amount(-7e-8, "s"), amount(7, "clocks"), moment(12_000_000)   # -70 ns, 7 clocks, 12.000 µs

The text of a rule is a sentence with fields in braces. Fields are ``measured``, ``limit`` and
``margin`` (in the rule's unit) and the finding's own facts by name. After a colon stands how a fact
is shown:

    {wait:s} {volts:V} {wait:s4}   a quantity in that SI unit, with four digits
    {measured} {limit:4}           a quantity in the rule's own unit, with three or four digits
    {held:buttons}                 a byte as buttons
    {count:read|reads}             a count with its word in the singular or the plural
    {names:list}                   words or numbers, joined by commas
    {at:moment}                    picoseconds as a moment of a run, in µs
"""

import string
from collections.abc import Callable, Mapping
from typing import Any

from padbench.core.buttons import spelled
from padbench.core.units import show

COUNTED = frozenset(
    ("", "bits", "cases", "changes", "clocks", "edges", "latches", "polls", "reads", "states")
)
"""Units of what is counted: shown without a scale factor, and never thin."""

_DIGITS = 3


def filled(text: str, facts: Mapping[str, Any], unit: str = "") -> str:
    """A text with its fields filled in; those without a way of their own are in ``unit``.

    Raises ``KeyError`` naming a field that is not among the facts.
    """
    return _Filler(unit).vformat(text, (), facts)


def amount(value: float, unit: str, digits: int = _DIGITS) -> str:
    """A measured value for people: ``"280 ns"``, ``"7 clocks"``; nothing is scaled that counts."""
    if unit in COUNTED:
        # Not "g", which turns to powers of ten from a million on.
        number = grouped(int(value)) if value == int(value) else f"{value:g}"
        return f"{number} {_singular(unit) if value == 1 else unit}".rstrip()
    # What rounding leaves of nothing is nothing.
    return show(0.0 if abs(value) < 1e-15 else value, unit, digits)


def capital(words: str) -> str:
    """The words as the beginning of a sentence."""
    return words[:1].upper() + words[1:]


def counted(number: int, what: str) -> str:
    """``counted(1, "read")``, ``counted(8, "read")``: "1 read", "8 reads"."""
    return f"{grouped(number)} {what}{'s' if number != 1 else ''}"


def grouped(count: int) -> str:
    """A whole number for people, from five digits on in threes: ``"68 550 656"``."""
    return f"{count:,}".replace(",", " ") if abs(count) >= 10_000 else str(count)


def _singular(unit: str) -> str:
    return unit.removesuffix("es") if unit.endswith("ches") else unit.removesuffix("s")


def moment(ps: int) -> str:
    """Picoseconds since the start of a run, as people read them off a wave: ``"12.000 µs"``."""
    return f"{ps / 1e6:.3f} µs"


class _Filler(string.Formatter):
    def __init__(self, unit: str) -> None:
        self._unit = unit

    def format_field(self, value: Any, format_spec: str) -> str:
        way = _WAYS.get(format_spec)
        if way is not None:
            return way(value)
        if "|" in format_spec:
            one, many = format_spec.split("|")
            return f"{amount(value, '')} {one if value == 1 else many}"
        unit = format_spec.rstrip(string.digits)
        digits = int(format_spec[len(unit) :] or _DIGITS)
        if isinstance(value, str) or (isinstance(value, int) and not unit):
            return str(value)
        return amount(value, unit or self._unit, digits)


_WAYS: dict[str, Callable[[Any], str]] = {
    "buttons": spelled,
    "moment": moment,
    "list": lambda items: ", ".join(map(str, items)),
}
