"""The rules on hand-made waves: the measured value is the one drawn, and the limit cuts exactly."""

from dataclasses import replace

import numpy as np
import pytest

from padbench.core.decode import Names, decode
from padbench.core.findings import Source
from padbench.core.limits import Limit
from padbench.core.timeline import HIGH, LOW, Timeline, Wire, Word
from padbench.core.timing import judge_timing

NS = 1000


def wave(latch=200, gap=200, low=200, high=200, sample=200, moved=None, clocks=8):
    """One read, all times in nanoseconds; ``moved``: an input changes so long before load end."""
    fall = 1000 + latch
    edges = [(fall + gap + n * (low + high), n) for n in range(clocks)]
    load = Wire.of([(0, LOW), (1000 * NS, HIGH), (fall * NS, LOW)])
    clock = Wire.of(
        [(0, HIGH)]
        + [pair for at, _ in edges for pair in ((at * NS, LOW), ((at + low) * NS, HIGH))]
    )
    inputs = [(0, 0xFF)] + ([((fall - moved) * NS, 0x7F)] if moved else [])
    end = (edges[-1][0] + low + high + 5000) * NS
    return Timeline(
        end,
        {
            "pad.load": load,
            "pad.clock": clock,
            "console.latch": load,
            "console.clock": clock,
            "cable.data": Wire.of([(0, HIGH)]),
        },
        {"pad.inputs": Word.of(8, inputs)},
        {"console.sample": np.asarray([(at + sample) * NS for at, _ in edges])},
    )


def judged(timeline, limits):
    return {f.id: f for f in judge_timing(timeline, decode(timeline), limits)}


CASES = [
    ("timing.latch-width", "latch", 160),
    ("timing.clock-low", "low", 180),
    ("timing.clock-high", "high", 180),
    ("timing.setup-parallel", "moved", 50),
]


@pytest.mark.parametrize(("id_", "which", "limit"), CASES)
def test_a_width_is_measured_and_cut_at_its_limit(limits, id_, which, limit):
    for value in (limit - 1, limit, limit + 35):
        found = judged(wave(**{which: value}), limits)[id_]
        assert (found.measured, found.limit, found.margin) == (value, limit, value - limit)
        assert found.verdict == ("fail" if value < limit else "pass")
        assert found.unit == "ns"
        assert "memory" in found.source


def test_removal_runs_from_load_end_to_the_first_rise(limits):
    found = judged(wave(gap=70, low=200), limits)["timing.removal"]
    assert (found.measured, found.verdict) == (270, "fail")
    assert judged(wave(gap=80, low=200), limits)["timing.removal"].verdict == "pass"


def test_a_clock_at_the_very_end_of_the_load_has_no_removal_time(limits):
    found = judged(wave(gap=-200, low=200), limits)["timing.removal"]
    assert (found.measured, found.verdict) == (0, "fail")


def test_period_runs_from_rise_to_rise(limits):
    found = judged(wave(low=180, high=153), limits)["timing.clock-period"]
    assert (found.measured, found.verdict) == (333, "fail")


def test_pulses_that_never_arrive_are_counted(limits):
    timeline = wave()
    lazy = Wire.of([(0, HIGH), (1400 * NS, LOW), (4400 * NS, HIGH)])
    found = judged(replace(timeline, wires={**timeline.wires, "pad.clock": lazy}), limits)
    lost = found["timing.clock-arrives"]
    assert (lost.verdict, lost.measured, lost.limit) == ("fail", 2, 16)
    assert "14 of 16 clock edges never reach" in lost.says
    # The first that had not come when two more had been sent.
    sent = timeline.wires["console.clock"].times[1:].tolist()
    first = next(
        at for n, at in enumerate(sent) if (lazy.times[1:] <= sent[n + 2]).sum() < n + 1
    )  # fmt: skip
    assert lost.where == f"at {first / 1e6:.3f} µs"
    arrived = Wire(timeline.wires["pad.load"].times + 5, timeline.wires["pad.load"].levels)
    late = judged(replace(timeline, wires={**timeline.wires, "pad.load": arrived}), limits)
    assert late["timing.latch-arrives"].verdict == "pass"


