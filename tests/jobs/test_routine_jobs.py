"""Routine, sweep, latency and a case again, from Python: one result each, every form of it."""

import io
import json
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import asdict
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
from padbench.jobs.verify import verify
from padbench.parts import console_timing
from padbench.results.documents import json_texts
from padbench.results.html_page import write_page
from padbench.results.junit import write_junit
from padbench.results.text import as_text
from padbench.routines.cures import Cure
from padbench.routines.routine import RoutineError
from padbench.routines.source import load_routine
from padbench.toml.problems import SheetError

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
    # Lines are broken between words at the width of the screen.
    assert f"{result.name}: {result.word} {result.lead}" in " ".join(as_text(result).split())
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
    page = pages[0].getvalue().replace("\N{NO-BREAK SPACE}", " ")
    assert f"<bdi>{result.lead}</bdi>" in page


def test_no_key_may_be_missing_or_of_another_type(asked):
    command, result = asked
    document = json.loads("".join(json_texts(result)))
    checker = Draft202012Validator(json_schema(command))
    for key in document:
        assert not checker.is_valid({name: document[name] for name in document if name != key}) or (
            key == "map"
        )
        assert not checker.is_valid({**document, key: {"no": "such thing"}})


def test_all_that_must_change_stands_under_its_title():
    """On a terminal each line of it is set in, so that none is taken for a line of its own."""
    found = routine(EXPOSED, periods=[432])
    section = next(one for one in found.sections if one.title == "What must change")
    advice = [line for block in section.blocks for line in block.lines]
    (block,) = [one for one in found.brief if one.title == "What must change"]
    assert [says for _, says in block.rows] == advice
    assert len(advice) > 2


def test_what_a_routine_is_found_to_do_is_data():
    result = routine(EXPOSED, periods=[432])
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
    assert fetch.says.startswith("exposed: hands on a wrong byte: with nothing held, at the worst")
    assert result.lead == fetch.says.removeprefix("exposed: h").join(["H", "."])


def test_a_routine_that_detects_says_how_often_it_kept_the_old_byte():
    result = routine("read-twice", periods=[432])
    (counts,) = result.data.sweeps
    assert (result.verdict, result.outcome) == ("detects", "pass")
    assert f"in {counts.kept_old} of these the byte from before stays" in result.lead
    assert counts.kept_old == counts.corrupt > 0


def test_all_rates_are_tried_unless_it_says_so():
    everything = routine("read-once")
    assert [one.period for one in everything.data.sweeps] == [*console_timing("60hz").fetch_periods]
    assert "tried with" not in everything.lead
    narrow = routine("read-once", periods=[432, 576])
    assert narrow.lead.endswith("every 432, 576 cycles only, 14 rates of the console not.")


def test_the_risk_of_a_plain_loop_is_a_closed_form():
    """Eight of 432 phases stop a read, and with nothing held each of them brings a press."""
    result = routine("read-once")
    a_minute = 60 * 60.0988 * 8 / 432
    assert result.document["risk"] == {
        "held": 0,
        "period": 432,
        "chance": 8 / 432,
        "a_minute": pytest.approx(a_minute, rel=1e-5),
        "pads": 1,
    }
    assert (
        "with nothing held, at the worst rate (a fetch every 432 cycles), one poll in 54 goes "
        f"wrong, about {a_minute:.0f} a minute at one poll a frame" in result.lead
    )
    for counts in result.document["sweeps"]:
        # A state with n equal bits at its end, pressed as what is shifted in, loses n of the 8.
        held = counts["wrong_by_held"]
        assert (held[0], held[1], held[3], held[255]) == (8, 7, 6, 0)
        assert sum(held) == counts["accepted_wrong"] == 256 * 8 - 255


KEEPS = """buttons = $0310
new = $02
read: jsr pass
      lda new
      sta $01
      jsr pass
      lda new
      {compare}
done: {end}
pass: lda #1
      sta $4016
      sta new
      lsr a
      sta $4016
loop: lda $4016
      lsr a
      rol new
      bcc loop
      rts
"""


