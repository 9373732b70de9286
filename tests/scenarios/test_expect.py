"""Expectations, against hand-worked cases; facts are common practice unless said otherwise."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from padbench.core.buttons import byte_of
from padbench.scenarios.expect import (
    accepted_states,
    allowed_states,
    expected_bits,
    fits,
    held_state,
)

UP, DOWN, LEFT, RIGHT = (byte_of([name]) for name in ("Up", "Down", "Left", "Right"))


def as_text(bits):
    return "".join("?" if bit is None else "10"[not bit] for bit in bits)


@pytest.mark.parametrize(
    ("arguments", "wire"),
    [
        ({}, "10100101"),
        ({"clocks": 4}, "1010"),
        ({"clocks": 10}, "1010010111"),
        ({"clocks": 10, "serial": 1}, "1010010100"),
        ({"clocks": 10, "serial": None}, "10100101??"),
        ({"clocks": 12, "stages": 10}, "101001010011"),
        ({"stopped_bit": 8, "extra_clocks": 1}, "10100101"),
        ({"stopped_bit": 8, "extra_clocks": 1, "serial": 1}, "10100100"),
        ({"stopped_bit": 1, "extra_clocks": 1}, "01001011"),
        ({"stopped_bit": 3, "extra_clocks": 2, "serial": 1}, "10010100"),
        ({"stopped_bit": 7, "extra_clocks": 3, "serial": None}, "101001??"),
    ],
)
def test_bits_of_one_read(arguments, wire):
    assert as_text(expected_bits(0b10100101, **arguments)) == wire


@pytest.mark.parametrize(
    ("moves", "policy", "held"),
    [
        ([(0, UP), (5, UP | DOWN)], "both", UP | DOWN),
        ([(0, UP), (5, UP | DOWN)], "neither", 0),
        ([(0, UP), (5, UP | DOWN)], "newer", DOWN),
        ([(0, UP), (5, UP | DOWN)], "older", UP),
        ([(0, UP), (5, UP | DOWN), (7, UP)], "newer", UP),
        ([(0, 0), (5, LEFT | RIGHT)], "newer", 0),
        ([(0, UP), (4, 0), (5, DOWN), (6, UP | DOWN)], "older", DOWN),
        ([(0, UP), (11, UP | DOWN)], "neither", UP),
    ],
)
def test_held_states(moves, policy, held):
    assert held_state(moves, 10, policy) == held


@given(st.lists(st.integers(0, 255), max_size=9), st.sampled_from([1, 2, 3]))
def test_accepted_only_when_all_passes_agree(reads, passes):
    states = accepted_states(reads, passes, before=0x11)
    assert len(states) == len(reads) // passes
    last = 0x11
    for n, state in enumerate(states):
        group = reads[n * passes : (n + 1) * passes]
        last = group[0] if all(byte == group[0] for byte in group) else last
        assert state == last


def resolutions(bits):
    """Every way in which the open bits of a read may fall."""
    readings = [[]]
    for bit in bits:
        readings = [[*r, b] for r in readings for b in ([False, True] if bit is None else [bit])]
    return [sum(128 >> n for n, b in enumerate(r) if b) for r in readings]


reads = st.lists(
    st.lists(st.sampled_from([True, False, None]), min_size=3, max_size=3).map(tuple),
    min_size=2,
    max_size=6,
)


@given(reads, st.sampled_from([2, 3]))
def test_allowed_states_are_those_that_some_reading_leads_to(expected, passes):
    allowed = allowed_states(expected, passes)
    reachable: list[set[int]] = []
    before = {0}
    for first in range(0, len(expected) - passes + 1, passes):
        after = set()
        for old in before:
            ways = [[]]
            for bits in expected[first : first + passes]:
                ways = [[*way, byte] for way in ways for byte in resolutions(bits)]
            for way in ways:
                (state,) = accepted_states(way, passes, before=old)
                after.add(state)
        reachable.append(after)
        before = after
    possible = range(0, 256, 32)
    assert [{b for b in possible if any(fits(b, p) for p in poll)} for poll in allowed] == reachable
