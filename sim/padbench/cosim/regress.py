"""The sheet's scenarios against the HDL that its ``[hdl]`` names.

    result = regress(load_sheet(path), path.parent, folder)
    result.verdict, result.failures, result.coverage

All runs of a design share one build and one simulator process; what the wires did is cut into one
timeline a scenario and judged by the code that judges the model.
"""

import shutil
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from padbench.circuit.pad_model import pad_model
from padbench.core.answering import SystemClock, judge_answers
from padbench.core.bridge import told
from padbench.core.decode import Names, decode
from padbench.core.findings import Finding, Source, worst_of_each
from padbench.core.limits import Limit
from padbench.core.timeline import Timeline
from padbench.core.units import to_ps
from padbench.cosim.causes import Cause, likely_causes
from padbench.cosim.coverage import Coverage
from padbench.cosim.exhaustive import exhaustive_scenarios
from padbench.cosim.job import Job, ReaderRun
from padbench.cosim.moments import hdl_scenarios
from padbench.cosim.offered import as_it_was_made, strobe_problems
from padbench.cosim.pace import judge_pace
from padbench.cosim.process import Outcome, run_job
from padbench.cosim.result import HdlError, RegressResult, failures_in
from padbench.cosim.select import Chosen, choose, reader_run
from padbench.cosim.setting import brisk, hdl_setting, system_period
from padbench.cosim.tells import reader_causes, told_by_edges
from padbench.cosim.wires import pad_run, pad_timeline, reader_timeline
from padbench.files import was_read
from padbench.scenarios import SCENARIOS, Scenario, Setting
from padbench.sheet import Hdl, Sheet
from padbench.trials import ScenarioRun, judge, read_back

__all__ = ["EXHAUSTIVE_LIMIT", "LIMIT", "regress", "runs_of", "scenarios_of"]

LIMIT, EXHAUSTIVE_LIMIT = 120.0, 900.0
"""Seconds that one simulation may take; a reader goes through all transitions at its own pace."""

_READER_NAMES = Names(sample=None)
_RESET_PERIODS, _UNCLOCKED = 8, 125_000
"""Length of a reset inside a scenario: periods, of so many picoseconds if there is no clock."""


def regress(
    sheet: Sheet,
    sources: Path,
    folder: Path | None = None,
    scenarios: Sequence[Scenario] | None = None,
    *,
    exhaustive: bool = False,
    limit: float | None = None,
    step: Callable[[int], None] = lambda _: None,
    keep: Callable[[ScenarioRun], None] = lambda _: None,
) -> RegressResult:
    """Run and judge; the sheet's source paths are relative to ``sources``.

    ``folder`` takes the build while it lasts, None for the system's temporary folder. ``limit`` is
    in seconds, None for `LIMIT` or `EXHAUSTIVE_LIMIT`. ``step`` is called with the number of runs
    finished so far, ``keep`` with each result. ``exhaustive`` adds all transitions between held
    states and all stopped positions.

    Raises ``ValueError`` for a sheet without ``[hdl]``, `HdlError` for a design that does not
    compile or does not fit the sheet, ``OSError`` for a folder that cannot be written.
    """
    hdl = sheet.hdl
    if hdl is None:
        raise ValueError("the sheet has no table [hdl]")
    started = time.monotonic()
    setting = hdl_setting(sheet)
    limit = limit or (EXHAUSTIVE_LIMIT if exhaustive else LIMIT)
    every = _applying(sheet, hdl, setting, scenarios)
    chosen = [one for one in every if not one.why_not]
    if exhaustive:
        chosen += _exhaustive(hdl, setting)
    job = _job(sheet, hdl, sources, setting, chosen, limit)
    bench = _Bench(sheet, hdl, setting)
    coverage = Coverage()
    results: list[ScenarioRun] = []
    records: list[dict[str, Any]] = []
    findings: list[Finding] = []

    def seen(record: dict[str, Any]) -> None:
        if "system-clock" in record:
            system = record["system-clock"]
            bench.clock = (system["rise"], system["period"])
        if "run" not in record:
            return
        result = bench.judged(chosen[len(results)], record)
        coverage.add(result.timeline, [pair.read for pair in result.reads])
        findings.extend(result.findings)
        keep(result)
        results.append(result)
        records.append(record)
        step(len(results))

    with _scratch(folder) as place:
        outcome = run_job(job, place, seen)
    if outcome.kind in ("misfit", "build"):
        raise HdlError(outcome.key, outcome.says)
    findings = [*_ending(outcome, chosen, len(results), limit), *worst_of_each(findings)]
    causes = bench.causes(chosen, results, records)
    return RegressResult(
        tuple(findings),
        tuple(results),
        tuple(failures_in(results, causes)),
        causes,
        tuple((one.scenario.name, one.why_not) for one in every if one.why_not),
        coverage,
        sum(result.count for result in results),
        time.monotonic() - started,
    )


