"""The rules of the wires where `test_rule_matrix` does not look: which pulse belongs to what."""

from dataclasses import replace

import numpy as np
import pytest
from handmade import NS, START, ps, wave

from padbench.core.decode import Names, decode
from padbench.core.findings import Source
from padbench.core.levels import HIGH, LOW, UNKNOWN
from padbench.core.limits import Limit
from padbench.core.timeline import Timeline, Wire, Word
from padbench.core.timing import RULES, judge_timing

US = 1_000 * NS


@pytest.fixture(scope="module")
def limits(limits):
    """With the rule that not every register needs."""
    return replace(limits, clock_at_load_end=(Source("this test", "assumed"),))


def judged(timeline, limits, names=None):
    found = judge_timing(timeline, decode(timeline, names), limits, names=names)
    assert [finding.id for finding in found] == list(RULES)
    return {finding.id: finding for finding in found}


def changed(timeline, **wires):
    """With other wires of the pad."""
    named = {f"pad.{name}": Wire.of(changes) for name, changes in wires.items()}
    return replace(timeline, wires={**timeline.wires, **named})


def test_a_finding_has_its_time_in_seconds_its_moment_and_its_source(limits):
    finding = judged(wave(latch=100 * NS), limits)["timing.latch-width"]
    assert (finding.verdict, finding.unit) == ("fail", "s")
    assert (finding.measured, finding.limit) == (pytest.approx(100e-9), pytest.approx(160e-9))
    assert finding.margin == pytest.approx(-60e-9)
    assert finding.met.at_ps == START
    assert finding.sources == limits.load_width.sources
    none = judged(wave(clocks=0), limits)["timing.clock-low"]
    assert (none.verdict, none.measured, ps(none.limit)) == ("not-judged", None, 180 * NS)
    assert none.sources == limits.clock_width.sources


def test_the_worst_of_several_reads_counts_and_the_first_of_equals(limits):
    two = joined(wave(latch=200 * NS), wave(latch=190 * NS), 30 * US)
    finding = judged(joined(two, wave(latch=190 * NS), 60 * US), limits)["timing.latch-width"]
    assert (ps(finding.measured), finding.met.at_ps) == (190 * NS, 30 * US + START)


@pytest.mark.parametrize(("earlier", "measured"), [(1, 1), (0, 0), (-1, None)])
def test_an_input_that_changes_as_the_load_ends_has_had_no_set_up_time(limits, earlier, measured):
    """At the very moment it counts; a picosecond later the register no longer looks."""
    finding = judged(wave(moved=earlier), limits)["timing.setup-parallel"]
    if measured is None:
        assert (finding.verdict, finding.measured) == ("not-judged", None)
    else:
        assert (finding.verdict, ps(finding.measured)) == ("fail", measured)


@pytest.mark.parametrize(("later", "measured"), [(0, None), (1, 40 * NS - 1)])
def test_an_input_that_moved_as_the_load_began_has_had_the_whole_load(limits, later, measured):
    finding = judged(wave(latch=40 * NS, moved=40 * NS - later), limits)["timing.setup-parallel"]
    assert (finding.verdict == "not-judged") == (measured is None)
    assert measured is None or ps(finding.measured) == measured


def test_the_last_move_before_each_load_end_counts(limits):
    moves = [(0, 0), (START + 100 * NS, 1), (START + 930 * NS, 2), (START + 1100 * NS, 3)]
    timeline = replace(wave(), words={"pad.inputs": Word.of(8, moves)})
    finding = judged(timeline, limits)["timing.setup-parallel"]
    assert (finding.verdict, ps(finding.measured)) == ("pass", 70 * NS)
    assert finding.met.at_ps == START + 1_000 * NS


