"""An inspection does not depend on how a capture falls into pieces, and forgets what is done."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.capture.findings import findings_of
from padbench.capture.inspect import inspect, settings_of_sheet, usual_settings
from padbench.capture.windows import TooMuch, windows
from padbench.scenarios import SCENARIOS
from padbench.sheet import STARTER, sheet_from_text
from padbench.trials import run_scenario
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


RAN = {n: run_scenario(SHEET, SCENARIOS[n], PORT, "slow") for n in ("stopped-any-bit", "cut-short")}


@settings(deadline=None, max_examples=15)
@given(st.sampled_from(sorted(RAN)), st.lists(st.floats(0, 1), max_size=30))
def test_pieces_make_no_difference(name, cuts):
    timeline = RAN[name].timeline
    one = inspect(pieces(timeline, [], sampled=False), usual_settings())
    at = {int(cut * timeline.end_ps) for cut in cuts}
    other = inspect(pieces(timeline, at, sampled=False), usual_settings())
    assert np.array_equal(one.rows, other.rows)
    assert one.measures == other.measures
    assert findings_of(one) == findings_of(other)


def test_stopped_reads_are_named_with_their_clock_and_what_became_of_the_last_button():
    seen = inspect(pieces(RAN["stopped-any-bit"].timeline, [], sampled=False), usual_settings())
    first = next(found for found in findings_of(seen) if found.id == "reads.extra-clock")
    assert first.verdict == "fail"
    assert first.says.startswith("read 1 has 9 clocks instead of 8: clock 1 is extra")
    assert "Right reads as pressed though it was not" in first.says


def _endless(latches):
    for number in range(2000):
        at = number * 10_000 + np.arange(10_000)
        level = (np.arange(10_000) % 2).astype(np.uint8)
        changes = {"clock": (at, level), "data": (at[:1], level[:1])}
        if number in latches:
            changes["latch"] = (at[5:7], np.array([1, 0], np.uint8))
        else:
            changes["latch"] = (at[:1], np.array([0], np.uint8))
        yield Piece(int(at[-1]), changes)


def test_a_latch_that_never_comes_again_does_not_fill_the_memory():
    with pytest.raises(TooMuch, match="name the latch and the clock"):
        list(windows(_endless({3})))


def test_what_comes_before_the_first_latch_is_let_go():
    kept = list(windows(_endless(set())))
    assert len(kept) == 1
    assert len(kept[0].timeline.wires["clock"].times) < 300_000
