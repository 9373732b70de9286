"""Edges of scripted reads, at the console and at the pad."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from padbench.core.pad import LineDelays
from padbench.core.stimulus import PollTiming, ScriptedRead
from padbench.core.timeline import Wire
from padbench.model.driven import Line, console_edges, far_end

T = PollTiming(100, 50, 10, 30, 10)


def test_one_read_is_one_latch_and_eight_clocks():
    edges = console_edges([ScriptedRead(1000, T)])
    assert edges.latch == Line(0, [1000, 1100])
    assert edges.clock.start == 1
    assert edges.clock.times[:4] == [1150, 1160, 1190, 1200]
    assert len(edges.clock.times) == 16
    assert edges.samples == [1160 + 40 * n for n in range(8)]


def test_extra_clocks_come_before_the_stopped_bit_and_are_not_sampled():
    edges = console_edges([ScriptedRead(1000, T, stopped_bit=8, extra_clocks=2)])
    assert len(edges.clock.times) == 20
    assert len(edges.samples) == 8
    rises = edges.clock.times[1::2]
    assert [at for at in rises if at > edges.samples[6]] == [1440, 1460, edges.samples[7]]


def test_the_next_read_cuts_one_short():
    edges = console_edges([ScriptedRead(1000, T), ScriptedRead(1235, T)])
    assert edges.latch.times == [1000, 1100, 1235, 1335]
    before = [at for at in edges.clock.times if at <= 1240]
    assert before == [1150, 1160, 1190, 1200, 1230, 1235]
    assert [at for at in edges.samples if at < 1240] == [1160, 1200]


@pytest.mark.parametrize("start", [999, 1000, 1050, 1100])
def test_reads_out_of_order_are_refused(start):
    with pytest.raises(ValueError, match="read 2"):
        console_edges([ScriptedRead(1000, T), ScriptedRead(start, T)])


edge_times = st.lists(st.integers(1, 10_000), unique=True, max_size=20).map(sorted)


@given(edge_times, st.integers(0, 3000), st.integers(0, 3000), st.integers(0, 1))
def test_what_arrives_keeps_order_and_ends_at_the_same_level(times, rise, fall, start):
    got = far_end(Line(start, times), LineDelays(rise, fall))
    assert all(a < b for a, b in zip(got.times, got.times[1:], strict=False))
    assert got.start == start
    assert (len(got.times) - len(times)) % 2 == 0


@given(edge_times, st.integers(0, 3000))
def test_equal_delays_only_shift(times, delay):
    got = far_end(Line(0, times), LineDelays(delay, delay))
    assert list(got.times) == [at + delay for at in times]


def test_a_pulse_shorter_than_its_rise_never_arrives():
    assert far_end(Line(0, [100, 150]), LineDelays(60, 0)) == Line(0, [])


def test_an_edge_that_meets_the_next_one_cancels_out():
    assert far_end(Line(0, [100, 160]), LineDelays(60, 0)) == Line(0, [])
    assert far_end(Line(0, [100, 161]), LineDelays(60, 0)) == Line(0, [160, 161])


def test_a_line_that_nothing_lifts_stays_low():
    assert far_end(Line(1, [100, 150]), LineDelays(None, 0)) == Line(0, [])


def test_a_line_as_a_wire_ends_with_the_run():
    assert Line(1, [5, 8, 20]).wire(10) == Wire.of([(0, 1), (5, 0), (8, 1)])
    assert Line(0, [5]).inverted().wire(10) == Wire.of([(0, 1), (5, 0)])
