"""``padbench regress SHEET ...``."""

from argparse import ArgumentTypeError
from collections.abc import Iterator, Sequence
from pathlib import Path

from padbench.cli.options import Parser, add_wave_options, usable
from padbench.cli.outputs import add_output_options, emit
from padbench.cli.progress import progress
from padbench.cli.wave_folder import several, wave_folder
from padbench.jobs.loading import Refusal, design_of
from padbench.jobs.regress import regress
from padbench.sheet.simulators import SIMULATORS


def run(arguments: list[str]) -> int:
    """Run the scenarios on each sheet's HDL; 1 if anything came out wrong."""
    options = _parser().parse_args(arguments)
    results = []
    with usable():
        for sheet, waves in several(options.sheets, options.waves):
            for simulator in _chosen(sheet, options.simulator, options.simulators or ()):
                part = (simulator or "") if options.simulators else ""
                named = None if waves is None else waves / part
                with (
                    wave_folder(sheet, named, options.no_waves, f"hdl/{part}") as folder,
                    progress("scenarios") as step,
                ):
                    result = regress(
                        sheet,
                        options.scenario,
                        own_scenarios=options.scenarios,
                        exhaustive=options.exhaustive,
                        true_time=options.true_time,
                        prove=options.prove,
                        simulator=simulator,
                        limit=options.time_limit,
                        waves=folder,
                        progress=step,
                    )
                results.append(result)
    return emit(results, options, arguments)


def _chosen(sheet: Path, one: str | None, several: Sequence[str]) -> Iterator[str | None]:
    """The simulators to run a sheet on; None is its own."""
    hdl = design_of(sheet).sheet.hdl if several else None
    if not several or hdl is None:
        yield one
        return
    fits = [name for name in several if name in hdl.fitting]
    if not fits:
        known = " or ".join(hdl.fitting)
        raise Refusal("simulators", f"none of them reads {hdl.language}; {sheet} needs {known}")
    yield from fits


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
        help="run each sheet on each of these that reads its language: " + ", ".join(SIMULATORS),
    )
    parser.add_argument(
        "--exhaustive",
        action="store_true",
        help="also all 256 x 256 transitions between held states and every stopped read",
    )
    parser.add_argument(
        "--true-time",
        action="store_true",
        help="every poll with the sheet's own period, however long that takes",
    )
    parser.add_argument(
        "--prove",
        action="store_true",
        help="first prove it for all times and inputs, with yosys and yosys-abc",
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
