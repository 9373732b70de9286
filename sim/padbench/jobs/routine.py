"""A 6502 read routine judged, at some rates of the sample fetch or at all of them.

`judged` is what ``routine`` and ``sweep --routine`` share; a single case is played again by
`padbench.jobs.routine_case`.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal, NotRequired

from typing_extensions import TypedDict, Unpack

from padbench.core.buttons import spelled
from padbench.core.sentences import grouped
from padbench.files import whole_file
from padbench.jobs.loading import (
    FileLike,
    Progress,
    Refusal,
    SheetLike,
    path_of,
    unwatched,
)
from padbench.jobs.routine_question import (
    Asked,
    JudgedRoutine,
    Rates,
    RoutineQuestion,
    pad_for_wave,
    periods_of,
)
from padbench.jobs.routine_sections import (
    PASSES,
    map_strips,
    pass_strips,
    phase_strips,
    routine_sections,
)
from padbench.parts import ConsoleTiming, console_names, console_timing
from padbench.results.documents import FindingDocument, finding_document
from padbench.results.result import Case, Result
from padbench.routines.counts import FAILING, STATES, Risk, SweepCounts, worst_risk
from padbench.routines.cures import Cure
from padbench.routines.cures import cures as cures_of
from padbench.routines.fast import baseline_of_survey, count, parts, survey
from padbench.routines.frames import lines_of, microseconds_of, where_in_frame
from padbench.routines.judge import Judgement, judge_routine
from padbench.routines.lengths import DesignMap, SafeLengths, design_map, safe_lengths
from padbench.routines.listing import Touch
from padbench.workers import NoWorkers, parts_done

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_MANY = 2
"""Workers of a cluster: more than one."""

_WORDS = {
    "immune": "Immune.",
    "detects": "Detects, and hands on nothing wrong.",
    "exposed": "Exposed.",
    "never-settles": "Never settles.",
    "wrong": "Wrong, even without a fetch.",
    "stopped": "Stopped before the end.",
}


class CounterexampleDocument(TypedDict):
    """A case; ``pad`` is 1 or 2, ``play`` the command that plays it again."""

    held: int
    phase: int
    got: int
    kind: str
    pad: int
    play: NotRequired[str]


class SweepDocument(TypedDict):
    """Counts of a fetch period; see `padbench.routines.counts.SweepCounts`.

    ``impossible`` are cases whose phase cannot occur; all that follow are of the others.
    ``wrong_by_held`` has for each state that pad 1 holds (pad 2 its complement) in how many phases
    a poll goes wrong, ``exposed_phases`` are those in which any does, ``wrong_with_nothing`` is in
    how many one does with nothing held on either pad (None unless two are judged).
    """

    period: int
    cases: int
    impossible: int
    hit: int
    corrupt: int
    accepted_wrong: int
    never_settles: int
    kept_old: int
    wrong_with_nothing: int | None
    wrong_by_held: list[int]
    exposed_phases: list[int]
    counterexample: CounterexampleDocument | None
    counterexamples: list[CounterexampleDocument]


class LengthDocument(TypedDict):
    """How long a poll is on a console."""

    lines: float
    microseconds: float


class RoutineDocument(TypedDict):
    """``padbench routine`` and ``padbench sweep --routine``; cycles are the undisturbed ones.

    ``risk``, ``listing``, ``cures``, ``safe`` and ``map`` have the fields of those classes.
    """

    routine: str
    console: str
    verdict: Literal["immune", "detects", "exposed", "never-settles", "wrong", "stopped"]
    says: str
    risk: Risk | None
    result: list[int | str]
    result_found: bool
    stopped: bool
    cycles: int
    cycles_least: int
    lines: float
    microseconds: float
    port_reads: list[int]
    latch_writes: list[int]
    listing: list[Touch]
    cures: list[Cure] | None
    on: dict[str, LengthDocument]
    sweeps: list[SweepDocument]
    safe: SafeLengths | None
    vcd: str | None
    findings: list[FindingDocument]
    map: NotRequired[DesignMap | None]


@contextmanager
def clusters(option: str) -> Iterator[None]:
    """A cluster that is not there, or workers that do not last, are a `Refusal`."""
    try:
        yield
    except NoWorkers as error:
        raise Refusal(option, str(error)) from None


def routine(
    what: str | Path,
    *,
    periods: Rates = None,
    sheet: SheetLike | None = None,
    line: int | None = None,
    waves: FileLike | None = None,
    cures: FileLike | None = None,
    progress: Progress = unwatched,
    **asked: Unpack[Asked],
) -> Result:
    """Judge a 6502 read routine: its cycles, and what the sample fetch does to it in every phase.

        result = padbench.routine("my-read.asm", result="buttons")
        result.verdict             # "immune", "detects", "exposed", "never-settles", "wrong"
        result.data.sweeps[0].accepted_wrong, result.data.base.most

    ``what`` is a .asm, .bin or .hex file or a shipped routine; ``entry`` a label or an address
    (default: the first byte), ``origin`` where a .bin lies, ``result`` A, an address or a label,
    two with a comma for two pads (default: found by running it). ``periods``: CPU cycles from fetch
    to fetch (default: all rates of the console). A routine that takes more than ``limit`` cycles
    never comes back. With an ``assembler`` the file is source for that program. ``after_copy``:
    the routine is called so many cycles after its caller's sprite copy, which leaves out phases.
    ``sheet`` is the pad in the waves (default: a starter pad), ``line`` that of the frame at which
    the read starts. ``waves`` is a VCD file for the worst case, ``cures`` a folder for patches that
    mend a routine, each swept at every rate of the console. ``progress`` is told how many cases
    are done, and of how many; Ctrl-C gives what was found until then. ``result.data`` is a
    `JudgedRoutine`. Raises ``RoutineError`` for a routine that cannot be used, `SheetError` for a
    sheet, `Refusal` (a ``ValueError``) for anything else, ``OSError`` for a file that cannot be
    written. Rules and rates of the fetch are from memory.
    """
    question = RoutineQuestion(str(what), **asked)
    return judged(
        question,
        "routine",
        periods,
        sheet=sheet,
        line=line,
        waves=path_of(waves),
        cure=path_of(cures),
        progress=progress,
    )


def judged(
    question: RoutineQuestion,
    command: str,
    rates: Rates,
    *,
    sheet: SheetLike | None = None,
    line: int | None = None,
    waves: Path | None = None,
    cure: Path | None = None,
    chart: bool = False,
    workers: int = 1,
    cluster: str | None = None,
    progress: Progress = unwatched,
) -> Result:
    """The result of ``routine`` and of ``sweep``, which see."""
    code, console = question.load()
    if code.found:
        # A cure leaves the byte in more places; the commands that are shown serve it too.
        question = question.with_results(code)
    periods = periods_of(console, rates, "all")
    known = survey(code, console, question.limit)
    base = baseline_of_survey(known)
    span = None
    if line is not None:
        try:
            span = where_in_frame(console.timing, line, base.most)
        except ValueError as error:
            raise Refusal("line", str(error)) from None
    pad = pad_for_wave(sheet)
    by_period = {period: SweepCounts(period) for period in periods}
    total, done = STATES * sum(periods), 0
    judgement: Judgement | None = None
    lengths, drawn, found = None, None, None
    try:
        with clusters("workers" if cluster is None else "cluster"):
            work = parts(known, periods, workers if cluster is None else _MANY)
            for part in parts_done(count, known, work, workers=workers, cluster=cluster):
                by_period[part.period].add(part)
                done += part.cases
                progress(done, total)
        judgement = judge_routine(code, console, base, [*by_period.values()], question.limit)
        lengths = safe_lengths(base.longest, periods) if judgement.by_lengths else None
        drawn = design_map(base.longest, periods, progress=progress) if chart else None
        if cure is not None:
            load = question.loader(code)
            wanted = judgement.fails
            found = tuple(cures_of(code, console, load, question.limit)) if wanted else ()
    except KeyboardInterrupt:
        judgement = lengths = drawn = found = None
    report = JudgedRoutine(
        question, code, console, base, tuple(by_period.values()), judgement, lengths, drawn,
        pad, line, span, found,
    )  # fmt: skip
    patches = _write_patches(found or (), cure, code.name)
    if waves is not None:
        _write_worst_wave(report, waves)
    name = Path(code.name).name
    return Result(
        command=command,
        name=f"Read routine {name}",
        verdict=report.verdict,
        outcome="stopped" if judgement is None else "fail" if judgement.fails else "pass",
        word=_WORDS[report.verdict],
        lead=f"{report.says[:1].upper()}{report.says[1:]}" + "." * (report.says[-1:] != "?"),
        make_document=lambda: _document(report, waves, chart),
        make_sections=lambda: routine_sections(report, chart),
        findings=report.findings,
        cases={"sweeps": [*_tests(report)]},
        figures={"picture": partial(_figure, report, command)},
        inputs=question.inputs(sheet),
        wrote=({} if waves is None else {"Wave": waves}) | patches,
        data=report,
    )


def _write_patches(found: Sequence[Cure], folder: Path | None, source: str) -> dict[str, Path]:
    file = Path(source)
    returns = bool(found) and file.is_file() and b"\r\n" in file.read_bytes()
    for number, one in enumerate(found, 1):
        assert folder is not None
        first, second, *lines = one.patch.splitlines(keepends=True)
        if returns:  # a patch has the ends of lines that its file has
            lines = [line.replace("\n", "\r\n") if line[0] in " +-" else line for line in lines]
        with whole_file(folder / f"{number}-{one.name}.patch") as out:
            out.writelines([first, second, *lines])
    return {"Patches": folder} if found and folder is not None else {}


def _write_worst_wave(report: JudgedRoutine, path: Path) -> None:
    """The worst counterexample, or an undisturbed read where there is none."""
    from padbench.waveio import write_wave  # noqa: PLC0415 - only who wants a wave needs it

    if not report.worst:
        wave = report.wave(held=0)
        write_wave(wave, path, comment=f"{report.routine.name}: undisturbed, nothing held")
        return
    period, case = report.worst[0]
    comment = (
        f"{report.routine.name}: {case.kind}, held {case.held}, period {period}, "
        f"phase {case.phase}, got {case.got}"
    )
    write_wave(report.wave(case.held, period, case), path, comment=comment)


def _figure(report: JudgedRoutine, command: str, path: Path) -> "Figure":
    """The map if there is one; else of ``routine`` the worst passes, of ``sweep`` the phases."""
    from padbench.results.sweep_plots import strips_figure  # noqa: PLC0415 - only who draws

    name = Path(report.routine.name).name
    if report.chart is not None:
        return strips_figure(map_strips(report.chart), f"{name}: loop length and gap", path)
    if command == "sweep":
        title = f"{name}: worst outcome of each phase"
        return strips_figure(phase_strips(report.sweeps), title, path)
    return strips_figure(pass_strips(report), f"{name}, {PASSES}", path)


def _tests(report: JudgedRoutine) -> Iterator[Case]:
    """The routine undisturbed, and one case a fetch period."""
    wrong = [f"without a fetch: wrong with {spelled(held)} held" for held in report.base.wrong]
    if report.base.fault == "idle":
        wrong = [f"without a fetch: {report.base.fault_says}"]
    yield Case("undisturbed", wrong[:20])
    for sweep in report.sweeps:
        failed = [
            f"{what} in {grouped(number)} of {grouped(sweep.possible)} cases"
            for number, what in (
                (sweep.accepted_wrong, "a wrong byte is handed on"),
                (sweep.never_settles, "it never comes back"),
            )
            if number
        ]
        if sweep.nothing:
            phases = f"{grouped(sweep.nothing)} of {grouped(sweep.phases)} phases"
            failed.append(f"it goes wrong with nothing held on either pad in {phases}")
        if failed and sweep.counterexample is not None:
            case = sweep.counterexample
            failed.append(
                f"phase {case.phase}, pad {case.pad}: held {spelled(case.held)}, "
                f"got {spelled(case.got)}"
            )
        yield Case(f"period {sweep.period}", failed)


def _document(report: JudgedRoutine, waves: Path | None, chart: bool) -> RoutineDocument:
    base, safe, risk = report.base, report.safe, worst_risk(report.sweeps, report.console.timing)
    document: RoutineDocument = {
        "routine": report.routine.name,
        "console": report.question.console,
        "verdict": report.verdict,  # type: ignore[typeddict-item]  # one of these words
        "says": report.says,
        "risk": None if risk is None else asdict(risk),  # type: ignore[typeddict-item]
        "result": [*report.routine.results],
        "result_found": bool(report.routine.found),
        "stopped": report.judgement is None,
        "cycles": base.most,
        "cycles_least": base.least,
        "lines": lines_of(base.most, report.console.timing),
        "microseconds": microseconds_of(base.most, report.console.timing),
        "port_reads": [at.cycle for at in base.longest.accesses if at.kind == "read"],
        "latch_writes": [at.cycle for at in base.longest.accesses if at.kind == "latch"],
        "listing": [asdict(touch) for touch in report.listing],  # type: ignore[misc]
        "cures": None if report.cures is None else [asdict(one) for one in report.cures],  # type: ignore[misc]
        "on": {key: _length(base.most, console_timing(key)) for key in console_names()},
        "sweeps": [_sweep(report.question, sweep) for sweep in report.sweeps],
        "safe": None if safe is None else asdict(safe),  # type: ignore[typeddict-item]
        "vcd": None if waves is None else str(waves),
        "findings": [finding_document(finding) for finding in report.findings],
    }
    if chart and report.chart is None:
        document["map"] = None
    elif report.chart is not None:
        document["map"] = asdict(report.chart)  # type: ignore[typeddict-item]
    return document


def _length(cycles: int, timing: ConsoleTiming) -> LengthDocument:
    return {"lines": lines_of(cycles, timing), "microseconds": microseconds_of(cycles, timing)}


def _sweep(question: RoutineQuestion, sweep: SweepCounts) -> SweepDocument:
    return {
        "period": sweep.period,
        "cases": sweep.cases,
        "impossible": sweep.impossible,
        "hit": sweep.hit,
        "corrupt": sweep.corrupt,
        "accepted_wrong": sweep.accepted_wrong,
        "never_settles": sweep.never_settles,
        "kept_old": sweep.kept_old,
        "wrong_with_nothing": sweep.nothing,
        "wrong_by_held": sweep.by_held,
        "exposed_phases": [phase for phase, code in enumerate(sweep.by_phase) if code in FAILING],
        "counterexample": None if sweep.counterexample is None else asdict(sweep.counterexample),  # type: ignore[typeddict-item]
        "counterexamples": [
            {**asdict(case), "play": question.play(sweep.period, case)}  # type: ignore[typeddict-item]
            for case in sweep.examples
        ],
    }
