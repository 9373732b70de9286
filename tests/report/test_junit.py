"""JUnit XML: counts, causes and characters that XML cannot hold."""

from dataclasses import replace
from xml.etree import ElementTree

import pytest

from padbench.cosim.causes import Cause
from padbench.cosim.coverage import Coverage
from padbench.cosim.result import RegressResult
from padbench.report.junit import write_junit
from padbench.rules import Finding
from padbench.timeline import Timeline
from padbench.verify import Problem, ScenarioResult


@pytest.fixture
def result() -> RegressResult:
    sound = ScenarioResult("idle", "", "icarus", "pad", (), (), (), (), Timeline(0))
    wrong = replace(sound, name="each-button", problems=(Problem(5, "read 1: \x07 wrong <&>"),))
    found = Finding("data.glitch", "fail", 1, 0, -1, "changes", "at 3 µs", "", "it glitches")
    quiet = replace(found, id="data.answer", verdict="not-judged", says="nothing promised")
    causes = (Cause("wrong-edge", "it shifts on the falling clock edge", 1.0),)
    skipped = (("cut-short", "does not apply"),)
    return RegressResult((found, quiet), (sound, wrong), (), causes, skipped, Coverage(), 3, 1.25)


def test_counts_and_text(result, tmp_path):
    write_junit(result, tmp_path / "out.xml", "My \x00pad")
    suite = ElementTree.parse(tmp_path / "out.xml").getroot().find("testsuite")
    assert suite.attrib == {
        "name": "My ?pad",
        "tests": "5",
        "failures": "2",
        "errors": "0",
        "skipped": "2",
        "time": "1.250",
    }
    failed = suite.find("testcase[@name='each-button']/failure")
    assert failed.attrib["message"] == "read 1: ? wrong <&>"
    assert "likely cause: it shifts on the falling clock edge" in failed.text
    assert suite.find("testcase[@name='data.glitch']/failure") is not None
