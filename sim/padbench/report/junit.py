"""A regression as JUnit XML, the form that CI servers read (common practice, no standard).

One test case a scenario and one a finding; what does not apply is a skipped case.
"""

import re
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from padbench.cosim.result import RegressResult
from padbench.files import whole_file

__all__ = ["junit_xml", "write_junit"]

_NOT_XML = re.compile(r"[^\t\n\r\x20-\uD7FF\uE000-\uFFFD\U00010000-\U0010FFFF]")


def write_junit(result: RegressResult, path: Path, name: str) -> None:
    """Write the file, whole or not at all; ``OSError`` if it cannot be written."""
    with whole_file(path) as out:
        out.write('<?xml version="1.0" encoding="UTF-8"?>\n')
        out.write(tostring(junit_xml(result, name), encoding="unicode"))
        out.write("\n")


def junit_xml(result: RegressResult, name: str) -> Element:
    """The suite ``name`` as an element."""
    top = Element("testsuites")
    suite = SubElement(top, "testsuite", name=_clean(name))
    failures = 0
    for scenario in result.scenarios:
        case = SubElement(suite, "testcase", classname="scenario", name=_clean(scenario.name))
        if scenario.problems:
            failures += 1
            lines = [problem.says for problem in scenario.problems[:20]]
            lines += [f"likely cause: {cause.says}" for cause in result.causes]
            _fail(case, lines)
    for found in result.findings:
        case = SubElement(suite, "testcase", classname="finding", name=found.id)
        if found.verdict == "fail":
            failures += 1
            _fail(case, [f"{found.says} ({found.where})"])
        elif found.verdict == "not-judged":
            SubElement(case, "skipped", message=_clean(found.says))
    for skipped, why in result.skipped:
        case = SubElement(suite, "testcase", classname="scenario", name=_clean(skipped))
        SubElement(case, "skipped", message=_clean(why))
    suite.set("tests", str(len(suite.findall("testcase"))))
    suite.set("failures", str(failures))
    suite.set("errors", "0")
    suite.set("skipped", str(len(suite.findall("testcase/skipped"))))
    suite.set("time", f"{result.seconds:.3f}")
    indent(top)
    return top


def _fail(case: Element, lines: list[str]) -> None:
    failure = SubElement(case, "failure", message=_clean(lines[0]), type="fault")
    failure.text = _clean("\n".join(lines))


def _clean(text: str) -> str:
    """Text without the characters that XML 1.0 cannot hold at all."""
    return _NOT_XML.sub("?", text)
