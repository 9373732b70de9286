"""``padbench inspect CAPTURE``."""

import sys
from argparse import Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from padbench.cli.captures import OpenCapture, add_capture_options, opened
from padbench.cli.errors import UsageError
from padbench.cli.options import Parser, read_sheet
from padbench.cli.reports import add_report_options, read_inputs, say_reports, told, write_reports
from padbench.inspection.inspect import Inspection, Settings, inspect
from padbench.inspection.reads import SeenRead
from padbench.inspection.windows import TooMuch
from padbench.rules import Finding, overall
from padbench.sheet import Sheet

if TYPE_CHECKING:
    from padbench.inspection.expected import Expectation
    from padbench.report.html_page import Page
    from padbench.report.inspect_page import ChosenRead
    from padbench.timeline import Timeline

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
        "--against", metavar="OTHER", type=Path, help="another capture, compared read by read"
    )
    parser.add_argument("--clocks", metavar="N", type=int, help="bits of a whole read (default: 8)")
    parser.add_argument("--passes", metavar="N", type=int, default=0, help="reads of one poll")
    add_report_options(parser)
    parser.add_argument("--all-reads", action="store_true", help=f"list more than {_SHOWN}")
    options = parser.parse_args(arguments)
    sheet = read_sheet(options.sheet) if options.sheet else None
    settings = _settings(options, sheet)
    expected = _expectation(options.expect)

    seen, capture = _read(options.capture, options, settings)
    findings = [*_findings(seen, settings, sheet)]
    if expected is not None:
        from padbench.inspection.expected import judge_expectation

        findings.append(judge_expectation(seen.reads(), expected))
    if options.against is not None:
        from padbench.inspection.against import judge_against

        other, _ = _read(options.against, options, settings, lenient=True)
        findings += judge_against([*seen.reads()], [*other.reads()], str(options.against))
    verdict = overall(found.verdict for found in findings)
    _write(options, seen, capture, findings, expected, told("inspect", arguments))
    if options.json:
        _print_json(verdict, seen, capture, findings)
    else:
        _print_tables(verdict, seen, capture, findings, options)
        say_reports(options)
    return 0 if verdict == "pass" else 1


def _settings(options: Namespace, sheet: Sheet | None) -> Settings:
    from padbench.inspection.held_to import settings_of_sheet, usual_settings

    if options.clocks is not None and not 1 <= options.clocks <= 64:
        raise UsageError(f"--clocks: {options.clocks} is not between 1 and 64; write for example 8")
    if not 0 <= options.passes <= 4:
        raise UsageError(f"--passes: {options.passes} is not between 1 and 4; write for example 2")
    if sheet is None:
        if options.port is not None:
            raise UsageError("--port: only a sheet has kinds of port; give --sheet too")
        return usual_settings(wanted=options.clocks or 8, passes=options.passes)
    ports = sheet.works_with.ports
    port = options.port or ports[0]
    if port not in ports:
        raise UsageError(f"--port: the sheet does not name {port[:60]!r}; try {', '.join(ports)}")
    return settings_of_sheet(sheet, port, wanted=options.clocks, passes=options.passes)


def _expectation(path: Path | None) -> "Expectation | None":
    if path is None:
        return None
    from padbench.inspection.expected import load_expectation
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
    from padbench.inspection.findings import findings_of

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
    from padbench.report.junit import inspect_suites

    def page() -> "Page":
        from padbench.report.inspect_page import chosen_reads, inspect_page

        files = [options.sheet, options.expect, options.capture, options.against]
        return inspect_page(
            options.capture.name,
            seen,
            findings,
            capture.channels,
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
    from padbench.inspection.stretches import stretches

    with opened(options.capture, options) as again:
        found = dict(stretches(again.pieces(), [one.span for one in chosen]))
    return [(one, found[one.span[0]]) for one in chosen if one.span[0] in found]


def _print_json(
    verdict: str, seen: Inspection, capture: OpenCapture, findings: list[Finding]
) -> None:
    from padbench.inspection.buttons_seen import presses
    from padbench.report.inspect_json import inspect_text

    head = {
        "channels": {
            role: {"name": name, "found": role in capture.found}
            for role, name in capture.channels.items()
        },
        "end_ps": seen.end_ps,
        "passes": seen.passes,
        "volts": {role: {"min": a, "max": b} for role, (a, b) in seen.volts.items()},
    }
    for part in inspect_text(
        verdict, head, findings, seen.measures, presses(seen.reads()), seen.reads()
    ):
        sys.stdout.write(part)
    sys.stdout.write("\n")


def _print_tables(
    verdict: str,
    seen: Inspection,
    capture: OpenCapture,
    findings: list[Finding],
    options: Namespace,
) -> None:
    from padbench.cli.capture_tables import measures_table, presses_table, seen_table
    from padbench.cli.tables import console, show_findings
    from padbench.inspection.buttons_seen import presses

    screen = console()
    for role, name in capture.channels.items():
        found = ", found by its name" if role in capture.found else ""
        screen.print(f"{role}: {name}{found}")
    show_findings(screen, findings)
    screen.print(measures_table(seen.measures, seen.volts))
    shown: list[SeenRead] = []
    for read in seen.reads():
        if len(shown) == _SHOWN and not options.all_reads:
            break
        shown.append(read)
    screen.print(seen_table(shown))
    if len(shown) < len(seen.rows):
        screen.print(f"and {len(seen.rows) - len(shown)} more reads; --all-reads lists them")
    downs = presses(seen.reads())
    if downs:
        screen.print(presses_table(downs[:_SHOWN]))
    words = "holds" if verdict == "pass" else "FAILS"
    screen.print(f"{options.capture}: {len(seen.rows)} reads, {words}.", soft_wrap=True)
