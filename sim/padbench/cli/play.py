"""``padbench play SHEET --scenario NAME``."""

import json
from difflib import get_close_matches
from pathlib import Path

from padbench.cli.errors import UsageError
from padbench.cli.options import (
    Parser,
    add_wave_options,
    read_sheet,
    scenarios_for,
    sweep_engine,
    wave_folder,
)
from padbench.cli.verify import write_wave
from padbench.electric.corners import CORNERS
from padbench.scenarios import SCENARIOS, Scenario
from padbench.sheet import Sheet
from padbench.verify import ScenarioResult, run_scenario, standing_for_all

__all__ = ["run"]


def run(arguments: list[str]) -> int:
    """Run one scenario; 1 if it did not come out as expected."""
    parser = Parser(
        "play",
        "Run one scenario on one port at one corner: print its reads, write its wave. Without"
        " --port and --corner it is run on all, as by verify, and the first that fails is shown,"
        " else the slow corner on the first port. Scenarios: " + ", ".join(SCENARIOS) + ".",
        "padbench play sim/sheets/harbour-b.toml --scenario stopped-last-bit",
    )
    parser.add_argument("sheet", metavar="SHEET", type=Path)
    parser.add_argument("--scenario", metavar="NAME", required=True)
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
    options = parser.parse_args(arguments)
    sheet = read_sheet(options.sheet)
    scenarios = scenarios_for(options.scenarios, sheet)
    scenario = scenarios.get(options.scenario)
    if scenario is None:
        near = get_close_matches(options.scenario, scenarios, 1) or sorted(scenarios)
        raise UsageError(
            f"--scenario: there is no scenario {options.scenario[:60]!r}; try {', '.join(near)}"
        )
    ports = sheet.works_with.ports
    if options.port is not None and options.port not in ports:
        raise UsageError(
            f"--port: the sheet does not name {options.port[:60]!r}; try {', '.join(ports)}"
        )
    result = _played(sheet, scenario, options.port, options.corner)
    folder = wave_folder(options.sheet, options.waves, options.no_waves)
    path = None if folder is None else write_wave(result, folder)

    if options.picture is not None:
        _draw(result, options.picture, options.read, sheet.pad.name)

    if options.json:
        from padbench.report.as_json import play_object

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
    from padbench.report.pictures import save_figure
    from padbench.report.wave_picture import shown_read, wave_figure

    count = len(result.reads)
    if wanted is not None and not 1 <= wanted <= count:
        raise UsageError(f"--read: {wanted} is not between 1 and {count}, the reads of the run")
    try:
        number = shown_read(result) if wanted is None else wanted - 1
        figure = wave_figure(result, number, path, pad=pad)
    except ValueError as error:
        raise UsageError(f"--picture: {error}") from None
    save_figure(figure, path)
