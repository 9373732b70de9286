"""The recipe for a command, followed literally: a job and a short module give every format."""

import json
import sys
from types import ModuleType
from typing import TypedDict
from xml.etree import ElementTree

import pytest

from padbench import cli
from padbench.cli.options import Parser, usable
from padbench.cli.outputs import add_output_options, emit
from padbench.core.findings import Finding, Rule
from padbench.jobs import schemas
from padbench.jobs.loading import Refusal
from padbench.results.blocks import Lines, findings_blocks
from padbench.results.documents import FindingDocument, Outcome, finding_document
from padbench.results.result import Result, Section


class WeighDocument(TypedDict):
    """``padbench weigh``, which there is only here."""

    verdict: Outcome
    findings: list[FindingDocument]


WEIGHT = Rule("weight.pad", "", {"pass": "light enough", "fail": "too heavy"})


def weigh(grams: float) -> Result:
    """The job: everything that the command does."""
    if grams < 0:
        raise Refusal("grams", "nothing weighs less than nothing")
    verdict = "pass" if grams <= 100 else "fail"
    found = Finding(WEIGHT, verdict, grams, 100.0, 100.0 - grams)
    return Result(
        command="weigh",
        name="a pad",
        verdict=verdict,
        outcome=verdict,
        word="Passes." if verdict == "pass" else "FAILS.",
        lead=f"It weighs {grams:g} g.",
        make_document=lambda: {"verdict": verdict, "findings": [finding_document(found)]},
        make_sections=lambda: [
            Section("brief", "", [Lines("", [("weight", found.says)])], ("brief",)),
            Section("findings", "Findings", findings_blocks([found])),
        ],
        findings=(found,),
    )


@pytest.fixture(autouse=True)
def added(monkeypatch):
    module = ModuleType("padbench.cli.weigh")

    def run(arguments: list[str]) -> int:
        parser = Parser("weigh", "How heavy a pad is.", "padbench weigh 80")
        parser.add_argument("grams", type=float)
        add_output_options(parser, {})
        options = parser.parse_args(arguments)
        with usable():
            result = weigh(options.grams)
        return emit([result], options, arguments)

    module.run = run
    monkeypatch.setitem(sys.modules, "padbench.cli.weigh", module)
    monkeypatch.setitem(cli.COMMANDS, "weigh", "how heavy a pad is")
    monkeypatch.setitem(schemas.DOCUMENTS, "weigh", WeighDocument)


def test_a_new_command_has_every_format_at_once(tmp_path, capsys):
    page, junit = tmp_path / "w.html", tmp_path / "w.xml"
    assert cli.main(["weigh", "80", "--report", str(page), "--junit", str(junit)]) == 0
    text = capsys.readouterr().out
    assert text.startswith("a pad: Passes. It weighs 80 g.\nweight  light enough\n")
    assert "Passes." in page.read_text()
    (suite,) = ElementTree.parse(junit).getroot()
    assert (suite.get("tests"), suite.get("failures")) == ("1", "0")
    assert cli.main(["weigh", "120", "--json"]) == 1
    document = json.loads(capsys.readouterr().out)
    assert (document["verdict"], document["findings"][0]["margin"]) == ("fail", -20.0)
    assert cli.main(["weigh", "120", "--all"]) == 1
    assert "weight.pad" in capsys.readouterr().out


def test_what_it_refuses_and_where_it_is_listed(capsys):
    assert cli.main(["weigh", "-1"]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert cli.main(["--help"]) == 0
    assert "weigh       how heavy a pad is" in capsys.readouterr().out
    assert "weigh" in schemas.DOCUMENTS