def test_a_clock_at_the_very_end_of_the_load_has_no_removal_time(limits):
    timeline = wave(gap=-500 * NS)
    finding = judged(timeline, limits)["timing.removal"]
    assert (ps(finding.measured), finding.verdict, finding.case) == (0, "fail", "overtaken")
    # With one probe a line nobody can tell when it was sent.
    one = {**timeline.wires, "pad.load": timeline.wires["console.latch"]}
    finding = judged(replace(timeline, wires=one), limits)["timing.removal"]
    assert (ps(finding.measured), finding.verdict, finding.case) == (0, "fail", "")


@pytest.mark.parametrize(
    ("gap", "verdict"),
    [(1, "pass"), (0, "fail"), (-499_999, "fail"), (-500_000, "fail"), (-500_001, "pass")],
)
def test_the_clock_stands_high_when_the_load_ends(limits, gap, verdict):
    """On both sides of that moment; an edge at it has the clock low on one of them."""
    finding = judged(wave(gap=gap, clocks=1), limits)["timing.clock-at-load-end"]
    high = 1 if verdict == "pass" else 0
    assert (finding.verdict, finding.margin) == (verdict, high - 1)
    assert (finding.measured, finding.limit) == (high, 1)
    assert finding.met.at_ps == (None if verdict == "pass" else START + 1_000 * NS)


def test_a_register_that_does_not_ask_for_it_may_have_its_clock_low(limits):
    unasked = replace(limits, clock_at_load_end=())
    timeline = wave(gap=0, clocks=1)
    assert "timing.clock-at-load-end" not in {
        finding.id for finding in judge_timing(timeline, decode(timeline), unasked)
    }


def test_edges_that_never_arrive_are_counted(limits):
    timeline = wave()
    lazy = [(0, HIGH), (3_100 * NS, LOW), (6_100 * NS, HIGH)]
    lost = judged(changed(timeline, clock=lazy), limits)["timing.clock-arrives"]
    assert (lost.verdict, lost.measured, lost.limit, lost.margin) == ("fail", 2, 16, -14)
    assert "14 of 16 clock edges never reach" in lost.says
    # The first fall arrives; the rise at 3.5 µs had not when two more edges had been sent.
    assert lost.met.at_ps == 3_500 * NS


def test_an_edge_that_arrives_just_as_the_second_after_it_is_sent_is_not_lost(limits):
    """The first fall, sent at 3 µs, comes at 4 µs; the rise of 3.5 µs never does."""
    late = judged(changed(wave(), clock=[(0, HIGH), (4_000 * NS, LOW)]), limits)
    assert late["timing.clock-arrives"].met.at_ps == 3_500 * NS


def test_where_only_the_last_edges_are_lost_the_last_one_is_shown(limits):
    lost = judged(wave(lost=(0, 2)), limits)["timing.clock-arrives"]
    assert (lost.margin, lost.met.at_ps) == (-2, 10_500 * NS)


def test_of_few_edges_the_last_one_is_lost(limits):
    """The latch has two: there are no two more after the first that could overtake it."""
    lost = judged(changed(wave(), load=[(0, LOW)]), limits)["timing.latch-arrives"]
    assert (lost.measured, lost.margin, lost.met.at_ps) == (0, -2, START + 1_000 * NS)


def test_edges_that_arrive_late_arrive(limits):
    timeline = wave()
    load = timeline.wires["pad.load"]
    late = replace(load, times=load.times + np.array([0, 5, 5]))
    wires = {**timeline.wires, "pad.load": late}
    arrives = judged(replace(timeline, wires=wires), limits)["timing.latch-arrives"]
    assert (arrives.verdict, arrives.margin, arrives.met.at_ps) == ("pass", 0, None)


def test_one_probe_for_both_ends_of_the_cable_says_nothing_about_arrival(limits):
    timeline = wave()
    same = {**timeline.wires, "pad.load": timeline.wires["console.latch"]}
    found = judged(replace(timeline, wires=same), limits)
    assert found["timing.latch-arrives"].verdict == "not-judged"
    assert found["timing.clock-arrives"].verdict == "pass"


