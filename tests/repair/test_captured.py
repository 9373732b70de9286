"""A capture in which buttons were pressed one after the other."""

import pytest

from padbench.core.buttons import BUTTONS, byte_of
from padbench.repair.captured import observed_in
from padbench.repair.metering import MeterBench
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


def test_without_the_presses_what_reads_at_rest_is_taken_for_a_fault(known):
    seen = observed_in(known, recorded(lambda held: held | 0x04, ALL[:3]), None)
    best = rank(known, MeterBench(known), seen).candidates[0]
    assert ("contact-stuck", "Down") in {(one.kind, one.at) for one in best.faults if one}
    sound = observed_in(known, recorded(lambda held: held, ALL), None)
    assert rank(known, MeterBench(known), sound).candidates[0].healthy


def test_more_presses_than_reads_cannot_be(known):
    with pytest.raises(ValueError, match="2 reads, fewer than the 3 presses"):
        observed_in(known, [0, 0], [0x80, 0x40, 0x20])
