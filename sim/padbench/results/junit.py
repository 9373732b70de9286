"""Results as JUnit XML, for servers that run checks at each change.

    with whole_file(Path("results.xml")) as out:
        write_junit(verify_suites(result), out, name="My pad")

The form is that of Jenkins' xunit plugin, ``junit-10.xsd``: a suite of findings, one of scenarios,
and for sweeps one of their parts; what could not be judged or does not apply is skipped.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING
from xml.etree import ElementTree as ET

from padbench.core.buttons import spelled
from padbench.core.findings import Finding
from padbench.routines.engine import SweepCounts
from padbench.trials.result import ScenarioResult, VerifyResult

if TYPE_CHECKING:
    from padbench.cosim.result import RegressResult
    from padbench.results.pad_sweep_json import PadResult
    from padbench.routines.judge import Measured

__all__ = [
    "Case",
    "Suite",
    "inspect_suites",
    "pad_sweep_suites",
    "regress_suites",
    "routine_suites",
    "verify_suites",
    "write_junit",
]

_MOST_PROBLEMS = 20


@dataclass(frozen=True, slots=True)
class Case:
    """One test: ``failed`` are lines, the first the message; ``skipped`` says why it was."""

    name: str
    failed: Sequence[str] = ()
    skipped: str | None = None


@dataclass(frozen=True, slots=True)
class Suite:
    """Cases of one group; ``seconds`` is how long they took, where that is known."""

    name: str
    cases: Sequence[Case]
    seconds: float | None = None


def verify_suites(result: VerifyResult) -> list[Suite]:
    """Findings and scenarios."""
    return [
        Suite("findings", [*map(_finding, result.findings)]),
        Suite("scenarios", [*map(_scenario, result.scenarios)]),
    ]


def regress_suites(result: "RegressResult") -> list[Suite]:
    """Findings and scenarios; a scenario that fails names the likely causes as well."""
    causes = [f"likely cause: {cause.says}" for cause in result.causes]
    runs = [_scenario(run, causes if run.problems else ()) for run in result.scenarios]
    runs += [Case(name, skipped=why) for name, why in result.skipped]
    return [
        Suite("findings", [*map(_finding, result.findings)]),
        Suite("scenarios", runs, result.seconds),
    ]


def inspect_suites(findings: Iterable[Finding]) -> list[Suite]:
    """The findings of a capture; of several with one id each is a case of its own."""
    return [Suite("findings", [*map(_finding, findings)])]


def routine_suites(measured: "Measured", sweeps: Iterable[SweepCounts]) -> list[Suite]:
    """The routine undisturbed, and one case a fetch period."""
    wrong = [f"without a fetch: wrong with {spelled(held)} held" for held in measured.wrong]
    return [
        Suite(
            "sweeps",
            [
                Case("undisturbed", wrong[:_MOST_PROBLEMS]),
                *(Case(f"period {one.period}", [*_swept(one)]) for one in sweeps),
            ],
        )
    ]


def pad_sweep_suites(results: Iterable["PadResult"]) -> list[Suite]:
    """One case for each pad, named after the ports on which it is the same logic."""
    cases = []
    for one in results:
        failed = []
        if one.whole.wrong:
            failed.append(f"{one.whole.wrong} of {one.whole.cases} cases read wrong")
            if (found := one.whole.first_wrong) is not None:
                failed.append(
                    f"held {spelled(found.held)}, then {spelled(found.then)}: expected "
                    f"{spelled(found.expected)}, got {spelled(found.got)}"
                )
        cases.append(Case(", ".join(one.ports), failed))
    return [Suite("sweeps", cases)]


def write_junit(suites: Iterable[Suite], out: IO[str], *, name: str) -> None:
    """Write them; ``name`` is of what was judged.

    Characters that XML 1.0 has no place for are written as U+FFFD.
    """
    root = ET.Element("testsuites", name=_clean(name))
    for suite in suites:
        cases = [_case(f"padbench.{suite.name}", case) for case in suite.cases]
        counts = {
            tag: str(sum(case.find(tag) is not None for case in cases))
            for tag in ("failure", "skipped")
        }
        made = ET.SubElement(
            root,
            "testsuite",
            name=suite.name,
            tests=str(len(cases)),
            failures=counts["failure"],
            errors="0",
            skipped=counts["skipped"],
        )
        if suite.seconds is not None:
            made.set("time", f"{suite.seconds:.3f}")
        made.extend(cases)
    ET.indent(root)
    out.write('<?xml version="1.0" encoding="UTF-8"?>\n')
    out.write(ET.tostring(root, encoding="unicode"))
    out.write("\n")


def _finding(found: Finding) -> Case:
    if found.verdict == "fail":
        lines = [found.says, f"where: {found.where}", f"source: {found.source}"]
        if found.remedy is not None:
            lines.append(f"change: {found.remedy.whole}")
        return Case(found.id, lines)
    return Case(found.id, skipped=found.says if found.verdict == "not-judged" else None)


def _scenario(run: ScenarioResult, more: Sequence[str] = ()) -> Case:
    said = [problem.says for problem in run.problems[:_MOST_PROBLEMS]]
    said += [f"{found.id}: {found.says}" for found in run.broken]
    if said:
        said = [said[0], f"{run.corner} corner, {run.port} port", *said[1:], *more]
    return Case(run.name, said)


def _swept(sweep: SweepCounts) -> Iterator[str]:
    """Whether a wrong byte is handed on, or the routine does not end."""
    for count, what in (
        (sweep.accepted_wrong, "a wrong byte is handed on"),
        (sweep.never_settles, "it never comes back"),
    ):
        if count:
            yield f"{what} in {count} of {sweep.cases} cases"
    found = sweep.counterexample
    if found is not None and (sweep.accepted_wrong or sweep.never_settles):
        yield (
            f"phase {found.phase}, pad {found.pad}: held {spelled(found.held)}, "
            f"got {spelled(found.got)}"
        )


def _case(group: str, case: Case) -> ET.Element:
    made = ET.Element("testcase", classname=group, name=_clean(case.name))
    if case.failed:
        failure = ET.SubElement(made, "failure", message=_clean(case.failed[0]), type="padbench")
        failure.text = _clean("\n".join(case.failed))
    elif case.skipped is not None:
        ET.SubElement(made, "skipped", message=_clean(case.skipped))
    return made


def _clean(text: str) -> str:
    """Only what XML 1.0, production 2 (Char), allows."""
    return "".join(
        c
        if c in "\t\n\r" or " " <= c <= "\ud7ff" or "\ue000" <= c <= "\ufffd" or c > "\uffff"
        else "\ufffd"
        for c in text
    )