def test_a_pulse_still_running_at_the_end_is_not_measured(limits):
    cut = replace(changed(wave(), load=[(0, LOW), (START, HIGH)]), end_ps=START + 20 * NS)
    assert judged(cut, limits)["timing.latch-width"].verdict == "not-judged"
    whole = changed(cut, load=[(0, LOW), (START, HIGH), (START + 19 * NS, LOW)])
    assert ps(judged(whole, limits)["timing.latch-width"].measured) == 19 * NS


def test_a_load_that_is_high_from_the_start_is_no_pulse(limits):
    timeline = changed(wave(), load=[(0, HIGH), (50 * NS, LOW)])
    assert judged(timeline, limits)["timing.latch-width"].verdict == "not-judged"


def joined(first, second, at):
    """Two waves, the second one from ``at`` picoseconds on."""

    def both(name):
        one, other = first.wires[name], second.wires[name]
        later = [(t + at, v) for t, v in zip(other.times, other.levels, strict=True)]
        return Wire.of([*zip(one.times, one.levels, strict=True), *later])

    samples = np.append(first.events["console.sample"], second.events["console.sample"] + at)
    words = {"pad.inputs": Word.of(8, [(0, 0xFF)])}
    wires = {name: both(name) for name in first.wires}
    return Timeline(second.end_ps + at, wires, words, {"console.sample": samples})


@pytest.mark.parametrize(("at", "measured"), [(1, 49_999), (20_000, 30_000), (50_001, None)])
def test_a_load_that_is_high_from_the_start_has_a_set_up_time(limits, at, measured):
    timeline = replace(
        changed(wave(), load=[(0, HIGH), (50 * NS, LOW)]),
        words={"pad.inputs": Word.of(8, [(0, 0), (at, 1)])},
    )
    finding = judged(timeline, limits)["timing.setup-parallel"]
    assert (finding.measured and ps(finding.measured)) == measured


def test_removal_belongs_to_its_own_load(limits):
    """A load without a clock of its own has no removal time, whatever follows the next load."""
    two = joined(wave(clocks=0), wave(gap=400 * NS), 9 * US)
    finding = judged(two, limits)["timing.removal"]
    assert (ps(finding.measured), finding.met.at_ps) == (900 * NS, 9 * US + START + 1_000 * NS)
    two = joined(wave(gap=300 * NS), wave(clocks=0), 30 * US)
    assert ps(judged(two, limits)["timing.removal"].measured) == 800 * NS


def test_the_period_does_not_reach_over_a_load(limits):
    two = joined(wave(clocks=1), wave(clocks=1), 9 * US)
    assert judged(two, limits)["timing.clock-period"].verdict == "not-judged"
    # Not even to a clock at the very end of it.
    two = joined(wave(clocks=1), wave(clocks=1, gap=-500 * NS), 9 * US)
    assert judged(two, limits)["timing.clock-period"].verdict == "not-judged"
    two = joined(wave(clocks=1), wave(clocks=2), 9 * US)
    finding = judged(two, limits)["timing.clock-period"]
    assert (ps(finding.measured), finding.met.at_ps) == (1_000 * NS, 9 * US + 3_500 * NS)


def test_clocks_while_loading_do_not_count(limits):
    busy = changed(
        wave(),
        clock=[(0, HIGH), *((START + n * 10 * NS, n % 2 == 0) for n in range(1, 5))],
    )
    found = judged(busy, limits)
    for id_ in ("clock-low", "clock-high", "clock-period", "removal"):
        assert found[f"timing.{id_}"].verdict == "not-judged"


def test_a_clock_that_was_low_from_the_start_has_no_low_pulse_to_measure(limits):
    found = judged(changed(wave(), clock=[(0, LOW), (3_000 * NS, HIGH)]), limits)
    assert found["timing.clock-low"].verdict == "not-judged"
    assert found["timing.clock-high"].verdict == "not-judged"
    assert ps(found["timing.removal"].measured) == 1_000 * NS


