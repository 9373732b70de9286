"""Sweeps, and the delay of a poll plan, as figures.

All raise ``ValueError`` as `padbench.results.pictures.new_figure` does, and where there is nothing
to draw.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from padbench.results.pictures import BAD, BAND, INK, SOFT, STEPS, TEAL, new_figure
from padbench.routines.counts import OUTCOMES, SweepCounts
from padbench.routines.latency import Delays, LatencySetup
from padbench.routines.lengths import DesignMap

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = [
    "EXPOSURE",
    "exposure_figure",
    "latency_figure",
    "map_figure",
    "phases_figure",
]

EXPOSURE = (
    ("hit", "a read of the port is stopped", STEPS[0], ""),
    ("corrupt", "pass misread", STEPS[1], "//"),
    ("accepted_wrong", "a wrong byte is handed on", STEPS[3], ""),
)
"""Count of a sweep, what it means, and its colour and hatching."""


def exposure_figure(name: str, console: str, sweeps: Sequence[SweepCounts], path: Path) -> "Figure":
    """Bars in per cent of all cases (256 held states in every phase), a group for each period.

    Over each stands how many cases it is; one that is too low to be seen has a triangle. Raises
    ``ValueError`` also for a console without a fetch to sweep.
    """
    if not sweeps:
        raise ValueError("no rate was swept; this console has no fault to draw")
    figure = new_figure(path, max(6.5, 1.8 + 0.7 * len(sweeps)), 4.5, layout="constrained")
    axes: Any = figure.subplots()
    wide = 0.8 / len(EXPOSURE)
    highest = max(100 * getattr(one, key) / one.cases for key, *_ in EXPOSURE for one in sweeps)
    for place, (key, says, grey, hatch) in enumerate(EXPOSURE):
        shares = [100 * getattr(sweep, key) / sweep.cases for sweep in sweeps]
        at = [group + (place - 1) * wide for group in range(len(sweeps))]
        bars = axes.bar(
            at, shares, wide, label=says, color=grey, hatch=hatch, edgecolor=INK, linewidth=0.6
        )
        for bar, sweep, share in zip(bars, sweeps, shares, strict=True):
            bar.set_gid(key)
            cases, middle = getattr(sweep, key), bar.get_x() + wide / 2
            if cases and share < highest / 50:
                axes.plot([middle], [share], marker="^", color=INK, markerfacecolor=grey, gid="low")
            if cases:
                axes.annotate(
                    f"{cases:,}".replace(",", " "), (middle, share), xytext=(0, 7), rotation=90,
                    textcoords="offset points", ha="center", va="bottom", fontsize=7,
                )  # fmt: skip
    axes.set_xticks(range(len(sweeps)), [str(sweep.period) for sweep in sweeps])
    axes.set_xlabel("CPU cycles from one fetch to the next")
    axes.set_ylabel("cases, %")
    axes.set_ylim(0, (highest or 1) * 1.2)
    axes.set_title(f"{name[:60]}, {console} console", parse_math=False)
    _legend(figure, axes)
    axes.spines[["right", "top"]].set_visible(False)
    return figure


# Told apart by shape and size; the colour only repeats it.
_MARKS = ("", "|", "o", "^", "X")
_COLOURS = ("", *STEPS)
_SIZES = (0, 18, 14, 26, 60)
_APART = 0.03
"""Part of the axis that the number of a phase takes."""


def phases_figure(sweeps: Sequence[SweepCounts], title: str, path: Path) -> "Figure":
    """Phase against fetch period, each phase marked by the worst that any held state came to.

    ``gid`` of a set of marks is the outcome. The worst outcome has its phases beside its marks, as
    many as find room.
    """
    figure = new_figure(path, 11, 6, layout="constrained")
    axes: Any = figure.subplots()
    for code in range(1, len(OUTCOMES)):
        places = [
            (phase, row)
            for row, sweep in enumerate(sweeps)
            for phase, worst in enumerate(sweep.by_phase)
            if worst == code
        ]
        if places:
            across, up = zip(*places, strict=True)
            axes.scatter(
                across, up, s=_SIZES[code], marker=_MARKS[code], c=_COLOURS[code],
                label=f"{OUTCOMES[code]} ({len(places)})", gid=OUTCOMES[code],
                zorder=2 + code,
            )  # fmt: skip
            if code == len(OUTCOMES) - 1:
                _number(axes, places, max(sweep.period for sweep in sweeps))
    for row, sweep in enumerate(sweeps):
        axes.plot([0, sweep.period - 1], [row, row], color=BAND, linewidth=0.8, zorder=0)
    axes.set_yticks(range(len(sweeps)), [str(sweep.period) for sweep in sweeps])
    axes.set(xlabel="phase, CPU cycles", ylabel="fetch period, CPU cycles")
    axes.set_title(title[:90], parse_math=False)
    _legend(figure, axes)
    return figure


def _number(axes: Any, places: Sequence[tuple[int, int]], longest: int) -> None:
    """Say the phase above its mark, from left to right where there is room."""
    last = (-longest, -1)
    for phase, row in places:
        if row != last[1] or phase - last[0] > longest * _APART:
            last = phase, row
            axes.annotate(
                str(phase), (phase, row), xytext=(0, 7), textcoords="offset points", ha="center",
                fontsize=7, color=BAD, clip_on=True,
            )  # fmt: skip


def map_figure(chart: DesignMap, title: str, path: Path) -> "Figure":
    """Loop length against gap, marked where it is unsafe at one rate, and where at several.

    What is white is safe. ``gid`` of a set of marks is "one-rate" or "several-rates", of the
    routine as it is "now".
    """
    figure = new_figure(path, 11, 6, layout="constrained")
    axes: Any = figure.subplots()
    rates = np.array([[len(periods) for periods in row] for row in chart.unsafe])
    for which, gid, mark, colour, says in (
        (rates == 1, "one-rate", "|", STEPS[1], "one rate has a phase that stops two passes"),
        (rates > 1, "several-rates", "x", BAD, "several rates have one"),
    ):
        rows, columns = np.nonzero(which)
        across, up = np.array(chart.gaps)[columns], np.array(chart.loops)[rows]
        axes.scatter(across, up, s=14, marker=mark, c=colour, label=says, gid=gid)
    axes.bar([0], [0], facecolor="white", edgecolor=SOFT, label="white: safe at each rate tried")
    axes.axhline(chart.loop, color=SOFT, linewidth=1, linestyle="--")
    axes.plot(
        [0], [chart.loop], linestyle="", marker="D", markersize=9, color=TEAL,
        markerfacecolor="none", markeredgewidth=2, label="the routine now", gid="now",
        clip_on=False,
    )  # fmt: skip
    axes.set(
        xlabel="cycles added between the passes",
        ylabel="CPU cycles a bit",
        xlim=(chart.gaps[0] - 1, chart.gaps[-1] + 1),
        ylim=(chart.loops[0] - 1, chart.loops[-1] + 1),
    )
    axes.set_title(title[:90], parse_math=False)
    _legend(figure, axes)
    return figure


def _legend(figure: "Figure", axes: Any) -> None:
    """Beside the axes, where it covers no mark."""
    handles, labels = axes.get_legend_handles_labels()
    if handles:
        figure.legend(
            handles,
            labels,
            loc="outside lower center",
            ncols=len(labels),
            frameon=False,
            fontsize=8,
        )


def latency_figure(delays: Delays, setup: LatencySetup, path: Path, *, name: str) -> "Figure":
    """The share of presses that show within each delay, in milliseconds; ``name`` is the routine's.

    ``gid`` of the line is "share", of its mean "mean".
    """
    timing = setup.timing
    to_ms = 1000 / float(timing.clock)
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
        title=f"{name}: {timing.name} console, polled in line {setup.plan.line} of every "
        f"{'frame' if setup.plan.every == 1 else f'{setup.plan.every} frames'}, "
        f"{len(setup.latches)} {'pass' if len(setup.latches) == 1 else 'passes'}",
    )
    frame = float(timing.frame_cycles) * to_ms
    above = axes.secondary_xaxis("top", functions=(_times(1 / frame), _times(frame)))
    above.set_xlabel("frames")
    axes.grid(alpha=0.3)
    return figure


def _times(factor: float) -> Any:
    """A function that multiplies arrays."""
    return lambda values: values * factor
