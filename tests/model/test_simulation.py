"""The bench as a whole: what goes in as held buttons comes out as reads."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.core.decode import decode
from padbench.core.levels import UNKNOWN
from padbench.core.pad import LineDelays, PadModel
from padbench.core.stimulus import DrivenLines, PollTiming, ScriptedRead, Stimulus
from padbench.core.timing import judge_timing
from padbench.model.simulation import simulate

MS = 1_000_000_000


def bytes_read(pad, stimulus):
    return [read.byte for read in decode(simulate(pad, stimulus))]


def test_every_held_state_is_read_as_it_is(pad, polled):
    held = list(range(256))
    assert bytes_read(pad, polled(held)) == held


def test_the_fast_corner_reads_the_same(pad, polled):
    held = [0x00, 0xFF, 0xAA, 0x55, 0x01, 0x80]
    assert bytes_read(replace(pad, answer=0), polled(held)) == held


def test_what_the_console_receives_is_the_line_inverted(pad, polled):
    timeline = simulate(pad, polled([0xA5]))
    line, inside = timeline.wires["cable.data"], timeline.wires["console.data"]
    at = list(range(MS, 2 * MS, 100_000))
    known = [(a, b) for a, b in zip(line.at(at), inside.at(at), strict=True) if a < 2]
    assert len(known) > 100
    assert all(a + b == 1 for a, b in known)


def test_the_stages_move_towards_the_last_one(pad, polled):
    stages = simulate(pad, polled([0x80])).words["pad.stages"]
    loaded = stages.values.index(0x7F)
    assert stages.values[loaded : loaded + 3] == (0x7F, 0xFE, 0xFC)


@st.composite
def runs(draw):
    """A pad of any size with its buttons anywhere, and a poll that keeps every limit."""
    stages = draw(st.integers(1, 24))
    count = min(8, stages)
    chosen = draw(st.permutations(range(1, stages + 1)))[:count]
    width = draw(st.integers(160_000, 20_000_000))
    low = draw(st.integers(180_000, 3_000_000))
    high = draw(st.integers(max(180_000, 333_333 - low), 9_000_000))
    gap = draw(st.integers(max(1, 280_000 - low), 9_000_000))
    timing = PollTiming(width, gap, low, high, low, stages + draw(st.integers(0, 3)))
    # The answer must have come by the next sample, and for the first bit since the latch's rise.
    answer = draw(st.integers(0, min(low + high, width + gap + low) - 1))
    serial = draw(st.sampled_from([0, 1]))
    held = draw(st.lists(st.integers(0, (1 << count) - 1), min_size=1, max_size=4))
    return stages, chosen, timing, answer, serial, held


def pressed_on(chosen, byte):
    """(bit, stage) pairs that are pressed, for a byte whose bit n is the n-th chosen stage."""
    return {stage for n, stage in enumerate(chosen) if byte >> n & 1}


@pytest.mark.no_cover
@settings(max_examples=150, deadline=None)
@given(runs())
def test_within_the_limits_what_was_held_is_read(limits, run):
    stages, chosen, timing, answer, serial, held = run
    pad = PadModel(
        limits,
        stages=stages,
        stage_of=tuple((1 << n, stage) for n, stage in enumerate(chosen)),
        serial=serial,
        answer=answer,
    )
    slot = timing.length + 4 * MS
    stimulus = Stimulus(
        tuple((n * slot, byte) for n, byte in enumerate(held)),
        tuple(ScriptedRead(n * slot + 2 * MS, timing) for n in range(len(held))),
        len(held) * slot,
    )
    reads = decode(simulate(pad, stimulus), wanted=timing.clocks)
    assert [read.bits for read in reads] == [
        tuple(stage in pressed_on(chosen, byte) for stage in range(stages, 0, -1))
        + (serial == 0,) * (timing.clocks - stages)
        for byte in held
    ]


LIMITED = {
    "latch_width": ("timing.latch-width", st.integers(1, 159_999)),
    "clock_low": ("timing.clock-low", st.integers(1, 179_999)),
    "clock_high": ("timing.clock-high", st.integers(1, 179_999)),
    "latch_to_clock": ("timing.removal", st.integers(1, 279_999)),
}


@pytest.mark.no_cover
@pytest.mark.parametrize("which", LIMITED)
@settings(max_examples=25, deadline=None)
@given(data=st.data(), held=st.integers(0, 255))
def test_outside_a_limit_there_is_always_a_finding_and_never_a_right_read(
    limits, timing, which, data, held
):
    id_, values = LIMITED[which]
    value = data.draw(values)
    if which == "latch_to_clock":
        low = data.draw(st.integers(180_000, 279_998))
        changed = replace(
            timing, clock_low=low, sample=low, latch_to_clock=min(value, 279_999 - low)
        )
    else:
        changed = replace(timing, **{which: value})
        changed = replace(changed, sample=min(changed.sample, changed.clock_low))
    pad = PadModel(limits, answer=data.draw(st.sampled_from([0, 100])))
    stimulus = Stimulus(((0, held),), (ScriptedRead(MS, changed),), 2 * MS)
    timeline = simulate(pad, stimulus)
    reads = decode(timeline)
    failed = {f.id for f in judge_timing(timeline, reads, limits) if f.verdict == "fail"}
    assert id_ in failed
    assert reads[0].undecided
    assert reads[0].worst_byte(held) != held


@pytest.mark.no_cover
@settings(max_examples=40, deadline=None)
@given(late=st.integers(1, 2_000_000), held=st.integers(0, 255))
def test_data_that_comes_after_the_sample_is_a_finding(limits, timing, late, held):
    answer = timing.clock_low + timing.clock_high + late
    slow = replace(limits, answer=replace(limits.answer, ps=answer + 1))
    pad = PadModel(slow, answer=answer)
    timeline = simulate(pad, Stimulus(((0, held),), (ScriptedRead(MS, timing),), 2 * MS))
    reads = decode(timeline)
    failed = {f.id for f in judge_timing(timeline, reads, slow) if f.verdict == "fail"}
    assert "timing.later-bits" in failed
    # A bit that differs from the one before it was still on its way, and is not taken as right.
    if held not in (0x00, 0xFF):
        assert reads[0].worst_byte(held) != held


@pytest.mark.parametrize("held", [0x00, 0xFF, 0xAA, 0x80])
def test_late_data_is_never_read_as_right_by_chance(limits, held):
    """A cycle of 360 ns against an answer of 500 ns: what differs from its neighbour is open."""
    pad = PadModel(limits, answer=500_000)
    timing = PollTiming(1_000_000, 1_000_000, 180_000, 180_000, 180_000)
    stimulus = Stimulus(((0, 0), (MS // 2, held)), (ScriptedRead(MS, timing),), 2 * MS)
    read = decode(simulate(pad, stimulus))[0]
    changes = {0x00: 0, 0xFF: 0, 0xAA: 0b01111111, 0x80: 0b01000000}[held]
    assert read.undecided & changes == changes


@pytest.mark.parametrize(
    ("which", "limit"), [("latch_width", 160_000), ("clock_low", 180_000), ("clock_high", 180_000)]
)
def test_a_limit_that_is_just_kept_is_kept(limits, timing, which, limit):
    changed = replace(timing, **{which: limit})
    changed = replace(changed, sample=min(changed.sample, changed.clock_low))
    stimulus = Stimulus(((0, 0xA5),), (ScriptedRead(MS, changed),), 2 * MS)
    read = decode(simulate(PadModel(limits), stimulus, watch=True))[0]
    assert (read.byte, read.undecided) == (0xA5, 0)


@pytest.mark.parametrize(
    ("before", "undecided"),
    [(50_000, 0), (49_999, 0x80), (1, 0x80), (0, 0x80), (-1, 0)],
)
def test_a_press_as_the_load_ends_is_in_doubt_at_that_very_moment(
    limits, timing, before, undecided
):
    """Set-up time is 50 ns (from memory). A moment after the load the register does not look."""
    fall = MS + timing.latch_width
    moves = ((0, 0), (fall - before, 0x80))
    read = decode(simulate(PadModel(limits), Stimulus(moves, (ScriptedRead(MS, timing),), 2 * MS)))
    assert read[0].undecided == undecided
    assert read[0].byte == (0x80 if before == 50_000 else 0)


@pytest.mark.parametrize(("period", "undecided"), [(499_999, True), (500_000, False)])
def test_the_clock_period_has_a_limit_of_its_own(limits, timing, period, undecided):
    slow = replace(limits, clock_period=replace(limits.clock_period, ps=500_000))
    quick = replace(timing, clock_low=200_000, clock_high=period - 200_000, sample=200_000)
    stimulus = Stimulus(((0, 0xA5),), (ScriptedRead(MS, quick),), 2 * MS)
    read = decode(simulate(PadModel(slow), stimulus))[0]
    assert bool(read.undecided) == undecided


def test_a_high_part_that_began_under_the_load_has_no_limit(limits):
    """The clock rises while loading and falls 100 ns later, just after the load: no shift of it."""
    lines = DrivenLines(
        latch=(1_000_000, 3_000_000),
        clock=(2_000_000, 2_950_000, 3_050_000, 3_700_000),
        samples=(3_700_000,),
    )
    stimulus = Stimulus(((0, 0x80),), (), 5_000_000, driven=lines)
    timeline = simulate(PadModel(limits), stimulus, watch=True)
    assert decode(timeline)[0].bits == (True,)
    assert None not in timeline.words["pad.stages"].values[1:]


def test_clocks_before_the_first_load_show_nothing(pad, polled):
    """A latch that a slow line swallows, then one that it does not."""
    line = replace(pad, latch_line=LineDelays(13_000_000, 0))
    short, wide = polled([0x81, 0x81]).reads
    wide = replace(wide, timing=replace(wide.timing, latch_width=40_000_000))
    reads = decode(simulate(line, replace(polled([0x81, 0x81]), reads=(short, wide))))
    assert reads[0].undecided == 0xFF
    assert reads[1].byte == 0x81


@pytest.mark.no_cover
@settings(max_examples=60, deadline=None)
@given(
    held=st.lists(st.integers(0, 255), min_size=1, max_size=3),
    serial=st.sampled_from([0, 1]),
    extra=st.integers(0, 3),
    bit=st.integers(1, 8),
    answer=st.sampled_from([0, 400_000]),
)
def test_the_watched_register_does_what_the_steady_one_does(
    limits, timing, held, serial, extra, bit, answer
):
    pad = PadModel(limits, serial=serial, answer=answer)
    stimulus = Stimulus(
        tuple((n * MS, byte) for n, byte in enumerate(held)),
        tuple(ScriptedRead(n * MS + MS // 2, timing, bit, extra) for n in range(len(held))),
        len(held) * MS,
    )
    steady = simulate(pad, stimulus)
    watched = simulate(pad, stimulus, watch=True)
    assert [r.bits for r in decode(steady)] == [r.bits for r in decode(watched)]
    assert steady.words == watched.words
    for name, wire in watched.wires.items():
        # Until a bit has surely arrived the watched run shows no level; otherwise both agree.
        times = np.union1d(wire.times, steady.wires[name].times)
        levels, other = wire.at(times), steady.wires[name].at(times)
        known = levels != UNKNOWN
        assert np.array_equal(levels[known], other[known]), name
        assert known.all() or name in ("cable.data", "console.data")


def test_a_synchronous_register_never_loads(pad, polled):
    reads = decode(simulate(replace(pad, load="synchronous"), polled([0x00, 0x80])))
    # Never loaded, it shifts in the ground of its serial input: everything seems pressed.
    assert reads[0].undecided == 0xFF
    assert reads[1].byte == 0xFF


def test_a_load_that_is_not_inverted_shows_the_first_button_for_ever(pad, polled):
    assert bytes_read(replace(pad, load_inverted=True), polled([0x80, 0x7F])) == [0xFF, 0x00]


def test_without_pull_ups_an_open_contact_is_at_no_level(pad, polled):
    read = decode(simulate(replace(pad, floating=True), polled([0x0F])))[0]
    assert read.undecided == 0xF0
    assert read.worst_byte(0x0F) == 0xFF


def test_an_open_serial_input_is_at_no_level_past_the_end(pad, polled):
    read = decode(simulate(replace(pad, serial=None), polled([0x00], clocks=10)))[0]
    assert read.bits == (False,) * 8 + (None, None)


def test_a_line_that_never_rises_gives_no_load(pad, polled):
    reads = decode(simulate(replace(pad, latch_line=LineDelays(None, 0)), polled([0x00])))
    assert len(reads) == 1
    assert reads[0].undecided == 0xFF


def test_a_late_line_shifts_the_edges_at_the_pad(pad, polled):
    timeline = simulate(replace(pad, clock_line=LineDelays(300_000, 0)), polled([0x00]))
    sent, got = timeline.wires["console.clock"], timeline.wires["pad.clock"]
    assert list(got.rises() - sent.rises()) == [300_000] * 8
    assert list(got.falls() - sent.falls()) == [0] * 8
