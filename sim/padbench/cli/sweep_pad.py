"""``padbench sweep --sheet``: every case of a pad."""

import json
import shlex
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from padbench.cli.options import read_sheet
from padbench.cli.reports import draw, read_inputs, say_reports, write_reports

if TYPE_CHECKING:
    from argparse import Namespace

    from padbench.core.pad import PadModel, Policy
    from padbench.padsweep.tally import PadCase, PadPart, PadTally
    from padbench.results.pad_sweep_json import PadResult, Replay
    from padbench.sheet import Sheet

__all__ = ["sweep_pad"]

_STOPPED = 130
_BUNDLE = 4
_POLICIES: tuple["Policy", ...] = ("both", "neutral", "last-wins", "first-wins")


def sweep_pad(options: "Namespace") -> int:
    """Sweep a sheet on each kind of port; 1 if any read is wrong."""
    sheet = read_sheet(options.sheet)
    results, stopped = _counts(_pads(sheet), options)
    wrong = [result for result in results if result.whole.wrong]
    wave = _write_wave(options.waves, sheet, wrong)
    if options.picture is not None:
        _draw(options.picture, sheet.pad.name, results)
    cases = sum(result.whole.cases for result in results)
    bad = sum(result.whole.wrong for result in results)
    if stopped:
        verdict, says = "stopped", f"stopped after {cases} cases, {bad} of them wrong"
    elif bad:
        verdict, says = "fail", f"{bad} of {cases} cases read wrong"
    else:
        verdict, says = "pass", f"proved for all {cases} cases"

    def replay(result: "PadResult", case: "PadCase") -> str:
        """The command line that plays a case again and writes its wave."""
        from padbench.padsweep.replay import case_text

        words = ["padbench", "play", str(options.sheet), "--port", result.ports[0]]
        return shlex.join([*words, "--case", case_text(case)])

    _write(options, sheet, verdict, says, results, replay)
    if options.json:
        from padbench.results.pad_sweep_json import pad_sweep_object

        made = pad_sweep_object(sheet.pad.name, verdict, says, results, wave, replay)
        print(json.dumps(made, ensure_ascii=False))
    else:
        from padbench.cli.sweep_pad_text import print_pad_sweep

        print_pad_sweep(sheet.pad.name, verdict, says, results, wave, replay)
        if options.picture is not None:
            print(f"Picture: {options.picture}")
        say_reports(options)
    if stopped:
        return _STOPPED
    return 1 if bad else 0


def _write(
    options: "Namespace",
    sheet: "Sheet",
    verdict: str,
    says: str,
    results: "list[PadResult]",
    replay: "Replay",
) -> None:
    from padbench.results.junit import pad_sweep_suites
    from padbench.results.pad_sweep_page import pad_sweep_page

    parts = sheet.parts.file
    beside = None if parts is None else options.sheet.parent / parts
    write_reports(
        options,
        sheet.pad.name,
        lambda: pad_sweep_page(
            sheet,
            verdict,
            says,
            results,
            replay,
            read_inputs(options.sheet, beside),
            options.told,
        ),
        lambda: pad_sweep_suites(results),
    )


@dataclass(frozen=True)
class _Pad:
    """One pad as the ports see it; ``ports`` on which it is the same logic."""

    ports: tuple[str, ...]
    pad: "PadModel"
    clocks: int


def _pads(sheet: "Sheet") -> list[_Pad]:
    """The pads that differ in more than time: on a port an edge may not arrive at all."""
    from padbench.trials.run import setting_of

    found: dict[tuple[object, ...], _Pad] = {}
    for port in sheet.works_with.ports:
        setting = setting_of(sheet, port, "fast")
        edges = setting.pad.latch_line, setting.pad.clock_line
        known = found.get(edges)
        found[edges] = _Pad(
            (*(known.ports if known else ()), port),
            known.pad if known else setting.pad,
            setting.timing.clocks,
        )
    return list(found.values())


def _counts(pads: list[_Pad], options: "Namespace") -> "tuple[list[PadResult], bool]":
    from padbench.cli.progress import case_progress
    from padbench.cli.sweep import parts_done
    from padbench.padsweep.cases import PAIRS, pad_parts
    from padbench.results.pad_sweep_json import PadResult

    results = [PadResult(one.ports, one.pad.policy, one.pad.serial) for one in pads]
    jobs = [
        _Job(number, replace(one.pad, policy=policy), one.clocks, parts)
        for number, one in enumerate(pads)
        # The sheet's own policy first: that is the verdict.
        for policy in sorted(_POLICIES, key=lambda name: name != one.pad.policy)
        for parts in pad_parts(one.clocks)
    ]
    # A job takes less than a trip to another process and back.
    size = 1 if options.workers == 1 and options.cluster is None else _BUNDLE
    work = [jobs[start : start + size] for start in range(0, len(jobs), size)]
    with case_progress(PAIRS * sum(len(job.parts) for job in jobs)) as advance:
        try:
            for bundle in parts_done(options, _do, None, work):
                for job, tally in bundle:
                    results[job.pad_number].add(job.pad.policy, job.parts[0], tally)
                    advance(tally.cases)
        except KeyboardInterrupt:
            return results, True
    return results, False


@dataclass(frozen=True)
class _Job:
    pad_number: int
    pad: "PadModel"
    clocks: int
    parts: "tuple[PadPart, ...]"


def _do(_: None, jobs: list[_Job]) -> "list[tuple[_Job, PadTally]]":
    from padbench.padsweep.cases import count_parts

    return [(job, count_parts(job.pad, job.parts, job.clocks)) for job in jobs]


def _write_wave(path: Path | None, sheet: "Sheet", wrong: "list[PadResult]") -> Path | None:
    """The first wrong case on the MyHDL model; no file where none is wrong."""
    found = wrong[0].whole.first_wrong if wrong else None
    if path is None or found is None:
        return None
    from padbench.padsweep.replay import pad_case
    from padbench.trials import run_scenario
    from padbench.waveio import write_vcd

    played = run_scenario(sheet, pad_case(found), wrong[0].ports[0], "fast")
    says = f"{played.says} Expected {found.expected}, got {found.got}"
    write_vcd(played.timeline, path, comment=says)
    return path


def _draw(path: Path, name: str, results: "list[PadResult]") -> None:
    from padbench.results.pad_sweep_plot import pad_sweep_figure

    draw("--picture", path, lambda to: pad_sweep_figure(name, results[0], to))
