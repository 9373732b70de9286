"""Sweeps as figures: what each phase does at each rate, and which loops and gaps are safe."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from padbench.results.pictures import new_figure
from padbench.routines.design_map import DesignMap
from padbench.routines.tally import OUTCOMES, Tally

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["map_figure", "phases_figure"]

# Told apart by shape and size; the colour only repeats it.
_MARKS = ("", "|", "o", "^", "X")
_COLOURS = ("", "0.6", "0.45", "tab:orange", "tab:red")
_SIZES = (0, 18, 14, 26, 38)


def phases_figure(tallies: Sequence[Tally], title: str, path: Path) -> "Figure":
    """Phase against fetch period, each phase marked by the worst that any held state came to.

    ``gid`` of a set of marks is the outcome. Raises ``ValueError`` as `new_figure` does.
    """
    figure = new_figure(path, 11, 6, layout="constrained")
    axes: Any = figure.subplots()
    for code in range(1, len(OUTCOMES)):
        places = [
            (phase, row)
            for row, tally in enumerate(tallies)
            for phase, worst in enumerate(tally.by_phase)
            if worst == code
        ]
        if places:
            across, up = zip(*places, strict=True)
            axes.scatter(
                across, up, s=_SIZES[code], marker=_MARKS[code], c=_COLOURS[code],
                label=OUTCOMES[code], gid=OUTCOMES[code],
            )  # fmt: skip
    for row, tally in enumerate(tallies):
        axes.plot([0, tally.period - 1], [row, row], color="0.85", linewidth=0.8, zorder=0)
    axes.set_yticks(range(len(tallies)), [str(tally.period) for tally in tallies])
    axes.set(xlabel="phase, CPU cycles", ylabel="fetch period, CPU cycles")
    axes.set_title(title[:90], parse_math=False)
    _legend(figure, axes)
    return figure


def map_figure(found: DesignMap, title: str, path: Path) -> "Figure":
    """Loop length against gap, marked where it is unsafe at one rate, and where at several.

    ``gid`` of a set of marks is "one-rate" or "several-rates". Raises as `phases_figure`.
    """
    figure = new_figure(path, 11, 6, layout="constrained")
    axes: Any = figure.subplots()
    rates = np.array([[len(periods) for periods in row] for row in found.unsafe])
    for which, gid, mark, colour, says in (
        (rates == 1, "one-rate", "|", "tab:orange", "one rate has a phase that stops two passes"),
        (rates > 1, "several-rates", "x", "tab:red", "several rates have one"),
    ):
        rows, columns = np.nonzero(which)
        across, up = np.array(found.gaps)[columns], np.array(found.loops)[rows]
        axes.scatter(across, up, s=14, marker=mark, c=colour, label=says, gid=gid)
    axes.axhline(found.loop, color="0.4", linewidth=1, linestyle="--", label="loop now", gid="now")
    axes.set(
        xlabel="cycles added between the passes",
        ylabel="CPU cycles a bit",
        xlim=(found.gaps[0] - 1, found.gaps[-1] + 1),
        ylim=(found.loops[0] - 1, found.loops[-1] + 1),
    )
    axes.set_title(title[:90], parse_math=False)
    _legend(figure, axes)
    return figure


def _legend(figure: "Figure", axes: Any) -> None:
    """Beside the axes, where it covers no mark."""
    handles, labels = axes.get_legend_handles_labels()
    if handles:
        figure.legend(handles, labels, loc="outside lower right", ncols=len(labels), frameon=False)
