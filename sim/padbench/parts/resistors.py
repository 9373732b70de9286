"""What resistors can be bought, and how they are marked: IEC 60063 and IEC 60062.

The colours are those of the edition of 2004, from memory; that of 2016 differs at 0.05 % only here.

preferred(E12, 3000, 5000)     # (3300.0, 3900.0, 4700.0): ohms
colour_bands(4700, 0.05)       # ("yellow", "violet", "red", "gold")
"""

from math import floor, log10

# Published in IEC 60063; not the rounded powers of ten, which differ at 27 to 47 and 82.
E24 = (
    *(10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30),
    *(33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91),
)
E12 = E24[::2]

_LEAST, _MOST = 1.0, 22e6
"""Ohms: what shops carry as ordinary resistors (common practice, no source)."""


def preferred(series: tuple[int, ...], low: float, high: float) -> tuple[float, ...]:
    """The values of a series from ``low`` to ``high`` ohms, both included, within 1 Ω to 22 MΩ."""
    low, high = max(low, _LEAST), min(high, _MOST)
    if low > high:
        return ()
    decades = range(floor(log10(low)) - 1, floor(log10(high)) + 1)
    # Whole numbers first, so that 3.9 kΩ is 3900 and not a neighbour of it.
    values = (
        float(step * 10**decade) if decade >= 0 else step / 10**-decade
        for decade in decades
        for step in series
    )
    return tuple(value for value in values if low <= value <= high)


_DIGITS = (
    *("black", "brown", "red", "orange", "yellow"),
    *("green", "blue", "violet", "grey", "white"),
)
_SMALL = {-1: "gold", -2: "silver", -3: "pink"}
"""Multipliers below one; pink since the edition of 2016 (from memory)."""
# The edition of 2004; that of 2016 makes 0.05 % orange (from memory).
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
