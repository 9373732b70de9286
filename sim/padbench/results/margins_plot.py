"""Margins over all corners as a figure: how much room there is, the thinnest first."""

from collections.abc import Sequence
from pathlib import Path
from textwrap import shorten
from typing import TYPE_CHECKING, Any

import numpy as np

from padbench.circuit.electric import Spread
from padbench.core.findings import Finding
from padbench.core.sentences import amount
from padbench.results.pictures import BAD, BAND, INK, SOFT, STEPS, TEAL, new_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LEAST, MOST = -1.2, 1.2
"""Parts of the limit that the axis shows; what lies beyond stands at its end with an arrow."""

_WIDE, _ROW = 7.5, 0.14
"""Inches."""


def margins_figure(
    spreads: Sequence[Spread], findings: Sequence[Finding], pad: str, path: Path
) -> "Figure":
    """A row for each finding, by its least margin: a tick for every corner, a mark on the worst.

    Beside it stand the margin in parts of the limit, what was measured and the limit. A broken
    limit is hollow and has a cross. Raises ``ValueError`` as `new_figure` does, and where there is
    nothing to draw.
    """
    if not spreads:
        raise ValueError("no finding has a margin to draw")
    by_id = {found.id: found for found in findings}
    tall = 1.25 + _ROW * len(spreads)
    figure = new_figure(path, _WIDE, tall)
    axes: Any = figure.add_axes((0.27, 0.72 / tall, 0.4, (tall - 1.2) / tall))
    across = axes.get_yaxis_transform()
    for row, one in enumerate(sorted(spreads, key=lambda one: float(one.margins.min()))):
        inside = np.clip(one.margins, LEAST, MOST)
        worst = float(inside.min())
        broken = bool(one.margins.min() < 0)
        colour = BAD if broken else INK
        axes.plot(
            [worst, inside.max()], [row, row], color=STEPS[0], linewidth=4, solid_capstyle="butt"
        )
        axes.plot(
            inside, np.full(len(inside), row), linestyle="", marker="|", markersize=5,
            color=SOFT, gid=f"corners {one.id}",
        )  # fmt: skip
        axes.plot(
            [worst], [row], marker={LEAST: "<", MOST: ">"}.get(worst, "D"), markersize=4,
            color=colour, markerfacecolor="white" if broken else colour, gid=f"worst {one.id}",
        )  # fmt: skip
        texts = (
            (-0.02, "right", f"✗ {one.id}" if broken else one.id),
            (1.16, "right", _per_cent(float(one.margins.min()))),
            (1.19, "left", _values(by_id[one.id])),
        )
        for x, side, says in texts:
            axes.text(
                x, row, says, transform=across, ha=side, va="center", fontsize=6, color=colour,
                parse_math=False,
            )  # fmt: skip
    axes.axvline(0, color=TEAL, linewidth=1.5)
    axes.axvspan(LEAST - 0.1, 0, facecolor=BAND, zorder=0)
    axes.set_xlim(LEAST - 0.1, MOST + 0.1)
    axes.set_ylim(len(spreads) - 0.5, -0.5)
    axes.set_yticks([])
    axes.set_xticks([-1, -0.5, 0, 0.5, 1], ["−100", "−50", "limit", "50", "100"], fontsize=7)
    axes.set_xlabel("margin, % of the limit; shaded: the limit is broken", fontsize=7)
    axes.spines[["left", "right", "top"]].set_visible(False)
    for x, side, says in ((1.16, "right", "margin"), (1.19, "left", "measured, limit")):
        axes.text(x, 1.0, says, transform=axes.transAxes, ha=side, va="bottom", fontsize=7)
    _key(figure, tall)
    figure.text(
        0.02, 1 - 0.1 / tall, f"{shorten(pad, 50, placeholder=' …')}: margins, the thinnest first",
        fontsize=10, weight="bold", va="top", parse_math=False,
    )  # fmt: skip
    return figure


def _key(figure: "Figure", tall: float) -> None:
    from matplotlib.lines import Line2D  # noqa: PLC0415

    marks = (
        ("|", SOFT, SOFT, "a corner"),
        ("D", INK, INK, "the worst of them"),
        ("D", BAD, "white", "the worst, limit broken"),
        (">", INK, INK, "beyond the axis"),
    )
    figure.legend(
        [
            Line2D([], [], linestyle="", marker=mark, color=edge, markerfacecolor=face)
            for mark, edge, face, _ in marks
        ],
        [says for *_, says in marks],
        loc="lower center",
        ncols=len(marks),
        frameon=False,
        fontsize=7,
        bbox_to_anchor=(0.5, 0.02 / tall),
    )


def _per_cent(margin: float) -> str:
    if margin == -np.inf:
        return "never"
    return f"{100 * margin:+.0f} %".replace("-", "−")


def _values(found: Finding) -> str:
    if found.measured is None or found.limit is None:
        return ""
    return f"{amount(found.measured, found.unit)}, {amount(found.limit, found.unit)}"
