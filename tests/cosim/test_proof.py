"""Proofs: a correct pad for all times, of a faulty one a run that shows it, and no false one."""

import re
import subprocess
import sys
import time
from pathlib import Path

import pytest
from designs import HDL, sheet_for
from more_styles import MORE_BAD
from styles import BAD, FPGA, GOOD

from padbench.cosim import proof as proofs
from padbench.cosim.aiger import Aiger
from padbench.cosim.process import Programs
from padbench.cosim.proof import proof_of
from padbench.cosim.regress import regress
from padbench.cosim.setting import job_of
from padbench.jobs.regress import regress_result
from padbench.scenarios import SCENARIOS
from padbench.sheet import sheet_from_text

pytestmark = pytest.mark.usefixtures("simulators")

STYLES = {style.name: style for style in (*GOOD, *BAD)}


def sheet_of(style, folder):
    return sheet_from_text(style.write(folder), "sheet")


@pytest.mark.parametrize(
    ("design", "simulator"), [("shift_register", "icarus"), ("fpga_pad", "ghdl")]
)
def test_a_reference_is_proved(design, simulator):
    assert proof_of(sheet_for(design, simulator), HDL, 60).result == "proved"


def test_a_case_in_vhdl_remembers_nothing(tmp_path):
    """GHDL leaves out its default, which would make latches and two clocks of it."""
    sheet, programs = sheet_for("port_reader", "ghdl"), Programs(tmp_path)
    design = proofs._Design(job_of(sheet, sheet.hdl, HDL, 60), programs, time.monotonic() + 60)
    programs.close()
    assert design.one_clock


def test_open_drain_is_proved_as_the_pulled_up_level(tmp_path):
    assert proof_of(sheet_of(STYLES["open_drain"], tmp_path), tmp_path, 60).result == "proved"


_LOAD = "stages <= buttons_in;"
FAULTY = {
    "two_crossed": (_LOAD, "stages <= {buttons_in[0], buttons_in[6:1], buttons_in[7]};"),
    "serial_lost": ("| serial_in[1]", "| 1'b1"),
    "one_flip_flop": ("clock_in[1] && !clock_was", "clock_in[0] && !clock_in[1]"),
}
ONE_TRANSITION = next(style for style in MORE_BAD if style.name == "one_transition")
"""One of 65 536 transitions between held states goes wrong, in its last bit."""


@pytest.mark.parametrize(
    "style",
    [*(FPGA.changed(name, change) for name, change in FAULTY.items()), ONE_TRANSITION],
    ids=lambda style: style.name,
)
def test_what_is_not_the_register_is_refuted(style, tmp_path):
    sheet = sheet_of(style, tmp_path)
    assert proof_of(sheet, tmp_path, 60).result == "refuted"


def test_the_run_that_refutes_is_a_scenario_like_any_other(tmp_path):
    sheet = sheet_of(STYLES["wraps_32"], tmp_path)
    result = regress(sheet, tmp_path, [], prove=True, limit=60)
    assert result.verdict == "fail"
    assert result.proof is not None
    assert result.proof.result == "refuted"
    (run,) = result.scenarios
    assert run.name == "counterexample"
    assert "past the end, bit 33 is wrong" in run.problems[0].says
    shown = regress_result(result, "pad", sheet.hdl)
    assert "A proof refutes it" in shown.lead
    assert shown.document["proof"]["result"] == "refuted"


def test_the_run_that_refutes_is_played_where_the_serial_input_is_open(tmp_path):
    crossed = FPGA.changed("two_crossed", FAULTY["two_crossed"])
    text = crossed.write(tmp_path).replace('serial = "serial"', "ties = { serial = 0 }")
    sheet = sheet_from_text(text.replace('input = "ground"', 'input = "open"'), "sheet")
    result = regress(sheet, tmp_path, [SCENARIOS["idle"]], prove=True, limit=60)
    assert [(run.name, run.verdict) for run in result.scenarios] == [
        ("counterexample", "fail"),
        ("idle", "pass"),
    ]
    assert (result.verdict, result.proof.result) == ("fail", "refuted")


def test_a_reader_that_offers_another_byte_is_refuted_and_shown(tmp_path):
    text = (HDL / "verilog" / "port_reader.v").read_text()
    right = "bits[place] <= ~data_in[1];"
    assert right in text
    source = tmp_path / "reader.v"  # one state of the first four buttons spoils the others
    source.write_text(text.replace(right, "bits[place] <= ~data_in[1] ^ &bits[7:4];"))
    result = regress(sheet_for("port_reader", source=source), tmp_path, [], prove=True, limit=100)
    assert result.proof.result == "refuted"
    assert [(run.name, run.verdict) for run in result.scenarios] == [("counterexample", "fail")]
    assert "it offers" in result.scenarios[0].problems[0].says