def test_one_end_of_the_cable_says_nothing_about_arrival(limits):
    assert judged(wave(), limits)["timing.latch-arrives"].verdict == "not-judged"


def test_the_period_over_a_latch_is_no_period(limits):
    quick = wave(clocks=1)
    assert judged(quick, limits)["timing.clock-period"].verdict == "not-judged"


@pytest.mark.parametrize(("answer", "verdict"), [(400, "pass"), (401, "fail")])
def test_later_bits_have_one_clock_to_arrive(limits, answer, verdict):
    tight = replace(limits, answer=replace(limits.answer, ps=answer * NS))
    found = judged(wave(low=200, high=200, sample=200), tight)["timing.later-bits"]
    assert (found.measured, found.verdict) == (400, verdict)


@pytest.mark.parametrize(("answer", "verdict"), [(600, "pass"), (601, "fail")])
def test_the_first_bit_has_from_the_latch_on(limits, answer, verdict):
    tight = replace(limits, answer=replace(limits.answer, ps=answer * NS))
    found = judged(wave(), tight)["timing.first-bit"]
    assert (found.measured, found.verdict) == (600, verdict)


def test_a_sample_after_the_shift_is_found(limits):
    assert judged(wave(sample=200), limits)["timing.sample-point"].verdict == "pass"
    late = judged(wave(sample=230), limits)["timing.sample-point"]
    assert (late.verdict, late.measured) == ("fail", -30)
    assert "30 ns after" in late.says


def test_a_first_sample_after_the_first_shift_has_no_wait_of_its_own(limits):
    late = judged(wave(sample=230), limits)["timing.first-bit"]
    assert (late.verdict, late.measured) == ("not-judged", None)


def test_without_inputs_or_samples_those_rules_do_not_judge(limits):
    timeline = wave()
    bare = replace(timeline, words={}, events={})
    found = {f.id: f.verdict for f in judge_timing(bare, decode(bare, Names(sample=None)), limits)}
    assert found["timing.setup-parallel"] == found["timing.sample-point"] == "not-judged"
    assert found["timing.later-bits"] == "fail"  # 400 ns against 700: samples at the rises


def test_a_pulse_still_running_at_the_end_is_not_measured(limits):
    timeline = wave(latch=50)
    running = Wire.of([(0, LOW), (1000 * NS, HIGH)])
    cut = replace(timeline, end_ps=1020 * NS, wires={**timeline.wires, "pad.load": running})
    assert judged(cut, limits)["timing.latch-width"].verdict == "not-judged"


def joined(first, second, at):
    """Two waves, the second one from ``at`` nanoseconds on."""

    def both(name):
        one, other = first.wires[name], second.wires[name]
        later = [(t + at * NS, v) for t, v in zip(other.times, other.levels, strict=True)]
        return Wire.of([*zip(one.times, one.levels, strict=True), *later])

    samples = np.append(first.events["console.sample"], second.events["console.sample"] + at * NS)
    words = {"pad.inputs": Word.of(8, [(0, 0xFF)])}
    wires = {name: both(name) for name in first.wires}
    return Timeline(second.end_ps + at * NS, wires, words, {"console.sample": samples})


def test_removal_belongs_to_its_own_load(limits):
    """A load without a clock of its own has no removal time, whatever follows the next load."""
    without = replace(wave(), wires={**wave().wires, "console.clock": Wire.of([(0, HIGH)])})
    without.wires["pad.clock"] = Wire.of([(0, HIGH)])
    two = joined(replace(without, events={"console.sample": np.asarray([], int)}), wave(), 9000)
    assert judged(two, limits)["timing.removal"].measured == 400


