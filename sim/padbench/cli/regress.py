"""``padbench regress SHEET``."""

import json
from argparse import Namespace
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from padbench.cli.errors import UsageError
from padbench.cli.options import (
    Parser,
    add_wave_options,
    read_sheet,
    scenario_named,
    scenarios_for,
    wave_folder,
)
from padbench.cli.reports import add_report_options, read_inputs, say_reports, told, write_reports
from padbench.cli.verify import inputs_of, write_wave
from padbench.scenarios import Scenario
from padbench.sheet import Hdl, Sheet
from padbench.trials import ScenarioRun

if TYPE_CHECKING:
    from padbench.cosim.result import RegressResult
    from padbench.results.inputs import Input

__all__ = ["run"]


def run(arguments: list[str]) -> int:
    """Run the scenarios on the sheet's HDL; 1 if anything came out wrong."""
    parser = Parser(
        "regress",
        "Run the scenarios against the Verilog or VHDL that the sheet's [hdl] names.",
        "padbench regress sim/sheets/harbour-hdl.toml --junit results.xml",
    )
    parser.add_argument("sheet", metavar="SHEET", type=Path)
    parser.add_argument(
        "--scenario",
        metavar="NAME",
        action="append",
        help="only this scenario; may be given several times",
    )
    parser.add_argument(
        "--simulator", choices=("icarus", "ghdl", "verilator"), help="instead of the sheet's"
    )
    parser.add_argument(
        "--exhaustive",
        action="store_true",
        help="also all 256 x 256 transitions between held states and every stopped read",
    )
    add_report_options(parser)
    parser.add_argument(
        "--time-limit",
        metavar="SECONDS",
        type=float,
        help="for build and simulation together (default: 120, with --exhaustive 900)",
    )
    add_wave_options(parser)
    options = parser.parse_args(arguments)
    if options.time_limit is not None and not 0 < options.time_limit <= 86_400:
        raise UsageError("--time-limit: give more than 0 and at most 86400 seconds")
    sheet = _with_simulator(read_sheet(options.sheet), options.sheet, options.simulator)
    scenarios = _chosen(_known(sheet, options.scenarios), options.scenario)
    folder = wave_folder(options.sheet, options.waves, options.no_waves)
    written: dict[str, Path] = {}

    def keep(result: ScenarioRun) -> None:
        # Of the exhaustive part only what went wrong is worth a file.
        if folder is not None and not (
            result.name.startswith("exhaustive") and result.verdict == "pass"
        ):
            written[result.name] = write_wave(result, folder)

    assert sheet.hdl is not None
    sources = [options.sheet.parent / source for source in sheet.hdl.sources]
    files = [] if options.report is None else [*inputs_of(sheet, options), *read_inputs(*sources)]
    result = _regress(sheet, options, scenarios, folder, keep)
    _write(result, sheet, options, files, told("regress", arguments))
    if options.json:
        from padbench.results.regress_json import regress_object

        print(json.dumps(regress_object(result, written), ensure_ascii=False))
    else:
        _print(result, sheet, folder)
        say_reports(options)
    return 0 if result.verdict == "pass" else 1


def _write(
    result: "RegressResult", sheet: Sheet, options: Namespace, files: "list[Input]", command: str
) -> None:
    from padbench.results.junit import regress_suites
    from padbench.results.regress_page import regress_page

    write_reports(
        options,
        sheet.pad.name,
        lambda: regress_page(result, sheet, files, command),
        lambda: regress_suites(result),
    )


def _with_simulator(sheet: Sheet, path: Path, simulator: str | None) -> Sheet:
    """The sheet, checked for [hdl], with another simulator if one was asked for."""
    hdl = sheet.hdl
    if hdl is None:
        raise UsageError(f"{path}: hdl: is missing; write the table [hdl] with sources, top, ...")
    if simulator is not None:
        fits = ("icarus", "verilator") if hdl.language == "verilog" else ("ghdl",)
        if simulator not in fits:
            raise UsageError(
                f"--simulator: {simulator} does not read {hdl.language}; use {' or '.join(fits)}"
            )
        hdl = hdl.model_copy(update={"simulator": simulator})
        sheet = sheet.model_copy(update={"hdl": hdl})
    _need_tools(hdl)
    return sheet