def test_the_place_of_the_result_is_found_and_said(tmp_path):
    only = tmp_path / "only.asm"
    keep = "cmp $01\n bne done\n sta buttons\n"
    only.write_text(KEEPS.format(compare=keep, end="lda #0\n sta $01\n sta new\n rts"))
    found = routine(only, periods=[432])
    assert (found.document["result"], found.document["result_found"]) == ([0x310], True)
    assert found.data.routine.found == "$0310 (buttons)"
    assert found.verdict == routine(only, periods=[432], result="buttons").verdict == "detects"
    both = routine(EXPOSED, periods=[432])
    assert both.data.routine.found == "A; $01 (first) and $02 (buttons) hold the byte too"
    assert not routine("read-once", periods=[432]).document["result_found"]


def test_a_byte_from_before_may_be_kept_elsewhere(tmp_path):
    """The place asked for is a copy of it: handed on is what was held, or the byte before."""
    copies = tmp_path / "copies.asm"
    keep = "cmp $01\n bne done\n sta buttons\n"
    copies.write_text(KEEPS.format(compare=keep, end="lda buttons\n sta $20\n rts"))
    found = routine(copies, periods=[432], result="$20")
    (counts,) = found.data.sweeps
    assert found.verdict == "detects"
    assert counts.kept_old == counts.corrupt > 0
    # What a case does that is played again is what was counted.
    case = counts.counterexample
    played = play_case(copies, f"held={case.held} phase={case.phase}", period=[432], result="$20")
    assert played.verdict == "pass"


BOTH = """pad1 = $10
pad2 = $11
      lda #1
      sta $4016
      lsr a
      sta $4016
      ldx #8
loop: lda $4016
      lsr a
      {turn} pad1
      lda {port}
      lsr a
      rol pad2
      dex
      bne loop
      {end}
      rts
"""


def test_a_routine_for_both_pads_is_judged_for_both_and_says_so(tmp_path):
    both = tmp_path / "both.asm"
    both.write_text(BOTH.format(turn="rol", port="$4017", end=""))
    found = routine(both, periods=[432])
    assert found.document["result"] == [0x10, 0x11]
    assert found.data.routine.found == "$10 (pad1); of the second pad in $11 (pad2)"
    assert found.data.sweeps[0].accepted_wrong == 2 * (256 * 8 - 255)
    # The sweep holds all eight on pad 2 with nothing on pad 1; the risk is that of two calm pads.
    assert found.data.sweeps[0].by_held[0] == 8
    assert found.document["risk"]["chance"] == 16 / 432
    assert "with nothing held on either pad, at" in found.lead
    assert "one poll in 27 goes wrong" in found.lead
    one = routine(both, periods=[432], result="pad1")
    assert "reads both ports, and only the first pad's byte is judged" in " ".join(
        as_text(one).split()
    )
    assert "both ports" not in as_text(found)
    # What is shown to be run names the places: a cure of the source leaves the bytes in others too.
    case = found.document["sweeps"][0]["counterexamples"][0]
    assert "--result '$10,$11'" in case["play"]


@pytest.mark.parametrize(
    ("turn", "end", "says"),
    [
        ("ror", "", "reverse order, Right in bit 7 and A in bit 0; what is judged"),
        ("rol", "lda pad1\n eor #$FF\n sta pad1", "complemented, 0 for a pressed one; what"),
        ("ror", "lda pad1\n eor #$FF\n sta pad1", "and A in bit 0, and complemented"),
    ],
)
def test_a_byte_that_is_turned_is_called_so(tmp_path, turn, end, says):
    turned = tmp_path / "turned.asm"
    turned.write_text(BOTH.format(turn=turn, port="$30", end=end))
    for result in (None, "pad1"):
        found = routine(turned, periods=[432], result=result)
        assert found.verdict == "wrong"
        assert says in found.lead
        assert found.document["result"] == (["A"] if end and result is None else [0x10])


