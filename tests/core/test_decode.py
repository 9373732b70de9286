"""Decoding hand-made waves, as a capture would show them: no sample events, no simulator."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from padbench.core.decode import Names, decode
from padbench.core.timeline import FLOATING, HIGH, LOW, UNKNOWN, Timeline, Wire

NAMES = Names("latch", "clock", "data", None)


def wave(*reads, clocks=8, period=1000):
    """A wave of reads given as levels on the line, one a bit; data changes after each rise."""
    latch, clock, data = [(0, LOW)], [(0, HIGH)], [(0, HIGH)]
    for number, levels in enumerate(reads):
        t = number * period + 100
        latch += [(t, HIGH), (t + 20, LOW)]
        for place, level in enumerate(levels):
            data.append((t + 5 if place == 0 else t + 40 + 20 * (place - 1) + 11, level))
        for place in range(clocks):
            at = t + 30 + 20 * place
            clock += [(at, LOW), (at + 10, HIGH)]
    wires = {"latch": Wire.of(latch), "clock": Wire.of(clock), "data": Wire.of(data)}
    return Timeline(len(reads) * period + 100, wires)


@given(st.lists(st.integers(0, 255), min_size=1, max_size=5))
def test_low_is_pressed_and_the_first_bit_is_bit_seven(held):
    levels = [[LOW if byte & 128 >> n else HIGH for n in range(8)] for byte in held]
    assert [read.byte for read in decode(wave(*levels), NAMES)] == held


def test_a_read_knows_its_edges():
    read = decode(wave([LOW] * 8), NAMES)[0]
    assert (read.start_ps, read.latch_end_ps) == (100, 120)
    assert read.clock_falls[:2] == (130, 150)
    assert read.clock_rises[:2] == (140, 160)
    assert read.samples == read.clock_rises
    assert not read.cut_short


def test_a_level_that_is_none_is_undecided():
    read = decode(wave([LOW, UNKNOWN, HIGH, FLOATING, HIGH, HIGH, HIGH, LOW]), NAMES)[0]
    assert read.bits == (True, None, False, None, False, False, False, True)
    assert read.undecided == 0b01010000
    assert read.byte == 0b10000001


@given(expected=st.integers(0, 255), undecided=st.integers(0, 255))
def test_an_undecided_bit_is_always_taken_as_wrong(expected, undecided):
    bits = [
        UNKNOWN if undecided & 128 >> n else LOW if expected & 128 >> n else HIGH for n in range(8)
    ]
    read = decode(wave(bits), NAMES)[0]
    assert read.worst_byte(expected) == expected ^ undecided


def test_a_new_latch_cuts_a_read_short():
    first, second = decode(wave([LOW] * 8, [HIGH] * 8, clocks=3), NAMES)
    assert first.cut_short
    assert first.bits == (True, True, True)
    assert first.missing == 0b00011111
    assert not second.cut_short  # nothing came after it: that is the end of the wave


def test_more_clocks_are_all_seen():
    read = decode(wave([HIGH] * 8, clocks=12), NAMES)[0]
    assert len(read.clock_rises) == len(read.bits) == 12


def test_clocks_before_the_first_latch_belong_to_no_read():
    timeline = wave([LOW] * 8)
    clock = Wire.of([(0, HIGH), (10, LOW), (20, HIGH)])
    early = Timeline(timeline.end_ps, {**timeline.wires, "clock": clock})
    assert decode(early, NAMES)[0].bits == ()


def test_a_clock_at_the_very_rise_of_the_latch_belongs_to_no_read():
    timeline = wave([LOW] * 8)
    clock = Wire.of([(0, HIGH), (90, LOW), (100, HIGH), (130, LOW), (140, HIGH)])
    read = decode(Timeline(timeline.end_ps, {**timeline.wires, "clock": clock}), NAMES)[0]
    assert read.clock_rises == (140,)


def test_no_latch_no_reads():
    still = Wire.of([(0, LOW)])
    assert decode(Timeline(10, {"latch": still, "clock": still, "data": still}), NAMES) == ()


def test_a_latch_that_never_falls_lasts_to_the_end():
    wires = {
        "latch": Wire.of([(0, LOW), (5, HIGH)]),
        "clock": Wire.of([(0, HIGH)]),
        "data": Wire.of([(0, HIGH)]),
    }
    read = decode(Timeline(50, wires), NAMES)[0]
    assert (read.latch_end_ps, read.bits) == (50, ())


def test_a_missing_wire_is_named():
    with pytest.raises(KeyError, match=r"console\.latch"):
        decode(Timeline(1, {}))
