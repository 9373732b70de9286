"""How clean a captured wire is, on zones drawn by hand: low, between the thresholds, high."""

import numpy as np
import pytest
from handmade import NS, ps
from hypothesis import given
from hypothesis import strategies as st

from padbench.core.findings import Source
from padbench.core.levels import FLOATING, HIGH, LOW, UNKNOWN
from padbench.core.limits import Limit
from padbench.core.quality import (
    DATA_DELAY,
    apart,
    data_delays,
    held_to_most,
    runts_in,
    short_pulses,
    stands_still,
    steady,
)
from padbench.core.timeline import Wire

X = UNKNOWN


def times(*values):
    return np.asarray(values, np.int64)


def test_hysteresis_holds_a_level_until_the_other_is_reached():
    zones = Wire.of(
        [(0, X), (5, LOW), (10, X), (12, LOW), (20, X), (25, HIGH), (30, X), (31, HIGH)]
    )
    assert steady(zones) == Wire.of([(5, LOW), (25, HIGH)])
    assert steady(Wire.of([(0, X), (3, FLOATING)])) is None


def test_a_stay_between_is_an_edge_if_it_goes_through_and_a_runt_if_not():
    zones = Wire.of(
        [(0, X), (5, LOW), (10, X), (14, HIGH), (20, X), (21, HIGH), (30, X), (37, LOW), (50, X)]
    )
    assert runts_in(zones).tolist() == [20]


def test_a_wire_with_two_levels_and_instant_edges_has_no_stay_between():
    assert not len(runts_in(Wire.of([(0, LOW), (5, HIGH), (9, LOW), (12, HIGH)])))


def test_a_stay_counts_with_one_level_before_and_one_after_and_not_without():
    assert runts_in(Wire.of([(0, LOW), (10, X), (12, LOW)])).tolist() == [10]
    for changes in ([(0, X), (5, LOW)], [(0, LOW), (5, X)], [(0, X)]):
        assert not len(runts_in(Wire.of(changes)))


def test_a_stay_of_two_kinds_has_no_level_on_both_sides():
    """Unknown, then floating: neither half is an edge, whatever comes before and after."""
    for after in (LOW, X):
        changes = [(0, LOW), (10, X), (12, FLOATING), (15, after), (20, HIGH)]
        assert not len(runts_in(Wire.of(changes)))


@pytest.mark.parametrize(
    ("edges", "kept"),
    [
        ((), [10, 20, 30]),
        ((20,), [10, 30]),
        ((10, 30), [20]),
        ((15, 25), []),
        ((0, 40), [10, 20, 30]),
        ((1,), [20, 30]),
        ((5, 18, 40), [30]),
        ((38,), [10, 20]),
    ],
)
def test_what_lies_near_an_edge_belongs_to_it(edges, kept):
    assert apart(times(10, 20, 30), times(*edges), 10).tolist() == kept


def test_at_just_the_distance_it_is_apart():
    for edge in (0, 20):
        assert apart(times(10), times(edge), 10).tolist() == [10]
        assert apart(times(10), times(edge), 11).tolist() == []


def test_short_pulses_of_either_level_but_not_the_first_stay():
    """What stood before the first edge had begun before the capture."""
    clock = Wire.of([(0, HIGH), (3, LOW), (10, HIGH), (14, LOW), (19, HIGH)])
    assert short_pulses(clock, 5).tolist() == [10]
    assert short_pulses(clock, 6).tolist() == [10, 14]
    assert short_pulses(Wire.of([(0, HIGH)]), 5).tolist() == []
    assert short_pulses(Wire.of([(0, HIGH), (3, LOW), (5, HIGH)]), 5).tolist() == [3]


def test_data_stand_after_their_last_change_before_the_next_rise():
    data = Wire.of([(0, HIGH), (105, LOW), (110, HIGH), (112, LOW), (230, X), (240, HIGH)])
    rises, delays = data_delays(data, times(100, 200, 300, 400), times())
    assert rises.tolist() == [100, 200]
    assert delays.tolist() == [12, 40]  # to the level, not to the way there


def test_a_change_before_or_at_a_rise_is_no_answer_to_it():
    for at, delays in ((100, []), (101, [1]), (199, [99]), (200, [])):
        data = Wire.of([(0, HIGH), (at, LOW)])
        assert data_delays(data, times(100, 200, 300), times())[1].tolist() == delays


def test_a_latch_in_between_may_be_the_cause():
    data = Wire.of([(0, HIGH), (150, LOW), (250, HIGH)])
    rises = times(100, 200, 300)
    assert data_delays(data, rises, times(140))[0].tolist() == [200]
    assert data_delays(data, rises, times(50, 350))[0].tolist() == [100, 200]


@given(st.lists(st.integers(0, 50), max_size=6), st.booleans())
def test_data_that_are_never_at_a_level_have_no_delay(moments, floating):
    """Whatever the clock does."""
    data = Wire.of([(0, X), *([(7, FLOATING)] if floating else [])])
    rises, delays = data_delays(data, times(*sorted(set(moments))), times())
    assert len(rises) == len(delays) == 0


def test_data_that_come_to_a_level_late_have_a_delay_from_then_on():
    data = Wire.of([(0, X), (250, LOW)])
    rises, delays = data_delays(data, times(100, 200, 300), times())
    assert (rises.tolist(), delays.tolist()) == ([200], [50])
    assert data_delays(Wire.of([(900, LOW)]), times(100, 200, 300), times())[0].tolist() == []


def test_the_longest_counts_and_what_just_meets_the_limit_holds():
    limit = Limit(100 * NS, (Source("this test", "assumed"),))
    for longest, verdict in ((100 * NS, "pass"), (100_001, "fail")):
        finding = held_to_most(DATA_DELAY, times(1, 2, 3), times(5, longest, 7), limit, "delay")
        assert (finding.verdict, finding.met.at_ps) == (verdict, 2)
        assert (ps(finding.measured), ps(finding.margin)) == (longest, 100 * NS - longest)
        assert finding.sources == limit.sources
    none = held_to_most(DATA_DELAY, times(), times(), limit, "delay")
    assert (none.verdict, none.says) == ("not-judged", "the capture shows no delay")


def test_a_level_that_is_kept_all_through():
    data = Wire.of([(0, LOW), (10, HIGH), (20, X), (30, LOW)])
    begin, end = times(0, 0, 9, 10, 10, 20, 30, 31), times(10, 11, 11, 20, 21, 30, 40, 31)
    still = [True, False, False, True, False, False, True, True]
    assert stands_still(data, begin, end).tolist() == still
