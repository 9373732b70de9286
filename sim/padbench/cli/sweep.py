"""``padbench sweep``."""

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from padbench.cli.errors import UsageError
from padbench.cli.options import Parser
from padbench.cli.reports import add_report_options, draw, say_reports, told
from padbench.cli.routine import (
    add_routine_options,
    periods_for,
    the_routine,
    write_routine_reports,
    write_worst_wave,
)

if TYPE_CHECKING:
    from argparse import Namespace
    from collections.abc import Callable, Iterator, Sequence
    from typing import Any

    from padbench.routines.design_map import DesignMap
    from padbench.routines.engine import Counterexample, SweepCounts
    from padbench.routines.fast import Survey
    from padbench.routines.run import Run
    from padbench.routines.tally import Tally

__all__ = ["parts_done", "run"]

_BAD = ("exposed", "never-settles", "wrong")
_STOPPED = 130
_MOST_WORKERS = 256


def run(arguments: list[str]) -> int:
    """Sweep a routine or a pad; 1 if any case comes out wrong."""
    parser = Parser(
        "sweep",
        "Try every case there is: of a read routine every held state in every phase of the sample "
        "fetch, at all sixteen rates; of a pad every state, stopped bit, extra clock and tie.",
        "padbench sweep --routine read-twice --workers 2",
    )
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument(
        "--routine",
        dest="what",
        metavar="WHAT",
        help="a .asm, .bin or .hex file, or a shipped routine",
    )
    what.add_argument("--sheet", type=Path, metavar="SHEET", help="a design sheet")
    parser.add_argument(
        "--workers", type=int, default=1, metavar="N", help="processes on this machine (default: 1)"
    )
    parser.add_argument(
        "--cluster", metavar="ADDRESS", help="a Dask scheduler, such as tcp://HOST:8786"
    )
    parser.add_argument("--waves", metavar="FILE", type=Path, help="VCD of the worst case found")
    parser.add_argument(
        "--map", action="store_true", help="which loop lengths and gaps between passes are safe"
    )
    parser.add_argument(
        "--picture",
        metavar="FILE",
        type=Path,
        help="phase against rate, with --map gap against loop length, with --sheet buttons against "
        "stopped bits; .png, .svg or .pdf",
    )
    add_routine_options(parser)
    add_report_options(parser)
    options = parser.parse_args(arguments)
    options.told = told("sweep", arguments)
    if not 1 <= options.workers <= _MOST_WORKERS:
        raise UsageError(f"--workers: {options.workers} is not between 1 and {_MOST_WORKERS}")
    if options.sheet is not None:
        if options.map:
            raise UsageError("--map is for a routine; leave it out with --sheet")
        from padbench.cli.sweep_pad import sweep_pad

        return sweep_pad(options)
    return _routine(options)


def _routine(options: "Namespace") -> int:
    from padbench.cli.play_routine import replay_of
    from padbench.routines.engine import STATES
    from padbench.routines.fast import measured, survey
    from padbench.routines.judge import judge
    from padbench.routines.lengths import safe_lengths
    from padbench.routines.routine import RoutineError

    options.period = options.period or ["all"]
    try:
        routine, console = the_routine(options)
        periods = periods_for(options)
        known = survey(routine, console, options.limit)
        cycles = measured(known)
        tallies, stopped = _counts(known, periods, options)
        sweeps = [tally.counts() for tally in tallies]
    except RoutineError as error:
        raise UsageError(str(error)) from None
    verdict: str
    verdict, says, by_lengths = judge(routine, console, cycles, sweeps, options.limit)
    if stopped:
        tried, asked = sum(sweep.cases for sweep in sweeps), STATES * sum(periods)
        verdict, says = "stopped", f"{tried} of {asked} cases were tried"
    safe = safe_lengths(cycles.run, periods) if by_lengths and not stopped else None
    chart = _map(cycles.run, periods) if options.map and not stopped else None
    if options.picture is not None:
        _draw(options.picture, routine.name, tallies, chart)
    options.sheet = None
    wave = write_worst_wave(options, routine, console, sweeps)
    replay = replay_of(options)
    found = (cycles, verdict, says, tallies, safe)
    write_routine_reports(options, routine, console, found, options.told, chart)
    if options.json:
        from padbench.results.routine_json import routine_object

        made = routine_object(
            routine.name, options.console, cycles, verdict, says, sweeps, safe, wave, replay
        )
        made |= {"stopped": stopped}
        if options.map:
            made["map"] = None if chart is None else asdict(chart) | {"safe": chart.safe}
        print(json.dumps(made, ensure_ascii=False))
    else:
        from padbench.cli.routine_text import print_routine

        print_routine(routine, console.timing, cycles, verdict, says, sweeps, safe, None)
        if options.map:
            _print_map(chart)
        _print_replay(sweeps, replay)
        if wave is not None:
            print(f"Wave: {wave}")
        say_reports(options)
    if stopped:
        return _STOPPED
    return 1 if verdict in _BAD else 0


