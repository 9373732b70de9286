"""What the sample fetch does to a read: closed forms, and what the trade knows.

The closed forms follow by arithmetic from common practice: a plain eight-read loop exposes exactly
8 of the 8 x R phases; of the 256 x 8 combinations of held state and stopped bit, 256 x 8 - 255
give a wrong byte when the serial input is low, since for stopped bit k (the first is 0) the loss
is hidden by 2^k states, those with a run of pressed buttons up to the end.
"""

import pytest
import yardstick
from yardstick import reads_ahead, stops_of

from padbench.parts import console_timing
from padbench.routines.console import Console, SampleFetch
from padbench.routines.run import run_case, undisturbed
from padbench.routines.source import load_routine

HZ60 = console_timing("60hz")
JOINED, EACH = Console(HZ60, "joined"), Console(HZ60, "each")
ONCE = load_routine("read-once")


def shifted(held: int, stopped: int, lost: int) -> int:
    """The byte by hand: bits ahead of the stopped one stay, later ones move up, pressed follows."""
    bits = [held >> (7 - n) & 1 for n in range(8)]
    del bits[stopped : stopped + lost]
    return int("".join(map(str, (bits + [1] * lost)[:8])), 2)


@pytest.mark.parametrize("period", HZ60.fetch_periods)
def test_a_plain_loop_exposes_eight_phases_at_every_rate(period):
    ahead = reads_ahead(undisturbed(ONCE, JOINED, 0).kinds)
    kinds = undisturbed(ONCE, JOINED, 0).kinds
    hit = [
        p
        for p in range(period)
        if any(kinds[at] > 1 for at, _ in stops_of(kinds, ahead, period, p))
    ]
    assert len(hit) == 8
    # And the long way: the very phases, on the bus.
    on_bus = [p for p in hit if run_case(ONCE, JOINED, 0, fetch=SampleFetch(period, p)).hit]
    assert on_bus == hit
    beside = {p + d for p in hit for d in (-1, 1)} - set(hit)
    assert not any(run_case(ONCE, JOINED, 0, fetch=SampleFetch(period, p)).hit for p in beside)


def test_every_state_and_stopped_bit_gives_the_byte_that_arithmetic_says():
    reads = [a.cycle for a in undisturbed(ONCE, JOINED, 0).accesses if a.kind == "read"]
    wrong = 0
    for held in range(256):
        for bit, at in enumerate(reads):
            got = run_case(ONCE, JOINED, held, fetch=SampleFetch(432, at)).results[0]
            assert got == shifted(held, bit, 1)
            wrong += got != held
    assert wrong == 256 * 8 - 255


def test_hidden_losses_are_two_to_the_k():
    for k in range(8):
        assert sum(shifted(held, k, 1) == held for held in range(256)) == 2**k


@pytest.mark.parametrize("period", [432, 3424])
def test_the_sweep_of_a_plain_loop_counts_the_closed_forms(period):
    counts = yardstick.sweep(ONCE, JOINED, period)
    assert (counts.period, counts.cases) == (period, 256 * period)
    assert (counts.hit, counts.corrupt, counts.accepted_wrong) == (2048, 1793, 1793)
    assert counts.never_settles == 0


def test_the_last_button_reads_as_pressed_when_nothing_is():
    """Common practice, no source."""
    last = undisturbed(ONCE, JOINED, 0).accesses[-1].cycle
    assert run_case(ONCE, JOINED, 0, fetch=SampleFetch(432, last)).results == (0x01,)


def test_where_each_repeated_read_clocks_three_bits_are_lost():
    """From memory: three, or two where only three cycles were stolen."""
    reads = [a.cycle for a in undisturbed(ONCE, EACH, 0).accesses if a.kind == "read"]
    for bit, at in enumerate(reads):
        run = run_case(ONCE, EACH, 0xA5, fetch=SampleFetch(432, at))
        assert run.stops[0].stolen == 4
        assert run.results == (shifted(0xA5, bit, 3),)


def test_a_console_without_the_fault_is_clean():
    """Common practice, no source: the CPU of the 50 Hz regions does not have it."""
    hz50 = Console(console_timing("50hz"))
    counts = yardstick.sweep(ONCE, hz50, hz50.timing.fetch_periods[-1])
    assert counts.hit == 2048
    assert (counts.corrupt, counts.accepted_wrong, counts.counterexample) == (0, 0, None)


def test_reading_twice_in_a_quick_loop_rejects_every_stopped_read():
    """Common practice, no source: the usual cure."""
    counts = yardstick.sweep(load_routine("read-twice"), JOINED, 432)
    assert (counts.hit, counts.corrupt) == (2 * 2048, 2 * 1793)
    assert (counts.accepted_wrong, counts.never_settles) == (0, 0)
    assert counts.kept_old == counts.corrupt