def runs_of(sheet: Sheet, scenarios: Sequence[Scenario], *, exhaustive: bool = False) -> int:
    """How many runs `regress` will make of these scenarios; 0 for a sheet without ``[hdl]``."""
    if sheet.hdl is None:
        return 0
    setting = hdl_setting(sheet)
    plain = sum(not one.why_not for one in _applying(sheet, sheet.hdl, setting, scenarios))
    return plain + (len(list(_exhaustively(sheet.hdl, setting))) if exhaustive else 0)


def scenarios_of(sheet: Sheet) -> dict[str, Scenario]:
    """By name, all shipped scenarios and those that only HDL can be put to."""
    hdl = sheet.hdl
    if hdl is None:
        return dict(SCENARIOS)
    return SCENARIOS | hdl_scenarios(
        reset=_RESET_PERIODS * (system_period(sheet) or _UNCLOCKED),
        hold=0 if hdl.setup is not None else hdl_setting(sheet).pad.limits.setup_parallel.ps,
        released=hdl.after_reset == "released",
    )


def _applying(
    sheet: Sheet, hdl: Hdl, setting: Setting, scenarios: Sequence[Scenario] | None
) -> list[Chosen]:
    wanted = list(scenarios_of(sheet).values()) if scenarios is None else scenarios
    ports = {"serial": hdl.serial is not None, "reset": hdl.reset is not None}
    return [choose(one, setting, hdl.role, **ports) for one in wanted]


def _exhaustively(hdl: Hdl, setting: Setting) -> Iterator[Scenario]:
    return exhaustive_scenarios(1 if hdl.role == "pad" else setting.passes)


def _exhaustive(hdl: Hdl, setting: Setting) -> list[Chosen]:
    """A pad is read as quickly as it may be; a reader has a pace of its own."""
    setting = brisk(setting) if hdl.role == "pad" else setting
    return [choose(one, setting, hdl.role, serial=True) for one in _exhaustively(hdl, setting)]


@contextmanager
def _scratch(folder: Path | None) -> Iterator[Path]:
    """A new folder for one build, gone afterwards; two runs never share one."""
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
    made = Path(tempfile.mkdtemp(prefix=".build-", dir=folder)).resolve()
    try:
        yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)


def _job(
    sheet: Sheet, hdl: Hdl, sources: Path, setting: Setting, chosen: Sequence[Chosen], limit: float
) -> Job:
    for place, name in enumerate(hdl.sources):
        if not (sources / name).is_file():
            raise HdlError(f"sources[{place}]", f'"{name}" is no file; paths start at the sheet')
        was_read(sources / name)
    ports: dict[str, Any] = {
        "latch": hdl.latch,
        "clock": hdl.clock,
        "data": hdl.data,
        "serial": hdl.serial,
        "system-clock": hdl.system_clock,
        "reset": hdl.reset,
    }
    widths: dict[str, int] = {}
    if hdl.role == "pad":
        ports["buttons"] = _button_ports(sheet, hdl)
        widths["buttons"] = sheet.chip.stages
    else:
        ports |= {"start": hdl.start, "held": hdl.held, "valid": hdl.valid}
        widths["held"] = 8
    slow = pad_model(sheet, sheet.works_with.ports[0], "slow")
    pads, readers = [], []
    for one in chosen:
        if hdl.role == "pad":
            name = one.scenario.name
            pads.append(pad_run(name, setting.pad, one.script.stimulus, one.resets))
        else:
            readers.append(_reader_run(one, setting))
    return Job(
        sources=[str((sources / name).resolve()) for name in hdl.sources],
        top=hdl.top,
        engine=hdl.engine,
        role=hdl.role,
        ports={role: port for role, port in ports.items() if port is not None},
        inverted=list(hdl.inverted),
        parameters=dict(hdl.parameters),
        widths=widths,
        period=system_period(sheet),
        answer=slow.answer,
        serial=setting.pad.serial,
        limit=limit,
        pad_runs=pads,
        reader_runs=readers,
    )


def _reader_run(chosen: Chosen, setting: Setting) -> ReaderRun:
    return reader_run(chosen, setting, brisk=chosen.scenario.name.startswith("exhaustive"))


def _button_ports(sheet: Sheet, hdl: Hdl) -> Any:
    """The vector's name, or one port for each stage from stage 1 on."""
    if isinstance(hdl.buttons, str):
        return hdl.buttons
    ports: list[str | None] = [None] * sheet.chip.stages
    for name, stage in sheet.buttons.items():
        ports[stage - 1] = hdl.buttons[name]
    return ports


