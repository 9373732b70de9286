"""The netlist of one read (``padbench wiring --spice``), run by ngspice as it stands.

Class P: edges, levels and the shifting itself come out of the simulator; only the values of the
parts are the bench's. Tolerances: edges 2 % and 3 ns (steps of the simulator, a nanosecond of the
stimulus' own edge), levels 20 mV (diodes in the place of what clips at a supply).
"""

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from padbench.circuit.circuits import Circuits
from padbench.circuit.design import design_of
from padbench.circuit.electric import judge_electric
from padbench.circuit.pad_model import pad_model
from padbench.circuit.worst_case import worst_case
from padbench.sheet import sheet_from_text
from padbench.wiring.mistakes import judge_wiring
from padbench.wiring.spice import spice_netlist

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
B = (SHEETS / "harbour-b.toml").read_text(encoding="utf-8")
STRAIGHT = ("push-pull", "push-pull-weak-high", "pull-down-only", "3v3-adapter")
"""Ports without a diode in the data line, behind which the bench has a resistor for the output."""


class Run:
    """A netlist that was written and run: what ngspice measured, and what the file foretells."""

    def __init__(self, folder, port, corner, *changes):
        text = B
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        self.sheet = sheet_from_text(text, "x")
        self.design = design_of(self.sheet, self.sheet.part, self.sheet.port(port))
        file = folder / "read.cir"
        file.write_text(spice_netlist(self.sheet, port, corner), encoding="utf-8")
        if shutil.which("ngspice") is None:
            pytest.fail("ngspice is not installed; install it with: apt-get install ngspice")
        run = subprocess.run(
            ["ngspice", "-b", file], capture_output=True, text=True, timeout=60, check=False
        )
        found = re.findall(r"^(\w+) += +([-+.0-9e]+)", run.stdout, re.M)
        self.heard = {name: float(number) for name, number in found}
        foretold = re.findall(r"^\* (\w+), by the bench: (\S+)$", file.read_text("utf-8"), re.M)
        self.foretold = {name: float(number) for name, number in foretold if number != "never"}

    def bits(self):
        """1 for a high level, 0 for a low one, None between them, by the console's thresholds."""
        low, high = (level[0] for level in Circuits(self.design).data_thresholds)
        volts = [self.heard[name] for name in self.heard if name.startswith("bit_")]
        return [1 if v >= high.max() else 0 if v <= low.min() else None for v in volts]


def seconds(expected):
    return pytest.approx(expected, rel=0.02, abs=3e-9)


@pytest.mark.parametrize("corner", ["slow", "fast"])
@pytest.mark.parametrize("port", STRAIGHT)
def test_edges_and_levels_are_those_that_the_bench_foretells(tmp_path, port, corner):
    run = Run(tmp_path, port, corner)
    names = {
        f"{line}_{what}" for line in ("latch", "clock") for what in ("rise", "fall", "low", "high")
    }
    names |= {"pressed", "released", "data_rise", "data_fall", *(f"bit_{n}" for n in range(1, 9))}
    assert {*run.foretold} == names | ({"answer"} if corner == "slow" else set())
    for name, expected in run.foretold.items():
        if name == "answer" or name.endswith(("_rise", "_fall")):
            assert run.heard[name] == seconds(expected), name
        else:
            assert run.heard[name] == pytest.approx(expected, abs=0.02), name
    assert run.bits() == [0, 1] * 4
    # And what is foretold is what the bench judges and simulates with.
    if corner == "slow":
        model = pad_model(run.sheet, port, "slow")
        assert run.heard["latch_rise"] == seconds(model.latch_line.rise * 1e-12)
        assert run.heard["clock_rise"] == seconds(model.clock_line.rise * 1e-12)
        assert run.heard["answer"] == seconds(model.answer * 1e-12)
        judged = {
            one.id: one for one in worst_case(run.design, ["levels.pressed", "levels.released"])
        }
        for name in ("pressed", "released"):
            measured = judged[f"levels.{name}"].measured[0]
            assert run.heard[name] == pytest.approx(measured, abs=0.02)


@pytest.mark.parametrize("corner", ["slow", "fast"])
def test_diodes_in_every_line_still_read(tmp_path, corner):
    run = Run(tmp_path, "pull-down-all-diodes", corner)
    assert run.bits() == [0, 1] * 4
    for name in ("latch_rise", "clock_rise", "latch_fall", "clock_fall"):
        assert run.heard[name] == seconds(run.foretold[name])
    for name in ("latch_low", "clock_high", "bit_2"):
        assert run.heard[name] == pytest.approx(run.foretold[name], abs=0.05)


def test_a_chain_shifts_all_its_bits(tmp_path):
    lower = [(f"\n{name} = {n}", f"\n{name} = {n + 16}") for name, n in BUTTONS.items()]
    run = Run(
        tmp_path,
        "push-pull",
        "slow",
        ("CD4021B", "74HC165"),
        ("latch-inverted = false", "latch-inverted = true"),
        ("stages = 8", "stages = 24"),
        ('use = "plain-loop"', 'use = "plain-loop"\nclocks = 24'),
        *lower,
    )
    assert run.bits() == [0, 1] * 4 + [1] * 16


BUTTONS = {"A": 8, "B": 7, "Select": 6, "Start": 5, "Up": 4, "Down": 3, "Left": 2, "Right": 1}


@pytest.mark.parametrize(
    ("port", "change"),
    [
        # Nothing lifts latch and clock.
        ("pull-down-only", ('"3.6k ± 5 %"', '"absent"')),
        # It loads for as long as the latch is low.
        ("push-pull", ("latch-inverted = false", "latch-inverted = true")),
        # Worn contacts do not pull such pull-ups down.
        ("push-pull", ('"39k ± 5 %"', '"3.9k ± 5 %"')),
    ],
)
def test_what_fails_on_the_bench_reads_wrong_there_too(tmp_path, port, change):
    run = Run(tmp_path, port, "slow", change)
    judged = (*judge_wiring(run.sheet), *judge_electric(run.sheet).findings)
    assert any(finding.verdict == "fail" for finding in judged)
    assert run.bits() != [0, 1] * 4


def test_a_pull_up_and_a_longer_cable_show(tmp_path):
    (tmp_path / "a").mkdir()
    run = Run(tmp_path / "a", "pull-down-only", "slow")
    longer = Run(tmp_path, "pull-down-only", "slow", ('length = "2.5 m"', 'length = "5 m"'))
    assert longer.heard["clock_rise"] > 1.8 * run.heard["clock_rise"]
    assert np.isfinite(longer.heard["data_rise"])
    assert longer.heard["data_rise"] > 1.5 * run.heard["data_rise"]
