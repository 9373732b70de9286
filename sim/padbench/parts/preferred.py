"""Preferred values of IEC 60063: series E12 (10 %) and E24 (5 %)."""

from math import floor, log10

__all__ = ["E12", "E24", "preferred"]

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
