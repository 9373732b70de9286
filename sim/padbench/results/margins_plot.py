"""Margins over all corners as a figure: how much room there is, and which corner takes it."""

from collections.abc import Sequence
from pathlib import Path
from textwrap import shorten
from typing import TYPE_CHECKING, Any

import numpy as np

from padbench.circuit.findings import Spread
from padbench.results.pictures import new_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["LEAST", "MOST", "margins_figure"]

LEAST, MOST = -1.2, 1.2
"""Parts of the limit that the axis shows; what lies beyond stands at its end with an arrow."""

_LONGEST = 130
_WIDE, _ROW = 13.0, 0.27
"""Inches."""


def margins_figure(spreads: Sequence[Spread], pad: str, path: Path) -> "Figure":
    """A row for each finding: a tick for every corner, a bar between them, a diamond on the worst.

    A broken limit is hollow and has a cross. Raises ``ValueError`` as `new_figure` does, and where
    there is nothing to draw.
    """
    if not spreads:
        raise ValueError("no finding has a margin to draw")
    tall = 1.2 + _ROW * len(spreads)
    figure = new_figure(path, _WIDE, tall)
    axes: Any = figure.add_axes((0.165, 0.6 / tall, 0.27, (tall - 1.1) / tall))
    for row, one in enumerate(spreads):
        inside = np.clip(one.margins, LEAST, MOST)
        worst = float(inside.min())
        broken = bool(one.margins.min() < 0)
        axes.plot(
            [worst, inside.max()], [row, row], color="0.7", linewidth=5, solid_capstyle="butt"
        )
        axes.plot(
            inside, np.full(len(inside), row), linestyle="", marker="|", markersize=8,
            color="0.25", gid=f"corners {one.id}",
        )  # fmt: skip
        axes.plot(
            [worst], [row], marker={LEAST: "<", MOST: ">"}.get(worst, "D"), markersize=6,
            color="black", markerfacecolor="white" if broken else "black", gid=f"worst {one.id}",
        )  # fmt: skip
        name = f"✗ {one.id}" if broken else one.id
        axes.text(
            -0.02, row, name, transform=axes.get_yaxis_transform(), ha="right", va="center",
            fontsize=8, weight="bold" if broken else "normal", parse_math=False,
        )  # fmt: skip
        axes.text(
            1.02, row, shorten(one.worst, _LONGEST, placeholder=" …"), va="center", fontsize=7,
            transform=axes.get_yaxis_transform(), color="0.25", parse_math=False,
        )  # fmt: skip
    axes.axvline(0, color="black", linewidth=1.5)
    axes.axvspan(LEAST - 0.1, 0, facecolor="0.93", zorder=0)
    axes.set_xlim(LEAST - 0.1, MOST + 0.1)
    axes.set_ylim(len(spreads) - 0.5, -0.5)
    axes.set_yticks([])
    axes.set_xticks([-1, -0.5, 0, 0.5, 1], ["−100", "−50", "limit", "50", "100"], fontsize=8)
    axes.set_xlabel("margin, % of the limit; left of the limit it is broken", fontsize=8)
    axes.spines[["left", "right", "top"]].set_visible(False)
    axes.text(
        1.02, 1.005, "worst at", transform=axes.transAxes, fontsize=8, va="bottom",
    )  # fmt: skip
    figure.text(
        0.02, 1 - 0.12 / tall, f"{shorten(pad, 80, placeholder=' …')}: margins at all corners",
        fontsize=11, weight="bold", va="top", parse_math=False,
    )  # fmt: skip
    return figure
