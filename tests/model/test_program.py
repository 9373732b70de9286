"""Edges of scripted reads, at the console and at the pad."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from padbench.model.port import far_end
from padbench.model.program import console_edges
from padbench.pad import LineDelays
from padbench.stimulus import PollTiming, ScriptedRead

T = PollTiming(100, 50, 10, 30, 10)


def test_one_read_is_one_latch_and_eight_clocks():
    edges = console_edges([ScriptedRead(1000, T)])
    assert edges.latch.edges == [(1000, 1), (1100, 0)]
    assert edges.clock.edges[:4] == [(1150, 0), (1160, 1), (1190, 0), (1200, 1)]
    assert len(edges.clock.edges) == 16
    assert edges.samples == [1160 + 40 * n for n in range(8)]


def test_extra_clocks_come_before_the_stopped_bit_and_are_not_sampled():
    edges = console_edges([ScriptedRead(1000, T, stopped_bit=8, extra_clocks=2)])
    assert len(edges.clock.edges) == 20
    assert len(edges.samples) == 8
    extra = [at for at, level in edges.clock.edges if level and edges.samples[6] < at]
    assert extra == [1440, 1460, edges.samples[7]]


def test_the_next_read_cuts_one_short():
    edges = console_edges([ScriptedRead(1000, T), ScriptedRead(1235, T)])
    assert edges.latch.edges == [(1000, 1), (1100, 0), (1235, 1), (1335, 0)]
    before = [edge for edge in edges.clock.edges if edge[0] <= 1240]
    assert before == [(1150, 0), (1160, 1), (1190, 0), (1200, 1), (1230, 0), (1235, 1)]


@pytest.mark.parametrize("start", [999, 1000, 1050])
def test_reads_out_of_order_are_refused(start):
    with pytest.raises(ValueError, match="read"):
        console_edges([ScriptedRead(1000, T), ScriptedRead(start, T)])


edge_times = st.lists(st.integers(1, 10_000), unique=True, max_size=20).map(sorted)


@given(edge_times, st.integers(0, 3000), st.integers(0, 3000), st.integers(0, 1))
def test_what_arrives_alternates_and_keeps_order(times, rise, fall, start):
    sent = [(at, (n + 1 + start) % 2) for n, at in enumerate(times)]
    level, got = far_end(sent, LineDelays(rise, fall), start)
    assert all(a[0] < b[0] for a, b in zip(got, got[1:], strict=False))
    for _, now in got:
        assert now != level
        level = now
    if sent:
        assert level == sent[-1][1]


@given(edge_times, st.integers(0, 3000))
def test_equal_delays_only_shift(times, delay):
    sent = [(at, (n + 1) % 2) for n, at in enumerate(times)]
    assert far_end(sent, LineDelays(delay, delay), 0)[1] == [(at + delay, v) for at, v in sent]


def test_a_pulse_shorter_than_its_rise_never_arrives():
    assert far_end([(100, 1), (150, 0)], LineDelays(60, 0), 0) == (0, [])


def test_a_line_that_nothing_lifts_stays_low():
    assert far_end([(100, 0), (150, 1)], LineDelays(None, 0), 1) == (0, [])
