"""Answers on the data line where `test_rule_matrix` does not look: which change answers what."""

import pytest
from handmade import ps

from padbench.core.answering import SystemClock, judge_answers
from padbench.core.findings import Source
from padbench.core.limits import Limit
from padbench.core.timeline import Timeline, Wire, Word

NS = 1_000
PROMISED = Limit(50 * NS, (Source("the test", "assumed"),))


def wave(
    *data: tuple[int, int],
    inputs: tuple[tuple[int, int | None], ...] = ((0, 1),),
    load: tuple[tuple[int, int], ...] = ((0, 0), (100, 1), (300, 0)),
    clock: tuple[tuple[int, int], ...] = ((0, 1), (400, 0), (500, 1)),
) -> Timeline:
    """Load from 100 to 300 ns, clock low from 400 to 500 ns; one stage; all as given in ns."""
    return Timeline(
        1_000 * NS,
        {
            "pad.load": Wire.of((at * NS, level) for at, level in load),
            "pad.clock": Wire.of((at * NS, level) for at, level in clock),
            "cable.data": Wire.of((at * NS, level) for at, level in data),
        },
        {"pad.inputs": Word.of(1, [(at * NS, level) for at, level in inputs])},
    )


def judge(timeline, window=100 * NS, **options):
    return {one.id: one for one in judge_answers(timeline, window=window, **options)}


SOUND = ((0, 0), (150, 1), (550, 0))


def test_a_sound_answer_passes_everything():
    found = judge(wave(*SOUND), answer=PROMISED)
    assert found["data.glitch"].verdict == "pass"
    assert found["data.transparent"].verdict == "pass"
    assert found["data.answer"].verdict == "pass"
    assert found["data.answer"].sources == PROMISED.sources
    assert found["data.synchroniser"].verdict == "not-judged"


@pytest.mark.parametrize(
    ("data", "at", "count"),
    [
        (((0, 0), (150, 1), (160, 0), (170, 1), (550, 0)), 160, 2),  # twice more for one latch
        (((0, 0), (150, 1), (400, 0)), 400, 1),  # with the falling clock edge
        (((0, 1), (99, 0), (150, 1), (550, 0)), None, 0),  # before the first latch is no matter
        (((0, 1), (100, 0), (150, 1), (550, 0)), 150, 1),  # at once, and once more
    ],
)
def test_a_change_without_a_reason_is_a_glitch(data, at, count):
    glitch = judge(wave(*data))["data.glitch"]
    assert (glitch.verdict, glitch.measured) == ("fail" if count else "pass", count)
    assert (glitch.limit, glitch.margin) == (0, -count)
    assert glitch.met.at_ps == (at and at * NS)


def test_a_clock_while_the_load_is_on_is_no_reason():
    loading = ((0, 0), (100, 1), (600, 0))
    found = judge(wave(*SOUND, load=loading))
    assert (found["data.glitch"].verdict, found["data.glitch"].met.at_ps) == ("fail", 550 * NS)


def test_a_clock_as_the_load_ends_shifts_and_is_a_reason():
    """One as it begins does not: the load itself is the reason then, and the only one."""
    ends = wave((0, 0), (150, 1), (550, 0), load=((0, 0), (100, 1), (500, 0)))
    assert judge(ends)["data.glitch"].verdict == "pass"
    begins = wave((0, 0), (550, 1), (560, 0), load=((0, 0), (500, 1), (800, 0)))
    assert judge(begins)["data.glitch"].measured == 1


def test_a_change_between_two_loads_needs_a_reason_as_well():
    twice = ((0, 0), (100, 1), (300, 0), (800, 1), (900, 0))
    found = judge(wave((0, 0), (150, 1), (550, 0), (700, 1), load=twice))["data.glitch"]
    assert (found.verdict, found.met.at_ps) == ("fail", 700 * NS)


def test_a_late_change_is_late_and_no_glitch():
    found = judge(wave((0, 0), (290, 1), (550, 0)), answer=PROMISED)
    assert found["data.glitch"].verdict == "pass"
    late = found["data.answer"]
    assert (late.verdict, ps(late.measured), ps(late.margin)) == ("fail", 190 * NS, -140 * NS)
    assert late.met.at_ps == 100 * NS


@pytest.mark.parametrize(("at", "reason"), [(600, 100), (601, 500)])
def test_of_two_reasons_within_the_window_the_older_one_is_answered(at, reason):
    """The latch's own answer never came; a window of 500 ns ends at 600."""
    found = judge(wave((0, 0), (at, 1)), window=500 * NS, answer=PROMISED)
    assert found["data.answer"].met.at_ps == reason * NS


def test_a_latch_that_had_nothing_to_change_is_not_what_a_move_in_it_answers():
    """The line shows the input when the latch comes; the input moves 80 ns later."""
    moved = wave((0, 1), (190, 0), inputs=((0, 1), (180, 0)))
    assert judge(moved, answer=PROMISED)["data.answer"].met.at_ps == 180 * NS


