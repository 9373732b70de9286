"""Latency: the exact distribution against many presses tried one by one, and by hand."""

from fractions import Fraction

import numpy as np
import pytest
from yardstick import baseline_of

from padbench.parts import console_timing
from padbench.routines.console import Console
from padbench.routines.fast import lost_presses, survey
from padbench.routines.frames import where_in_frame
from padbench.routines.latency import LatencySetup, pictures_by_line, press_to_picture
from padbench.routines.looks import RoutineLooks, latch_moments
from padbench.routines.source import load_routine

HZ60, HZ50 = console_timing("60hz"), console_timing("50hz")
PRESSES = 200_000


class AllAgree:
    """Looks at fixed moments, all of which have to see a press (common practice)."""

    def __init__(self, moments):
        self.moments = moments

    def after(self, seen):
        if not all(seen):
            return False
        return True if len(seen) == len(self.moments) else self.moments[len(seen)]


def brute_force(setup: LatencySetup, seed: int) -> np.ndarray:
    """Delays of many presses, each followed poll by poll through a list of frames."""
    draw = np.random.default_rng(seed)
    timing = setup.timing
    long = float(timing.lines * timing.cycles_per_line)
    lengths = np.where(np.arange(400) % 2, long - float(timing.shortened_by), long)
    starts = np.concatenate([[0.0], np.cumsum(lengths)])
    line = float(timing.cycles_per_line)
    press = draw.uniform(starts[40], starts[40 + 2 * setup.every * 10], PRESSES)
    delay = np.full(PRESSES, np.nan)
    for frame in range(0, 300, setup.every):
        if not np.isnan(delay).any():
            break
        if starts[frame + setup.every] < starts[40]:
            continue
        for lines_in in sorted((at - timing.blanking_from) % timing.lines for at in setup.lines):
            sees = np.isnan(delay)
            for latch in setup.looks.moments:
                since = starts[frame] + lines_in * line + float(latch) - press
                lucky = draw.random(PRESSES) < float(setup.closed)
                sees &= (since >= 0) & ((since >= float(setup.bounce)) | lucky)
            if setup.lost:
                sees &= draw.random(PRESSES) >= float(setup.lost)
            shown = starts[frame + setup.processing]
            shown += (timing.lines - timing.blanking_from + setup.screen_line) * line
            delay[sees] = shown - press[sees]
    return delay


TWICE = latch_moments(baseline_of(load_routine("read-twice"), Console(HZ60)).longest)
ONCE = latch_moments(baseline_of(load_routine("read-once"), Console(HZ60)).longest)
BOUNCE = 5 * HZ60.clock / 1000

SETUPS = {
    "every frame": LatencySetup(HZ60, (241,), AllAgree(ONCE)),
    "bounce, read twice": LatencySetup(HZ60, (245,), AllAgree(TWICE), bounce=BOUNCE),
    "every fourth frame": LatencySetup(
        HZ60, (241,), AllAgree(TWICE), every=4, processing=2, bounce=BOUNCE, screen_line=0
    ),
    "read in the picture, 50 Hz": LatencySetup(
        HZ50, (100,), AllAgree(ONCE), every=3, bounce=BOUNCE * 20, closed=Fraction(1, 3)
    ),
    "twice a frame": LatencySetup(HZ60, (241, 100), AllAgree(TWICE), bounce=BOUNCE),
    "some are lost": LatencySetup(
        HZ60, (241, 100), AllAgree(TWICE), bounce=BOUNCE, lost=Fraction(1, 16)
    ),
    "never lucky": LatencySetup(HZ60, (0,), AllAgree(TWICE), bounce=BOUNCE, closed=Fraction(0)),
}


UNTIL = RoutineLooks(load_routine("read-until-agree"), Console(HZ60))
DEEP = 30
"""Passes of one poll, at most; chatter of 5 ms is over before."""


def until_agree(press: np.ndarray, begin: float, setup: LatencySetup, draw) -> np.ndarray:
    """Which presses a poll acts on that reads until two passes in a row agree."""
    acts = np.zeros(len(press), bool)
    # A poll that is over before all presses, or begins after all chatter, need not be followed.
    going = np.flatnonzero(press < begin + float(UNTIL_MOMENTS[-1]))
    before = None
    for moment in UNTIL_MOMENTS:
        since = begin + float(moment) - press[going]
        lucky = draw.random(len(going)) < float(setup.closed)
        closed = (since >= 0) & ((since >= float(setup.bounce)) | lucky)
        if before is not None:
            agree = closed == before
            acts[going[agree & closed]] = True
            going, closed = going[~agree], closed[~agree]
        before = closed
    assert not len(going)
    return acts


UNTIL_MOMENTS = [UNTIL.after(tuple(n % 2 == 1 for n in range(count))) for count in range(DEEP)]


