"""Every case there is: of a read routine at every rate, or of a pad."""

import shlex
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from typing_extensions import Unpack

from padbench.core.buttons import spelled
from padbench.core.findings import Finding, Met, Rule, Source
from padbench.core.sentences import grouped
from padbench.jobs.loading import (
    Design,
    FileLike,
    Progress,
    Refusal,
    SheetLike,
    design_of,
    path_of,
    unwatched,
)
from padbench.jobs.pad_sections import PadSweepDocument, pad_document, pad_sections
from padbench.jobs.routine import judged
from padbench.jobs.routine_question import Asked, Rates, RoutineQuestion
from padbench.padsweep.counting import STATES, PadCase, PadCounts, pad_parts, read_part
from padbench.padsweep.replay import case_text, pad_case
from padbench.results.documents import finding_document
from padbench.results.result import Case, Result
from padbench.sheet import Sheet
from padbench.trials.trial import run_scenario, setting_of

_MOST_WORKERS = 256
_WORDS = {"pass": "Passes.", "fail": "Fails.", "stopped": "Stopped before the end."}
_READS = Rule(
    "sweep.reads",
    "cases",
    {
        "pass": "every one of {cases:case|cases} comes out as it must",
        "fail": "{measured} of {cases:case|cases} come out wrong",
    },
)
_COUNTED = Source("every case counted", "calculated")


def sweep(
    *,
    routine: str | Path | None = None,
    sheet: SheetLike | None = None,
    periods: Rates = None,
    chart: bool = False,
    workers: int = 1,
    cluster: str | None = None,
    waves: FileLike | None = None,
    progress: Progress = unwatched,
    **asked: Unpack[Asked],
) -> Result:
    """Try every case there is: of a read routine at every rate, or of a pad.

        padbench.sweep(routine="read-twice", workers=2).data.sweeps      # counts, period by period
        padbench.sweep(sheet="my-pad.toml").data[0].whole.wrong          # port by port

    Of a ``routine`` that is every held state in every phase of the sample fetch, at all rates of
    the console or at these ``periods``; ``chart`` asks which loop lengths and gaps are safe. Its
    other arguments, and ``result.data``, are those of `padbench.routine`. Of a ``sheet`` it is
    every held state, stopped bit, extra clock and tie; ``result.data`` has a `PadCounts` for
    each pad that differs from port to port. ``workers`` are processes on this machine, ``cluster``
    the scheduler of a Dask cluster (a pad needs neither, and says so), ``waves`` a VCD file for the
    worst case. ``progress`` is told how many cases are done, and of how many; Ctrl-C gives what was
    found until then. Raises as `padbench.routine`, and `Refusal` for a cluster that does not
    answer.
    """
    if (routine is None) == (sheet is None):
        raise Refusal("routine", "name a routine or a sheet, one of the two")
    if not 1 <= workers <= _MOST_WORKERS:
        raise Refusal("workers", f"{workers} is not between 1 and {_MOST_WORKERS}")
    if routine is not None:
        question = RoutineQuestion(str(routine), **asked)
        return judged(
            question,
            "sweep",
            periods,
            waves=path_of(waves),
            chart=chart,
            workers=workers,
            cluster=cluster,
            progress=progress,
        )
    if chart:
        raise Refusal("map", "it is for a routine; leave it out with a sheet")
    assert sheet is not None
    given = {"workers": workers != 1, "cluster": cluster is not None, "period": periods is not None}
    options = [*(name for name, met in given.items() if met), *RoutineQuestion("", **asked).given]
    unused = [f"--{name}" for name in options]
    return _swept_pad(design_of(sheet), path_of(waves), progress, unused)