def test_an_undecided_design_is_said_to_be_not_proved(tmp_path, monkeypatch):
    monkeypatch.setattr(proofs, "which", lambda name: None)
    sheet = sheet_of(FPGA, tmp_path)
    result = regress(sheet, tmp_path, [SCENARIOS["idle"]], prove=True)
    assert result.verdict == "pass"
    found = next(finding for finding in result.findings if finding.id == "hdl.proof")
    assert (found.verdict, "yosys is not installed" in found.says) == ("not-judged", True)
    assert "It is not proved" in regress_result(result, "pad", sheet.hdl).lead


def test_a_delay_is_no_part_of_a_circuit(tmp_path):
    late = FPGA.changed("late", ("assign data =", "assign #5000 data ="))
    proof = proof_of(sheet_of(late, tmp_path), tmp_path, 20)
    assert proof.result == "undecided"
    assert "late.v:40 has a delay" in re.sub(r":\d+", ":40", proof.says)


def test_a_console_that_can_do_nothing_proves_nothing(tmp_path, monkeypatch):
    """A design that never answers would be right beside it."""
    read = proofs._file
    change = "wire ready = age >= IDLE;", "wire ready = 1'b0;"
    monkeypatch.setattr(proofs, "_SHORT", 2)
    monkeypatch.setattr(proofs, "_TO_END", 0)
    monkeypatch.setattr(proofs, "_file", lambda name: read(name).replace(*change))
    dead = FPGA.changed("dead", ("assign data = stages[STAGES-1];", "assign data = 1'b1;"))
    proof = proof_of(sheet_of(dead, tmp_path), tmp_path, 60)
    assert (proof.result, "no whole read" in proof.says) == ("undecided", True)


def test_what_yosys_cannot_read_is_told_with_its_place(tmp_path):
    broken = FPGA.changed("broken", ("assign data =", "asign data ="))
    proof = proof_of(sheet_of(broken, tmp_path), tmp_path, 20)
    assert proof.result == "undecided"
    assert "broken.v:" in proof.says


COUNTER = """aag 5 1 2 1 2
2
4 11
6 9
10
10 5 7
8 4 2
i0 want_clock
o0 wrong
c
"""


def test_a_run_found_at_random_goes_wrong_when_it_is_played():
    graph = Aiger(COUNTER)
    found = graph.search("wrong", 1)
    witness = "".join(str(bit) for inputs in found for bit in inputs)
    levels = [step["wrong"] for step in graph.run(witness, len(found))]
    assert levels[-1] == 1
    assert not any(levels[:-1])


def runs(pid: str) -> bool:
    """Whether a process is there, and not only waits to be reaped by whoever got it."""
    stat = Path("/proc") / pid / "stat"
    return stat.exists() and stat.read_text().rpartition(")")[2].split()[0] != "Z"


def gone(pid: str) -> bool:
    ends = time.monotonic() + 5
    while runs(pid) and time.monotonic() < ends:
        time.sleep(0.02)
    return not runs(pid)


def said(path: Path) -> str:
    ends = time.monotonic() + 10
    while not (path.exists() and path.read_text().endswith("\n")) and time.monotonic() < ends:
        time.sleep(0.02)
    return path.read_text().strip()


SLEEPER = ["sh", "-c", "sleep 300 & echo $!; wait"]


def test_programs_are_gone_when_they_are_closed(tmp_path):
    programs = Programs(tmp_path)
    programs.start("one", SLEEPER)
    child = said(tmp_path / "one")
    assert runs(child)
    programs.close()
    assert gone(child)


def test_programs_are_gone_with_whoever_started_them(tmp_path):
    folder = tmp_path / "build"
    folder.mkdir()
    text = (
        "import pathlib, signal\nfrom padbench.cosim.process import Programs\n"
        f"Programs(pathlib.Path({str(folder)!r})).start('one', {SLEEPER!r})\nsignal.pause()\n"
    )
    parent = subprocess.Popen([sys.executable, "-c", text])
    child = said(folder / "one")
    assert runs(child)
    parent.kill()
    parent.wait()
    assert gone(child)
    assert not folder.exists()
