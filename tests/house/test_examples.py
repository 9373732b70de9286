"""Each script in sim/examples runs as it stands and says what it promises."""

import runpy
import sys
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).parents[2] / "sim" / "examples"
SAYS = {
    "judge_a_sheet": ("revision A fail", "wiring.order", "Up and Down are swapped"),
    "plot_a_margin": ("39 kΩ  +", "2 kΩ  -"),
    "judge_a_capture": ("each-button.vcd", "10000000"),
    "judge_a_routine": ("detects", "every  432 cycles: 0 of 110592"),
    "pad_in_a_myhdl_bench": ("00001000",),
    "judge_a_design_in_verilog": ("each-button: pass", "cut-short: pass"),
}


def test_every_example_is_tried():
    scripts = {path.stem for path in EXAMPLES.glob("*.py")} - {"cocotb_test", "test_my_pad"}
    assert scripts == set(SAYS)


@pytest.mark.parametrize("name", SAYS)
def test_it_runs_and_says(name, capsys, monkeypatch):
    script = EXAMPLES / f"{name}.py"
    monkeypatch.setattr(sys, "argv", [str(script)])
    runpy.run_path(str(script), run_name="__main__")
    out = capsys.readouterr().out
    for words in SAYS[name]:
        assert words in out


def test_the_plot_is_drawn(tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["plot", str(tmp_path / "margin.png")])
    runpy.run_path(str(EXAMPLES / "plot_a_margin.py"), run_name="__main__")
    assert (tmp_path / "margin.png").stat().st_size > 5000
