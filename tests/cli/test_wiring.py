"""``padbench wiring`` on the example sheets."""

import json
import sys
from pathlib import Path

import pytest

from padbench import verify
from padbench.cli import main
from padbench.results.text import as_text

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
A, B = str(SHEETS / "harbour-a.toml"), str(SHEETS / "harbour-b.toml")


@pytest.fixture(scope="module")
def revision_a():
    return verify(A, "idle")


def test_revision_b_as_json(capsys):
    assert main(["wiring", B, "--json"]) == 0
    out, err = capsys.readouterr()
    found = json.loads(out)
    assert (found["verdict"], err) == ("pass", "")
    nets = {pin["pin"]: pin["net"] for pin in found["pins"]}
    assert (nets[1], nets[7], nets[8], nets[11], nets[16]) == (
        "A",
        "Right",
        "ground",
        "ground",
        "supply",
    )
    assert {core["colour"] for core in found["cable"]} == {None}


def test_revision_a_says_first_that_it_cannot_work(capsys):
    assert main(["wiring", A, "--all"]) == 1
    out = capsys.readouterr().out
    assert out.index("CANNOT WORK") < out.index("Pins")
    assert "pull-up.value" in out[: out.index("Pins")]
    assert main(["wiring", A]) == 1
    out = capsys.readouterr().out
    assert "CANNOT WORK" in out
    assert "Pins" not in out  # whoever goes by them now wires it wrong


def test_what_is_from_memory_is_marked_in_text_too(capsys, tmp_path, revision_a):
    out = as_text(revision_a)
    words = {
        line.split()[0]: line for line in out.splitlines() if line.startswith("  ") and line.split()
    }
    assert " assumed " in words["data.low"]
    # A published threshold, and a leakage that nobody looked up.
    assert " from memory " in words["levels.pressed"]
    assert " common practice " in words["wiring.order"]
    assert "*" not in out
    sheet = tmp_path / "pad.toml"
    sheet.write_text(Path(B).read_text().replace("CD4021B", "74HC165"))
    assert main(["wiring", str(sheet), "--all"]) == 1
    out = capsys.readouterr().out
    assert "pins: 74HC165 data sheet (Nexperia); from memory" in out
    assert "wiring.load (published): " in out[: out.index("Pins")]
    assert "load pin, pin 1." in " ".join(out.split())


def test_a_wire_for_a_pull_up_is_cautioned_first(capsys, tmp_path):
    sheet = tmp_path / "short.toml"
    sheet.write_text(Path(B).read_text().replace('"39k ± 5 %"', '"0 Ω"'))
    assert main(["wiring", str(sheet), "--all"]) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert out.index("do not plug this in") < out.index("Pins")
    assert main(["wiring", str(sheet)]) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert out.index("Do not plug this in") < out.index("What must change")


