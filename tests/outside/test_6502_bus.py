"""What stands on the bus in each cycle, for every addressing mode.

Source: MCS6500 Microcomputer Family Hardware Manual (MOS Technology, 1976), appendix A, "Summary
of single cycle execution"; the sections are named beside the rows. R and W are the manual's R/W
column. The program stands at $8000, X is 3, Y is 4, the stack pointer $FD.
"""

import pytest
from py65.devices.mpu6502 import MPU

from padbench.routines.bus import INSTRUCTIONS, bus_cycles

ROWS = {
    "A.1 implied (CLC)": ("18", "R8000 R8001"),
    "A.1 accumulator (ASL A)": ("0A", "R8000 R8001"),
    "A.2.1 immediate (LDA)": ("A9 10", "R8000 R8001"),
    "A.2.2 zero page (LDA)": ("A5 10", "R8000 R8001 R0010"),
    "A.2.3 absolute (LDA)": ("AD 16 40", "R8000 R8001 R8002 R4016"),
    "A.2.4 indirect,X (LDA)": ("A1 20", "R8000 R8001 R0020 R0023 R0024 R4012"),
    "A.2.5 absolute,X (LDA)": ("BD 13 40", "R8000 R8001 R8002 R4016"),
    "A.2.5 absolute,X, page crossed": ("BD FE 3F", "R8000 R8001 R8002 R3F01 R4001"),
    "A.2.5 absolute,Y (LDX)": ("BE 12 40", "R8000 R8001 R8002 R4016"),
    "A.2.5 absolute,Y, page crossed": ("B9 FD 3F", "R8000 R8001 R8002 R3F01 R4001"),
    "A.2.6 zero page,X (LDA)": ("B5 FE", "R8000 R8001 R00FE R0001"),
    "A.2.6 zero page,Y (LDX)": ("B6 10", "R8000 R8001 R0010 R0014"),
    "A.2.7 indirect,Y (LDA)": ("B1 23", "R8000 R8001 R0023 R0024 R4016"),
    "A.2.7 indirect,Y, page crossed": ("B1 30", "R8000 R8001 R0030 R0031 R3F02 R4002"),
    "A.3.1 zero page (STA)": ("85 10", "R8000 R8001 W0010"),
    "A.3.2 absolute (STA)": ("8D 16 40", "R8000 R8001 R8002 W4016"),
    "A.3.3 indirect,X (STA)": ("81 20", "R8000 R8001 R0020 R0023 R0024 W4012"),
    "A.3.4 absolute,X (STA)": ("9D 13 40", "R8000 R8001 R8002 R4016 W4016"),
    "A.3.4 absolute,Y, page crossed": ("99 FD 3F", "R8000 R8001 R8002 R3F01 W4001"),
    "A.3.5 zero page,X (STA)": ("95 10", "R8000 R8001 R0010 W0013"),
    "A.3.5 zero page,Y (STX)": ("96 10", "R8000 R8001 R0010 W0014"),
    "A.3.6 indirect,Y (STA)": ("91 23", "R8000 R8001 R0023 R0024 R4016 W4016"),
    "A.4.1 zero page (INC)": ("E6 10", "R8000 R8001 R0010 W0010 W0010"),
    "A.4.2 absolute (LSR)": ("4E 16 40", "R8000 R8001 R8002 R4016 W4016 W4016"),
    "A.4.3 zero page,X (ROL)": ("36 10", "R8000 R8001 R0010 R0013 W0013 W0013"),
    "A.4.4 absolute,X (DEC)": ("DE FE 3F", "R8000 R8001 R8002 R3F01 R4001 W4001 W4001"),
    "A.5.1 push (PHA)": ("48", "R8000 R8001 W01FD"),
    "A.5.2 pull (PLA)": ("68", "R8000 R8001 R01FD R01FE"),
    "A.5.3 jump to subroutine": ("20 34 12", "R8000 R8001 R01FD W01FD W01FC R8002"),
    "A.5.4 break": ("00", "R8000 R8001 W01FD W01FC W01FB RFFFE RFFFF"),
    "A.5.5 return from interrupt": ("40", "R8000 R8001 R01FD R01FE R01FF R0100"),
    "A.5.6 jump absolute": ("4C 34 12", "R8000 R8001 R8002"),
    "A.5.6 jump indirect": ("6C 40 02", "R8000 R8001 R8002 R0240 R0241"),
    "A.5.6 jump indirect at a page's end": ("6C FF 02", "R8000 R8001 R8002 R02FF R0200"),
    "A.5.7 return from subroutine": ("60", "R8000 R8001 R01FD R01FE R01FF R3412"),
    "A.5.8 branch not taken (BCS)": ("B0 10", "R8000 R8001"),
    "A.5.8 branch taken (BCC)": ("90 10", "R8000 R8001 R8002"),
    "A.5.8 branch to another page (BCC)": ("90 F0", "R8000 R8001 R8002 R80F2"),
}


def cpu_with(code: str) -> MPU:
    memory = [0] * 0x10000
    memory[0x8000 : 0x8000 + len(code.split())] = [int(byte, 16) for byte in code.split()]
    memory[0x23:0x25] = [0x12, 0x40]
    memory[0x30:0x32] = [0xFE, 0x3F]
    memory[0x1FE:0x200] = [0x12, 0x34]
    cpu = MPU(memory, 0x8000)
    cpu.x, cpu.y, cpu.sp, cpu.p = 3, 4, 0xFD, 0x20
    return cpu


@pytest.mark.parametrize("section", ROWS)
def test_each_cycle_is_that_of_appendix_a(section):
    code, wanted = ROWS[section]
    seen = [("W" if c.write else "R") + f"{c.address:04X}" for c in bus_cycles(cpu_with(code))]
    assert seen == wanted.split()


def test_no_addressing_mode_is_left_out():
    shown = {INSTRUCTIONS[int(code[:2], 16)].mode for code, _ in ROWS.values()}
    assert shown == {instruction.mode for instruction in INSTRUCTIONS.values()}
