"""The delay from a press to the first picture that can show it, for a poll plan."""

from collections.abc import Sequence
from fractions import Fraction
from functools import partial
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING

from typing_extensions import TypedDict, Unpack

from padbench.core.units import read_value
from padbench.jobs.loading import Refusal
from padbench.jobs.routine_question import Asked, RoutineQuestion, periods_of
from padbench.parts import ConsoleTiming
from padbench.results.blocks import FrameStrip, Lines, Prose, Strip, Strips, Table, spans_of
from padbench.results.frame import frame_at
from padbench.results.result import Case, Result, Section
from padbench.routines.console import Console
from padbench.routines.fast import baseline_of_survey, lost_presses, survey
from padbench.routines.judge import Baseline
from padbench.routines.latency import (
    Delays,
    LatencySetup,
    pictures_by_line,
    press_to_picture,
)
from padbench.routines.looks import RoutineLooks, latch_moments
from padbench.routines.routine import Routine, RoutineError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_PERCENTS = (1, 10, 50, 90, 99)
_LONGEST_BOUNCE = 0.1
"""Seconds; ten times the longest bounce of a contact (from memory)."""
_MOST_FRAMES = 60
_SHOWN = 0.5
"""Per cent of presses from which on a picture is named."""


class DelayDocument(TypedDict):
    """Seconds from a press to its picture."""

    min: float
    mean: float
    p1: float
    p10: float
    p50: float
    p90: float
    p99: float
    max: float  # fmt: skip


"""Shortest, mean and longest delay, and the delays within which so many per cent lie."""


class PointDocument(TypedDict):
    """A corner of the distribution: the share of presses (0 to 1) that show by then."""

    milliseconds: float
    share: float


class LatencyDocument(TypedDict):
    """``padbench latency``; ``distribution`` has straight lines between its points.

    ``pictures``: for presses in each line of the frame, the share that each picture is the first to
    show; the picture of the frame in which the press comes is 1. ``lost``: the chance that a fetch
    keeps a poll from handing on a press.
    """

    console: str
    routine: str
    passes: int
    line: int
    lines: list[int]
    every: int
    fetch_period: int | None
    lost: float
    processing: int
    screen_line: int
    bounce_ms: float
    frames: DelayDocument
    milliseconds: DelayDocument
    distribution: list[PointDocument]
    pictures: list[dict[str, float]]
    picture: str | None


def latency(
    routine: str | Path = "read-once",
    *,
    line: int | Sequence[int] = 241,
    every: int = 1,
    processing: int = 1,
    screen_line: int = 120,
    bounce: str | float = "5 ms",
    closed: str | float | Fraction = "1/2",
    period: int | None = None,
    picture: Path | None = None,
    **asked: Unpack[Asked],
) -> Result:
    """The exact distribution of the delay from a press to the first picture that can show it.

        result = padbench.latency("read-twice", line=241, bounce="5 ms")
        result.data.mean, result.data.percentile(99)            # CPU cycles, exact fractions
        result.document["milliseconds"]["p99"]

    The ``routine`` polls in ``line``, or in several, of ``every``-th frame; with a ``period`` it is
    stopped by a fetch every so many CPU cycles. The picture ``processing`` frames later (at least
    1) shows it, seen in ``screen_line``. ``bounce`` is how long a contact chatters after a press
    (text with a unit, or seconds), ``closed`` the chance to find it closed meanwhile (1/2 is an
    assumption). The rest is as in `padbench.routine`; ``picture`` is what the object says of a
    figure. ``result.data`` is a `Delays`, and nothing here can fail. Raises ``RoutineError`` for
    a routine that cannot be used or shows no press, `Refusal` for anything else.
    """
    question = RoutineQuestion(str(routine), **asked)
    limit = question.limit
    chance, chatter = _chance(closed), _chatter(bounce)
    code, console_ = question.load()
    lines = (line,) if isinstance(line, int) else tuple(dict.fromkeys(line))
    _check_plan(console_.timing, lines, every, processing, screen_line)
    known = survey(code, console_, limit)
    base = baseline_of_survey(known)
    rates = [] if period is None else periods_of(console_, [period], "fastest")
    setup = LatencySetup(
        timing=console_.timing,
        lines=lines,
        looks=_looks(question.what, code, console_, base, limit),
        every=every,
        processing=processing,
        screen_line=screen_line,
        bounce=chatter * console_.timing.clock,
        closed=chance,
        lost=lost_presses(known, rates[0]) if rates else Fraction(0),
    )
    if setup.lost == 1:
        raise Refusal("period", f"a fetch every {period} cycles keeps every poll from a press")
    delays = press_to_picture(setup)
    passes = len(latch_moments(base.longest))
    document = partial(_document, question, setup, passes, delays, period, picture)
    numbers = document()
    name = Path(question.what).name
    by_line = "By the line of the press"
    took = float(base.most * setup.timing.cycle_ps)

    def figure(path: Path) -> "Figure":
        from padbench.results.sweep_plots import latency_figure  # noqa: PLC0415

        return latency_figure(delays, setup, path, name=name)

    ms = numbers["milliseconds"]
    return Result(
        command="latency",
        name=f"From press to picture, {name}",
        verdict="pass",
        outcome="pass",
        word=f"{ms['mean']:.1f} ms in the mean.",
        lead=f"From {ms['min']:.1f} to {ms['max']:.1f} ms; 99 % of all presses show within "
        f"{ms['p99']:.1f} ms.",
        make_document=document,
        make_sections=lambda: [
            _brief(numbers),
            Section("plan", "What was asked", [Prose((_plan(numbers),))]),
            Section("delays", "Delays", [_table(numbers)]),
            Section("lines", by_line, [picture_strips(numbers), _by_line(numbers)]),
            Section(
                "frame",
                "Where in the frame the poll falls",
                [FrameStrip(frame_at(setup.timing, at, took), "poll") for at in lines],
            ),
        ],
        cases={"latency": [Case("from press to picture")]},
        figures={"picture": figure},
        inputs=question.inputs(None),
        data=delays,
    )


