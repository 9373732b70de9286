"""``padbench inspect CAPTURE``."""

import sys
from argparse import Namespace
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from padbench.capture.inspect import Inspection, Settings, inspect
from padbench.capture.reads import SeenRead
from padbench.capture.windows import TooMuch
from padbench.cli.captures import OpenCapture, add_capture_options, opened
from padbench.cli.errors import UsageError
from padbench.cli.options import (
    Parser,
    read_sheet,
    scenario_named,
    scenarios_for,
    sweep_engine,
)
from padbench.cli.reports import add_report_options, read_inputs, say_reports, told, write_reports
from padbench.core.findings import Finding, overall
from padbench.sheet import Sheet

if TYPE_CHECKING:
    from padbench.capture.expected import Expectation
    from padbench.core.timeline import Timeline
    from padbench.results.html_page import Page
    from padbench.results.inspect_page import ChosenRead

__all__ = ["run"]

_SHOWN = 40


def run(arguments: list[str]) -> int:
    """Decode and judge a capture; 1 if anything in it is wrong."""
    parser = Parser(
        "inspect",
        "Decode a capture of real hardware or of a simulation (VCD or CSV, plain or gzip): every "
        "read, every width, held to the rules that a simulation is held to.",
        "padbench inspect bench.csv --clock CH2 --latch CH1 --data CH3 --sheet my-pad.toml",
    )
    parser.add_argument("capture", metavar="CAPTURE", type=Path)
    add_capture_options(parser)
    parser.add_argument(
        "--sheet", metavar="SHEET", type=Path, help="judge against this design's limits"
    )
    parser.add_argument("--port", metavar="KIND", help="default: the first that the sheet names")
    parser.add_argument("--expect", metavar="FILE", type=Path, help="which buttons were held when")
    parser.add_argument(
        "--against",
        metavar="OTHER",
        type=Path,
        help="another capture, or with --scenario a sheet to simulate, compared read by read",
    )
    parser.add_argument("--scenario", metavar="NAME", help="what the sheet of --against plays")
    parser.add_argument("--scenarios", metavar="FILE", type=Path, help="scenarios of your own")
    parser.add_argument(
        "--sync-line",
        metavar="N",
        type=int,
        help="line of the frame, 0 draws first, in which vertical sync begins (default: 245 of 262"
        " lines, 266 of 312)",
    )
    parser.add_argument("--clocks", metavar="N", type=int, help="bits of a whole read (default: 8)")
    parser.add_argument(
        "--passes", metavar="N", type=int, help="reads of one poll (default: as found)"
    )
    add_report_options(parser)
    parser.add_argument("--all-reads", action="store_true", help=f"list more than {_SHOWN}")
    options = parser.parse_args(arguments)
    sheet = read_sheet(options.sheet) if options.sheet else None
    settings = _settings(options, sheet)
    if options.sync_line is not None:
        if options.sync is None or not 0 <= options.sync_line < 400:
            raise UsageError("--sync-line: give a line from 0 to 399, and --sync CHANNEL too")
        settings = replace(settings, sync_from=options.sync_line)
    expected = _expectation(options.expect)
    play = _simulation(options)

    seen, capture = _read(options.capture, options, settings)
    findings = [*_findings(seen, settings, sheet)]
    if expected is not None:
        from padbench.capture.expected import judge_expectation

        findings.append(judge_expectation(seen.reads(), expected))
    if options.against is not None:
        from padbench.capture.against import judge_against

        if play is not None:
            other, source = play()
        else:
            other, _ = _read(options.against, options, settings, lenient=True)
            source = f"the capture {options.against}"
        findings += judge_against([*seen.reads()], [*other.reads()], source)
    verdict = overall(found.verdict for found in findings)
    _write(options, seen, capture, findings, expected, told("inspect", arguments))
    if options.json:
        _print_json(verdict, seen, capture, findings)
    else:
        _print_tables(verdict, seen, capture, findings, options)
        say_reports(options)
    return 0 if verdict == "pass" else 1


def _settings(options: Namespace, sheet: Sheet | None) -> Settings:
    from padbench.capture.held_to import settings_of_sheet, usual_settings

    if options.clocks is not None and not 1 <= options.clocks <= 64:
        raise UsageError(f"--clocks: {options.clocks} is not between 1 and 64; write for example 8")
    if options.passes is not None and not 1 <= options.passes <= 4:
        raise UsageError(f"--passes: {options.passes} is not between 1 and 4; write for example 2")
    if sheet is None:
        if options.port is not None and options.scenario is None:
            raise UsageError("--port: only a sheet has kinds of port; give --sheet too")
        return usual_settings(wanted=options.clocks or 8, passes=options.passes or 0)
    port = _port(options, sheet)
    return settings_of_sheet(sheet, port, wanted=options.clocks, passes=options.passes or 0)


def _port(options: Namespace, sheet: Sheet) -> str:
    ports = sheet.works_with.ports
    port: str = options.port or ports[0]
    if port not in ports:
        raise UsageError(f"--port: the sheet does not name {port[:60]!r}; try {', '.join(ports)}")
    return port


