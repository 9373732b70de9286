"""A sheet of a program on a microcontroller."""

import json

import pytest

from padbench.cli import main
from padbench.electric.findings import judge_electric
from padbench.scenarios import SCENARIOS
from padbench.sheet import STARTER, SheetError, sheet_from_text
from padbench.verify import verify

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
    assert findings["firmware.poll"].says.endswith("works with slow-loop")
    assert findings["data.later-bits"].verdict == "fail"


def test_a_program_that_misses_the_clock():
    findings = found(text(**{"shortest-pulse": "900 ns"}))
    assert findings["clock.low-pulse"].verdict == "fail"
    assert "the sheet says so" in findings["clock.low-pulse"].source


@pytest.mark.parametrize(("times", "verdict"), [({}, "pass"), ({"next-bit": "8 us"}, "fail")])
def test_the_worst_case_is_simulated(times, verdict):
    result = verify(sheet_from_text(text(**times), "f"), [SCENARIOS["each-button"]])
    assert result.scenarios[0].verdict == verdict
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
