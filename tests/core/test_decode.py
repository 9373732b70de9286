"""Decoding hand-made waves, as a capture would show them: no sample events, no simulator."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from padbench.core.decode import Names, Read, decode, extra_clocks, read_arrays
from padbench.core.levels import FLOATING, HIGH, LOW, UNKNOWN
from padbench.core.timeline import Timeline, Wire

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


def test_a_latch_that_falls_twice_ends_with_the_first():
    """No level stands for neither, so it may come down more than once."""
    wires = {
        "latch": Wire.of([(0, HIGH), (3, LOW), (5, HIGH), (9, LOW), (10, UNKNOWN), (11, LOW)]),
        "clock": Wire.of([(0, HIGH)]),
        "data": Wire.of([(0, HIGH)]),
    }
    assert [(r.start_ps, r.latch_end_ps) for r in decode(Timeline(50, wires), NAMES)] == [(5, 9)]


def test_a_missing_wire_is_named():
    with pytest.raises(KeyError, match=r"console\.latch"):
        decode(Timeline(1, {}))


@pytest.mark.parametrize(("wanted", "short"), [(3, False), (4, True)])
def test_a_read_of_fewer_bits_than_wanted_is_cut_short_by_the_next_latch(wanted, short):
    first, last = decode(wave([LOW] * 8, [LOW] * 8, clocks=3), NAMES, wanted)
    assert (first.cut_short, last.cut_short) == (short, False)


def test_without_a_word_on_samples_the_console_samples_at_each_rise():
    timeline = wave([LOW] + [HIGH] * 7)
    events = {"when": np.array([125, 135])}
    sampled = Timeline(timeline.end_ps, timeline.wires, {}, events)
    assert decode(sampled, Names("latch", "clock", "data", "when"))[0].samples == (125, 135)
    assert len(decode(sampled, NAMES)[0].samples) == 8
    assert len(decode(timeline, Names("latch", "clock", "data", "when"))[0].samples) == 8


def test_the_last_moment_of_a_timeline_still_belongs_to_its_read():
    timeline = wave([LOW] * 8)
    end = int(timeline.wires["clock"].rises()[-1])
    assert len(decode(Timeline(end, timeline.wires), NAMES)[0].clock_rises) == 8
    assert len(decode(Timeline(end - 1, timeline.wires), NAMES)[0].clock_rises) == 7


def test_every_read_has_its_own_edges_and_samples():
    timeline = wave([LOW, HIGH, LOW], [HIGH, LOW, LOW], [LOW] * 3, clocks=3)
    for number, read in enumerate(decode(timeline, NAMES)):
        start = 1000 * number + 100
        assert (read.start_ps, read.latch_end_ps) == (start, start + 20)
        assert read.clock_falls == (start + 30, start + 50, start + 70)
        assert read.clock_rises == read.samples == (start + 40, start + 60, start + 80)
        assert read.cut_short == (number < 2)
    bits = [read.bits for read in decode(timeline, NAMES)]
    assert bits == [(True, False, True), (False, True, True), (True, True, True)]


@pytest.mark.parametrize(("clocks", "short"), [(8, False), (7, True)])
def test_eight_bits_are_a_whole_read(clocks, short):
    timeline = wave([LOW] * 8, [LOW] * 8, clocks=clocks)
    assert decode(timeline, NAMES)[0].cut_short == short
    assert read_arrays(timeline, NAMES).reads()[0].cut_short == short


def test_an_edge_just_as_the_next_latch_rises_belongs_to_neither():
    timeline = wave([LOW] * 8, [LOW] * 8)
    clock = Wire.of([(0, HIGH), (500, LOW), (1100, HIGH), (1200, LOW), (1210, HIGH)])
    reads = decode(Timeline(2100, {**timeline.wires, "clock": clock}), NAMES)
    assert [read.clock_rises for read in reads] == [(), (1210,)]
    assert [read.clock_falls for read in reads] == [(500,), (1200,)]


def test_a_sample_sees_the_level_from_before_its_moment():
    timeline = wave([LOW] * 8, clocks=1)
    data = Wire.of([(0, HIGH), (140, LOW)])
    assert decode(Timeline(900, {**timeline.wires, "data": data}), NAMES)[0].bits == (False,)


def test_all_reads_at_once_are_the_same_as_one_by_one():
    timeline = wave([LOW] * 8, [HIGH] * 8, [LOW, HIGH] * 4, clocks=5)
    every = read_arrays(timeline, NAMES)
    assert len(every) == 3
    assert every.reads() == decode(timeline, NAMES)
    assert every.part(slice(1, None)).reads() == decode(timeline, NAMES)[1:]
    assert len(every.part(slice(-1))) == 2
    # A latch follows, if only in what was cut away: fewer bits than wanted are cut short.
    assert every.part(slice(-1)).reads()[-1].cut_short is False
    assert every.part(slice(-1)).reads(last=False) == decode(timeline, NAMES)[:2]


def with_falls(*falls, rises=None):
    rises = tuple(at + 5 for at in falls) if rises is None else rises
    return Read(0, 1, falls, rises, (), (), False)


EVEN = tuple(range(100, 1000, 100))


@pytest.mark.parametrize(
    ("read", "extra"),
    [
        (with_falls(*EVEN[:8]), ()),  # eight, as wanted
        (with_falls(*EVEN), ()),  # nine at an even pace: long, not stopped
        (with_falls(100, 159, *(159 + at for at in EVEN[:7])), (0,)),
        (with_falls(100, 160, *(160 + at for at in EVEN[:7])), ()),
        (with_falls(100, 150, *EVEN[1:8]), ()),  # close on both sides: which one nobody can say
        (with_falls(*EVEN[:8], 841, 860), (7, 8)),
        (with_falls(*EVEN[:8], 850, 950), ()),  # two more than wanted, and one is close
        (with_falls(100, 159, *(159 + at for at in EVEN[:7]), rises=(105,)), ()),
    ],
)
def test_a_clock_that_nobody_asked_for_stands_close_to_the_next(read, extra):
    assert extra_clocks(read, usual=100) == extra


def test_how_many_bits_are_wanted_says_how_many_clocks_are_extra():
    assert extra_clocks(with_falls(*EVEN[:4], 459), 100, wanted=4) == (3,)
    assert extra_clocks(with_falls(*EVEN[:4], 460), 100, wanted=4) == ()
    assert extra_clocks(with_falls(*EVEN[:4], 459), 100, wanted=5) == ()


def test_masks_go_by_the_places_of_a_byte():
    read = Read(0, 1, (), (), (), (True, None, False, None) + (True,) * 6, False)
    assert (read.byte, read.undecided, read.missing) == (0b10001111, 0b01010000, 0)
    short = Read(0, 1, (), (), (), (None, True), True)
    assert (short.byte, short.undecided, short.missing) == (0b01000000, 0b10000000, 0b00111111)
    assert Read(0, 1, (), (), (), (), True).missing == 0xFF
