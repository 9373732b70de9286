"""A verification as JUnit XML, for servers that run checks at each change.

The form is that of Jenkins' xunit plugin, ``junit-10.xsd``: a suite of findings and one of
scenarios; what could not be judged is skipped.
"""

from typing import IO
from xml.etree import ElementTree as ET

from padbench.rules import Finding
from padbench.verify.result import ScenarioResult, VerifyResult

__all__ = ["write_junit"]


def write_junit(result: VerifyResult, out: IO[str], *, name: str) -> None:
    """Write the suites of a verification; ``name`` is the pad's.

    Characters that XML 1.0 has no place for are written as U+FFFD.
    """
    root = ET.Element("testsuites", name=_clean(name))
    _suite(root, "findings", [_finding_case(found) for found in result.findings])
    _suite(root, "scenarios", [_scenario_case(run) for run in result.scenarios])
    ET.indent(root)
    out.write('<?xml version="1.0" encoding="UTF-8"?>\n')
    out.write(ET.tostring(root, encoding="unicode"))
    out.write("\n")


def _suite(root: ET.Element, name: str, cases: list[ET.Element]) -> None:
    def count(tag: str) -> str:
        return str(sum(case.find(tag) is not None for case in cases))

    suite = ET.SubElement(
        root,
        "testsuite",
        name=name,
        tests=str(len(cases)),
        failures=count("failure"),
        errors="0",
        skipped=count("skipped"),
    )
    suite.extend(cases)


def _finding_case(found: Finding) -> ET.Element:
    case = _case("padbench.findings", found.id)
    if found.verdict == "fail":
        lines = [f"where: {found.where}", f"source: {found.source}"]
        if found.remedy is not None:
            lines.append(f"change: {found.remedy.whole}")
        _failure(case, found.says, lines)
    elif found.verdict == "not-judged":
        ET.SubElement(case, "skipped", message=_clean(found.says))
    return case


def _scenario_case(run: ScenarioResult) -> ET.Element:
    case = _case("padbench.scenarios", run.name)
    said = [problem.says for problem in run.problems]
    said += [f"{found.id}: {found.says}" for found in run.broken]
    if said:
        _failure(case, said[0], [f"{run.corner} corner, {run.port} port", *said])
    return case


def _case(group: str, name: str) -> ET.Element:
    return ET.Element("testcase", classname=group, name=_clean(name))


def _failure(case: ET.Element, message: str, lines: list[str]) -> None:
    failure = ET.SubElement(case, "failure", message=_clean(message), type="padbench")
    failure.text = _clean("\n".join(lines))


def _clean(text: str) -> str:
    """Only what XML 1.0, production 2 (Char), allows."""
    return "".join(
        c
        if c in "\t\n\r" or " " <= c <= "\ud7ff" or "\ue000" <= c <= "\ufffd" or c > "\uffff"
        else "\ufffd"
        for c in text
    )