def test_of_reasons_that_all_lie_too_far_back_the_last_one_is_late():
    found = judge(wave((0, 0), (650, 1)), answer=PROMISED)
    assert found["data.answer"].met.at_ps == 500 * NS


def test_what_is_not_answered_is_not_judged_and_says_why():
    assert judge(wave(*SOUND))["data.answer"].case == "unpromised"
    assert judge(wave((0, 0)), answer=PROMISED)["data.answer"].case == "unmoved"


def test_inputs_that_the_timeline_lacks_are_no_reason():
    timeline = wave(*SOUND)
    bare = Timeline(timeline.end_ps, timeline.wires)
    found = judge(bare, window=500 * NS, answer=PROMISED)
    assert found["data.answer"].met.at_ps == 100 * NS
    assert found["data.transparent"].says == "the timeline does not show pad.inputs"


def test_a_reason_is_used_up_by_its_change():
    """Two changes, two reasons: the second change does not get the latch once more."""
    found = judge(wave((0, 0), (550, 1), (560, 0)), window=500 * NS, answer=PROMISED)
    assert found["data.glitch"].verdict == "pass"
    assert ps(found["data.answer"].measured) == 450 * NS


@pytest.mark.parametrize(("limit", "verdict"), [(49_999, "fail"), (50_000, "pass")])
def test_the_promised_time_is_held_to_the_picosecond(limit, verdict):
    assert judge(wave(*SOUND), answer=Limit(limit, ()))["data.answer"].verdict == verdict


def test_not_transparent_while_latched():
    found = judge(wave((0, 0), (310, 1), (550, 0)))["data.transparent"]
    assert (found.verdict, found.measured, found.limit, found.margin) == ("fail", 1, 0, -1)
    assert found.met.at_ps == 300 * NS
    assert "in 1 of 1 latches" in found.says


@pytest.mark.parametrize(("window", "verdict"), [(199_999, "fail"), (200_000, "not-judged")])
def test_a_load_no_longer_than_the_answer_may_take_shows_nothing(window, verdict):
    dead = wave((0, 0), (310, 1), (550, 0))
    assert judge(dead, window=window)["data.transparent"].verdict == verdict


def test_a_load_that_lasts_to_the_end_is_looked_at_there():
    loading = ((0, 0), (100, 1))
    found = judge(wave((0, 0), (900, 1), load=loading))
    assert found["data.transparent"].verdict == found["data.glitch"].verdict == "pass"
    dead = judge(wave((0, 0), (1000, 1), load=loading))["data.transparent"]
    assert (dead.verdict, dead.met.at_ps) == ("fail", 1_000 * NS)


def test_every_load_is_looked_at_and_the_first_that_is_wrong_is_shown():
    """The second lasts to the end; a third that begins there shows nothing."""
    twice = ((0, 0), (100, 1), (300, 0), (600, 1))
    for data, at in ((((0, 1), (700, 0)), 1_000), (((0, 0),), 300)):
        found = judge(wave(*data, load=twice))["data.transparent"]
        assert (found.verdict, found.met.at_ps) == ("fail", at * NS)
    thrice = ((0, 0), (100, 1), (300, 0), (600, 1), (900, 0), (1_000, 1))
    assert judge(wave((0, 1), load=thrice))["data.transparent"].facts["looks"] == 2


def test_an_input_that_moves_as_the_load_ends_is_not_looked_at_any_more():
    moved = wave((0, 0), (150, 1), inputs=((0, 1), (300, 0)))
    assert judge(moved)["data.transparent"].facts == {"wrong": 0, "looks": 1}


def test_an_input_that_moves_in_the_load_is_followed():
    moves = ((0, 1), (180, 0))
    followed = wave((0, 0), (110, 1), (190, 0), inputs=moves)
    ignored = wave((0, 0), (110, 1), (550, 0), inputs=moves)
    assert judge(followed)["data.transparent"].verdict == "pass"
    assert judge(followed)["data.glitch"].verdict == "pass"
    # Looked at before the move and at the end, if the answer takes no more than 50 ns.
    assert judge(followed, window=50 * NS)["data.transparent"].facts == {"wrong": 0, "looks": 2}
    assert judge(ignored)["data.transparent"].verdict == "fail"


@pytest.mark.parametrize(
    ("at", "verdict"),
    [(99, "fail"), (100, "pass"), (300, "pass"), (301, "fail")],
)
def test_an_input_that_moves_outside_the_load_is_no_reason(at, verdict):
    """From its rise to its fall, both included: each has a reason of its own then, or the move."""
    moving = wave((0, 1), (150, 0), (302, 1), (550, 0), inputs=((0, 1), (at, 0)))
    assert judge(moving)["data.glitch"].verdict == verdict


