"""``padbench sweep --sheet``: every case of a pad."""

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from padbench.cli.options import read_sheet
from padbench.cli.reports import read_inputs, say_reports, write_reports

if TYPE_CHECKING:
    from argparse import Namespace

    from padbench.pad import PadModel, Policy
    from padbench.report.pad_sweep_json import PadResult
    from padbench.sheet import Sheet
    from padbench.sweep.pad_cases import PadPart, PadTally

__all__ = ["sweep_pad"]

_STOPPED = 130
_BUNDLE = 48


def sweep_pad(options: "Namespace") -> int:
    """Sweep a sheet on each kind of port; 1 if any read is wrong."""
    sheet = read_sheet(options.sheet)
    pads = _pads(sheet)
    results, stopped = _counts(pads, options)
    wrong = [result for result in results if result.whole.wrong]
    wave = _write_wave(options.waves, pads, wrong)
    cases = sum(result.whole.cases for result in results)
    bad = sum(result.whole.wrong for result in results)
    if stopped:
        verdict, says = "stopped", f"stopped after {cases} cases, {bad} of them wrong"
    elif bad:
        verdict, says = "fail", f"{bad} of {cases} cases read wrong"
    else:
        verdict, says = "pass", f"proved for all {cases} cases"
    _write(options, sheet, verdict, says, [*zip(results, pads, strict=True)])
    if options.json:
        from padbench.report.pad_sweep_json import pad_sweep_object

        made = pad_sweep_object(sheet.pad.name, verdict, says, results, wave)
        print(json.dumps(made, ensure_ascii=False))
    else:
        from padbench.cli.sweep_pad_text import print_pad_sweep

        print_pad_sweep(sheet.pad.name, verdict, says, results, wave)
        say_reports(options)
    if stopped:
        return _STOPPED
    return 1 if bad else 0


def _write(
    options: "Namespace",
    sheet: "Sheet",
    verdict: str,
    says: str,
    found: "list[tuple[PadResult, _Pad]]",
) -> None:
    from padbench.report.junit import pad_sweep_suites
    from padbench.report.pad_sweep_page import SweptPad, pad_sweep_page

    swept = [SweptPad(result, one.pad, one.clocks) for result, one in found]
    parts = sheet.parts.file
    beside = None if parts is None else options.sheet.parent / parts
    write_reports(
        options,
        sheet.pad.name,
        lambda: pad_sweep_page(
            sheet.pad.name,
            verdict,
            says,
            swept,
            read_inputs(options.sheet, beside),
            options.told,
        ),
        lambda: pad_sweep_suites(result for result, _ in found),
    )


@dataclass(frozen=True)
class _Pad:
    """One pad as the ports see it; ``ports`` on which it is the same logic."""

    ports: tuple[str, ...]
    pad: "PadModel"
    clocks: int


def _pads(sheet: "Sheet") -> list[_Pad]:
    """The pads that differ in more than time: on a port an edge may not arrive at all."""
    from padbench.electric.corners import CORNERS
    from padbench.verify.run import setting_of

    found: dict[tuple[object, ...], _Pad] = {}
    for port in sheet.works_with.ports:
        for corner in CORNERS:
            setting = setting_of(sheet, port, corner)
            pad = setting.pad
            edges = (
                *(line is None for line in (pad.latch_line.rise, pad.latch_line.fall)),
                None in (pad.clock_line.rise, pad.clock_line.fall),
            )
            known = found.get(edges)
            ports = known.ports if known else ()
            found[edges] = _Pad(
                tuple(dict.fromkeys([*ports, port])),
                known.pad if known else pad,
                setting.timing.clocks,
            )
    return list(found.values())


def _counts(pads: list[_Pad], options: "Namespace") -> "tuple[list[PadResult], bool]":
    from padbench.cli.progress import case_progress
    from padbench.cli.sweep import parts_done
    from padbench.report.pad_sweep_json import PadResult
    from padbench.sweep.pad_cases import PAIRS, PadTally, pad_parts

    policies: tuple[Policy, ...] = ("both", "neutral", "last-wins", "first-wins")
    results = [PadResult(one.ports, one.pad.policy, one.pad.serial, PadTally(), {}) for one in pads]
    jobs = []
    for number, one in enumerate(pads):
        for part in pad_parts(one.clocks):
            jobs.append(_Job(number, one.pad, one.clocks, part))
            # What other policies would give matters for undisturbed reads alone.
            if not number and not part.stopped_bit and not part.tie:
                jobs += [
                    _Job(number, replace(one.pad, policy=policy), one.clocks, part)
                    for policy in policies
                    if policy != one.pad.policy
                ]
    # A block takes less than a trip to another process and back.
    size = 1 if options.workers == 1 and options.cluster is None else _BUNDLE
    work = [jobs[start : start + size] for start in range(0, len(jobs), size)]
    with case_progress(PAIRS * len(jobs)) as advance:
        try:
            for bundle in parts_done(options, _do, None, work):
                for job, tally in bundle:
                    results[job.pad_number].add(job.pad.policy, job.part, tally)
                    advance(tally.cases)
        except KeyboardInterrupt:
            return results, True
    return results, False


@dataclass(frozen=True)
class _Job:
    pad_number: int
    pad: "PadModel"
    clocks: int
    part: "PadPart"


def _do(_: None, jobs: list[_Job]) -> "list[tuple[_Job, PadTally]]":
    from padbench.sweep.pad_cases import count_part

    return [(job, count_part(job.pad, job.part, job.clocks)) for job in jobs]


def _write_wave(path: Path | None, pads: list[_Pad], wrong: "list[PadResult]") -> Path | None:
    """The first wrong case on the MyHDL model; no file where none is wrong."""
    if path is None or not wrong:
        return None
    from padbench.sweep.pad_wave import pad_wave
    from padbench.waveio import write_vcd

    found = wrong[0].whole.first
    assert found is not None
    one = next(one for one in pads if one.ports == wrong[0].ports)
    wave = pad_wave(one.pad, found.held, found.then, found.part, one.clocks)
    comment = f"held {found.held}, then {found.then}: expected {found.expected}, got {found.got}"
    write_vcd(wave, path, comment=comment)
    return path