@pytest.mark.parametrize("end", ["rts", "lda #0\n rts"])
def test_several_places_are_asked_about(tmp_path, end):
    """A and two more hold the byte, but only one of them is right when a read was stopped."""
    several = tmp_path / "several.asm"
    several.write_text(KEEPS.format(compare="cmp $01\n bne done\n sta buttons\n", end=end))
    with pytest.raises(RoutineError, match=r"only in \$0310 \(buttons\) is it never wrong; name"):
        routine(several)
    sheet = SHEET.read_text(encoding="utf-8").split("[poll]")[0]
    (tmp_path / "pad.toml").write_text(sheet + f'[poll]\nroutine = "{several}"\n')
    if end == "rts":
        verify(tmp_path / "pad.toml", "idle")  # a sheet takes A, as it always has
    else:
        with pytest.raises(SheetError, match=r"poll\.result"):
            verify(tmp_path / "pad.toml", "idle")


def test_a_sheet_says_that_its_routine_is_exposed_and_fails_if_its_policy_says_so(tmp_path):
    good = (ROOT / "sim" / "sheets" / "harbour-b.toml").read_text(encoding="utf-8")
    start = good.index("[poll]")
    rest = good[good.index("\n[", start) :] if "\n[" in good[start:] else ""
    sheet = f'{good[:start]}[poll]\nroutine = "{EXPOSED}"\n{rest}'
    path = tmp_path / "pad.toml"
    path.write_text(sheet, encoding="utf-8")
    told = verify(path, "idle")
    assert (told.verdict, told.word) == ("pass", "The pad passes.")
    assert "But the read routine is exposed: it hands on a wrong byte: with nothing" in told.lead
    assert "[policy]\n" in sheet
    path.write_text(sheet.replace("[policy]\n", '[policy]\nexposed-routine = "fail"\n'))
    failed = verify(path, "idle")
    assert failed.verdict == "fail"
    assert [one.id for one in failed.findings if one.verdict == "fail"] == ["routine.fetch"]


def test_the_findings_of_a_pad_are_port_by_port():
    result = sweep(sheet=SHEET)
    assert [finding.met.port for finding in result.findings] == ["push-pull", "pull-down-only"]
    for finding, pad in zip(result.findings, result.data, strict=True):
        assert finding.measured == pad.whole.wrong == -finding.margin > 0


def test_addresses_may_be_numbers_or_text_and_a_case_is_named_alike():
    commands = set()
    for ports in (("$4016", "$4017"), (0x4016, 0x4017), "$4016,$4017"):
        result = routine("read-once", ports=ports, periods=[432])
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
    assert result.lead == "110 592 of 258 048 cases were tried."
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


def test_exposed_phases_and_the_listing_are_in_the_document():
    document = routine("read-once", periods=[432]).document
    (sweep,) = document["sweeps"]
    reads = [one for one in document["listing"] if one["loses"]]
    assert [one["loses"] for one in reads] == [(bit,) for bit in range(1, 9)]
    # A request asks in the cycle before a read that it stops, or before the write ahead of that.
    assert len(sweep["exposed_phases"]) == len(reads)
    for phase, read in zip(sweep["exposed_phases"], reads, strict=True):
        assert 0 <= read["cycle"] - phase <= 2
    assert document["cures"] is None


def test_cures_are_written_as_patches(monkeypatch, tmp_path):
    cure = Cure("read-three-times", "reads thrice", "--- a\n+++ a\n", -1, 1, "detects")
    monkeypatch.setattr("padbench.jobs.routine.cures_of", lambda *_: [cure])
    result = routine("read-once", periods=[432], cures=tmp_path / "new")
    assert result.wrote == {"Patches": tmp_path / "new"}
    assert (tmp_path / "new" / "1-read-three-times.patch").read_text() == cure.patch
    assert result.document["cures"] == [asdict(cure)]
    text = " ".join(as_text(result, whole=False).split())
    assert "1-read-three-times.patch 1 cycle fewer, 1 line more; reads thrice" in text
    monkeypatch.setattr("padbench.jobs.routine.cures_of", lambda *_: 1 / 0)
    sound = routine("read-in-step", periods=[432], cures=tmp_path / "none")
    assert "Nothing is wrong with it, so no patch is offered." in as_text(sound, whole=False)
    assert not sound.wrote


