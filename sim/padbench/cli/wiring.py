"""``padbench wiring SHEET``."""

from dataclasses import replace
from pathlib import Path

from padbench.circuit.pad_model import CORNERS
from padbench.cli.errors import UsageError
from padbench.cli.options import Parser, usable
from padbench.cli.outputs import add_output_options, emit
from padbench.files import whole_file
from padbench.jobs.wiring import netlist, plan_wiring
from padbench.results.result import Result
from padbench.wiring.export import write_drawing, write_plan_csv

__all__ = ["run"]


def run(arguments: list[str]) -> int:
    """Say what to solder; 1 if the sheet cannot work, which is said first."""
    parser = Parser(
        "wiring",
        "What to solder, pin by pin: nets, parts, cable, checks in order, voltages to find.",
        "padbench wiring sim/sheets/harbour-b.toml --schematic pad.svg",
    )
    parser.add_argument("sheet", metavar="SHEET", type=Path)
    parser.add_argument("--csv", metavar="FILE", type=Path, help="the pins with their voltages")
    parser.add_argument("--drawing", metavar="FILE", type=Path, help="the package, .svg")
    parser.add_argument(
        "--schematic",
        metavar="FILE",
        type=Path,
        help="the schematic of pad, cable and ports, .svg, .png or .pdf",
    )
    parser.add_argument(
        "--spice",
        metavar="FILE",
        type=Path,
        help="pad, cable and port with one read, as a netlist that ngspice -b FILE runs",
    )
    parser.add_argument(
        "--corner", choices=CORNERS, default="slow", help="of --spice (default: slow)"
    )
    parser.add_argument(
        "--port", metavar="KIND", help="of --spice (default: the sheet's with least to spare)"
    )
    add_output_options(parser, {})
    options = parser.parse_args(arguments)
    if options.drawing is not None and options.drawing.suffix.lower() != ".svg":
        raise UsageError(f"--drawing: {options.drawing} does not end in .svg; it is drawn as SVG")
    with usable(options.sheet):
        result = plan_wiring(options.sheet)
        spice = options.spice and netlist(result.data, options.port, options.corner)
    wrote = {}
    if options.schematic is not None:
        _draw(result, options.schematic)
        wrote["Schematic"] = options.schematic
    if options.csv is not None:
        with whole_file(options.csv) as out:
            write_plan_csv(result.data, out)
        wrote["Pins"] = options.csv
    if options.drawing is not None:
        with whole_file(options.drawing) as out:
            write_drawing(result.data, out, title=result.name)
        wrote["Drawing"] = options.drawing
    if options.spice is not None:
        with whole_file(options.spice) as out:
            out.write(spice)
        wrote["Netlist"] = options.spice
    return emit([replace(result, wrote=wrote)], options, arguments)


def _draw(result: Result, path: Path) -> None:
    """The schematic, .svg with words that stay words; what cannot be drawn is a `UsageError`."""
    from padbench.results.pictures import new_figure, save_figure
    from padbench.wiring.schematic import draw_schematic, schematic_svg

    broken = result.verdict == "fail"
    try:
        if path.suffix.lower() == ".svg":
            drawn = schematic_svg(result.data, broken=broken)
            with whole_file(path) as out:
                out.write(drawn)
            return
        figure = new_figure(path, 1, 1)
        draw_schematic(result.data, figure.add_axes((0, 0, 1, 1)), broken=broken)
    except ValueError as error:
        raise UsageError(f"--schematic: {error}") from None
    save_figure(figure, path)
