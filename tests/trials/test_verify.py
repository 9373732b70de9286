"""The main job on whole sheets."""

from dataclasses import replace
from pathlib import Path

import pytest

from padbench.scenarios import SCENARIOS
from padbench.sheet import STARTER, load_sheet, sheet_from_text
from padbench.trials import scenario_run as kept_runs
from padbench.trials.trial import run_scenario, try_sheet

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"


@pytest.fixture(scope="module")
def revision_a():
    return try_sheet(load_sheet(SHEETS / "harbour-a.toml"))


@pytest.fixture(scope="module")
def revision_b():
    return try_sheet(load_sheet(SHEETS / "harbour-b.toml"))


def test_revision_b_passes_everything(revision_b):
    assert revision_b.verdict == "pass"
    assert {s.verdict for s in revision_b.runs} == {"pass"}
    assert [s.name for s in revision_b.runs] == list(SCENARIOS)


def test_revision_b_measures_every_rule(revision_b):
    timing = [f for f in revision_b.findings if f.id.startswith("timing.")]
    assert len(timing) == 12
    assert all(f.measured is not None and f.margin is not None for f in timing)


def test_revision_a_names_the_swapped_buttons(revision_a):
    says = next(f.says for f in revision_a.findings if f.id == "wiring.order")
    assert "Up and Down are swapped" in says
    read = next(s for s in revision_a.runs if s.name == "each-button")
    assert any("held Up, read Down" in p.says for p in read.problems)


def test_revision_a_has_its_other_faults(revision_a):
    failed = {f.id for f in revision_a.findings if f.verdict == "fail"}
    assert failed >= {
        "wiring.serial-input",
        "port.pull-down-only.latch",
        "port.pull-down-only.clock",
    }


def test_each_scenario_is_kept_once_and_each_run_is_counted():
    sheet = sheet_from_text(STARTER, "starter")
    kept, steps = [], []
    chosen = [SCENARIOS["idle"], SCENARIOS["held"]]
    try_sheet(sheet, chosen, step=lambda: steps.append(1), keep=lambda r: kept.append(r.name))
    assert kept == ["idle", "held"]
    assert len(steps) == 2 * 2 * 2


LOW = ('clock-low = "200 ns"', 'sample = "200 ns"')


@pytest.mark.parametrize(
    ("key", "old", "new", "id_"),
    [
        ("latch-width", '"100 ns"', None, "timing.latch-width"),
        ("clock-low", '"100 ns"', None, "timing.clock-low"),
        ("clock-high", '"150 ns"', None, "timing.clock-high"),
        (
            "latch-to-clock",
            '"1 ns"',
            ('clock-low = "200 ns"', 'sample = "200 ns"'),
            "timing.removal",
        ),
        ("sample", '"0.7 us"', None, "timing.sample-point"),
        ("clock-high", '"250 ns"', ('clock-low = "200 ns"',), "timing.later-bits"),
    ],
)
def test_a_poll_outside_the_limits_fails(key, old, new, id_):
    poll = ['use = "plain-loop"', f"{key} = {old}", *(new or ())]
    if key == "clock-low":
        poll.append('sample = "100 ns"')
    if key == "clock-high" and new:
        poll.append('sample = "200 ns"')
    text = STARTER[: STARTER.index("[poll]")] + "[poll]\n" + "\n".join(poll) + "\n"
    played = [SCENARIOS["each-button"]]
    result = try_sheet(sheet_from_text(text, "starter"), played, remedies=False)
    assert result.verdict == "fail"
    assert id_ in {f.id for f in result.findings if f.verdict == "fail"}


SHEETS_THAT = {
    "pass": {
        "slow-loop": ('use = "plain-loop"', 'use = "slow-loop"'),
        "two passes": ('use = "plain-loop"', 'use = "plain-loop"\npasses = 2'),
        "three passes": ('use = "plain-loop"', 'use = "plain-loop"\npasses = 3'),
        "thirty clocks": ('use = "plain-loop"', 'use = "plain-loop"\nclocks = 30'),
        "no pause, debounced": (
            *('use = "plain-loop"', 'use = "plain-loop"\nperiod = "63.6 us"'),
            *("[policy]", '[policy]\ndebounce = "5 ms"'),
        ),
        "no bounce": ('bounce = "5 ms"', 'bounce = "0 s"'),
        "quick bounce": ('bounce = "5 ms"', 'bounce = "1 us"'),
        "long bounce, debounced": (
            *('bounce = "5 ms"', 'bounce = "1 s"'),
            *("[policy]", '[policy]\ndebounce = "1 s"'),
        ),
        "9 m of cable": ('length = "2.5 m"', 'length = "9 m"'),
    },
    "fail": {
        "no pause": ('use = "plain-loop"', 'use = "plain-loop"\nperiod = "63.6 us"'),
        "four clocks": ('use = "plain-loop"', 'use = "plain-loop"\nclocks = 4'),
        "one clock": ('use = "plain-loop"', 'use = "plain-loop"\nclocks = 1'),
        "brisk on a line that a resistor lifts": ('use = "plain-loop"', 'use = "brisk"'),
        "15 m of cable": ('length = "2.5 m"', 'length = "15 m"'),
        "20 m of cable": ('length = "2.5 m"', 'length = "20 m"'),
        "weak resistors": ('-to-supply = "3.6k', '-to-supply = "47k'),
        "a wide tolerance on the latch": (
            'use = "plain-loop"',
            'use = "plain-loop"\nlatch-width = "200 ns ± 50 %"',
        ),
        "a clock too quick for the line": (
            'use = "plain-loop"',
            'use = "plain-loop"\nclock-low = "1 us"\nclock-high = "1.4 us"\nsample = "50 ns"',
        ),
        "a late sample": ('use = "plain-loop"', 'use = "plain-loop"\nsample = "5 us"'),
    },
}


