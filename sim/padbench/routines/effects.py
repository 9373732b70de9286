"""What the 6502's instructions compute, for many lanes at once.

    a, p = READS["ADC"](a, operand, p)

Every function takes and gives arrays with one element a lane (a value that is the same in all
lanes may be a plain int). Values and flags are those of py65, which is the yardstick: a test
compares each function with it. This console's CPU has no decimal mode (from memory).
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]

CARRY, ZERO, DECIMAL, OVERFLOW, NEGATIVE = 0x01, 0x02, 0x08, 0x40, 0x80

NZ = np.array([(v & NEGATIVE) | (0 if v else ZERO) for v in range(256)], np.uint8)
"""Flags N and Z of a value."""


def _with(p: Bytes, changes: int, flags: Any) -> Bytes:
    """``p`` with the flags in ``changes`` replaced."""
    replaced: Bytes = (p & np.uint8(0xFF & ~changes)) | flags
    return replaced


def with_nz(p: Bytes, value: Bytes) -> Bytes:
    """``p`` with N and Z set by a value."""
    return _with(p, NEGATIVE | ZERO, NZ[value])


def _flag(mask: int, where: Any) -> Any:
    return np.where(where, np.uint8(mask), np.uint8(0))


def _logic(does: Callable[[Bytes, Bytes], Bytes]) -> Callable[..., tuple[Bytes, Bytes]]:
    def effect(a: Bytes, operand: Bytes, p: Bytes) -> tuple[Bytes, Bytes]:
        value = does(a, operand)
        return value, with_nz(p, value)

    return effect


def _add(a: Bytes, operand: Bytes, p: Bytes) -> tuple[Bytes, Bytes]:
    total = a.astype(np.uint16) + operand + (p & np.uint8(CARRY))
    value = total.astype(np.uint8)
    over = (~(a ^ operand) & (a ^ value)) & np.uint8(NEGATIVE)
    flags = NZ[value] | _flag(CARRY, total > 0xFF) | (over >> np.uint8(1))
    return value, _with(p, CARRY | ZERO | OVERFLOW | NEGATIVE, flags)


def _subtract(a: Bytes, operand: Bytes, p: Bytes) -> tuple[Bytes, Bytes]:
    return _add(a, ~operand, p)


def _bit(a: Bytes, operand: Bytes, p: Bytes) -> tuple[Bytes, Bytes]:
    flags = (operand & np.uint8(NEGATIVE | OVERFLOW)) | _flag(ZERO, (a & operand) == 0)
    return a, _with(p, NEGATIVE | OVERFLOW | ZERO, flags)


READS: dict[str, Callable[[Bytes, Bytes, Bytes], tuple[Bytes, Bytes]]] = {
    "ADC": _add,
    "SBC": _subtract,
    "AND": _logic(np.bitwise_and),
    "ORA": _logic(np.bitwise_or),
    "EOR": _logic(np.bitwise_xor),
    "BIT": _bit,
}
"""(A, operand, P) to (A, P)."""


def compare(register: Bytes, operand: Bytes, p: Bytes) -> Bytes:
    """P after CMP, CPX or CPY."""
    flags = NZ[register - operand] | _flag(CARRY, register >= operand)
    return _with(p, CARRY | ZERO | NEGATIVE, flags)


COMPARES = {"CMP": "a", "CPX": "x", "CPY": "y"}
LOADS = {"LDA": "a", "LDX": "x", "LDY": "y"}
STORES = {"STA": "a", "STX": "x", "STY": "y"}
"""Which register each of them takes."""


def _shifted(value: Bytes, carry: Bytes, p: Bytes) -> tuple[Bytes, Bytes]:
    return value, _with(p, CARRY | ZERO | NEGATIVE, NZ[value] | carry)


def _asl(value: Bytes, p: Bytes) -> tuple[Bytes, Bytes]:
    return _shifted(value << np.uint8(1), value >> np.uint8(7), p)


def _rol(value: Bytes, p: Bytes) -> tuple[Bytes, Bytes]:
    return _shifted((value << np.uint8(1)) | (p & np.uint8(CARRY)), value >> np.uint8(7), p)


def _lsr(value: Bytes, p: Bytes) -> tuple[Bytes, Bytes]:
    return _shifted(value >> np.uint8(1), value & np.uint8(1), p)


def _ror(value: Bytes, p: Bytes) -> tuple[Bytes, Bytes]:
    inward = (p & np.uint8(CARRY)) << np.uint8(7)
    return _shifted((value >> np.uint8(1)) | inward, value & np.uint8(1), p)


def _inc(value: Bytes, p: Bytes) -> tuple[Bytes, Bytes]:
    value = value + np.uint8(1)
    return value, with_nz(p, value)


def _dec(value: Bytes, p: Bytes) -> tuple[Bytes, Bytes]:
    value = value - np.uint8(1)
    return value, with_nz(p, value)


MODIFIES: dict[str, Callable[[Bytes, Bytes], tuple[Bytes, Bytes]]] = {
    "ASL": _asl,
    "ROL": _rol,
    "LSR": _lsr,
    "ROR": _ror,
    "INC": _inc,
    "DEC": _dec,
}
"""(value, P) to (value, P); of memory or the accumulator."""

MOVES = {
    "TAX": ("a", "x", 0),
    "TAY": ("a", "y", 0),
    "TXA": ("x", "a", 0),
    "TYA": ("y", "a", 0),
    "INX": ("x", "x", 1),
    "INY": ("y", "y", 1),
    "DEX": ("x", "x", -1),
    "DEY": ("y", "y", -1),
}
"""From register, to register, what is added on the way; they set N and Z."""

FLAGS = {
    "CLC": (CARRY, 0),
    "SEC": (CARRY, 1),
    "CLI": (0x04, 0),
    "SEI": (0x04, 1),
    "CLD": (DECIMAL, 0),
    "SED": (DECIMAL, 1),
    "CLV": (OVERFLOW, 0),
}
"""Flag and its new value."""
