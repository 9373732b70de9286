"""The fast engine against the plain one, count by count; parts and workers; closed forms."""

import importlib.util
import itertools
import random
from pathlib import Path

import numpy as np
import pytest
import yardstick
from yardstick import baseline_of, merged, reads_ahead, stops_of

from padbench.parts import console_timing
from padbench.routines import fast
from padbench.routines.console import Console, SampleFetch
from padbench.routines.counts import SweepCounts
from padbench.routines.fast import Part, baseline_of_survey, count, parts, survey
from padbench.routines.routine import RoutineError
from padbench.routines.run import run_case
from padbench.routines.source import load_routine, routine_from_source
from padbench.routines.stops import touched_phases
from padbench.workers import spread

_spec = importlib.util.spec_from_file_location(
    "random_routines", Path(__file__).with_name("random_routines.py")
)
assert _spec is not None
assert _spec.loader is not None
random_routines = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(random_routines)

HZ60 = console_timing("60hz")
JOINED, EACH = Console(HZ60), Console(HZ60, "each")
EXPOSED = str(Path(__file__).parents[1] / "routines" / "sources" / "read-twice-36.asm")


@pytest.mark.parametrize(
    ("name", "console"),
    [("read-once", EACH), ("read-twice", JOINED), (EXPOSED, JOINED)],
)
def test_every_case_at_the_fastest_rate_as_the_plain_engine(name, console):
    routine = load_routine(name)
    assert fast.sweep(routine, console, 432) == yardstick.sweep(routine, console, 432)


@pytest.mark.parametrize(
    ("name", "period"),
    [
        ("read-until-agree", 65),
        ("read-until-agree", 8),
        ("read-once", 13),
        ("read-twice-both", 61),
        ("read-until-agree-both", 100),
    ],
)
def test_fetches_that_hit_again_and_again(name, period, monkeypatch):
    """Some never settle, many pass the limit; fewer states for the plain engine's time."""
    monkeypatch.setattr("yardstick.STATES", 4)
    routine = load_routine(name)
    wanted = yardstick.sweep(routine, JOINED, period, limit=1500)
    tally = count(survey(routine, JOINED, 1500, 4), Part(period, 0, 4))
    assert tally == wanted


def test_random_routines_are_counted_as_the_plain_engine_counts(monkeypatch):
    """Also those that lock-step leaves out in part, and those that cannot be run at all."""
    monkeypatch.setattr("yardstick.STATES", 3)
    agreed = refused = 0
    for seed in range(1000, 1024):
        routine = random_routines.random_routine(seed)
        period = random.Random(seed).choice([9, 30, 57])
        try:
            wanted = yardstick.sweep(routine, EACH, period, limit=900)
        except RoutineError:
            with pytest.raises(RoutineError):
                count(survey(routine, EACH, 900, 3), Part(period, 0, 3))
            refused += 1
            continue
        tally = count(survey(routine, EACH, 900, 3), Part(period, 0, 3))
        assert tally == wanted, routine.name
        agreed += 1
    assert agreed > 14


def test_closed_forms_of_a_plain_loop_at_all_rates():
    """Exactly 8 of 8 R phases; 256 * 8 - 255 wrong bytes (class C: arithmetic of common practice).

    With 2^k states hiding the loss of bit k: 2 + 4 + ... + 256, less the one counted in 255.
    """
    known = survey(load_routine("read-once"), JOINED)
    assert len(HZ60.fetch_periods) == 16
    for period in HZ60.fetch_periods:
        counts = count(known, Part(period))
        assert counts.cases == 256 * period
        assert counts.hit == 256 * 8
        assert counts.accepted_wrong == counts.corrupt == 256 * 8 - 255
        assert counts.never_settles == counts.kept_old == 0


def test_all_cases_of_all_rates_for_read_twice():
    """It keeps the old byte wherever a pass was spoilt, and never hands on a wrong one."""
    known = survey(load_routine("read-twice"), JOINED)
    for period in HZ60.fetch_periods:
        counts = count(known, Part(period))
        assert counts.accepted_wrong == 0
        assert counts.corrupt == counts.kept_old > 0


def test_a_console_without_the_fault():
    timing = console_timing("50hz")
    counts = fast.sweep(load_routine("read-once"), Console(timing), timing.fetch_periods[0])
    assert counts.hit == 256 * 8
    assert counts.corrupt == counts.accepted_wrong == 0


def test_phases_all_at_once_are_those_one_by_one():
    draw = random.Random(3)
    for _ in range(150):
        # Many writes in a row put a stop off for so long that the next request is there already.
        writes = draw.choice([3, 40])
        kinds = bytes(draw.choices([0, 1, 2, 3], [writes, 8, 1, 1], k=draw.randrange(1, 90)))
        period = draw.choice([8, 9, 20, 64, 100])
        limit = len(kinds) + draw.randrange(12)
        ahead = reads_ahead(kinds)
        expected = []
        for phase in range(period):
            stops = stops_of(kinds, ahead, period, phase)
            late = len(kinds) + sum(taken for _, taken in stops) > limit
            if late or any(kinds[place] >= 2 for place, _ in stops):
                expected.append(phase)
        assert touched_phases(kinds, period, limit).tolist() == expected


