"""Regress as a result: from a file, a text or a dict, on any simulator, in every format."""

import gc
import io
import json
import os
import sys
import tomllib
from itertools import islice
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from padbench.circuit.pad_model import pad_model
from padbench.cli import main
from padbench.core.stimulus import Stimulus
from padbench.cosim.hdl_scenarios import exhaustive_scenarios
from padbench.cosim.setting import slowest_pad
from padbench.jobs.loading import Refusal
from padbench.jobs.regress import regress
from padbench.jobs.schemas import json_schema
from padbench.results.documents import json_texts
from padbench.results.html_page import write_page
from padbench.results.junit import write_junit
from padbench.results.text import as_text
from padbench.sheet import Sheet, SheetError, sheet_from_text
from padbench.sheet.simulators import SIMULATORS, Simulator
from padbench.trials.scenario_run import Played, ScenarioRun

sys.path.insert(0, str(Path(__file__).parents[1] / "cosim"))  # `designs` is data of those tests

from designs import HDL, sheet_text

SHEET = Path(__file__).parents[2] / "sim" / "sheets" / "harbour-hdl.toml"
REGISTER = (HDL / "verilog" / "shift_register.v").read_text()
FALLING = REGISTER.replace("posedge clock", "negedge clock")
VALID = Draft202012Validator(json_schema("regress"))


def write(folder: Path, name: str, design: str, simulator: str, source: str = "") -> Path:
    sheet = folder / f"{name}.toml"
    path = folder / f"{name}.v"
    if source:
        path.write_text(source)
    sheet.write_text(sheet_text(design, simulator, source=path if source else None))
    return sheet


def test_every_format_comes_of_one_result_and_the_json_is_valid(tmp_path):
    sheet = write(tmp_path, "wrong", "shift_register", "icarus", FALLING)
    result = regress(sheet, ["idle", "each-button"], waves=tmp_path / "waves")
    assert (result.verdict, result.exit_code) == ("fail", 1)
    assert [run.name for run in result.runs] == ["idle", "each-button"]
    document = json.loads("".join(json_texts(result)))
    VALID.validate(document)
    run = document["scenarios"][1]
    assert (run["corner"], run["port"], run["part"]) == ("icarus", "shift_register", "")
    assert (run["simulator"], run["top"]) == ("icarus", "shift_register")
    assert Path(run["vcd"]).is_file()
    assert document["likely_causes"][0]["id"] == "wrong-edge"
    (like,) = document["likely_causes"][0]["like"]
    assert like.startswith("data is taken from the output of the stage before")
    broken = next(one for one in document["findings"] if one["verdict"] == "fail")
    assert broken["met"]["simulator"] == "icarus"
    assert "on icarus, top shift_register" in broken["where"]
    out = as_text(result), io.StringIO(), io.StringIO()
    write_page(result, out[1])
    write_junit([result], out[2])
    for text in (out[0], *(one.getvalue() for one in out[1:])):
        assert "it shifts on the falling clock edge" in text
        assert "icarus corner" not in text
        assert "each-button" in text


def test_without_a_file_the_sources_lie_in_the_current_folder(tmp_path, monkeypatch):
    (tmp_path / "here.v").write_text(FALLING)
    monkeypatch.chdir(tmp_path)
    text = sheet_text("shift_register", source=Path("here.v"))
    for sheet in (text, tomllib.loads(text), sheet_from_text(text, "sheet")):
        assert regress(sheet, ["each-button"]).verdict == "fail"
    gone = text.replace("here.v", "gone.v")
    with pytest.raises(SheetError, match=r'hdl\.sources\[0\]: "gone\.v" is no file'):
        regress(gone, ["each-button"])
    may = os.access  # root may read all
    monkeypatch.setattr(
        "os.access", lambda path, *how: "here.v" not in str(path) and may(path, *how)
    )
    with pytest.raises(SheetError, match=r'hdl\.sources\[0\]: "here\.v" may not be read'):
        regress(text, ["each-button"])


def test_what_cannot_be_done_is_refused():
    for options, says in (
        ({"simulator": "ghdl"}, "simulator: ghdl does not read verilog; use icarus or verilator"),
        ({"limit": -1}, "time-limit: give more than 0"),
        ({"scenarios": ["each-buton"]}, "scenario: there is no scenario 'each-buton'; try each-b"),
        ({"limit": "x"}, "time-limit: 'x' is no number of seconds"),
        ({"limit": True}, "time-limit: True is no number of seconds"),
        ({"prove": "no"}, "prove: 'no' is neither True nor False"),
        ({"exhaustive": 1}, "exhaustive: 1 is neither True nor False"),
        ({"simulator": 5}, "simulator: '5' is no known simulator"),
    ):
        with pytest.raises(Refusal, match=says):
            regress(SHEET, **options)


