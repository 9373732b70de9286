"""A sheet's scenarios against the Verilog or VHDL that its ``[hdl]`` names."""

import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Generic, NotRequired, TypeVar

from typing_extensions import TypedDict

from padbench.core.buttons import pressed_in, spelled
from padbench.core.sentences import grouped
from padbench.cosim.causes import Cause
from padbench.cosim.job import HdlError
from padbench.cosim.outcome import Coverage, Failure, RegressResult
from padbench.cosim.regress import regress as regress_hdl
from padbench.cosim.regress import scenarios_of
from padbench.files import whole_binary
from padbench.jobs.loading import (
    Design,
    FileLike,
    Progress,
    Refusal,
    ScenariosLike,
    SheetLike,
    design_of,
    known_scenarios,
    scenario_named,
    unwatched,
)
from padbench.jobs.verify import plan_waves, save_wave
from padbench.results import answer as results_answer
from padbench.results.answer import Answer, answer_of_core
from padbench.results.blocks import (
    Articles,
    Block,
    Lines,
    Prose,
    Table,
    article_of,
    findings_blocks,
    thinnest_lines,
)
from padbench.results.documents import (
    FindingDocument,
    Outcome,
    RunDocument,
    finding_document,
    run_document,
)
from padbench.results.inputs import Input
from padbench.results.result import Case, Result, Section
from padbench.scenarios import Scenario
from padbench.sheet import Hdl, Problem, Sheet, SheetError
from padbench.sheet.simulators import SIMULATORS
from padbench.trials.scenario_run import ScenarioRun

_MOST_TRANSITIONS = 1000
"""So many transitions that were not reached are listed; their number is always there."""
_MOST_EXHAUSTIVE = 3
"""Failing parts of an exhaustive run that are shown; they are alike."""
_BRISK = "A pad is polled in it as quickly as its limits and promises allow, not as the sheet does."
_FEW = 6
"""So many of what was not seen are named."""


_PROOFS = {
    "": "",
    "proved": " It is proved for all times and inputs that keep the port's protocol.",
    "refuted": " A proof refutes it.",
    "undecided": " It is not proved.",
}


class ProofDocument(TypedDict):
    """``result`` is "proved", "refuted" or "undecided", ``says`` why; what it took in seconds."""

    result: str
    says: str
    seconds: float


class CauseDocument(TypedDict):
    """A likely cause, the part of all reads that it explains (0 to 1), and the faults of a soldered
    pad that read the same."""

    id: str
    says: str
    explains: float
    like: list[str]


class FailureDocument(TypedDict):
    """The first wrong read of a scenario; of a reader that reads right, what it offered."""

    scenario: str
    read: int
    at_ps: int
    expected: int | None
    expected_pressed: list[str] | None
    got: int | None
    got_pressed: list[str] | None
    says: str
    likely_causes: list[CauseDocument]


class SkippedDocument(TypedDict):
    """A scenario that does not apply."""

    name: str
    why: str


Missing = TypeVar("Missing")


class SeenDocument(TypedDict, Generic[Missing]):
    """How many were seen, of how many, and which not: held states, (bit, extra clocks)."""

    seen: int
    of: int
    missing: list[Missing]


class TransitionsDocument(TypedDict):
    """Transitions between held states; ``missing_first`` are the first thousand not seen."""

    seen: int
    of: int
    missing: int
    missing_first: list[tuple[int, int]]


class CoverageDocument(TypedDict):
    """What the wires really did."""

    states: SeenDocument[int]
    transitions: TransitionsDocument
    stopped_positions: SeenDocument[tuple[int, int]]


class HdlRunDocument(RunDocument):
    """A scenario; ``corner`` and ``port`` are the simulator and the design once more.

    ``part`` is "exhaustive" or empty.
    """

    simulator: str
    top: str
    part: str


class RegressDocument(TypedDict):
    """``padbench regress``; passing parts of an exhaustive run are left out.

    ``case`` is the sheet's file and the simulator.
    """

    case: NotRequired[str]
    verdict: Outcome
    findings: list[FindingDocument]
    scenarios: list[HdlRunDocument]
    failures: list[FailureDocument]
    likely_causes: list[CauseDocument]
    skipped: list[SkippedDocument]
    reads: int
    coverage: CoverageDocument
    proof: ProofDocument | None


