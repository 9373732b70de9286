"""One read of a run as a figure for print: labelled, readable in grey.

    figure = wave_figure(run, shown_read(run), Path("read.svg"), pad="My pad")
    save_figure(figure, Path("read.svg"))

Each wire is one line whose ``gid`` is the wire's name; x is microseconds from the rise of the
latch.
"""

from itertools import pairwise
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from padbench.core.buttons import BUTTONS, spelled
from padbench.core.levels import FLOATING, UNKNOWN
from padbench.core.timeline import Wire
from padbench.results.pictures import BAD, BAND, INK, SOFT, new_figure
from padbench.results.wave_data import ROWS, bits_of, read_as, wave_of
from padbench.trials.scenario_run import ReadResult, ScenarioRun

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LABELS = "label"
"""``gid`` of every text that must not run into another."""

_HIGH = {"wire": 0.62, "contact": 0.55}
_WIDTH, _LEFT, _RIGHT = 10.0, 0.115, 0.985
_FOOT, _UNIT, _LINE = 0.59, 0.303, 0.2
"""Inches below the time axis, of a unit of y, and of a line of the heading."""
_LETTER = 0.068
"""Inches that a letter of an event takes."""
_EVENTS, _STEP = 2.0, 0.52
"""Where the first line of words of the events stands, and how far above the next one does."""


class _Event(NamedTuple):
    """A moment with its words: lines that begin or end at it, the lowest of them in ``row``."""

    at: int
    bad: bool
    lines: list[str]
    leftwards: bool
    row: int


def shown_read(run: ScenarioRun) -> int:
    """Which read to draw: the first that is wrong, else the one that shows what the run is about.

    Counted from 0. ``ValueError`` if the run has no read.
    """
    if not run.reads:
        raise ValueError(f"{run.name} has no read to draw")
    wave = wave_of(run)
    # The first read after what happens between two shows what became of it.
    events = [wave.opens[1]] if wave.opens else [at for at, _ in wave.notes]
    for wanted in (
        lambda pair: not pair.as_expected,
        lambda pair: pair.read.cut_short,
        lambda pair: any(pair.read.start_ps <= at <= _end(pair) for at in events),
        lambda pair: wave.opens is not None and pair.read.start_ps > wave.opens[0],
        lambda pair: pair.expected.byte != 0,
    ):
        for place, pair in enumerate(run.reads):
            if wanted(pair):
                return place
    return 0


def _end(pair: ReadResult) -> int:
    read = pair.read
    return max([read.latch_end_ps, *read.samples, *read.clock_rises])


def wave_figure(run: ScenarioRun, number: int, path: Path, *, pad: str) -> "Figure":
    """The figure of read ``number``, for a file of that name.

    Raises ``ValueError`` as `new_figure` does.
    """
    pair = run.reads[number]
    read = pair.read
    start = read.start_ps
    end = _end(pair)
    clocked = end - read.latch_end_ps
    # Of a latch much longer than the clocks only the end, or there is no room for their names.
    begin = start if read.latch_end_ps - start <= 2 * clocked else read.latch_end_ps - clocked // 2
    room = (end - begin) * 0.08
    after = [other.read.start_ps for other in run.reads[number + 1 :]]
    # Not into the next read, which has a figure of its own, unless its latch ends this one.
    until = after[0] + room if read.cut_short and after else min([end + room, *after])
    # Back to what happens in the part of a latch that is left out, or before the read.
    wave = wave_of(run)
    since = [begin - room, *(at - room for at, _ in wave.notes if start <= at < begin)]
    if wave.opens and wave.opens[0] < start < wave.opens[1]:
        since.append(wave.opens[0])
    window = (max(0, round(min(since))), min(run.timeline.end_ps, round(until)))

    rows = [(key, name) for key, name in ROWS if key in run.timeline.wires]
    events = _events(run, window)
    top = 2.3 + _STEP * max((event.row + len(event.lines) - 1 for event in events), default=0)
    heading = _heading(run, number, pad)
    tall, head = _UNIT * (len(rows) + 0.5 + top), 0.4 + _LINE * sum(map(len, heading))
    figure = new_figure(path, _WIDTH, high := _FOOT + tall + head)
    axes: Any = figure.add_axes((_LEFT, _FOOT / high, _RIGHT - _LEFT, tall / high))
    axes.set_xlim(*((at - start) / 1e6 for at in window))
    tops = _rows(axes, run, rows, start, window)
    # In a window that reaches back to what happened before it, a read has no room for names.
    narrow = 5 * (end - begin) < window[1] - window[0]
    _samples(figure, axes, pair, start, tops["cable.data"], named=not narrow)
    _byte(axes, pair, (begin - start) / 1e6, (end - start) / 1e6, before=narrow)
    foot = -len(rows) - 0.5
    for event in events:
        _event(axes, event, start, foot)
    axes.set_ylim(foot, top)
    axes.set_yticks([])
    axes.spines[["left", "right", "top"]].set_visible(False)
    axes.set_xlabel("µs from the rise of the latch")
    _title(figure, heading, high)
    return figure


