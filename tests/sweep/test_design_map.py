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
