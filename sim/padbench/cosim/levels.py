"""Values of HDL signals as the levels of a timeline."""

from typing import Any

from padbench.core.timeline import FLOATING, HIGH, LOW, UNKNOWN

__all__ = ["HIGH", "LOW", "level_of", "turned", "word_of"]

_LEVELS = {"0": LOW, "1": HIGH, "L": LOW, "H": HIGH, "Z": FLOATING}
"""Weak levels of VHDL count as levels; all else (X, U, W, -) is unknown (IEEE Std 1164)."""

_TURNED = (HIGH, LOW, UNKNOWN, FLOATING)


def level_of(value: Any) -> int:
    """LOW, HIGH, UNKNOWN or FLOATING of a 1-bit value."""
    return _LEVELS.get(str(value).upper(), UNKNOWN)


def turned(level: int) -> int:
    """The level on the other side of an inverter; what is no level stays as it is."""
    return _TURNED[level]


def word_of(value: Any) -> int | None:
    """A vector as a number, None if any bit is neither high nor low."""
    text = str(value).upper().replace("L", "0").replace("H", "1")
    return None if text.strip("01") else int(text, 2)
