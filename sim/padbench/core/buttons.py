"""The eight buttons, their order on the wire, and bytes of them.

    byte_of(["A", "Right"])                       # 0x81
    pressed_in(0x81), spelled(0x81)               # ("A", "Right"), "A+Right"

A *byte* here is what the console ends up with: 1 is pressed, A is bit 7 and Right is bit 0, so
that the bits stand in the order in which they come off the wire (common practice: A, B, Select,
Start, Up, Down, Left, Right).
"""

from collections.abc import Iterable

BUTTONS = ("A", "B", "Select", "Start", "Up", "Down", "Left", "Right")
"""Serial order, first on the wire first (common practice)."""


def stages_in_order(last: int) -> dict[str, int]:
    """The stage of each button in the usual order; the ``last`` stage is read first."""
    return {name: last - place for place, name in enumerate(BUTTONS)}


OPPOSITES = (("Up", "Down"), ("Left", "Right"))
"""Pairs of directions that a rocker cannot press together."""

_BIT = {name: 1 << (7 - place) for place, name in enumerate(BUTTONS)}


def button_bit(name: str) -> int:
    """The one-bit byte of a button; ``KeyError`` for a name that is not in `BUTTONS`."""
    return _BIT[name]


def byte_of(names: Iterable[str]) -> int:
    """The byte in which exactly these buttons are pressed."""
    byte = 0
    for name in names:
        byte |= _BIT[name]
    return byte


def pressed_in(byte: int) -> tuple[str, ...]:
    """The buttons that are pressed in a byte, in serial order."""
    return tuple(name for name in BUTTONS if byte & _BIT[name])


def spelled(byte: int) -> str:
    """A byte for people: ``"A+Right"``, ``"nothing"``, or ``"all eight"``."""
    if byte == 0xFF:
        return "all eight"
    return "+".join(pressed_in(byte)) or "nothing"
