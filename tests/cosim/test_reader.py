"""What a reader offers, judged from a record made by hand: data first, words last."""

from dataclasses import replace

import numpy as np
import pytest

from padbench.core.decode import Read
from padbench.core.findings import Source
from padbench.core.limits import Limit
from padbench.core.stimulus import PollTiming
from padbench.core.timeline import Wire
from padbench.cosim.job import Poll, ReaderRun
from padbench.cosim.reader import judge_pace, strobe_problems
from padbench.scenarios import Expected

US = 1_000_000
A, RIGHT = 0x80, 0x01
LOW = Wire.from_arrays([0], np.zeros(1, np.uint8))


def bits(byte: int) -> tuple[bool, ...]:
    return tuple(bool(byte & 128 >> place) for place in range(8))


def read(start: int, byte: int) -> Read:
    rises = tuple(start + (2 + n) * US for n in range(8))
    falls = tuple(rise - US // 2 for rise in rises)
    return Read(start, start + US, falls, rises, rises, bits(byte), cut_short=False)


def problems(held, strobes, *, passes=1, reset=None, kept=(), cleared=(), valid=LOW, **promises):
    """One poll at 10 µs, whose passes read ``held`` one after the other, and what was offered."""
    run = ReaderRun("x", 0, passes, 0, [Poll([], 0, [], [], 0, reset=reset)])
    base = 5 * US
    record = {
        "base": base,
        "end": base + 100 * US,
        "polls": [base + 10 * US],
        "strobes": [(base + 50 * US + place, byte) for place, byte in enumerate(strobes)],
        "kept": [(base + at, byte) for at, byte in kept],
        "cleared": list(cleared),
    }
    reads = [read((11 + 15 * turn) * US, byte) for turn, byte in enumerate(held)]
    expected = [Expected(bits(byte), 8, byte) for byte in held]
    promises = {"released": False, "keeps": False} | promises
    return [*strobe_problems(run, record, expected, reads, valid, **promises)]


def test_what_was_read_is_offered_once():
    assert problems([A], [A]) == []
    assert problems([A, A], [A], passes=2) == []
    assert problems([A, RIGHT], [], passes=2) == []


@pytest.mark.parametrize(
    ("held", "strobes", "fault", "expected", "got", "says"),
    [
        ([A], [RIGHT], "offer", A, RIGHT, "poll 1: it offers Right, expected A"),
        ([A], [], "offer", A, None, "poll 1: it offers no byte, expected A"),
        ([A], [None], "offer", A, None, "poll 1: it offers an unknown byte, expected A"),
        ([0], [0, A], "offer", 0, A, "poll 1: it offers nothing, A, expected nothing"),
        (
            [A, RIGHT],
            [A],
            "differ",
            None,
            A,
            "poll 1: it offers A, expected nothing, as its reads differ",
        ),
    ],
)
def test_a_wrong_offer_has_its_bytes_its_poll_and_its_moment(
    held, strobes, fault, expected, got, says
):
    (problem,) = problems(held, strobes, passes=len(held))
    assert (problem.fault, problem.expected, problem.got) == (fault, expected, got)
    assert (problem.at, problem.read, problem.offers) == (10 * US, 1, True)
    assert problem.says == says


def test_an_offer_after_a_reset_and_what_shows_there():
    (offer, shown) = problems([], [A], reset=(1, 1), cleared=[A, None], released=True)
    assert offer.says == "poll 1: it offers A, expected nothing, as it was reset"
    assert (shown.fault, shown.offers) == ("shown", False)
    assert "shows A, an unknown byte, nothing pressed was promised" in shown.says
    assert problems([], [], reset=(1, 1), cleared=[A]) == []  # not promised


def test_a_byte_that_does_not_stand_and_a_valid_that_does():
    (gone,) = problems([A], [A], kept=[(60 * US, 0)], keeps=True)
    assert (gone.fault, gone.at) == ("let-go", 60 * US)
    assert gone.says == "the byte offered before has become nothing"
    high = Wire.from_arrays([0], np.ones(1, np.uint8))
    (always,) = problems([A, A], [A], passes=2, valid=high)
    assert always.fault == "high"


def test_pace_is_the_width_that_is_furthest_off():
    timing = PollTiming(US, US // 2, US // 2, US // 2, US // 2)
    within = Limit(US // 10, (Source("the sheet, hdl.pace", "given"),))
    assert judge_pace([read(0, A)], timing, within).verdict == "pass"
    assert judge_pace([], timing, within).verdict == "not-judged"
    wide = replace(read(20 * US + US // 4, A), start_ps=20 * US)  # all but its begin comes late
    finding = judge_pace([read(0, A), wide], timing, within)
    assert (finding.verdict, finding.met.at_ps) == ("fail", 20 * US)
    assert finding.measured == pytest.approx(0.25e-6)
    assert finding.margin == pytest.approx(-0.15e-6)
    assert finding.says == "what differs most from the sheet's poll is the latch, by 250 ns"
