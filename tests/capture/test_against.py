"""Two captures aligned by what was read."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.capture.against import TooDifferent, _script, compare, judge_against
from padbench.capture.reads import SeenRead
from padbench.core.findings import Source


def reads(held):
    return [
        SeenRead(n, n * 10**10, n * 10**10 + 1, byte, byte, 0, 0, 8, (), False, False, False)
        for n, byte in enumerate(held, 1)
    ]


def differences(one, other):
    return [
        (d.one and d.one.byte, d.other and d.other.byte) for d in compare(reads(one), reads(other))
    ]


def test_the_same_is_the_same():
    assert differences([0, 1, 2], [0, 1, 2]) == []


def test_a_state_that_lasts_longer_is_no_difference():
    assert differences([0] * 3 + [128] * 2 + [0], [0] * 9 + [128] * 7 + [0] * 4) == []


def test_a_read_that_differs():
    # That the read of nothing in its place is one of eleven and not of ten shows only in time.
    assert differences([0] * 5 + [1] + [0] * 5, [0] * 11) in ([(1, 0)], [(1, None)])


def test_a_press_that_the_other_has_not():
    assert differences([0, 0, 64, 64, 0], [0, 0, 0]) == [(64, None), (64, None)]
    assert differences([0, 0, 0], [0, 0, 64, 0]) == [(None, 64)]


@settings(deadline=None)
@given(st.lists(st.integers(0, 3), max_size=30), st.lists(st.integers(0, 3), max_size=30))
def test_the_alignment_accounts_for_every_read(one, other):
    i = j = 0
    for step in _script(one, other):
        if step == "same":
            assert one[i] == other[j]
        i += step != "other"
        j += step != "one"
    assert (i, j) == (len(one), len(other))


@settings(deadline=None)
@given(st.lists(st.integers(0, 3), max_size=12), st.lists(st.integers(0, 3), max_size=12))
def test_the_alignment_is_the_shortest(one, other):
    """Against the textbook table of the longest common subsequence."""
    best = [[0] * (len(other) + 1) for _ in range(len(one) + 1)]
    for i, a in enumerate(one):
        for j, b in enumerate(other):
            longest = max(best[i][j + 1], best[i + 1][j])
            best[i + 1][j + 1] = max(longest, best[i][j] + (a == b))
    assert sum(step == "same" for step in _script(one, other)) == best[-1][-1]


def test_a_read_at_the_end_of_the_recording_says_nothing():
    one, other = reads([0, 64, 0]), reads([0, 64, 0, 0])
    one.append(replace(one[-1], byte=0, missing=0x0F, open_ended=True, number=4))
    other.append(replace(other[-1], byte=1, undecided=0x80, number=5))
    (found,) = judge_against(one[:3], other, Source("the other", "given"))
    assert (found.verdict, found.measured) == ("fail", 1)
    assert "a read of Right (A undecided) that is missing here" in found.says
    other[-1] = replace(other[-1], in_gap=True)
    (found,) = judge_against(one, other, Source("the other", "given"))
    assert found.verdict == "pass"
    other = [*reads([0]), replace(other[-1], in_gap=False)]
    (found,) = judge_against(reads([0, 2]), other, Source("b.vcd", "given"))
    assert found.says == "1 of 1, beside b.vcd: Left here, Right (A undecided) there"


def test_nothing_in_common():
    with pytest.raises(TooDifferent):
        compare(reads([1] * 2000), reads([2] * 2000))
    (found,) = judge_against(reads([1] * 2000), reads([2] * 2000), Source("other.vcd", "given"))
    assert found.verdict == "fail"
