"""Contacts: wiring, stuck buttons and the policies for opposite directions."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.core.buttons import byte_of
from padbench.core.decode import decode
from padbench.core.stimulus import PollTiming, ScriptedRead, Stimulus
from padbench.model.contacts import inputs_word
from padbench.model.simulation import simulate
from padbench.scenarios.expect import held_state

UP, DOWN, LEFT, RIGHT = (byte_of([name]) for name in ("Up", "Down", "Left", "Right"))
MS = 1_000_000_000


def last_read(pad, timing, *moves):
    """The byte after these contacts were closed one after the other."""
    stimulus = Stimulus(
        tuple((n * MS + 1, byte) for n, byte in enumerate(moves)),
        (ScriptedRead(len(moves) * MS, timing),),
        (len(moves) + 1) * MS,
    )
    return decode(simulate(pad, stimulus))[0].byte


@pytest.mark.parametrize(
    ("policy", "up_then_down", "down_then_up", "at_once"),
    [
        ("both", UP | DOWN, UP | DOWN, UP | DOWN),
        ("neither", 0, 0, 0),
        ("newer", DOWN, UP, 0),
        ("older", UP, DOWN, 0),
    ],
)
def test_policies(pad, timing, policy, up_then_down, down_then_up, at_once):
    """The policies in use (common practice)."""
    pad = replace(pad, policy=policy)
    assert last_read(pad, timing, UP, UP | DOWN) == up_then_down
    assert last_read(pad, timing, DOWN, UP | DOWN) == down_then_up
    assert last_read(pad, timing, UP | DOWN) == at_once


def test_letting_the_winner_go_gives_way_to_the_other(pad, timing):
    pad = replace(pad, policy="newer")
    assert last_read(pad, timing, LEFT, LEFT | RIGHT, LEFT) == LEFT
    assert last_read(pad, timing, LEFT, LEFT | RIGHT, RIGHT) == RIGHT


def test_all_four_directions_are_two_pairs(pad, timing):
    pad = replace(pad, policy="newer")
    assert last_read(pad, timing, UP | LEFT, UP | DOWN | LEFT | RIGHT) == DOWN | RIGHT


@pytest.mark.no_cover
@settings(max_examples=80, deadline=None)
@given(
    moves=st.lists(st.integers(0, 255), min_size=1, max_size=8),
    policy=st.sampled_from(["both", "neither", "newer", "older"]),
    stuck=st.sampled_from([0, 0, UP, UP | DOWN, DOWN | LEFT]),
)
def test_the_model_and_the_expectation_agree_on_any_history(pad, timing, moves, policy, stuck):
    timed = [(0, stuck), *((n * MS + 1, byte | stuck) for n, byte in enumerate(moves))]
    expected = held_state(timed, len(moves) * MS, policy)
    assert last_read(replace(pad, policy=policy, stuck=stuck), timing, *moves) == expected


def test_a_tie_lasts_until_one_lets_go(pad, timing):
    pad = replace(pad, policy="newer")
    both = UP | DOWN
    assert last_read(pad, timing, both, both | LEFT) == LEFT
    assert last_read(pad, timing, both, UP, both) == DOWN


def test_a_stuck_contact_is_closed_from_the_start(pad, timing):
    assert last_read(replace(pad, stuck=0x20), timing, 0x80) == 0xA0


def test_two_buttons_on_one_stage_pull_the_same_input(pad):
    pad = replace(pad, stage_of=((0x80, 8), (0x40, 8)))
    assert inputs_word(pad, 0x80) == inputs_word(pad, 0x40) == 0x7F
    assert inputs_word(pad, 0) == 0xFF


def test_swapped_wires_swap_buttons(pad):
    stage_of = tuple((bit, {4: 3, 3: 4}.get(stage, stage)) for bit, stage in pad.stage_of)
    pad = replace(pad, stage_of=stage_of)
    timing = PollTiming(12_000_000, 6_000_000, 560_000, 7_000_000, 560_000)
    assert last_read(pad, timing, UP) == DOWN
