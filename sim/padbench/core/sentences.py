"""Findings in words: the one place where sentences are made, from data, last.

    says(finding), where(finding.met), cited(finding.sources), amount(-7e-8, "s")

A rule's text is a sentence with fields in braces, or a function of the finding where one sentence
will not do. Fields are ``measured``, ``limit``, ``margin`` (in the rule's unit) and the finding's
own facts by name. After a colon stands how a fact is shown:

    {wait:s} {volts:V} {wait:s4}   a quantity in that SI unit, with four digits
    {held:buttons}                 a byte as buttons, or several; None is one that is not known
    {count:read|reads}             a count with its word in the singular or the plural
    {names:list}                   words or numbers, joined by commas
    {at:moment}                    picoseconds as a moment of a run, in µs
"""

import string
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from padbench.core.buttons import spelled
from padbench.core.findings import COUNTED, Finding, Met, Source
from padbench.core.units import show

__all__ = ["amount", "cited", "filled", "says", "where"]

_DIGITS = 3


def says(finding: Finding) -> str:
    """The whole of a finding in one sentence.

    Raises ``KeyError`` if its rule has no text for its case, or lacks a fact of it.
    """
    text = finding.rule.texts[finding.case or finding.verdict]
    if not isinstance(text, str):
        return text(finding)
    return filled(text, _fields(finding), finding.unit)


def filled(text: str, facts: Mapping[str, Any], unit: str = "") -> str:
    """A text with its fields filled in; those without a way of their own are in ``unit``."""
    return _Filler(unit).vformat(text, (), facts)


def amount(value: float, unit: str, digits: int = _DIGITS) -> str:
    """A measured value for people: ``"280 ns"``, ``"7 clocks"``; nothing is scaled that counts."""
    if unit in COUNTED:
        return f"{value:g} {unit}".rstrip()
    # A level of a millionth of a volt is no news to anybody.
    return show(0.0 if abs(value) < 1e-15 else value, unit, digits)


def where(met: Met) -> str:
    """A run and a moment in words: ``"held, slow corner, push-pull port, at 12.000 µs"``."""
    parts = [
        met.scenario,
        f"{met.corner} corner" if met.corner else "",
        f"{met.port} port" if met.port else "",
        f"on {met.simulator}" if met.simulator else "",
        f"top {met.top}" if met.top else "",
        met.other,
        *(_end(axis, end) for axis, end in met.ends),
        f"read {met.read}" if met.read is not None else "",
        f"at {_moment(met.at_ps)}" if met.at_ps is not None else "",
    ]
    return ", ".join(part for part in parts if part) or "whole run"


def cited(sources: Sequence[Source]) -> str:
    """Sources in words, each title once, with a word for what nobody looked up."""
    return "; ".join(dict.fromkeys(map(_cited, sources)))


def _cited(source: Source) -> str:
    plain = source.kind in ("published", "given", "calculated") or source.kind in source.title
    return source.title if plain else f"{source.title}; {source.kind}"


def _fields(finding: Finding) -> dict[str, Any]:
    numbers = {name: getattr(finding, name) for name in ("measured", "limit", "margin")}
    return numbers | dict(finding.facts)


def _end(axis: str, end: float | str) -> str:
    if isinstance(end, str):
        return end
    return f"supply {end:.4g} V" if axis == "supply" else f"{end:g} °C"


def _moment(ps: int) -> str:
    return f"{ps / 1e6:.3f} µs"


def _buttons(held: int | Sequence[int | None] | None) -> str:
    if isinstance(held, Sequence):
        return ", ".join(map(_buttons, held))
    return "an unknown byte" if held is None else spelled(held)


class _Filler(string.Formatter):
    def __init__(self, unit: str) -> None:
        self._unit = unit

    def format_field(self, value: Any, format_spec: str) -> str:
        way = _WAYS.get(format_spec)
        if way is not None:
            return way(value)
        if "|" in format_spec:
            one, many = format_spec.split("|")
            return f"{value:g} {one if value == 1 else many}"
        unit = format_spec.rstrip(string.digits)
        digits = int(format_spec[len(unit) :] or _DIGITS)
        if isinstance(value, str) or (isinstance(value, int) and not unit):
            return str(value)
        return amount(value, unit or self._unit, digits)


_WAYS: dict[str, Callable[[Any], str]] = {
    "buttons": _buttons,
    "moment": _moment,
    "list": lambda items: ", ".join(map(str, items)),
}