def _check_plan(
    timing: ConsoleTiming, at: Sequence[int], every: int, processing: int, screen_line: int
) -> None:
    for name, value in (("every", every), ("processing", processing)):
        if not 1 <= value <= _MOST_FRAMES:
            raise Refusal(name, f"{value} is not between 1 and {_MOST_FRAMES} frames")
    for name, value, lines in (
        *(("line", line, timing.lines) for line in at or (-1,)),
        ("screen-line", screen_line, timing.picture_lines),
    ):
        if not 0 <= value < lines:
            what = name.replace("-", " ")
            raise Refusal(name, f"{what} {value} is outside 0..{lines - 1}; 0 is the first drawn")


def _looks(what: str, code: Routine, console: Console, base: Baseline, limit: int) -> RoutineLooks:
    """What the routine makes of a contact that chatters, if it makes anything of a press."""
    if not latch_moments(base.longest):
        wrong, instead = "the routine never latches", "write 1, then 0 to the port"
        raise RoutineError.at(what, None, "", wrong, instead)
    looks = RoutineLooks(code, console, limit)
    if base.other_pad or not looks.sees_a_press():
        wrong = base.fault_says or "hands on the same whether a button is held or not"
        instead = "name the place of the first pad's result with --result"
        raise RoutineError.at(what, None, "", wrong, instead)
    return looks


def _chance(closed: str | float | Fraction) -> Fraction:
    shown = f"{str(closed)[:60]!r}"
    try:
        chance = Fraction(closed)
    except (ValueError, ZeroDivisionError, OverflowError):
        raise Refusal("closed", f"{shown} is no chance; write for example 0.5 or 1/3") from None
    if not 0 <= chance <= 1:
        raise Refusal("closed", f"{shown}: a chance is from 0 to 1")
    if 0 < chance < Fraction(1, 10**6):
        raise Refusal("closed", f"{shown} is as good as 0; write 0")
    return chance


def _chatter(bounce: str | float) -> Fraction:
    """Seconds."""
    try:
        seconds = (
            read_value(bounce, "s", example="5 ms").nominal if isinstance(bounce, str) else bounce
        )
    except ValueError as error:
        raise Refusal("bounce", str(error)) from None
    if not 0 <= seconds <= _LONGEST_BOUNCE:
        raise Refusal("bounce", f"{str(bounce)[:60]!r} is not between 0 s and 100 ms")
    return Fraction(seconds).limit_denominator(10**12)


def _document(
    question: RoutineQuestion,
    setup: LatencySetup,
    passes: int,
    delays: Delays,
    period: int | None,
    picture: Path | None,
) -> LatencyDocument:
    timing = setup.timing

    def scaled(unit: Fraction) -> DelayDocument:
        within = {percent: float(delays.percentile(percent) / unit) for percent in _PERCENTS}
        return {
            "min": float(delays.smallest / unit),
            "mean": float(delays.mean / unit),
            "p1": within[1],
            "p10": within[10],
            "p50": within[50],
            "p90": within[90],
            "p99": within[99],
            "max": float(delays.largest / unit),
        }

    return {
        "console": timing.name,
        "routine": question.what,
        "passes": passes,
        "line": setup.lines[0],
        "lines": list(setup.lines),
        "fetch_period": period,
        "lost": float(setup.lost),
        "every": setup.every,
        "processing": setup.processing,
        "screen_line": setup.screen_line,
        "bounce_ms": float(setup.bounce / timing.clock * 1000),
        "frames": scaled(timing.frame_cycles),
        "milliseconds": scaled(timing.clock / 1000),
        "distribution": [
            {"milliseconds": float(at / timing.clock * 1000), "share": float(share)}
            for at, share in delays.corners
        ],
        "pictures": [
            {str(number): share for number, share in shares.items()}
            for shares in pictures_by_line(delays, timing)
        ],
        "picture": None if picture is None else str(picture),
    }


