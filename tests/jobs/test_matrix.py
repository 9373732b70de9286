"""Many cores on many simulators: one table, a cache that nothing stale comes out of, a baseline."""

import json
import os
import re
import sys
from contextlib import chdir
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from distributed import LocalCluster
from jsonschema import Draft202012Validator

from padbench.cli import main
from padbench.cosim.build_folder import within_reach
from padbench.cosim.setting import job_of
from padbench.jobs import matrix
from padbench.jobs.regress import asked_of
from padbench.jobs.schemas import json_schema
from padbench.sheet.simulators import SIMULATORS

sys.path.insert(0, str(Path(__file__).parents[1] / "cosim"))  # `designs` is data of those tests

from designs import HDL, sheet_for, sheet_text

REGISTER = (HDL / "verilog" / "shift_register.v").read_text()
ONE = ["--scenario", "each-button"]


def write(folder: Path, name: str, simulator: str, source: str = "") -> Path:
    (folder / f"{name}.v").write_text(source or REGISTER)
    sheet = folder / f"{name}.toml"
    path = folder / f"{name}.v" if simulator == "icarus" else None
    sheet.write_text(sheet_text("shift_register", simulator, source=path))
    return sheet


@pytest.fixture(scope="module")
def night(tmp_path_factory):
    """Four cores, one of them faulty and one that does not compile, by two processes."""
    folder = tmp_path_factory.mktemp("night")
    old = os.environ.get("XDG_CACHE_HOME")
    os.environ["XDG_CACHE_HOME"] = str(folder / "cache")
    write(folder, "good", "ghdl")
    write(folder, "twin", "icarus")
    write(folder, "wrong", "icarus", REGISTER.replace("posedge clock", "negedge clock"))
    write(folder, "broken", "icarus", REGISTER.replace("module", "modul", 1))
    yield folder
    os.environ.pop("XDG_CACHE_HOME")
    if old is not None:
        os.environ["XDG_CACHE_HOME"] = old


def run(night, capsys, *more: str, names=("good", "twin", "wrong", "broken")):
    sheets = [f"{name}.toml" for name in names]
    with chdir(night):
        code = main(["regress", *sheets, "--simulators", "icarus,ghdl", *ONE, *more])
    said = capsys.readouterr()
    return code, said.out, said.err


def never(*_):
    raise AssertionError("this was to come from the cache")


def test_one_table_a_name_for_each_and_the_rest_goes_on_beside_what_is_broken(
    night, capsys, monkeypatch
):
    outputs = ["--waves", str(night / "waves"), "--junit", str(night / "all.xml"), "--dump-all"]
    outputs += ["--report", str(night / "all.html")]
    code, out, err = run(night, capsys, "--workers", "2", *outputs)
    assert code == 2  # one could not be used; what the others gave is there
    (line,) = err.splitlines()
    assert "broken.toml: hdl: " in line
    assert "broken.v:" in line
    flat = " ".join(out.split())
    assert "4 runs: FAILS. 2 of 4 fail." in flat
    assert "wrong.toml icarus FAILS (wrong-edge)" in flat
    files = {str(path.relative_to(night / "waves")) for path in (night / "waves").rglob("*.*")}
    assert files == {
        "good/ghdl/each-button.vcd",
        "twin/icarus/each-button.vcd",
        "wrong/icarus/each-button.vcd",
        "wrong/icarus/all-signals.vcd",
    }
    assert (night / "waves" / "wrong" / "icarus" / "all-signals.vcd").stat().st_size > 500
    page = (night / "all.html").read_text(encoding="utf-8")
    assert "Cores and simulators" in page
    cases = ElementTree.parse(night / "all.xml").findall(".//testcase")
    names = [(case.get("classname"), case.get("name")) for case in cases]
    assert len(names) == len(set(names))
    assert any("wrong_toml, shift_register (STAGES 8) on icarus" in name for name, _ in names)

    # Nothing has changed: nothing is run again but what does not compile.
    made = matrix._made
    monkeypatch.setattr(
        matrix, "_made", lambda known, work: made(known, work) if "broken" in str(work) else never()
    )
    code, out, _ = run(night, capsys, "--waves", str(night / "more"), "--dump-all", "--json")
    assert code == 2
    document = json.loads(out)
    Draft202012Validator(json_schema("regress", several=True)).validate(document)
    assert [one["verdict"] for one in document["results"]] == ["pass", "pass", "fail", "fail"]
    assert len(document["results"][2]["failures"]) == 1
    (night / "before.json").write_text(out)
    code, out, _ = run(
        night, capsys, "--waves", str(night / "again"), "--dump-all", names=("good", "wrong")
    )
    flat = " ".join(out.split())
    assert (code, "2 runs: FAILS. 1 of 2 fail; 2 cached." in flat) == (1, True)
    for name in ("good/ghdl", "wrong/icarus"):
        first, again = (night / place / name / "each-button.vcd" for place in ("waves", "again"))
        assert first.read_text() == again.read_text()
    code, _, err = run(night, capsys, "--no-cache", "--dump-all", names=("good", "wrong"))
    assert (code, "this was to come from the cache" in err) == (3, True)