def test_only_the_last_stage_reaches_the_line_while_latched():
    """Of two stages the second is read first; the other one moves at 200 ns."""
    timeline = wave((0, 1), (150, 0), (210, 1), (220, 0), (550, 1))
    other = {"pad.inputs": Word.of(2, [(0, 0b01), (200 * NS, 0b00)])}
    last = {"pad.inputs": Word.of(2, [(0, 0b01), (200 * NS, 0b11)])}
    changed = [Timeline(timeline.end_ps, timeline.wires, words) for words in (other, last)]
    assert [judge(one)["data.glitch"].measured for one in changed] == [2, 1]
    assert [judge(one)["data.transparent"].verdict for one in changed] == ["pass", "not-judged"]
    pressed = Timeline(1_000 * NS, wave(*SOUND).wires, {"pad.inputs": Word.of(2, [(0, 0b10)])})
    assert judge(pressed)["data.transparent"].verdict == "pass"


def test_inputs_that_nobody_knows_are_not_looked_at():
    for inputs in (((0, None),), ((500, 1),)):
        found = judge(wave(*SOUND, inputs=inputs))["data.transparent"]
        assert (found.verdict, found.case) == ("not-judged", "none")


@pytest.mark.parametrize(("at", "edges", "verdict"), [(549, 2, "fail"), (550, 3, "pass")])
def test_a_change_before_the_third_edge_has_not_passed_two_flip_flops(at, edges, verdict):
    clock = SystemClock(rise=10 * NS, period=20 * NS)  # edges at 510, 530, 550 ns
    data = ((0, 0), (150, 1), (at, 0))
    found = judge(wave(*data), clock=clock, flip_flops=2)["data.synchroniser"]
    assert (found.measured, found.limit, found.verdict) == (edges, 3, verdict)
    assert (found.margin, found.met.at_ps) == (edges - 3, 500 * NS)


def test_the_quickest_answer_to_a_clock_counts_and_none_to_a_latch():
    clock = SystemClock(rise=0, period=10 * NS)
    quick = wave((0, 0), (105, 1), (550, 0))  # one edge after the latch, six after the clock
    found = judge(quick, clock=clock, flip_flops=2)["data.synchroniser"]
    assert (found.measured, found.verdict) == (6, "pass")
    without = judge(quick, clock=clock)["data.synchroniser"]
    assert (without.verdict, without.case) == ("not-judged", "unclocked")


def test_of_two_answers_to_a_clock_the_quicker_one_counts():
    twice = ((0, 1), (400, 0), (500, 1), (600, 0), (700, 1))
    # Edges at 505, 515, … and 705, 715, … ns.
    for data, edges, at in (((545, 765), 5, 500), ((565, 735), 4, 700)):
        timeline = wave((0, 0), (150, 1), (data[0], 0), (data[1], 1), clock=twice)
        found = judge(timeline, clock=SystemClock(5 * NS, 10 * NS), flip_flops=2)
        assert found["data.synchroniser"].measured == edges
        assert found["data.synchroniser"].met.at_ps == at * NS


@pytest.mark.parametrize(
    ("first", "last", "edges"),
    [(10, 10, 1), (11, 29, 0), (11, 30, 1), (10, 30, 2), (9, 31, 2), (-30, -10, 2), (0, 9, 0)],
)
def test_edges_of_a_free_running_clock(first, last, edges):
    """Rises at …, -30, -10, 10, 30, … with both ends counted."""
    assert SystemClock(rise=10, period=20).edges(first, last) == edges
    assert SystemClock(rise=50, period=20).edges(first, last) == edges


@pytest.mark.parametrize(
    ("moved", "data", "count", "transparent"),
    [
        # Late in the load, and shown just after it: nothing to look at while the load is on.
        (290, ((0, 0), (150, 1), (340, 0), (550, 1)), 0, "not-judged"),
        # Long after the load.
        (420, ((0, 0), (150, 1), (430, 0), (550, 1)), 1, "pass"),
        # As the load begins, and the load's own answer after it.
        (75, ((0, 0), (100, 1), (197, 0), (550, 1)), 0, "pass"),
    ],
)
def test_what_debounces_may_show_a_move_late_and_only_about_the_load(
    moved, data, count, transparent
):
    found = judge(wave(*data, inputs=((0, 1), (moved, 0))), latency=20 * NS)
    assert found["data.glitch"].measured == count
    assert found["data.transparent"].verdict == transparent


def test_a_load_that_is_on_from_the_start_is_no_reason():
    line = wave((0, 0), (250, 1), load=((0, 1), (50, 0), (200, 1), (300, 0)))
    answer = judge(line, window=300 * NS, answer=PROMISED)["data.answer"]
    assert answer.measured == pytest.approx(50e-9)
