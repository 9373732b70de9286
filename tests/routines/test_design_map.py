"""The map of loop length and gap, against the advice of `judge` and against sweeps of programs."""

import random
from dataclasses import replace
from pathlib import Path

import pytest
from yardstick import baseline_of

from padbench.jobs.routine_sections import map_strips
from padbench.parts import console_timing
from padbench.routines.console import Console, SampleFetch
from padbench.routines.fast import Part, baseline_of_survey, count, survey
from padbench.routines.judge import judge_routine
from padbench.routines.lengths import GAPS, DesignMap, design_map, layout_of, safe_lengths
from padbench.routines.run import run_case
from padbench.routines.source import load_routine, routine_from_source

HZ60 = Console(console_timing("60hz"))
EXPOSED = Path(__file__).parents[1] / "routines" / "sources" / "read-twice-36.asm"
PERIODS = [432, 576]


def test_its_row_and_column_are_the_advice_for_one_at_a_time():
    found = baseline_of(load_routine(str(EXPOSED)), HZ60)
    advice = safe_lengths(found.longest, PERIODS)
    assert advice is not None
    chart = design_map(found.longest, PERIODS, loops=range(12, 81), gaps=[0])
    assert chart is not None
    assert chart.loop == advice.loop == 36
    column = [loop for loop, row in zip(chart.loops, chart.safe, strict=True) if row[0]]
    assert tuple(column) == advice.loops
    (row,) = design_map(found.longest, PERIODS, loops=[36], gaps=[0, *range(2, 129)]).safe
    assert (
        tuple(gap for gap, safe in zip([0, *range(2, 129)], row, strict=True) if safe)
        == advice.gaps
    )


def program(loop, gap):
    """A read-twice routine with so many cycles a bit and so many more between its passes."""
    text = EXPOSED.read_text(encoding="utf-8")
    wait = text[text.index("        ldx #$03") : text.index("        lda port\n")]
    text = text.replace(wait, _cycles(loop - 14))
    again = "        sta first\n        jsr pass\n"
    assert text.count(again) == 1
    return routine_from_source(text.replace(again, _cycles(gap) + again), f"{loop}-{gap}.asm")