def parts_done(
    options: "Namespace", do: "Callable[[Any, Any], Any]", known: object, work: "Sequence[Any]"
) -> "Iterator[Any]":
    """What each part of the work gives: here, in worker processes, or on a cluster."""
    if options.cluster is None:
        from padbench.routines.work import spread

        yield from spread(do, known, work, options.workers)
        return
    from padbench.routines.cluster import NoCluster, joined, spread_on

    try:
        with joined(options.cluster) as client:
            yield from spread_on(client, do, known, work)
    except NoCluster as error:
        raise UsageError(f"--cluster: {error}") from None


def _counts(
    known: "Survey", periods: list[int], options: "Namespace"
) -> "tuple[list[Tally], bool]":
    """All periods in the order asked for, and whether Ctrl-C came before the end."""
    from padbench.cli.progress import case_progress
    from padbench.routines.engine import STATES
    from padbench.routines.tally import Tally
    from padbench.routines.work import count_of, parts

    tallies = {period: Tally(period) for period in periods}
    stopped = False
    with case_progress(STATES * sum(periods)) as advance:
        try:
            for tally in parts_done(options, count_of, known, parts(known, periods)):
                tallies[tally.period].add(tally)
                advance(tally.cases)
        except KeyboardInterrupt:
            stopped = True
    return [tallies[period] for period in periods], stopped


def _map(run: "Run", periods: list[int]) -> "DesignMap | None":
    from padbench.cli.progress import progress
    from padbench.routines.design_map import LOOPS, design_map

    with progress("loop lengths", len(LOOPS)) as step:
        return design_map(run, periods, step=step)


def _print_map(chart: "DesignMap | None") -> None:
    from padbench.routines.lengths import ranges

    if chart is None:
        print("No map: it takes two passes of the first port, with reads evenly spaced.")
        return
    print("Safe at these rates, by cycles a bit: cycles to add between the passes")
    for length, row in zip(chart.loops, chart.safe, strict=True):
        gaps = [gap for gap, good in zip(chart.gaps, row, strict=True) if good]
        now = " (now)" if length == chart.loop else ""
        print(f"  {length}{now}: {ranges(gaps) or 'none'}")


def _draw(path: Path, name: str, tallies: "list[Tally]", chart: "DesignMap | None") -> None:
    from padbench.results.sweep_plot import map_figure, phases_figure

    name = Path(name).name
    if chart is not None:
        draw("--picture", path, lambda to: map_figure(chart, f"{name}: loop length and gap", to))
    else:
        title = f"{name}: worst outcome of each phase"
        draw("--picture", path, lambda to: phases_figure(tallies, title, to))


def _print_replay(
    sweeps: "list[SweepCounts]", replay: "Callable[[int, Counterexample], str]"
) -> None:
    """The commands that play the first case of each kind again and write its wave."""
    for kind in ("accepted_wrong", "never_settles", "corrupt"):
        found = [(s.period, one) for s in sweeps for one in s.examples if one.kind == kind]
        if found:
            print(f"To see it, {kind.replace('_', ' ')}: {replay(*found[0])}")