def _events(run: ScenarioRun, window: tuple[int, int]) -> list[_Event]:
    """Faults and what happens, with all their words: above each other where they need it."""
    wave = wave_of(run)
    faults = dict(reversed(wave.marks))
    told = {**faults, **dict(wave.notes)}
    letter = (window[1] - window[0]) / (_WIDTH * (_RIGHT - _LEFT)) * _LETTER
    shown: list[int] = []
    for at in sorted(told):
        if window[0] <= at <= window[1] and (not shown or at - shown[-1] > 2 * letter):
            shown.append(at)
    events: list[_Event] = []
    taken: list[tuple[int, float, float]] = []
    # From the last to the first: words to the right of a line lie then below those before it.
    for at in reversed(shown):
        before, after = (int(room / letter) - 2 for room in (at - window[0], window[1] - at))
        leftwards = after < min(len(told[at]), before)
        lines = wrap(told[at], max(before if leftwards else after, 10))
        wide = letter * (max(map(len, lines)) + 2)
        left, right = (at - wide, at) if leftwards else (at, at + wide)
        row, rows = 0, range(len(lines))
        while any(
            row + k == other and left < end and begin < right
            for k in rows
            for other, begin, end in taken
        ):
            row += 1
        taken += [(row + k, left, right) for k in rows]
        events.append(_Event(at, at in faults, lines, leftwards, row))
    return events


def _event(axes: Any, event: _Event, start: int, foot: float) -> None:
    x, y = (event.at - start) / 1e6, _EVENTS + _STEP * event.row
    colour, dashes = (BAD, (4, 3)) if event.bad else (SOFT, (1, 3))
    up = y + _STEP * (len(event.lines) - 0.5)
    axes.plot([x, x], [foot, up], color=colour, linestyle=(0, dashes), linewidth=1.2, zorder=1.2)
    for place, line in enumerate(reversed(event.lines)):
        axes.text(
            x, y + _STEP * place, f" {line} ", color=colour, fontsize=8, va="center", gid=LABELS,
            ha="right" if event.leftwards else "left", parse_math=False,
        )  # fmt: skip


def _rows(
    axes: Any,
    run: ScenarioRun,
    rows: list[tuple[str, str]],
    start: int,
    window: tuple[int, int],
) -> dict[str, float]:
    """Draw all wires; where the foot of each lies."""
    from matplotlib.transforms import blended_transform_factory  # noqa: PLC0415

    beside = blended_transform_factory(axes.figure.transFigure, axes.transData)
    feet = {}
    foot = 0.0
    for key, name in rows:
        # The data line has the names of its bits above it.
        foot -= 1.9 if key == "cable.data" else 1.0
        foot += 0.12 if key.startswith("contacts.") else 0
        feet[key] = foot
        tall = _HIGH["contact" if key.startswith("contacts.") else "wire"]
        _wire(axes, key, run.timeline.wires[key], start, window, foot, tall)
        axes.text(
            _LEFT - 0.008, foot + tall / 2, name, transform=beside, gid=LABELS,
            ha="right", va="center", fontsize=9, parse_math=False,
        )  # fmt: skip
    return feet


def _wire(
    axes: Any, key: str, wire: Wire, start: int, window: tuple[int, int], foot: float, tall: float
) -> None:
    inside = (wire.times > window[0]) & (wire.times < window[1])
    times = np.concatenate([[window[0]], wire.times[inside], [window[1]]])
    levels = np.concatenate([wire.at([window[0]]), wire.levels[inside], wire.before([window[1]])])
    x = (times - start) / 1e6
    steady = (levels != UNKNOWN) & (levels != FLOATING)
    y = np.where(steady, foot + tall * levels, foot + tall / 2)
    contact = key.startswith("contacts.")
    (line,) = axes.plot(
        x, y, drawstyle="steps-post", gid=key, color=SOFT if contact else INK,
        linewidth=1.8 if key == "cable.data" else 1.3, solid_joinstyle="miter",
    )  # fmt: skip
    line.set_clip_on(False)
    for left, right, level in zip(x[:-1], x[1:], levels[:-1], strict=True):
        if level in (UNKNOWN, FLOATING):
            box = (left, right - left, foot, tall)
            _box(axes, *box, facecolor="white", edgecolor=SOFT, hatch="////", gid=f"unsure {key}")
        elif contact and level == 1:
            _box(axes, left, right - left, foot, tall, facecolor=BAND, edgecolor="none")