def test_a_routine_that_reads_until_two_passes_agree_is_not_taken_for_read_twice():
    setup = LatencySetup(HZ60, (241,), UNTIL, bounce=BOUNCE)
    exact = press_to_picture(setup)
    draw = np.random.default_rng(5)
    long = float(HZ60.lines * HZ60.cycles_per_line)
    starts = [n * long - n // 2 * float(HZ60.shortened_by) for n in range(6)]
    press = draw.uniform(starts[1], starts[3], PRESSES)
    delay = np.full(PRESSES, np.nan)
    for frame in range(1, 5):
        waits = np.flatnonzero(np.isnan(delay))
        acts = waits[until_agree(press[waits], starts[frame], setup, draw)]
        shown = starts[frame + 1] + (HZ60.lines - 241 + 120) * float(HZ60.cycles_per_line)
        delay[acts] = shown - press[acts]
    tried = np.sort(delay)
    assert not np.isnan(tried[-1])
    corners = np.array([[float(at), float(share)] for at, share in exact.corners])
    shares = np.interp(tried, corners[:, 0], corners[:, 1])
    assert np.abs(shares - np.arange(1, PRESSES + 1) / PRESSES).max() < 1.95 / PRESSES**0.5
    agreed = press_to_picture(LatencySetup(HZ60, (241,), AllAgree(TWICE), bounce=BOUNCE))
    assert exact.mean < agreed.mean - HZ60.frame_cycles / 20


def test_the_shipped_read_twice_wants_both_passes():
    looks = RoutineLooks(load_routine("read-twice"), Console(HZ60))
    typed = AllAgree(TWICE)
    ends = [(first, second) for first in (False, True) for second in (False, True)]
    assert [looks.after(end) for end in ends] == [typed.after(end) for end in ends]
    assert [looks.after(seen) for seen in [(), (True,)]] == list(TWICE)
    assert looks.sees_a_press()


@pytest.mark.parametrize("name", SETUPS)
def test_the_distribution_is_that_of_many_presses(name):
    setup = SETUPS[name]
    exact = press_to_picture(setup)
    tried = np.sort(brute_force(setup, seed=len(name)))
    assert not np.isnan(tried[-1])
    assert sum(stretch.share for stretch in exact.stretches) == 1
    corners = np.array([[float(at), float(share)] for at, share in exact.corners])
    shares = np.interp(tried, corners[:, 0], corners[:, 1])
    # Kolmogorov and Smirnov: 1.95 / sqrt(n) is passed once in a thousand; the seed is fixed.
    assert np.abs(shares - np.arange(1, PRESSES + 1) / PRESSES).max() < 1.95 / PRESSES**0.5
    frame = float(setup.timing.frame_cycles)
    assert tried.mean() == pytest.approx(float(exact.mean), abs=0.004 * frame)
    assert float(exact.smallest) <= tried[0] <= float(exact.smallest) + 0.01 * frame
    assert tried[-1] <= float(exact.largest) + 1e-6
    assert setup.lost or float(exact.largest) - 0.05 * frame <= tried[-1]
    for percent in (1, 50, 90, 99):
        within = (tried <= float(exact.percentile(percent))).mean()
        assert within == pytest.approx(percent / 100, abs=0.004)


def test_by_hand_without_bounce():
    """Read at the start of blanking, seen 21 + 120 lines into the next frame."""
    setup = LatencySetup(HZ50, (241,), AllAgree((Fraction(0),)), screen_line=120)
    delays = press_to_picture(setup)
    lines = HZ50.lines - 241 + 120
    seen = HZ50.frame_cycles + lines * HZ50.cycles_per_line
    assert delays.smallest == seen
    assert delays.largest == seen + HZ50.frame_cycles
    assert delays.mean == delays.percentile(50) == seen + HZ50.frame_cycles / 2
    assert delays.percentile(0) == seen
    assert delays.percentile(100) == delays.largest


def test_a_press_just_after_the_read_waits_a_whole_period_more():
    """Common practice, no source."""
    for every in (1, 2, 4):
        delays = press_to_picture(LatencySetup(HZ50, (241,), AllAgree((Fraction(0),)), every))
        assert delays.largest - delays.smallest == every * HZ50.frame_cycles


def test_reading_twice_costs_those_who_press_between_the_passes_and_no_others():
    once = press_to_picture(LatencySetup(HZ50, (241,), AllAgree((Fraction(100),))))
    twice = press_to_picture(LatencySetup(HZ50, (241,), AllAgree((Fraction(100), Fraction(300)))))
    assert twice.smallest == once.smallest
    assert twice.mean == once.mean


def test_where_a_read_lies_in_the_frame():
    span = where_in_frame(HZ60, 261, 135)
    assert (span.first_line, span.last_line, span.wraps) == (261, 0, True)
    assert span.blanking
    assert span.picture
    between = where_in_frame(HZ60, 240, 100)
    assert not between.blanking
    assert not between.picture
    assert where_in_frame(HZ50, 100, 1).picture
    assert where_in_frame(HZ60, 0, 40_000).last_line == 40_000 * 3 // 341 % 262
    with pytest.raises(ValueError):
        where_in_frame(HZ60, 262, 1)


def test_presses_by_line_and_picture():
    """Polled in lines 241 and 100; who presses after line 100 has two polls for one picture."""
    for lost in (Fraction(0), Fraction(1, 4)):
        delays = press_to_picture(
            LatencySetup(HZ50, (241, 100), AllAgree((Fraction(0),)), lost=lost)
        )
        shares = pictures_by_line(delays, HZ50)
        assert len(shares) == HZ50.lines
        for line, there in enumerate(shares):
            assert sum(there.values()) == pytest.approx(1)
            first, polls = (2, 1) if line < 100 or line >= 241 else (3, 2)
            assert there[first] == pytest.approx(float(1 - lost**polls))


def test_a_fetch_loses_presses_of_a_plain_loop_as_arithmetic_says():
    """A stop in one of the reads up to the button's own; what comes in at the end is Right."""
    console = Console(HZ60)
    once = survey(load_routine("read-once"), console)
    assert lost_presses(once, 432) == Fraction(sum(range(1, 8)), 8 * 432)
    assert lost_presses(survey(load_routine("read-until-agree"), console), 432) == 0
