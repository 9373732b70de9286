"""The packed wave says what the timeline says, and stays small."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.core.findings import Finding, Met, Rule
from padbench.core.timeline import Timeline, Wire
from padbench.parts import console_timing
from padbench.results.frame import frame_at, frame_of
from padbench.results.wave_data import Wave, marks_of, wave_object, wave_of, whole_run
from padbench.sheet import SheetError, load_sheet, sheet_from_text
from padbench.trials.scenario_run import Played, ScenarioRun

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"


def run_of(timeline: Timeline, findings: tuple[Finding, ...] = ()) -> ScenarioRun:
    played = Played(timeline, ())
    return ScenarioRun("x", "x", "slow", "push-pull", (), (), findings, 0, lambda: played)


def times_of(text: str) -> list[int]:
    """Read back by Python's own reader of base 36."""
    return np.cumsum([int(part, 36) for part in text.split()]).tolist()


edges = st.lists(st.tuples(st.integers(0, 10**12), st.integers(0, 3)), min_size=1, max_size=40).map(
    sorted
)


@given(edges, st.integers(1, 5000))
@settings(deadline=None)
def test_any_wire_comes_back(changes, scale):
    wire = Wire.of([(at * scale, level) for at, level in changes])
    found = wave_object(Wave(Timeline(10**12 * scale, {"cable.data": wire}), []))
    ((name, levels, gaps),) = found["rows"]
    assert name == "data"
    assert [at * found["unit"] for at in times_of(gaps)] == wire.times.tolist()
    assert list(map(int, levels)) == wire.levels.tolist()
    assert found["end"] * found["unit"] == 10**12 * scale


def test_256_reads_take_less_than_200_kb(page_of):
    run = next(run for run in page_of("harbour-b")[1].runs if run.name == "all-states")
    assert len(json.dumps(wave_object(wave_of(run)))) < 200_000


def test_a_broken_rule_is_marked_where_its_worst_was_met(page_of):
    rule = Rule("timing.x", "s", dict.fromkeys(("pass", "fail"), "too short"))
    found = Finding(rule, "fail", 1e-9, 2e-9, -1e-9, Met(scenario="idle", at_ps=12_345_000))
    line = Timeline(20_000_000, {"cable.data": Wire.of([(0, 1)])})
    assert marks_of(run_of(line, (found,))) == [(12_345_000, "too short")]
    whole = run_of(line, (replace(found, met=Met()),))
    assert marks_of(whole) == []
    assert whole_run(whole) == ["too short"]
    assert whole_run(run_of(line, (found,))) == []
    assert marks_of(run_of(line, (replace(found, verdict="pass"),))) == []
    # Up and Down are swapped: where Up is held, the fifth bit is the first that is wrong.
    run = next(run for run in page_of("harbour-a")[1].runs if run.name == "each-button")
    assert [at for at, _ in marks_of(run)] == [
        run.reads[4].read.samples[4],
        run.reads[5].read.samples[4],
    ]
    assert [says for _, says in wave_of(run).notes] == [
        "wrong bit: Up reads released",
        "wrong bit: Up reads pressed",
    ]


def test_a_quiet_run_opens_where_something_happens(page_of):
    runs = {run.name: run for run in page_of("harbour-b")[1].runs}
    bounce = wave_of(runs["bounce"])
    contact = bounce.timeline.wires["contacts.Start"].times[1:]
    assert bounce.opens[0] < contact[0] < bounce.opens[1]
    assert {says for _, says in bounce.notes} == {"Start bounces"}
    assert {at for at, _ in bounce.notes} <= set(contact.tolist())
    between = wave_of(runs["press-between-polls"])
    assert [says for _, says in between.notes] == ["Start closes and opens between reads"]
    cut = wave_of(runs["cut-short"])
    reads = [pair.read for pair in runs["cut-short"].reads]
    short = next(place for place, read in enumerate(reads) if read.cut_short)
    assert cut.notes == [(reads[short + 1].start_ps, "a new latch cuts the read short")]
    # One more fall of the clock before a sample than the sample's own.
    stopped = runs["stopped-last-bit"]
    ((at, says),) = wave_of(stopped).notes
    read = next(pair.read for pair in stopped.reads if len(pair.read.clock_falls) == 9)
    assert (at, says) == (read.clock_falls[7], "extra clock")
    assert wave_of(runs["idle"]).notes == []


@pytest.mark.parametrize("passes", [1, 2])
def test_the_poll_in_the_frame_is_as_long_as_its_pulses(page_of, passes):
    """Harbour B polls with plain-loop: one scan line is 63.6 µs (341/3 cycles of 1.79 MHz)."""
    _, result = page_of("harbour-b")
    sheet = load_sheet(SHEETS / "harbour-b.toml")
    poll = sheet.poll.model_copy(update={"passes": passes})
    frame = frame_of(sheet.model_copy(update={"poll": poll}), result.runs)
    reads = [pair.read for pair in result.runs[0].reads[:passes]]
    took = (reads[-1].clock_rises[-1] - reads[0].start_ps) / 1e6
    assert frame is not None
    assert frame.microseconds == pytest.approx(took)
    assert frame.span.lines == pytest.approx(took / 63.556, rel=0.01)
    assert (frame.span.first_line, frame.given) == (241, False)
    assert frame.share == pytest.approx(min(1, frame.span.lines / 262))
    # Two reads a frame apart fill a whole one, which then is drawn in two pieces.
    assert sum(share for _, share in frame.parts) == pytest.approx(frame.share)
    assert [start for start, _ in frame.parts] == pytest.approx([241 / 262, 0][:passes])


def test_a_poll_begins_at_the_line_that_the_sheet_names(page_of):
    _, result = page_of("harbour-b")
    text = (SHEETS / "harbour-b.toml").read_text(encoding="utf-8")
    at = {
        line: frame_of(
            sheet_from_text(text.replace("[poll]", f"[poll]\nline = {line}"), "x"),
            result.runs,
        )
        for line in (10, 261)
    }
    assert (at[10].span.first_line, at[10].given, at[10].span.picture) == (10, True, True)
    assert at[261].span.picture is False
    assert (at[261].span.first_line, at[261].span.last_line) == (261, 261)
    # Begun in the last line and longer, it ends in the next frame.
    twice = frame_at(console_timing("60hz"), 261, 2 * 63.5e6)
    assert twice.span.wraps
    assert twice.parts[0] == pytest.approx((261 / 262, 1 / 262))
    assert twice.parts[1] == pytest.approx((0, twice.share - 1 / 262))
    with pytest.raises(SheetError, match=r"poll\.line: 262 is beyond the last line of the 60hz"):
        sheet_from_text(text.replace("[poll]", "[poll]\nline = 262"), "x")
