"""Colour bands of resistors, IEC 60062."""

from math import floor, log10

__all__ = ["colour_bands"]

_DIGITS = (
    *("black", "brown", "red", "orange", "yellow"),
    *("green", "blue", "violet", "grey", "white"),
)
_SMALL = {-1: "gold", -2: "silver", -3: "pink"}
"""Multipliers below one; pink since the edition of 2016 (from memory)."""
_TOLERANCES = {
    0.0005: "grey",
    0.001: "violet",
    0.0025: "blue",
    0.005: "green",
    0.01: "brown",
    0.02: "red",
    0.05: "gold",
    0.1: "silver",
}


def colour_bands(ohms: float, tolerance: float) -> tuple[str, ...] | None:
    """Four bands, or five where two digits do not tell the value or the tolerance is 2 % or less.

    None for what cannot be told by bands: zero, more than three digits, a tolerance or a power of
    ten without a colour.
    """
    last = next((name for part, name in _TOLERANCES.items() if abs(part - tolerance) < 1e-6), None)
    if ohms <= 0 or last is None:
        return None
    for digits in (2, 3):
        if digits == 2 and tolerance <= 0.02 + 1e-6:
            continue
        power = floor(log10(ohms) + 1e-12) - digits + 1
        whole = round(ohms / 10.0**power)
        multiplier = _DIGITS[power] if 0 <= power <= 9 else _SMALL.get(power)
        if multiplier is not None and abs(whole * 10.0**power / ohms - 1) < 1e-9:
            return (*(_DIGITS[int(digit)] for digit in str(whole)), multiplier, last)
    return None
