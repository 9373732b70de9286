"""Sweeps, and the delay of a poll plan, as figures.

All raise ``ValueError`` as `padbench.results.pictures.new_figure` does, and where there is nothing
to draw.
"""

from collections.abc import Sequence
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

from padbench.results.blocks import Strips
from padbench.results.pictures import BAD, BAND, INK, SOFT, STEPS, TEAL, new_figure
from padbench.routines.latency import Delays, LatencySetup

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def strips_figure(strips: Strips, title: str, path: Path) -> "Figure":
    """Rows of places on one axis, each stretch marked by what it came to: taller is worse.

    ``gid`` of a set of marks is what the legend says of it, of things as they are "now". The worst
    have their place beside them, as many as find room. Raises ``ValueError`` also where there is no
    row.
    """
    if not strips.rows:
        raise ValueError("no rate was swept; this console has no fault to draw")
    figure = new_figure(path, 11, 1.8 + len(strips.rows) * strips.tall / 60, layout="constrained")
    axes: Any = figure.subplots()
    for code, says in strips.kinds:
        marks = [(row, span) for row, strip in enumerate(strips.rows) for span in strip.spans]
        marks = [(row, span) for row, span in marks if span[2] == code]
        axes.bar(
            [start for _, (start, _, _) in marks],
            [0.2 * code] * len(marks),
            [size for _, (_, size, _) in marks],
            [-row for row, _ in marks],
            align="edge", color=STEPS[code - 1], edgecolor=STEPS[code - 1], linewidth=0.5,
            label=says, gid=says,
        )  # fmt: skip
        if code == len(STEPS):
            _number(axes, [(start, -row) for row, (start, _, _) in marks], strips.length)
    for row, strip in enumerate(strips.rows):
        axes.plot([0, strip.length], [-row, -row], color=BAND, linewidth=0.8, zorder=0)
        if strip.now:
            axes.plot(
                [0.5], [0.4 - row], linestyle="", marker="D", markersize=9, color=TEAL, gid="now",
                markerfacecolor="none", markeredgewidth=2, label="the routine now", clip_on=False,
            )  # fmt: skip
    if strips.white or not strips.kinds:
        says = f"no mark: {strips.white or strips.none}"
        # For the legend alone: it lies beside the axes.
        axes.bar([-9], [0], facecolor="white", edgecolor=SOFT, label=says)
    some = [*range(0, len(strips.rows), 1 if strips.tall > _LOW_ROW else 4)]
    axes.set_yticks([-row for row in some], [strips.rows[row].label for row in some])
    axes.set(xlabel=strips.across, ylabel=strips.up, xlim=(-0.5, strips.length))
    # A single row too has room above it, for the number of its worst place.
    axes.set_ylim(-len(strips.rows) + 0.9, 1.5)
    axes.set_title(fill(title, 110, max_lines=2, placeholder=" …"), parse_math=False)
    _legend(figure, axes)
    return figure


_APART = 0.03
"""Part of the axis that the number of a place takes."""
_LOW_ROW = 14


def _number(axes: Any, places: Sequence[tuple[int, int]], longest: int) -> None:
    """Say the place above its mark, from left to right where there is room, above as well."""
    room, last = longest * _APART, (-longest, 1)
    for place, row in places:
        above = any(up == row + 1 and abs(other - place) < room for other, up in places)
        if not above and (row != last[1] or place - last[0] > room):
            last = place, row
            axes.annotate(
                str(place), (place, row + 0.8), xytext=(0, 1), textcoords="offset points",
                ha="center", fontsize=7, color=BAD, clip_on=True,
            )  # fmt: skip


def _legend(figure: "Figure", axes: Any) -> None:
    """Beside the axes, where it covers no mark."""
    handles, labels = axes.get_legend_handles_labels()
    figure.legend(
        handles, labels, loc="outside lower center", ncols=len(labels), frameon=False, fontsize=8
    )


def latency_figure(delays: Delays, setup: LatencySetup, path: Path, *, name: str) -> "Figure":
    """The share of presses that show within each delay, in milliseconds; ``name`` is the routine's.

    ``gid`` of the line is "share", of its mean "mean".
    """
    timing = setup.timing
    to_ms = 1000 / float(timing.clock)
    lines = " and ".join(map(str, setup.lines))
    figure = new_figure(path, 8, 4.5, layout="constrained")
    axes: Any = figure.subplots()
    axes.plot(
        [float(at) * to_ms for at, _ in delays.corners],
        [100 * float(share) for _, share in delays.corners],
        color=INK,
        gid="share",
    )
    mean = float(delays.mean) * to_ms
    axes.axvline(mean, linestyle="--", linewidth=1, color=TEAL, gid="mean")
    axes.annotate(f"mean {mean:.1f} ms", (mean, 3), xytext=(4, 0), textcoords="offset points")
    axes.set(
        xlabel="from press to picture, ms",
        ylabel="presses shown by then, %",
        ylim=(0, 101),
        title=f"{name}: {timing.name} console, polled in line {lines} of every "
        f"{'frame' if setup.every == 1 else f'{setup.every} frames'}",
    )
    frame = float(timing.frame_cycles) * to_ms
    above = axes.secondary_xaxis("top", functions=(_times(1 / frame), _times(frame)))
    above.set_xlabel("frames")
    axes.grid(alpha=0.3)
    return figure


def _times(factor: float) -> Any:
    """A function that multiplies arrays."""
    return lambda values: values * factor