def test_what_is_different_from_the_baseline_is_said(night, capsys):
    """The faulty one is mended, the good one is spoilt: both are run again, and both are told."""
    texts = {name: (night / f"{name}.v").read_text() for name in ("twin", "wrong")}
    (night / "twin.v").write_text(texts["wrong"])
    (night / "wrong.v").write_text(texts["twin"])
    before = ["--baseline", str(night / "before.json"), "--no-waves"]
    code, out, _ = run(night, capsys, *before, "--json", names=("twin", "wrong"))
    changes = {one["case"]: one["says"] for one in json.loads(out)["changes"]}
    assert code == 1
    assert changes["twin.toml on icarus"].startswith("fails now: each-button, ")
    assert changes["wrong.toml on icarus"].startswith("is mended: each-button, ")
    assert changes["good.toml on ghdl"] == "was there before, and is not now"
    (night / "first.json").write_text(out)
    history, page = ["--baseline", str(night / "first.json"), *before], night / "changed.html"
    code, out, _ = run(night, capsys, *history, "--report", str(page), names=("wrong",))
    assert code == 0
    assert "wrong.toml on icarus is mended: each-button" in " ".join(out.split())
    shown = " ".join(page.read_text(encoding="utf-8").split())
    assert "What changed since the baseline" in shown
    assert "wrong.toml on icarus: is mended: each-button" in shown
    assert "good.toml on ghdl: was there before, and is not now" in shown
    table = shown.partition("Each core in the runs before, and now")[2].partition("</table>")[0]
    rows = [" ".join(re.sub("<[^>]*>", " ", row).split()) for row in table.split("</tr>")]
    assert "wrong.toml on icarus passes FAILS (each-button) passes" in rows


def test_a_core_that_none_of_the_simulators_runs_is_left_out_and_told(night, capsys):
    with chdir(night):
        code = main(["regress", "good.toml", "twin.toml", "--simulators", "icarus", *ONE, "--json"])
    said = capsys.readouterr()
    assert code == 2
    says = "good.toml: simulator: icarus does not read vhdl; use ghdl; it is left out"
    assert said.err.splitlines() == [f"padbench: {says}"]
    left_out, played = json.loads(said.out)["results"]
    assert [one["id"] for one in left_out["findings"]] == ["hdl.usable"]
    assert says in left_out["findings"][0]["says"]
    assert (left_out["verdict"], left_out["reads"], played["reads"]) == ("fail", 0, 8)


def test_a_sheet_with_a_fault_is_left_out_and_named(night, capsys):
    text = (night / "twin.toml").read_text() + '\n[[fault]]\nkind = "contact-dead"\nat = "A"\n'
    (night / "dead.toml").write_text(text)
    with chdir(night):
        assert main(["regress", "dead.toml", *ONE]) == 2
        alone = capsys.readouterr()
        assert main(["regress", "dead.toml", "twin.toml", *ONE]) == 2
    beside = capsys.readouterr()
    assert alone.err.startswith("padbench: dead.toml: fault.kind: a fault is of a soldered pad")
    assert alone.err.count("\n") == 1
    assert beside.err == alone.err.replace("\n", "; it is left out\n")
    assert "FAILS (hdl.usable)" in beside.out
    assert "twin.toml" in beside.out


