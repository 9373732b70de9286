"""Designs that hang, stop, crash, do not compile or do not fit: a finding, or one line and exit 2.

After each of them no process and no file is left.
"""

import hashlib
import json
import os
from pathlib import Path

import pytest
from designs import HDL, sheet_text

from padbench.cli import main
from padbench.cosim.regress import regress
from padbench.scenarios import SCENARIOS
from padbench.sheet import sheet_from_text

pytestmark = pytest.mark.usefixtures("simulators")

SOUND = (HDL / "verilog" / "shift_register.v").read_text()
END = "assign data = stages[STAGES-1];"
ZERO_LOOP = "reg a = 0; always @(a or load) if (load) a <= ~a;"
ONE = ["--scenario", "idle", "--scenario", "each-button", "--no-waves"]


def write(folder: Path, old: str, new: str) -> Path:
    assert old in SOUND
    source = folder / "pad.v"
    source.write_text(SOUND.replace(old, new))
    sheet = folder / "pad.toml"
    sheet.write_text(sheet_text("shift_register", source=source))
    return sheet


def command(capfd, *arguments: str) -> tuple[int, str, str]:
    code = main(["regress", *map(str, arguments)])
    said = capfd.readouterr()
    return code, said.out, said.err


def left_behind(folder: Path) -> list[str]:
    """Processes that have to do with a folder, wherever they hang, and children gone but unread."""
    found = []
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit() or int(entry.name) == os.getpid():
            continue
        try:
            words = (entry / "cmdline").read_bytes()
            state, parent = (entry / "stat").read_text().rsplit(")", 1)[1].split()[:2]
        except OSError:
            continue
        ours = (str(folder).encode(), b"padbench-build-%d-" % os.getpid())
        if any(one in words for one in ours) or (state == "Z" and int(parent) == os.getpid()):
            found.append(f"{entry.name} {state} {words!r}")
    return found


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("input  wire              load,", "input wire load", "pad.v:"),
        (END, "assign data = no_such_thing_[3];", "pad.v:"),
    ],
)
def test_what_does_not_compile_is_said_in_the_simulators_words(tmp_path, capfd, old, new, says):
    code, out, err = command(capfd, write(tmp_path, old, new), *ONE)
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 1
    assert "pad.toml" in err
    assert says in err


@pytest.mark.parametrize("simulator", ["icarus", "ghdl", "verilator"])
def test_a_top_that_is_in_no_source_is_laid_on_the_sheet(tmp_path, capfd, simulator):
    sheet = tmp_path / "pad.toml"
    text = sheet_text("shift_register", simulator)
    sheet.write_text(text.replace('top = "shift_register"', 'top = "another"'))
    code, out, err = command(capfd, sheet, *ONE)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "hdl.top: another is in none of the sources; name a module or entity that is" in err


def test_a_fault_in_a_header_is_the_headers_whatever_its_name(tmp_path, capfd):
    sheet = write(tmp_path, END, f'`include "widths.inc"\n{END}')
    sheet.write_text(sheet.read_text() + "\ninclude = ['.']\n")
    (tmp_path / "widths.inc").write_text("wire wire w;\n")
    code, _, err = command(capfd, sheet, *ONE)
    assert (code, len(err.splitlines())) == (2, 1)
    assert f"{tmp_path / 'widths.inc'}:1: syntax error" in err
    assert "tool chain" not in err


def test_a_header_whose_folder_is_not_named(tmp_path, capfd):
    sheet = write(tmp_path, END, f'`include "widths.vh"\n{END}')
    code, _, err = command(capfd, sheet, *ONE)
    assert (code, len(err.splitlines())) == (2, 1)
    assert "hdl.include: " in err
    assert "widths.vh" in err
    assert 'name the folder that it is in, such as include = ["."]' in err


def test_a_missing_port_is_named_with_the_line_of_the_sheet(tmp_path, capfd):
    sheet = write(tmp_path, "stages[n-1]", "stages[n-1]")
    text = sheet.read_text().replace('latch = "load"', 'latch = "strobe"')
    sheet.write_text(text)
    line = text.split("\n").index('latch = "strobe"') + 1
    code, _, err = command(capfd, sheet, *ONE)
    assert code == 2
    assert f"pad.toml:{line}: hdl.latch: strobe is no port of shift_register; it has " in err
    assert "load" in err


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("output wire              data", "output wire [1:0] data", "hdl.data: data has 2 bits"),
        ("parameter STAGES = 8", "parameter WIDE = 1, STAGES = 8", ""),
    ],
)
def test_a_wrong_width(tmp_path, capfd, old, new, says):
    sheet = write(tmp_path, old, new)
    if not says:
        sheet.write_text(sheet.read_text().replace("STAGES = 8 }", "STAGES = 9 }"))
        says = "hdl.buttons: inputs has 9 bits; name a port of 8 bits"
    code, _, err = command(capfd, sheet, *ONE)
    assert code == 2
    assert says in err


