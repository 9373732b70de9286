"""JUnit XML: counts, causes and characters that XML cannot hold."""

import io
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from padbench.core.findings import Finding
from padbench.core.timeline import Timeline
from padbench.cosim.causes import Cause
from padbench.cosim.coverage import Coverage
from padbench.cosim.result import RegressResult
from padbench.results.junit import regress_suites, write_junit
from padbench.trials import Problem, ScenarioRun


@pytest.fixture
def result() -> RegressResult:
    sound = ScenarioRun("idle", "", "icarus", "pad", (), (), (), (), Timeline(0))
    wrong = replace(sound, name="each-button", problems=(Problem(5, "read 1: \x07 wrong <&>"),))
    found = Finding("data.glitch", "fail", 1, 0, -1, "changes", "at 3 µs", "", "it glitches")
    quiet = replace(found, id="data.answer", verdict="not-judged", says="nothing promised")
    causes = (Cause("wrong-edge", "it shifts on the falling clock edge", 1.0),)
    skipped = (("cut-short", "does not apply"),)
    return RegressResult((found, quiet), (sound, wrong), (), causes, skipped, Coverage(), 3, 1.25)


def test_counts_and_text(result):
    out = io.StringIO()
    write_junit(regress_suites(result), out, name="My \x00pad")
    top = ElementTree.fromstring(out.getvalue())
    assert top.attrib == {"name": "My \ufffdpad"}
    findings, scenarios = top
    counts = {"errors": "0", "failures": "1", "skipped": "1"}
    assert findings.attrib == {"name": "findings", "tests": "2", **counts}
    assert scenarios.attrib == {"name": "scenarios", "tests": "3", "time": "1.250", **counts}
    failed = scenarios.find("testcase[@name='each-button']/failure")
    assert failed.attrib["message"] == "read 1: \ufffd wrong <&>"
    assert "likely cause: it shifts on the falling clock edge" in failed.text
    assert findings.find("testcase[@name='data.glitch']/failure") is not None
    assert scenarios.find("testcase[@name='cut-short']/skipped") is not None