LATCHED = "sta 9\nldx #1\nstx $4016\ndex\nstx $4016\nlda $4016\n"


@pytest.mark.parametrize(
    ("rest", "hangs"),
    [
        ("lsr a\nbcc n\nnop\nn: lda #3\nrts", 0),
        # Of 256 states 144 have no opposite directions.
        ("lda 9\nrts", 144),
        ("lda 9\ncmp #5\nbne n\nrts\nn: lda #3\nrts", 2),
        # On and on if the first button is not as it was.
        ("lsr a\nror a\neor 9\nl: bmi l\nlda #7\nrts", 144),
    ],
)
def test_measured_from_a_survey_is_what_single_runs_measure(rest, hangs):
    routine = routine_from_source(LATCHED + rest, "some.asm")
    found = baseline_of_survey(survey(routine, JOINED, 99))
    assert found == baseline_of(routine, JOINED, 99)
    assert len(found.hangs) == hangs
    assert found.untouched == (rest == "lda 9\nrts")


@pytest.mark.parametrize("source", ["l: jmp l", "jmp $9000", ".byte $02", "l: lda $4016\nbeq l"])
def test_routines_that_cannot_be_run_are_refused_as_by_the_plain_engine(source):
    routine = routine_from_source(source, "bad.asm")
    with pytest.raises(RoutineError) as one_by_one:
        yardstick.sweep(routine, JOINED, 432)
    with pytest.raises(RoutineError) as lanes:
        fast.sweep(routine, JOINED, 432)
    assert str(lanes.value) == str(one_by_one.value)


def test_a_period_that_no_fetch_has_is_refused():
    with pytest.raises(ValueError, match="at least 8"):
        fast.sweep(load_routine("read-once"), JOINED, 7)


def test_a_routine_that_writes_everywhere_is_refused(monkeypatch):
    monkeypatch.setattr("padbench.routines.lanes._MOST_CELLS", 12 * 1100)
    with pytest.raises(RoutineError, match="writes to more than 3 addresses; give the read alone"):
        fast.sweep(load_routine("read-twice"), JOINED, 432)


def test_parts_in_any_order_give_the_same_counts():
    routine = load_routine(EXPOSED)
    known = survey(routine, JOINED)
    tallies = [count(known, p) for p in parts(known, [432], workers=2)]
    assert sum(t.cases for t in tallies) == 256 * 432
    whole = fast.sweep(routine, JOINED, 432)
    for order in itertools.islice(itertools.permutations(tallies), 0, 24, 5):
        assert merged(432, order) == whole
    with pytest.raises(ValueError, match="period 432"):
        SweepCounts(576).add(tallies[0])


def test_two_workers_give_the_same_counts():
    known = survey(load_routine(EXPOSED), JOINED)
    work = parts(known, [432, 576], workers=2)
    for period in (432, 576):
        here, there = (
            merged(period, [t for t in spread(count, known, work, n) if t.period == period])
            for n in (1, 2)
        )
        assert here == there
        assert here.accepted_wrong > 0


def test_every_counterexample_is_what_a_single_run_shows():
    routine = load_routine(EXPOSED)
    for period in (432, 576):
        case = fast.sweep(routine, JOINED, period).counterexample
        assert case is not None
        assert case.kind == "accepted_wrong"
        run = run_case(routine, JOINED, case.held, fetch=SampleFetch(period, case.phase))
        assert run.results == (case.got,)
        assert case.got != case.held


def test_lanes_hold_no_more_than_a_batch(monkeypatch):
    monkeypatch.setattr(fast, "BATCH", 500)
    sizes = []
    whole = fast._add_cases

    def watched(tally, known, held, phase, **more):
        sizes.append(len(held))
        whole(tally, known, held, phase, **more)

    monkeypatch.setattr(fast, "_add_cases", watched)
    counts = fast.sweep(load_routine("read-once"), JOINED, 432)
    assert np.max(sizes) < 1000
    assert counts.hit == 2048


@pytest.mark.parametrize(("name", "period"), [(EXPOSED, 432), ("read-until-agree", 65)])
def test_the_worst_of_each_phase_is_that_of_single_runs(name, period):
    """For a picture: 0 nothing, 1 stopped, 2 spoilt, 3 never settles, 4 a wrong byte."""
    routine, states = load_routine(name), 4
    by_phase = count(survey(routine, JOINED, 2000, states), Part(period, 0, states)).by_phase
    for phase in random.Random(8).sample(range(period), 15):
        worst = 0
        for held in range(states):
            run = run_case(routine, JOINED, held, fetch=SampleFetch(period, phase), limit=2000)
            spoilt = run.wrong_pass(held) is not None
            wrong = run.finished and run.results != (held,)
            worst = max(worst, run.hit, 2 * spoilt, 3 * (not run.finished), 4 * wrong)
        assert by_phase[phase] == worst
    assert len(set(by_phase)) > 2
