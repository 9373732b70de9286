"""Routine, sweep, latency and a case again, from Python: one result each, every form of it."""

import io
import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from padbench.jobs import routine as routine_job
from padbench.jobs.latency import latency
from padbench.jobs.loading import Refusal
from padbench.jobs.routine import routine
from padbench.jobs.routine_case import play_case
from padbench.jobs.schemas import json_schema
from padbench.jobs.sweep import sweep
from padbench.parts import console_timing
from padbench.results.documents import json_texts
from padbench.results.html_page import write_page
from padbench.results.junit import write_junit
from padbench.results.text import as_text
from padbench.routines.routine import RoutineError

ROOT = Path(__file__).parents[2]
EXPOSED = ROOT / "tests" / "routines" / "sources" / "read-twice-36.asm"
SHEET = ROOT / "sim" / "sheets" / "harbour-a.toml"

MAKE = {
    "routine": lambda: routine(EXPOSED, line=250),
    "sweep --routine": lambda: sweep(routine=str(EXPOSED), periods=[432, 576], chart=True),
    "sweep --sheet": lambda: sweep(sheet=SHEET),
    "latency": lambda: latency("read-twice", line=250),
    "play --routine": lambda: play_case(EXPOSED, "held=0 phase=49", period=[576]),
}


@pytest.fixture(scope="module", params=MAKE)
def asked(request):
    return request.param, MAKE[request.param]()


def test_every_form_is_made_from_the_result_alone(asked):
    """Text, JSON as its schema has it, JUnit and a page; each twice, and alike."""
    command, result = asked
    assert as_text(result) == as_text(result)
    assert f"{result.name}: {result.word} {result.lead}" in as_text(result)
    (text,) = {"".join(json_texts(result)) for _ in range(2)}
    document = json.loads(text)
    Draft202012Validator(json_schema(command)).validate(document)
    out = io.StringIO()
    write_junit([result], out)
    tree = ET.fromstring(out.getvalue())
    assert len(tree.findall("testsuite/testcase")) >= 1
    assert bool(tree.findall("testsuite/testcase/failure")) == (result.outcome == "fail")
    pages = []
    for _ in range(2):
        pages.append(io.StringIO())
        write_page(result, pages[-1])
    assert pages[0].getvalue() == pages[1].getvalue()
    assert f"<bdi>{result.lead}</bdi>" in pages[0].getvalue()


def test_no_key_may_be_missing_or_of_another_type(asked):
    command, result = asked
    document = json.loads("".join(json_texts(result)))
    checker = Draft202012Validator(json_schema(command))
    for key in document:
        assert not checker.is_valid({name: document[name] for name in document if name != key}) or (
            key == "map"
        )
        assert not checker.is_valid({**document, key: {"no": "such thing"}})


def test_what_a_routine_is_found_to_do_is_data():
    result = routine(EXPOSED)
    result_finding, fetch = result.findings
    assert (result.verdict, result.outcome, result.exit_code) == ("exposed", "fail", 1)
    assert (result_finding.id, result_finding.verdict) == ("routine.result", "pass")
    assert (fetch.id, fetch.verdict, fetch.unit) == ("routine.fetch", "fail", "cases")
    (counts,) = result.data.sweeps
    assert (fetch.measured, fetch.limit, fetch.margin) == (
        counts.accepted_wrong,
        0,
        -counts.accepted_wrong,
    )
    assert fetch.facts["cases"] == 256 * 432
    assert {source.kind for source in fetch.sources} == {"calculated", "from memory"}
    assert fetch.says.startswith("exposed: hands on a wrong byte in 129 of 110592 cases (0.12 %)")
    assert result.lead == fetch.says.removeprefix("exposed: h").join(["H", "."])


def test_a_routine_that_detects_says_how_often_it_kept_the_old_byte():
    result = routine("read-twice")
    (counts,) = result.data.sweeps
    assert (result.verdict, result.outcome) == ("detects", "pass")
    assert f"in {counts.kept_old} of these the byte from before stays" in result.lead
    assert counts.kept_old == counts.corrupt > 0


