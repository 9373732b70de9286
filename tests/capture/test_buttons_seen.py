"""When buttons went down and up, held to a walk from read to read; and what counts as bounce."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.capture.reads import CUT_SHORT, IN_GAP, ROW, Press, opposites, press_times, presses
from padbench.core.buttons import BUTTONS, pressed_in

MS = 10**9


def rows(held, *, undecided=(), flags=()):
    made = np.zeros(len(held), ROW)
    made["start"] = 16 * MS * np.arange(len(held))
    made["held"] = held
    for number in undecided:
        made["undecided"][number] = 1
    for number, flag in flags:
        made["flags"][number] = flag
    return made


def walked(held, unsure):
    """The same, one read after the other."""
    down, found, first = {}, [], True
    for number, byte in enumerate(held):
        if number in unsure:
            continue
        now = set(pressed_in(byte))
        when = 16 * MS * number
        found += [(name, down.pop(name), when) for name in [*down] if name not in now]
        down |= {name: None if first else when for name in now if name not in down}
        first = False
    return {*found, *((name, when, None) for name, when in down.items())}


@settings(deadline=None)
@given(st.lists(st.integers(0, 255), max_size=20), st.sets(st.integers(0, 19), max_size=4))
def test_presses_are_those_of_a_walk(held, unsure):
    unsure = {number for number in unsure if number < len(held)}
    found = presses(press_times(rows(held, undecided=unsure)))
    assert {(p.button, p.down_ps, p.up_ps) for p in found} == walked(held, unsure)
    times = [press.down_ps or 0 for press in found]
    assert times == sorted(times)


def test_a_read_that_was_not_recorded_says_nothing_but_one_cut_short_may():
    held = [0, 128, 0]
    assert presses(press_times(rows(held, flags=[(1, IN_GAP)]))) == ()
    assert presses(press_times(rows(held, flags=[(1, CUT_SHORT)]))) == (
        Press("A", 16 * MS, 32 * MS),
    )
    assert presses(press_times(rows([]))) == ()


def test_together_in_the_order_of_the_wire():
    assert [press.button for press in presses(press_times(rows([0, 255])))] == list(BUTTONS)


def test_opposites():
    assert [opposites(byte) for byte in (0b1100, 0b0011, 0b1010, 0b0110, 0xFF)] == [
        *(True, True, False, False, True)
    ]