def test_the_moment_of_a_pulse_is_its_beginning(limits):
    found = judged(wave(clocks=2, low=200 * NS, high=300 * NS), limits)
    assert found["timing.clock-low"].met.at_ps == 3_000 * NS
    assert found["timing.clock-high"].met.at_ps == 3_200 * NS
    assert found["timing.clock-period"].met.at_ps == 3_200 * NS


@pytest.mark.parametrize(
    ("end", "count"),
    [
        (4_000 * NS + 2_000 * NS, None),  # within two of the widest steps of the last edge
        (4_000 * NS + 2_001 * NS, 2),
    ],
)
def test_a_read_that_the_end_breaks_off_is_not_counted(limits, end, count):
    """Clocks rise at 3 and 4 µs; the widest step is the 1 µs of the latch and of a period."""
    drawn = replace(wave(clocks=2, gap=500 * NS), end_ps=end)
    finding = judged(drawn, limits)["timing.clocks"]
    assert finding.measured == count
    assert (finding.verdict, finding.limit) == ("not-judged" if count is None else "fail", 8)


def test_only_the_last_read_is_broken_off(limits):
    two = joined(wave(), wave(clocks=2), 30 * US)
    cut = replace(two, end_ps=30 * US + 5_000 * NS)
    finding = judged(cut, limits)["timing.clocks"]
    assert (finding.verdict, finding.measured, finding.met.at_ps) == ("pass", 8, START)


def test_a_read_that_a_new_latch_cuts_off_is_not_counted(limits):
    two = joined(wave(clocks=3), wave(clocks=9), 30 * US)
    finding = judged(two, limits)["timing.clocks"]
    assert (finding.verdict, finding.measured, finding.margin) == ("pass", 9, 1)
    assert finding.met.at_ps == 30 * US + START


def test_of_several_reads_the_one_with_the_fewest_clocks_counts(limits):
    two = joined(wave(clocks=8), wave(clocks=7), 30 * US)
    finding = judged(two, limits)["timing.clocks"]
    assert (finding.measured, finding.met.at_ps) == (7, 30 * US + START)


def test_a_sample_after_the_shift_is_found(limits):
    late = judged(wave(sample=530 * NS), limits)["timing.sample-point"]
    assert (late.verdict, ps(late.measured), late.met.at_ps) == ("fail", -30 * NS, 3_530 * NS)
    assert "30 ns after" in late.says


@pytest.mark.parametrize(("hold", "case"), [(30 * NS, "pass-held"), (30 * NS - 1, "fail-held")])
def test_a_bit_that_is_held_may_be_sampled_so_much_later(limits, hold, case):
    promised = Limit(hold, (Source("a program", "assumed"),))
    late = judged(wave(sample=530 * NS), replace(limits, hold=promised))["timing.sample-point"]
    assert (late.case, ps(late.limit)) == (case, -hold)
    assert late.sources == promised.sources


def test_a_sample_just_as_the_clock_falls_belongs_to_that_clock(limits):
    found = judged(wave(sample=0), limits)
    assert ps(found["timing.sample-point"].measured) == 500 * NS
    held = replace(limits, hold=Limit(100 * NS, (Source("a program", "assumed"),)))
    assert ps(judged(wave(sample=0), held)["timing.later-bits"].measured) == 500 * NS


def clocked(*clock, samples, latches=1):
    """Reads 10 µs apart with a console's clock of its own, starting low; all in nanoseconds."""
    timeline = wave(clocks=0)
    if latches == 2:
        timeline = joined(timeline, timeline, 10 * US)
    moves = [(0, LOW), *((at * NS, (n + 1) % 2) for n, at in enumerate(clock))]
    timeline.events["console.sample"] = np.asarray(samples, np.int64) * NS
    return replace(timeline, wires={**timeline.wires, "console.clock": Wire.of(moves)})


