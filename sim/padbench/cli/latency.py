"""``padbench latency``."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from padbench.cli.errors import UsageError
from padbench.cli.options import Parser
from padbench.cli.routine import add_routine_options, the_routine

if TYPE_CHECKING:
    from argparse import Namespace

    from padbench.routines.latency import Delays, LatencySetup

__all__ = ["run"]

_PERCENTS = (1, 10, 50, 90, 99)
_LONGEST_BOUNCE = 0.1
"""Seconds; ten times the longest bounce of a contact (from memory)."""
_MOST_FRAMES = 60


def run(arguments: list[str]) -> int:
    """Print the distribution from press to picture; nothing here can be at fault, so 0."""
    parser = Parser(
        "latency",
        "The delay from a press to the first picture that can show it: the exact distribution "
        "over all moments of a press.",
        "padbench latency --routine read-twice --line 241 --bounce '5 ms' --picture delay.png",
    )
    parser.add_argument(
        "--routine",
        dest="what",
        metavar="FILE",
        default="read-once",
        help="the read routine that a poll calls (default: read-once)",
    )
    add_routine_options(parser, fetch=False)
    parser.add_argument(
        "--line", type=int, default=241, help="line of the frame at which the poll starts"
    )
    plan = parser.add_mutually_exclusive_group()
    plan.add_argument("--every", type=int, default=1, metavar="N", help="poll every N-th frame")
    plan.add_argument(
        "--four-players", action="store_true", help="one of four players is read in each frame"
    )
    parser.add_argument(
        "--processing",
        type=int,
        default=1,
        metavar="N",
        help="frames from the one of the read to the picture that shows it (default, and least: 1)",
    )
    parser.add_argument(
        "--screen-line", type=int, default=120, help="where on the screen one looks, 0 is the top"
    )
    parser.add_argument("--bounce", default="5 ms", help='chatter after a press (default: "5 ms")')
    parser.add_argument(
        "--closed",
        default="1/2",
        metavar="CHANCE",
        help="of a contact to be found closed during the chatter (default: 1/2, an assumption)",
    )
    parser.add_argument("--picture", metavar="FILE", type=Path, help="a plot, .png, .svg or .pdf")
    options = parser.parse_args(arguments)
    setup = _setup(options)

    from padbench.routines.latency import press_to_picture

    delays = press_to_picture(setup)
    if options.picture is not None:
        from padbench.cli.reports import draw
        from padbench.results.latency_plot import latency_figure

        name = Path(options.what).name
        draw(
            "--picture",
            options.picture,
            lambda path: latency_figure(delays, setup, path, name=name),
        )
    found = _object(delays, setup, options)
    if options.json:
        print(json.dumps(found, ensure_ascii=False))
    else:
        _print(found)
    return 0


def _setup(options: "Namespace") -> "LatencySetup":
    from fractions import Fraction

    from padbench.core.units import read_value
    from padbench.routines.frames import PollPlan
    from padbench.routines.judge import measure
    from padbench.routines.latency import LatencySetup
    from padbench.routines.looks import RoutineLooks, latch_moments
    from padbench.routines.routine import RoutineError

    try:
        closed = Fraction(options.closed)
    except (ValueError, ZeroDivisionError):
        raise UsageError(
            f"--closed: {options.closed[:60]!r} is no chance; write for example 0.5 or 1/3"
        ) from None
    try:
        bounce = read_value(options.bounce, "s", example="5 ms").nominal
    except ValueError as error:
        raise UsageError(f"--bounce: {error}") from None
    if not 0 <= bounce <= _LONGEST_BOUNCE:
        raise UsageError(f"--bounce: {options.bounce[:60]!r} is not between 0 s and 100 ms")
    for name in ("every", "processing"):
        value = getattr(options, name)
        if not 1 <= value <= _MOST_FRAMES:
            raise UsageError(f"--{name}: {value} is not between 1 and {_MOST_FRAMES} frames")
    if closed < Fraction(1, 10**6) and closed > 0:
        raise UsageError(f"--closed: {options.closed[:60]!r} is as good as 0; write 0")
    try:
        routine, console = the_routine(options)
        measured = measure(routine, console, options.limit)
        latches = latch_moments(measured.run)
        looks = RoutineLooks(routine, console, options.limit)
        useful = not latches or (looks.sees_a_press() and not measured.other_pad)
    except RoutineError as error:
        raise UsageError(str(error)) from None
    if not latches:
        raise UsageError(f"{options.what}: the routine never latches; write 1, then 0 to the port")
    if not useful:
        raise UsageError(
            f"{options.what}: "
            f"{measured.fault or 'hands on the same whether a button is held or not'}; name the "
            "place of the first pad's result with --result"
        )
    timing = console.timing
    try:
        return LatencySetup(
            timing=timing,
            plan=PollPlan(options.line, 4 if options.four_players else options.every),
            latches=latches,
            processing=options.processing,
            screen_line=options.screen_line,
            bounce=Fraction(bounce).limit_denominator(10**12) * timing.clock,
            closed=closed,
            looks=looks,
        )
    except ValueError as error:
        raise UsageError(f"{error}; see padbench latency --help") from None


def _object(delays: "Delays", setup: "LatencySetup", options: "Namespace") -> dict[str, Any]:
    timing = setup.timing
    cycles = {
        "min": delays.smallest,
        "mean": delays.mean,
        **{f"p{percent}": delays.percentile(percent) for percent in _PERCENTS},
        "max": delays.largest,
    }
    return {
        "console": timing.name,
        "routine": options.what,
        "passes": len(setup.latches),
        "line": setup.plan.line,
        "every": setup.plan.every,
        "processing": setup.processing,
        "screen_line": setup.screen_line,
        "bounce_ms": float(setup.bounce / timing.clock * 1000),
        "frames": {name: float(value / timing.frame_cycles) for name, value in cycles.items()},
        "milliseconds": {
            name: float(value / timing.clock * 1000) for name, value in cycles.items()
        },
        "distribution": [
            {"milliseconds": float(at / timing.clock * 1000), "share": float(share)}
            for at, share in delays.corners
        ],
        "picture": None if options.picture is None else str(options.picture),
    }


def _print(found: dict[str, Any]) -> None:
    from rich import box
    from rich.table import Table

    from padbench.cli.tables import console

    screen = console()
    passes = f"{found['passes']} pass" + ("es" if found["passes"] > 1 else "")
    every = "every frame" if found["every"] == 1 else f"every {found['every']} frames"
    screen.print(
        f"From press to picture, {found['console']} console: {found['routine']} ({passes}) in line "
        f"{found['line']} {every}, seen in screen line {found['screen_line']}, chatter "
        f"{found['bounce_ms']:g} ms"
    )
    table = Table(box=box.SIMPLE_HEAD)
    for head in ("", "frames", "ms"):
        table.add_column(head, justify="right" if head else "left")
    words = {"min": "shortest", "mean": "mean", "max": "longest"}
    for name, frames in found["frames"].items():
        said = words.get(name, f"{name[1:]} % within")
        table.add_row(said, f"{frames:.2f}", f"{found['milliseconds'][name]:.1f}")
    screen.print(table)
    if found["picture"] is not None:
        screen.print(f"Picture: {found['picture']}", soft_wrap=True)
