"""The references in hdl/ hold on every simulator, and read what the MyHDL model reads."""

import subprocess

import pytest
from designs import DESIGNS, HDL, sheet_for

from padbench.cosim.regress import regress
from padbench.cosim.result import RegressResult
from padbench.cosim.select import choose
from padbench.cosim.setting import hdl_setting
from padbench.decode import decode
from padbench.model.bench import simulate
from padbench.scenarios import SCENARIOS

pytestmark = pytest.mark.usefixtures("simulators")

CASES = [(design, engine) for engine in ("icarus", "ghdl") for design in DESIGNS]
CASES += [("fpga_pad", "verilator"), ("shift_register", "verilator"), ("port_reader", "verilator")]


@pytest.mark.parametrize(("design", "engine"), CASES)
def test_reference_passes_and_reads_as_the_model_does(design, engine, tmp_path):
    sheet = sheet_for(design, engine)
    result = regress(sheet, HDL, tmp_path)
    assert failed(result) == []
    assert result.verdict == "pass"
    assert result.coverage.missing_states == []
    if design == "port_reader":
        return
    assert result.skipped == ()
    assert result.coverage.missing_positions == []
    setting = hdl_setting(sheet)
    compared = 0
    for run in result.scenarios:
        script = choose(SCENARIOS[run.name], setting, "pad", serial=True).script
        model = decode(simulate(setting.pad, script.stimulus))
        assert len(model) == len(run.reads)
        for pair, read in zip(run.reads, model, strict=True):
            # A bit that the script leaves open is at no level in the model, at some level in HDL.
            mask = [want is not None for want in pair.expected.bits]
            ours = [bit for bit, known in zip(pair.read.bits, mask, strict=True) if known]
            theirs = [bit for bit, known in zip(read.bits, mask, strict=True) if known]
            assert ours == theirs
            compared += len(ours)
    assert compared > 4000


@pytest.mark.parametrize("engine", ["icarus", "ghdl"])
def test_reading_twice(engine, tmp_path):
    result = regress(sheet_for("port_reader", engine, passes=2), HDL, tmp_path)
    assert failed(result) == []
    names = [run.name for run in result.scenarios]
    assert "read-twice-rejects" in names


def test_nothing_is_left_in_the_output_folder(tmp_path):
    regress(sheet_for("shift_register"), HDL, tmp_path, [SCENARIOS["idle"]])
    assert list(tmp_path.iterdir()) == []


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