def test_where_nothing_is_played_nothing_passes(capsys):
    with pytest.raises(
        SheetError, match="nothing is played on fpga_pad: no scenario was asked for"
    ):
        regress(SHEET, [])
    assert main(["regress", str(SHEET), "--scenario", "quick-pad"]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "nothing is played on fpga_pad: quick-pad: it is about the pad that a reader" in line


def test_a_pad_that_dies_in_a_pause_of_some_frames_fails_at_true_time(tmp_path):
    alive = "assign data = stages[STAGES-1];"
    text = (HDL / "verilog" / "fpga_pad.v").read_text()
    assert alive in text
    dies = """reg [18:0] quiet = 0;  // 300 000 periods of 12 MHz are 25 ms
    always @(posedge clk)
        if (quiet != 300_000) quiet <= latch_in[1] === 1'b1 ? 0 : quiet + 1;
    assign data = stages[STAGES-1] | (quiet == 300_000);"""
    sheet = write(tmp_path, "dies", "fpga_pad", "icarus", text.replace(alive, dies))
    assert regress(sheet, "idle-frame", true_time=True).verdict == "fail"


def test_the_exhaustive_part_is_known_by_a_field_and_kept_by_nobody(tmp_path, monkeypatch):
    """Two chunks of it: in the result as numbers, without files, reads on demand."""

    def few(passes):
        return islice(exhaustive_scenarios(passes), 2)

    monkeypatch.setattr("padbench.cosim.regress.exhaustive_scenarios", few)
    sheet = write(tmp_path, "pad", "shift_register", "icarus")
    waves = tmp_path / "waves"
    seen: list[tuple[int, int]] = []
    result = regress(
        sheet,
        ["idle"],
        exhaustive=True,
        waves=waves,
        progress=lambda done, total: seen.append((done, total)),
    )
    assert seen == [(1, 3), (2, 3), (3, 3)]
    assert [run.part for run in result.runs] == ["", "exhaustive", "exhaustive"]
    assert result.data.reads == 2 + 2 * 513
    assert [path.name for path in waves.iterdir()] == ["idle.vcd"]
    document = json.loads("".join(json_texts(result)))
    VALID.validate(document)
    assert [run["name"] for run in document["scenarios"]] == ["idle"]
    assert document["coverage"]["transitions"]["seen"] > 1000
    assert "The exhaustive part has 2 runs with 1026 reads; all of it holds." in as_text(result)
    assert longest_kept() < 500
    # The simulation and its folder are gone; a run is made again from its record, and the same.
    first, again = result.runs[1].play(), result.runs[1].play()
    assert first is not again
    assert first.reads == again.reads
    assert len(first.reads) == result.runs[1].count == 513
    assert all(pair.as_expected for pair in first.reads)
    del first, again
    assert longest_kept() < 500


def longest_kept() -> int:
    """Reads in the longest script or run that is still in memory."""
    gc.collect()
    kept = [one for one in gc.get_objects() if isinstance(one, (Stimulus, Played))]
    return max((len(one.reads) for one in kept), default=0)


def test_a_row_in_the_table_is_all_that_a_simulator_takes(tmp_path, monkeypatch, capsys):
    """The recipe of DEVELOPERS.md: the sheet, the option and what is missing go by the table."""
    monkeypatch.setitem(SIMULATORS, "mine", Simulator("vhdl", ("no-such-program",), "my-package"))
    sheet = write(tmp_path, "pad", "shift_register", "ghdl")
    verilog = write(tmp_path, "other", "shift_register", "icarus")
    assert main(["regress", str(sheet), "--simulator", "mine"]) == 2
    assert "mine is not installed here; apt-get install my-package" in capsys.readouterr().err
    sheet.write_text(sheet.read_text().replace('simulator = "ghdl"', 'simulator = "mine"'))
    assert main(["regress", str(sheet)]) == 2
    assert "mine is not installed here" in capsys.readouterr().err
    assert main(["regress", str(verilog), "--simulator", "mine"]) == 2
    assert "mine does not read verilog; use icarus or verilator" in capsys.readouterr().err


def slow_and_slower(first: str) -> Sheet:
    """A reader for a pad on two kinds of port, the one named first."""
    other = ({"push-pull", "pull-down-only"} - {first}).pop()
    text = sheet_text("port_reader").replace(
        'ports = ["push-pull", "pull-down-only"]', f'ports = ["{first}", "{other}"]'
    )
    return sheet_from_text(text, "sheet")


@pytest.mark.parametrize("first", ["push-pull", "pull-down-only"])
def test_a_reader_is_held_to_the_slowest_pad_of_its_sheet(first):
    """Its limits are that pad's, whichever port comes first, and it gets that pad's answer."""
    sheet = slow_and_slower(first)
    pads = [pad_model(sheet, port, "slow") for port in ("push-pull", "pull-down-only")]
    slow = max(pads, key=lambda pad: pad.limits.answer.ps)
    assert min(pad.limits.answer.ps for pad in pads) < slow.limits.answer.ps / 2
    assert slowest_pad(sheet) == slow
    result = regress(sheet, ["each-button"])
    limits = {finding.id: finding.limit for finding in result.findings}
    assert limits["timing.later-bits"] == pytest.approx(slow.limits.answer.ps * 1e-12)
    assert limits["timing.clock-low"] == pytest.approx(slow.limits.clock_width.ps * 1e-12)
    assert answers(result.runs[0]) == {slow.answer}


def answers(run: ScenarioRun) -> set[int]:
    """How long after the clock's rise, or the load's begin, the data line has moved."""
    wires = run.timeline.wires
    causes = sorted([*wires["pad.clock"].rises(), *wires["pad.load"].rises()])
    return {
        int(move) - int(max(cause for cause in causes if cause < move))
        for move in wires["cable.data"].times[1:]
        if causes[0] < move
    }