def test_a_clock_that_was_low_rises_before_its_first_fall(limits):
    """That rise ends no pulse that a sample behind the fall could belong to."""
    found = judged(clocked(2_500, 3_000, 3_500, samples=[3_500]), limits)
    assert ps(found["timing.sample-point"].measured) == 0
    # A bit that is held: a sample before any fall has no pulse of its own to wait behind.
    held = replace(limits, hold=Limit(100 * NS, (Source("a program", "assumed"),)))
    found = judged(clocked(3_000, 3_200, 3_700, samples=[2_900]), held)
    assert ps(found["timing.first-bit"].measured) == 1_900 * NS
    # Nor has one behind the rise that brings the second bit, whatever the read before did.
    two = clocked(2_000, 3_000, 12_500, 13_500, samples=[13_000], latches=2)
    assert judged(two, held)["timing.first-bit"].case == "none"


@pytest.mark.parametrize(
    ("samples", "measured", "at"),
    [((3_500, 4_200, 5_500), 700, 4_200), ((3_500, 4_500, 5_300), 800, 5_300)],
)
def test_each_later_bit_counts_from_its_own_clock(limits, samples, measured, at):
    timeline = wave(clocks=3)
    timeline.events["console.sample"] = np.asarray(samples) * NS
    finding = judged(timeline, limits)["timing.later-bits"]
    assert (ps(finding.measured), finding.met.at_ps) == (measured * NS, at * NS)


def test_a_sample_behind_the_last_clock_is_late_for_it(limits):
    timeline = wave(clocks=1)
    timeline.events["console.sample"] = np.array([3_000 * NS, 9_000 * NS])
    finding = judged(timeline, limits)["timing.sample-point"]
    assert (ps(finding.measured), finding.met.at_ps) == (-5_500 * NS, 9_000 * NS)


def test_a_sample_whose_clock_never_rises_cannot_be_late(limits):
    timeline = wave(clocks=1)
    stays_low = Wire.of([(0, HIGH), (3_000 * NS, LOW)])
    stuck = replace(timeline, wires={**timeline.wires, "console.clock": stays_low})
    finding = judged(stuck, limits)["timing.sample-point"]
    assert (finding.verdict, finding.case) == ("not-judged", "none")


def test_a_sample_before_the_first_fall_belongs_to_the_first_clock(limits):
    timeline = wave(clocks=1)
    timeline.events["console.sample"] = np.array([2_900 * NS])
    finding = judged(timeline, limits)["timing.sample-point"]
    assert (ps(finding.measured), finding.met.at_ps) == (600 * NS, 2_900 * NS)


def test_a_first_sample_after_the_first_shift_has_no_wait_of_its_own(limits):
    late = judged(wave(sample=530 * NS), limits)["timing.first-bit"]
    assert (late.verdict, late.measured) == ("not-judged", None)


def test_a_first_sample_without_any_clock_has_its_wait(limits):
    timeline = wave(clocks=0)
    timeline.events["console.sample"] = np.array([START + 300 * NS])
    found = judged(timeline, limits)
    assert ps(found["timing.first-bit"].measured) == 300 * NS
    assert found["timing.later-bits"].verdict == "not-judged"


def test_the_latch_has_an_answer_time_of_its_own_where_one_is_given(limits):
    own = replace(limits, first_answer=Limit(2_501 * NS, (Source("a program", "assumed"),)))
    found = judged(wave(), own)
    assert found["timing.first-bit"].verdict == "fail"
    assert found["timing.first-bit"].sources == own.first_answer.sources
    assert found["timing.later-bits"].verdict == "pass"


def test_without_sample_moments_every_rise_samples(limits):
    timeline = replace(wave(low=300 * NS, high=300 * NS), events={})
    found = judged(timeline, limits, Names(sample=None))
    assert found["timing.sample-point"].verdict == "not-judged"
    assert ps(found["timing.later-bits"].measured) == 600 * NS
    assert found["timing.later-bits"].verdict == "fail"


