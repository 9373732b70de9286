"""Cures are patches that apply, and the sweep of what they make is not exposed."""

import shutil
import subprocess
from pathlib import Path

import pytest

from padbench.jobs.routine_question import RoutineQuestion
from padbench.parts import console_timing
from padbench.routines import cures as module
from padbench.routines.console import Console
from padbench.routines.cures import cures
from padbench.routines.fast import Part, baseline_of_survey, count, survey
from padbench.routines.listing import listing
from padbench.routines.source import load_routine, routine_from_source

HZ60 = Console(console_timing("60hz"))
FEW = Console(HZ60.timing.model_copy(update={"fetch_periods": (576, 432)}))
EACH = Console(console_timing("60hz"), "each")
HZ50 = Console(console_timing("50hz"))
EXPOSED = Path(__file__).parent / "sources" / "read-twice-36.asm"
INDEXED = """port = $4016
read:   ldx #0
        lda #1
        sta $02
        sta port,x
        lsr a
        sta port
loop:   lda port
        lsr a
        rol $02
        lda #0
        sta port,x  ; reads the port first, and clocks the pad
        bcc loop
        lda $02
        rts
"""


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """Of a plain loop whose source has no line feed at its end; its byte is in memory only."""
    path = tmp_path_factory.mktemp("cures") / "mine.asm"
    text = load_routine("read-once").sources["read-once"]
    path.write_text(text[: text.index("; padbench: ")].replace("lda buttons", "lda #0").rstrip())
    question = RoutineQuestion(str(path))
    routine, _ = question.load()
    return path, cures(routine, FEW, question.loader(routine))


def test_cures_of_a_plain_loop_from_the_quickest_on(found):
    _, offered = found
    assert {one.name for one in offered} == {"until-two-agree", "read-three-times", "in-step"}
    assert [one.cycles for one in offered] == sorted(one.cycles for one in offered)
    assert {one.name: one.verdict for one in offered}["in-step"] == "immune"
    for one in offered:
        added = [line for line in one.patch.splitlines()[2:] if line[0] == "+"]
        taken = [line for line in one.patch.splitlines()[2:] if line[0] == "-"]
        assert len(added) - len(taken) == one.lines > 0


def test_each_patch_applies_and_what_it_makes_is_not_exposed(found, tmp_path):
    path, offered = found
    assert shutil.which("git"), "git is missing: apt-get install git"
    for one in offered:
        (tmp_path / path.name).write_text(path.read_text())
        applied = ["git", "apply", "-p0", "-"]
        subprocess.run(applied, input=one.patch.encode(), cwd=tmp_path, check=True)
        # It says itself where its result is: new code leaves the byte in more places than one.
        routine, _ = RoutineQuestion(str(tmp_path / path.name)).load()
        assert routine.results == (routine.labels["buttons"],)
        known = survey(routine, HZ60)
        base = baseline_of_survey(known)
        assert base.fault == ""
        assert (
            base.most - baseline_of_survey(survey(load_routine(str(path)), HZ60)).most == one.cycles
        )
        for period in (432, 576, 3424):
            counts = count(known, Part(period))
            assert counts.accepted_wrong == counts.never_settles == 0


def offered(text, console, monkeypatch, wanted):
    """Cures of these names only, since each takes a sweep."""
    changes = module._changes

    def some(*arguments):
        return (one for one in changes(*arguments) if one.name in wanted)

    monkeypatch.setattr(module, "_changes", some)
    routine = routine_from_source(text, "mine.asm")
    return cures(routine, console, lambda changed: routine_from_source(changed, "mine.asm"))


def test_passes_that_lose_a_bit_alike_are_put_apart(monkeypatch):
    wanted = ("longer-gap", "longer-loop")
    text = EXPOSED.read_text(encoding="utf-8")
    gap, loop = offered(text, FEW, monkeypatch, wanted)
    assert (gap.name, loop.name) == wanted
    assert gap.cycles < loop.cycles == 16 * int(loop.says.split()[0])
    assert "+        nop" in gap.patch


