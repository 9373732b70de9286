"""``padbench verify SHEET``."""

import json
from argparse import Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from padbench.cli.options import (
    Parser,
    add_wave_options,
    read_sheet,
    scenario_named,
    scenarios_for,
    sweep_engine,
    wave_folder,
)
from padbench.cli.reports import (
    add_report_options,
    draw,
    read_inputs,
    say_reports,
    told,
    write_reports,
)
from padbench.routines.poll import with_timings
from padbench.sheet import Sheet
from padbench.trials import ScenarioResult, VerifyResult, run_scenario, verify
from padbench.waveio import write_vcd

if TYPE_CHECKING:
    from padbench.results.html_page import Page
    from padbench.results.inputs import Input
    from padbench.results.junit import Suite
    from padbench.routines.engine import RoutineEngine
    from padbench.scenarios import Scenario

__all__ = ["inputs_of", "run", "write_wave"]


def run(arguments: list[str]) -> int:
    """Judge a sheet; 1 if anything in the design is wrong."""
    options = _parser().parse_args(arguments)
    sheet = read_sheet(options.sheet)
    # Now and not at the end, so that the page shows what was judged.
    files = [] if options.report is None else inputs_of(sheet, options)
    known = scenarios_for(options.scenarios, sheet)
    volts = scenario_named(options.analogue_of, known, "--analogue-of")
    scenarios = list(known.values())
    engine = sweep_engine(sheet)
    folder = wave_folder(options.sheet, options.waves, options.no_waves)
    written: dict[str, Path] = {}

    def keep(result: ScenarioResult) -> None:
        if folder is not None:
            written[result.name] = write_wave(result, folder)
        if options.analogue is not None and result.name == volts.name:
            _write_voltages(sheet, result, volts, engine, options.analogue)

    from padbench.cli.progress import progress

    with progress("scenarios", 2 * len(sheet.works_with.ports) * len(scenarios)) as step:
        result = verify(sheet, scenarios, step=step, keep=keep, engine=engine)

    write_reports(
        options,
        sheet.pad.name,
        lambda: _page(result, sheet, files, told("verify", arguments)),
        lambda: _suites(result),
    )
    if options.margins is not None:
        _draw_margins(result, sheet, options.margins)
    if options.json:
        from padbench.results.as_json import verify_object

        print(json.dumps(verify_object(result, written, options.sheet, sheet.pad.name)))
    else:
        from padbench.cli.tables import (
            console,
            show_findings,
            show_ports,
            show_scenarios,
            show_verdict,
        )

        screen = console()
        show_scenarios(screen, result.scenarios)
        show_ports(screen, result.ports)
        show_findings(screen, result.findings)
        show_verdict(screen, sheet.pad.name, result)
        if folder is not None:
            screen.print(f"Waves: {folder}", soft_wrap=True)
        if options.margins is not None:
            screen.print(f"Margins: {options.margins}", soft_wrap=True)
        say_reports(options)
    return 0 if result.verdict == "pass" else 1


def _parser() -> Parser:
    parser = Parser(
        "verify",
        "Judge a design sheet: wiring, scenarios in simulation at both corners, on every port.",
        "padbench verify sim/sheets/harbour-b.toml",
    )
    parser.add_argument("sheet", metavar="SHEET", type=Path)
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
    parser.add_argument(
        "--margins",
        metavar="FILE",
        type=Path,
        help="a figure of each finding's margin at every corner, .svg, .png or .pdf",
    )
    add_report_options(parser)
    return parser


def inputs_of(sheet: Sheet, options: Namespace) -> "list[Input]":
    """The sheet and the other files that a run hangs on."""
    parts, routine = sheet.parts.file, sheet.poll.routine
    return read_inputs(
        options.sheet,
        None if parts is None else options.sheet.parent / parts,
        options.scenarios,
        None if routine is None else Path(routine),
    )


def _page(result: VerifyResult, sheet: Sheet, files: "list[Input]", command: str) -> "Page":
    from padbench.results.verify_page import verify_page

    return verify_page(result, sheet, files, command)


def _draw_margins(result: VerifyResult, sheet: Sheet, path: Path) -> None:
    from padbench.circuit.findings import spread_of
    from padbench.results.margins_plot import margins_figure

    spreads = [*spread_of(with_timings(sheet), result.findings)]
    draw("--margins", path, lambda to: margins_figure(spreads, sheet.pad.name, to))


def _suites(result: VerifyResult) -> "list[Suite]":
    from padbench.results.junit import verify_suites

    return verify_suites(result)


_SHOWN = "each-button"
"""The scenario whose voltages are written: every edge of a read, and every bit both ways."""


def _write_voltages(
    sheet: Sheet,
    shown: ScenarioResult,
    scenario: "Scenario",
    engine: "RoutineEngine | None",
    path: Path,
) -> None:
    """On the port with the least margin, at the slow corner: there the voltages are worst."""
    from padbench.circuit.waves import line_waves, worst_port
    from padbench.waveio.analogue import write_analogue

    port = worst_port(sheet)
    fits = (shown.port, shown.corner) == (port, "slow")
    result = shown if fits else run_scenario(sheet, scenario, port, "slow", engine)
    waves = line_waves(sheet, port, result.timeline)
    comment = f"{result.name}: voltages at the worst corner, {port} port"
    write_analogue(result.timeline, waves, path, comment=comment)


def write_wave(result: ScenarioResult, folder: Path) -> Path:
    """Write the wave of a result into a folder and return where it is."""
    path = folder / f"{result.name}.vcd"
    comment = f"{result.name}: {result.says} ({result.corner} corner, {result.port} port)"
    write_vcd(result.timeline, path, comment=comment)
    return path
