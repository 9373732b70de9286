"""A capture in which buttons were pressed one after the other."""

import math
import random

import pytest

from padbench.core.buttons import BUTTONS, byte_of
from padbench.repair.captured import observed_in
from padbench.repair.metering import MeterBench
from padbench.repair.observed import WRONG_IN_CAPTURE
from padbench.repair.ranking import rank

ALL = [byte_of([name]) for name in BUTTONS]


def recorded(read, presses, pause=7, hold=11):
    """The bytes of a capture: ``read(held)`` while nothing, then each press, is held."""
    held = [0] * pause
    for press in presses:
        held += [press] * hold + [0] * pause
    return [read(state) for state in held]


@pytest.mark.parametrize(
    ("read", "fault"),
    [
        (lambda held: held, None),
        (lambda held: held & 0x7F, ("contact-dead", "A")),
        (lambda held: held & ~0x10, ("contact-dead", "Start")),
        (lambda held: held | 0x04, ("contact-stuck", "Down")),
        (lambda held: 0xFF if held & 0x80 else 0, ("core-open", "clock")),
        (lambda held: held | 0xC0 if held & 0xC0 else held, ("inputs-shorted", "A")),
    ],
)
def test_the_order_of_the_presses_is_enough(known, read, fault):
    seen = observed_in(known, recorded(read, ALL), ALL)
    best = rank(known, MeterBench(known), seen).candidates[0]
    assert fault in {None if one is None else (one.kind, one.at) for one in best.faults}
    assert best.explains == best.reads
    assert best.healthy == (fault is None)


@pytest.mark.parametrize("hold", [1, 11])
def test_presses_that_are_not_named_are_asked_for_however_short(known, hold):
    read = recorded(lambda held: held, ALL, pause=1, hold=hold)
    with pytest.raises(ValueError, match="presses of Select, Start, Up, Down, Left, Right"):
        observed_in(known, read, ALL[:2])
    assert [*observed_in(known, read, ALL).reads] == [0, *ALL]


def test_without_the_presses_what_reads_at_rest_is_taken_for_a_fault(known):
    seen = observed_in(known, recorded(lambda held: held | 0x04, ALL[:3]), None)
    best = rank(known, MeterBench(known), seen).candidates[0]
    assert ("contact-stuck", "Down") in {(one.kind, one.at) for one in best.faults if one}
    sound = observed_in(known, recorded(lambda held: held, ALL), None)
    assert rank(known, MeterBench(known), sound).candidates[0].healthy


def test_a_bit_that_nobody_can_tell_is_one_read_of_one_press(known):
    """Not nothing held and then A, as if all were well."""
    read = [(0, 0x80), *(held for held in ALL[1:])]
    seen = observed_in(known, read, ALL, early=1)
    assert seen.reads[0x80] == {0: 1, 0x80: 1}
    best = rank(known, MeterBench(known), seen).candidates[0]
    assert ("contact-worn", "A") in {(one.kind, one.at) for one in best.faults if one}


def test_more_presses_than_reads_cannot_be(known):
    with pytest.raises(ValueError, match="2 reads, fewer than the 3 presses"):
        observed_in(known, [0, 0], [0x80, 0x40, 0x20])


def test_presses_that_nobody_named_are_refused(known):
    """They would be taken for a fault of those that were."""
    with pytest.raises(ValueError, match="presses of Up, Down, Left, Right, which are not named"):
        observed_in(known, recorded(lambda held: held, ALL), ALL[:4])
    # One other button that comes and goes may be a fault.
    stuck = recorded(lambda held: held, [0x80, 0x01, 0x80])
    assert observed_in(known, stuck, [0x80]).reads[0x80]


def flickering(low_at):
    """A's bit while nothing is held, at 60 reads a second for half a minute."""
    times = [number / 60.0988 for number in range(1800)]
    return [0x80 if low_at(when) else 0 for when in times], times


@pytest.mark.parametrize("hertz", [49.99, 60.0])
def test_hum_of_the_mains_is_found_in_a_capture(known, hertz):
    """A line that floats follows the mains; dirt does not: from memory."""
    hum, times = flickering(lambda when: math.sin(2 * math.pi * hertz * when + 1) > 0.3)
    seen = observed_in(known, hum, [], times)
    assert [str(one) for one in seen.meter] == ["beat A: yes"]
    best = rank(known, MeterBench(known), seen).candidates[0]
    assert ("pull-up-missing", "A") in {(one.kind, one.at) for one in best.faults}
    rng = random.Random(2)
    dirt, times = flickering(lambda when: rng.random() < 0.3)
    seen = observed_in(known, dirt, [], times)
    assert [str(one) for one in seen.meter] == ["beat A: no"]
    best = rank(known, MeterBench(known), seen).candidates[0]
    assert {(one.kind, one.at) for one in best.faults} == {("contact-flickers", "A")}
    # A few flips say nothing.
    assert not observed_in(known, [0x80, 0] * 5 + [0] * 1790, [], times).meter


def test_a_first_read_counts_unless_the_fault_leaves_in_it_what_was_there_at_power_up(known):
    dead = [0b10110010, *([0xFF] * 40)]
    assert observed_in(known, dead, [], early=1).reads == {0: {0xFF: 40}}
    # A sound register loads, and so its first read is as good as any.
    sound = [0b10110010, *recorded(lambda held: held, ALL)]
    seen = observed_in(known, sound, ALL, early=1)
    assert seen.reads[0][0b10110010] == 1
    seen.wrong = WRONG_IN_CAPTURE
    found = rank(known, MeterBench(known), seen)
    assert found.unexplained or not found.candidates[0].healthy
