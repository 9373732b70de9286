"""``padbench play SHEET --scenario NAME``."""

import json
from difflib import get_close_matches
from pathlib import Path

from padbench.cli.errors import UsageError
from padbench.cli.options import Parser, add_wave_options, read_sheet, scenarios_for, wave_folder
from padbench.cli.verify import write_wave
from padbench.electric.corners import CORNERS
from padbench.verify import run_scenario

__all__ = ["run"]


def run(arguments: list[str]) -> int:
    """Run one scenario; 1 if it did not come out as expected."""
    parser = Parser(
        "play",
        "Run one scenario on one port at one corner: print its reads, write its wave.",
        "padbench play sim/sheets/harbour-b.toml --scenario stopped-last-bit",
    )
    parser.add_argument("sheet", metavar="SHEET", type=Path)
    parser.add_argument("--scenario", metavar="NAME", required=True)
    parser.add_argument("--corner", choices=CORNERS, default="slow")
    parser.add_argument("--port", metavar="KIND", help="default: the first that the sheet names")
    add_wave_options(parser)
    options = parser.parse_args(arguments)
    sheet = read_sheet(options.sheet)
    scenarios = scenarios_for(options.scenarios)
    scenario = scenarios.get(options.scenario)
    if scenario is None:
        near = get_close_matches(options.scenario, scenarios, 1) or sorted(scenarios)
        raise UsageError(
            f"--scenario: there is no scenario {options.scenario[:60]!r}; try {', '.join(near)}"
        )
    ports = sheet.works_with.ports
    port = options.port or ports[0]
    if port not in ports:
        raise UsageError(f"--port: the sheet does not name {port[:60]!r}; try {', '.join(ports)}")
    result = run_scenario(sheet, scenario, port, options.corner)
    folder = wave_folder(options.sheet, options.waves, options.no_waves)
    path = None if folder is None else write_wave(result, folder)

    if options.json:
        from padbench.report.as_json import play_object

        print(json.dumps(play_object(result, path), ensure_ascii=False))
    else:
        from padbench.cli.tables import console, reads_table

        screen = console()
        screen.print(f"{result.name}: {result.says}")
        screen.print(f"{sheet.pad.name}, {result.corner} corner, {result.port} port")
        screen.print(reads_table(result))
        for problem in result.problems:
            screen.print(f"FAILS: {problem.says}")
        if path is not None:
            screen.print(f"Wave: {path}", soft_wrap=True)
    return 0 if result.verdict == "pass" else 1
