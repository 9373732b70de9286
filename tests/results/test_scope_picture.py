"""The screens show the voltages that the findings judge, in round steps."""

import itertools
import re
from pathlib import Path

import numpy as np
import pytest

from padbench.circuit.circuits import Circuits
from padbench.circuit.design import design_of
from padbench.circuit.waves import worst_port
from padbench.cli import main
from padbench.jobs.loading import known_scenarios, scenario_named
from padbench.results import pictures
from padbench.results.scope_picture import ACROSS, UP, round_step, scope_figure
from padbench.sheet import load_sheet
from padbench.trials.trial import run_scenario

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
SVG = Path("a.svg")


def screens(name: str):
    sheet = load_sheet(SHEETS / f"{name}.toml")
    port = worst_port(sheet)
    shown = scenario_named("each-button", known_scenarios(sheet, None))
    run = run_scenario(sheet, shown, port, "slow")
    figure = scope_figure(sheet, run, 0, SVG)
    return Circuits(design_of(sheet, sheet.part, sheet.port(port))), figure.axes


@pytest.mark.parametrize(
    ("value", "step"), [(1.0, 1), (1.01, 2), (0.3e-6, 0.5e-6), (5.1, 10), (2, 2), (0.0475, 0.05)]
)
def test_steps_are_those_of_a_scope(value, step):
    assert round_step(value) == pytest.approx(step)


def test_each_edge_passes_its_threshold_when_the_circuit_says():
    circuits, (whole, *edges) = screens("harbour-b")
    assert [line.get_gid() for line in whole.lines if line.get_gid() in ("latch", "clock", "data")]
    for axes, line in zip(edges, (circuits.latch, circuits.clock), strict=False):
        title = axes.get_title(loc="left")
        number, unit = re.search(r": (\d+) (ns|µs) and 1 V a division", title).groups()
        step = int(number) * {"ns": 1e-9, "µs": 1e-6}[unit]
        (trace,) = (one for one in axes.lines if one.get_gid() in ("latch", "clock"))
        corner = int(np.argmax(line.rise_high[0]))
        high = 1 + float(line.high_at[0, corner])  # 0 V is a division up, 1 V a division
        x, y = trace.get_xdata(), trace.get_ydata()
        rising = x >= 2  # it begins two divisions from the left
        crossed = np.interp(high, y[rising], x[rising])
        assert (crossed - 2) * step == pytest.approx(float(line.rise_high.max()), rel=0.01)
        dashed = [one.get_ydata()[0] for one in axes.lines if "threshold" in str(one.get_gid())]
        assert max(dashed) == pytest.approx(high)
        assert f"high from {high - 1:.2f} V" in [text.get_text() for text in axes.texts]
        assert (axes.get_xlim(), axes.get_ylim()) == ((0, ACROSS), (-0.1, UP))


@pytest.mark.parametrize("name", ["harbour-a", "harbour-b"])
def test_every_line_goes_across_its_screen(name):
    _, axes = screens(name)
    traces = [
        line for one in axes for line in one.lines if line.get_gid() in ("latch", "clock", "data")
    ]
    assert len(traces) == 6
    for trace in traces:
        assert min(trace.get_xdata()) <= 0
        assert max(trace.get_xdata()) >= ACROSS


def test_a_line_that_never_rises_is_drawn_below_its_threshold_and_said():
    _, (_, latch, *_) = screens("harbour-a")
    assert latch.get_title(loc="left").startswith("latch: no edge")
    assert "It stays at 0.00 V in this read." in [text.get_text() for text in latch.texts]
    (trace,) = (one for one in latch.lines if one.get_gid() == "latch")
    high = max(one.get_ydata()[0] for one in latch.lines if "threshold" in str(one.get_gid()))
    assert max(trace.get_ydata()) < high < UP


def test_verify_draws_it(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    sheet = SHEETS / "harbour-b.toml"
    assert main(["verify", str(sheet), "--no-waves", "--scope", "scope.gif"]) == 2
    assert "scope.gif" in capsys.readouterr().err


def test_the_palette_is_the_pages_and_told_apart_in_grey():
    """Relative luminance by ITU-R BT.601: 0.299 R + 0.587 G + 0.114 B."""
    css = Path(pictures.__file__).with_name("page") / "page.css"
    light = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", css.read_text().split("@media")[0]))
    assert (light["ink"], light["soft"], light["band"], light["teal"]) == (
        pictures.INK, pictures.SOFT, pictures.BAND, pictures.TEAL,
    )  # fmt: skip
    names = ("rule", "mild", "hatch", "bad")
    assert [light[name] for name in names] == list(pictures.STEPS)
    greys = [
        sum(w * int(one[at : at + 2], 16) for w, at in ((0.299, 1), (0.587, 3), (0.114, 5)))
        for one in pictures.STEPS
    ]
    assert min(a - b for a, b in itertools.pairwise(greys)) > 25
