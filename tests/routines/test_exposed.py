"""Reading twice is not safe for every routine: some lose a bit in both passes, and agree.

Where a port read of the first pass and one of the second stand exactly one fetch period apart,
stolen cycles included, both are stopped. The search goes through loops of the shipped read-twice
that take longer and longer for a bit, and finds some of an ordinary length.
"""

from functools import cache
from importlib.resources import files

import pytest
from yardstick import baseline_of

from padbench.core.buttons import spelled
from padbench.parts import console_timing
from padbench.routines import fast
from padbench.routines.console import Console, SampleFetch
from padbench.routines.judge import judge_routine, per_cent
from padbench.routines.lengths import safe_lengths
from padbench.routines.run import InstructionCache, RoutineRun, run_case
from padbench.routines.source import routine_from_source

CONSOLE = Console(console_timing("60hz"))
PERIOD = CONSOLE.timing.fetch_periods[-1]
QUICK = 14
"""Cycles a bit of the shipped loop."""
SOURCE = files("padbench.routines").joinpath("shipped/read-twice.asm").read_text()
LENGTHS = [QUICK, *range(QUICK + 2, 46)]
GAPS = [0, *range(2, 36)]


def idle(cycles: int) -> str:
    """Instructions that take so many cycles and do nothing; there are none for one cycle."""
    return "sta $10\n" * (cycles % 2) + "nop\n" * ((cycles - 3 * (cycles % 2)) // 2)


def read_twice(loop: int = QUICK, gap: int = 0):
    """The shipped routine with a longer loop, and a longer way between its passes."""
    source = SOURCE.replace("lda port", idle(loop - QUICK) + "lda port")
    source = source.replace("sta first\n", "sta first\n" + idle(gap))
    return routine_from_source(source, f"read-twice, {loop} cycles a bit, gap {gap}")


def exposed_phases(routine) -> list[int]:
    """Phases in which nothing is held and a press is handed on; every read is tried as stopped."""
    reads = [a.own for a in measure_one(routine).accesses if a.kind == "read"]
    cache = InstructionCache(routine)
    phases = sorted({(at - d) % PERIOD for at in reads for d in (0, 3, 4, -3, -4)})
    return [
        phase
        for phase in phases
        if run_case(routine, CONSOLE, 0, fetch=SampleFetch(PERIOD, phase), cache=cache).results
        != (0,)
    ]


def measure_one(routine) -> RoutineRun:
    return run_case(routine, CONSOLE, 0)


@cache
def exposed_lengths() -> tuple[int, ...]:
    return tuple(length for length in LENGTHS if exposed_phases(read_twice(length)))


def test_the_search_finds_loops_in_which_both_passes_lose_a_bit_and_agree():
    assert exposed_lengths()
    assert QUICK not in exposed_lengths()
    assert 36 in exposed_lengths()  # two and a half scan lines: as ordinary as can be


def test_an_exposed_loop_shows_its_phase_and_two_stopped_passes():
    routine = read_twice(36)
    counts = fast.sweep(routine, CONSOLE, PERIOD)
    assert counts.accepted_wrong > 0
    found = counts.counterexample
    assert found is not None
    assert found.kind == "accepted_wrong"
    run = run_case(routine, CONSOLE, found.held, fetch=SampleFetch(PERIOD, found.phase))
    first, second = run.passes[0]
    assert first.byte == second.byte == found.got != found.held, spelled(found.got)
    stopped = [access.cycle for access in run.accesses if access.stolen]
    assert len(stopped) == 2
    assert stopped[1] - stopped[0] == PERIOD
    assert first.reads[0] <= stopped[0] <= first.reads[-1]
    assert second.reads[0] <= stopped[1] <= second.reads[-1]
    judgement = judge_routine(routine, CONSOLE, baseline_of(routine, CONSOLE), [counts])
    assert (judgement.verdict, judgement.case) == ("exposed", "agree")
    assert judgement.facts["count"] == counts.accepted_wrong
    assert (judgement.facts["cases"], judgement.facts["tried"]) == (256 * PERIOD, (PERIOD,))
    assert "agree" in judgement.says
    assert judgement.by_lengths


ZERO = """
        jsr pass
        sta $61
        jsr pass
        eor $61
        beq same
        lda #0              ; they differ: nothing is held, it says
        rts
same:   lda $60
        rts
pass:   ldx #1
        stx $4016
        dex
        stx $4016
        ldx #8
bits:   lda $4016
        lsr a
        rol $60
{wait}        dex
        bne bits
        lda $60
        rts
"""


@pytest.mark.parametrize("wait", [0, 39])
def test_a_wrong_byte_that_no_two_passes_read_is_not_laid_to_their_agreement(wait):
    """With nothing held the slow loop's passes do agree on Right; other states need one stop."""
    routine = routine_from_source(ZERO.format(wait=idle(wait)), "zero.asm")
    counts = fast.sweep(routine, CONSOLE, PERIOD)
    if wait:
        case = counts.counterexample
        assert case is not None
        assert case.held == 0
        assert case.got == 1
    found = judge_routine(routine, CONSOLE, baseline_of(routine, CONSOLE), [counts])
    assert found.verdict == "exposed"
    assert "hands on nothing though no two passes read that" in found.says
    assert not found.by_lengths


def test_a_byte_that_one_pass_alone_read_is_not_laid_to_their_agreement():
    """It reads twice and hands on the second pass, whatever the first one was."""
    source = ZERO.format(wait="").replace("beq same", "jmp same")
    routine = routine_from_source(source, "second.asm")
    counts = fast.sweep(routine, CONSOLE, PERIOD)
    judgement = judge_routine(routine, CONSOLE, baseline_of(routine, CONSOLE), [counts])
    assert judgement.case == "disagree"
    assert judgement.facts["passes"].count(judgement.facts["got"]) == 1


def test_lengths_that_stop_no_two_passes_are_no_advice():
    assert safe_lengths(measure_one(read_twice()), [PERIOD]) is None


def test_the_advice_names_exactly_the_loops_that_the_search_found_safe():
    safe = safe_lengths(measure_one(read_twice(36)), [PERIOD])
    assert safe is not None
    assert safe.loop == 36
    assert set(LENGTHS) - set(safe.loops) == set(exposed_lengths())


def test_the_advice_names_exactly_the_gaps_that_make_an_exposed_routine_safe():
    safe = safe_lengths(measure_one(read_twice(36)), [PERIOD])
    assert safe is not None
    exposed = {gap for gap in GAPS if exposed_phases(read_twice(36, gap))}
    assert 0 in exposed
    assert set(GAPS) - set(safe.gaps) == exposed


def test_a_routine_that_followed_the_advice_only_detects():
    routine = read_twice(36, 2)
    counts = fast.sweep(routine, CONSOLE, PERIOD)
    assert counts.corrupt > 0
    assert (counts.accepted_wrong, counts.never_settles) == (0, 0)


def test_per_cents_for_people():
    shares = [per_cent(count, 1000) for count in (1, 129, 990, 999, 1000)]
    assert shares == ["0.1 %", "13 %", "99 %", "99.9 %", "100 %"]
    assert per_cent(9999, 10000) == "nearly 100 %"
