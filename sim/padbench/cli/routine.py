"""``padbench routine FILE``."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from padbench.cli.errors import UsageError
from padbench.cli.options import Parser, read_sheet
from padbench.cli.reports import (
    add_report_options,
    draw,
    read_inputs,
    say_reports,
    told,
    write_reports,
)

if TYPE_CHECKING:
    from argparse import Namespace

    from padbench.core.pad import PadModel
    from padbench.results.html_page import Page
    from padbench.results.inputs import Input
    from padbench.routines.design_map import DesignMap
    from padbench.routines.engine import SweepCounts
    from padbench.routines.fetch import Console
    from padbench.routines.judge import Measured
    from padbench.routines.lengths import SafeLengths
    from padbench.routines.routine import Routine
    from padbench.routines.tally import Tally

__all__ = [
    "add_routine_options",
    "pad_for_wave",
    "periods_for",
    "run",
    "the_routine",
    "worst_of",
    "write_routine_reports",
    "write_worst_wave",
]

_BAD = ("exposed", "never-settles", "wrong")
_LONGEST_LIMIT = 10_000_000


def run(arguments: list[str]) -> int:
    """Judge a read routine; 1 if it can hand on a wrong byte or never comes back."""
    parser = Parser(
        "routine",
        "Judge a 6502 read routine: its cycles and scan lines, and what the sample fetch does to "
        "it in every phase and held state.",
        "padbench routine read-twice --waves twice.vcd",
    )
    parser.add_argument("what", metavar="FILE", help="a .asm, .bin or .hex file, or one of ours")
    add_routine_options(parser)
    parser.add_argument("--waves", metavar="FILE", type=Path, help="VCD of the worst case found")
    parser.add_argument(
        "--picture", metavar="FILE", type=Path, help="exposure by rate, .png, .svg or .pdf"
    )
    add_report_options(parser)
    parser.add_argument("--sheet", type=Path, help="the pad in that wave (default: a starter pad)")
    parser.add_argument("--line", type=int, help="the line of the frame at which the read starts")
    options = parser.parse_args(arguments)

    from padbench.cli.play_routine import replay_of
    from padbench.routines.frames import where_in_frame
    from padbench.routines.judge import judge, measure
    from padbench.routines.lengths import safe_lengths
    from padbench.routines.routine import RoutineError

    try:
        routine, console = the_routine(options)
        measured = measure(routine, console, options.limit)
        span = None
        if options.line is not None:
            span = where_in_frame(console.timing, options.line, measured.most)
        tallies = _tallies(routine, console, periods_for(options), options.limit)
        sweeps = [tally.counts() for tally in tallies]
    except RoutineError as error:
        raise UsageError(str(error)) from None
    except ValueError as error:
        raise UsageError(f"--line: {error}") from None
    verdict, says, by_lengths = judge(routine, console, measured, sweeps, options.limit)
    safe = safe_lengths(measured.run, [one.period for one in sweeps]) if by_lengths else None
    wave = write_worst_wave(options, routine, console, sweeps)
    command = told("routine", arguments)
    found = (measured, verdict, says, tallies, safe)
    write_routine_reports(options, routine, console, found, command)

    if options.picture is not None:
        from padbench.results.exposure_plot import exposure_figure

        name, timing = Path(routine.name).name, console.timing
        draw(
            "--picture", options.picture, lambda to: exposure_figure(name, timing.name, sweeps, to)
        )

    if options.json:
        from padbench.results.routine_json import routine_object

        made = routine_object(
            routine.name,
            options.console,
            measured,
            verdict,
            says,
            sweeps,
            safe,
            wave,
            replay_of(options),
        )
        print(json.dumps(made, ensure_ascii=False))
    else:
        from padbench.cli.routine_text import print_routine

        print_routine(routine, console.timing, measured, verdict, says, sweeps, safe, span)
        if wave is not None:
            print(f"Wave: {wave}")
        if options.picture is not None:
            print(f"Picture: {options.picture}")
        say_reports(options)
    return 1 if verdict in _BAD else 0


def add_routine_options(parser: Parser, *, fetch: bool = True) -> None:
    """What names a routine and a console, and unless told otherwise its fetch."""
    parser.add_argument("--entry", metavar="LABEL|ADDRESS", help="default: the first byte")
    parser.add_argument("--origin", metavar="ADDRESS", help="where a .bin lies (default $8000)")
    parser.add_argument(
        "--result",
        metavar="PLACE",
        help="A, an address or a label; two with a comma for two pads (default A)",
    )
    parser.add_argument(
        "--ports", metavar="ONE,TWO", default="$4016,$4017", help="default: $4016,$4017"
    )
    parser.add_argument("--console", choices=("60hz", "50hz"), default="60hz")
    parser.add_argument(
        "--limit",
        metavar="CYCLES",
        type=int,
        default=29_780,
        help="a routine that takes longer never comes back (default: 29780, a frame)",
    )
    if not fetch:
        parser.set_defaults(clocks="joined")
        return
    parser.add_argument(
        "--period",
        metavar="N",
        action="append",
        help="fetch every N CPU cycles; can be repeated; all: every rate (default: the fastest)",
    )
    parser.add_argument(
        "--clocks",
        choices=("joined", "each"),
        default="joined",
        help="repeated reads of the port: joined into one clock (default), or one each",
    )


def the_routine(options: "Namespace") -> "tuple[Routine, Console]":
    """Routine and console that the options name. Raises `RoutineError` and `UsageError`."""
    from padbench.parts import console_timing
    from padbench.routines.fetch import Console
    from padbench.routines.judge import on_its_port
    from padbench.routines.source import load_routine, number

    def address(option: str, text: str) -> int:
        value = number(text)
        if value is None:
            raise UsageError(f"{option}: {text[:60]!r} is no address; write for example $8000")
        return value

    if not 1 <= options.limit <= _LONGEST_LIMIT:
        raise UsageError(f"--limit: {options.limit} is not between 1 and {_LONGEST_LIMIT}")
    ports = [address("--ports", text) for text in options.ports.split(",")]
    if len(ports) != 2:
        raise UsageError(f"--ports: {options.ports[:60]!r} is not two addresses; see --help")
    routine = load_routine(
        options.what,
        entry=options.entry,
        origin=None if options.origin is None else address("--origin", options.origin),
        result=options.result,
        ports=(ports[0], ports[1]),
    )
    console = Console(console_timing(options.console), options.clocks)
    return on_its_port(routine, console, options.limit), console


def periods_for(options: "Namespace") -> list[int]:
    """The fetch periods asked for, each once, in the order of asking."""
    from padbench.parts import console_timing
    from padbench.routines.fetch import SHORTEST_PERIOD

    known = console_timing(options.console).fetch_periods
    asked: list[int] = []
    for text in options.period or [str(known[-1])]:
        if text == "all":
            asked += known
        elif text.isascii() and text.isdigit() and SHORTEST_PERIOD <= int(text[:9]) <= 65536:
            asked.append(int(text))
        else:
            raise UsageError(
                f"--period: {text[:60]!r} is no number of cycles from {SHORTEST_PERIOD} to 65536; "
                f"the console has {', '.join(map(str, known))}"
            )
    return list(dict.fromkeys(asked))


def _tallies(
    routine: "Routine", console: "Console", periods: Sequence[int], limit: int
) -> "list[Tally]":
    from padbench.cli.progress import progress
    from padbench.routines.engine import STATES
    from padbench.routines.fast import FastEngine

    engine = FastEngine()
    with progress("held states", STATES * len(periods)) as step:
        return [
            engine.tally(routine, console, period, limit=limit, step=step) for period in periods
        ]


def write_worst_wave(
    options: "Namespace", routine: "Routine", console: "Console", sweeps: "Sequence[SweepCounts]"
) -> Path | None:
    """The wave of the worst counterexample, or of an undisturbed read where there is none."""
    if options.waves is None:
        return None
    from padbench.routines.wave import case_wave
    from padbench.waveio import write_vcd

    found = worst_of(sweeps)
    pad = pad_for_wave(options.sheet)
    path: Path = options.waves
    if found is None or found.counterexample is None:
        wave = case_wave(routine, console, pad, held=0, limit=options.limit)
        comment = f"{routine.name}: undisturbed, nothing held"
    else:
        case = found.counterexample
        wave = case_wave(
            routine,
            console,
            pad,
            held=case.held,
            period=found.period,
            phase=case.phase,
            port=case.pad - 1,
            limit=options.limit,
        )
        comment = (
            f"{routine.name}: {case.kind}, held {case.held}, period {found.period}, "
            f"phase {case.phase}, got {case.got}"
        )
    write_vcd(wave, path, comment=comment)
    return path


def write_routine_reports(
    options: "Namespace",
    routine: "Routine",
    console: "Console",
    found: "tuple[Measured, str, str, Sequence[Tally], SafeLengths | None]",
    command: str,
    chart: "DesignMap | None" = None,
) -> None:
    """The page and the file for CI servers, of ``routine`` and of ``sweep --routine``."""
    if options.report is None and options.junit is None:
        return
    from padbench.results.junit import routine_suites
    from padbench.results.routine_page import JudgedRoutine, routine_page

    def page() -> "Page":
        judged = JudgedRoutine(
            routine,
            console,
            *found,
            pad=pad_for_wave(options.sheet),
            limit=options.limit,
            line=getattr(options, "line", None),
            chart=chart,
        )
        return routine_page(judged, routine_inputs(options, routine), command)

    counts = [tally.counts() for tally in found[3]]
    write_reports(options, routine.name, page, lambda: routine_suites(found[0], counts))


def routine_inputs(options: "Namespace", routine: "Routine") -> "list[Input]":
    """The source of a routine, a shipped one too, with a listing where it is machine code."""
    from dataclasses import replace

    from padbench.results.inputs import Input, disassembled
    from padbench.routines.source import shipped_source

    source = shipped_source(options.what)
    if source is not None:
        files = [Input.of(f"{options.what}.asm", source.encode())]
    else:
        files = read_inputs(Path(options.what), origin=routine.segments[0][0])
        if files and Path(options.what).suffix.lower() == ".hex":
            files = [replace(files[0], listing=disassembled(routine.segments))]
    return [*files, *read_inputs(options.sheet)]


def worst_of(sweeps: "Sequence[SweepCounts]") -> "SweepCounts | None":
    """The first sweep with a counterexample of the worst kind that any has; None if none has."""
    worst = ("accepted_wrong", "never_settles", "corrupt")
    return min(
        (sweep for sweep in sweeps if sweep.counterexample is not None),
        key=lambda s: worst.index(s.counterexample.kind),  # type: ignore[union-attr]
        default=None,
    )


def pad_for_wave(sheet: Path | None) -> "PadModel":
    """The pad that a routine's wave shows: that of a sheet, or of the starter sheet."""
    from padbench.circuit.pad_model import pad_model
    from padbench.sheet import STARTER, sheet_from_text

    design = sheet_from_text(STARTER, "starter sheet") if sheet is None else read_sheet(sheet)
    return pad_model(design, design.works_with.ports[0], "slow")
