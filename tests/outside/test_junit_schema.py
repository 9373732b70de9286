"""JUnit XML against a published schema, and read by a parser that is not ours.

Source: ``junit-10.xsd`` of Jenkins' xunit plugin (MIT), as it stands in pytest's source archive;
the parser is junitparser's.
"""

import io
from dataclasses import replace
from pathlib import Path

import pytest
import xmlschema
from junitparser import Failure, JUnitXml, Skipped

from padbench.core.findings import Finding, Met, Rule
from padbench.jobs.verify import verify
from padbench.results.junit import write_junit
from padbench.results.result import Result

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
SCHEMA = xmlschema.XMLSchema(str(Path(__file__).with_name("schemas") / "junit-10.xsd"))


@pytest.fixture(scope="module")
def result() -> Result:
    return verify(SHEETS / "harbour-a.toml", ["idle", "each-button", "cut-short"])


def written(result: Result) -> str:
    out = io.StringIO()
    write_junit([result], out)
    return out.getvalue()


def test_it_is_valid_and_says_what_the_result_says(result):
    text = written(result)
    SCHEMA.validate(text)
    suites = {suite.name: suite for suite in JUnitXml.fromstring(text.encode())}
    assert list(suites) == ["findings", "scenarios"]
    words = {"pass": [], "fail": [Failure], "not-judged": [Skipped]}
    for suite, cases in (("findings", result.findings), ("scenarios", result.runs)):
        got = [(case.name, [type(one) for one in case.result]) for case in suites[suite]]
        names = [getattr(case, "id", None) or case.name for case in cases]
        assert got == [(n, words[c.verdict]) for n, c in zip(names, cases, strict=True)]
        assert suites[suite].tests == len(cases)
        assert suites[suite].failures == sum(case.verdict == "fail" for case in cases) > 0
    by_name = {case.name: case for case in suites["findings"]}
    order = next(found for found in result.findings if found.id == "wiring.order")
    assert by_name["wiring.order"].result[0].message == order.says
    assert order.where in by_name["wiring.order"].result[0].text


def test_what_was_not_judged_is_skipped(result):
    found = replace(result.findings[0], verdict="not-judged", case=result.findings[0].verdict)
    text = written(replace(result, findings=(found,)))
    SCHEMA.validate(text)
    (suite, _) = JUnitXml.fromstring(text.encode())
    assert suite.skipped == 1


def test_signs_that_xml_cannot_hold_do_not_break_it(result):
    evil = "]]></failure><x a='\"&\x00\x01\x1b\ud800\ufffe\u202e🎮"
    rule = Rule(evil, "", {"fail": lambda _: evil})
    found = Finding(rule, "fail", met=Met(other=evil))
    text = written(replace(result, name=evil, findings=(found,), runs=()))
    SCHEMA.validate(text)
    (suite,) = JUnitXml.fromstring(text.encode())
    (case,) = suite
    assert case.name == evil.translate(dict.fromkeys((0, 1, 0x1B, 0xD800, 0xFFFE), "\ufffd"))


def test_the_schema_refuses_what_is_wrong(result):
    text = written(result).replace("<failure", "<failing").replace("</failure", "</failing")
    with pytest.raises(xmlschema.XMLSchemaException):
        SCHEMA.validate(text)
