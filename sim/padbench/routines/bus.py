"""What a 6502 puts on the bus in each cycle, as a table.

    for cycle in bus_cycles(cpu):              # any object with pc, sp, x, y, p and memory
        cycle.write, cycle.address

Source of the patterns: MCS6500 Microcomputer Family Hardware Manual (MOS Technology, 1976),
appendix A; which instruction exists in which addressing mode is py65's table.

A pattern is a row of words, one a cycle. A word says which address stands on the bus; ``w:`` before
it is a write, anything else a read. A ``?`` at the end: the cycle is there only if the branch is
taken (``next?``) or an index or a branch crosses a page (``unfixed?``). Reads whose value the CPU
throws away are reads all the same: a port that reacts to reads sees them.
"""

from collections.abc import MutableSequence
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple, Protocol

from py65.devices.mpu6502 import MPU


class BusCycle(NamedTuple):
    """One cycle: a write or a read, at which address. ``data`` marks the read of the operand."""

    write: bool
    address: int
    data: bool


@dataclass(frozen=True, slots=True)
class Instruction:
    """One opcode: mnemonic, addressing mode (`LENGTHS` has them all), and its row of `PATTERNS`."""

    mnemonic: str
    mode: str
    pattern: tuple[str, ...]


class Registers(Protocol):
    """What the addresses of an instruction depend on; py65's ``MPU`` has it all."""

    pc: int
    sp: int
    x: int
    y: int
    p: int
    memory: MutableSequence[int]


LENGTHS = {
    "implied": 1, "accumulator": 1, "immediate": 2, "relative": 2,
    "zero page": 2, "zero page,X": 2, "zero page,Y": 2, "(zero page,X)": 2, "(zero page),Y": 2,
    "absolute": 3, "absolute,X": 3, "absolute,Y": 3, "(absolute)": 3,
}  # fmt: skip
"""Bytes of an instruction by addressing mode."""

# By (mode, what the instruction does). "read" takes an operand, "write" stores one, "modify" does
# both; appendix A.2, A.3 and A.4. A modify writes the old value first, then the new one.
_BY_MODE = {
    ("implied", "inside"): "opcode next",
    ("accumulator", "inside"): "opcode next",
    ("immediate", "read"): "opcode operand",
    ("zero page", "read"): "opcode operand data",
    ("zero page", "write"): "opcode operand w:data",
    ("zero page", "modify"): "opcode operand data w:data w:data",
    ("absolute", "read"): "opcode operand operand2 data",
    ("absolute", "write"): "opcode operand operand2 w:data",
    ("absolute", "modify"): "opcode operand operand2 data w:data w:data",
    ("(zero page,X)", "read"): "opcode operand base pointer pointer2 data",
    ("(zero page,X)", "write"): "opcode operand base pointer pointer2 w:data",
    ("absolute,X", "read"): "opcode operand operand2 unfixed? data",
    ("absolute,X", "write"): "opcode operand operand2 unfixed w:data",
    ("absolute,X", "modify"): "opcode operand operand2 unfixed data w:data w:data",
    ("absolute,Y", "read"): "opcode operand operand2 unfixed? data",
    ("absolute,Y", "write"): "opcode operand operand2 unfixed w:data",
    ("zero page,X", "read"): "opcode operand base data",
    ("zero page,X", "write"): "opcode operand base w:data",
    ("zero page,X", "modify"): "opcode operand base data w:data w:data",
    ("zero page,Y", "read"): "opcode operand base data",
    ("zero page,Y", "write"): "opcode operand base w:data",
    ("(zero page),Y", "read"): "opcode operand pointer pointer2 unfixed? data",
    ("(zero page),Y", "write"): "opcode operand pointer pointer2 unfixed w:data",
    ("relative", "branch"): "opcode operand next? unfixed?",
}
# Instructions with a row of their own; appendix A.5.
_BY_NAME = {
    "PHA": "opcode next w:stack",
    "PHP": "opcode next w:stack",
    "PLA": "opcode next stack stack+1",
    "PLP": "opcode next stack stack+1",
    "JSR": "opcode operand stack w:stack w:stack-1 operand2",
    "RTS": "opcode next stack stack+1 stack+2 returned",
    "RTI": "opcode next stack stack+1 stack+2 stack+3",
    "BRK": "opcode next w:stack w:stack-1 w:stack-2 vector vector2",
    "JMP absolute": "opcode operand operand2",
    "JMP (absolute)": "opcode operand operand2 pointer pointer2",
}
PATTERNS = {**{f"{does} {mode}": row for (mode, does), row in _BY_MODE.items()}, **_BY_NAME}
"""Every row, by what the instruction does and its mode, or by its name."""

