"""A read routine as the poll of a sheet: the wires come from its cycles."""

from pathlib import Path

import numpy as np
import pytest

from padbench.console.fetch import Console
from padbench.console.poll import routine_poll
from padbench.console.routine import RoutineError
from padbench.console.source import load_routine
from padbench.console.wave import case_wave
from padbench.model.bench import simulate
from padbench.parts import console_timing
from padbench.scenarios import SCENARIOS
from padbench.sheet import load_sheet
from padbench.sheet.load import sheet_from_text
from padbench.sheet.problems import SheetError
from padbench.stimulus import ScriptedRead, Stimulus
from padbench.verify import run_scenario, verify

SHEET = Path(__file__).parents[2] / "sim" / "sheets" / "harbour-b.toml"
FETCHED = ["stopped-last-bit", "stopped-any-bit", "read-twice-rejects", "each-button", "bounce"]


def sheet(poll: str):
    return sheet_from_text(SHEET.read_text().replace('use = "plain-loop"', poll), "test.toml")


@pytest.mark.parametrize("console", ["60hz", "50hz"])
@pytest.mark.parametrize("name", ["read-once", "read-twice"])
def test_the_wires_of_a_poll_are_those_of_the_routine_itself(name, console, pad):
    """The same edges as the routine's own accesses make, but for the rounding of single times."""
    made = routine_poll(name, console)
    own = case_wave(load_routine(name), Console(console_timing(console)), pad, held=0xA5)
    start = int(own.wires["console.latch"].rises()[0])
    reads, at = [], start
    for _ in range(made.passes):
        reads.append(ScriptedRead(at, made.timing))
        at += made.timing.length + made.gap
    typed = simulate(pad, Stimulus(((0, 0xA5),), tuple(reads), own.end_ps))
    for wire in ("console.latch", "console.clock"):
        ours, theirs = typed.wires[wire], own.wires[wire]
        assert len(ours.times) == len(theirs.times)
        assert np.abs(ours.times - theirs.times).max() <= 20
    samples = typed.events["console.sample"] - own.events["console.sample"]
    assert np.abs(samples).max() <= 20


def test_a_stopped_read_has_the_pulses_of_the_real_fetch(pad):
    made = routine_poll("read-once", "60hz")
    console = Console(console_timing("60hz"))
    own = case_wave(load_routine("read-once"), console, pad, held=0, period=432, phase=46)
    start = int(own.wires["console.latch"].rises()[0])
    read = ScriptedRead(start, made.timing, stopped_bit=3, extra_clocks=made.extra_clocks)
    typed = simulate(pad, Stimulus(((0, 0),), (read,), own.end_ps))
    ours, theirs = typed.wires["console.clock"].times, own.wires["console.clock"].times
    assert np.abs(ours - theirs).max() <= 20


def test_a_good_pad_passes_with_every_kind_of_poll():
    for routine in ("read-once", "read-twice", "read-until-agree"):
        result = verify(sheet(f'routine = "{routine}"'), [SCENARIOS[name] for name in FETCHED])
        assert result.verdict == "pass", [s.problems for s in result.scenarios]


def test_a_console_without_the_fault_stops_without_harm():
    design = sheet('routine = "read-once"\nconsole = "50hz"')
    result = run_scenario(design, SCENARIOS["stopped-last-bit"], "push-pull", "slow")
    assert [pair.byte for pair in result.reads] == [0, 0, 0]
    assert routine_poll("read-once", "50hz").extra_clocks == 0


@pytest.mark.parametrize(
    ("poll", "says"),
    [
        ('routine = "read-once"\nclocks = 8', "which brings its own timings, and clocks as well"),
        ('routine = "read-once"\nconsole = "70hz"', "is no known console"),
        ("routine = 3", "is not text in quotes"),
    ],
)
def test_polls_that_a_sheet_cannot_have(poll, says):
    with pytest.raises(SheetError, match=says):
        sheet(poll)


def test_a_routine_that_is_none_is_refused(tmp_path):
    uneven = tmp_path / "uneven.asm"
    uneven.write_text(
        "lda #1\nsta $4016\nlsr a\nsta $4016\nlda $4016\nlda $4016\nnop\nlda $4016\nrts\n"
    )
    for name in ("none", str(uneven)):
        with pytest.raises(RoutineError):
            routine_poll(name, "60hz")


def test_the_shipped_sheet_is_untouched():
    assert load_sheet(SHEET).poll.routine is None
