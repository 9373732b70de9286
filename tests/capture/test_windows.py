"""An inspection does not depend on how a capture falls into pieces, and forgets what is done."""

from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.capture import windows as capture_windows
from padbench.capture.inspect import inspect, settings_of_sheet, usual_settings
from padbench.capture.judging import findings_of
from padbench.capture.windows import TooMuch, windows
from padbench.scenarios import SCENARIOS
from padbench.sheet import STARTER, sheet_from_text
from padbench.trials.trial import run_scenario
from padbench.waveio import Piece

SHEET = sheet_from_text(STARTER, "starter.toml")
PORT = SHEET.works_with.ports[0]


def pieces(timeline, cuts, *, sampled):
    """The wires as a reader hands them on, cut at these times."""
    names = {"latch": "console.latch", "clock": "console.clock", "data": "cable.data"}
    bounds = [-1, *sorted(cuts), timeline.end_ps]
    for begin, end in pairwise(bounds):
        changes = {}
        for role, name in names.items():
            wire = timeline.wires[name]
            own = (wire.times > begin) & (wire.times <= end)
            changes[role] = (wire.times[own], wire.levels[own])
        moments = timeline.events["console.sample"]
        events = {"sample": moments[(moments > begin) & (moments <= end)]} if sampled else {}
        yield Piece(end, changes, events)


@pytest.mark.parametrize("corner", ["fast", "slow"])
@pytest.mark.parametrize("name", SCENARIOS)
def test_every_scenario_is_read_as_the_console_read_it(name, corner):
    """With the console's samples, and without them as on a scope."""
    ran = run_scenario(SHEET, SCENARIOS[name], PORT, corner)
    for sampled in (True, False):
        stream = pieces(ran.timeline, [], sampled=sampled)
        seen = inspect(stream, settings_of_sheet(SHEET, PORT))
        got = [(read.start_ps, read.byte, read.undecided) for read in seen.reads()]
        assert got == [(p.read.start_ps, p.read.byte, p.read.undecided) for p in ran.reads]


@cache
def slow(name):
    return run_scenario(SHEET, SCENARIOS[name], PORT, "slow").timeline


@settings(deadline=None, max_examples=8)
@given(st.sampled_from(("stopped-any-bit", "cut-short")), st.lists(st.floats(0, 1), max_size=30))
def test_pieces_make_no_difference(name, cuts):
    timeline = slow(name)
    one = inspect(pieces(timeline, [], sampled=False), usual_settings())
    at = {int(cut * timeline.end_ps) for cut in cuts}
    other = inspect(pieces(timeline, at, sampled=False), usual_settings())
    assert np.array_equal(one.rows, other.rows)
    assert one.measures == other.measures
    assert findings_of(one) == findings_of(other)


def test_stopped_reads_are_named_with_their_clock_and_what_became_of_the_last_button():
    seen = inspect(pieces(slow("stopped-any-bit"), [], sampled=False), usual_settings())
    first = next(found for found in findings_of(seen) if found.id == "reads.extra-clock")
    assert first.verdict == "fail"
    assert first.says.startswith("read 1 has 9 clocks instead of 8: clock 1 is extra")
    assert "Right reads as pressed though it was not" in first.says


def _endless(latches):
    for number in range(200):
        at = number * 10_000 + np.arange(10_000)
        level = (np.arange(10_000) % 2).astype(np.uint8)
        changes = {"clock": (at, level), "data": (at[:1], level[:1])}
        if number in latches:
            changes["latch"] = (at[5:7], np.array([1, 0], np.uint8))
        else:
            changes["latch"] = (at[:1], np.array([0], np.uint8))
        yield Piece(int(at[-1]), changes)


def test_a_latch_that_never_comes_again_does_not_fill_the_memory(monkeypatch):
    monkeypatch.setattr(capture_windows, "MOST_CHANGES", 1 << 20)
    with pytest.raises(TooMuch, match="name the latch and the clock"):
        list(windows(_endless({3})))


def test_what_comes_before_the_first_latch_is_let_go():
    kept = list(windows(_endless(set())))
    assert len(kept) == 1
    assert len(kept[0].timeline.wires["clock"].times) < 300_000


US, FRAME_PS = 10**6, 100 * 10**6
STARTS = [n * FRAME_PS + 20 * US for n in range(4)]


