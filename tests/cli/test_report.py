"""``--report`` and ``--junit`` from the command line."""

import hashlib
import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from padbench.cli import main

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    """A copy of revision A with one port, and with a parts file beside it."""
    text = (SHEETS / "harbour-a.toml").read_text(encoding="utf-8")
    text = text.replace('ports = ["push-pull", "pull-down-only"]', 'ports = ["push-pull"]')
    (tmp_path / "mine.toml").write_text(
        (SHEETS.parent / "padbench" / "parts" / "ports.toml")
        .read_text(encoding="utf-8")
        .replace("[push-pull", "[port.mine")
        .partition("\n[pull-down-only")[0],
        encoding="utf-8",
    )
    path = tmp_path / "pad.toml"
    path.write_text('[parts]\nfile = "mine.toml"\n' + text, encoding="utf-8")
    return path


def test_files_leave_the_answer_its_lines(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    command = ["verify", str(SHEETS / "harbour-a.toml"), "--report", "r.html"]
    assert main([*command, "--margins", "m.svg", "--scope", "s.svg"]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) <= 24
    assert sum(line.endswith("to spare.") for line in lines) == 5
    assert lines[-1].endswith("; Report: r.html; Margins: m.svg; Scope: s.svg")


def test_page_and_junit_are_written_and_named(sheet, tmp_path, capsys):
    page, junit = tmp_path / "out" / "r.html", tmp_path / "out" / "r.xml"
    margins = tmp_path / "out" / "m.svg"
    command = ["verify", str(sheet), "--no-waves", "--report", str(page), "--junit", str(junit)]
    assert main([*command, "--margins", str(margins)]) == 1
    said = capsys.readouterr().out
    assert f"Report: {page}" in said
    assert f"Margins: {margins}" in said
    assert margins.read_bytes().startswith(b"<?xml")
    text = page.read_text(encoding="utf-8")
    # Sheet and parts file with their digests, so that the page alone reproduces the run.
    for file in (sheet, tmp_path / "mine.toml"):
        assert hashlib.sha256(file.read_bytes()).hexdigest() in text
        assert f"<bdi>{file.name}</bdi>" in text
    # The command is said as it is typed where all of them lie in one folder.
    assert "<code><bdi>padbench verify pad.toml</bdi></code>" in text
    assert ET.parse(junit).getroot().tag == "testsuites"
    assert sorted(one.name for one in page.parent.iterdir()) == ["m.svg", "r.html", "r.xml"]


def test_json_stays_alone_on_standard_output(sheet, tmp_path, capsys):
    page = tmp_path / "r.html"
    assert main(["verify", str(sheet), "--no-waves", "--json", "--report", str(page)]) == 1
    assert json.loads(capsys.readouterr().out)["verdict"] == "fail"
    assert page.stat().st_size > 100_000


def test_a_place_that_cannot_be_written_is_one_line(sheet, tmp_path, capsys):
    place = tmp_path / "mine.toml" / "r.html"
    assert main(["verify", str(sheet), "--no-waves", "--report", str(place)]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "mine.toml" in error