def _box(axes: Any, left: float, wide: float, foot: float, tall: float, **style: Any) -> None:
    from matplotlib.patches import Rectangle  # noqa: PLC0415

    axes.add_patch(Rectangle((left, foot), wide, tall, linewidth=0.8, zorder=1.5, **style))


def _samples(
    figure: "Figure", axes: Any, pair: ReadResult, start: int, foot: float, *, named: bool
) -> None:
    """A triangle at each sample, filled where the bit reads pressed, and the name of the bit."""
    read, top = pair.read, foot + _HIGH["wire"] + 0.28
    texts = []
    for place, (at, bit) in enumerate(zip(read.samples, read.bits, strict=True)):
        x, mask = (at - start) / 1e6, 128 >> place
        wrong = place < 8 and bool((pair.byte ^ pair.expected.byte) & mask)
        colour = BAD if wrong else INK
        axes.plot([x, x], [foot - 0.1, top - 0.1], color=colour, linewidth=0.7, zorder=1)
        shape, size = ("s", 5) if bit is None else ("v", 6)
        axes.plot(
            [x], [top], marker=shape, markersize=size, color=colour, gid="sample",
            markerfacecolor=colour if bit else "white", zorder=3,
        )  # fmt: skip
        if not named:
            continue
        name = BUTTONS[place] if place < len(BUTTONS) else str(place + 1)
        said = ("? " if bit is None else "✗ " if wrong else "") + name
        texts.append(
            axes.text(
                x, top + 0.22, said, ha="center", va="bottom", fontsize=8, color=colour, gid=LABELS,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5},
            )
        )  # fmt: skip
    _make_room(figure, texts)


def _make_room(figure: "Figure", texts: list[Any]) -> None:
    """Turn and shrink the names of bits until none runs into the next."""
    for turned, size in ((0, 8), (0, 7), (90, 7), (90, 5)):
        for text in texts:
            text.set(rotation=turned, fontsize=size)
        boxes = [text.get_window_extent(_renderer(figure)) for text in texts]
        if all(one.x1 + 2 <= other.x0 for one, other in pairwise(boxes)):
            return
    # As many as find room: first those that have a sign, then the last of all, since how many there
    # are is what one wants to know.
    order = sorted(
        range(len(texts)), key=lambda place: (texts[place].get_text()[0] not in "✗?", -place)
    )
    kept: list[int] = []
    for place in order:
        box = boxes[place]
        if all(box.x1 + 2 <= boxes[one].x0 or boxes[one].x1 + 2 <= box.x0 for one in kept):
            kept.append(place)
        else:
            texts[place].set_visible(False)


def _renderer(figure: "Figure") -> Any:
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415

    canvas: Any = figure.canvas
    if not isinstance(canvas, FigureCanvasAgg):
        canvas = FigureCanvasAgg(figure)
    return canvas.get_renderer()


def _byte(axes: Any, pair: ReadResult, left: float, right: float, *, before: bool) -> None:
    """The read as a box with its byte, and what it should have been."""
    good = pair.as_expected
    _box(
        axes, left, right - left, 0.45, 0.8,
        facecolor=BAND if good else "white", edgecolor=INK if good else BAD,
    )  # fmt: skip
    said = f"{bits_of(pair)} = {read_as(pair)}"
    if not good:
        said = f"✗ {said}, expected {spelled(pair.expected.byte)}"
    axes.text(
        left, 0.85, f"{said}  " if before else f"  {said}", ha="right" if before else "left",
        va="center", fontsize=10, gid=LABELS, color=INK if good else BAD,
    )  # fmt: skip


def _heading(run: ScenarioRun, number: int, pad: str) -> tuple[list[str], list[str]]:
    """Lines of the title, and of what stands below it."""
    verdict = "holds" if run.verdict == "pass" else "fails"
    below = f"{pad}, {run.corner} corner, {run.port} port, read {number + 1} of {len(run.reads)}"
    return wrap(f"{run.name} {verdict}. {run.says}", 104), wrap(below, 125)


def _title(figure: "Figure", heading: tuple[list[str], list[str]], high: float) -> None:
    y = high - 0.25
    for lines, size, weight, colour in zip(
        heading, (11, 9), ("bold", "normal"), ("black", SOFT), strict=True
    ):
        for line in lines:
            figure.text(
                0.02, y / high, line, fontsize=size, weight=weight, color=colour, gid=LABELS,
                parse_math=False,
            )  # fmt: skip
            y -= _LINE
        y -= 0.05