def test_files_are_written(capsys, tmp_path):
    drawing = tmp_path / "pad.svg"
    assert main(["wiring", B, "--drawing", str(drawing)]) == 0
    assert drawing.read_text().startswith("<?xml")


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["nowhere.toml"], 2),
        ([B, "--spice", "/proc/none/x.cir"], 4),  # there no file can be made, whatever its name
        ([B, "--drawing", "x.gif"], 2),
    ],
)
def test_what_cannot_be_used_is_one_line(capsys, arguments, code):
    assert main(["wiring", *arguments]) == code
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("command", "options", "named"),
    [
        ("wiring", ["--spice", "parts.toml"], "parts.toml"),
        ("wiring", ["--drawing", "link.svg"], "link.svg"),
        ("wiring", ["--schematic", "twice.svg", "--drawing", "twice.svg"], "twice.svg"),
        ("wiring", ["--schematic", "link.svg"], "link.svg"),
        ("wiring", ["--spice", "pad.toml"], "pad.toml"),
        ("verify", ["--no-waves", "--analogue", "pad.toml"], "pad.toml"),
        (
            "verify",
            ["--scenarios", "own.toml", "--waves", ".", "--analogue", "own.toml"],
            "own.toml",
        ),
        ("play", ["--scenario", "idle", "--no-waves", "--picture", "link.svg"], "link.svg"),
    ],
    ids=[
        "parts",
        "drawing",
        "twice",
        "schematic",
        "spice",
        "analogue",
        "scenarios",
        "picture",
    ],
)
def test_no_output_is_written_over_what_the_run_reads_or_writes(
    capsys, tmp_path, monkeypatch, command, options, named
):
    monkeypatch.chdir(tmp_path)
    Path("pad.toml").write_text(Path(B).read_text() + '\n[parts]\nfile = "parts.toml"\n')
    Path("parts.toml").write_text("[port]\n")
    Path("own.toml").write_text(
        '[[scenario]]\nname = "mine"\nsays = "."\n[[scenario.step]]\nhold = ["A"]\n'
    )
    Path("link.svg").symlink_to("pad.toml")
    before = {file.name: file.read_bytes() for file in tmp_path.iterdir()}
    assert main([command, "pad.toml", *options]) == 2
    err = capsys.readouterr().err
    assert (err.count("\n"), err.startswith(f"padbench: {named}: this run ")) == (1, True)
    assert {name: (tmp_path / name).read_bytes() for name in before} == before


def test_verify_says_which_ports_and_what_to_change(revision_a):
    found = revision_a.document
    failed = {one["id"]: one for one in found["findings"] if one["verdict"] == "fail"}
    assert 39e3 in failed["levels.pressed"]["remedy"]["e12"]
    assert 3.3e3 in failed["port.pull-down-only.clock"]["remedy"]["e12"]
    assert {
        (row["port"], row["verdict"]) for row in found["ports"] if "without" in row["variant"]
    } == {
        # Its pull-ups fail whatever the port.
        ("push-pull", "fail"),
        ("3v3-adapter", "fail"),
        ("push-pull-weak-high", "fail"),
        ("pull-down-only", "fail"),
        ("pull-down-all-diodes", "fail"),
    }


@pytest.mark.parametrize(
    ("kind", "begins"), [("svg", b"<?xml"), ("png", b"\x89PNG"), ("PDF", b"%PDF")]
)
def test_the_schematic_is_written_in_each_kind(capsys, tmp_path, kind, begins):
    path = tmp_path / f"pad.{kind}"
    assert main(["wiring", B, "--schematic", str(path)]) == 0
    assert path.read_bytes().startswith(begins)
    assert "Schematic:" in capsys.readouterr().out


def test_what_a_schematic_needs_is_named(capsys, tmp_path, monkeypatch):
    path = tmp_path / "pad.gif"
    assert main(["wiring", B, "--schematic", str(path)]) == 2
    assert ".png, .svg, .pdf" in capsys.readouterr().err
    monkeypatch.setitem(sys.modules, "schemdraw", None)
    path = path.with_suffix(".svg")
    assert main(["wiring", B, "--schematic", str(path)]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "pip install 'padbench[schematic]'" in said
    assert not path.exists()
    # A page has all else, and says what it lacks.
    report = tmp_path / "pad.html"
    assert main(["wiring", B, "--report", str(report)]) == 0
    page = report.read_text()
    assert "No drawing: schemdraw is missing" in page


def test_a_port_that_is_not_known_is_one_line_and_no_netlist(capsys, tmp_path):
    path = tmp_path / "read.cir"
    assert main(["wiring", B, "--spice", str(path), "--port", "none"]) == 2
    said = capsys.readouterr().err
    assert (said.count("\n"), "--port: there is no port 'none'; try push-pull" in said) == (1, True)
    assert not path.exists()
    assert main(["wiring", B, "--spice", str(path), "--corner", "worst"]) == 2
    capsys.readouterr()
    # The port with the least to spare is taken where none is named.
    assert main(["wiring", B, "--spice", str(path)]) == 0
    assert "Netlist:" in capsys.readouterr().out
    assert "on a pull-down-only port, slow corner" in path.read_text().splitlines()[0]