def test_the_workers_of_a_cluster_do_it_too_if_they_see_the_same_files(night, capsys, monkeypatch):
    with LocalCluster(
        n_workers=1, processes=False, protocol="tcp", dashboard_address=":0"
    ) as cluster:
        there = ["--cluster", cluster.scheduler_address, "--no-waves", "--no-cache"]
        code, out, err = run(night, capsys, *there, names=("good",))
        assert (code, "Passes. All 8 reads" in out, err) == (0, True, "")
        monkeypatch.setattr(matrix, "_made", lambda *_: (0, "another", b"", ()))
        code, out, err = run(night, capsys, *there, names=("good",))
        assert (code, out) == (2, "")
        assert "a worker sees other files or tools than are here" in err


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--baseline", "gone.json"], "gone.json: No such file"),
        (["--baseline", "wrong.toml"], "wrong.toml is nothing that padbench regress --json wrote"),
        (["--workers", "0"], "workers: 0 is not between 1 and 64"),
        (["--cluster", "tcp://127.0.0.1:1"], "no scheduler answers at 'tcp://127.0.0.1:1'"),
    ],
)
def test_what_cannot_be_used_is_refused(night, capsys, monkeypatch, more, says):
    monkeypatch.setattr("padbench.workers._PATIENCE", 0.5)
    code, out, err = run(night, capsys, *more, "--no-cache", names=("good", "wrong"))
    assert (code, out) == (2, "")
    assert says in err
    assert len(err.splitlines()) == 1
    code, _, err = run(night, capsys, "--simulators", "ghdl", names=("wrong",))
    assert (code, "ghdl does not read verilog; use icarus or" in err) == (2, True)


KEYED = """module pad;
`include "known.vh"
endmodule
"""


@pytest.fixture
def keyed(tmp_path):
    """A sheet with a source, a folder of headers, parts and scenarios of its own."""
    (tmp_path / "headers" / "deep").mkdir(parents=True)
    (tmp_path / "headers" / "deep" / "known.vh").write_text("// one")
    (tmp_path / "pad.v").write_text(KEYED)
    sheet = tmp_path / "pad.toml"
    sheet.write_text(sheet_text("shift_register", source="pad.v") + 'include = ["headers"]\n')
    return sheet


def key(sheet: Path, simulator: str = "icarus", **options) -> str:
    return matrix._key_of(asked_of(sheet, simulator, options), options)


def test_a_change_of_anything_that_a_run_depends_on_is_another_key(keyed, monkeypatch):
    keys = [key(keyed)]
    assert key(keyed) == keys[0]
    keys.append(key(keyed, exhaustive=True))
    keys.append(key(keyed, scenarios=["idle"]))
    for path, text in (
        (keyed.with_name("pad.v"), KEYED + "// more"),
        (keyed.parent / "headers" / "deep" / "known.vh", "// two"),
        (keyed.parent / "headers" / "new.vh", ""),
        (keyed, keyed.read_text() + "defines = { WIDE = 1 }\n"),
    ):
        path.write_text(text)
        keys.append(key(keyed))
    monkeypatch.setattr(matrix, "_of_the_bench", lambda: b"another")
    keys.append(key(keyed))
    tool = keyed.with_name("iverilog")
    tool.write_text("#!/bin/sh\n")
    tool.chmod(0o755)
    monkeypatch.setenv("PATH", f"{keyed.parent}{os.pathsep}{os.environ['PATH']}")
    keys.append(key(keyed))
    if not SIMULATORS["verilator"].missing:
        keys.append(key(keyed, "verilator"))
    assert len(keys) == len(set(keys))
    assert not any(one.startswith("unknown") for one in keys)


@pytest.mark.parametrize(
    "text",
    [
        'initial $readmemh("/data/rom.hex", rom);',
        'integer f = $fopen("x", "r");',
        '`include "/etc/headers/x.vh"',
        '`include "../x.vh"',
        "`include `NAME",
        'initial $value$plusargs("x=%d", x);',
        'import "DPI-C" function int now();',
        "use std.textio.all;",
        '`define RD(x) $read``x\ninitial `RD(memh)("/data/rom.hex", rom);',
        '`define REST emh\ninitial $readm`REST ("/data/rom.hex", rom);',
    ],
)
def test_a_design_that_reads_other_files_is_run_each_time(keyed, text):
    keyed.with_name("pad.v").write_text(KEYED + text)
    assert key(keyed).startswith("unknown")