def test_data_that_come_too_late_fail_even_if_no_bit_was_ever_there(limits):
    silent = Wire.of([(0, UNKNOWN)])
    late = wave(low=300 * NS, high=300 * NS)
    found = judged(replace(late, wires={**late.wires, "cable.data": silent}), limits)
    assert found["timing.later-bits"].verdict == "fail"
    assert found["timing.first-bit"].case == "silent"
    one = Wire.of([(0, UNKNOWN), (START, LOW), (5_000 * NS, UNKNOWN)])
    found = judged(replace(late, wires={**late.wires, "cable.data": one}), limits)
    assert found["timing.first-bit"].verdict == "pass"


def reading_in_the_latch(rise, fall=30, sent_rise=1300):
    """Console: clock low from 1100 to 1300 ns, latch from 1000 to 1400; times on the way in ns."""
    sent = {"latch": [(1000, HIGH), (1400, LOW)], "clock": [(1100, LOW), (sent_rise, HIGH)]}
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
        finding = judged(reading_in_the_latch(rise), limits)["timing.removal"]
        assert (finding.verdict, ps(finding.measured)) == ("fail", -late * NS)
        assert ps(finding.margin) == -late * NS - limits.removal.ps
        assert finding.met.at_ps == (1300 + rise) * NS
        assert "sent before the load ends" in finding.says


@pytest.mark.parametrize(("sent", "case"), [(1399, "overtaken"), (1400, "overtaken"), (1401, "")])
def test_a_clock_that_rises_after_its_latch_fell_is_not_overtaken(limits, sent, case):
    """It falls in the latch all the same. Just at the fall counts as before it."""
    finding = judged(reading_in_the_latch(900, sent_rise=sent), limits)["timing.removal"]
    assert (finding.case, finding.verdict) == (case, "fail" if case else "pass")


def test_of_two_overtaken_clocks_the_later_one_counts(limits):
    first, second = reading_in_the_latch(200), reading_in_the_latch(300)
    for pair in ((first, second), (second, first)):
        moment = 1600 * NS + 9 * US * pair.index(second)
        finding = judged(joined(*pair, 9 * US), limits)["timing.removal"]
        assert (ps(finding.measured), finding.met.at_ps) == (-170 * NS, moment)
        assert "170 ns after" in finding.says


def test_an_overtaken_clock_fails_even_where_no_removal_time_is_asked_for(limits):
    none = replace(limits, removal=Limit(0, limits.removal.sources))
    finding = judged(reading_in_the_latch(130), none)["timing.removal"]
    assert (finding.verdict, finding.case, finding.margin) == ("fail", "overtaken", 0)


def test_a_bit_that_is_held_after_its_clock_counts_from_the_edge_before(limits):
    """Sampled 30 ns behind the rise that ends its own pulse, which brings nothing yet then."""
    late = wave(sample=530 * NS)
    plain = judged(late, limits)
    assert plain["timing.first-bit"].verdict == "not-judged"
    assert ps(plain["timing.later-bits"].measured) == 30 * NS
    held = replace(limits, hold=Limit(100 * NS, (Source("a program", "assumed"),)))
    found = judged(late, held)
    assert ps(found["timing.first-bit"].measured) == 2_530 * NS
    assert ps(found["timing.later-bits"].measured) == 1_030 * NS


def test_a_clock_of_the_read_before_brings_no_bit_of_this_one(limits):
    line = wave(clocks=1)
    (read,) = decode(line)
    times = ("start_ps", "latch_end_ps", "clock_falls", "clock_rises", "samples")
    moved = {
        name: tuple(t + 30 * US for t in value) if isinstance(value, tuple) else value + 30 * US
        for name in times
        for value in [getattr(read, name)]
    }
    found = {f.id: f for f in judge_timing(line, [read, replace(read, **moved)], limits)}
    assert found["timing.later-bits"].verdict == "not-judged"
