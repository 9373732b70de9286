"""The shipped scenarios: there under their names, and each able to catch what it is for."""

from dataclasses import replace

import pytest

from padbench.core.decode import decode
from padbench.core.findings import Source
from padbench.core.limits import Limit
from padbench.core.pad import LineDelays, PadModel
from padbench.core.stimulus import ScriptedRead
from padbench.core.timing import judge_timing
from padbench.model.simulation import simulate
from padbench.scenarios import SCENARIOS
from padbench.scenarios.script import Setting
from padbench.scenarios.timetable import extra_clocks_at_pad
from padbench.sheet import STARTER, sheet_from_text
from padbench.trials.trial import run_scenario

PROMISED = {
    "idle",
    "each-button",
    "all-states",
    "held",
    "opposite-directions",
    "stopped-last-bit",
    "stopped-any-bit",
    "read-twice-rejects",
    "past-the-end",
    "cut-short",
    "bounce",
}

SHEET = sheet_from_text(STARTER, "starter")


@pytest.fixture(scope="module")
def setting(limits, timing):
    return Setting(PadModel(limits, answer=500_000), timing, 16_639_000_000, 5_000_000_000)


def run(name, port="push-pull", corner="slow", **tables):
    """A scenario on the starter sheet with some tables changed."""
    changed = {
        table: getattr(SHEET, table).model_copy(update=values) for table, values in tables.items()
    }
    return run_scenario(SHEET.model_copy(update=changed), SCENARIOS[name], port, corner)


def test_the_promised_names_are_there():
    assert set(SCENARIOS) >= PROMISED


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_scenario_says_what_it_is(name):
    assert SCENARIOS[name].says.endswith(".")


@pytest.mark.parametrize("name", SCENARIOS)
@pytest.mark.parametrize("corner", ["fast", "slow"])
@pytest.mark.parametrize("port", ["push-pull", "pull-down-only"])
def test_a_good_pad_passes(name, port, corner):
    assert run(name, port, corner).problems == ()


@pytest.mark.parametrize("policy", ["both", "neither", "newer", "older"])
def test_opposite_directions_under_each_policy(policy):
    result = run("opposite-directions", policy={"opposite_directions": policy})
    assert result.problems == ()
    bytes_read = [pair.byte for pair in result.reads]
    both_seen = any(byte & 0b1100 == 0b1100 or byte & 0b11 == 0b11 for byte in bytes_read)
    assert both_seen == (policy == "both")


def test_held_is_sixty_polls(setting):
    script = SCENARIOS["held"].build(setting)
    assert sum(expected.held == 0x40 for expected in script.expected) == 60


def test_all_states_are_all(setting):
    script = SCENARIOS["all-states"].build(setting)
    assert sorted(expected.held for expected in script.expected) == list(range(256))


def test_the_stopped_last_bit_is_a_press_that_never_happened():
    result = run("stopped-last-bit")
    stopped = [pair for pair in result.reads if len(pair.read.clock_rises) == 9]
    assert [(pair.byte, pair.expected.held) for pair in stopped] == [(0x01, 0x00)]


def test_with_the_serial_input_at_supply_it_is_not():
    result = run("stopped-last-bit", chip={"serial_input": "supply"})
    assert result.problems == ()
    assert [pair.byte for pair in result.reads] == [0, 0, 0]


def test_read_twice_keeps_what_it_had():
    result = run("read-twice-rejects")
    assert result.accepted == (0x00, 0x00, 0x00, 0x00, 0x80)
    assert [pair.byte for pair in result.reads[2:4]] == [0x01, 0x00]


def test_a_press_between_polls_is_never_seen():
    assert [pair.byte for pair in run("press-between-polls").reads] == [0, 0]


def test_a_press_inside_the_latch_is_seen_in_that_read():
    assert [pair.byte for pair in run("press-in-latch").reads] == [0x00, 0x10, 0x10]


def test_a_press_after_the_latch_waits():
    assert [pair.byte for pair in run("press-after-latch").reads] == [0x00, 0x00, 0x10]


def test_a_press_within_the_set_up_time_is_caught_as_such():
    result = run("press-before-latch-ends")
    assert result.reads[1].read.undecided == 0x10
    assert all(found.id != "timing.setup-parallel" for found in result.findings)


FAULTS = [
    ("each-button", {"buttons": {**SHEET.buttons, "Up": 3, "Down": 4}}),
    ("idle", {"chip": {"part": "MC14014B"}}),
    ("each-button", {"chip": {"latch_inverted": True}}),
    ("idle", {"pull_up": {"value": None}}),
    ("past-the-end", {"chip": {"serial_input": "open"}}),
    ("each-button", {"chip": {"part": "74HC165"}}),
    ("all-states", {"chip": {"stages": 7}}),
    ("each-button", {"buttons": {k: v for k, v in SHEET.buttons.items() if k != "B"}}),
]


@pytest.mark.parametrize(("name", "fault"), FAULTS)
def test_a_fault_is_caught(name, fault):
    buttons = fault.get("buttons")
    if buttons is None:
        assert run(name, **fault).verdict == "fail"
        return
    sheet = SHEET.model_copy(update={"buttons": buttons})
    assert run_scenario(sheet, SCENARIOS[name], "push-pull", "slow").verdict == "fail"


def test_a_74hc165_with_the_latch_inverted_is_good():
    assert run("all-states", chip={"part": "74HC165", "latch_inverted": True}).verdict == "pass"


@pytest.mark.parametrize("line", ["latch_to_supply", "clock_to_supply"])
def test_a_missing_resistor_is_caught_on_a_port_that_only_pulls_down(line):
    missing = {"resistors": {line: None}}
    assert run("each-button", "pull-down-only", **missing).verdict == "fail"
    assert run("each-button", "push-pull", **missing).verdict == "pass"


def test_extra_clocks_quicker_than_the_register_follows_are_open(setting):
    slow = replace(
        setting.pad.limits, clock_period=Limit(1_200_000, (Source("chained", "from memory"),))
    )
    read = ScriptedRead(0, setting.timing, 3, 2)
    assert extra_clocks_at_pad(setting.pad, read) == 2
    assert extra_clocks_at_pad(replace(setting.pad, limits=slow), read) is None


def test_a_press_in_a_short_latch_keeps_the_set_up_time(setting):
    limits = replace(
        setting.pad.limits, setup_parallel=Limit(100_000, (Source("from memory", "from memory"),))
    )
    short = replace(
        setting,
        pad=replace(setting.pad, limits=limits, answer=0),
        timing=replace(setting.timing, latch_width=170_000),
    )
    script = SCENARIOS["press-in-latch"].build(short)
    timeline = simulate(short.pad, script.stimulus)
    judged = {f.id: f for f in judge_timing(timeline, decode(timeline), limits)}
    assert judged["timing.setup-parallel"].measured == pytest.approx(100e-9)
    assert "timing.setup-parallel" not in script.tolerates


@pytest.mark.parametrize(
    ("rise", "arriving"), [(None, 0), (0, 2), (100_000, 2), (400_000, None), (600_000, 0)]
)
def test_extra_clocks_on_a_line_that_rises_slowly(setting, rise, arriving):
    pad = replace(setting.pad, clock_line=LineDelays(rise, 0))
    assert extra_clocks_at_pad(pad, ScriptedRead(0, setting.timing, 3, 2)) == arriving
