"""The sheet's scenarios against the HDL that its ``[hdl]`` names.

    result = regress(load_sheet(path), path.parent)
    result.verdict, result.failures, result.coverage

All runs of a design share one build and one simulator process; what the wires did is cut into one
timeline a scenario and judged by the code that judges the model. A run keeps its wires and reads
packed, and unpacks them when it is asked for them.
"""

import pickle
import time
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from padbench.core.answering import SystemClock, judge_answers
from padbench.core.decode import Names, Read, decode
from padbench.core.findings import Finding, Met, Rule, Source, Verdict, worst_of_each
from padbench.core.limits import Limit
from padbench.core.timeline import Timeline
from padbench.core.units import Value, show, to_ps
from padbench.core.wire_names import CABLE_DATA
from padbench.cosim.build_folder import build_folder
from padbench.cosim.causes import Cause, likely_causes, reader_causes, told_apart
from padbench.cosim.hdl_scenarios import exhaustive_scenarios, hdl_scenarios
from padbench.cosim.job import HdlError, Job, PadRun, ReaderRun
from padbench.cosim.outcome import Coverage, RegressResult, failures_in
from padbench.cosim.physical import in_a_pad
from padbench.cosim.process import Outcome, run_job
from padbench.cosim.proof import LIMIT as PROOF_LIMIT
from padbench.cosim.proof import Proof, proof_of
from padbench.cosim.reader import as_it_was_made, judge_pace, strobe_problems
from padbench.cosim.setting import (
    Chosen,
    brisk,
    choose,
    hdl_setting,
    job_of,
    room_to_answer,
    slowest_pad,
    still_open,
    system_period,
)
from padbench.cosim.wires import pad_run, pad_timeline, reader_run, reader_timeline
from padbench.scenarios import SCENARIOS, Scenario, Script
from padbench.sheet import Hdl, Sheet
from padbench.trials.scenario_run import Played, ScenarioRun
from padbench.trials.trial import judge, met_in, read_back

LIMIT, EXHAUSTIVE_LIMIT = 120.0, 900.0
"""Seconds that one simulation may take; a reader goes through all transitions at its own pace."""

_TRUE_POLLS = 62
"""Of a scenario at true time: a second. Longer ones are about what is in a read, not between."""

_READER_NAMES = Names(sample=None)
_WAITS = {"wrong-edge", "latch-inverted", "synchronous-load"}
"""Causes of a late answer that is not slow."""
_USUAL_CYCLES, _A_CYCLE = 2_000_000, 5e-6
"""Of the system clock: those that `LIMIT` is for, and seconds for each further one."""
_RESET_PERIODS, _UNCLOCKED = 8, 125_000
"""Length of a reset inside a scenario: periods, of so many picoseconds if there is no clock."""

_TIME = Rule(
    "hdl.time",
    "s",
    {
        "late": "the simulation did not end within {limit:s|s}: a zero-time loop, or too slow",
        "built-late": "it was not compiled in time",
    },
)
_ENDED = Rule(
    "hdl.ended",
    "",
    {
        "ended": "the simulation ended by itself: {words}",
        "flooded": "the simulation was stopped: {words}",
    },
)
_PROOF = Rule(
    "hdl.proof",
    "s",
    {
        "proved": "proved for all times and inputs that keep the port's protocol: {words}",
        "refuted": "refuted: see the scenario counterexample, a run that keeps the port's protocol",
        "unseen": "refuted: see the scenario counterexample; the simulator does not show it, so it "
        "rests on what the registers hold at power-up",
        "undecided": "not proved: {words}",
    },
)
_INPUTS = Rule(
    "hdl.inputs",
    "",
    {
        "unlisted": "{names:list}: inputs of the design that the sheet does not name, so nothing "
        'drives them; give them levels, such as ties = {{ "{names[0]}" = 0 }}'
    },
)
_CONFINED = Rule(
    "hdl.confined",
    "",
    {"open": "this system cannot keep a simulation from writing outside of its folder"},
)

_TOO_SLOW = "what goes wrong does so only at a pace that nobody asks of it; promise an answer"


