"""``padbench wiring SHEET``."""

from dataclasses import replace
from pathlib import Path

from padbench.circuit.pad_model import CORNERS
from padbench.cli.options import Parser, usable
from padbench.cli.outputs import add_output_options, emit
from padbench.files import whole_file
from padbench.jobs.wiring import netlist, plan_wiring


def run(arguments: list[str]) -> int:
    """Say what to solder; 1 if the sheet cannot work, which is said first."""
    parser = Parser(
        "wiring",
        "What to solder, pin by pin: nets, parts, cable, checks in order, voltages to find.",
        "padbench wiring sim/sheets/harbour-b.toml --schematic pad.svg",
    )
    parser.add_argument("sheet", metavar="SHEET", type=Path)
    figures = {
        "drawing": "the packages from above",
        "schematic": "the schematic of pad and cable",
    }
    says = "pad, cable and port with one read, as a netlist that ngspice -b FILE runs"
    parser.add_argument("--spice", metavar="FILE", type=Path, help=says)
    says = "the corner of --spice (default: slow)"
    parser.add_argument("--corner", choices=CORNERS, default="slow", help=says)
    says = "the port of --spice (default: the one with least to spare)"
    parser.add_argument("--port", metavar="KIND", help=says)
    parser.add_argument("--pad", metavar="NAME", help="which one, where the sheet has several")
    add_output_options(parser, figures)
    options = parser.parse_args(arguments)
    with usable(options.sheet):
        result = plan_wiring(options.sheet, options.pad)
        spice = options.spice and netlist(result.data, options.port, options.corner)
    wrote = {}
    if options.spice is not None:
        with whole_file(options.spice) as out:
            out.write(spice)
        wrote["Netlist"] = options.spice
    return emit([replace(result, wrote=wrote)], options, arguments)
