"""What a 6502 puts on the bus in each cycle, as a table.

    for cycle in bus_cycles(cpu):              # any object with pc, sp, x, y, p and memory
        cycle.write, cycle.address

Source of the patterns: MCS6500 Microcomputer Family Hardware Manual (MOS Technology, 1976),
appendix A; which instruction exists in which addressing mode: Programming Manual, appendix B.

A pattern is a row of words, one a cycle. A word says which address stands on the bus; ``w:`` before
it is a write, anything else a read. A ``?`` at the end: the cycle is there only if the branch is
taken (``next?``) or an index or a branch crosses a page (``unfixed?``). Reads whose value the CPU
throws away are reads all the same: a port that reacts to reads sees them.
"""

from collections.abc import Callable, MutableSequence
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple, Protocol

__all__ = ["INSTRUCTIONS", "LENGTHS", "PATTERNS", "BusCycle", "Instruction", "bus_cycles"]


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

_READ, _WRITE, _MODIFY = "read", "write", "modify"
_DOES = {
    **dict.fromkeys(["STA", "STX", "STY"], _WRITE),
    **dict.fromkeys(["ASL", "LSR", "ROL", "ROR", "INC", "DEC"], _MODIFY),
    **dict.fromkeys(["BPL", "BMI", "BVC", "BVS", "BCC", "BCS", "BNE", "BEQ"], "branch"),
}
# Columns of the opcode table, Programming Manual, appendix B.
_TABLE = """
ADC  69 immediate  65 zero page  75 zero page,X  6D absolute  7D absolute,X  79 absolute,Y  61 (zero page,X)  71 (zero page),Y
AND  29 immediate  25 zero page  35 zero page,X  2D absolute  3D absolute,X  39 absolute,Y  21 (zero page,X)  31 (zero page),Y
ASL  0A accumulator  06 zero page  16 zero page,X  0E absolute  1E absolute,X
BCC  90 relative
BCS  B0 relative
BEQ  F0 relative
BIT  24 zero page  2C absolute
BMI  30 relative
BNE  D0 relative
BPL  10 relative
BRK  00 implied
BVC  50 relative
BVS  70 relative
CLC  18 implied
CLD  D8 implied
CLI  58 implied
CLV  B8 implied
CMP  C9 immediate  C5 zero page  D5 zero page,X  CD absolute  DD absolute,X  D9 absolute,Y  C1 (zero page,X)  D1 (zero page),Y
CPX  E0 immediate  E4 zero page  EC absolute
CPY  C0 immediate  C4 zero page  CC absolute
DEC  C6 zero page  D6 zero page,X  CE absolute  DE absolute,X
DEX  CA implied
DEY  88 implied
EOR  49 immediate  45 zero page  55 zero page,X  4D absolute  5D absolute,X  59 absolute,Y  41 (zero page,X)  51 (zero page),Y
INC  E6 zero page  F6 zero page,X  EE absolute  FE absolute,X
INX  E8 implied
INY  C8 implied
JMP  4C absolute  6C (absolute)
JSR  20 absolute
LDA  A9 immediate  A5 zero page  B5 zero page,X  AD absolute  BD absolute,X  B9 absolute,Y  A1 (zero page,X)  B1 (zero page),Y
LDX  A2 immediate  A6 zero page  B6 zero page,Y  AE absolute  BE absolute,Y
LDY  A0 immediate  A4 zero page  B4 zero page,X  AC absolute  BC absolute,X
LSR  4A accumulator  46 zero page  56 zero page,X  4E absolute  5E absolute,X
NOP  EA implied
ORA  09 immediate  05 zero page  15 zero page,X  0D absolute  1D absolute,X  19 absolute,Y  01 (zero page,X)  11 (zero page),Y
PHA  48 implied
PHP  08 implied
PLA  68 implied
PLP  28 implied
ROL  2A accumulator  26 zero page  36 zero page,X  2E absolute  3E absolute,X
ROR  6A accumulator  66 zero page  76 zero page,X  6E absolute  7E absolute,X
RTI  40 implied
RTS  60 implied
SBC  E9 immediate  E5 zero page  F5 zero page,X  ED absolute  FD absolute,X  F9 absolute,Y  E1 (zero page,X)  F1 (zero page),Y
SEC  38 implied
SED  F8 implied
SEI  78 implied
STA  85 zero page  95 zero page,X  8D absolute  9D absolute,X  99 absolute,Y  81 (zero page,X)  91 (zero page),Y
STX  86 zero page  96 zero page,Y  8E absolute
STY  84 zero page  94 zero page,X  8C absolute
TAX  AA implied
TAY  A8 implied
TSX  BA implied
TXA  8A implied
TXS  9A implied
TYA  98 implied
"""  # noqa: E501


