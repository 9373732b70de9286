"""``padbench verify SHEET ...``."""

from pathlib import Path

from padbench.cli.errors import UsageError
from padbench.cli.options import Parser, add_wave_options, usable
from padbench.cli.outputs import add_output_options, emit
from padbench.cli.progress import progress
from padbench.cli.wave_folder import several, wave_folder
from padbench.jobs.verify import verify_each, write_voltages
from padbench.results.result import combined

_SHOWN = "each-button"
"""The scenario whose voltages are written: every edge of a read, and every bit both ways."""


def run(arguments: list[str]) -> int:
    """Judge sheets; 1 if anything in a design is wrong."""
    options = _parser().parse_args(arguments)
    for one in ("analogue", "margins"):
        if getattr(options, one) is not None and len(options.sheets) > 1:
            raise UsageError(f"--{one}: is for one sheet; name one")
    results = []
    with usable():
        if options.analogue is not None:
            # First, so that a name that is not known is told at once.
            write_voltages(
                options.sheets[0], options.analogue, options.analogue_of, options.scenarios
            )
        for sheet, waves in several(options.sheets, options.waves):
            with (
                wave_folder(sheet, waves, options.no_waves) as folder,
                progress("scenarios") as step,
            ):
                own = options.scenarios
                results += verify_each(sheet, own_scenarios=own, waves=folder, progress=step)
    what = "files" if len(results) == len(options.sheets) else "pads"
    return emit(results, options, arguments, combined(results, what))


def _parser() -> Parser:
    parser = Parser(
        "verify",
        "Judge design sheets: wiring, scenarios in simulation at both corners, on every port.",
        "padbench verify sim/sheets/harbour-b.toml",
    )
    parser.add_argument("sheets", metavar="SHEET", type=Path, nargs="+")
    add_wave_options(parser)
    parser.add_argument(
        "--analogue",
        metavar="FILE",
        type=Path,
        help="a VCD file with the voltages of latch, clock and data at the worst port and corner",
    )
    parser.add_argument(
        "--analogue-of",
        metavar="NAME",
        default=_SHOWN,
        help=f"the scenario of that file (default: {_SHOWN})",
    )
    figures = {
        "margins": "a figure of each finding's margin at every corner, the thinnest first",
        "scope": "a figure of the voltages at the worst port and corner, as a scope shows them",
    }
    add_output_options(parser, figures)
    return parser
