"""Times of scripted reads, by arithmetic."""

import numpy as np
import pytest

from padbench.core.stimulus import CUT_AFTER, PollTiming, ScriptedRead, cut_away, until_cut

T = PollTiming(latch_width=100, latch_to_clock=50, clock_low=10, clock_high=31, sample=10)


def test_a_read_lasts_from_its_latch_to_the_end_of_its_last_clock():
    assert T.length == 100 + 50 + 8 * 41
    assert T.with_clocks(3).length == 100 + 50 + 3 * 41
    assert ScriptedRead(7, T).length == T.length


@pytest.mark.parametrize(
    ("extra", "pulse"),
    [({}, (10, 10)), ({"extra_low": 4}, (4, 10)), ({"extra_high": 6}, (10, 6))],
)
def test_an_extra_clock_is_as_long_as_a_low_part_unless_said(extra, pulse):
    timing = PollTiming(100, 50, 10, 31, 10, **extra)
    assert timing.extra_pulse == pulse
    assert ScriptedRead(0, timing, 3, 2).length == timing.length + 2 * sum(pulse)


def test_a_read_is_cut_in_the_middle_of_the_high_part_of_its_third_clock():
    """In whole picoseconds, and for many designs at once as for one."""
    assert CUT_AFTER == 3
    assert (cut_away(31), cut_away(30)) == (15, 15)
    assert until_cut(50, 10, 31) == 50 + 2 * 41 + 10 + 16
    assert until_cut(*np.array([[50.0], [10.0], [31.0]])).tolist() == [158]


def test_a_read_is_stopped_only_where_it_says_so():
    read = ScriptedRead(0, PollTiming(100, 50, 10, 31, 10))
    assert (read.stopped_bit, read.extra_clocks, read.serial) == (0, 0, "as built")