def regress(
    sheet: SheetLike,
    scenarios: ScenariosLike | None = None,
    *,
    own_scenarios: FileLike | None = None,
    exhaustive: bool = False,
    true_time: bool = False,
    prove: bool = False,
    dump_all: bool = False,
    simulator: str | None = None,
    limit: float | None = None,
    waves: FileLike | None = None,
    progress: Progress = unwatched,
) -> Result:
    """Run the scenarios on the sheet's HDL design, and judge its wires as those of the model.

        result = padbench.regress("my-core.toml", ["each-button", "cut-short"])
        result.verdict, result.data.coverage.missing_states
        [cause.says for cause in result.data.causes]

    ``scenarios`` are a name, a `Scenario`, or several (default: all that apply), ``own_scenarios``
    a TOML file with more; ``exhaustive`` adds all transitions between held states and all stopped
    reads, ``true_time`` plays polls with the sheet's own period, but for scenarios of more than a
    second. ``prove`` asks for a proof first (120 s, or ``limit``). ``dump_all`` plays what failed
    again with every signal of the design recorded (``result.data.internals``). ``simulator`` stands
    for the sheet's. ``limit`` is in seconds, for build and simulation together (default: 120,
    exhaustive 900, more for a long simulation). ``waves`` is a folder that gets one VCD file a
    scenario. The sources are found beside the sheet's file, of a text or a dict in the current
    folder.
    ``result.data`` is the `RegressResult`.

    Raises `SheetError` for a sheet that cannot be used, or whose design does not compile, has other
    ports or is put to nothing; `Refusal` (a ``ValueError``) for an unknown scenario, and for a
    simulator that is not there or reads another language; ``OSError`` for a file that cannot be
    written.
    """
    options = {
        "scenarios": scenarios,
        "own_scenarios": own_scenarios,
        "limit": limit,
        **{"exhaustive": exhaustive, "true_time": true_time, "prove": prove, "dump_all": dump_all},
    }
    asked = asked_of(sheet, simulator, options)
    plan_waves(asked.scenarios, waves)
    try:
        regression = regress_hdl(
            asked.used,
            asked.folder,
            asked.scenarios,
            exhaustive=exhaustive,
            true_time=true_time,
            prove=prove,
            limit=limit,
            dump_all=dump_all,
            step=progress,
        )
    except HdlError as error:
        raise _placed(asked.design, error) from None
    return named(asked, regression, waves)


@dataclass(frozen=True)
class Asked:
    """What is run, checked as far as that goes without running it."""

    design: Design
    hdl: Hdl
    scenarios: Sequence[Scenario]
    inputs: tuple[Input, ...]

    @property
    def used(self) -> Sheet:
        """The sheet with the simulator that was asked for."""
        return self.design.sheet.model_copy(update={"hdl": self.hdl})

    @property
    def folder(self) -> Path:
        """Where the paths of the sources start."""
        return Path() if self.design.path is None else self.design.path.parent


def asked_of(sheet: SheetLike, simulator: str | None, options: Mapping[str, Any]) -> Asked:
    """As `regress` takes its arguments; raises what it raises before it runs anything."""
    design, limit = design_of(sheet), options.get("limit")
    own, scenarios = options.get("own_scenarios"), options.get("scenarios")
    if design.sheet.fault:
        raise Refusal(
            "fault.kind",
            "a fault is of a soldered pad, and regress judges a core's HDL, of which contacts,"
            " cable and part are no part; play it with verify, play or sweep, and take it out here",
        )
    for name in ("exhaustive", "true_time", "prove", "dump_all"):
        if not isinstance(options.get(name, False), bool):
            raise Refusal(name, f"{options[name]!r:.60} is neither True nor False")
    if limit is not None and (isinstance(limit, bool) or not isinstance(limit, int | float)):
        raise Refusal("time-limit", f"{limit!r:.60} is no number of seconds")
    if limit is not None and not 0 < limit <= 86_400:
        raise Refusal("time-limit", "give more than 0 and at most 86400 seconds")
    hdl = _hdl(design, simulator)
    asked = Asked(design, hdl, (), ())
    known = scenarios_of(asked.used) | known_scenarios(None, own)
    several = isinstance(scenarios, Iterable) and not isinstance(scenarios, str)
    names = [] if scenarios is None else [*scenarios] if several else [scenarios]
    if not all(isinstance(name, str | Scenario) for name in names):
        raise Refusal("scenario", f"{scenarios!r:.60} is neither a name nor a list of names")
    wanted = [scenario_named(name, known) for name in dict.fromkeys(names)]
    sources = [asked.folder / source for source in hdl.sources]
    return replace(
        asked,
        scenarios=[*known.values()] if scenarios is None else wanted,
        inputs=design.inputs(own, *(path for path in sources if os.access(path, os.R_OK))),
    )