def _instructions() -> dict[int, Instruction]:
    instructions = {}
    for line in _TABLE.split("\n")[1:-1]:
        mnemonic, *forms = line.split("  ")
        for form in forms:
            opcode, mode = form.split(" ", 1)
            does = _DOES.get(mnemonic, _READ)
            if mode in ("implied", "accumulator"):
                does = "inside"
            row = _BY_NAME.get(mnemonic) or _BY_NAME.get(f"{mnemonic} {mode}")
            row = row or _BY_MODE[mode, does]
            instructions[int(opcode, 16)] = Instruction(mnemonic, mode, tuple(row.split()))
    return instructions


INSTRUCTIONS = _instructions()
"""The 151 documented instructions by opcode."""

# Flag and the value of it that takes the branch.
_BRANCHES = {
    "BPL": (0x80, 0), "BMI": (0x80, 1), "BVC": (0x40, 0), "BVS": (0x40, 1),
    "BCC": (0x01, 0), "BCS": (0x01, 1), "BNE": (0x02, 0), "BEQ": (0x02, 1),
}  # fmt: skip


def bus_cycles(cpu: Registers) -> list[BusCycle]:
    """The cycles of the instruction that the program counter stands on, before it is executed.

    Raises ``KeyError`` with the opcode if it is not a documented one.
    """
    memory, pc = cpu.memory, cpu.pc
    instruction = INSTRUCTIONS[memory[pc]]
    effective, unfixed, base, pointer, pointer2 = _ADDRESSES[instruction.mode](cpu, pc, memory)
    crossed = effective != unfixed
    taken = False
    if instruction.mode == "relative":
        flag, wanted = _BRANCHES[instruction.mnemonic]
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


# Address functions: (effective, the same without the carry into its high byte, address before the
# index is added, where the pointer lies, where its high byte lies).
_Addresses = tuple[int, int, int, int, int]


def _none(cpu: Registers, pc: int, memory: MutableSequence[int]) -> _Addresses:
    return 0, 0, 0, 0, 0


def _relative(cpu: Registers, pc: int, memory: MutableSequence[int]) -> _Addresses:
    behind, offset = pc + 2, memory[pc + 1]
    target = (behind + offset - (offset & 0x80) * 2) & 0xFFFF
    return target, behind & 0xFF00 | target & 0xFF, 0, 0, 0


def _zero(cpu: Registers, pc: int, memory: MutableSequence[int]) -> _Addresses:
    return memory[pc + 1], memory[pc + 1], 0, 0, 0


def _zero_indexed(name: str) -> Callable[[Registers, int, MutableSequence[int]], _Addresses]:
    def addresses(cpu: Registers, pc: int, memory: MutableSequence[int]) -> _Addresses:
        base = memory[pc + 1]
        address = (base + getattr(cpu, name)) & 0xFF
        return address, address, base, 0, 0

    return addresses


def _absolute(cpu: Registers, pc: int, memory: MutableSequence[int]) -> _Addresses:
    address = memory[pc + 1] | memory[pc + 2] << 8
    return address, address, 0, 0, 0


def _absolute_indexed(name: str) -> Callable[[Registers, int, MutableSequence[int]], _Addresses]:
    def addresses(cpu: Registers, pc: int, memory: MutableSequence[int]) -> _Addresses:
        base = memory[pc + 1] | memory[pc + 2] << 8
        address = (base + getattr(cpu, name)) & 0xFFFF
        return address, base & 0xFF00 | address & 0xFF, base, 0, 0

    return addresses


def _indirect(cpu: Registers, pc: int, memory: MutableSequence[int]) -> _Addresses:
    pointer = memory[pc + 1] | memory[pc + 2] << 8
    # The carry into the pointer's high byte is not made.
    return 0, 0, 0, pointer, pointer & 0xFF00 | (pointer + 1) & 0xFF


def _indexed_indirect(cpu: Registers, pc: int, memory: MutableSequence[int]) -> _Addresses:
    base = memory[pc + 1]
    pointer = (base + cpu.x) & 0xFF
    pointer2 = (pointer + 1) & 0xFF
    address = memory[pointer] | memory[pointer2] << 8
    return address, address, base, pointer, pointer2


def _indirect_indexed(cpu: Registers, pc: int, memory: MutableSequence[int]) -> _Addresses:
    pointer = memory[pc + 1]
    pointer2 = (pointer + 1) & 0xFF
    base = memory[pointer] | memory[pointer2] << 8
    address = (base + cpu.y) & 0xFFFF
    return address, base & 0xFF00 | address & 0xFF, base, pointer, pointer2


_ADDRESSES: dict[str, Callable[[Registers, int, MutableSequence[int]], _Addresses]] = {
    "implied": _none,
    "accumulator": _none,
    "immediate": _none,
    "relative": _relative,
    "zero page": _zero,
    "zero page,X": _zero_indexed("x"),
    "zero page,Y": _zero_indexed("y"),
    "absolute": _absolute,
    "absolute,X": _absolute_indexed("x"),
    "absolute,Y": _absolute_indexed("y"),
    "(absolute)": _indirect,
    "(zero page,X)": _indexed_indirect,
    "(zero page),Y": _indirect_indexed,
}
