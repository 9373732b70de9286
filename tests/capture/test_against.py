"""Two captures aligned by what was read."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.capture.against import (
    AGAINST,
    Beside,
    compare,
    in_turn,
    judge_beside,
    states,
)
from padbench.capture.reads import SeenRead
from padbench.core.buttons import BUTTONS
from padbench.core.findings import Source


def reads(held):
    return [
        SeenRead(n, n * 10**10, n * 10**10 + 1, byte, byte, 0, 0, 8, (), False, False, False)
        for n, byte in enumerate(held, 1)
    ]


def differences(one, other):
    return [
        (a and a.byte, b and b.byte) for a, b in compare(states(reads(one)), states(reads(other)))
    ]


def judged(one, other, source="the other"):
    return judge_beside(AGAINST, states(one), states(other), Source(source, "given"))


def test_the_same_is_the_same():
    assert differences([0, 1, 2], [0, 1, 2]) == []


def test_a_state_that_lasts_longer_is_no_difference():
    assert differences([0] * 3 + [128] * 2 + [0], [0] * 9 + [128] * 7 + [0] * 4) == []


def test_a_read_that_differs():
    assert differences([0] * 5 + [1] + [0] * 5, [0] * 11) == [(1, None)]
    assert differences([2] * 5 + [1] + [2] * 5, [2] * 11) == [(1, None)]


def test_a_press_that_the_other_has_not():
    assert differences([0, 0, 64, 64, 0], [0, 0, 0]) == [(64, None)]
    assert differences([0, 0, 0], [0, 0, 64, 0]) == [(None, 64)]


def test_nobody_presses_eight_buttons_without_letting_go():
    each = [128 >> n for n in range(8)]
    slow = [byte for one in each for byte in [0] * 9 + [one] * 5]
    assert differences(slow, each) == differences(each, slow) == []
    found, table = judged(reads([*slow, 0]), reads(each))
    assert [finding.verdict for finding in found] == ["pass"]
    assert [row.seen for row in table] == [1] * 8
    assert all(row.missed == row.extra == row.weak == 0 for row in table)


def test_two_presses_are_not_one():
    assert differences([0, 8, 8, 0, 8, 8, 0], [0, 8, 8, 0]) == [(0, None)]
    assert differences([0, 8, 8, 0], [0, 8, 8, 0, 8, 8, 0]) == [(None, 0)]


def test_the_thumbs_of_a_chord_need_not_be_at_once():
    assert differences([0] * 9 + [128] * 2 + [192] * 9 + [64, 0], [0, 192, 0]) == []
    # What lasts is a press of its own.
    assert differences([0] * 9 + [128] * 4 + [192] * 9 + [0], [0, 192, 0]) == [(128, None)]


def test_a_row_for_each_button():
    there = [0, 128, 0, 64, 0, 1, 0]
    here = [0, 0, 128, 128, 0, 128, 128, 0, 0, 0, 1, 1, 0, 4, 0]
    found, table = judged(reads(here), reads(there))
    assert table == (
        Beside("A", seen=1, weak=1),
        Beside("B", missed=1),
        Beside("Down", extra=1),
        Beside("Right", seen=1),
    )
    says = [finding.says for finding in found]
    assert any("here all is let go within a press" in text for text in says)
    assert any("the other has B, which is missing here" in text for text in says)
    assert any("here is Down, which the other has not" in text for text in says)


def test_a_button_of_a_chord_is_seen_whatever_the_other_one_was():
    """B and Right here, B and Left there."""
    _, table = judged(reads([0, 65, 65, 65, 0]), reads([0, 66, 66, 66, 0]))
    assert table == (
        *(Beside("B", seen=1), Beside("Left", missed=1)),
        Beside("Right", extra=1),
    )


@pytest.mark.parametrize("order", [[128, 64, 64, 1], [0, 128, 0, 64, 0, 64, 0, 1, 0]])
def test_an_order_may_have_its_rests_or_not(order):
    some = states(reads([0, 0, 128, 128, 0, 0, 64, 64, 0, 0, 0, 0, 64, 64, 0, 0, 1, 1]))
    assert not compare(some, in_turn(order))
    assert compare(some, in_turn([128, 64, 1]))
    assert compare(some, in_turn([128, 64, 64]))


def test_a_press_with_doubtful_bits_is_weak():
    one = reads([0, 128, 128, 0])
    one[2] = replace(one[2], undecided=0x80)
    _, table = judged(one, reads([0, 128, 0]))
    assert table == (Beside("A", seen=1, weak=1),)


@settings(deadline=None, max_examples=40)
@given(st.lists(st.integers(0, 3), max_size=30), st.lists(st.integers(0, 3), max_size=30))
def test_what_is_not_told_is_the_same(one, other):
    """Without differences both have the same presses, and the other way round nothing changes."""
    told = differences(one, other)
    assert [(b, a) for a, b in differences(other, one)] == told or told
    if not told:
        # Of a chord one of the two may show a step on the way more.
        both = {*one} & {*other}
        differs = ({*one} ^ {*other}) - {0}
        assert all(any(not n & ~whole for whole in both) for n in differs)


def test_a_read_at_the_end_of_the_recording_says_nothing():
    one, other = reads([0, 64, 0]), reads([0, 64, 0, 0])
    one.append(replace(one[-1], byte=0, missing=0x0F, open_ended=True, number=4))
    other.append(replace(other[-1], byte=1, undecided=0x80, number=5))
    ((found,), _) = judged(one[:3], other)
    assert (found.verdict, found.measured) == ("fail", 1)
    assert "the other has Right (A undecided), which is missing here" in found.says
    other[-1] = replace(other[-1], in_gap=True)
    assert judged(one, other)[0][0].verdict == "pass"
    other = [*reads([0]), replace(other[-1], in_gap=False)]
    ((found,), _) = judged(reads([0, 2]), other, "b.vcd")
    assert found.says == ("Left here, Right (A undecided) there (difference 1 of 1 beside b.vcd)")


def test_more_than_can_be_aligned_is_told():
    here, there = ([reads([byte])[0] for byte in pair * 1001] for pair in ([1, 2], [4, 8]))
    ((found,), table) = judged(here, there)
    assert (found.verdict, table) == ("fail", ())
    assert "compare shorter captures" in found.says


EACH = [byte for n in range(8) for byte in [0] * 9 + [128 >> n] * 5]
ONCE = dict.fromkeys(BUTTONS, (1, 0, 0))


def counted(table):
    return {row.button: (row.seen, row.missed, row.extra) for row in table}


def test_a_button_that_is_held_hides_no_other():
    """Right all the time, one press there; without it each other is as it was."""
    stuck = [byte | 1 for byte in EACH]
    source = Source("the other", "given")
    found, table = judge_beside(AGAINST, states(reads(stuck)), states(reads(EACH)), source, 1)
    assert [finding.verdict for finding in found] == ["fail"]
    assert found[0].says.startswith("Right is pressed all the time here")
    assert counted(table) == ONCE | {"Right": (0, 1, 1)}
    lost = [byte & ~64 for byte in stuck]
    found, table = judge_beside(AGAINST, states(reads(lost)), states(reads(EACH)), source, 1)
    assert [finding.case for finding in found] == ["held", "missing"]
    assert counted(table)["B"] == (0, 1, 0)
    same = judge_beside(AGAINST, states(reads(stuck)), states(reads(stuck)), source, 1)[0]
    assert [finding.verdict for finding in same] == ["pass"]


def test_two_buttons_that_are_exchanged():
    other = [{1: 2, 2: 1}.get(byte, byte) for byte in EACH]
    found, table = judged(reads(other), reads(EACH))
    assert [finding.verdict for finding in found] == ["fail"]
    assert found[0].says.startswith("Left and Right are exchanged here")
    assert counted(table) == ONCE | {"Left": (0, 1, 1), "Right": (0, 1, 1)}
