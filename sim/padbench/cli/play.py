"""``padbench play SHEET --scenario NAME``, and cases of a sweep again."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

from padbench.circuit.pad_model import CORNERS
from padbench.cli.errors import UsageError
from padbench.cli.options import (
    Parser,
    add_wave_options,
    read_sheet,
    scenario_named,
    scenarios_for,
    sweep_engine,
    wave_folder,
)
from padbench.cli.reports import draw
from padbench.cli.routine import add_routine_options
from padbench.cli.verify import write_wave
from padbench.scenarios import SCENARIOS, Scenario
from padbench.sheet import Sheet
from padbench.trials import ScenarioResult, run_scenario, standing_for_all

if TYPE_CHECKING:
    from argparse import Namespace

    from matplotlib.figure import Figure

__all__ = ["run"]


def run(arguments: list[str]) -> int:
    """Run one scenario; 1 if it did not come out as expected."""
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
        "--picture", metavar="FILE", type=Path, help="a figure of one read, .svg, .png or .pdf"
    )
    parser.add_argument(
        "--read",
        metavar="N",
        type=int,
        help="the read in the figure (default: the first wrong one, or the first press)",
    )
    add_wave_options(parser)
    add_routine_options(parser)
    options = parser.parse_args(arguments)
    if options.what is not None:
        if options.case is None or options.picture is not None:
            raise UsageError("--routine: goes with --case, and without --scenario and --picture")
        from padbench.cli.play_routine import play_routine

        return play_routine(options)
    if options.sheet is None:
        raise UsageError("SHEET is missing; see padbench play --help")
    sheet = read_sheet(options.sheet)
    scenario = _scenario(options, sheet)
    ports = sheet.works_with.ports
    if options.port is not None and options.port not in ports:
        raise UsageError(
            f"--port: the sheet does not name {options.port[:60]!r}; try {', '.join(ports)}"
        )
    try:
        result = _played(sheet, scenario, options.port, options.corner)
    except ValueError as error:
        if options.case is None:
            raise
        raise UsageError(f"--case: {error}") from None
    folder = wave_folder(options.sheet, options.waves, options.no_waves)
    path = None if folder is None else write_wave(result, folder)

    if options.picture is not None:
        _draw(result, options.picture, options.read, sheet.pad.name)

    if options.json:
        from padbench.results.as_json import play_object

        print(json.dumps(play_object(result, path)))
    else:
        from padbench.cli.tables import console, show_reads

        screen = console()
        screen.print(f"{result.name}: {result.says}")
        screen.print(f"{sheet.pad.name}, {result.corner} corner, {result.port} port")
        show_reads(screen, result)
        if path is not None:
            screen.print(f"Wave: {path}", soft_wrap=True)
        if options.picture is not None:
            screen.print(f"Picture: {options.picture}", soft_wrap=True)
    return 0 if result.verdict == "pass" else 1


def _scenario(options: "Namespace", sheet: Sheet) -> Scenario:
    if options.case is not None:
        from padbench.padsweep.replay import case_from_text, pad_case

        # A sweep knows no times, so neither does its case.
        options.corner = options.corner or "fast"
        try:
            return pad_case(case_from_text(options.case))
        except ValueError as error:
            raise UsageError(f"--case: {error}") from None
    return scenario_named(options.scenario, scenarios_for(options.scenarios, sheet))


def _played(
    sheet: Sheet, scenario: Scenario, port: str | None, corner: str | None
) -> ScenarioResult:
    engine = sweep_engine(sheet)
    runs = [
        run_scenario(sheet, scenario, on, at, engine)
        for on in sheet.works_with.ports
        for at in CORNERS
        if port in (None, on) and corner in (None, at)
    ]
    return standing_for_all(runs)


def _draw(result: ScenarioResult, path: Path, wanted: int | None, pad: str) -> None:
    from padbench.results.wave_picture import shown_read, wave_figure

    count = len(result.reads)
    if wanted is not None and not 1 <= wanted <= count:
        raise UsageError(f"--read: {wanted} is not between 1 and {count}, the reads of the run")

    def figure(to: Path) -> "Figure":
        number = shown_read(result) if wanted is None else wanted - 1
        return wave_figure(result, number, to, pad=pad)

    draw("--picture", path, figure)