def regress(
    sheet: Sheet,
    sources: Path,
    scenarios: Sequence[Scenario] | None = None,
    *,
    exhaustive: bool = False,
    true_time: bool = False,
    prove: bool = False,
    dump_all: bool = False,
    limit: float | None = None,
    step: Callable[[int, int], None] = lambda done, total: None,
    keep: Callable[[ScenarioRun], None] = lambda _: None,
) -> RegressResult:
    """Run and judge; the sheet's source paths are relative to ``sources``.

    ``limit`` is in seconds, None for `LIMIT` or `EXHAUSTIVE_LIMIT`, and more for a long simulation.
    ``step`` is told how many runs are done, and of how many, ``keep`` gets each result.
    ``exhaustive`` adds all transitions between held states and all stopped positions.
    ``true_time`` plays polls with the sheet's own period, but for scenarios of more than a second.
    ``prove`` asks for a proof first, for ``limit`` seconds or those of `padbench.cosim.proof`; a
    run that refutes it is the first scenario. ``dump_all`` plays what failed again, and keeps the
    simulator's record of all signals.

    Raises ``ValueError`` for a sheet without ``[hdl]``, `HdlError` for a design that does not
    compile, does not fit the sheet, or is put to nothing, ``OSError`` where the system has no
    folder for the build.
    """
    if sheet.hdl is None:
        raise ValueError("the sheet has no table [hdl]")
    started = time.monotonic()
    proof = proof_of(sheet, sources, limit or PROOF_LIMIT) if prove else None
    if scenarios is None:
        scenarios = list(scenarios_of(sheet).values())
    if proof is not None and proof.counterexample is not None:
        scenarios = [proof.counterexample, *scenarios]
    plan = _Plan(sheet, sheet.hdl, scenarios, exhaustive, true_time)
    plan.must_judge(sheet.hdl.top, proof)
    limit = limit or (EXHAUSTIVE_LIMIT if exhaustive else LIMIT) + plan.seconds(sheet)
    job = job_of(sheet, sheet.hdl, sources, limit)
    coverage, findings = Coverage(), tuple[Finding, ...]()
    runs: list[ScenarioRun] = []
    total, waiting = plan.count(), plan.chosen()

    with build_folder() as place:
        bench = _Bench(sheet, sheet.hdl)

        def seen(record: dict[str, Any]) -> None:
            nonlocal findings
            if "system-clock" in record:
                system = record["system-clock"]
                bench.clock = (system["rise"], system["period"])
            if "run" not in record:
                findings += _told(record)
                return
            run = bench.judged(next(waiting), record)
            coverage.add(run.timeline, [pair.read for pair in run.reads])
            findings = worst_of_each([*findings, *run.findings])
            keep(run)
            if run.part:
                run.let_go()
            runs.append(run)
            step(len(runs), total)

        asked: Callable[[Chosen], PadRun | ReaderRun] = (
            pad_run if sheet.hdl.role == "pad" else reader_run
        )
        outcome = run_job(job, map(asked, plan.chosen()), place, seen)
    if outcome.kind in ("misfit", "build"):
        raise HdlError(outcome.key, outcome.says)
    if outcome.kind != "done":
        stood = next(waiting, None)
        met = Met(
            stood.scenario.name if stood else "",
            simulator=sheet.hdl.engine,
            top=sheet.hdl.top,
            other="" if stood else "after the last scenario",
        )
        findings = (_ending(outcome, met, limit), *findings)
    if proof is not None:
        wrong = proof.counterexample
        shown = next((run for run in runs if wrong and run.name == wrong.name), None)
        if proof.slowed and shown is not None and shown.verdict == "pass":
            proof = replace(proof, result="undecided", says=_TOO_SLOW)
        findings = (_found(proof, shown), *findings)
    found = bench.causes(plan.plain, runs)
    causes = tuple(replace(one, like=in_a_pad(one, sheet)) for one in found)
    return RegressResult(
        findings,
        tuple(runs),
        tuple(failures_in(runs, causes)),
        causes,
        plan.skipped,
        coverage,
        sum(run.count for run in runs),
        time.monotonic() - started,
        proof,
        _recorded(job, plan.plain, runs) if dump_all else None,
    )


def _told(record: dict[str, Any]) -> tuple[Finding, ...]:
    """What a record that is of no run says."""
    if "unconfined" in record:
        return (Finding(_CONFINED, "not-judged", case="open"),)
    if not record.get("unlisted"):
        return ()
    facts = {"names": tuple(record["unlisted"])}
    return (Finding(_INPUTS, "not-judged", case="unlisted", facts=facts),)


def _recorded(
    job: Job, plain: Sequence[Chosen], runs: Sequence[ScenarioRun]
) -> tuple[str, bytes] | None:
    """All up to the first plain run that fails once more, with every signal recorded."""
    failing = next((n for n, run in enumerate(runs) if run.verdict == "fail"), len(plain))
    if failing >= len(plain):
        return None
    asked: Callable[[Chosen], PadRun | ReaderRun] = pad_run if job.role == "pad" else reader_run
    again = map(asked, plain[: failing + 1])
    with build_folder() as place:
        run_job(replace(job, dump_all=True), again, place, lambda _: None)
        kinds = ("*.ghw", "dump.vcd")
        found = [path for kind in kinds for path in (place / "build").glob(kind)]
        return (f"all-signals{found[0].suffix}", found[0].read_bytes()) if found else None


