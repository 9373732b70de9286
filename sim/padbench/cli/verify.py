"""``padbench verify SHEET``."""

import json
from pathlib import Path

from padbench.cli.options import (
    Parser,
    add_wave_options,
    read_sheet,
    scenarios_for,
    sweep_engine,
    wave_folder,
)
from padbench.files import whole_file
from padbench.sheet import Sheet
from padbench.sheet.text import read_text
from padbench.verify import ScenarioResult, verify
from padbench.waveio import write_vcd

__all__ = ["run"]


def run(arguments: list[str]) -> int:
    """Judge a sheet; 1 if anything in the design is wrong."""
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
        help="a VCD file with the voltages of latch, clock and data at the far end, worst corner",
    )
    parser.add_argument(
        "--report",
        metavar="FILE",
        type=Path,
        help="one page (HTML) with everything: verdict, what to change, findings, waves",
    )
    parser.add_argument("--junit", metavar="FILE", type=Path, help="JUnit XML for CI servers")
    options = parser.parse_args(arguments)
    sheet = read_sheet(options.sheet)
    # Now and not at the end, so that the page shows what was judged.
    text, beside = "", []
    if options.report is not None:
        text, beside = read_text(options.sheet), _beside(sheet, options.sheet, options.scenarios)
    scenarios = list(scenarios_for(options.scenarios, sheet).values())
    folder = wave_folder(options.sheet, options.waves, options.no_waves)
    written: dict[str, Path] = {}

    def keep(result: ScenarioResult) -> None:
        if folder is not None:
            written[result.name] = write_wave(result, folder)
        if options.analogue is not None and result.name == _SHOWN:
            _write_voltages(sheet, result, options.analogue)

    from padbench.cli.progress import progress

    with progress("scenarios", 2 * len(sheet.works_with.ports) * len(scenarios)) as step:
        result = verify(sheet, scenarios, step=step, keep=keep, engine=sweep_engine(sheet))

    if options.report is not None:
        from padbench.report.html_page import write_page

        with whole_file(options.report) as out:
            write_page(result, sheet, text, out, file=options.sheet.name, beside=beside)
    if options.junit is not None:
        from padbench.report.junit_verify import write_junit

        with whole_file(options.junit) as out:
            write_junit(result, out, name=sheet.pad.name)
    if options.json:
        from padbench.report.as_json import verify_object

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
        if options.report is not None:
            screen.print(f"Report: {options.report}", soft_wrap=True)
    return 0 if result.verdict == "pass" else 1


def _beside(sheet: Sheet, path: Path, scenarios: Path | None) -> list[tuple[str, str]]:
    """Name and text of the other files that a run hangs on."""
    parts, routine = sheet.parts.file, sheet.poll.routine
    files = [
        None if parts is None else path.parent / parts,
        scenarios,
        None if routine is None else Path(routine),
    ]
    # A routine may be one of the shipped ones, which is no file, or machine code, which is no text.
    return [
        (file.name, file.read_text(encoding="utf-8", errors="replace"))
        for file in files
        if file is not None and file.is_file()
    ]


_SHOWN = "each-button"
"""The scenario whose voltages are written: every edge of a read, and every bit both ways."""


def _write_voltages(sheet: Sheet, result: ScenarioResult, path: Path) -> None:
    from padbench.electric.waves import line_waves
    from padbench.waveio.analogue import write_analogue

    waves = line_waves(sheet, result.port, result.timeline)
    comment = f"{result.name}: voltages at the worst corner, {result.port} port"
    write_analogue(result.timeline, waves, path, comment=comment)


def write_wave(result: ScenarioResult, folder: Path) -> Path:
    """Write the wave of a result into a folder and return where it is."""
    path = folder / f"{result.name}.vcd"
    comment = f"{result.name}: {result.says} ({result.corner} corner, {result.port} port)"
    write_vcd(result.timeline, path, comment=comment)
    return path