def named(
    asked: Asked, regression: RegressResult, waves: FileLike | None, *, several: bool = False
) -> Result:
    """A regression as a result, its waves written; one of ``several`` has its sheet in its name."""
    vcd: dict[str, Path] = {}
    wrote = {"Waves": Path(waves)} if waves is not None and regression.scenarios else {}
    for run in regression.scenarios:
        # Of the exhaustive part only what went wrong is worth a file.
        if waves is not None and not (run.part and run.verdict == "pass"):
            vcd[run.name] = save_wave(run, waves)
    if waves is not None and regression.internals is not None:
        name, raw = regression.internals
        wrote["All signals"] = Path(waves) / name
        with whole_binary(wrote["All signals"]) as out:
            out.write(raw)
    result = regress_result(regression, asked.design.sheet.pad.name, asked.hdl, vcd)
    name, sheet, hdl = result.name, asked.design.name, asked.hdl
    if several:
        values = ", ".join(f"{key} {value}" for key, value in hdl.parameters.items())
        name = f"{sheet}, {hdl.top}{f' ({values})' if values else ''} on {hdl.engine}"
    return replace(
        result,
        name=name,
        make_document=lambda: {"case": f"{sheet} on {hdl.engine}", **result.make_document()},
        inputs=asked.inputs,
        assumed=asked.design.sheet.assumed,
        wrote=wrote,
    )


def regress_result(
    regression: RegressResult, pad: str, hdl: Hdl, vcd: Mapping[str, Path] | None = None
) -> Result:
    """A regression as what every command yields; ``vcd`` are its waves by scenario."""
    verdict = regression.verdict
    broken = sum(finding.verdict == "fail" for finding in regression.findings)
    wrong = sum(run.verdict == "fail" for run in regression.scenarios)
    passes = verdict == "pass"
    return Result(
        command="regress",
        name=f"{pad}, {hdl.top} on {hdl.engine}",
        verdict=verdict,
        outcome=verdict,
        word="Passes." if passes else "FAILS.",
        lead=(
            f"All {regression.reads} reads come out as they should, and no finding fails."
            if passes
            else f"{wrong} of {len(regression.scenarios)} scenarios go wrong, and {broken} of "
            f"{len(regression.findings)} findings fail."
        )
        + _PROOFS["" if regression.proof is None else regression.proof.result]
        + "".join(f" But {f.says}." for f in regression.findings if f.id == "hdl.confined"),
        make_document=lambda: _document(regression, vcd or {}),
        make_sections=lambda: _sections(regression),
        findings=regression.findings,
        runs=regression.scenarios,
        cases={"scenarios": [Case(name, skipped=why) for name, why in regression.skipped]},
        versions=("cocotb",),
        seconds=regression.seconds,
        behind=tuple(f"likely cause: {cause.says}" for cause in regression.causes),
        make_answer=cache(lambda: _answer(regression, hdl.top)),
        data=regression,
    )


def _answer(regression: RegressResult, top: str) -> Answer:
    causes = [
        results_answer.Cause(
            f"{cause.explains:.0%} of the wrong reads".replace("%", " %"),
            cause.says,
            (),
            tuple(
                failure.scenario
                for failure in regression.failures
                if cause.id in [one.id for one in failure.causes]
            ),
        )
        for cause in regression.causes
    ]
    return answer_of_core(top, regression.scenarios, regression.findings, causes)


def hdl_of(design: Design) -> Hdl:
    """The sheet's ``[hdl]``; `SheetError` if it has none."""
    if design.sheet.hdl is None:
        instead = "write the table [hdl] with sources, top, ..."
        raise SheetError([Problem(design.name, None, "hdl", "", "is missing", instead)])
    return design.sheet.hdl


def unfit(hdl: Hdl, simulator: str) -> str:
    """Why a simulator cannot run the design, wherever it is installed; empty if it can."""
    if simulator not in hdl.fitting:
        return f"{simulator} does not read {hdl.language}; use {' or '.join(hdl.fitting)}"
    if hdl.open_drain and SIMULATORS[simulator].two_valued:
        return f"{simulator} knows no open drain; use icarus"
    return ""


