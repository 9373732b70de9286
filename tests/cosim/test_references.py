"""The references in hdl/ hold on every simulator, and read what the MyHDL model reads."""

import subprocess
from dataclasses import replace
from functools import cache

import pytest
from designs import DESIGNS, HDL, sheet_for

from padbench.core.decode import Read, decode
from padbench.core.findings import Source
from padbench.core.limits import Limit, Limits
from padbench.core.pad import PadModel
from padbench.core.stimulus import PollTiming, ScriptedRead, Stimulus
from padbench.cosim.outcome import RegressResult
from padbench.cosim.regress import regress, scenarios_of
from padbench.cosim.setting import choose, hdl_setting
from padbench.cosim.wires import reader_run
from padbench.model.simulation import simulate
from padbench.scenarios import Setting
from padbench.sheet import Sheet
from padbench.trials.scenario_run import ReadResult, ScenarioRun

pytestmark = pytest.mark.usefixtures("simulators")

CASES = [(design, engine) for engine in ("icarus", "ghdl") for design in DESIGNS]
CASES += [("fpga_pad", "verilator"), ("shift_register", "verilator"), ("port_reader", "verilator")]
SKIPPED = {
    "shift_register": ["reset-in-read", "quick-pad"],  # it has no reset
    "fpga_pad": ["quick-pad"],  # for readers alone
    # What a console does otherwise, and a reader decides itself; and polls of two reads.
    "port_reader": [
        *("past-the-end", "cut-short", "long-latch", "open-serial-input", "read-twice-rejects"),
        *("many-clocks", "slow-read", "clock-in-latch"),
    ],
}


@cache
def modelled(design: str, name: str) -> list[Read]:
    """What the model of a pad reads in a scenario; the language of the design is no matter."""
    sheet = sheet_for(design)
    setting = hdl_setting(sheet)
    chosen = choose(scenarios_of(sheet)[name], setting, "pad", serial=True, reset=True)
    return read_by_the_model(setting.pad, chosen.script.stimulus)


@cache
def read_by_the_model(pad: PadModel, stimulus: Stimulus) -> list[Read]:
    """A reader makes the same edges in each language."""
    return decode(simulate(pad, stimulus))


@pytest.mark.parametrize(("design", "engine"), CASES)
def test_reference_passes_and_reads_as_the_model_does(design, engine):
    sheet = sheet_for(design, engine)
    result = regress(sheet, HDL)
    assert failed(result) == []
    assert result.verdict == "pass"
    assert result.coverage.missing_states == []
    assert result.coverage.missing_positions == []
    assert [name for name, _ in result.skipped] == SKIPPED[design]
    setting = hdl_setting(sheet)
    compared = 0
    for run in result.scenarios:
        if design == "port_reader":
            stimulus, pad = as_the_reader_made_it(run, sheet, setting)
            model, pairs = read_by_the_model(pad, stimulus), whole(run)
        else:
            model, pairs = modelled(design, run.name), run.reads
        assert len(model) == len(pairs)
        for pair, read in zip(pairs, model, strict=True):
            if run.name == "reset-in-read" and pair.expected.clocks != 8:
                continue  # the model has no reset
            # A bit that the script leaves open is at no level in the model, at some level in HDL.
            mask = [want is not None for want in pair.expected.bits]
            ours = [bit for bit, known in zip(pair.read.bits, mask, strict=True) if known]
            theirs = [bit for bit, known in zip(read.bits, mask, strict=True) if known]
            assert ours == theirs, run.name
            compared += len(ours)
    assert compared > 4000


def whole(run: ScenarioRun) -> list[ReadResult]:
    """Without those that a reset cut off."""
    return [pair for pair in run.reads if set(pair.expected.bits) - {None}]


def as_the_reader_made_it(
    run: ScenarioRun, sheet: Sheet, setting: Setting
) -> tuple[Stimulus, PadModel]:
    """The reader's own reads as a console's, at its times, for the MyHDL pad to answer."""
    chosen = choose(scenarios_of(sheet)[run.name], setting, "reader", serial=True, reset=True)
    polls = reader_run(chosen).polls
    held = run.timeline.words["contacts.held"]
    reads = []
    polls = [poll for poll in polls if poll.reset is None]
    for poll, pair in zip(polls, whole(run), strict=True):
        read = pair.read
        start, falls, rises = read.start_ps, read.clock_falls, read.clock_rises
        timing = PollTiming(
            read.latch_end_ps - start,
            falls[0] - read.latch_end_ps,
            rises[0] - falls[0],
            falls[1] - rises[0],
            rises[0] - falls[0],
            clocks=len(rises),
            extra_low=200_000,
            extra_high=200_000,
        )
        reads.append(ScriptedRead(start, timing, *poll.lost[0], serial=poll.serial))
    contacts = tuple(zip(held.times, held.values, strict=True))
    no_time = Limit(0, (Source("none: the reader's own limits are judged elsewhere", "assumed"),))
    limits = Limits(*(no_time,) * 6)
    return Stimulus(contacts, tuple(reads), run.timeline.end_ps), replace(
        setting.pad, limits=limits
    )


@pytest.mark.parametrize("engine", ["icarus", "ghdl"])
def test_reading_twice(engine):
    sheet = sheet_for("port_reader", engine, passes=2)
    names = ["each-button", "stopped-last-bit", "read-twice-rejects", "reset-in-read"]
    result = regress(sheet, HDL, [scenarios_of(sheet)[name] for name in names])
    assert failed(result) == []
    assert [run.name for run in result.scenarios] == names


def test_the_references_keep_to_the_old_languages():
    """Verilog-2001 and VHDL-93, as the README promises; the compilers themselves say so."""
    for design in DESIGNS:
        for command in (
            ["iverilog", "-g2001", "-Wall", "-t", "null", str(HDL / "verilog" / f"{design}.v")],
            ["ghdl", "-s", "--std=93", str(HDL / "vhdl" / f"{design}.vhd")],
        ):
            said = subprocess.run(command, capture_output=True, text=True, check=False)
            assert (said.returncode, said.stdout + said.stderr) == (0, "")


def failed(result: RegressResult) -> list[str]:
    lines = [problem.says for run in result.scenarios for problem in run.problems]
    return lines + [found.says for found in result.findings if found.verdict == "fail"]