def scenarios_of(sheet: Sheet) -> dict[str, Scenario]:
    """By name, all shipped scenarios and those that only HDL can be put to."""
    hdl = sheet.hdl
    if hdl is None:
        return dict(SCENARIOS)
    setting = hdl_setting(sheet)
    hold = still_open(sheet) or setting.pad.limits.setup_parallel.ps - setting.settles
    return SCENARIOS | hdl_scenarios(
        reset=_RESET_PERIODS * (system_period(sheet) or _UNCLOCKED),
        hold=0 if hdl.setup is not None else hold,
        released=hdl.after_reset == "released",
        frame=hdl_setting(sheet, true_time=True).period,
        serial=hdl.serial is not None or hdl.role == "reader",
        resettable=hdl.reset is not None,
    )


class _Plan:
    """Which runs are made: ``plain`` ones that apply, then all of an exhaustive part."""

    def __init__(
        self,
        sheet: Sheet,
        hdl: Hdl,
        scenarios: Sequence[Scenario],
        exhaustive: bool,
        true_time: bool,
    ) -> None:
        setting = hdl_setting(sheet)
        true = hdl_setting(sheet, true_time=True) if true_time else None
        ports = {"serial": hdl.serial is not None, "reset": hdl.reset is not None}
        every = [choose(scenario, setting, hdl.role, **ports) for scenario in scenarios]
        if true is not None:
            every = [
                choose(one.scenario, true, hdl.role, **ports)
                if len(one.script.stimulus.reads) <= _TRUE_POLLS
                else one
                for one in every
            ]
        self.plain = [chosen for chosen in every if not chosen.why_not]
        self.skipped = tuple((one.scenario.name, one.why_not) for one in every if one.why_not)
        self._exhaustive = exhaustive
        self._passes = 1 if hdl.role == "pad" else setting.passes
        # A pad is read as quickly as it may be; a reader has a pace of its own.
        self._setting = brisk(setting) if hdl.role == "pad" else setting

    def must_judge(self, top: str, proof: Proof | None) -> None:
        """Raise `HdlError` where nothing is played and nothing proved: no design could fail."""
        proved = proof is not None and proof.result != "undecided"
        if self.plain or self._exhaustive or proved:
            return
        why = "; ".join(map(": ".join, self.skipped)) or "no scenario was asked for"
        raise HdlError("top", f"nothing is played on {top}: {why}")

    def seconds(self, sheet: Sheet) -> float:
        """What the plain runs may take beside the usual limit, if they are long ones."""
        period = system_period(sheet)
        if period is None:
            return 0.0
        cycles = sum(chosen.script.stimulus.end for chosen in self.plain) // period
        return max(0, cycles - _USUAL_CYCLES) * _A_CYCLE

    def chosen(self) -> Iterator[Chosen]:
        """All, in order; those of the exhaustive part are new each time, and nobody keeps them."""
        yield from self.plain
        for scenario in exhaustive_scenarios(self._passes) if self._exhaustive else ():
            yield Chosen(scenario, self._setting, "exhaustive")

    def count(self) -> int:
        """How many there are."""
        return sum(1 for _ in self.chosen())