def _hdl(design: Design, simulator: str | None) -> Hdl:
    """The sheet's design, on another simulator if one was asked for; what it needs is there."""
    hdl = hdl_of(design)
    if simulator is not None:
        if simulator not in SIMULATORS:
            says = (
                f"{str(simulator)[:60]!r} is no known simulator; known are {', '.join(SIMULATORS)}"
            )
            raise Refusal("simulator", says)
        if why := unfit(hdl, simulator):
            raise Refusal("simulator", why)
        hdl = hdl.model_copy(update={"simulator": simulator})
    if os.name != "posix":
        raise Refusal("simulator", "HDL is run on Linux and macOS only; all else runs here too")
    if find_spec("cocotb") is None:
        raise Refusal("simulator", "cocotb is not installed; pip install 'padbench[cosim]'")
    missing = SIMULATORS[hdl.engine].missing
    if missing:
        raise Refusal("simulator", f"{hdl.engine} is not installed here; {missing}")
    return hdl


def _placed(design: Design, error: HdlError) -> SheetError:
    """A misfit with the sheet's line; the simulator's own message brings its place along."""
    if not error.key:
        return SheetError([Problem(design.name, None, "hdl", error.says, "", "mend the sources")])
    sheet, key = design.sheet, f"hdl.{error.key.split('[', 1)[0]}"
    line = sheet.line_of(key) or sheet.line_of("hdl")
    return SheetError([Problem(design.name, line, f"hdl.{error.key}", error.says, "", "")])


def _document(result: RegressResult, vcd: Mapping[str, Path]) -> RegressDocument:
    shown = (run for run in result.scenarios if run.verdict == "fail" or not run.part)
    return {
        "verdict": result.verdict,
        "findings": [finding_document(finding) for finding in result.findings],
        "scenarios": (_run(run, vcd) for run in shown),  # type: ignore[typeddict-item]
        "failures": [_failure(failure) for failure in result.failures],
        "likely_causes": [_cause(cause) for cause in result.causes],
        "skipped": [{"name": name, "why": why} for name, why in result.skipped],
        "reads": result.reads,
        "coverage": _coverage(result.coverage),
        "proof": None
        if result.proof is None
        else {
            "result": result.proof.result,
            "says": result.proof.says,
            "seconds": result.proof.seconds,
        },
    }


def _run(run: ScenarioRun, vcd: Mapping[str, Path]) -> HdlRunDocument:
    return {
        **run_document(run, vcd),
        "corner": run.simulator,
        "port": run.top,
        "simulator": run.simulator,
        "top": run.top,
        "part": run.part,
    }


def _failure(failure: Failure) -> FailureDocument:
    return {
        "scenario": failure.scenario,
        "read": failure.read,
        "at_ps": failure.at_ps,
        "expected": failure.expected,
        "expected_pressed": _pressed(failure.expected),
        "got": failure.got,
        "got_pressed": _pressed(failure.got),
        "says": failure.says,
        "likely_causes": [_cause(cause) for cause in failure.causes],
    }


def _pressed(byte: int | None) -> list[str] | None:
    return None if byte is None else list(pressed_in(byte))


def _cause(cause: Cause) -> CauseDocument:
    return {
        "id": cause.id,
        "says": cause.says,
        "explains": cause.explains,
        "like": [*cause.like],
    }


def _with_like(cause: Cause) -> str:
    """What a cause is, and the faults of a soldered pad that read the same."""
    like = f". A soldered pad reads so if {'; or '.join(cause.like)}"
    return cause.says + like * bool(cause.like)


def _coverage(coverage: Coverage) -> CoverageDocument:
    missing = coverage.missing_transitions
    return {
        "states": {"seen": len(coverage.states), "of": 256, "missing": coverage.missing_states},
        "transitions": {
            "seen": len(coverage.transitions),
            "of": 65_536,
            "missing": len(missing),
            "missing_first": missing[:_MOST_TRANSITIONS],
        },
        "stopped_positions": {
            "seen": 24 - len(coverage.missing_positions),
            "of": 24,
            "missing": coverage.missing_positions,
        },
    }


def _sections(result: RegressResult) -> Iterator[Section]:
    causes = [*_causes(result)]
    yield _brief(result)
    if result.failures:
        yield Section("all-causes", "Likely causes in full", causes)
    yield Section("findings", "Findings", findings_blocks(result.findings))
    yield Section("coverage", "What was seen on the wires", [_seen(result.coverage)])
    yield Section("scenarios", "Scenarios", [*_scenarios(result)])


