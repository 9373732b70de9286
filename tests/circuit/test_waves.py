"""Voltages of the lines against the digital wires, and in a VCD file read by another reader."""

from pathlib import Path

import numpy as np
import pytest
from vcdvcd import VCDVCD

from padbench.circuit.waves import line_waves, worst_port
from padbench.cli import main
from padbench.scenarios import SCENARIOS
from padbench.sheet import STARTER, load_sheet, sheet_from_text
from padbench.trials.trial import run_scenario

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
B = load_sheet(SHEETS / "harbour-b.toml")


def crossings(wave, volts, up):
    times, level = wave
    before, after = level[:-1], level[1:]
    found = (before < volts) & (after >= volts) if up else (before > volts) & (after <= volts)
    place = np.flatnonzero(found)
    part = (volts - before[place]) / (after[place] - before[place])
    return times[place] + part * (times[place + 1] - times[place])


@pytest.mark.parametrize("port", ["push-pull", "pull-down-only"])
def test_voltages_cross_where_the_digital_lines_change_and_stay_within_the_supply(port):
    run = run_scenario(B, SCENARIOS["each-button"], port, "slow")
    waves = line_waves(B, port, run.timeline)
    for times, volts in waves.values():
        assert np.all(np.diff(times) > 0)
        assert times[-1] <= run.timeline.end_ps
        assert volts.min() >= 0
        assert volts.max() <= 5.25
    for line in ("latch", "clock", "data"):
        wire = run.timeline.wires[f"cable.{line}"]
        wave = waves[f"analogue.{line}"]
        supply = 5.25 if port == "pull-down-only" and line != "data" else 4.75
        rises = wire.rises()
        found = crossings(wave, 0.7 * supply, up=True)
        # What begins before the first read is at no level in the wire.
        rises = rises[-len(found) :]
        assert len(found) >= 8
        assert np.max(np.abs(found - rises)) < 60e3, line  # picoseconds; straight lines between
        falls = wire.falls()
        lows = crossings(wave, 0.3 * supply, up=False)
        assert np.max(np.abs(lows[-len(falls) :] - falls[-len(lows) :])) < 60e3, line


def test_at_the_fast_corner_nothing_moves_before_its_cause():
    """It has no delays: each line is at the other level when its wire is, and not before."""
    run = run_scenario(B, SCENARIOS["each-button"], "pull-down-only", "fast")
    waves = line_waves(B, "pull-down-only", run.timeline, corner="fast")
    for line in ("latch", "clock", "data"):
        wire = run.timeline.wires[f"cable.{line}"]
        times, volts = waves[f"analogue.{line}"]
        edges = wire.times[1:]
        after = np.interp(edges + 2, times, volts)
        up = wire.levels[1:] == 1
        assert np.array_equal(after[edges > 0] > 3, up[edges > 0]), line
        moved = times[np.flatnonzero(np.abs(np.diff(volts)) > 0.02)]
        assert set(moved.tolist()) <= set(wire.times.tolist()), line


def test_a_line_that_nothing_lifts_stays_down():
    sheet = sheet_from_text(STARTER.replace('"3.6k ± 5 %"', '"absent"'), "bare")
    run = run_scenario(sheet, SCENARIOS["each-button"], "pull-down-only", "slow")
    for name in ("analogue.latch", "analogue.clock"):
        _, volts = line_waves(sheet, "pull-down-only", run.timeline)[name]
        assert volts.max() < 0.1


def test_the_file_has_real_variables_in_step_with_the_wires(tmp_path):
    target = tmp_path / "volts.vcd"
    sheet = SHEETS / "harbour-b.toml"
    assert main(["verify", str(sheet), "--no-waves", "--analogue", str(target), "--json"]) == 0
    read = VCDVCD(str(target))
    clock = read["analogue.clock"]
    assert clock.var_type == "real"
    levels = [float(value) for _, value in clock.tv]
    assert max(levels) > 4.5
    assert 0 < min(levels) < 1
    assert len(read["cable.clock"].tv) > 100
    # Each edge begins where the line stands, however long it has stood there.
    for line in ("latch", "clock"):
        edges = {when for when, _ in read[f"console.{line}"].tv[1:]}
        assert edges <= {when for when, _ in read[f"analogue.{line}"].tv}
    (_, first), (edge, flat) = read["analogue.latch"].tv[:2]
    assert (edge, flat) == (read["console.latch"].tv[1][0], first)


def test_the_port_with_the_least_margin_is_shown():
    assert worst_port(B) == "pull-down-only"
    for names in ('"push-pull", "pull-down-only"', '"pull-down-only", "push-pull"'):
        text = (SHEETS / "harbour-a.toml").read_text()
        text = text.replace('"push-pull", "pull-down-only"', names)
        assert worst_port(sheet_from_text(text, "a")) == "pull-down-only"
    only = (SHEETS / "harbour-a.toml").read_text().replace(', "pull-down-only"', "")
    assert worst_port(sheet_from_text(only, "a")) == "push-pull"


def test_the_file_shows_the_scenario_that_is_asked_for(tmp_path, capsys):
    own = tmp_path / "own.toml"
    own.write_text(
        '[[scenario]]\nname = "mine"\nsays = "Mine."\n[[scenario.step]]\nhold = ["A"]\npolls = 3\n'
    )
    target = tmp_path / "volts.vcd"
    sheet = str(SHEETS / "harbour-a.toml")  # it fails at the fast corner, where there are no delays
    ask = ["verify", sheet, "--no-waves", "--scenarios", str(own), "--analogue", str(target)]
    assert main([*ask, "--analogue-of", "mine", "--json"]) == 1
    # It reads wrong on the push-pull port too, but only on the other does nothing lift the clock.
    assert "mine: voltages at the worst corner, pull-down-only port" in target.read_text()
    read = VCDVCD(str(target))
    assert max(float(value) for _, value in read["analogue.clock"].tv) < 0.1
    assert sum(value == "1" for _, value in read["console.latch"].tv) == 3
    capsys.readouterr()
    assert main([*ask, "--analogue-of", "mime"]) == 2
    assert capsys.readouterr().err.count("\n") == 1