class _Bench:
    """Judges the runs of one design, from the records that they left."""

    def __init__(self, sheet: Sheet, hdl: Hdl) -> None:
        self.hdl = hdl
        self.clock: tuple[int, int] | None = None
        """A rise of the system clock, and its period, in picoseconds of the simulation."""
        self.offered: list[list[tuple[int, int | None]]] = []
        """Of a reader, run by run: when it offered a byte, and which."""
        setting = hdl_setting(sheet)
        self.pad, self.settles = setting.pad, setting.settles
        # A design in the register's place answers for itself; a reader has to serve the pad.
        self.limits = self.pad.limits if hdl.role == "pad" else slowest_pad(sheet).limits
        self.names = None if hdl.role == "pad" else _READER_NAMES
        promised, room = _promise("hdl.answer", hdl.answer), room_to_answer(sheet)
        self.promised = promised is not None and promised.ps <= room.ps
        self.answer = promised if promised is not None and self.promised else room

    def judged(self, chosen: Chosen, record: dict[str, Any]) -> ScenarioRun:
        """One run, with its wires."""
        script, timeline, reads = self._as_played(chosen, record)
        packed = zlib.compress(pickle.dumps(read_back(script, timeline, self.names, reads)), 1)
        run = judge(
            chosen.scenario,
            script,
            timeline,
            self.limits,
            play=partial(_unpacked, packed),
            simulator=self.hdl.engine,
            top=self.hdl.top,
            part=chosen.part,
            names=self.names,
            reads=reads,
        )
        if self.hdl.role == "reader":
            self.offered.append([(at - record["base"], byte) for at, byte in record["strobes"]])
            return self._reader(run, chosen, script, record, reads)
        # A reset moves the data line without a latch or a clock.
        return run if chosen.resets else self._pad(run, record["base"])

    def _as_played(
        self, chosen: Chosen, record: dict[str, Any]
    ) -> tuple[Script, Timeline, Sequence[Read]]:
        script = chosen.script
        if self.hdl.role == "pad":
            pad = chosen.setting.pad
            timeline = pad_timeline(pad, script, record["base"], record["data"])
            return script, timeline, decode(timeline)
        timeline = reader_timeline(record)
        reads = decode(timeline, self.names)
        return as_it_was_made(script, reader_run(chosen), record, reads), timeline, reads

    def _pad(self, run: ScenarioRun, base: int) -> ScenarioRun:
        answers = judge_answers(
            run.timeline,
            window=self.limits.answer.ps,
            answer=self.answer,
            promised=self.promised,
            latency=self.settles,
            clock=self._edges(run.timeline, base),
            flip_flops=self.hdl.synchroniser,
        )
        return replace(run, findings=(*run.findings, *met_in(run, answers)))

    def _edges(self, timeline: Timeline, base: int) -> SystemClock | None:
        """Those that the design goes by: its falling ones if the data line moves at no others."""
        if self.clock is None:
            return None
        rise, period = self.clock[0] - base, self.clock[1]
        phases = (timeline.wires[CABLE_DATA].times[1:] - rise) % period
        falling = len(phases) and (phases >= period // 2).all()
        return SystemClock(rise + period // 2 if falling else rise, period)

    def _reader(
        self,
        run: ScenarioRun,
        chosen: Chosen,
        script: Script,
        record: dict[str, Any],
        reads: Sequence[Read],
    ) -> ScenarioRun:
        problems = strobe_problems(
            reader_run(chosen),
            record,
            script.expected,
            reads,
            run.timeline.wires["reader.valid"],
            released=self.hdl.after_reset == "released",
            keeps=self.hdl.keeps,
        )
        findings, pace = run.findings, _promise("hdl.pace", self.hdl.pace)
        if pace is not None:
            whole = [pair.read for pair in run.reads if set(pair.expected.bits) != {None}]
            findings += met_in(run, [judge_pace(whole, chosen.setting.timing, pace)])
        return replace(run, problems=(*run.problems, *problems), findings=findings)

    def causes(self, plain: Sequence[Chosen], runs: Sequence[ScenarioRun]) -> tuple[Cause, ...]:
        """What may be behind the wrong reads of all scenarios together."""
        if not any(run.problems for run in runs):
            return ()
        if self.hdl.role == "reader":
            return reader_causes(runs, self.offered)
        played = [
            (chosen.script, [pair.read for pair in run.reads])
            for chosen, run in zip(plain, runs, strict=False)
        ]
        causes = told_apart(likely_causes(played, self.pad), runs[: len(played)])
        slow = [f for run in runs for f in run.findings if f.verdict == "fail" and f.case == "room"]
        if slow:
            worst = max(found.measured or 0.0 for found in slow)
            # What waits for another edge answers late by this one, and is no slow design.
            waits = [one for one in causes if one.id in _WAITS and one.explains == 1.0]
            others = [cause for cause in causes if cause not in waits]
            late = Cause("pad", "slow-answer", facts={"answer": show(worst, "s")})
            causes = (*waits, late, *others)[:3]
        return causes


def _unpacked(packed: bytes) -> Played:
    played: Played = pickle.loads(zlib.decompress(packed))
    return played


def _found(proof: Proof, shown: ScenarioRun | None) -> Finding:
    """``shown`` is the run of its counterexample, if the simulation came to it."""
    verdicts: dict[str, Verdict] = {"proved": "pass", "refuted": "fail", "undecided": "not-judged"}
    case: str = proof.result
    if case == "refuted" and (shown is None or shown.verdict == "pass"):
        case = "unseen"
    facts = {"words": proof.says}
    return Finding(_PROOF, verdicts[proof.result], measured=proof.seconds, case=case, facts=facts)


def _promise(key: str, value: Value | None) -> Limit | None:
    if value is None:
        return None
    return Limit(to_ps(value.nominal), (Source(f"the sheet, {key}", "given"),))


def _ending(outcome: Outcome, met: Met, limit: float) -> Finding:
    """A simulation that did not come to its end, and where it stood."""
    if outcome.kind in ("ended", "flooded"):
        return Finding(_ENDED, "fail", met=met, case=outcome.kind, facts={"words": outcome.says})
    return Finding(_TIME, "fail", limit=limit, met=met, case=outcome.kind)
