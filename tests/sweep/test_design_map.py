"""The map of loop length and gap, against the advice of `judge` and against sweeps of programs."""

import random
from pathlib import Path

import pytest

from padbench.console.fetch import Console
from padbench.console.judge import measure, safe_lengths
from padbench.console.source import load_routine, routine_from_source
from padbench.parts import console_timing
from padbench.sweep.design_map import design_map
from padbench.sweep.engine import count, measured, survey

NTSC = Console(console_timing("60hz"))
EXPOSED = Path(__file__).parents[1] / "console" / "sources" / "read-twice-36.asm"
PERIODS = [432, 576]


def test_its_row_and_column_are_the_advice_for_one_at_a_time():
    found = measure(load_routine(str(EXPOSED)), NTSC)
    advice = safe_lengths(found, PERIODS)
    assert advice is not None
    chart = design_map(found.run, PERIODS, loops=range(12, 81), gaps=[0])
    assert chart is not None
    assert chart.loop == advice.loop == 36
    column = [loop for loop, row in zip(chart.loops, chart.safe, strict=True) if row[0]]
    assert tuple(column) == advice.loops
    (row,) = design_map(found.run, PERIODS, loops=[36], gaps=range(129)).safe
    assert tuple(gap for gap, safe in enumerate(row) if safe) == advice.gaps


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
    base = measured(survey(program(36, 0), NTSC))
    places = [(36, 0), (36, 36), (24, 36)] + [
        (draw.choice([20, 24, 26, 30, 36, 40, 44, 48]), draw.choice([0, *range(2, 60)]))
        for _ in range(9)
    ]
    wrong = 0
    for loop, gap in places:
        chart = design_map(base.run, PERIODS, loops=[loop], gaps=[gap])
        assert chart is not None
        known = survey(program(loop, gap), NTSC)
        accepted = sum(count(known, period).accepted_wrong for period in PERIODS)
        assert not (chart.safe[0][0] and accepted), (loop, gap)
        wrong += accepted > 0
    assert 0 < wrong < len(places)


def test_a_program_with_any_gap_of_the_advice_is_clean_at_every_rate():
    """Rates at which the routine is safe as it stands count: there a gap can break it."""
    rates = NTSC.timing.fetch_periods

    def exposed(gap):
        # With nothing held any lost bit shows, as Right: one state tells of all.
        known = survey(program(36, gap), NTSC, states=1)
        # At slower rates there is no second fetch within the routine.
        quick = [period for period in rates if period < len(known.rows[0]) + 8]
        return [period for period in quick if count(known, period, 0, 1).accepted_wrong]

    found = measured(survey(program(36, 0), NTSC))
    advice, narrow = (safe_lengths(found, one) for one in (rates, exposed(0)))
    assert advice is not None
    assert narrow is not None
    assert advice.periods == tuple(rates)
    chart = design_map(found.run, rates, loops=[36], gaps=range(129))
    assert chart is not None
    assert advice.gaps == tuple(gap for gap, safe in enumerate(chart.safe[0]) if safe)
    # The first and last gap of each stretch; one cycle more is nothing that one can write.
    edges = [g for g in advice.gaps if g > 1 and not {g - 1, g + 1} <= {*advice.gaps}]
    assert len(edges) > 6
    assert [gap for gap in edges if exposed(gap)] == []
    # What is safe only where the routine fails today.
    (broken,) = set(narrow.gaps) - set(advice.gaps)
    assert exposed(broken)


def test_the_map_of_all_rates_is_that_of_each():
    run = measure(load_routine(str(EXPOSED)), NTSC).run
    loops, gaps, rates = range(30, 40), range(0, 40, 3), NTSC.timing.fetch_periods
    whole = design_map(run, rates, loops=loops, gaps=gaps)
    assert whole is not None
    for period in rates:
        alone = design_map(run, [period], loops=loops, gaps=gaps)
        assert alone is not None
        for row, both in zip(alone.safe, whole.unsafe, strict=True):
            assert [not safe for safe in row] == [period in at for at in both]


@pytest.mark.parametrize("name", ["read-once", "read-once-both"])
def test_a_routine_with_one_pass_has_no_map(name):
    assert design_map(measure(load_routine(name), NTSC).run, PERIODS) is None