def _simulation(options: Namespace) -> "Callable[[], tuple[Inspection, str]] | None":
    """What plays the scenario to compare with and says which it was; None if that is a capture."""
    path: Path | None = options.against
    if options.scenario is None:
        if path is not None and path.suffix == ".toml":
            raise UsageError(f"--against: {path} is a sheet; give --scenario too, as idle")
        return None
    if path is None:
        raise UsageError("--scenario: nothing is simulated; give --against SHEET too")
    sheet = read_sheet(path)
    scenario = scenario_named(options.scenario, scenarios_for(options.scenarios, sheet))
    port = _port(options, sheet)

    def play() -> tuple[Inspection, str]:
        from padbench.capture.held_to import settings_of_sheet
        from padbench.capture.simulated import inspect_timeline
        from padbench.trials import run_scenario

        ran = run_scenario(sheet, scenario, port, "slow", sweep_engine(sheet))
        settings = settings_of_sheet(sheet, port, wanted=options.clocks)
        source = f"the simulation of {path}, {scenario.name}, {port} port, slow corner"
        return inspect_timeline(ran.timeline, settings), source

    return play


def _expectation(path: Path | None) -> "Expectation | None":
    if path is None:
        return None
    from padbench.capture.expected import load_expectation
    from padbench.sheet import SheetError

    try:
        return load_expectation(path)
    except SheetError as error:
        raise UsageError(*map(str, error.problems)) from None


def _read(
    path: Path, options: Namespace, settings: Settings, *, lenient: bool = False
) -> tuple[Inspection, OpenCapture]:
    from padbench.cli.progress import progress

    try:
        size = path.stat().st_size
    except OSError:
        size = 0  # opening it will say what is wrong
    with (
        progress(f"reading {path.name}", size) as step,
        opened(path, options, step, lenient=lenient) as capture,
    ):
        try:
            return inspect(capture.pieces(), settings), capture
        except TooMuch as error:
            raise UsageError(f"{path}: {error}") from None


def _findings(seen: Inspection, settings: Settings, sheet: Sheet | None) -> tuple[Finding, ...]:
    from padbench.capture.findings import findings_of

    policy = "both" if sheet is None else sheet.policy.opposite_directions
    return findings_of(seen, wanted=settings.wanted, policy=policy)


def _write(
    options: Namespace,
    seen: Inspection,
    capture: OpenCapture,
    findings: list[Finding],
    expected: "Expectation | None",
    command: str,
) -> None:
    from padbench.results.junit import inspect_suites

    def page() -> "Page":
        from padbench.results.inspect_page import chosen_reads, inspect_page

        files = [options.sheet, options.expect, options.capture, options.against]
        return inspect_page(
            options.capture.name,
            seen,
            findings,
            {r: n + _unit(capture) * (r == "time") for r, n in capture.channels.items()},
            _waves(options, chosen_reads(seen, findings)),
            read_inputs(*files),
            command,
            expected=expected,
        )

    write_reports(options, options.capture.name, page, lambda: inspect_suites(findings))


def _waves(options: Namespace, chosen: "list[ChosenRead]") -> "list[tuple[ChosenRead, Timeline]]":
    """The wires of the chosen reads, in a second pass: nobody knows before the end which."""
    if not options.capture.is_file():
        return []
    from padbench.capture.stretches import stretches

    with opened(options.capture, options) as again:
        found = dict(stretches(again.pieces(), [one.span for one in chosen]))
    return [(one, found[one.span[0]]) for one in chosen if one.span[0] in found]


def _print_json(
    verdict: str, seen: Inspection, capture: OpenCapture, findings: list[Finding]
) -> None:
    from padbench.capture.buttons_seen import presses
    from padbench.results.inspect_json import inspect_text

    head = {
        "channels": {
            role: {"name": name, "found": role in capture.found, "how": capture.found.get(role)}
            for role, name in capture.channels.items()
        },
        "time_unit": None
        if capture.time_unit is None
        else dict(zip(("unit", "how"), capture.time_unit, strict=True)),
        "end_ps": seen.end_ps,
        "passes": seen.passes,
        "frame": _frame_object(seen),
        "volts": {role: {"min": a, "max": b} for role, (a, b) in seen.volts.items()},
    }
    for part in inspect_text(
        verdict, head, findings, seen.measures, presses(seen.rows), seen.reads(), seen.place
    ):
        sys.stdout.write(part)
    sys.stdout.write("\n")


def _unit(capture: OpenCapture) -> str:
    return "" if capture.time_unit is None else ", in {}, {}".format(*capture.time_unit)


def _frame_object(seen: Inspection) -> dict[str, object] | None:
    frame = seen.frame
    if frame is None:
        return None
    return {
        "console": None if frame.timing is None else frame.timing.name,
        "lines": frame.frame_ps / frame.line_ps,
        "sync_line": frame.sync_from,
    }


def _print_tables(
    verdict: str,
    seen: Inspection,
    capture: OpenCapture,
    findings: list[Finding],
    options: Namespace,
) -> None:
    from padbench.capture.buttons_seen import presses
    from padbench.cli.capture_tables import measures_table, presses_table, seen_table
    from padbench.cli.tables import console, show_findings

    screen = console()
    for role, name in capture.channels.items():
        found = f", {capture.found[role]}" if role in capture.found else ""
        if role == "time":
            found += _unit(capture)
        screen.print(f"{role}: {name}{found}", highlight=False, markup=False)
    show_findings(screen, findings)
    screen.print(measures_table(seen.measures, seen.volts))
    shown: list[SeenRead] = []
    for read in seen.reads():
        if len(shown) == _SHOWN and not options.all_reads:
            break
        shown.append(read)
    screen.print(seen_table(shown, None if seen.frame is None else seen.place))
    if len(shown) < len(seen.rows):
        screen.print(f"and {len(seen.rows) - len(shown)} more reads; --all-reads lists them")
    downs = presses(seen.rows)
    if downs:
        screen.print(presses_table(downs[:_SHOWN]))
    words = "holds" if verdict == "pass" else "FAILS"
    screen.print(f"{options.capture}: {len(seen.rows)} reads, {words}.", soft_wrap=True)
