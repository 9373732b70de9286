"""Lanes against single runs by py65, case by case."""

import importlib.util
import random
from pathlib import Path

import numpy as np
import pytest

from padbench.parts import console_timing
from padbench.routines.console import Console, SampleFetch
from padbench.routines.lanes import Lanes
from padbench.routines.routine import Routine, RoutineError
from padbench.routines.run import run_case
from padbench.routines.source import routine_from_source

_spec = importlib.util.spec_from_file_location(
    "random_routines", Path(__file__).with_name("random_routines.py")
)
assert _spec is not None
assert _spec.loader is not None
random_routines = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(random_routines)

HZ60 = console_timing("60hz")
CONSOLES = [Console(HZ60), Console(HZ60, "each"), Console(console_timing("50hz"))]
LIMIT = 1500


def compare(routine, console, cases, limit=LIMIT, preset=0):
    """Each case as a lane and by itself; how many lanes were left out, and how many were wrong."""
    held, period, phase = (np.array(column) for column in zip(*cases, strict=True))
    lanes = Lanes(
        routine, console, held.astype(np.uint8), period, phase, limit, preset=preset, record=limit
    )
    lanes.run()
    results = lanes.results()
    corrupt = 0
    for place, (state, every, at) in enumerate(cases):
        if lanes.left[place]:
            continue
        run = run_case(
            routine,
            console,
            state,
            fetch=SampleFetch(every, at) if every else None,
            limit=limit,
            preset=preset,
        )
        case = (routine.name, state, every, at)
        assert lanes.finished[place] == run.finished, case
        assert lanes.hit[place] == run.hit, case
        assert lanes.now[place] == run.cycles, case
        assert tuple(int(one[place]) for one in results) == run.results, case
        wrong = run.wrong_pass(state)
        assert lanes.corrupt[place] == (wrong is not None), case
        if wrong is not None:
            corrupt += 1
            assert (lanes.pass_port[place], lanes.pass_got[place]) == wrong, case
        if not every and run.finished:
            assert lanes.kinds[place, : len(run.kinds)].tobytes() == run.kinds, case
    return int(lanes.left.sum()), corrupt


def test_random_cases_of_80_random_routines():
    draw = random.Random(6)
    left = cases = corrupt = 0
    for seed in range(80):
        routine = random_routines.random_routine(seed)
        some = [(draw.randrange(256), 0, 0) for _ in range(6)]
        for _ in range(18):
            period = draw.choice([8, 9, 33, 100, 432, 576])
            some.append((draw.randrange(256), period, draw.randrange(period)))
        out, bad = compare(routine, CONSOLES[seed % 3], some, preset=0xFF * (seed % 5 == 0))
        left += out
        corrupt += bad
        cases += len(some)
    # Otherwise this would compare little.
    assert left < cases / 4
    assert corrupt > cases / 20


@pytest.mark.parametrize("carry", [0x18, 0x38], ids=["CLC", "SEC"])
@pytest.mark.parametrize(
    "opcode", [0x65, 0xE5, 0xC5, 0x25, 0x05, 0x45, 0x24, 0xE4, 0xC4], ids=lambda o: f"${o:02X}"
)
def test_arithmetic_of_all_held_states_with_many_operands(opcode, carry):
    """A and its flags as py65 has them; A starts as the held state, the flags are stored too."""
    for operand in [0, 0x7F, 0x80, 0xFF]:
        code = bytes([0xAA, 0xA8, 0xA0, operand, 0x84, 0x30, 0xA8, carry, opcode, 0x30])
        code += bytes([0x85, 0x10, 0x08, 0x68, 0x60])
        routine = Routine("sum", ((0x8000, code),), 0x8000, ("A", 0x10))
        compare(routine, CONSOLES[0], [(held, 0, 0) for held in range(256)])


@pytest.mark.parametrize("carry", [0x18, 0x38], ids=["CLC", "SEC"])
@pytest.mark.parametrize(
    "code",
    [
        [0x0A],
        [0x2A],
        [0x4A],
        [0x6A],
        [0x85, 0x10, 0xE6, 0x10],
        [0x85, 0x10, 0xC6, 0x10],
        [0xAA],
        [0xA8, 0x88],
        [0xA8, 0xC8, 0x98],
        [0xAA, 0xCA, 0x8A],
    ],
)
def test_shifts_and_counts_of_all_held_states(code, carry):
    whole = bytes([carry, *code, 0x85, 0x11, 0x08, 0x68, 0x60])
    routine = Routine("shift", ((0x8000, whole),), 0x8000, ("A", 0x10))
    left, _ = compare(routine, CONSOLES[0], [(held, 0, 0) for held in range(256)])
    assert left == 0


def test_code_that_changes_itself_splits_by_what_it_became():
    """The operand of the last load is the held state, so each lane has code of its own."""
    routine = routine_from_source("sta load+1\nload: lda #0\nrts", "self.asm")
    left, _ = compare(routine, CONSOLES[0], [(held, 0, 0) for held in range(256)])
    assert left == 0


def test_lanes_that_branch_on_each_bit_meet_again():
    """2^8 paths that differ in length, and one group again at the end of each round."""
    source = """
        lda #1
        sta $4016
        sta 0
        lsr a
        sta $4016
        l: lda $4016
        lsr a
        bcc no
        nop
        nop
        sec
        no: rol 0
        bcc l
        lda 0
        rts
    """
    routine = routine_from_source(source, "branchy.asm")
    taken = []
    lanes = Lanes(
        routine,
        CONSOLES[0],
        np.arange(256, dtype=np.uint8),
        np.zeros(256, np.int64),
        np.zeros(256, np.int64),
        LIMIT,
    )
    whole = lanes._take
    lanes._take = lambda group, pc, sp: (taken.append(len(group)), whole(group, pc, sp))
    lanes.run()
    assert lanes.results()[0].tolist() == list(range(256))
    assert len(taken) < 100
    compare(routine, CONSOLES[1], [(held, 45, held % 45) for held in range(256)])


@pytest.mark.parametrize(
    "source",
    ["brk", "inc $4016\nrts", "jmp ($4016)", "jmp $9000", ".byte $02", "rti"],
)
def test_what_lock_step_does_not_do_is_left_out_and_not_guessed(source):
    routine = routine_from_source(source, "odd.asm")
    nothing = np.zeros(1, np.int64)
    lanes = Lanes(routine, CONSOLES[0], np.zeros(1, np.uint8), nothing, nothing, LIMIT)
    lanes.run()
    assert lanes.left.all()
    if source == "jmp $9000":
        with pytest.raises(RoutineError):
            run_case(routine, CONSOLES[0], 0)
