"""``padbench regress SHEET ...``."""

import sys
from argparse import ArgumentTypeError
from collections.abc import Sequence
from contextlib import AbstractContextManager
from pathlib import Path

from padbench.cli.options import Parser, add_wave_options, usable
from padbench.cli.outputs import add_output_options, emit
from padbench.cli.progress import progress
from padbench.cli.wave_folder import several, wave_folder
from padbench.files import plan_folder
from padbench.jobs.loading import design_of
from padbench.jobs.matrix import regress_all
from padbench.jobs.regress import hdl_of, regress, unfit
from padbench.sheet.simulators import SIMULATORS


def run(arguments: list[str]) -> int:
    """Run the scenarios on each sheet's HDL; 1 if anything came out wrong."""
    options = _parser().parse_args(arguments)
    with usable(), progress("scenarios") as step:
        asked = {
            "scenarios": options.scenario,
            "own_scenarios": options.scenarios,
            "exhaustive": options.exhaustive,
            "true_time": options.true_time,
            "prove": options.prove,
            "dump_all": options.dump_all and not options.no_waves,
            "limit": options.time_limit,
        }
        places: dict[Path, Path | None] = {}
        for sheet, waves in several([*dict.fromkeys(options.sheets)], options.waves):
            places[sheet] = waves
        cases = [
            (sheet, name)
            for sheet in places
            for name in _chosen(sheet, options.simulator, options.simulators)
        ]

        def folder(sheet: Path, simulator: str) -> AbstractContextManager[Path | None]:
            part, waves = simulator if options.simulators else "", places[sheet]
            named = None if waves is None else waves / part
            return wave_folder(sheet, named, options.no_waves, f"hdl/{part}")

        if len(cases) == 1 and not options.baseline and options.cluster is None:
            sheet, simulator = cases[0]
            with usable(sheet), folder(sheet, simulator) as place:
                result = regress(sheet, simulator=simulator, waves=place, progress=step, **asked)
            return emit([result], options, arguments)
        if options.waves is not None and not options.no_waves:
            plan_folder(options.waves)
        whole, results, refused = regress_all(
            cases,
            asked,
            workers=options.workers,
            cluster=options.cluster,
            kept=not options.no_cache,
            baselines=options.baseline,
            waves=folder,
            progress=step,
        )
    code = emit(results, options, arguments, whole)
    for line in refused:
        print(f"padbench: {line}", file=sys.stderr)
    return 2 if refused else code


def _chosen(sheet: Path, one: str | None, several: Sequence[str] | None) -> Sequence[str]:
    """The one asked for, of several those that run it, else the sheet's own.

    If none of several does, the first of them, which is then refused and told beside the others.
    """
    with usable(sheet):
        hdl = hdl_of(design_of(sheet))
    if several is None:
        return [one or hdl.engine]
    return [name for name in several if not unfit(hdl, name)] or several[:1]


def _names(text: str) -> list[str]:
    names = list(dict.fromkeys(name.strip() for name in text.split(",")))
    for name in names:
        if name not in SIMULATORS:
            raise ArgumentTypeError(f"{name[:60]!r} is none; known are {', '.join(SIMULATORS)}")
    return names


def _parser() -> Parser:
    parser = Parser(
        "regress",
        "Run the scenarios against the Verilog or VHDL that each sheet's [hdl] names.",
        "padbench regress sim/sheets/harbour-hdl.toml --junit results.xml",
    )
    parser.add_argument("sheets", metavar="SHEET", type=Path, nargs="+")
    parser.add_argument(
        "--scenario",
        metavar="NAME",
        action="append",
        help="only this scenario; may be given several times",
    )
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--simulator", choices=tuple(SIMULATORS), help="instead of the sheet's")
    which.add_argument(
        "--simulators",
        metavar="A,B",
        type=_names,
        help="run each sheet on each of these that can run it: " + ", ".join(SIMULATORS),
    )
    parser.add_argument(
        "--exhaustive",
        action="store_true",
        help="also all 256 x 256 transitions between held states and every stopped read",
    )
    parser.add_argument(
        "--true-time",
        action="store_true",
        help="polls with the sheet's own period, but for scenarios of more than a second",
    )
    parser.add_argument(
        "--prove",
        action="store_true",
        help="first prove it for all times and inputs, with yosys and yosys-abc",
    )
    parser.add_argument(
        "--workers", type=int, default=1, metavar="N", help="processes on this machine (default: 1)"
    )
    parser.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="a Dask scheduler, such as tcp://HOST:8786, whose workers see the same files",
    )
    parser.add_argument(
        "--no-cache",
        action="store_true",
        help="run all of several again, also what has not changed since it was run",
    )
    parser.add_argument(
        "--baseline",
        metavar="FILE",
        type=Path,
        action="append",
        default=[],
        help="what --json wrote before: say what is different now; several times, the oldest first",
    )
    parser.add_argument(
        "--dump-all",
        action="store_true",
        help="beside the waves, every signal of a design that fails, in its simulator's own form",
    )
    parser.add_argument(
        "--time-limit",
        metavar="SECONDS",
        type=float,
        help="for build and simulation together, and for a proof (default: 120, with --exhaustive "
        "900)",
    )
    add_wave_options(parser)
    add_output_options(parser, {})
    return parser
