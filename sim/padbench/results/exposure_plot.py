"""How much of a read routine the sample fetch reaches, rate by rate, as a figure."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from padbench.results.pictures import new_figure
from padbench.routines.engine import SweepCounts

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["KINDS", "exposure_figure"]

KINDS = (
    ("hit", "a read of the port is stopped", "0.85", ""),
    ("corrupt", "a pass reads a wrong byte", "0.6", "//"),
    ("accepted_wrong", "a wrong byte is handed on", "0.15", ""),
)
"""Count of a sweep, what it means, and its grey and hatching."""


def exposure_figure(name: str, console: str, sweeps: Sequence[SweepCounts], path: Path) -> "Figure":
    """Bars in per cent of all cases (256 held states in every phase), a group for each period.

    Raises ``ValueError`` as `new_figure` does, and for a console without a fetch to sweep.
    """
    if not sweeps:
        raise ValueError("no rate was swept; this console has no fault to draw")
    figure = new_figure(path, max(5.0, 1.8 + 0.55 * len(sweeps)), 4.0, layout="constrained")
    axes: Any = figure.subplots()
    wide = 0.8 / len(KINDS)
    for place, (key, says, grey, hatch) in enumerate(KINDS):
        shares = [100 * getattr(sweep, key) / sweep.cases for sweep in sweeps]
        at = [group + (place - 1) * wide for group in range(len(sweeps))]
        bars = axes.bar(
            at, shares, wide, label=says, color=grey, hatch=hatch, edgecolor="black", linewidth=0.6
        )
        for bar in bars:
            bar.set_gid(key)
    axes.set_xticks(range(len(sweeps)), [str(sweep.period) for sweep in sweeps])
    axes.set_xlabel("CPU cycles from one fetch to the next")
    axes.set_ylabel("cases, %")
    axes.set_ylim(bottom=0)
    axes.margins(y=0.25)
    axes.set_title(f"{name[:60]}, {console} console", parse_math=False)
    axes.legend(frameon=False, fontsize=8, loc="upper left")
    axes.spines[["right", "top"]].set_visible(False)
    return figure
