"""``padbench play SHEET --scenario NAME``, and cases of a sweep again."""

from argparse import Namespace
from pathlib import Path

from padbench.circuit.pad_model import CORNERS
from padbench.cli.errors import UsageError
from padbench.cli.options import Parser, add_wave_options, usable
from padbench.cli.outputs import add_output_options, emit
from padbench.cli.routine import add_routine_options, fetch_arguments, routine_arguments
from padbench.cli.wave_folder import wave_folder
from padbench.jobs.routine_case import play_case
from padbench.jobs.verify import play
from padbench.padsweep.replay import case_from_text, pad_case
from padbench.scenarios import SCENARIOS


def run(arguments: list[str]) -> int:
    """Run one scenario; 1 if it did not come out as expected."""
    options = _parser().parse_args(arguments)
    if options.what is not None:
        if options.case is None or {options.picture, options.pad} != {None}:
            raise UsageError("--routine: goes with --case, not --scenario, --picture or --pad")
        return _play_case(options, arguments)
    if options.sheet is None:
        raise UsageError("SHEET is missing; see padbench play --help")
    scenario = options.scenario
    if options.case is not None:
        # A sweep knows no times, so neither does its case.
        options.corner = options.corner or "fast"
        try:
            scenario = pad_case(case_from_text(options.case))
        except ValueError as error:
            raise UsageError(f"--case: {error}") from None
    try:
        with (
            usable(),
            wave_folder(options.sheet, options.waves, options.no_waves, more=True) as folder,
        ):
            result = play(
                options.sheet,
                scenario,
                port=options.port,
                corner=options.corner,
                own_scenarios=options.scenarios,
                waves=folder,
                read=options.read,
                pad=options.pad,
            )
    except ValueError as error:
        if options.case is None:
            raise
        raise UsageError(f"--case: {error}") from None
    return emit([result], options, arguments)


def _play_case(options: Namespace, arguments: list[str]) -> int:
    """A case of a routine; ``SHEET`` is the pad."""
    fetch = fetch_arguments(options)
    named = Path(f"{Path(options.what).stem}.toml")
    with usable(), wave_folder(named, options.waves, options.no_waves, more=True) as folder:
        result = play_case(
            options.what,
            options.case,
            **routine_arguments(options),
            clocks=fetch["clocks"],
            period=fetch["periods"],
            sheet=options.sheet,
            waves=folder,
        )
    return emit([result], options, arguments)


def _parser() -> Parser:
    parser = Parser(
        "play",
        "Run one scenario on one port at one corner: print its reads, write its wave. Without"
        " --port and --corner it is run on all, as by verify, and the first that fails is shown,"
        " else the slow corner on the first port. --case plays a case that sweep has named: of a"
        " pad, or with --routine of a read routine. Scenarios: " + ", ".join(SCENARIOS) + ".",
        "padbench play sim/sheets/harbour-b.toml --scenario stopped-last-bit",
    )
    parser.add_argument("sheet", metavar="SHEET", type=Path, nargs="?")
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--scenario", metavar="NAME")
    what.add_argument("--case", metavar="WORDS", help="as sweep writes them")
    parser.add_argument(
        "--routine",
        dest="what",
        metavar="WHAT",
        help="the case is one of this routine; SHEET is the pad (default: a starter pad)",
    )
    parser.add_argument(
        "--corner", choices=CORNERS, help="fast: no delays at all; slow: the longest there can be"
    )
    parser.add_argument("--port", metavar="KIND", help="one of the ports that the sheet names")
    parser.add_argument(
        "--read",
        metavar="N",
        type=int,
        help="the read in the figure (default: the first wrong one, or the first press)",
    )
    parser.add_argument("--pad", metavar="NAME", help="which one, where the sheet has several")
    add_wave_options(parser)
    add_routine_options(parser, periods="the fastest")
    add_output_options(parser, {"picture": "a figure of one read"})
    return parser
