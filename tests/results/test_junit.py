"""JUnit XML: counts, causes and characters that XML cannot hold."""

import io
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from padbench.core.findings import Finding, Met, Rule
from padbench.core.timeline import Timeline
from padbench.cosim.causes import Cause
from padbench.cosim.outcome import Coverage, RegressResult
from padbench.jobs.regress import regress_result
from padbench.results.junit import write_junit
from padbench.results.result import Result
from padbench.sheet import Hdl
from padbench.trials.scenario_run import Played, Problem, ScenarioRun

GLITCH = Rule("data.glitch", "changes", {"fail": "it glitches"})
ANSWER = Rule("data.answer", "s", {"not-judged": "nothing promised"})
HDL = Hdl(sources=["pad.v"], top="pad", language="verilog")


@pytest.fixture
def result() -> Result:
    def play() -> Played:
        return Played(Timeline(0), ())

    sound = ScenarioRun("idle", "", "", "", (), (), (), 0, play, "icarus", "pad")
    wrong = replace(
        sound, name="each-button", problems=(Problem("read {read}: \x07 wrong <&>", read=1, at=5),)
    )
    glitch = Finding(GLITCH, "fail", 1, 0, -1, Met("idle", simulator="icarus", top="pad", at_ps=3))
    quiet = Finding(ANSWER, "not-judged")
    causes = (Cause("pad", "wrong-edge"),)
    skipped = (("cut-short", "does not apply"),)
    regression = RegressResult(
        (glitch, quiet), (sound, wrong), (), causes, skipped, Coverage(), 3, 1.25
    )
    return regress_result(regression, "My \x00pad", HDL)


def test_counts_and_text(result):
    out = io.StringIO()
    write_junit([result], out)
    top = ElementTree.fromstring(out.getvalue())
    assert top.attrib == {"name": "My \ufffdpad, pad on icarus"}
    findings, scenarios = top
    counts = {"errors": "0", "failures": "1", "skipped": "1"}
    assert findings.attrib == {"name": "findings", "tests": "2", **counts}
    assert scenarios.attrib == {"name": "scenarios", "tests": "3", "time": "1.250", **counts}
    failed = scenarios.find("testcase[@name='each-button']/failure")
    assert failed.attrib["message"] == "read 1: \ufffd wrong <&>"
    assert "likely cause: it shifts on the falling clock edge" in failed.text
    assert "on icarus, top pad\n" in failed.text
    assert findings.find("testcase[@name='data.glitch']/failure") is not None
    assert scenarios.find("testcase[@name='cut-short']/skipped") is not None