def _plan(numbers: LatencyDocument) -> str:
    passes = f"{numbers['passes']} pass" + ("es" if numbers["passes"] > 1 else "")
    fetch = "No sample is played; --period counts the stops of its fetches."
    if numbers["fetch_period"] is not None:
        fetch = (
            f"A fetch every {numbers['fetch_period']} cycles keeps {100 * numbers['lost']:.2g} % "
            "of the polls from handing on a press."
        )
    lines = " and ".join(map(str, numbers["lines"]))
    every = "every frame" if numbers["every"] == 1 else f"every {numbers['every']} frames"
    return (
        f"{numbers['routine']} ({passes}) on the {numbers['console']} console, in line "
        f"{lines} {every}, seen in screen line {numbers['screen_line']} of picture "
        f"{numbers['processing']} after the read, chatter {numbers['bounce_ms']:g} ms. A press "
        f"comes at any moment with equal chance. {fetch}"
    )


def _brief(numbers: LatencyDocument) -> Section:
    rows = [(str(name), f"{ms:>5} ms, {frames} frames") for name, frames, ms in _delays(numbers)]
    by_line = [("", " ".join(row)) for row in _stretches(numbers)]
    blocks = [
        Lines("", [("", _plan(numbers))]),
        Lines("From press to picture", rows),
        Lines(
            "Of the presses in a line, so many show in a picture (1: that of the press)", by_line
        ),
    ]
    return Section("brief", "", blocks, ("brief",))


def _table(numbers: LatencyDocument) -> Table:
    rows = _delays(numbers)
    return Table("Over all moments of a press", ("delay", "frames", "ms"), rows, frozenset((1, 2)))


def _stretches(numbers: LatencyDocument) -> list[tuple[str, str]]:
    """Lines alike in whole per cents, and what becomes of presses in them."""
    rows: list[tuple[int, str]] = []
    for line, shares in enumerate(numbers["pictures"]):
        cents = ((100 * share, number) for number, share in shares.items())
        says = ", ".join(f"{cent:.0f} % in picture {n}" for cent, n in cents if cent >= _SHOWN)
        if not rows or rows[-1][1] != says:
            rows.append((line, says))
    ends = [*(line for line, _ in rows[1:]), len(numbers["pictures"])]
    return [
        (f"line {line}:" if end == line + 1 else f"lines {line} to {end - 1}:", says)
        for (line, says), end in zip(rows, ends, strict=True)
    ]


def _by_line(numbers: LatencyDocument) -> Table:
    note = "Picture 1 is that of the frame in which the press comes; a frame begins with blanking."
    rows = [(where[:-1], says) for where, says in _stretches(numbers)]
    return Table("Where in the frame a press comes", ("pressed in", "appears"), rows, note=note)


def picture_strips(numbers: LatencyDocument) -> Strips:
    """A row for each picture: of the presses in each line, how many it is the first to show."""
    kinds = [(code, f"up to {25 * code} % of the presses") for code in range(1, 5)]
    pictures = sorted({int(number) for shares in numbers["pictures"] for number in shares})
    rows = [
        Strip(
            str(number),
            len(numbers["pictures"]),
            spans_of(
                ceil(4 * shares.get(str(number), 0)) * (100 * shares.get(str(number), 0) >= _SHOWN)
                for shares in numbers["pictures"]
            ),
        )
        for number in pictures
    ]
    rows = [row for row in rows if row.spans]
    met = {code for row in rows for _, _, code in row.spans}
    return Strips(
        "Presses by line of the frame and the picture that shows them first",
        "picture",
        "line of the press",
        rows,
        [(code, says) for code, says in kinds if code in met],
        "no press is ever shown",
    )


def _delays(numbers: LatencyDocument) -> list[tuple[str, str, str]]:
    words = {"min": "shortest", "mean": "mean", "max": "longest"}
    return [
        (
            words.get(name, f"{name[1:]} % within"),
            f"{numbers['frames'][name]:.2f}",  # type: ignore[literal-required]
            f"{ms:.1f}",
        )
        for name, ms in numbers["milliseconds"].items()
    ]
