"""The sprite copy: its length against a machine cycle by cycle; reads in step with it."""

import numpy as np
import pytest
import yardstick

from padbench.jobs.routine import routine as judged
from padbench.parts import console_timing
from padbench.results.text import as_text
from padbench.routines import fast
from padbench.routines.console import Console, SampleFetch, can_occur, copy_ends
from padbench.routines.run import run_case
from padbench.routines.source import load_routine, routine_from_source, shipped_source
from padbench.routines.stops import copies_end

CONSOLE = Console(console_timing("60hz"))


def cycle_by_cycle(now, requested, period):
    """Each bus cycle gets a byte, writes one or waits; bytes come in cycles that have no request.

    From memory: copy and fetch share the bus; a fetch waits two cycles and for one of that kind.
    """
    requests = iter(range(requested, requested + 10 * period, period))
    request, gets, held, at = next(requests), 0, False, now
    while True:
        at += 1
        get = (at - requested) % 2 == 1
        if request + 3 == at:  # the fetch gets its byte; the copy stands still
            assert get
            request = next(requests)
            held = False
        elif get and gets < 256:
            gets, held = gets + 1, True
        elif not get and held:
            held = False
            if gets == 256:
                # A fetch that is under way keeps the CPU until its byte is there.
                return request + 4 if request <= at else at + 1


@pytest.mark.parametrize("period", [432, 576, 3424])
def test_the_length_of_a_copy_is_that_of_a_machine_that_goes_cycle_by_cycle(period):
    now = 100
    ends = []
    for requested in range(now - 1, now - 1 + period):
        end, then = copy_ends(now, requested, period)
        assert end == cycle_by_cycle(now, requested, period), requested
        assert end <= then
        assert (then - requested) % period == 0
        ends.append((end, then))
    first = np.arange(now - 1, now - 1 + period)
    many = copies_end(np.full(period, now), first, np.full(period, period))
    assert list(zip(*map(np.ndarray.tolist, many), strict=True)) == ends
    assert copies_end(np.array([now]), np.array([1 << 62]), np.array([0]))[0] == [now + 513]


def test_reads_in_step_are_never_stopped_at_any_rate_in_any_phase_and_state():
    result = judged("read-in-step")
    assert (result.verdict, result.data.judgement.case) == ("immune", "in-step")
    assert [one.cases for one in result.data.sweeps] == [
        256 * period for period in CONSOLE.timing.fetch_periods
    ]
    assert not any(one.hit or one.corrupt or one.accepted_wrong for one in result.data.sweeps)
    assert result.data.base.most == 513 + 135 + 6  # a plain loop, LDA and STA, and the copy


def test_no_case_was_left_out_for_nothing():
    """Every phase of two rates, run cycle by cycle whatever the arithmetic says."""
    routine = load_routine("read-in-step")
    for period, held in ((432, 0), (576, 0x55)):
        for phase in range(period):
            run = run_case(routine, CONSOLE, held, fetch=SampleFetch(period, phase))
            assert run.results == (held,)
            assert not run.hit


def out_of_step(extra="lda $00\n"):
    source = shipped_source("read-in-step").replace("loop:\n", f"        {extra}loop:\n", 1)
    return routine_from_source(source, "late.asm")


@pytest.mark.parametrize("period", [432])
def test_an_odd_number_of_cycles_more_and_it_is_exposed(period):
    """And both engines, and single runs, say in how many cases."""
    late = out_of_step()
    counts = fast.sweep(late, CONSOLE, period)
    assert counts == yardstick.sweep(late, CONSOLE, period)
    runs = [run_case(late, CONSOLE, 0, fetch=SampleFetch(period, phase)) for phase in range(period)]
    assert counts.by_held[0] == sum(run.results != (0,) for run in runs) > 0
    assert counts.accepted_wrong > 0
    assert fast.sweep(out_of_step("nop\n"), CONSOLE, period).hit == 0


class Noted(SampleFetch):
    """Knows when its sprite copy was over."""

    def copied(self, now):
        self.end = super().copied(now)
        return self.end


def phases_after(delay, period):
    """Of a routine that copies, waits so many cycles and goes on: the phases with which it does."""
    wait = "nop\n" * (delay // 2 - 1) + "jmp on\non:" if delay % 2 else "nop\n" * (delay // 2)
    source = f"lda #2\nsta $4014\n{wait} lda $4016\n lda #0\nrts"
    routine = routine_from_source(source, "wait.asm")
    met = set()
    for phase in range(period):
        fetch = Noted(period, phase)
        stops = run_case(routine, CONSOLE, 0, fetch=fetch).stops
        begins = fetch.end + delay
        begins += sum(stop.stolen for stop in stops if fetch.end <= stop.at < begins)
        later = (stop.requested for stop in stops if stop.at >= begins)
        met.add(next(later, fetch.requested) - begins)
    return met


@pytest.mark.parametrize("delay", [4, 5, 38, 95])
def test_what_a_copy_leaves_possible_is_all_that_can_be_met_after_it(delay):
    period = 432
    met = phases_after(delay, period)
    possible = {phase for phase in range(period) if can_occur(phase, period, delay)}
    assert met <= possible
    sure = period - delay - 5
    assert {phase for phase in met if phase < sure} == {n for n in possible if n < sure}


def test_a_routine_that_is_called_in_step_is_known_and_what_cannot_occur_is_counted():
    in_step, late, anyhow = (
        judged("read-once", after_copy=delay, periods=[432, 576]) for delay in (20, 21, None)
    )
    assert (in_step.verdict, in_step.data.judgement.case) == ("immune", "in-step")
    for one, period in zip(in_step.document["sweeps"], (432, 576), strict=True):
        assert one["cases"] == 256 * period
        assert one["impossible"] == 256 * sum(
            not can_occur(phase, period, 20) for phase in range(period)
        )
        assert one["impossible"] > 256 * period // 3
    assert late.verdict == anyhow.verdict == "exposed"
    assert {one["impossible"] for one in anyhow.document["sweeps"]} == {0}
    # The same eight phases go wrong, of half as many: the risk is twice as large.
    risk, usual = late.document["risk"], anyhow.document["risk"]
    assert (usual["chance"], risk["chance"]) == (8 / 432, 16 / 432)
    # So it is for one that makes the copy itself, and is called in any phase.
    own = "lda #2\nsta $4014\njmp on\non:" + "nop\n" * 9 + shipped_source("read-once")
    counts = fast.sweep(routine_from_source(own, "own.asm"), CONSOLE, 432)
    assert counts.by_held[0] == 16
    text = as_text(late, whole=False)
    assert "cannot occur          122 368 more of 258 048, after the sprite copy" in text


@pytest.mark.parametrize("delay", [0, 7])
def test_both_engines_leave_the_same_phases_out(delay):
    console = Console(CONSOLE.timing, after_copy=delay)
    routine = load_routine("read-once")
    assert fast.sweep(routine, console, 432) == yardstick.sweep(routine, console, 432)


def test_a_fetch_of_an_odd_period_has_no_parity():
    assert all(can_occur(phase, 433, 0) for phase in range(433))