def test_the_period_does_not_reach_over_a_load(limits):
    two = joined(wave(clocks=1), wave(clocks=1), 9000)
    assert judged(two, limits)["timing.clock-period"].verdict == "not-judged"


def test_reads_need_eight_clocks(limits):
    assert judged(wave(), limits)["timing.clocks"].verdict == "pass"
    few = judged(wave(clocks=7), limits)["timing.clocks"]
    assert (few.verdict, few.measured, few.margin) == ("fail", 7, -1)


def test_an_input_that_moved_as_the_load_began_has_had_the_whole_load(limits):
    timeline = replace(wave(latch=40), words={"pad.inputs": Word.of(8, [(0, 1), (1000 * NS, 2)])})
    assert judged(timeline, limits)["timing.setup-parallel"].verdict == "not-judged"


def test_clocks_while_loading_do_not_count(limits):
    timeline = wave()
    clock = Wire.of([(0, HIGH), (1010 * NS, LOW), (1011 * NS, HIGH)])
    busy = replace(timeline, wires={**timeline.wires, "pad.clock": clock})
    assert judged(busy, limits)["timing.clock-low"].verdict == "not-judged"


def reading_in_the_latch(rise, fall=30):
    """Console: clock low from 1100 to 1300 ns, latch from 1000 to 1400; times on the way in ns."""
    sent = {"latch": [(1000, HIGH), (1400, LOW)], "clock": [(1100, LOW), (1300, HIGH)]}
    late = {HIGH: {"latch": 50, "clock": rise}, LOW: {"latch": fall, "clock": fall}}

    def wire(name, first, on_the_way):
        moves = [(at + (late[level][name] if on_the_way else 0), level) for at, level in sent[name]]
        return Wire.of([(0, first), *((at * NS, level) for at, level in moves)])

    wires = {
        f"{end}.{pin}": wire(name, first, end == "pad")
        for end in ("console", "pad")
        for name, pin, first in (
            ("latch", "latch" if end == "console" else "load", LOW),
            ("clock", "clock", HIGH),
        )
    }
    wires["cable.data"] = Wire.of([(0, HIGH)])
    return Timeline(9000 * NS, wires, {}, {"console.sample": np.asarray([1300 * NS])})


def test_a_clock_that_the_end_of_the_load_overtakes_has_no_removal_at_all(limits):
    """The edge sent while the latch is high must come while the register still loads."""
    for rise in (50, 129):
        assert judged(reading_in_the_latch(rise), limits)["timing.removal"].verdict != "fail"
    for rise, late in ((130, 0), (131, 1), (900, 770)):
        found = judged(reading_in_the_latch(rise), limits)["timing.removal"]
        assert (found.verdict, found.measured) == ("fail", -late)
        assert found.limit is not None
        assert found.margin == -late - found.limit
        assert "sent before the load ends" in found.says


def test_a_bit_that_is_held_after_its_clock_counts_from_the_edge_before(limits):
    """Sampled 30 ns behind the rise that ends its own pulse, which brings nothing yet then."""
    late = wave(sample=230)
    plain = judged(late, limits)
    assert plain["timing.first-bit"].verdict == "not-judged"
    assert plain["timing.later-bits"].measured == 30
    found = judged(late, replace(limits, hold=Limit(100 * NS, (Source("a program", "assumed"),))))
    assert found["timing.first-bit"].measured == 200 + 200 + 230
    assert found["timing.later-bits"].measured == 400 + 30


def test_a_clock_of_the_read_before_brings_no_bit_of_this_one(limits):
    line = wave(clocks=1)
    (read,) = decode(line)
    times = ("start_ps", "latch_end_ps", "clock_falls", "clock_rises", "samples")
    moved = {
        name: tuple(t + 3000 * NS for t in value) if isinstance(value, tuple) else value + 3000 * NS
        for name in times
        for value in [getattr(read, name)]
    }
    found = {f.id: f for f in judge_timing(line, [read, replace(read, **moved)], limits)}
    assert found["timing.later-bits"].verdict == "not-judged"
