"""A result as JUnit XML, for servers that run checks at each change.

    with whole_file(Path("results.xml")) as out:
        write_junit([result], out)

The form is that of Jenkins' xunit plugin, ``junit-10.xsd``: a suite of findings, one of runs, and
one for each group of further cases; what could not be judged or does not apply is skipped.
"""

from collections.abc import Iterator, Sequence
from typing import IO
from xml.etree import ElementTree as ET

from padbench.core.findings import Finding
from padbench.results.result import Case, Result
from padbench.trials.scenario_run import ScenarioRun

_MOST_PROBLEMS = 20


def write_junit(results: Sequence[Result], out: IO[str]) -> None:
    """Write them; where there are several, their suites have their names.

    Characters that XML 1.0 has no place for are written as U+FFFD.
    """
    names = ", ".join(dict.fromkeys(result.name for result in results))
    root = ET.Element("testsuites", name=_clean(names))
    for result in results:
        of = f"{result.name}: " if len(results) > 1 else ""
        # A server tells tests apart by class and name; a dot ends a part of a class.
        place = f"padbench.{_clean(result.name).replace('.', '_')}." if of else "padbench."
        for group, suite in _suites(result):
            cases = [_case(place + group, case) for case in suite]
            counts = {
                tag: str(sum(case.find(tag) is not None for case in cases))
                for tag in ("failure", "skipped")
            }
            made = ET.SubElement(
                root,
                "testsuite",
                name=_clean(of + group),
                tests=str(len(cases)),
                failures=counts["failure"],
                errors="0",
                skipped=counts["skipped"],
            )
            if result.assumed:
                properties = ET.SubElement(made, "properties")
                for key, value in result.assumed:
                    ET.SubElement(
                        properties, "property", name=f"assumed {key}", value=_clean(value)
                    )
            if group == "scenarios" and result.seconds is not None:
                made.set("time", f"{result.seconds:.3f}")
            made.extend(cases)
    ET.indent(root)
    out.write('<?xml version="1.0" encoding="UTF-8"?>\n')
    out.write(ET.tostring(root, encoding="unicode"))
    out.write("\n")


def _suites(result: Result) -> Iterator[tuple[str, list[Case]]]:
    further = dict(result.cases)
    if result.findings:
        yield "findings", [*map(_finding, result.findings), *further.pop("findings", ())]
    if result.runs:
        yield (
            "scenarios",
            [*(_run(run, result.behind) for run in result.runs), *further.pop("scenarios", ())],
        )
    yield from ((group, list(cases)) for group, cases in further.items())


def _finding(finding: Finding) -> Case:
    if finding.verdict == "fail":
        lines = [finding.says, f"where: {finding.where}", f"source: {finding.source}"]
        if finding.remedy is not None:
            lines.append(f"change: {finding.remedy.whole}")
        return Case(finding.id, lines)
    return Case(finding.id, skipped=finding.says if finding.verdict == "not-judged" else None)


def _run(run: ScenarioRun, behind: Sequence[str]) -> Case:
    said = [problem.says for problem in run.problems[:_MOST_PROBLEMS]]
    said += [f"{finding.id}: {finding.says}" for finding in run.broken]
    if said:
        said = [said[0], run.where, *said[1:]]
        said += behind if run.problems else ()
    return Case(run.name, said)


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