def poll(extra=()):
    """Four reads; ``extra`` has more edges, as (line, read before whose latch, picoseconds)."""
    wires = {"latch": [(0, 0)], "clock": [(0, 1)], "data": [(0, 1)]}
    for start in STARTS:
        wires["latch"] += [(start, 1), (start + 9 * US, 0)]
        for bit in range(8):
            fall = start + (14 + 6 * bit) * US
            wires["clock"] += [(fall, 0), (fall + US, 1)]
            wires["data"].append((fall + US + 200_001, bit % 2))
    for line, read, begin, length, level in extra:
        at = STARTS[read] + begin
        back = 1 if line == "clock" else 0
        wires[line] += [(at, level), (at + length, back)]
    return {name: sorted(some) for name, some in wires.items()}


def streamed(wires, cuts):
    end = 4 * FRAME_PS + 50 * US
    for begin, stop in pairwise([-1, *sorted(cuts), end]):
        changes = {}
        for name, some in wires.items():
            own = [(t, v) for t, v in some if begin < t <= stop]
            changes[name] = (
                np.asarray([t for t, _ in own], np.int64),
                np.asarray([v for _, v in own], np.uint8),
            )
        yield Piece(stop, changes)


EACH = [start + 30_000 for start in STARTS]
"""Pieces that end just after a latch has come, so that each read is a window of its own."""


@pytest.mark.parametrize("read", [1, 2, 3])
def test_what_is_measured_across_the_border_of_windows_is_not_lost(read):
    """A clock that rises before the latch and falls just after it: high for 120 ns only."""
    spikes = [("clock", read, -1_060_000, 1_000_000, 0), ("clock", read, 60_000, 500_000, 0)]
    whole = inspect(streamed(poll(spikes), []), usual_settings())
    found = next(f for f in findings_of(whole) if f.id == "timing.clock-high")
    assert (found.verdict, found.measured) == ("fail", pytest.approx(120e-9))
    other = inspect(streamed(poll(spikes), EACH), usual_settings())
    assert findings_of(other) == findings_of(whole)


@pytest.mark.parametrize("read", [1, 2, 3])
@pytest.mark.parametrize("begin", [-40_000, -90_000, -130_000, 10_000])
def test_a_pulse_near_the_border_of_windows_is_counted_once(read, begin):
    wires = poll([("clock", read, begin, 90_000, 0)])
    for cuts in ([], EACH, [STARTS[read] - 20_000, STARTS[read] + 10_000]):
        result = inspect(streamed(wires, cuts), usual_settings())
        assert result.glitches == (1, (STARTS[read] + begin,))


@pytest.mark.parametrize("read", [1, 2, 3])
def test_a_runt_near_the_border_of_windows_is_counted_once(read):
    wires = poll([("clock", read, -700_000, 800_000, 2)])
    for cuts in ([], EACH, [STARTS[read] - 20_000, STARTS[read] + 10_000]):
        result = inspect(streamed(wires, cuts), usual_settings())
        assert result.runts["clock"] == (1, (STARTS[read] - 700_000,))


@pytest.mark.parametrize("read", [1, 2, 3])
def test_a_runt_that_belongs_to_an_edge_beyond_the_border_is_none(read):
    """To and fro before an edge is what hysteresis is there for."""
    wires = poll([("clock", read, -200_000, 50_000, 2), ("clock", read, 100_000, 900_000, 0)])
    for cuts in ([], EACH):
        result = inspect(streamed(wires, cuts), usual_settings())
        assert result.runts["clock"] == (0, ())


spikes = st.lists(
    st.tuples(
        st.just("clock"),
        st.integers(1, 3),
        st.integers(-2_000_000, 2_000_000),
        st.integers(10_000, 3_000_000),
        st.sampled_from([0, 2]),
    ),
    max_size=1,
)


@settings(deadline=None, max_examples=60)
@given(spikes, st.lists(st.sampled_from(STARTS[1:]), max_size=6), st.integers(-100_000, 100_000))
def test_pieces_make_no_difference_near_a_latch(extra, near, off):
    wires = poll(extra)
    whole = inspect(streamed(wires, []), usual_settings())
    other = inspect(streamed(wires, {at + off for at in near}), usual_settings())
    assert (other.runts, other.glitches) == (whole.runts, whole.glitches)
    assert findings_of(other) == findings_of(whole)