def test_a_store_with_an_index_that_reads_the_port_loses_the_index(monkeypatch):
    """A read too many for each bit; on a console whose fetch does no harm that is all."""
    wanted = ("store-without-index",)
    (cure,) = offered(INDEXED, HZ50, monkeypatch, wanted)
    assert (cure.lines, cure.verdict) == (0, "immune")
    assert "+        sta port  ; reads the port first" in cure.patch
    assert offered(INDEXED, FEW, monkeypatch, wanted) == []  # one pass is exposed all the same


def test_where_losing_the_index_is_not_enough_other_cures_lose_it_too(monkeypatch):
    (cure,) = offered(INDEXED, FEW, monkeypatch, ("in-step",))
    assert (cure.name, cure.verdict) == ("in-step", "immune")
    assert "+        sta port  ; reads the port first" in cure.patch
    assert cure.says.startswith("stores to the port without an index, and makes the sprite copy")


def test_nothing_is_offered_without_a_source(tmp_path):
    path = tmp_path / "mine.bin"
    path.write_bytes(load_routine("read-once").segments[0][1])
    routine = load_routine(str(path))
    assert cures(routine, HZ60, lambda _: routine) == []


def test_the_listing_says_which_bit_a_stop_loses():
    reads = [one for one in listing(load_routine("read-twice"), HZ60, 0) if one.loses]
    assert [one.loses for one in reads] == [(bit,) for bit in range(1, 9)] * 2
    assert {one.pass_number for one in reads[:8]} == {1}
    assert reads[8].stop == "a stop here loses bit 1 (A) of pass 2"
    assert (reads[0].source, reads[0].bus) == ("lda port", "reads $4016")
    each = [one.loses for one in listing(load_routine("read-once"), EACH, 0) if one.loses]
    assert each[0] == (1, 2, 3)
    assert each[-1] == (8,)
    assert not any(
        one.loses for one in listing(load_routine("read-once"), Console(console_timing("50hz")), 0)
    )
    (first, *_) = listing(routine_from_source(INDEXED, "mine.asm"), HZ60, 0)
    assert (first.bus, first.loses, first.line) == ("reads $4016 and throws it away", (), 5)


def test_two_results_are_both_compared(tmp_path):
    """Of the shipped one for both ports; each cure was swept before it is offered."""
    path = tmp_path / "both.asm"
    path.write_text(load_routine("read-once-both").sources["read-once-both"])
    question = RoutineQuestion(str(path), result="pad1,pad2")
    routine, _ = question.load()
    offered = {one.name: one for one in cures(routine, FEW, question.loader(routine))}
    agree = offered["until-two-agree"]
    assert agree.verdict == "detects"
    assert agree.patch.count("cmp $") == 2
    assert "in-step" in offered


def test_a_copy_on_the_wrong_parity_needs_three_cycles_more():
    source = """port = $4016
read:   lda #2
        sta $4014
        lda #1
        sta port
        sta $10
        lsr a
        sta port
        jmp *+3
loop:   lda port
        lsr a
        rol $10
        bcc loop
        rts
"""
    routine = routine_from_source(source, "mine.asm", result="$10")
    load = lambda changed: routine_from_source(changed, "mine.asm", result="$10")  # noqa: E731
    (cure,) = [one for one in cures(routine, FEW, load) if one.name == "in-step"]
    assert (cure.cycles, cure.lines, cure.verdict) == (3, 1, "immune")
    assert "         sta $4014\n+        jmp *+3 ; 3 cycles\n" in cure.patch


def test_a_routine_called_out_of_step_with_the_copy_is_put_in_step(monkeypatch):
    text = load_routine("read-once").sources["read-once"]
    late = Console(FEW.timing, after_copy=21)
    (cure,) = [
        one for one in offered(text, late, monkeypatch, ("in-step",)) if one.verdict == "immune"
    ]
    assert (cure.cycles, cure.lines) == (3, 1)
    assert offered(text, FEW, monkeypatch, ("in-step",))[0].cycles > 500  # makes the copy itself