def _swept_pad(
    design: Design, waves: Path | None, progress: Progress, unused: Sequence[str]
) -> Result:
    pads = _pads(design.sheet)
    stopped = _counted(pads, progress)
    path = str(design.path) if design.path is not None else "SHEET"
    name = design.sheet.pad.name

    def play(pad: PadCounts, case: PadCase) -> str:
        words = ["padbench", "play", path, "--port", pad.ports[0]]
        return shlex.join([*words, "--case", case_text(case)])

    cases = sum(pad.whole.cases for pad in pads)
    bad = sum(pad.whole.wrong for pad in pads)
    verdict: Literal["pass", "fail", "stopped"] = "fail" if bad else "pass"
    many = grouped(cases)
    says = f"{grouped(bad)} of {many} cases read wrong" if bad else f"proved for all {many} cases"
    if stopped:
        verdict, says = "stopped", f"stopped after {many} cases, {grouped(bad)} of them wrong"
    findings = () if stopped else tuple(map(_finding, pads))
    vcd = _write_wave(waves, design.sheet, pads)

    def document() -> PadSweepDocument:
        return {
            "pad": name,
            "verdict": verdict,
            "says": says,
            "stopped": stopped,
            "cases": cases,
            "wrong": bad,
            "ports": [pad_document(pad, play) for pad in pads],
            "vcd": None if vcd is None else str(vcd),
            "findings": [finding_document(finding) for finding in findings],
        }

    return Result(
        command="sweep",
        name=name,
        verdict=verdict,
        outcome=verdict,
        word=_WORDS[verdict],
        lead=f"Every case of a read{' of the broken pad' * bool(design.sheet.fault)}: {says}.",
        make_document=document,
        make_sections=lambda: pad_sections(pads, play, unused, stopped=stopped),
        findings=findings,
        cases={"sweeps": [*map(_test, pads)]},
        inputs=design.inputs(),
        assumed=design.sheet.assumed,
        wrote={} if vcd is None else {"Wave": vcd},
        data=pads,
    )


def _pads(sheet: Sheet) -> list[PadCounts]:
    """The pads that differ in more than time: on a port an edge may not arrive at all."""
    pads: dict[tuple[object, ...], PadCounts] = {}
    for port in sheet.works_with.ports:
        setting = setting_of(sheet, port, "fast")
        defect = setting.pad.defect
        if not {defect.latch, defect.clock} <= {"own", "low", "high"}:
            raise Refusal(
                "fault.kind",
                "latch or clock takes the other's place, and a sweep does not order the clock's"
                " falls, on which that hangs; see it with verify or play",
            )
        edges = setting.pad.latch_line, setting.pad.clock_line, defect
        pads.setdefault(edges, PadCounts([], setting.pad, setting.timing.clocks)).ports.append(port)
    return list(pads.values())


def _counted(pads: list[PadCounts], progress: Progress) -> bool:
    """Whether Ctrl-C came before all was counted."""
    work = [(into, *part) for into in pads for part in pad_parts(into.pad, into.clocks)]
    try:
        for done, (into, policy, part) in enumerate(work, 1):
            into.reads[policy, part] = read_part(into.pad, policy, part, into.clocks)
            progress(STATES * done, STATES * len(work))
    except KeyboardInterrupt:
        return True
    return False


def _write_wave(path: Path | None, sheet: Sheet, pads: Sequence[PadCounts]) -> Path | None:
    """The first wrong case on the MyHDL model; no file where none is wrong."""
    wrong = [pad for pad in pads if pad.whole.wrong]
    case = wrong[0].whole.first_wrong if wrong else None
    if path is None or case is None:
        return None
    from padbench.waveio import write_wave  # noqa: PLC0415 - only who wants a wave needs it

    played = run_scenario(sheet, pad_case(case), wrong[0].ports[0], "fast")
    comment = f"{played.says} Expected {case.expected}, got {case.got}"
    write_wave(played.timeline, path, comment=comment)
    return path


def _finding(pad: PadCounts) -> Finding:
    wrong = float(pad.whole.wrong)
    return Finding(
        _READS,
        "fail" if wrong else "pass",
        wrong,
        0.0,
        -wrong,
        Met(port=", ".join(pad.ports)),
        (_COUNTED,),
        facts={"cases": pad.whole.cases},
    )


def _test(pad: PadCounts) -> Case:
    """Named after the ports on which it is the same logic."""
    failed = []
    if pad.whole.wrong:
        wrong, cases = grouped(pad.whole.wrong), grouped(pad.whole.cases)
        failed.append(f"{wrong} of {cases} cases read wrong")
        if (case := pad.whole.first_wrong) is not None:
            failed.append(
                f"held {spelled(case.held)}: expected {spelled(case.expected)}, "
                f"got {spelled(case.got)}"
            )
    return Case(", ".join(pad.ports), failed)