@pytest.mark.parametrize(
    ("text", "unknown"),
    [
        ("  file f, g : chars;", True),
        ("  file f -- note\n : chars;", True),
        ("  file\n f : chars;", True),
        ('  FILE_OPEN(f, "/data/rom.txt", read_mode);', True),
        ("/*\n-- */ file f : chars;", True),
        ("-- note\r file f : chars;", True),
        ("-- This file is the register.\r\nsignal profile : bit;", False),
    ],
)
def test_so_is_one_in_vhdl_with_a_file_object_however_it_is_written(tmp_path, text, unknown):
    (tmp_path / "pad.vhd").write_bytes(text.encode())
    sheet = tmp_path / "pad.toml"
    sheet.write_text(sheet_text("shift_register", "ghdl", source=tmp_path / "pad.vhd"))
    assert key(sheet, "ghdl").startswith("unknown") == unknown


def test_what_is_no_file_in_a_folder_of_headers_is_not_read(keyed):
    headers = keyed.parent / "headers"
    os.mkfifo(headers / "pipe.vh")
    assert key(keyed).startswith("unknown")
    (headers / "pipe.vh").unlink()
    (headers / "link.vh").symlink_to("gone.vh")
    assert key(keyed).startswith("unknown")
    (headers / "link.vh").unlink()
    for name in ("a", "b"):
        (headers / name).symlink_to(headers)
    assert key(keyed).startswith("unknown")


def test_a_copy_of_such_a_folder_leaves_it_out(tmp_path):
    headers = tmp_path / "all headers"
    headers.mkdir()
    (headers / "one.vh").write_text("")
    (headers / "link.vh").symlink_to("gone.vh")
    os.mkfifo(headers / "pipe.vh")
    sheet = sheet_for("shift_register")
    job = replace(job_of(sheet, sheet.hdl, tmp_path, 1.0), includes=[str(headers)])
    (copy,) = within_reach(job, tmp_path).includes
    assert [path.name for path in Path(copy).iterdir()] == ["one.vh"]


@pytest.mark.parametrize("taken", ["output", "folder"])
def test_a_wave_that_has_no_place_is_told_before_anything_is_built(
    night, tmp_path, capsys, monkeypatch, taken
):
    monkeypatch.setattr(matrix, "regress", never)
    wave = tmp_path / "waves" / "twin" / "icarus" / "each-button.vcd"
    more = ["--junit", str(wave)]
    if taken == "folder":
        wave.mkdir(parents=True)
        more = []
    code, _, err = run(
        night,
        capsys,
        "--waves",
        str(tmp_path / "waves"),
        "--no-cache",
        *more,
        names=("good", "twin"),
    )
    (line,) = err.splitlines()
    assert (code, str(wave) in line) == (2, True), err


def test_a_source_that_is_missing_is_a_finding_of_its_case(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    write(tmp_path, "twin", "icarus")
    write(tmp_path, "gone", "icarus")
    (tmp_path / "gone.v").unlink()
    code, out, err = run(tmp_path, capsys, "--no-waves", names=("gone", "twin"))
    (line,) = err.splitlines()
    assert code == 2
    assert re.match(r"padbench: gone\.toml:\d+: hdl\.sources\[0\]: \".*gone\.v\" is no file", line)
    flat = " ".join(out.split())
    assert "2 runs: FAILS. 1 of 2 fail." in flat
    assert "twin.toml icarus passes" in flat


def test_what_is_damaged_or_of_another_hand_is_not_taken_from_the_cache(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    blob = matrix._dumped(matrix._unusable(["no more"]))
    matrix._to_cache("unknown-aa", blob)
    assert not list(tmp_path.rglob("*aa"))
    matrix._to_cache("aa", blob)
    assert matrix._from_cache("aa") == blob
    assert matrix._from_cache("ab") is None
    (kept,) = tmp_path.rglob("aa")
    kept.parent.chmod(0o777)
    assert matrix._from_cache("aa") is None
    kept.parent.chmod(0o700)
    kept.write_bytes(kept.read_bytes()[:-1] + b"x")
    assert matrix._from_cache("aa") is None
