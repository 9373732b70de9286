"""The bars are the counts of the sweeps."""

from pathlib import Path

import pytest

from padbench.cli import main
from padbench.results.sweep_plots import EXPOSURE, exposure_figure
from padbench.routines.counts import SweepCounts

SWEEPS = [
    SweepCounts(432, 432 * 256, 3000, 200, 10, 0, 0),
    SweepCounts(3424, 3424 * 256, 900, 20, 0, 0, 0),
]


def test_each_bar_has_the_height_of_its_count():
    figure = exposure_figure("mine $x", "60hz", SWEEPS, Path("a.svg"))
    (axes,) = figure.axes
    for key, *_ in EXPOSURE:
        bars = [bar for bar in axes.patches if bar.get_gid() == key]
        assert [bar.get_height() for bar in bars] == pytest.approx(
            [100 * getattr(sweep, key) / sweep.cases for sweep in SWEEPS]
        )
    # Readable in grey: no two kinds look alike.
    looks = {(bar.get_facecolor(), bar.get_hatch()) for bar in axes.patches}
    assert len(looks) == len(EXPOSURE)
    assert [label.get_text() for label in axes.get_xticklabels()] == ["432", "3424"]


def test_routine_draws_it(tmp_path, capsys):
    path = tmp_path / "a.svg"
    assert main(["routine", "read-once", "--picture", str(path)]) in (0, 1)
    assert f"Picture: {path}" in capsys.readouterr().out
    assert path.read_bytes().startswith(b"<?xml")
    assert main(["routine", "read-once", "--picture", str(tmp_path / "a.gif")]) == 2
    assert capsys.readouterr().err.count("\n") == 1
