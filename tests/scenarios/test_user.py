"""Scenarios from a user's file."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.core.buttons import BUTTONS, byte_of
from padbench.scenarios.user import load_scenarios, scenarios_from_text
from padbench.sheet import STARTER, SheetError, load_sheet, sheet_from_text
from padbench.trials.trial import run_scenario, setting_of, try_sheet

SHEET = sheet_from_text(STARTER, "starter")
GOOD = """# my own
[[scenario]]
name = "first"
says = "Says so."
[[scenario.step]]
hold = ["A"]
[[scenario.step]]
hold = []
polls = 2

[[scenario]]
name = "second"
says = "Stopped."
passes = 2
serial-input = "supply"
[[scenario.step]]
hold = ["B"]
[[scenario.step]]
hold = ["Right"]
stopped-bit = 8
extra-clocks = 1
clocks = 8
"""


def played(text, name, port="push-pull"):
    return run_scenario(SHEET, scenarios_from_text(text, "own.toml")[name], port, "slow")


def test_steps_become_polls():
    result = played(GOOD, "first")
    assert [pair.byte for pair in result.reads] == [0x80, 0, 0]
    assert result.verdict == "pass"


def test_passes_and_serial_input_override_the_sheet():
    result = played(GOOD, "second")
    # At supply the lost last bit reads as released, so the passes differ and B is kept.
    assert [pair.byte for pair in result.reads] == [0x40, 0x40, 0x00, 0x01]
    assert result.accepted == (0x40, 0x40)
    assert result.verdict == "pass"


def test_an_expectation_of_the_user_is_held_against_the_pad():
    text = GOOD.replace('hold = ["A"]', 'hold = ["A"]\nexpect = ["A", "B"]')
    result = played(text, "first")
    assert result.verdict == "fail"
    assert "read A, expected A+B" in result.problems[0].says


@pytest.mark.no_cover
@settings(max_examples=30, deadline=None)
@given(st.lists(st.sets(st.sampled_from(BUTTONS)), min_size=1, max_size=5))
def test_any_list_of_states_is_read_back(states):
    steps = "".join(f"[[scenario.step]]\nhold = {sorted(names)!r}\n" for names in states)
    text = '[[scenario]]\nname = "x"\nsays = "y"\n' + steps
    assert [pair.byte for pair in played(text, "x").reads] == [byte_of(s) for s in states]


BROKEN = [
    ('hold = ["A"]', 'hold = ["Aa"]', 6, 'the nearest known is "A"'),
    ('hold = ["A"]', "hold = 3", 6, "hold"),
    ('hold = ["A"]', "", 5, "is missing"),
    ("polls = 2", "polls = 0", 9, "polls"),
    ("polls = 2", "polls = 99999999", 9, "polls"),
    ("polls = 2", "polls = 9000\nclocks = 64", 2, "keep a scenario to 200000 clocks"),
    ("polls = 2", "pols = 2", 9, 'nearest known is "polls"'),
    ('name = "first"', 'name = "First!"', 3, "name"),
    ('name = "second"', 'name = "first"', 12, "taken already"),
    ('name = "second"', 'name = "idle"', 12, "taken already"),
    ('says = "Says so."', "", 2, "is missing"),
    ("passes = 2", "passes = true", 14, "passes"),
    ('serial-input = "supply"', 'serial-input = "sky"', 15, "serial-input"),
    ("stopped-bit = 8\n", "", 18, "say which bit is stopped"),
    ("stopped-bit = 8", "stopped-bit = 9", 18, "from 1 to 8"),
    ("hold = []", "passes = 2\nhold = []", 8, "known are hold"),
    ("stopped-bit = 8", "stopped-bit = 65", 20, "stopped-bit"),
    (GOOD, "", None, "is empty"),
    (GOOD, "scenario = 3", 1, "scenario"),
    (GOOD, "[pad]", 1, "pad"),
    ("[[scenario]]", "[[scenario", 2, "TOML"),
]


@pytest.mark.parametrize(("old", "new", "line", "says"), BROKEN)
def test_a_broken_file_names_line_and_remedy(old, new, line, says):
    assert old in GOOD
    with pytest.raises(SheetError) as caught:
        scenarios_from_text(GOOD.replace(old, new, 1), "own.toml")
    lines = [str(problem) for problem in caught.value.problems]
    assert all("\n" not in text for text in lines)
    place = "own.toml" if line is None else f"own.toml:{line}:"
    assert any(text.startswith(place) and says in text for text in lines), lines


def test_a_file_has_a_limit_over_all_its_scenarios():
    one = '[[scenario]]\nname = "s{}"\nsays = "Many."\nstep = [{{ hold = [], polls = 9000 }}]\n'
    assert len(scenarios_from_text("".join(map(one.format, range(5))), "own.toml")) == 5
    with pytest.raises(SheetError) as caught:
        scenarios_from_text("".join(map(one.format, range(6))), "own.toml")
    assert "give 432000 clocks together; keep a file to 400000" in str(caught.value)


def test_places_are_said_as_their_author_would(tmp_path):
    text = GOOD.replace("polls = 2", "polls = 0").replace('name = "first"', 'name = "1"')
    with pytest.raises(SheetError) as caught:
        scenarios_from_text(text.replace('says = "Stopped."', ""), "own.toml")
    assert [problem.key for problem in caught.value.problems] == [
        'scenario "1", step 2, polls',
        'scenario "second", says',
    ]


def test_all_taken_names_are_reported_at_once():
    text = GOOD.replace('"first"', '"idle"').replace('"second"', '"held"')
    with pytest.raises(SheetError) as caught:
        scenarios_from_text(text, "own.toml")
    assert [(p.line, p.found) for p in caught.value.problems] == [(3, '"idle"'), (12, '"held"')]


def test_a_stopped_bit_gives_one_extra_clock_unless_said_otherwise():
    result = played(GOOD.replace("extra-clocks = 1\n", ""), "second")
    assert [len(pair.read.clock_rises) for pair in result.reads] == [8, 8, 9, 8]


def test_files(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(GOOD)
    assert list(load_scenarios(path)) == ["first", "second"]
    with pytest.raises(SheetError, match="directory"):
        load_scenarios(tmp_path)


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=60), st.integers(0, len(GOOD)), st.integers(0, 40))
def test_no_text_does_worse_than_a_sheet_error(extra, at, cut):
    problems = []
    try:
        scenarios_from_text(GOOD[:at] + extra + GOOD[at + cut :], "own.toml")
    except SheetError as error:
        problems = error.problems
    assert all("\n" not in str(problem) for problem in problems)


def test_the_example_scenarios_hold_for_the_good_sheet():
    sheets = Path(__file__).parents[2] / "sim" / "sheets"
    sheet = load_sheet(sheets / "harbour-b.toml")
    own = load_scenarios(sheets / "harbour-scenarios.toml")
    result = try_sheet(sheet, list(own.values()))
    assert result.verdict == "pass"
    assert len(result.runs) == 2


def test_a_scenario_that_is_too_long_with_a_sheet_is_told_before_it_is_played():
    text = '[[scenario]]\nname = "x"\nsays = "y"\n[[scenario.step]]\nhold = []\npolls = 9000\n'
    (scenario,) = scenarios_from_text(text, "own.toml").values()
    sheet = sheet_from_text(STARTER.replace("[poll]", "[poll]\nclocks = 32"), "pad.toml")
    setting = setting_of(sheet, sheet.works_with.ports[0], "fast")
    with pytest.raises(SheetError, match=r"own.toml:2: .* gives 288000 clocks in all with this"):
        scenario.build(setting)
