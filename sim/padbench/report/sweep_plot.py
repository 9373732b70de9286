"""Sweeps as pictures; they need the extra ``pictures`` (matplotlib)."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from padbench.sweep.design_map import DesignMap
from padbench.sweep.tally import OUTCOMES, Tally

__all__ = ["draw_map", "draw_phases"]

_KINDS = (".png", ".svg", ".pdf")
# Told apart by shape and height as well as by colour.
_MARKS = ("", "|", "o", "^", "X")
_COLOURS = ("", "0.6", "tab:blue", "tab:orange", "tab:red")


def draw_phases(tallies: Sequence[Tally], title: str, path: Path) -> None:
    """Phase against fetch period, each phase marked by the worst that any held state came to.

    Raises ``ValueError`` for an ending other than .png, .svg or .pdf or without matplotlib,
    ``OSError`` if the file cannot be written.
    """
    figure, axes = _figure(path, (11, 6))
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
                across, up, s=18, marker=_MARKS[code], c=_COLOURS[code], label=OUTCOMES[code]
            )
    for row, tally in enumerate(tallies):
        axes.plot([0, tally.period - 1], [row, row], color="0.85", linewidth=0.8, zorder=0)
    axes.set_yticks(range(len(tallies)), [str(tally.period) for tally in tallies])
    axes.set(xlabel="phase, CPU cycles", ylabel="fetch period, CPU cycles", title=title)
    if axes.get_legend_handles_labels()[0]:
        axes.legend(loc="upper right")
    _save(figure, path)


def draw_map(found: DesignMap, title: str, path: Path) -> None:
    """Loop length against gap: unsafe places are dark and crossed. Raises as `draw_phases`."""
    figure, axes = _figure(path, (11, 6))
    unsafe = ~np.array(found.safe)
    rows, columns = np.nonzero(unsafe)
    axes.scatter(
        np.array(found.gaps)[columns],
        np.array(found.loops)[rows],
        s=14,
        marker="x",
        c="tab:red",
        label="a phase stops both passes",
    )
    axes.axhline(found.loop, color="0.4", linewidth=1, linestyle="--", label="loop now")
    axes.set(
        xlabel="cycles added between the passes",
        ylabel="CPU cycles a bit",
        xlim=(found.gaps[0] - 1, found.gaps[-1] + 1),
        ylim=(found.loops[0] - 1, found.loops[-1] + 1),
        title=title,
    )
    axes.legend(loc="upper right")
    _save(figure, path)


def _figure(path: Path, size: tuple[float, float]) -> tuple[Any, Any]:
    if path.suffix.lower() not in _KINDS:
        raise ValueError(f"{path} is no kind of picture; end it in {', '.join(_KINDS)}")
    try:
        from matplotlib.figure import Figure  # noqa: PLC0415  (slow, and an extra)
    except ImportError:
        raise ValueError("matplotlib is missing; pip install 'padbench[pictures]'") from None
    figure = Figure(figsize=size, layout="constrained")
    return figure, figure.subplots()


def _save(figure: Any, path: Path) -> None:
    """By way of a file beside it, so that a picture is whole or not there."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.part")
    try:
        figure.savefig(beside, format=path.suffix[1:].lower())
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
