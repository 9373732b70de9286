"""The plain engine against the long way: every case it does not run is what a run would give."""

import random

import pytest
import yardstick
from yardstick import reads_ahead, stops_of

from padbench.parts import console_timing
from padbench.routines.console import Console, SampleFetch
from padbench.routines.routine import RoutineError
from padbench.routines.run import held_by, run_case, undisturbed
from padbench.routines.source import SHIPPED, load_routine, routine_from_source

HZ60 = console_timing("60hz")
JOINED, EACH = Console(HZ60), Console(HZ60, "each")


@pytest.mark.parametrize("name", SHIPPED)
@pytest.mark.parametrize("console", [JOINED, EACH], ids=["joined", "each"])
def test_shipped_routines_read_every_state_undisturbed(name, console):
    routine = load_routine(name)
    for held in range(0, 256, 5):
        run = undisturbed(routine, console, held)
        assert run.results == tuple(held_by(port, held) for port in range(len(routine.results)))
        assert run.wrong_pass(held) is None
        assert not run.hit


@pytest.mark.parametrize("name", ["read-twice", "read-once-both", "read-until-agree"])
def test_stops_by_arithmetic_are_the_stops_on_the_bus(name):
    """Up to the first stop in a port read; a case without one ends as the undisturbed run."""
    draw = random.Random(name)
    routine = load_routine(name)
    calm = undisturbed(routine, JOINED, 0x5A)
    ahead = reads_ahead(calm.kinds)
    for _ in range(150):
        period = draw.choice([8, 9, 33, 100, 432, 576])
        phase = draw.randrange(period)
        run = run_case(routine, JOINED, 0x5A, fetch=SampleFetch(period, phase))
        stolen = 0
        for stop, (place, taken) in zip(
            run.stops, stops_of(calm.kinds, ahead, period, phase), strict=run.hit is False
        ):
            assert (stop.at, stop.stolen) == (place + stolen, taken)
            stolen += taken
            if calm.kinds[place] > 1:
                assert run.hit
                break
        else:
            assert not run.hit
            assert (run.results, run.passes[0][0].byte) == (calm.results, 0x5A)
            assert run.cycles == calm.cycles + stolen


@pytest.mark.parametrize(
    ("name", "console", "period"),
    [("read-once", EACH, 45), ("read-twice", JOINED, 100), ("read-until-agree", JOINED, 61)],
)
def test_a_whole_sweep_is_what_all_cases_give_one_by_one(name, console, period, monkeypatch):
    """Short periods, so that fetches hit again and again; fewer states, for time."""
    monkeypatch.setattr("yardstick.STATES", 6)
    routine, limit = load_routine(name), 3000
    counts = yardstick.sweep(routine, console, period, limit=limit)
    hit = corrupt = wrong = never = 0
    first = {}
    for held in range(6):
        for phase in range(period):
            run = run_case(routine, console, held, fetch=SampleFetch(period, phase), limit=limit)
            hit += run.hit
            spoilt = run.wrong_pass(held) is not None
            accepted = run.finished and run.results[0] != held
            corrupt += spoilt
            wrong += accepted
            never += not run.finished
            for kind, found in (
                ("accepted_wrong", accepted),
                ("never_settles", not run.finished),
                ("corrupt", spoilt),
            ):
                if found:
                    first.setdefault(kind, (held, phase))
    assert (counts.hit, counts.corrupt) == (hit, corrupt)
    assert (counts.accepted_wrong, counts.never_settles) == (wrong, never)
    example = counts.counterexample
    assert example is not None
    assert example.kind == next(
        k for k in ("accepted_wrong", "never_settles", "corrupt") if k in first
    )
    assert first[example.kind] == (example.held, example.phase)


def test_a_fetch_too_frequent_for_agreement_never_settles(monkeypatch):
    """Passes stopped at places that differ, on and on. No console fetches that often."""
    monkeypatch.setattr("yardstick.STATES", 1)
    routine = load_routine("read-until-agree")
    counts = yardstick.sweep(routine, JOINED, 65, limit=3000)
    assert counts.never_settles > 0


def test_a_routine_that_is_wrong_by_itself_is_wrong_in_every_case(monkeypatch):
    monkeypatch.setattr("yardstick.STATES", 3)
    routine = routine_from_source("lda #2\nrts", "two.asm")
    counts = yardstick.sweep(routine, JOINED, 432)
    assert (counts.accepted_wrong, counts.hit, counts.corrupt) == (2 * 432, 0, 0)
    assert counts.counterexample is not None
    assert (counts.counterexample.held, counts.counterexample.phase) == (0, 0)


def test_kept_old_tells_the_old_byte_from_the_right_one(monkeypatch):
    """Read twice keeps what stood there; read until agree reads the right one. Both are right."""
    monkeypatch.setattr("yardstick.STATES", 4)
    twice = yardstick.sweep(load_routine("read-twice"), JOINED, 432)
    until = yardstick.sweep(load_routine("read-until-agree"), JOINED, 432)
    assert twice.corrupt == twice.kept_old > 0
    assert until.corrupt > until.kept_old == 0


def test_a_second_pad_is_judged_too():
    """A routine that takes the second pad's bits for the first's is found out."""
    source = (
        "lda #1\nsta $4016\nsta 0\nlsr a\nsta $4016\nl: lda $4017\nlsr a\nrol 0\nbcc l\nlda 0\nrts"
    )
    run = undisturbed(routine_from_source(source, "mixed.asm"), JOINED, 0x0F)
    assert run.results == (0xF0,)


@pytest.mark.parametrize(
    ("source", "says"),
    [
        ("l: jmp l", "has not come back after 29780 cycles"),
        ("lda #1\nsta $4016\nl: lda $4016\nlsr a\nbcc l\nrts", "held: 00000000"),
        ("jmp $9000", "is jumped to and is no part of the routine"),
        ("brk", "is jumped to"),
        (".byte $02", "is not a documented opcode"),
        (".byte $ad, $16", "runs over the end"),
    ],
)
def test_routines_that_cannot_be_run(source, says):
    with pytest.raises(RoutineError, match=r"test\.asm") as caught:
        yardstick.sweep(routine_from_source("\n" + source, "test.asm"), JOINED, 432)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_code_that_changes_itself_is_seen_as_changed():
    """Writes an undocumented opcode over its own next instruction."""
    source = "lda #2\nsta next\nnext: rts"
    with pytest.raises(RoutineError, match=r"\$02 at \$8005 is not a documented opcode"):
        undisturbed(routine_from_source(source, "self.asm"), JOINED, 0)
