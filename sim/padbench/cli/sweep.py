"""``padbench sweep``."""

from pathlib import Path

from padbench.cli.errors import UsageError
from padbench.cli.options import Parser, usable
from padbench.cli.outputs import add_output_options, emit
from padbench.cli.progress import progress
from padbench.cli.routine import add_routine_options, fetch_arguments, routine_arguments
from padbench.jobs.sweep import sweep


def run(arguments: list[str]) -> int:
    """Sweep a routine or a pad; 1 if any case comes out wrong."""
    options = _parser().parse_args(arguments)
    if options.sheet is not None and options.picture is not None:
        raise UsageError("--picture: it draws a routine; leave it out with --sheet")
    with usable(options.sheet), progress("cases", rate=True) as step:
        result = sweep(
            routine=options.what,
            sheet=options.sheet,
            **routine_arguments(options),
            **fetch_arguments(options),
            chart=options.map,
            workers=options.workers,
            cluster=options.cluster,
            waves=options.waves,
            progress=step,
        )
    return emit([result], options, arguments)


def _parser() -> Parser:
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
    add_routine_options(parser)
    figure = "phase against rate, with --map gap against loop length"
    add_output_options(parser, {"picture": figure})
    return parser
