"""Answers on the data line: on hand-made waves just below, at and above each limit."""

import pytest

from padbench.core.answering import SystemClock, judge_answers
from padbench.core.findings import Source
from padbench.core.limits import Limit
from padbench.core.timeline import Timeline, Wire, Word

NS = 1_000


def wave(*data: tuple[int, int], inputs: tuple[tuple[int, int], ...] = ((0, 1),)) -> Timeline:
    """Load from 100 to 300 ns, clock low from 400 to 500 ns; one stage; data as given (ns)."""
    return Timeline(
        1_000 * NS,
        {
            "pad.load": Wire.of([(0, 0), (100 * NS, 1), (300 * NS, 0)]),
            "pad.clock": Wire.of([(0, 1), (400 * NS, 0), (500 * NS, 1)]),
            "cable.data": Wire.of((at * NS, level) for at, level in data),
        },
        {"pad.inputs": Word.of(1, [(at * NS, level) for at, level in inputs])},
    )


def judge(timeline, **options):
    found = judge_answers(timeline, window=100 * NS, **options)
    return {one.id: one for one in found}


SOUND = ((0, 0), (150, 1), (550, 0))


def test_a_sound_answer_passes_everything():
    found = judge(wave(*SOUND), answer=Limit(50 * NS, (Source("the test", "assumed"),)))
    assert found["data.glitch"].verdict == "pass"
    assert found["data.transparent"].verdict == "pass"
    assert found["data.answer"].verdict == "pass"
    assert found["data.synchroniser"].verdict == "not-judged"


@pytest.mark.parametrize(
    "data",
    [
        ((0, 0), (150, 1), (160, 0), (170, 1), (550, 0)),  # twice more for one latch
        ((0, 0), (150, 1), (400, 0)),  # with the falling clock edge
    ],
)
def test_a_change_without_a_reason_is_a_glitch(data):
    found = judge(wave(*data))["data.glitch"]
    assert found.verdict == "fail"
    assert found.measured == len(data) - 3 + (len(data) == 3)


def test_a_late_change_is_late_and_no_glitch():
    found = judge(
        wave((0, 0), (290, 1), (550, 0)), answer=Limit(50 * NS, (Source("the test", "assumed"),))
    )
    assert found["data.glitch"].verdict == "pass"
    assert (found["data.answer"].verdict, found["data.answer"].measured) == ("fail", 190.0)


@pytest.mark.parametrize(("limit", "verdict"), [(49_999, "fail"), (50_000, "pass")])
def test_the_promised_time_is_held_to_the_picosecond(limit, verdict):
    assert (
        judge(wave(*SOUND), answer=Limit(limit, (Source("", "assumed"),)))["data.answer"].verdict
        == verdict
    )


def test_not_transparent_while_latched():
    found = judge(wave((0, 0), (310, 1), (550, 0)))["data.transparent"]
    assert (found.verdict, found.measured) == ("fail", 1)


def test_an_input_that_moves_in_the_load_is_followed():
    moves = ((0, 1), (180, 0))
    followed = wave((0, 0), (110, 1), (190, 0), inputs=moves)
    ignored = wave((0, 0), (110, 1), (550, 0), inputs=moves)
    assert judge(followed)["data.transparent"].verdict == "pass"
    assert judge(ignored)["data.transparent"].verdict == "fail"


@pytest.mark.parametrize(("at", "edges", "verdict"), [(549, 2, "fail"), (550, 3, "pass")])
def test_a_change_before_the_third_edge_has_not_passed_two_flip_flops(at, edges, verdict):
    clock = SystemClock(rise=10 * NS, period=20 * NS)  # edges at 510, 530, 550 ns
    data = ((0, 0), (150, 1), (at, 0))
    found = judge(wave(*data), clock=clock, flip_flops=2)["data.synchroniser"]
    assert (found.measured, found.limit, found.verdict) == (edges, 3, verdict)
