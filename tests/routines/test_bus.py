"""Random programs: the bus table and py65 agree on every cycle, and on what is written where."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from py65.devices.mpu6502 import MPU

from padbench.parts import console_timing
from padbench.routines.bus import INSTRUCTIONS, LENGTHS, PATTERNS, bus_cycles
from padbench.routines.console import Console
from padbench.routines.fast import sweep
from padbench.routines.judge import on_its_port
from padbench.routines.lanes import Lanes
from padbench.routines.run import run_case
from padbench.routines.source import routine_from_source

JUMPS = {"BRK", "JMP", "JSR", "RTS", "RTI"}
PY65_DIFFERS = {0xCE}  # see tests/outside/test_6502_cycles.py
STRAIGHT = sorted(
    op
    for op, i in INSTRUCTIONS.items()
    if i.mnemonic not in JUMPS and i.mode != "relative" and op not in PY65_DIFFERS
)
ORIGIN = 0xC000


class Watched(list):
    """Memory that notes where it is read and written."""

    reads: set[int]
    writes: set[int]

    def __getitem__(self, at):
        if isinstance(at, int):
            self.reads.add(at)
        return super().__getitem__(at)

    def __setitem__(self, at, value):
        self.writes.add(at)
        super().__setitem__(at, value)


instructions = st.tuples(
    st.sampled_from(STRAIGHT), st.integers(0, 255), st.integers(0, 0xBF)
)  # operands below $C000: the program does not change itself


@settings(deadline=None, max_examples=60)
@given(
    st.lists(instructions, min_size=1, max_size=60),
    st.lists(st.integers(0, 255), min_size=256, max_size=256),
    st.integers(0, 255),
    st.integers(0, 255),
)
def test_cycles_and_addresses_of_random_straight_line_programs(program, zero_page, x, y):
    memory = Watched([0] * 0x10000)
    memory.reads, memory.writes = set(), set()
    list.__setitem__(memory, slice(0, 256), [b % 0xC0 for b in zero_page])
    code = []
    for opcode, low, high in program:
        code += [opcode, low, high][: LENGTHS[INSTRUCTIONS[opcode].mode]]
    list.__setitem__(memory, slice(ORIGIN, ORIGIN + len(code)), code)
    cpu = MPU(memory, ORIGIN)
    cpu.x, cpu.y = x, y
    ours = 0
    for _ in program:
        if not ORIGIN <= cpu.pc < ORIGIN + len(code):
            break
        cycles = bus_cycles(cpu)
        ours += len(cycles)
        memory.reads, memory.writes = set(), set()
        cpu.step()
        # py65 makes no reads that the CPU throws away; all it does touch is on the bus.
        assert memory.reads <= {c.address for c in cycles if not c.write}
        assert memory.writes == {c.address for c in cycles if c.write}
        if memory.writes & set(range(ORIGIN, ORIGIN + len(code))):
            break
    assert ours == cpu.processorCycles


def test_no_instruction_writes_first_and_none_writes_more_than_three_times_in_a_row():
    for row in PATTERNS.values():
        words = row.split()
        assert not words[0].startswith("w:")
        writes = "".join("w" if word.startswith("w:") else "r" for word in words)
        assert "wwww" not in writes


CONSOLE = Console(console_timing("60hz"))


@pytest.mark.parametrize("carry", [0, 1])
@pytest.mark.parametrize(("does", "opcode"), [("adc", 0x69), ("sbc", 0xE9)])
def test_decimal_mode_is_ignored(does, opcode, carry):
    """Against py65 with its decimal flag clear; the flag itself stays, and PHP pushes it."""
    source = "sed\nsec\n" if carry else "sed\nclc\n"
    source += f"lda #$19\n{does} #$08\nsta $10\nphp\npla\nsta $11\nlda $10\nrts\n"
    routine = routine_from_source(source, "d.asm").with_results("A", 0x11)
    cpu = MPU(memory=[0xD8, 0x38 if carry else 0x18, 0xA9, 0x19, opcode, 0x08])
    for _ in range(4):
        cpu.step()
    decimal_and_interrupts = 0x3C
    run = run_case(routine, CONSOLE, 0)
    assert run.results == (cpu.a, cpu.p | decimal_and_interrupts)
    none = np.zeros(1, np.int64)
    lanes = Lanes(routine, CONSOLE, np.zeros(1, np.uint8), none, none, 1000)
    lanes.run()
    assert tuple(int(one[0]) for one in lanes.results()) == run.results
    assert not lanes.left.any()


@pytest.mark.parametrize("strobe", ["sta $4016", "sta $4016,x"])
def test_a_dummy_read_of_the_first_port_does_not_make_the_pad_the_first(strobe):
    """A store with an index reads $4016 before it writes there, and throws the value away."""
    loop = "loop: lda $4017\nlsr a\nrol $10\ndey\nbne loop\nlda $10\nrts\n"
    source = f"ldx #0\nldy #8\nlda #1\n{strobe}\nlsr a\n{strobe}\n{loop}"
    routine = on_its_port(routine_from_source(source, "second.asm"), CONSOLE)
    assert routine.second_only
    # The closed form of a plain loop whose serial input is at ground.
    assert sweep(routine, CONSOLE, 432).accepted_wrong == 256 * 8 - 255