def _cycles(count):
    """Instructions that take so many cycles; none takes one."""
    assert count != 1
    odd = count % 2
    return "        sta $10\n" * odd + "        nop\n" * ((count - 3 * odd) // 2)


def test_no_program_that_the_map_calls_safe_hands_on_a_wrong_byte():
    draw = random.Random(5)
    base = baseline_of_survey(survey(program(36, 0), HZ60))
    places = [(36, 0), (36, 36), (24, 36)] + [
        (draw.choice([20, 24, 26, 30, 36, 40, 44, 48]), draw.choice([0, *range(2, 60)]))
        for _ in range(4)
    ]
    wrong = 0
    for loop, gap in places:
        chart = design_map(base.longest, PERIODS, loops=[loop], gaps=[gap])
        assert chart is not None
        known = survey(program(loop, gap), HZ60)
        accepted = sum(count(known, Part(period)).accepted_wrong for period in PERIODS)
        assert not (chart.safe[0][0] and accepted), (loop, gap)
        wrong += accepted > 0
    assert 0 < wrong < len(places)


def test_a_program_with_any_gap_of_the_advice_is_clean_at_every_rate():
    """Rates at which the routine is safe as it stands count: there a gap can break it."""
    rates = HZ60.timing.fetch_periods

    def exposed(gap):
        # With nothing held any lost bit shows, as Right: one state tells of all.
        known = survey(program(36, gap), HZ60, states=1)
        # At slower rates there is no second fetch within the routine.
        quick = [period for period in rates if period < len(known.rows[0]) + 8]
        return [period for period in quick if count(known, Part(period, 0, 1)).accepted_wrong]

    found = baseline_of_survey(survey(program(36, 0), HZ60))
    advice, narrow = (safe_lengths(found.longest, one) for one in (rates, exposed(0)))
    assert advice is not None
    assert narrow is not None
    assert advice.periods == tuple(rates)
    chart = design_map(found.longest, rates, loops=[36], gaps=[0, *range(2, 129)])
    assert chart is not None
    assert advice.gaps == tuple(
        gap for gap, safe in zip(chart.gaps, chart.safe[0], strict=True) if safe
    )
    # The first and last gap of each stretch; one cycle more is nothing that one can write.
    edges = [g for g in advice.gaps if g > 1 and not {g - 1, g + 1} <= {*advice.gaps}]
    assert len(edges) > 6
    assert [gap for gap in edges if exposed(gap)] == []
    # What is safe only where the routine fails today.
    (broken,) = set(narrow.gaps) - set(advice.gaps)
    assert exposed(broken)


THRICE = """
port = $4016
read:   jsr pass
        lda $13
        sta $11
{gap}        jsr pass
        lda $13
        sta $12
{gap}        jsr pass
        lda $11
        cmp $12
        beq take
        cmp $13
        beq take
        lda $12
        cmp $13
        beq take
        rts
take:   sta $10
        rts
pass:   lda #1
        sta port
        sta $13
        lsr a
        sta port
loop:   lda port
        lsr a
        rol $13
{wait}        bcc loop
{rest}        rts
"""
"""Three passes; hands on what any two agree on."""


def thrice(loop, gap, rest):
    parts = {"gap": _cycles(gap), "wait": _cycles(loop - 14), "rest": _cycles(rest)}
    source = THRICE.format(**parts)
    return replace(routine_from_source(source, f"thrice {loop}-{gap}.asm"), results=(0x10,))


def exposed_at(routine, periods=PERIODS):
    """With nothing held any lost bit shows, as Right: one state tells of all."""
    known = survey(routine, HZ60, states=1)
    return tuple(period for period in periods if count(known, Part(period, 0, 1)).accepted_wrong)


def test_the_first_and_the_last_of_three_passes_can_agree():
    """They stand a fetch apart; the pass between them is of no help, and map and advice know."""
    routine = thrice(22, 0, 6)
    known = survey(routine, HZ60)
    counts = count(known, Part(432))
    case = counts.counterexample
    assert case is not None
    fetch = SampleFetch(432, case.phase)
    passes = run_case(routine, HZ60, case.held, fetch=fetch).passes[0]
    assert [one.byte == case.got for one in passes] == [True, False, True]
    run = baseline_of_survey(known).longest
    assert judge_routine(routine, HZ60, baseline_of_survey(known), [counts]).by_lengths
    chart = design_map(run, [432], loops=[22], gaps=[0, *range(2, 129)])
    advice = safe_lengths(run, [432])
    assert chart is not None
    assert advice is not None
    assert not chart.safe[0][0]
    assert advice.gaps == tuple(
        gap for gap, safe in zip(chart.gaps, chart.safe[0], strict=True) if safe
    )
    assert 22 not in advice.loops


def test_no_three_passes_that_map_or_advice_call_safe_hand_on_a_wrong_byte():
    draw = random.Random(7)
    base = baseline_of_survey(survey(thrice(22, 0, 6), HZ60)).longest
    wrong, clean = 0, 0
    for loop in (14, 22, 36):
        gaps = [0, *draw.sample(range(2, 97), 4)]
        chart = design_map(base, PERIODS, loops=[loop], gaps=gaps)
        assert chart is not None
        for gap, unsafe in zip(gaps, chart.unsafe[0], strict=True):
            accepted = exposed_at(thrice(loop, gap, 6))
            assert set(accepted) <= set(unsafe), (loop, gap)
            wrong += bool(accepted)
            clean += not unsafe
    assert wrong > 1
    assert clean > 3
    advice = safe_lengths(base, PERIODS)
    assert advice is not None
    for loop in draw.sample([one for one in advice.loops if one >= 16], 4):
        assert exposed_at(thrice(loop, 0, 6)) == ()


def test_a_routine_for_both_ports_is_safe_only_if_it_is_on_both():
    run = baseline_of_survey(survey(load_routine("read-twice-both"), HZ60)).longest
    layout = layout_of(run)
    assert layout is not None
    assert layout.loop == 25
    second = [access.own for access in run.accesses if access.kind == "read" and access.port == 1]
    assert list(layout.bits) == second  # a bit is stretched behind the last that is read for it
    assert list(layout.between) == second[7:8]


def test_the_map_of_all_rates_is_that_of_each():
    run = baseline_of(load_routine(str(EXPOSED)), HZ60).longest
    loops, gaps, rates = range(34, 38), range(0, 40, 5), HZ60.timing.fetch_periods
    whole = design_map(run, rates, loops=loops, gaps=gaps)
    assert whole is not None
    for period in rates:
        alone = design_map(run, [period], loops=loops, gaps=gaps)
        assert alone is not None
        for row, both in zip(alone.safe, whole.unsafe, strict=True):
            assert [not safe for safe in row] == [period in at for at in both]


@pytest.mark.parametrize("name", ["read-once", "read-once-both"])
def test_a_routine_with_one_pass_has_no_map(name):
    assert design_map(baseline_of(load_routine(name), HZ60).longest, PERIODS) is None


def test_a_gap_that_no_instruction_makes_is_not_listed_and_marked_as_such():
    assert 1 not in GAPS
    row = ((), (432,), ())
    strips = map_strips(DesignMap(14, (14,), (0, 2, 3), (row,), ((True, False, True),)))
    assert strips.rows[0].length == 4
    assert [*strips.rows[0].spans] == [(1, 1, 1), (2, 1, 4)]
    assert (1, "no instruction takes so few cycles") in strips.kinds
