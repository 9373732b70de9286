"""Correct designs in other styles pass, faulty ones fail in the scenario that is for them."""

import pytest
from styles import BAD, BAD_READERS, GOOD, GOOD_READERS

from padbench.cosim.regress import regress, scenarios_of
from padbench.sheet import sheet_from_text

pytestmark = pytest.mark.usefixtures("simulators")

QUICK = ("each-button", "opposite-directions", "press-in-latch", "bounce", "long-latch")
OTHERS = ("reset-in-read", "slow-read", "clock-in-latch", "many-clocks", "quick-pad")
STYLES = {style.name: style for style in (*GOOD, *GOOD_READERS, *BAD, *BAD_READERS)}
FAULTY = {
    "sleeps_once": ("idle-frame", "idle-frame", "sleeps"),
    "gives_up": ("slow-read", "slow-read", ""),
    "wraps_256": ("many-clocks", "many-clocks", ""),
    "read_65": ("many-reads", "many-reads", ""),
    "slow_answer": ("each-button", "data.answer", "slow-answer"),
    "clock_in_latch": ("clock-in-latch", "clock-in-latch", ""),
    "masks": ("stopped-any-bit", "stopped-any-bit", "masked"),
    "no_extra": ("stopped-any-bit", "stopped-any-bit", "extra-clocks-lost"),
    "drives_z_for_low": ("each-button", "each-button", ""),
    "debounce_2ms": ("each-button", "each-button", ""),
    "policy_wrong": ("opposite-directions", "opposite-directions", ""),
    "sleeps": ("idle-frame", "data.glitch", ""),
    "sleeps_unclocked": ("idle-frame", "idle-frame", ""),
    "debounce_forgets": ("each-button", "each-button", "input-stuck"),
    "idles_low": ("quick-pad", "quick-pad", "clock-inverted"),
    "late_by_three": ("quick-pad", "quick-pad", "sample-late"),
}


def run(name, folder, scenarios):
    sheet = sheet_from_text(STYLES[name].write(folder), "sheet")
    known = scenarios_of(sheet)
    return regress(sheet, folder, [known[one] for one in scenarios])


@pytest.mark.parametrize("name", [style.name for style in (*GOOD, *GOOD_READERS)])
def test_a_correct_design_passes(name, tmp_path):
    result = run(name, tmp_path, QUICK + OTHERS)
    assert [(found.id, found.says) for found in result.findings if found.verdict == "fail"] == []
    assert result.verdict == "pass"


@pytest.mark.parametrize("name", FAULTY)
def test_a_faulty_design_fails_and_the_cause_is_named(name, tmp_path):
    scenario, where, cause = FAULTY[name]
    result = run(name, tmp_path, [scenario])
    failed = [found.id for found in result.findings if found.verdict == "fail"]
    failed += [one.name for one in result.scenarios if one.problems]
    assert where in failed
    assert cause in [one.id for one in result.causes] or not cause


def test_what_waits_for_the_other_edge_is_not_called_slow_first(tmp_path):
    result = run("latch_inverted", tmp_path, ["each-button"])
    assert [one.id for one in result.causes] == ["latch-inverted", "slow-answer"]
