"""How a design is wired up: ports of its own for each button, levels the other way up, no start."""

import json
import shutil
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from designs import HDL, ROOT, sheet_text

from padbench.cli import main
from padbench.core.buttons import BUTTONS
from padbench.cosim.outcome import RegressResult
from padbench.cosim.regress import regress, scenarios_of
from padbench.scenarios import SCENARIOS
from padbench.sheet import sheet_from_text

pytestmark = pytest.mark.usefixtures("simulators")

WRAPPED = """
module wrapped (
    input clk, input nreset, input nlatch, input nclock, input serial, output ndata,
    input a, input b, input select, input start, input up, input down, input left, input right
);
    // High is pressed here, and everything else stands the other way up too.
    fpga_pad pad (clk, ~nreset, ~nlatch, ~nclock, serial,
        ~{a, b, select, start, up, down, left, right}, data);
    wire data;
    assign ndata = ~data;
endmodule
"""
SOME = ["each-button", "past-the-end", "stopped-last-bit", "press-sweep", "reset-in-read"]


def test_a_port_for_each_button_and_all_of_it_inverted(tmp_path, capfd):
    source = tmp_path / "wrapped.v"
    source.write_text((HDL / "verilog" / "fpga_pad.v").read_text() + WRAPPED)
    ports = ", ".join(f'{name} = "{name.lower()}"' for name in BUTTONS)
    more = (
        f"buttons = {{ {ports} }}\n" + 'inverted = ["latch", "clock", "data", "buttons", "reset"]'
    )
    text = sheet_text("fpga_pad", source=source).replace("parameters = { STAGES = 8 }", more)
    text = text.replace('top = "fpga_pad"', 'top = "wrapped"')
    for key in ("latch", "clock", "data"):
        text += f'{key} = "n{key}"\n'
    text = text.replace('reset = "reset"', 'reset = "nreset"')
    sheet = tmp_path / "pad.toml"
    sheet.write_text(text)
    names = [word for name in SOME for word in ("--scenario", name)]
    assert main(["regress", str(sheet), *names, "--no-waves", "--json"]) == 0
    assert json.loads(capfd.readouterr().out)["reads"] > 80
    # The bench would notice: with one port the wrong way up, nothing is right.
    sheet.write_text(text.replace('"buttons", "reset"]', '"reset"]'))
    assert main(["regress", str(sheet), *names[:2], "--no-waves", "--json"]) == 1
    said = json.loads(capfd.readouterr().out)
    first = said["failures"][0]
    assert (first["scenario"], first["read"], first["expected_pressed"]) == (
        "each-button",
        1,
        ["A"],
    )
    assert "buttons-inverted" in [cause["id"] for cause in first["likely_causes"]]


@pytest.mark.parametrize("passes", [1, 2])
def test_a_reader_that_reads_by_itself(passes, tmp_path):
    """At once again after each poll, or with a pause: it has no start to wait for."""
    text = (HDL / "verilog" / "port_reader.v").read_text()
    pause = "reg [9:0] pause; always @(posedge clk) pause <= reset || state ? 0 : pause + 1;"
    text = text.replace("reg [1:0]  data_in;", f"reg [1:0]  data_in; {pause}")
    begin = "IDLE: begin" if passes == 1 else "IDLE: if (&pause) begin"
    text = text.replace("IDLE: if (start) begin", begin)
    source = tmp_path / "reader.v"
    source.write_text(text)
    made = sheet_text("port_reader", source=source, passes=passes).replace('start = "start"\n', "")
    names = ["each-button", "press-in-latch", "stopped-last-bit", "reset-in-read"]
    sheet = sheet_from_text(made, "sheet")
    result = regress(sheet, tmp_path, [scenarios_of(sheet)[name] for name in names])
    assert result.verdict == "pass"


def test_runs_at_one_time_do_not_meet(tmp_path):
    """The one fails and the other passes, at the same time, as each would alone."""
    faulty = tmp_path / "faulty.v"
    sound = (HDL / "verilog" / "shift_register.v").read_text()
    faulty.write_text(sound.replace("posedge clock", "negedge clock"))

    def run(source: Path | None) -> RegressResult:
        sheet = sheet_from_text(sheet_text("shift_register", source=source), "sheet")
        return regress(sheet, HDL, [SCENARIOS["each-button"]])

    with ThreadPoolExecutor(2) as pool:
        results = list(pool.map(run, [None, faulty, None, faulty]))
    assert [one.verdict for one in results] == ["pass", "fail", "pass", "fail"]


def test_a_copy_of_sheet_and_sources_runs_elsewhere(tmp_path, monkeypatch, capfd):
    """Paths in [hdl] start at the sheet, wherever the command is run."""
    shutil.copytree(ROOT / "hdl", tmp_path / "moved" / "hdl")
    sheets = tmp_path / "moved" / "sim" / "sheets"
    sheets.mkdir(parents=True)
    shutil.copy(ROOT / "sim" / "sheets" / "harbour-hdl.toml", sheets)
    monkeypatch.chdir(tmp_path)
    arguments = ["regress", "moved/sim/sheets/harbour-hdl.toml", "--scenario", "idle", "--json"]
    assert main([*arguments, "--waves", "out"]) == 0
    (idle,) = json.loads(capfd.readouterr().out)["scenarios"]
    assert Path(idle["vcd"]).is_file()
    assert {path.name for path in tmp_path.iterdir()} == {"moved", "out"}