def _need_tools(hdl: Hdl) -> None:
    from importlib.util import find_spec

    if find_spec("cocotb") is None:
        raise UsageError("cocotb is not installed; pip install 'padbench[cosim]'")
    from padbench.cosim.process import missing_tools

    missing = missing_tools(hdl.engine)
    if missing:
        raise UsageError(f"{hdl.engine} is not installed here; {missing}")


def _known(sheet: Sheet, own: Path | None) -> dict[str, Scenario]:
    from padbench.cosim.regress import scenarios_of

    return scenarios_of(sheet) | scenarios_for(own)


def _chosen(scenarios: dict[str, Scenario], names: list[str] | None) -> list[Scenario]:
    if names is None:
        return list(scenarios.values())
    return [scenario_named(name, scenarios) for name in dict.fromkeys(names)]


def _regress(
    sheet: Sheet,
    options: Namespace,
    scenarios: Sequence[Scenario],
    folder: Path | None,
    keep: Callable[[ScenarioRun], None],
) -> "RegressResult":
    from padbench.cli.progress import progress
    from padbench.cosim.regress import regress, runs_of
    from padbench.cosim.result import HdlError

    total = runs_of(sheet, scenarios, exhaustive=options.exhaustive)
    try:
        with progress("scenarios", total) as step:
            done = 0

            def finished(count: int) -> None:
                nonlocal done
                for _ in range(count - done):
                    step()
                done = max(done, count)

            return regress(
                sheet,
                options.sheet.parent,
                folder,
                scenarios,
                exhaustive=options.exhaustive,
                limit=options.time_limit,
                step=finished,
                keep=keep,
            )
    except HdlError as error:
        raise UsageError(_placed(options.sheet, error.key, error.says)) from None


def _placed(sheet: Path, key: str, says: str) -> str:
    """A misfit with the sheet's line; the simulator's own message brings its place along."""
    if not key:
        return f"{sheet}: hdl: {says}; mend the sources"
    from padbench.sheet.locate import places
    from padbench.toml import one_line

    line = None
    with suppress(OSError, UnicodeDecodeError):
        where = places(sheet.read_text(encoding="utf-8"))
        line = where.get(("hdl", key.split("[", 1)[0]), where.get(("hdl",)))
    place = f"{sheet}:{line}" if line is not None else str(sheet)
    return one_line(f"{place}: hdl.{key}: {says}")


def _print(result: "RegressResult", sheet: Sheet, folder: Path | None) -> None:
    from padbench.cli.regress_tables import coverage_lines, failure_lines
    from padbench.cli.tables import console, show_findings, show_scenarios

    screen = console()
    show_findings(screen, result.findings)
    shown = [one for one in result.scenarios if not one.name.startswith("exhaustive")]
    rest = [one for one in result.scenarios if one.name.startswith("exhaustive")]
    shown += [one for one in rest if one.verdict == "fail"][:3]
    show_scenarios(screen, shown)
    for line in [*failure_lines(result), *coverage_lines(result)]:
        screen.print(line, soft_wrap=True)
    for name, why in result.skipped:
        screen.print(f"Does not apply: {name} ({why})", soft_wrap=True)
    words = "passes" if result.verdict == "pass" else "FAILS"
    assert sheet.hdl is not None
    screen.print(
        f"{sheet.hdl.top} on {sheet.hdl.engine}: {words}, {result.reads} reads. "
        "A pass is a simulation, no guarantee."
    )
    if folder is not None:
        screen.print(f"Waves: {folder}", soft_wrap=True)
