"""A sheet of a program on a microcontroller."""

import json

import pytest

from padbench.circuit.electric import judge_electric
from padbench.cli import main
from padbench.scenarios import SCENARIOS
from padbench.sheet import STARTER, SheetError, sheet_from_text
from padbench.trials.trial import run_scenario, try_sheet

PART = STARTER[STARTER.index('part = "CD4021B"') : STARTER.index("stages = 8")]
TIMES = {"first-bit": "2 us to 5 us", "next-bit": "1 us to 3 us", "shortest-pulse": "300 ns"}


def text(poll="plain-loop", **times):
    lines = "".join(f'{key} = "{value}"\n' for key, value in (TIMES | times).items())
    made = STARTER.replace(PART, 'kind = "firmware"\n' + lines)
    return made.replace('use = "plain-loop"', f'use = "{poll}"')


def found(made):
    return {one.id: one for one in judge_electric(sheet_from_text(made, "f")).findings}


def test_a_program_that_is_quick_enough():
    findings = found(text())
    assert findings["firmware.poll"].verdict == "pass"
    assert "works with plain-loop, slow-loop" in findings["firmware.poll"].says
    first, later = findings["data.first-bit"].measured, findings["data.later-bits"].measured
    assert first - later == pytest.approx(2e-6)
    assert 3e-6 < later < 3e-6 + 1.5e-6


def test_a_program_that_is_too_slow_for_the_next_bit():
    findings = found(text(**{"next-bit": "1 us to 8 us"}))
    assert findings["firmware.poll"].verdict == "fail"
    assert findings["firmware.poll"].says.count("works with slow-loop;")
    assert findings["data.later-bits"].verdict == "fail"


def test_a_program_that_misses_the_clock():
    findings = found(text(**{"shortest-pulse": "900 ns"}))
    assert findings["clock.low-pulse"].verdict == "fail"
    assert "the sheet says so" in findings["clock.low-pulse"].source


@pytest.mark.parametrize(("times", "verdict"), [({}, "pass"), ({"next-bit": "8 us"}, "fail")])
def test_the_worst_case_is_simulated(times, verdict):
    result = try_sheet(sheet_from_text(text(**times), "f"), [SCENARIOS["each-button"]])
    assert result.runs[0].verdict == verdict
    assert result.verdict == verdict


@pytest.mark.parametrize(
    ("made", "says"),
    [
        (text().replace('next-bit = "1 us to 3 us"\n', ""), "register.next-bit: is missing"),
        (text(**{"next-bit": "3 us to 1 us"}), "not a time and a longer one"),
        (text(**{"next-bit": "0 s"}), "not between 1 ps and 1 s"),
        (text(**{"next-bit": "3"}), "no unit"),
        (text().replace('kind = "firmware"', 'kind = "firmware"\npart = "CD4021B"'), "beside"),
        (text().replace('kind = "firmware"', 'part = "firmware"'), "no known register part"),
        (STARTER.replace("stages = 8", 'next-bit = "1 us"\nstages = 8'), "for a firmware only"),
    ],
)
def test_what_is_refused(made, says):
    with pytest.raises(SheetError) as caught:
        sheet_from_text(made, "f")
    assert says in str(caught.value)


def test_there_is_nothing_to_wire(tmp_path, capsys):
    sheet = tmp_path / "f.toml"
    sheet.write_text(text())
    assert main(["wiring", str(sheet)]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert main(["verify", str(sheet), "--no-waves", "--json"]) in (0, 1)
    assert json.loads(capsys.readouterr().out)["findings"]


def run(made, names=("each-button",)):
    result = try_sheet(sheet_from_text(made, "f"), [SCENARIOS[name] for name in names])
    return result, {one.id: one for one in result.findings}


def late(sample):
    """A console that looks after the clock has risen again, as some do."""
    return text().replace('use = "plain-loop"', f'use = "plain-loop"\nsample = "{sample}"')


@pytest.mark.parametrize(
    ("sample", "verdict"),
    [("0.56 us", "pass"), ("1.55 us", "pass"), ("1.57 us", "fail"), ("3 us", "fail")],
)
def test_its_shortest_answer_is_simulated_too(sample, verdict):
    # The bit before stands for 1 us after the clock's rise, and the clock is low for 0.56 us.
    result, findings = run(late(sample))
    assert findings["timing.sample-point"].verdict == verdict
    assert result.runs[0].verdict == verdict
    assert findings["timing.sample-point"].limit == pytest.approx(-1e-6)
    assert "the sheet says so" in findings["timing.sample-point"].source


def test_a_late_sample_meets_the_next_bit_in_the_wave_of_the_shortest_answer():
    made = sheet_from_text(late("3 us"), "f")
    quick = run_scenario(made, SCENARIOS["each-button"], "push-pull", "fast")
    # Every bit is already the one after it: A reads as nothing, B as A.
    assert [pair.byte for pair in quick.reads][:3] == [0x00 | 1, 0x80 | 1, 0x40 | 1]


def test_between_its_shortest_and_longest_answer_the_line_is_at_no_level():
    made = sheet_from_text(text(), "f")
    wave = run_scenario(made, SCENARIOS["each-button"], "push-pull", "slow").timeline
    data = wave.wires["cable.data"]
    clock = wave.wires["cable.clock"].rises()
    leaves = data.times[1:][data.levels[1:] == 2]
    # The first bit after the latch: 2 us at the soonest; the next ones 1 us after their clock.
    after = {int(at - clock[clock <= at][-1]) for at in leaves if (clock <= at).any()}
    assert 1_000_000 in after
    assert min(after) >= 1_000_000


def test_the_ranges_of_the_poll_that_it_follows():
    finding = found(text())["firmware.poll"]
    for words in ("latch from", "clock low from", "a period from", "sample up to 1.56 µs after"):
        assert words in finding.says
    slow = found(text(**{"next-bit": "1 us to 8 us"}))["firmware.poll"]
    keys = {one.key: one for one in (slow.remedy, *slow.remedy.also)}
    assert 4.5e-6 < keys["register.next-bit"].high < 6e-6
    assert keys["poll.clock-high"].low > 8e-6


def test_a_first_bit_that_is_late_while_the_others_are_quick_is_undecided():
    # The first sample comes 14.86 us after the latch, later ones 6.15 us after their clock.
    made = sheet_from_text(text(**{"first-bit": "2 us to 16 us", "next-bit": "1 us"}), "f")
    slow = run_scenario(made, SCENARIOS["each-button"], "push-pull", "slow")
    assert {pair.read.undecided & 0x7F for pair in slow.reads} == {0}
    assert any(pair.read.undecided & 0x80 for pair in slow.reads)