@pytest.mark.no_cover
@pytest.mark.parametrize(
    ("verdict", "name"),
    [(verdict, name) for verdict, names in SHEETS_THAT.items() for name in names],
)
def test_unusual_sheets_are_judged_and_failures_have_a_finding(verdict, name):
    change = SHEETS_THAT[verdict][name]
    text = STARTER
    for old, new in zip(change[::2], change[1::2], strict=True):
        assert old in text
        text = text.replace(old, new)
    # The long scenarios show no more of these, and are played of the shipped sheets.
    long = ("all-states", "held", "stopped-any-bit")
    played = [scenario for key, scenario in SCENARIOS.items() if key not in long]
    result = try_sheet(sheet_from_text(text, "starter"), played, remedies=False)
    failed = [s.name for s in result.runs if s.verdict == "fail"]
    assert result.verdict == verdict, failed
    if failed:
        assert [f.id for f in result.findings if f.verdict == "fail"]


def test_waves_carry_what_was_held_and_read(revision_b):
    played = next(s for s in revision_b.runs if s.name == "each-button")
    assert set(played.timeline.words["console.byte"].values) == {
        None,
        *(1 << bit for bit in range(8)),
    }
    held = played.timeline.words["contacts.held"].values
    assert held == (0, *(128 >> place for place in range(8)))


def test_two_passes_a_poll_are_compared():
    text = STARTER.replace('use = "plain-loop"', 'use = "plain-loop"\npasses = 2')
    assert "passes = 2" in text
    result = try_sheet(sheet_from_text(text, "starter"), [SCENARIOS["each-button"]], remedies=False)
    assert result.verdict == "pass"
    assert result.runs[0].accepted == tuple(128 >> place for place in range(8))
    assert len(result.runs[0].reads) == 16


def test_levels_and_edges_are_judged_at_the_timings_of_a_routine():
    text = STARTER.replace('use = "plain-loop"', 'routine = "read-twice"')
    assert text != STARTER
    result = try_sheet(sheet_from_text(text, "starter"), [SCENARIOS["idle"]], remedies=False)
    limit = {f.id: f.limit for f in result.findings}["data.later-bits"]
    # 14 cycles of the CPU from one read of the port to the next, at 315/88/2 MHz (from memory).
    assert limit == pytest.approx(14e-6 / (315 / 88 / 2), rel=1e-3)


def test_a_run_plays_again_to_the_same_wires():
    sheet = load_sheet(SHEETS / "harbour-b.toml")
    run = run_scenario(sheet, SCENARIOS["stopped-last-bit"], "pull-down-only", "slow")
    first = run.played
    run.let_go()
    again = run.played
    assert again is not first
    assert again.timeline == first.timeline
    assert again.reads == first.reads
    assert len(again.reads) == run.count


def test_wires_of_a_few_runs_only_are_kept():
    sheet = load_sheet(SHEETS / "harbour-b.toml")
    own = [replace(SCENARIOS["idle"], name=f"idle-{number}") for number in range(40)]
    trial = try_sheet(sheet, own, remedies=False)
    assert len(trial.runs) == 40
    assert len(kept_runs._kept) <= kept_runs._MOST_KEPT < 40
    assert trial.runs[0].reads[0].byte == 0


def test_what_reads_nothing_shows_no_byte_and_works_on_no_port():
    # The 74HC165 loads while its load pin is low, so with the latch as it is no bit ever stands.
    text = STARTER.replace('part = "CD4021B"', 'part = "74HC165"')
    trial = try_sheet(sheet_from_text(text, "starter"), [SCENARIOS["idle"]], remedies=False)
    assert {"wiring.load"} <= {one.id for one in trial.findings if one.verdict == "fail"}
    assert all(row.fails[0] == "wiring.load" for row in trial.ports)
    bare = STARTER.replace('to-supply = "3.6k ± 5 %"', 'to-supply = "absent"')
    run = run_scenario(sheet_from_text(bare, "bare"), SCENARIOS["idle"], "pull-down-only", "slow")
    assert {pair.read.undecided for pair in run.reads} == {0xFF}
    assert set(run.timeline.words["console.byte"].values) == {None}


def test_a_bit_at_no_level_is_not_said_to_have_been_read():
    """In the words of its wave: without pull-ups only the contact that is held has a level."""
    text = (SHEETS / "harbour-b.toml").read_text().replace('"39k ± 5 %"', '"absent"')
    bare = sheet_from_text(text, "bare")
    run = run_scenario(bare, SCENARIOS["each-button"], "push-pull", "fast")
    assert run.problems[0].says == (
        "read 1 of 8: held A, read A, B+Select+Start+Up+Down+Left+Right undecided"
    )
    assert run.problems[1].says == (
        "read 2 of 8: held B, read B, A+Select+Start+Up+Down+Left+Right undecided"
    )
    idle = run_scenario(bare, SCENARIOS["idle"], "push-pull", "fast")
    assert {one.says[13:] for one in idle.problems} == {"held nothing, all eight bits undecided"}
