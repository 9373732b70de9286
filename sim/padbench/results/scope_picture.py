"""Latch, clock and data as voltages, laid out as a scope shows them, to hold beside a real trace.

    figure = scope_figure(sheet, run, 0, Path("scope.svg"))

One screen has a whole read, three more the slowest edge of each line in it, with the thresholds
that count there. Time and volts per division are round steps, ten divisions by eight. ``gid`` of a
trace is its line; x and y are in divisions.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import floor, log10
from pathlib import Path
from textwrap import shorten
from typing import TYPE_CHECKING, Any

import numpy as np

from padbench.circuit.waves import Wave, line_waves, thresholds
from padbench.core.levels import HIGH
from padbench.core.timeline import Wire
from padbench.core.units import show
from padbench.results.pictures import BAD, BAND, INK, SOFT, STEPS, TEAL, new_figure
from padbench.sheet import Sheet
from padbench.trials.scenario_run import ScenarioRun

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ACROSS, UP = 10, 8
"""Divisions of a screen (common practice)."""

_COLOURS = {"latch": INK, "clock": TEAL, "data": BAD}
"""Lines from top to bottom."""

_POINTS = 64
"""Of a curve, so that it looks like one."""

_BEFORE, _TO_THRESHOLD = 2, 4
"""Divisions before an edge begins, and at most from there to its threshold."""


@dataclass(frozen=True, slots=True)
class _Edge:
    """Picoseconds at which a line begins to move, and at which it passes its threshold."""

    begin: int
    passes: int
    rises: bool


def round_step(value: float) -> float:
    """The least of 1, 2, 5 times a power of ten that is not below a positive value."""
    power = 10.0 ** floor(log10(value))
    return float(next(n * power for n in (1, 2, 5, 10) if n * power >= value * (1 - 1e-9)))


def scope_figure(sheet: Sheet, run: ScenarioRun, number: int, path: Path) -> "Figure":
    """The screens of read ``number`` (from 0) of a run of that sheet.

    Raises ``ValueError`` as `padbench.results.pictures.new_figure` does.
    """
    figure = new_figure(path, 11, 8.4, layout="constrained")
    waves = line_waves(sheet, run.port, run.timeline, corner=run.corner, points=_POINTS)
    levels = thresholds(sheet, run.port)
    read = run.reads[number].read
    end = max(read.latch_end_ps, *read.samples, *read.clock_rises)
    # A line that never rises has a threshold all the same.
    tops = [*(volts.max() for _, volts in waves.values()), *(max(pair) for pair in levels.values())]
    highest = float(max(tops))
    screens: Any = figure.subplots(2, 2).ravel()

    each = UP / len(_COLOURS)
    time, volts = (
        round_step((end - read.start_ps) * 1e-12 / (ACROSS - 1)),
        round_step(highest / each),
    )
    axes = _screen(screens[0], f"read {number + 1}", time, volts)
    for place, name in enumerate(_COLOURS):
        foot = UP - (place + 1) * each
        begin = read.start_ps - time * 1e12 / 2
        wave, level = waves[f"analogue.{name}"], levels[f"analogue.{name}"]
        _trace(axes, name, wave, level, (begin, time, foot, volts))

    volts = round_step(highest / (UP - 1.5))
    for axes, name in zip(screens[1:], _COLOURS, strict=True):
        wave, level = waves[f"analogue.{name}"], levels[f"analogue.{name}"]
        edges = [*_edges(wave, run.timeline.wires[f"cable.{name}"], read.start_ps, end)]
        if not edges:
            _screen(axes, f"{name}: no edge", time, volts)
            _trace(axes, name, wave, level, (read.start_ps, time, 1.0, volts), named=True)
            stays = float(np.interp(read.start_ps, *wave))
            axes.text(
                ACROSS / 2, 0.35, f"It stays at {stays:.2f} V in this read.", ha="center",
                fontsize=9, color=BAD,
            )  # fmt: skip
            continue
        edge = max(edges, key=lambda one: one.passes - one.begin)
        took = max(edge.passes - edge.begin, 1000) * 1e-12
        step = round_step(took / _TO_THRESHOLD)
        _screen(axes, f"{name} {'rises' if edge.rises else 'falls'}", step, volts)
        at = (edge.begin - _BEFORE * step * 1e12, step, 1.0, volts)
        _trace(axes, name, wave, level, at, named=True)
        _distance(axes, took, step)
    name = shorten(sheet.pad.name, 60, placeholder=" …")
    title = f"{name}: {run.name}, {run.port} port, worst corner"
    figure.suptitle(title, parse_math=False, fontsize=11, weight="bold")
    return figure


def _screen(axes: Any, title: str, time: float, volts: float) -> Any:
    # A little below the lowest line of the grid, where a line at 0 V would hide in the frame.
    axes.set(xlim=(0, ACROSS), ylim=(-0.1, UP), xticks=range(ACROSS + 1), yticks=range(UP + 1))
    axes.tick_params(labelbottom=False, labelleft=False, length=0)
    axes.grid(color=STEPS[0], linewidth=0.6)
    axes.axhline(UP / 2, color=SOFT, linewidth=0.6)
    axes.axvline(ACROSS / 2, color=SOFT, linewidth=0.6)
    axes.set_facecolor(BAND)
    axes.set_title(
        f"{title}: {show(time, 's')} and {show(volts, 'V')} a division", loc="left", fontsize=9
    )
    return axes


def _trace(
    axes: Any,
    name: str,
    wave: Wave,
    level: tuple[float, float],
    at: tuple[float, float, float, float],
    *,
    named: bool = False,
) -> None:
    """``at``: picoseconds at the left, seconds a division, division of 0 V, volts a division."""
    begin, time, foot, volts = at
    colour = _COLOURS[name]
    x = (wave[0] - begin) * 1e-12 / time
    # After its last point a line stays where it is.
    x, y = np.append(x, max(x[-1], ACROSS)), np.append(wave[1], wave[1][-1])
    inside = slice(max(0, int(np.searchsorted(x, 0)) - 1), int(np.searchsorted(x, ACROSS)) + 1)
    axes.plot(x[inside], foot + y[inside] / volts, color=colour, linewidth=1.6, gid=name)
    axes.annotate(
        name, (0, foot), xytext=(-4, 0), textcoords="offset points", ha="right", va="center",
        fontsize=8, color=colour,
    )  # fmt: skip
    for volt, word in zip(level, ("low up to", "high from"), strict=True):
        height = foot + volt / volts
        axes.axhline(
            height, color=colour, linewidth=0.8, linestyle=(0, (4, 3)), gid=f"{name} threshold"
        )
        if named:
            axes.text(ACROSS - 0.1, height + 0.08, f"{word} {volt:.2f} V", ha="right", fontsize=7)


def _distance(axes: Any, took: float, step: float) -> None:
    """From where an edge begins to its threshold."""
    end = _BEFORE + took / step
    axes.annotate("", (_BEFORE, 0.45), (end, 0.45), arrowprops={"arrowstyle": "<->", "color": INK})
    axes.text(end + 0.15, 0.35, f"{show(took, 's')} to the threshold", fontsize=7)


def _edges(wave: Wave, wire: Wire, begin: int, end: int) -> Iterator[_Edge]:
    """The edges of a wire between two moments, each with where its voltage began to move."""
    times, volts = wave
    for at, level in zip(wire.times.tolist(), wire.levels.tolist(), strict=True):
        rises = level == HIGH
        steps = np.diff(volts[: int(np.searchsorted(times, at, "right"))])
        still = np.flatnonzero(steps <= 0 if rises else steps >= 0)
        place = int(still[-1]) + 1 if len(still) else 0
        # Data may pass from no level to the one at which it already stands: that is no edge.
        if begin <= at <= end and place < len(steps):
            yield _Edge(int(times[place]), at, rises)