def test_the_findings_of_a_pad_are_port_by_port():
    result = sweep(sheet=SHEET)
    assert [finding.met.port for finding in result.findings] == ["push-pull", "pull-down-only"]
    for finding, pad in zip(result.findings, result.data, strict=True):
        assert finding.measured == pad.whole.wrong == -finding.margin > 0


def test_addresses_may_be_numbers_or_text_and_a_case_is_named_alike():
    commands = set()
    for ports in (("$4016", "$4017"), (0x4016, 0x4017), "$4016,$4017"):
        result = routine("read-once", ports=ports)
        commands |= {case["play"] for case in result.document["sweeps"][0]["counterexamples"]}
    assert len(commands) == 1  # the first wrong byte is the first spoilt pass
    assert "--ports" not in commands.pop()


def test_progress_is_told_how_many_cases_are_done():
    calls = []
    step = lambda done, total: calls.append((done, total))  # noqa: E731
    routine("read-once", periods=[432, 576], progress=step)
    assert calls == [(256 * 432, 256 * 1008), (256 * 1008, 256 * 1008)]
    calls.clear()
    sweep(routine="read-once", periods=[432], workers=2, progress=step)
    assert calls == [(64 * 432 * n, 256 * 432) for n in (1, 2, 3, 4)]


def test_ctrl_c_leaves_what_was_counted_until_then(monkeypatch):
    whole, calls = routine_job.count, []

    def stopped(*arguments):
        if len(calls) == 1:
            raise KeyboardInterrupt
        calls.append(1)
        return whole(*arguments)

    monkeypatch.setattr(routine_job, "count", stopped)
    result = routine("read-once", periods=[432, 576])
    assert (result.verdict, result.outcome, result.exit_code) == ("stopped", "stopped", 130)
    assert result.lead == f"{256 * 432} of {256 * 1008} cases were tried."
    assert result.findings == ()
    Draft202012Validator(json_schema("routine")).validate(json.loads("".join(json_texts(result))))


@pytest.mark.parametrize(
    ("make", "option"),
    [
        (sweep, "routine"),
        (lambda: sweep(routine="read-once", sheet=SHEET), "routine"),
        (lambda: sweep(sheet=SHEET, chart=True), "map"),
        (lambda: sweep(sheet=SHEET, workers=0), "workers"),
        (lambda: routine("read-once", console="70hz"), "console"),
        (lambda: routine("read-once", periods=[7]), "period"),
        (lambda: routine("read-once", ports="$4016"), "ports"),
        (lambda: routine("read-once", origin="home"), "origin"),
        (lambda: latency(bounce="2 s"), "bounce"),
        (lambda: latency(bounce=-1.0), "bounce"),
        (lambda: latency(closed="1/0"), "closed"),
        (lambda: latency(line=262), "line"),
        (lambda: latency(screen_line=240), "screen-line"),
        (lambda: play_case("read-once", "held=256"), "case"),
    ],
)
def test_what_cannot_be_done_names_its_argument(make, option):
    with pytest.raises(Refusal) as refused:
        make()
    assert refused.value.option == option


def test_a_routine_that_cannot_be_used_says_so(tmp_path):
    (tmp_path / "a.asm").write_text("jmp $1234")
    for make in (routine, latency, lambda what: sweep(routine=what)):
        with pytest.raises(RoutineError, match="is jumped to"):
            make(tmp_path / "a.asm")


def test_the_delay_is_the_same_in_numbers_and_in_words():
    result = latency("read-once", bounce=0.0, console="50hz", every=2)
    document = result.document
    frames = document["frames"]
    assert frames["max"] - frames["min"] == pytest.approx(2)
    assert float(result.data.mean) / 1.662607e6 * 1e3 == pytest.approx(
        document["milliseconds"]["mean"], rel=1e-6
    )
    assert f"{document['milliseconds']['mean']:.1f} ms in the mean" in result.word
    for percent in (1, 10, 50, 90, 99):
        exact = result.data.percentile(percent) / console_timing("50hz").frame_cycles
        assert frames[f"p{percent}"] == float(exact)
