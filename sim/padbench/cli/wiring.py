"""``padbench wiring SHEET``."""

from dataclasses import replace
from pathlib import Path

from padbench.cli.errors import UsageError
from padbench.cli.options import Parser, usable
from padbench.cli.outputs import add_output_options, emit
from padbench.files import whole_file
from padbench.jobs.wiring import plan_wiring
from padbench.wiring.export import write_drawing, write_plan_csv

__all__ = ["run"]


def run(arguments: list[str]) -> int:
    """Say what to solder; 1 if the sheet cannot work, which is said first."""
    parser = Parser(
        "wiring",
        "What to solder, pin by pin: nets, parts, cable, checks in order, voltages to find.",
        "padbench wiring sim/sheets/harbour-b.toml --drawing pad.svg",
    )
    parser.add_argument("sheet", metavar="SHEET", type=Path)
    parser.add_argument("--csv", metavar="FILE", type=Path, help="the pins with their voltages")
    parser.add_argument("--drawing", metavar="FILE", type=Path, help="the package, .svg")
    add_output_options(parser, {})
    options = parser.parse_args(arguments)
    if options.drawing is not None and options.drawing.suffix.lower() != ".svg":
        raise UsageError(f"--drawing: {options.drawing} does not end in .svg; it is drawn as SVG")
    with usable(options.sheet):
        result = plan_wiring(options.sheet)
    wrote = {}
    if options.csv is not None:
        with whole_file(options.csv) as out:
            write_plan_csv(result.data, out)
        wrote["Pins"] = options.csv
    if options.drawing is not None:
        with whole_file(options.drawing) as out:
            write_drawing(result.data, out, title=result.name)
        wrote["Drawing"] = options.drawing
    return emit([replace(result, wrote=wrote)], options, arguments)