BRANCHES = {
    "BPL": (0x80, 0), "BMI": (0x80, 1), "BVC": (0x40, 0), "BVS": (0x40, 1),
    "BCC": (0x01, 0), "BCS": (0x01, 1), "BNE": (0x02, 0), "BEQ": (0x02, 1),
}  # fmt: skip
"""Flag, and the value of it that takes the branch (Programming Manual, appendix B)."""
_DOES = {
    **dict.fromkeys(["STA", "STX", "STY"], "write"),
    **dict.fromkeys(["ASL", "LSR", "ROL", "ROR", "INC", "DEC"], "modify"),
    **dict.fromkeys(BRANCHES, "branch"),
}
# As py65 writes them, in that order.
_SHORT = "imp acc imm rel zpg zpx zpy inx iny abs abx aby ind"
_MODES = dict(zip(_SHORT.split(" "), LENGTHS, strict=True))


def _instructions() -> dict[int, Instruction]:
    instructions = {}
    for opcode, (mnemonic, short) in enumerate(MPU.disassemble):
        if mnemonic == "???":
            continue
        mode = _MODES[short]
        does = "inside" if mode in ("implied", "accumulator") else _DOES.get(mnemonic, "read")
        row = _BY_NAME.get(mnemonic) or _BY_NAME.get(f"{mnemonic} {mode}")
        row = row or _BY_MODE[mode, does]
        instructions[opcode] = Instruction(mnemonic, mode, tuple(row.split()))
    return instructions


INSTRUCTIONS = _instructions()
"""The 151 documented instructions by opcode."""


def bus_cycles(cpu: Registers) -> list[BusCycle]:
    """The cycles of the instruction that the program counter stands on, before it is executed.

    Raises ``KeyError`` with the opcode if it is not a documented one.
    """
    memory, pc = cpu.memory, cpu.pc
    instruction = INSTRUCTIONS[memory[pc]]
    effective, unfixed, base, pointer, pointer2 = _addresses(cpu, instruction.mode)
    crossed = effective != unfixed
    taken = False
    if instruction.mode == "relative":
        flag, wanted = BRANCHES[instruction.mnemonic]
        taken = bool(cpu.p & flag) == bool(wanted)
        crossed = crossed and taken
    places = {
        "opcode": pc,
        "operand": (pc + 1) & 0xFFFF,
        "operand2": (pc + 2) & 0xFFFF,
        "next": (pc + LENGTHS[instruction.mode]) & 0xFFFF,
        "data": effective,
        "unfixed": unfixed,
        "base": base,
        "pointer": pointer,
        "pointer2": pointer2,
        "vector": 0xFFFE,
        "vector2": 0xFFFF,
    }
    if "stack" in instruction.pattern or "w:stack" in instruction.pattern:
        stack = [0x100 + ((cpu.sp + n) & 0xFF) for n in range(-2, 4)]
        names = ("stack-2", "stack-1", "stack", "stack+1", "stack+2", "stack+3")
        places |= dict(zip(names, stack, strict=True))
        places["returned"] = memory[stack[3]] | memory[stack[4]] << 8
    return [
        BusCycle(write, places[name], name == "data")
        for write, name, conditional in _split(instruction.pattern)
        if not conditional or (taken if name == "next" else crossed)
    ]


@cache
def _split(pattern: tuple[str, ...]) -> tuple[tuple[bool, str, bool], ...]:
    return tuple(
        (word.startswith("w:"), word.removeprefix("w:").removesuffix("?"), word.endswith("?"))
        for word in pattern
    )


def _addresses(cpu: Registers, mode: str) -> tuple[int, int, int, int, int]:
    """The effective address; the same without the carry into its high byte; the address before the
    index is added; where the pointer lies; where its high byte lies.
    """
    memory, pc = cpu.memory, cpu.pc
    low = memory[(pc + 1) & 0xFFFF]
    word = low | memory[(pc + 2) & 0xFFFF] << 8
    index = {"X": cpu.x, "Y": cpu.y}.get(mode.strip(")")[-1], 0)
    base = unfixed = pointer = pointer2 = 0
    if mode == "relative":
        effective = (pc + 2 + low - (low & 0x80) * 2) & 0xFFFF
        return effective, (pc + 2) & 0xFF00 | effective & 0xFF, 0, 0, 0
    if mode == "(absolute)":
        # The carry into the pointer's high byte is not made.
        return 0, 0, 0, word, word & 0xFF00 | (word + 1) & 0xFF
    if mode.startswith("("):
        base = low
        pointer = (low + index) & 0xFF if mode.endswith("X)") else low
        pointer2 = (pointer + 1) & 0xFF
        start = memory[pointer] | memory[pointer2] << 8
        effective = (start + (index if mode.endswith("Y") else 0)) & 0xFFFF
        unfixed = start & 0xFF00 | effective & 0xFF
    elif mode.startswith("zero page"):
        base = low
        effective = unfixed = (low + index) & 0xFF
    elif mode.startswith("absolute"):
        base = word
        effective = (word + index) & 0xFFFF
        unfixed = word & 0xFF00 | effective & 0xFF
    else:
        effective = 0
    return effective, unfixed, base, pointer, pointer2