class _Bench:
    """Judges the runs of one design."""

    def __init__(self, sheet: Sheet, hdl: Hdl, setting: Setting) -> None:
        self.sheet, self.hdl, self.setting = sheet, hdl, setting
        self.clock: tuple[int, int] | None = None
        """A rise of the system clock, and its period, in picoseconds of the simulation."""
        limits = setting.pad.limits
        self.limits = limits
        self.window = limits.answer.ps
        self.answer: Limit | None = None
        if hdl.answer is not None:
            self.answer = Limit(to_ps(hdl.answer.nominal), _given("hdl.answer"))
        if hdl.role == "reader":
            # A reader has to serve the slowest pad of the sheet.
            port = sheet.works_with.ports[0]
            self.limits = pad_model(sheet, port, "slow").limits

    def judged(self, chosen: Chosen, record: dict[str, Any]) -> ScenarioRun:
        return self._pad(chosen, record) if self.hdl.role == "pad" else self._reader(chosen, record)

    def _pad(self, chosen: Chosen, record: dict[str, Any]) -> ScenarioRun:
        base = record["base"]

        def wires() -> Timeline:
            return pad_timeline(self.setting.pad, chosen.script.stimulus, base, record["data"])

        timeline = wires()
        result = self._held_to_law(chosen, timeline, None, wires)
        if chosen.resets:
            return result  # a reset moves the data line without a latch or a clock
        clock = None
        if self.clock is not None:
            clock = SystemClock(self.clock[0] - base, self.clock[1])
        answers = judge_answers(
            timeline,
            window=self.window,
            answer=self.answer,
            clock=clock,
            flip_flops=self.hdl.synchroniser,
        )
        return replace(result, findings=(*result.findings, *_placed(answers, result)))

    def _reader(self, chosen: Chosen, record: dict[str, Any]) -> ScenarioRun:
        run = _reader_run(chosen, self.setting)

        def wires() -> Timeline:
            return reader_timeline(record)

        timeline = wires()
        reads = decode(timeline, _READER_NAMES)
        script = as_it_was_made(chosen.script, run, record, reads)
        result = self._held_to_law(replace(chosen, script=script), timeline, _READER_NAMES, wires)
        promised = {"released": self.hdl.after_reset == "released", "keeps": self.hdl.keeps}
        valid = timeline.wires["reader.valid"]
        problems = strobe_problems(run, record, script.expected, reads, valid, **promised)
        findings = result.findings
        if self.hdl.pace is not None:
            whole = [pair.read for pair in result.reads if set(pair.expected.bits) != {None}]
            within = Limit(to_ps(self.hdl.pace.nominal), _given("hdl.pace"))
            found = judge_pace(whole, self.setting.timing, within)
            findings += _placed((found,), result)
        return replace(result, problems=(*result.problems, *problems), findings=findings)

    def _held_to_law(
        self,
        chosen: Chosen,
        timeline: Timeline,
        names: Names | None,
        wires: Callable[[], Timeline],
    ) -> ScenarioRun:
        return judge(
            chosen.scenario,
            chosen.script,
            timeline,
            self.limits,
            port=self.hdl.top,
            corner=self.hdl.engine,
            play=lambda: read_back(chosen.script, wires(), names),
            names=names,
        )

    def causes(
        self,
        chosen: Sequence[Chosen],
        results: Sequence[ScenarioRun],
        records: Sequence[dict[str, Any]],
    ) -> tuple[Cause, ...]:
        """What may be behind the wrong reads of all scenarios together."""
        if not any(result.problems for result in results):
            return ()
        if self.hdl.role == "reader":
            return reader_causes(results, records)
        runs = [
            (one.script, [pair.read for pair in result.reads])
            for one, result in zip(chosen, results, strict=False)
            if not result.name.startswith("exhaustive")
        ]
        return told_by_edges(likely_causes(runs, self.setting.pad), results)


def _placed(findings: Iterable[Finding], run: ScenarioRun) -> tuple[Finding, ...]:
    """The findings with the run in which they were met."""
    return tuple(
        replace(
            found,
            met=replace(found.met, scenario=run.name, corner=run.corner, port=run.port),
        )
        for found in findings
    )


def _given(key: str) -> tuple[Source, ...]:
    return (Source(f"the sheet, {key}", "given"),)


def _ending(
    outcome: Outcome, chosen: Sequence[Chosen], done: int, limit: float
) -> Iterator[Finding]:
    """A run that did not come to its end, and where it stood."""
    if outcome.kind == "done":
        return
    where = f"scenario {chosen[done].scenario.name}" if done < len(chosen) else "after the last"
    id_, says = "hdl.ended", f"the simulation ended by itself: {outcome.says}"
    if outcome.kind == "time":
        id_, says = (
            "hdl.time",
            outcome.says
            or (f"the simulation did not end within {limit:g} s: a zero-time loop, or too slow"),
        )
    yield told(id_, "fail", None, None, None, "", where, "", says)