def test_a_missing_source(tmp_path, capfd):
    sheet = tmp_path / "pad.toml"
    sheet.write_text(sheet_text("shift_register", source=tmp_path / "gone.v"))
    code, _, err = command(capfd, sheet, *ONE)
    assert code == 2
    assert "gone.v" in err
    assert "is no file" in err


def test_a_sheet_without_hdl(tmp_path, capfd):
    sheet = tmp_path / "pad.toml"
    sheet.write_text(sheet_text("shift_register").split("\n[hdl]")[0])
    code, _, err = command(capfd, sheet, *ONE)
    assert code == 2
    assert "hdl: is missing" in err


def test_a_loop_in_zero_time_ends_at_the_limit(tmp_path, capfd):
    sheet = write(tmp_path, END, END + ZERO_LOOP)
    code, out, _ = command(capfd, sheet, *ONE, "--json", "--time-limit", "4")
    assert code == 1
    result = json.loads(out)
    (late,) = [finding for finding in result["findings"] if finding["verdict"] == "fail"]
    assert (late["id"], late["limit"], late["unit"]) == ("hdl.time", 4, "s")
    assert late["where"] == "idle, on icarus, top shift_register"
    assert "did not end within 4 s" in late["says"]
    assert left_behind(tmp_path) == []


def test_runs_before_a_hang_are_still_judged(tmp_path):
    counts = "integer reads = 0; always @(posedge load) reads = reads + 1; reg a = 0;"
    sheet = write(tmp_path, END, END + counts + "always @(a or load) if (reads > 4) a <= ~a;")
    result = regress(
        sheet_from_text(sheet.read_text(), "pad"),
        tmp_path,
        [SCENARIOS["idle"], SCENARIOS["each-button"]],
        limit=5,
    )
    assert [one.name for one in result.scenarios] == ["idle"]
    assert result.verdict == "fail"
    (late,) = [finding for finding in result.findings if finding.id == "hdl.time"]
    assert (late.met.scenario, late.met.simulator) == ("each-button", "icarus")


@pytest.mark.parametrize(
    "stops",
    [
        "initial #150000 $finish;",
        'initial #150000 $fatal(1, "no more");',
        "function automatic integer deep(input integer n); deep = deep(n + 1) + 1; endfunction "
        "integer depth; always @(posedge load) depth = deep(0);",
    ],
)
def test_a_simulation_that_ends_by_itself(tmp_path, capfd, stops):
    source = write(tmp_path, END, END + stops)
    text = source.read_text()
    if "$fatal" in stops:  # SystemVerilog, so the file says so
        (tmp_path / "pad.v").rename(tmp_path / "pad.sv")
        source.write_text(text.replace("pad.v", "pad.sv"))
    code, out, _ = command(capfd, source, *ONE, "--json", "--time-limit", "20")
    assert code == 1
    says = {f["id"]: f["says"] for f in json.loads(out)["findings"] if f["verdict"] == "fail"}
    assert "hdl.ended" in says
    if "$fatal" in stops:
        assert "no more" in says["hdl.ended"] or "pad.sv:" in says["hdl.ended"]
    if "deep" in stops:
        assert "the simulator crashed (SIG" in says["hdl.ended"]
    assert left_behind(tmp_path) == []


def test_a_failed_assertion_in_vhdl_is_quoted_with_its_line(tmp_path, capfd):
    text = (HDL / "vhdl" / "shift_register.vhd").read_text()
    text = text.replace(
        "data <=", "assert load /= '1' report \"gone\" severity failure;\n    data <="
    )
    source = tmp_path / "pad.vhd"
    source.write_text(text)
    sheet = tmp_path / "pad.toml"
    sheet.write_text(sheet_text("shift_register", "ghdl", source=source))
    code, out, _ = command(capfd, sheet, *ONE, "--json")
    assert code == 1
    (found,) = [one for one in json.loads(out)["findings"] if one["id"] == "hdl.ended"]
    line = text.split("\n").index(next(one for one in text.split("\n") if "gone" in one)) + 1
    assert f"pad.vhd:{line}:" in found["says"]
    assert "gone" in found["says"]


def test_nothing_is_written_but_what_was_asked_for(tmp_path, capfd):
    waves = tmp_path / "waves"
    sheet = write(tmp_path, "stages[n-1]", "stages[n-1]")
    junit, page = tmp_path / "results.xml", tmp_path / "page.html"
    before = set(tmp_path.iterdir())
    outputs = ["--waves", waves, "--junit", junit, "--report", page]
    code, said, _ = command(capfd, sheet, "--scenario", "idle", *outputs)
    assert code == 0
    assert f"Report: {page}" in said
    # The page alone makes the run again: the sheet and the sources stand on it.
    text = page.read_text(encoding="utf-8")
    for file in (sheet, tmp_path / "pad.v"):
        assert hashlib.sha256(file.read_bytes()).hexdigest() in text
    assert "padbench regress pad.toml --scenario idle<" in text
    assert [path.name for path in waves.iterdir()] == ["idle.vcd"]
    assert set(tmp_path.iterdir()) - before == {waves, junit, page}