def test_a_patch_has_the_ends_of_lines_of_its_file(tmp_path):
    source = load_routine("read-once").sources["read-once"]
    path = tmp_path / "mine.asm"
    before = source.replace("\n", "\r\n").encode()
    path.write_bytes(before)
    routine(path, periods=[432], cures=tmp_path / "new")
    patches = [*(tmp_path / "new").iterdir()]
    assert patches
    for patch in patches:
        path.write_bytes(before)
        subprocess.run(["git", "apply", "-p0", str(patch)], cwd=tmp_path, check=True)
        mended = path.read_bytes()
        assert mended != before
        assert mended.count(b"\n") == mended.count(b"\r\n")


def test_polls_in_several_lines_with_a_fetch():
    once, twice = (latency("read-once", line=at).document for at in (241, [241, 100]))
    assert twice["milliseconds"]["mean"] < once["milliseconds"]["mean"]
    assert (once["lines"], twice["lines"], twice["line"]) == ([241], [241, 100], 241)
    stopped = latency("read-once", line=[241, 100], period=432).document
    assert stopped["lost"] == pytest.approx(28 / 8 / 432)
    assert stopped["milliseconds"]["mean"] > twice["milliseconds"]["mean"]
    assert len(stopped["pictures"]) == 262
    with pytest.raises(ValueError, match="line 300 is outside"):
        latency("read-once", line=[241, 300])
    with pytest.raises(ValueError, match="no number of cycles"):
        latency("read-once", period=3)


IDLE = """first = $00
second = $01
        jsr read
        lda first
        ora second
        bne done
        {more}
done:   rts
"""


@pytest.mark.parametrize(
    ("shipped", "more", "verdict", "case"),
    [
        ("read-once-both", "inc first", "wrong", "idle"),
        ("read-until-agree-both", "jsr pass", "exposed", "nothing"),
    ],
)
def test_what_goes_wrong_only_with_nothing_held_on_both_pads_is_in_the_verdict(
    tmp_path, shipped, more, verdict, case
):
    """A sweep holds on the second pad what the first does not, and never meets that state."""
    path = tmp_path / "idle.asm"
    path.write_text(IDLE.format(more=more) + load_routine(shipped).sources[shipped])
    found = routine(path, periods=[432], result="first,second")
    assert (found.verdict, found.exit_code) == (verdict, 1)
    assert found.data.judgement.case == case
    assert "with nothing held on either pad" in found.lead
    (sweep,) = found.document["sweeps"]
    assert sweep["wrong_with_nothing"] > 0
    if case == "nothing":
        assert sweep["accepted_wrong"] == 0
    said = [says for one in found.cases["sweeps"] for says in one.failed]
    assert any("nothing held on either pad" in says for says in said)


WRITES_BACK = """port = $4016
read:   lda #1
        sta port
        sta $02
        lsr a
        sta port
loop:   lsr port
        rol $02
        bcc loop
        lda $02
        rts
"""


@pytest.mark.parametrize(
    ("source", "fault", "line", "says"),
    [
        (WRITES_BACK, "writes-back", 7, "7, loop: lsr port: it reads the port and writes back"),
        (WRITES_BACK.replace("lsr port", "ror port"), "writes-back", 7, "writes back to it"),
        (
            WRITES_BACK.replace("loop:   lsr port", " ldx #0\n sta port,x\nloop: lda port\n lsr a"),
            "dummy-read",
            8,
            "8, sta port,x: it reads the port, throws that away, and so clocks the pad",
        ),
        (WRITES_BACK.replace("lsr port", "lda port\n lsr a").replace("#1", "#3"), "", None, ""),
    ],
)
def test_an_instruction_that_does_more_at_the_port_than_it_seems_is_named(
    tmp_path, source, fault, line, says
):
    path = tmp_path / "mine.asm"
    path.write_text(source)
    result = routine(path, periods=[432])
    listing = result.document["listing"]
    assert {(one["fault"], one["line"]) for one in listing if one["fault"]} == (
        {(fault, line)} if fault else set()
    )
    shown = " ".join(as_text(result, whole=False).split())
    assert (result.verdict == "wrong", says in shown) == (True, True)
