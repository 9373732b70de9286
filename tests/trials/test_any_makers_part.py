"""The usual pad with any maker's part: it passes where it works, on no borrowed trust."""

from dataclasses import replace

import pytest

from padbench.circuit.electric import judge_electric
from padbench.parts import register_names, register_part
from padbench.scenarios import SCENARIOS
from padbench.sheet import sheet_from_text, starter
from padbench.trials.trial import try_sheet
from padbench.wiring.mistakes import judge_family

BOTH = '"push-pull", "pull-down-only"'
LINES = [name for name in register_names() if register_part(name).family == "4021"]


def usual(part, use="plain-loop", ports=BOTH, **changes):
    """Common practice: 39 kΩ, 3.6 kΩ, 2.5 m of 100 pF/m, 5 V; all that the starter has."""
    text = starter().replace('part = "CD4021B"', f'part = "{part}"').replace(BOTH, ports)
    text = text.replace('use = "plain-loop"', f'use = "{use}"')
    if part == "74HC165":
        text = text.replace("latch-inverted = false", "latch-inverted = true")
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    return sheet_from_text(text, "usual")


HEAVY = ("all-states", "held", "stopped-any-bit")
LIGHT = [scenario for name, scenario in SCENARIOS.items() if name not in HEAVY]


def tried(sheet, scenarios=LIGHT):
    return try_sheet(sheet, scenarios, remedies=False)


def broken(sheet):
    scenarios = [SCENARIOS[name] for name in ("each-button", "cut-short")]
    return {f.id: f for f in tried(sheet, scenarios).findings if f.verdict == "fail"}


@pytest.mark.parametrize("part", LINES)
def test_the_usual_pad_passes_with_every_makers_4021(part):
    """With a short lead the edges of the calculation, with a long one those of every run."""
    for length, scenarios in (("2 m", []), ("3 m", LIGHT)):
        trial = tried(usual(part, **{'length = "2.5 m"': f'length = "{length}"'}), scenarios)
        assert [f.says for f in trial.findings if f.verdict == "fail"] == []
        assert trial.verdict == "pass"


def test_a_74hc165_passes_where_the_port_drives_high_and_not_where_its_clock_rises_too_slowly():
    """P: its input transition is 500 ns at most (SCHS156); 3.6 kΩ and 250 pF take longer."""
    assert tried(usual("74HC165", ports='"push-pull"')).verdict == "pass"
    found = judge_electric(usual("74HC165", ports='"pull-down-only"')).findings
    assert {"cable.length"} < {f.id for f in found if f.verdict == "fail"}
    assert set(broken(usual("74HC165", ports='"pull-down-only"'))) == {
        *("latch.rise", "clock.rise", "clock.coupling")
    }


def test_a_brisk_poll_is_too_fast_for_the_slow_line():
    """The times of the MC line are second-hand; that of the poll is 250 ns low and 700 ns high."""
    failed = broken(usual("MC14021B", "brisk", '"push-pull"'))
    assert {"clock.low-pulse", "data.later-bits", "timing.clock-low"} <= set(failed)
    assert failed["timing.clock-low"].limit > 400e-9
    # With the figures of the CD line, as they were borrowed before, these would have held.
    of_cd = broken(usual("CD4021B", "brisk", '"push-pull"'))
    assert not {"clock.low-pulse", "data.later-bits", "timing.clock-low"} & set(of_cd)


@pytest.mark.parametrize(("use", "verdict"), [("plain-loop", "pass"), ("brisk", "fail")])
def test_what_is_borrowed_is_held_to_the_worst_of_the_family(use, verdict):
    (finding,) = judge_family(usual("HEF4021B", use, '"push-pull"'))
    assert (finding.id, finding.verdict) == ("part.family", verdict)
    assert "not all figures of the HEF4021B are known (clock-to-output" in finding.says
    if verdict == "fail":
        assert "timing.clock-low" in finding.facts["broken"]
        assert "parts file" in finding.remedy.says


def test_a_part_with_figures_of_its_own_is_held_to_them_alone():
    assert not [*judge_family(usual("CD4021B", "brisk"))]
    assert not [*judge_family(usual("74HC165"))]


def test_an_assumed_time_is_no_figure_of_its_own():
    part = register_part("CD4021B")
    cited = replace(part.removal.cited, kind="assumed")
    assert replace(part, removal=replace(part.removal, cited=cited)).lacked == ("removal",)


def test_the_clock_stands_high_when_the_load_of_a_74hc165_ends():
    """P: its data sheet, general description. In a run, with a poll on either side of it."""
    fine = tried(usual("74HC165", ports='"push-pull"'), [SCENARIOS["each-button"]])
    assert {f.id: f.verdict for f in fine.findings}["timing.clock-at-load-end"] == "pass"
    hasty = {'use = "plain-loop"': 'use = "plain-loop"\nlatch-to-clock = "1 ps"'}
    hasty |= {'clock-to-supply = "3.6k ± 5 %"': 'clock-to-supply = "absent"'}
    found = broken(usual("74HC165", ports='"push-pull"', **hasty))
    assert found["timing.clock-at-load-end"].says.startswith("8 of 8 ends")
    assert "timing.clock-at-load-end" not in broken(usual("CD4021B", ports='"push-pull"', **hasty))
