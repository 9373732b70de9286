"""The MyHDL pad, driven by a routine's own accesses, reads what the routine read.

Two models of one pad: the plain register on the bus, and the simulation with a data sheet's times.
"""

import random
from dataclasses import replace

import pytest

from padbench.core.decode import decode
from padbench.core.stimulus import DrivenLines, Stimulus
from padbench.core.timing import judge_timing
from padbench.model.simulation import simulate
from padbench.parts import console_timing
from padbench.routines.console import Console, SampleFetch
from padbench.routines.run import held_by, run_case
from padbench.routines.source import SHIPPED, load_routine, routine_from_source
from padbench.routines.wave import case_wave

HZ60 = console_timing("60hz")


@pytest.mark.parametrize("clocks", ["joined", "each"])
@pytest.mark.parametrize("name", SHIPPED)
def test_every_pass_of_random_cases_reads_the_same_on_the_wires(name, clocks, pad):
    draw = random.Random(name + clocks)
    routine, console = load_routine(name), Console(HZ60, clocks)
    for _ in range(6):
        held, phase, port = draw.randrange(256), draw.randrange(80), draw.randrange(2)
        case = {"held": held, "period": 97, "phase": phase}
        run = run_case(routine, console, held, fetch=SampleFetch(97, phase))
        wave = case_wave(routine, console, pad, port=port, **case)
        passes = [read.byte for read in decode(wave) if len(read.bits) >= 8]
        assert passes == [one.byte for one in run.passes[port]]


@pytest.mark.parametrize("clocks", ["joined", "each"])
def test_no_limit_of_the_part_is_broken_even_when_stopped(clocks, pad):
    console, routine = Console(HZ60, clocks), load_routine("read-once")
    wave = case_wave(routine, console, pad, held=0xA5, period=432, phase=46)
    reads = decode(wave)
    assert len(reads[0].clock_rises) == 8 + (1 if clocks == "joined" else 3)
    failed = {f.id for f in judge_timing(wave, reads, pad.limits) if f.verdict == "fail"}
    assert failed <= {"timing.later-bits"}, failed


def test_an_undisturbed_wave_stands_at_the_consoles_true_clock(pad):
    wave = case_wave(load_routine("read-once"), Console(HZ60), pad, held=0x81)
    (read,) = decode(wave)
    assert read.byte == 0x81
    spacing = [b - a for a, b in zip(read.samples, read.samples[1:], strict=False)]
    exact = 14 * 176 / 315 * 1e6  # picoseconds: 14 cycles of 176/315 us
    assert all(abs(step - exact) <= 1 for step in spacing)
    assert "cpu.request" not in wave.events


def test_a_read_right_behind_another_clocks_by_itself(pad):
    """INC absolute,X throws one read away and makes another in the next cycle.

    At the slow corner the pad has not answered by then, and the wire is at no level; the routine's
    own model of the pad has no delay.
    """
    source = "lda #1\nsta $4016\nlsr a\nsta $4016\nldx #0\ninc $4016,x\nrts"
    routine = routine_from_source(source, "inc.asm")
    wave = case_wave(routine, Console(HZ60), replace(pad, answer=0), held=0x80)
    run = run_case(routine, Console(HZ60), 0x80)
    assert [a.value for a in run.accesses if a.kind == "read"] == [1, 0]
    assert decode(wave)[0].bits == (True, False)
    assert decode(case_wave(routine, Console(HZ60), pad, held=0x80))[0].bits == (True, None)


def test_the_second_port_holds_the_opposite(pad):
    wave = case_wave(load_routine("read-once-both"), Console(HZ60), pad, held=0x0F, port=1)
    assert decode(wave)[0].byte == held_by(1, 0x0F) == 0xF0


@pytest.mark.parametrize("name", ["latch", "clock", "samples"])
def test_edges_out_of_order_are_refused(pad, name):
    lines = {"latch": (10, 20), "clock": (30, 40), "samples": (40,), name: (50, 50)}
    stimulus = Stimulus(((0, 0),), (), 100, driven=DrivenLines(**lines))
    with pytest.raises(ValueError, match=name):
        simulate(pad, stimulus)
