"""A swept pad as a figure: which buttons show what is not held, read by read."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from padbench.core.buttons import BUTTONS
from padbench.padsweep.tally import PadTally
from padbench.results.pad_sweep_json import TIES, PadResult
from padbench.results.pictures import new_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["pad_sweep_figure"]

_PANELS = (("shown", "seen and not held"), ("lost", "held and not seen"))


def pad_sweep_figure(name: str, result: PadResult, path: Path) -> "Figure":
    """Per cent of the reads in which a button is seen and not held, or held and not seen.

    A panel for each of the two and each tie of the serial input; in it a row for each button and a
    last one for reads that are not as they must come out, and a column for each kind of read:
    undisturbed, then each stopped bit with one to three extra clocks. The number stands in each
    place that is not empty; the grey says it again. Raises ``ValueError`` as `new_figure` does, and
    for a sweep that was stopped before it had counted anything.
    """
    ties = sorted({tie for tie, _, _ in result.reads})
    if not ties:
        raise ValueError("no case was counted; there is nothing to draw")
    figure = new_figure(path, 12.5, 2.9 * len(_PANELS) * len(ties) + 0.6, layout="constrained")
    rows: Any = figure.subplots(len(_PANELS) * len(ties), squeeze=False)
    panels = [(tie, *panel) for tie in ties for panel in _PANELS]
    for axes, (tie, counts, says) in zip(rows[:, 0], panels, strict=True):
        reads = sorted((bit, extra) for at, bit, extra in result.reads if at == tie)
        shares = np.array([_column(result.reads[tie, *read], counts) for read in reads]).T
        axes.imshow(shares, cmap="Greys", vmin=0, vmax=100, aspect="auto")
        for (row, column), share in np.ndenumerate(shares):
            if share:
                axes.text(
                    column,
                    row,
                    _per_cent(share),
                    ha="center",
                    va="center",
                    fontsize=6.5,
                    color="white" if share > 55 else "black",
                    gid=f"{counts}-{tie}-{row}-{column}",
                )
        axes.set_yticks(range(len(BUTTONS) + 1), [*BUTTONS, "not as it must"], fontsize=7)
        axes.set_xticks(range(len(reads)), [_named(*read) for read in reads], fontsize=7)
        axes.axhline(len(BUTTONS) - 0.5, color="black", linewidth=1)
        for place, (_, extra) in enumerate(reads):
            if extra <= 1:
                axes.axvline(place - 0.5, color="0.5", linewidth=0.5)
        title = f"{says}, % of reads; serial input at {TIES[tie]}"
        axes.set_title(title, loc="left", fontsize=9)
    rows[-1, 0].set_xlabel("stopped bit · extra clocks (–: undisturbed)")
    ports = ", ".join(result.ports)
    figure.suptitle(f"{name[:60]}, {ports}, policy {result.policy}", parse_math=False, fontsize=10)
    return figure


def _column(tally: PadTally, counts: str) -> list[float]:
    return [100 * count / tally.cases for count in (*getattr(tally, counts), tally.wrong)]


def _per_cent(share: float) -> str:
    if share < 1:
        return "<1"
    return ">99" if 99 < share < 100 else f"{share:.0f}"


def _named(bit: int, extra: int) -> str:
    return f"{bit}·{extra}" if bit else "–"
