"""Random 6502 routines that read ports in every way there is; for tests only."""

import random

from padbench.routines.bus import INSTRUCTIONS
from padbench.routines.routine import Routine

ORIGIN = 0x8000
_LEFT_OUT = {"BRK", "RTI", "RTS", "JSR", "JMP", "TXS", "PHA", "PHP", "PLA", "PLP"}
_BY_MODE: dict[str, list[int]] = {}
for _opcode, _one in INSTRUCTIONS.items():
    if _one.mnemonic not in _LEFT_OUT:
        _BY_MODE.setdefault(_one.mode, []).append(_opcode)
_ADDRESSES = [0x4016, 0x4016, 0x4017, 0x0210, 0x00F0, 0x4015, 0x3FFF, 0x01FB, 0x8004]


def _instruction(draw: random.Random) -> bytes:
    mode = draw.choice([m for m in _BY_MODE if m != "relative"])
    opcode = draw.choice(_BY_MODE[mode])
    if mode in ("implied", "accumulator"):
        return bytes([opcode])
    if mode.startswith("absolute"):
        address = draw.choice(_ADDRESSES) - draw.choice([0, 0, 1, 0x16] if "," in mode else [0])
        return bytes([opcode, address & 0xFF, address >> 8])
    return bytes([opcode, draw.choice([0, 1, 2, 3, 0x10, 0x20, 0x80, 0xFF, draw.randrange(256)])])


def _block(draw: random.Random, length: int) -> bytes:
    return b"".join(_instruction(draw) for _ in range(length))


def _read_loop(draw: random.Random) -> bytes:
    """Eight or so reads, with branches on what was read."""
    port = draw.choice([0x16, 0x17])
    x = draw.random() < 0.4
    body = bytes([0xBD, port - 1, 0x40]) if x else bytes([0xAD, port, 0x40])
    body += bytes([0x4A, draw.choice([0x26, 0x66]), 0x10])
    if draw.random() < 0.6:
        more = _block(draw, draw.randrange(1, 3))
        body += bytes([draw.choice([0x90, 0xB0, 0xF0, 0xD0, 0x10, 0x30]), len(more)]) + more
    head = bytes([0xA2, 0x01]) if x else b""
    body += bytes([0xC6, 0x20])
    return (
        bytes([0xA9, draw.choice([8, 8, 9, 3]), 0x85, 0x20])
        + head
        + body
        + bytes([0xD0, (-len(body) - 2) & 0xFF])
    )


_STROBES = [
    bytes([0xA9, 1, 0x8D, 0x16, 0x40, 0x4A, 0x8D, 0x16, 0x40]),
    bytes([0xA2, 1, 0x8E, 0x16, 0x40, 0xCA, 0x8E, 0x16, 0x40]),
    bytes([0xA9, 1, 0x8D, 0x16, 0x40, 0xA5, 0x10, 0x8D, 0x16, 0x40]),
]
_STACK = [bytes([0x48, 0x68]), bytes([0x08, 0x28]), bytes([0x48, 0x28]), bytes([0xBA, 0x9A])]


def random_routine(seed: int) -> Routine:
    """A routine of a few hundred cycles, always the same for a seed."""
    draw = random.Random(seed)
    parts = []
    for _ in range(draw.randrange(2, 6)):
        parts.append(
            draw.choice(
                [
                    lambda: draw.choice(_STROBES),
                    lambda: _read_loop(draw),
                    lambda: draw.choice(_STROBES) + _read_loop(draw),
                    lambda: _block(draw, draw.randrange(1, 5)),
                    lambda: draw.choice(_STACK),
                ]
            )()
        )
    code = b"".join(parts)
    if draw.random() < 0.5:
        # A subroutine called twice: two passes.
        at = ORIGIN + 7
        call = bytes([0x20, at & 0xFF, at >> 8])
        code = call + call + bytes([0x60]) + code
    result = draw.choice([("A",), (0x10,), (0x10, "A"), ("A", 0x0210)])
    return Routine(f"random {seed}", ((ORIGIN, code + bytes([0x60])),), ORIGIN, result)