def _brief(result: RegressResult) -> Section:
    """Each scenario that fails with its cause, then what was seen."""
    failures = {failure.scenario: failure for failure in result.failures}
    wrong = [run for run in result.scenarios if run.verdict == "fail"]
    right = [run.name for run in result.scenarios if run.verdict == "pass"]
    rows = [(run.name, _failing(run, failures.get(run.name))) for run in wrong]
    runs = {found.id for run in wrong for found in run.broken}
    broken = [
        (found.id, found.says)
        for found in result.findings
        if found.verdict == "fail" and found.id not in runs
    ]
    causes = [(f"{cause.explains:.0%}".replace("%", " %"), cause.says) for cause in result.causes]
    if result.failures and not causes:
        causes = [("", "None of the faults that were tried gives these reads.")]
    seen = result.coverage
    wires = (
        f"{256 - len(seen.missing_states)} of 256 states, "
        f"{grouped(65_536 - len(seen.missing_transitions))} of {grouped(65_536)} transitions, "
        f"{24 - len(seen.missing_positions)} of 24 stopped bits"
    )
    blocks = [
        Lines("Likely causes, by the part of the reads that each explains", causes),
        Lines("Scenarios that fail", rows),
        Lines("Findings that fail", broken),
        thinnest_lines(result.findings),
        Lines("", [
            *([("pass", f"{len(right)} scenarios: {', '.join(right)}")] if right else []),
            *([("skipped", ", ".join(name for name, _ in result.skipped))]
              if result.skipped else []),
        ], listed=True),
        Lines("", [
            *([("proof", result.proof.says)] if result.proof is not None else []),
            *([("exhaustive", _BRISK)] if any(run.part for run in result.scenarios) else []),
            ("seen", wires),
        ]),
    ]  # fmt: skip
    return Section("brief", "", blocks, ("brief",))


def _failing(run: ScenarioRun, failure: Failure | None) -> str:
    if failure is None:
        said = [problem.says for problem in run.problems]
        said += [f"{finding.id}: {finding.says}" for finding in run.broken]
        return said[0]
    says = f"read {failure.read}: got {_byte(failure.got)}, expected {_byte(failure.expected)}"
    return f"{says}; {failure.causes[0].id}" if failure.causes else says


def _causes(result: RegressResult) -> Iterator[Block]:
    if result.causes:
        yield Table(
            "Likely causes: a register with one of these faults would give just these reads",
            ("cause", "what it is", "explains"),
            [
                (cause.id, _with_like(cause), f"{cause.explains:.0%} of the reads")
                for cause in result.causes
            ],
            frozenset((2,)),
        )
    else:
        yield Prose(("None of the faults that were tried gives these reads.",))


def _byte(byte: int | None) -> str:
    return "no byte" if byte is None else spelled(byte)


def _seen(coverage: Coverage) -> Table:
    """What the wires were seen to do, and what not."""
    pairs = [(spelled(one), spelled(then)) for one, then in coverage.missing_transitions[:_FEW]]
    states = [spelled(state) for state in coverage.missing_states]
    places = [f"bit {bit} by {extra}" for bit, extra in coverage.missing_positions]
    rows = []
    for of, many, missing, named in (
        ("held states", 256, len(states), states),
        (
            "transitions between held states",
            65_536,
            len(coverage.missing_transitions),
            [f"{one} to {then}" for one, then in pairs],
        ),
        ("stopped bits by extra clocks", 24, len(places), places),
    ):
        more = missing - len(named[:_FEW])
        names = ", ".join(named[:_FEW]) + (f" and {grouped(more)} more" if more else "")
        rows.append((of, grouped(many - missing), grouped(many), names or "–"))
    return Table(
        "What the wires really did, whatever the scenarios meant to do",
        ("of", "seen", "there are", "not seen, the first of them"),
        rows,
        frozenset((1, 2)),
    )


def _scenarios(result: RegressResult) -> Iterator[Block]:
    shown = [run for run in result.scenarios if not run.part]
    parts = [run for run in result.scenarios if run.part]
    failing = [run for run in parts if run.verdict == "fail"]
    if parts:
        reads = sum(run.count for run in parts)
        says = f"The exhaustive part has {len(parts)} runs with {reads} reads; "
        says += f"{len(failing)} of the runs fail." if failing else "all of it holds."
        says += f" {_BRISK}"
        yield Prose((says,))
    if result.skipped:
        lines = [f"Does not apply: {name} ({why})" for name, why in result.skipped]
        yield Prose(lines, listed=True)
    articles = [
        article_of(run, f"{run.count} read{'s' if run.count != 1 else ''}, {run.where}.")
        for run in shown + failing[:_MOST_EXHAUSTIVE]
    ]
    if articles:
        yield Articles(articles)
