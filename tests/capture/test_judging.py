"""Each finding of an inspection, on a capture that has just this one thing wrong with it."""

from dataclasses import replace

import numpy as np
import pytest

from padbench.capture.expected import Expectation, Held, judge_expectation
from padbench.capture.inspect import inspect, usual_settings
from padbench.capture.judging import findings_of
from padbench.core.findings import Source
from padbench.core.levels import FLOATING, HIGH, LOW, UNKNOWN
from padbench.core.limits import Limit
from padbench.waveio import Piece

US, MS = 10**6, 10**9
FRAME = 16 * MS


def capture(held, *, clocks=8, delay=300_000, times=None):
    """Levels of latch, clock and data: a read of 8.9 µs latch and so many clocks each frame."""
    latch, clock, data = [(0, LOW)], [(0, HIGH)], [(0, HIGH)]
    for number, byte in enumerate(held):
        start = times[number] if times else MS + number * FRAME
        latch += [(start, HIGH), (start + 9 * US, LOW)]
        levels = [1 - (byte >> 7 - n & 1) for n in range(8)] + [0] * (clocks - 7)
        data.append((start + delay, levels[0]))
        for n in range(clocks):
            fall = start + (14 + 6 * n) * US
            clock += [(fall, LOW), (fall + US, HIGH)]
            data.append((fall + US + delay, levels[n + 1]))
    return {"latch": latch, "clock": clock, "data": data}


def inspected(wires, *, end=None, gaps=(), settings=None, samples=()):
    changes = {
        name: (np.asarray([t for t, _ in some]), np.asarray([v for _, v in some], np.uint8))
        for name, some in wires.items()
    }
    last = max(some[-1][0] for some in wires.values())
    events = {"sample": np.asarray(samples)} if len(samples) else {}
    piece = Piece(end or last + 2 * MS, changes, events, gaps)
    return inspect([piece], settings or usual_settings())


def finding(result, id_, other=None):
    return next(f for f in findings_of(result) if f.id == id_ and other in (None, f.met.other))


def with_changes(wires, name, *more):
    return wires | {name: sorted([*wires[name], *more])}


WHOLE = capture([0, 128, 128, 0])


def test_nothing_is_wrong_with_a_clean_one():
    found = findings_of(inspected(WHOLE))
    assert {f.verdict for f in found} <= {"pass", "not-judged"}
    assert not {f.id for f in found} & {
        *("buttons.bounce", "capture.gap", "capture.gaps", "capture.cut-short", "reads.clocks"),
        *("reads.cut-short", "capture.ends-in-read", "reads.in-frame", "capture.reads"),
    }


@pytest.mark.parametrize(("slower", "doubt"), [(100, False), (1000, True), (10**6, True)])
def test_times_that_no_console_takes_are_doubted(slower, doubt):
    """The latch of 9 µs becomes 0.9, 9 and 9000 ms."""
    wires = {name: [(t * slower, v) for t, v in some] for name, some in WHOLE.items()}
    found = [f for f in findings_of(inspected(wires)) if f.id == "capture.time-scale"]
    assert [(f.verdict, f.where) for f in found] == [("not-judged", "latch width")] * doubt
    assert all("is the unit of the time right" in f.says for f in found)


@pytest.mark.parametrize(("slower", "unit"), [(10**2, None), (10**3, "ms"), (10**6, "us")])
def test_no_time_passes_where_its_unit_may_be_wrong(slower, unit):
    """The latch of 9 µs becomes 0.9, 9 and 9000 ms."""
    wires = {name: [(t * slower, v) for t, v in some] for name, some in WHOLE.items()}
    seen = inspected(wires)
    for known in (True, False):
        found = findings_of(seen, unit_known=known)
        scale = [f for f in found if f.id == "capture.time-scale"]
        assert [f.verdict for f in scale] == ["not-judged" if known else "fail"] * bool(unit)
        times = {f.verdict for f in found if f.id.startswith("timing.")}
        assert times == {"not-judged"} if unit else "pass" in times
    assert all(f"give --time-unit {unit}, or" in f.says for f in scale)


def test_a_clock_that_is_lost_fails_where_no_new_latch_cut_the_read_short():
    wires = capture([0] * 4, times=[MS + n * FRAME for n in range(4)])
    second = [n for n, (when, _) in enumerate(wires["clock"]) if when > MS + FRAME][4:6]
    wires["clock"] = [edge for n, edge in enumerate(wires["clock"]) if n not in second]
    failed = [f for f in findings_of(inspected(wires)) if f.verdict == "fail"]
    assert [(f.id, f.measured, f.met.read) for f in failed] == [("reads.cut-short", 1, 2)]
    assert "clocks were lost on the way" in failed[0].says


def test_times_a_thousand_times_too_short_are_the_recordings_fault():
    wires = {name: [(t // 1000, v) for t, v in some] for name, some in WHOLE.items()}
    failed = [f for f in findings_of(inspected(wires)) if f.verdict == "fail"]
    assert [(f.id, f.case) for f in failed] == [("capture.time-scale", "fast")]
    assert "is the unit of the time right" in failed[0].says


def test_a_read_longer_than_a_frame_is_doubted():
    wires = capture([0] * 3, times=[MS + n * FRAME for n in range(3)])
    spread = {name: [(t * 400, v) for t, v in some] for name, some in wires.items()}
    starts = [when for when, level in spread["latch"] if level]
    spread["latch"] = [(0, LOW)]
    spread["latch"] += [(s + n * 9 * US, HIGH - n) for s in starts for n in range(2)]
    (found,) = [f for f in findings_of(inspected(spread)) if f.id == "capture.time-scale"]
    assert (found.verdict, found.where, found.unit) == ("not-judged", "read length", "s")


def test_a_glitch_on_the_clock_spoils_its_read_only():
    at = MS + FRAME + 28 * US
    result = inspected(with_changes(WHOLE, "clock", (at, LOW), (at + 50_000, HIGH)))
    found = finding(result, "levels.glitches")
    # Both its own width and what it leaves of the pulse before may be too short.
    assert (found.verdict, found.measured) == ("fail", 1)
    assert f"the first at {at / 1e6:.3f} µs" in found.says
    undecided = [read.undecided for read in result.reads()]
    assert undecided[1]
    assert undecided[0] == undecided[2] == undecided[3] == 0
    assert finding(result, "reads.decided").verdict == "fail"


def test_noise_between_reads_does_not_reach_a_bit_sampled_before_any_clock():
    between = MS + FRAME * 3 // 4
    noise = [(between, UNKNOWN), (between + US, LOW)]
    noise += [(when + 3 * FRAME, level) for when, level in noise]
    wires = with_changes(WHOLE, "data", *noise)
    starts = [MS + number * FRAME for number in range(4)]
    samples = [start + (12 + 6 * n) * US for start in starts for n in range(8)]
    result = inspected(wires, samples=samples)
    assert [read.byte for read in result.reads()] == [0, 128, 128, 0]
    assert not any(read.undecided for read in result.reads())


def test_after_a_latch_too_short_for_any_register_nothing_is_sure():
    start = MS + 2 * FRAME
    latch = [c if c[0] != start + 9 * US else (start + 100_000, LOW) for c in WHOLE["latch"]]
    reads = [*inspected(WHOLE | {"latch": latch}).reads()]
    assert [read.undecided for read in reads] == [0, 0, 0xFF, 0]
    assert finding(inspected(WHOLE | {"latch": latch}), "reads.decided").measured == 1


def test_a_runt_on_the_latch():
    at = MS + FRAME // 2
    result = inspected(with_changes(WHOLE, "latch", (at, UNKNOWN), (at + US, LOW)))
    found = finding(result, "levels.runts", "latch")
    assert (found.verdict, found.measured) == ("fail", 1)
    assert finding(result, "levels.runts", "clock").verdict == "pass"


@pytest.mark.parametrize(("delay", "verdict"), [(300_000, "pass"), (900_000, "fail")])
def test_data_that_come_late(delay, verdict):
    settings = replace(
        usual_settings(), delay=Limit(500_000, (Source("a limit for this test", "assumed"),))
    )
    result = inspected(capture([0x55, 0xAA], delay=delay), settings=settings)
    found = finding(result, "timing.data-delay")
    assert (found.verdict, found.measured) == (verdict, pytest.approx(delay * 1e-12))
    measured = result.measures["data delay after the clock"]
    assert (measured.least, measured.median, measured.most) == (delay, delay, delay)


def test_bounce():
    """A button that comes, goes within 4 ms and comes again."""
    held = [0, 128, 0, 128, 128, 128]
    times = [MS, 20 * MS, 22 * MS, 24 * MS, 40 * MS, 60 * MS]
    found = finding(inspected(capture(held, times=times)), "buttons.bounce")
    assert "1 change came again within 10 ms" in found.says
    assert "the first of A at 20000.000 µs" in found.says
    assert (found.met.read, found.met.at_ps) == (2, 20 * MS)


@pytest.mark.parametrize(
    ("held", "says"),
    [
        ([128, 144, 128], "A is held in all 3 whole reads: stuck, or held all the time"),
        ([129, 129, 137], "A and Right are held in all 3 whole reads: stuck, or held all the time"),
        ([128, 0, 128], None),
    ],
)
def test_what_is_held_in_every_read_may_be_stuck(held, says):
    result = inspected(capture(held))
    assert [f.says for f in findings_of(result) if f.id == "buttons.always"] == [says] * bool(says)
    assert not any(f.id == "buttons.always" for f in findings_of(result, told=True))


@pytest.mark.parametrize(
    ("delay", "says"),
    [
        (-700_000, "300 ns after the clock falls"),
        (4_300_000, "4.3 µs after the clock"),
        (300_000, ""),
    ],
)
def test_data_that_change_as_the_clock_falls_or_far_too_late(delay, says):
    """The clock is low for 1 µs of 6 µs; a register shifts as it rises."""
    found = findings_of(inspected(capture([0x50] * 3, delay=delay)))
    late = [f for f in found if f.id == "reads.late-data"]
    assert [f.verdict for f in late] == ["fail"] * bool(says)
    assert all(says in f.says for f in late)


def test_late_data_are_not_blamed_where_the_unit_of_the_time_is_wrong():
    wires = capture([0x50] * 3)
    slow = {name: [(t * 1000, v) for t, v in some] for name, some in wires.items()}
    found = findings_of(inspected(slow))
    assert [f.verdict for f in found if f.id == "reads.late-data"] == ["not-judged"]
    assert "fail" not in {f.verdict for f in found}


def test_the_clocks_of_a_read_without_a_latch():
    """Of five reads the latch of the third and of the last is lost."""
    wires = capture([0x50] * 5)
    wires["latch"] = [some for n, some in enumerate(wires["latch"]) if n not in (5, 6, 9, 10)]
    found = finding(inspected(wires), "reads.no-latch")
    assert (found.verdict, found.measured) == ("fail", 2)
    assert found.met.at_ps == MS + 2 * FRAME + 14 * US
    assert not [f for f in findings_of(inspected(WHOLE)) if f.id == "reads.no-latch"]


def test_reads_in_what_was_not_recorded():
    gap = (MS + FRAME + 20 * US, MS + FRAME + 30 * US)
    result = inspected(WHOLE, gaps=(gap,))
    assert [read.in_gap for read in result.reads()] == [False, True, False, False]
    assert "1 read was partly in a stretch that was not recorded" in (
        finding(result, "capture.gap").says
    )
    assert finding(result, "capture.gaps").verdict == "not-judged"


def test_a_capture_that_ends_in_a_read():
    end = MS + 3 * FRAME + 30 * US
    short = {name: [c for c in some if c[0] <= end] for name, some in WHOLE.items()}
    result = inspected(short, end=end)
    *others, last = result.reads()
    assert last.open_ended
    assert last.missing == 0b00011111
    assert not any(read.open_ended or read.cut_short for read in others)
    assert "after 3 clocks" in finding(result, "capture.ends-in-read").says


def test_nothing_passes_that_no_whole_read_has_shown():
    end = MS + 30 * US
    short = {name: [c for c in some if c[0] <= end] for name, some in capture([0]).items()}
    result = inspected(short, end=end, settings=usual_settings(passes=2))
    assert [read.open_ended for read in result.reads()] == [True]
    passed = {found.id for found in findings_of(result) if found.verdict == "pass"}
    assert not passed & {"reads.extra-clock", "reads.opposite-directions", "reads.passes-agree"}


def test_a_hold_that_no_read_falls_in_is_no_pass():
    hold, later = Held(128, MS, MS + FRAME // 2), Held(64, 40 * FRAME, 41 * FRAME)
    reads = [*inspected(capture([128, 0, 0])).reads()]
    verdicts = [
        judge_expectation(reads, Expectation(held)) for held in ((hold,), (hold, later), (later,))
    ]
    assert [found.verdict for found in verdicts] == ["pass", "not-judged", "fail"]
    assert verdicts[1].says == (
        "all 3 whole reads are as expected, but none falls in 1 hold of the file, farther from "
        "its ends than its slack; record as long as it says, and hold longer"
    )


@pytest.mark.parametrize(("byte", "verdict"), [(0, "not-judged"), (128, "pass")])
def test_a_hold_within_the_slack_of_its_ends_is_no_pass_unless_it_was_read(byte, verdict):
    """Whichever way its only read falls is as expected."""
    hold = Held(128, FRAME, FRAME + 2 * MS)
    reads = inspected(capture([0, byte, 0])).reads()
    assert judge_expectation(reads, Expectation((hold,), slack=10 * MS)).verdict == verdict


def test_a_read_that_a_new_latch_cuts_short():
    again = 2 * MS + 36 * US
    before, after = capture([0, 0], times=[MS, 2 * MS]), capture([128], times=[again])
    some = {
        name: [*(c for c in before[name] if c[0] < again), *(c for c in after[name] if c[0])]
        for name in before
    }
    result = inspected(some)
    assert [read.cut_short for read in result.reads()] == [False, True, False]
    assert [read.clocks for read in result.reads()] == [8, 4, 8]
    assert "1 read was given up" in finding(result, "reads.cut-short").says


def test_a_program_that_reads_more_is_no_stopped_read():
    result = inspected(capture([0, 128, 0, 0], clocks=16))
    found = finding(result, "reads.clocks")
    assert "4 reads with 16; evenly spaced, so none was stopped" in found.says
    assert not any(read.extra for read in result.reads())


@pytest.mark.parametrize("wanted", [9, 12, 64])
def test_a_read_with_fewer_clocks_than_wanted_is_whole_nowhere(wanted):
    result = inspected(WHOLE, settings=usual_settings(wanted=wanted))
    reads = [*result.reads()]
    assert [read.complete for read in reads] == [False] * 4
    assert [(read.cut_short, read.open_ended) for read in reads] == [(True, False)] * 3 + [
        (False, True)
    ]
    assert [read.byte for read in reads] == [0, 128, 128, 0]
    found = {f.id: f for f in findings_of(result, wanted=wanted)}
    assert found["timing.clocks"].says == "no whole read"
    assert found["reads.clocks"].verdict == "fail"
    says = f"no read has the {wanted} clocks of a whole one: 4 reads with 8"
    assert found["reads.clocks"].says.startswith(says)


def test_a_read_with_as_many_clocks_as_wanted_or_more_is_whole():
    for wanted in (1, 4, 8):
        result = inspected(WHOLE, settings=usual_settings(wanted=wanted))
        assert all(read.complete for read in result.reads())
        assert not any(read.missing for read in result.reads())
    result = inspected(capture([0x30], clocks=2), settings=usual_settings(wanted=4))
    assert [(r.complete, r.missing) for r in result.reads()] == [(False, 0x30)]


def failed(result):
    return {(f.id, f.case) for f in findings_of(result) if f.verdict == "fail"}


@pytest.mark.parametrize("apart", [1_500_000, 1_900_000])
def test_a_clock_that_comes_twice_fails_though_it_does_so_in_every_read(apart):
    clock = WHOLE["clock"] + [(t + apart, v) for t, v in WHOLE["clock"][1:]]
    result = inspected(WHOLE | {"clock": sorted(clock)})
    assert failed(result) == {("reads.clocks", "pairs")}
    told = finding(result, "reads.clocks")
    assert (told.measured, told.facts["first"], told.facts["wanted"]) == (4, 16, 8)
    assert not failed(inspected(capture([0, 128], clocks=16)))  # evenly spaced: more bits


@pytest.mark.parametrize(
    ("moved", "wrong"),
    [
        (-3 * US, None),
        (-8 * US, ("reads.clocks", "latch")),
        (3 * MS, ("reads.no-latch", "")),
        (-200 * US, ("reads.no-latch", "")),
    ],
)
def test_a_clock_that_is_offset_against_the_latch_is_named(moved, wrong):
    wires = WHOLE | {"clock": [(0, HIGH), *((t + moved, v) for t, v in WHOLE["clock"][1:])]}
    found = failed(inspected(wires))
    assert wrong in found if wrong else not found


@pytest.mark.parametrize(
    ("width", "told"), [(60_000, "timing.latch-width"), (400_000, "levels.glitches")]
)
def test_a_spike_on_the_latch_is_one_fault_and_no_lost_clock(width, told):
    spike = MS + 2 * FRAME + 40 * US
    result = inspected(with_changes(WHOLE, "latch", (spike, HIGH), (spike + width, LOW)))
    assert {id_ for id_, _ in failed(result)} == {told}


def stray(after):
    """One pulse of the clock so long after the last of the second read."""
    at = MS + FRAME + 57 * US + after
    return with_changes(WHOLE, "clock", (at, LOW), (at + US, HIGH))


@pytest.mark.parametrize(
    ("after", "even"), [(5 * US, True), (8 * US, True), (11 * US, False), (5 * MS, False)]
)
def test_evenly_spaced_is_said_of_clocks_that_are(after, even):
    """Up to 1 / 0.6 of the usual 6 µs from fall to fall."""
    says = finding(inspected(stray(after)), "reads.clocks").says
    assert "not every whole read has 8 clocks: 3 reads with 8, 1 read with 9; " in says
    assert ("evenly spaced, so none was stopped" in says) == even
    assert ("in 1 of them the clocks are not evenly spaced, the first read 2 at" in says) != even


def test_stopped_reads_that_have_as_many_clocks_as_wanted_are_told():
    at = MS + FRAME + 28 * US
    wires = with_changes(WHOLE, "clock", (at, LOW), (at + US, HIGH))
    result = inspected(wires, settings=usual_settings(wanted=9))
    assert [read.complete for read in result.reads()] == [False, True, False, False]
    (says,) = [f.says for f in findings_of(result, wanted=9) if f.id == "reads.clocks"]
    assert "every whole read has 9 clocks: 1 read with 9; in 1 of them the clocks are not" in says


def test_passes_that_disagree():
    times = [n * FRAME + MS + k * 200 * US for n in range(4) for k in range(2)]
    result = inspected(capture([0, 0, 128, 128, 128, 0, 0, 0], times=times))
    assert result.passes == 2
    says = finding(result, "reads.passes-agree").says
    assert "in 1 of 4 polls the 2 passes disagree, the first with A and nothing" in says


def test_opposite_directions_under_a_policy():
    result = inspected(capture([0, 0b11]))
    found = [f for f in findings_of(result, policy="neither") if "opposite" in f.id]
    assert [f.verdict for f in found] == ["fail"]
    assert "Left+Right; under the policy neither they should not come through" in found[0].says


def test_no_latch():
    found = finding(inspected(WHOLE | {"latch": [(0, LOW)]}), "capture.reads")
    assert found.verdict == "fail"


def test_statistics_are_what_was_drawn():
    measured = inspected(WHOLE).measures
    del measured["data delay after the clock"]
    assert {name: (s.count, s.least, s.most) for name, s in measured.items()} == {
        "latch width": (4, 9 * US, 9 * US),
        "clock low": (32, US, US),
        "clock high": (28, 5 * US, 5 * US),
        "latch to first clock": (4, 5 * US, 5 * US),
        "read length": (4, 57 * US, 57 * US),
        "poll period": (3, FRAME, FRAME),
        "poll jitter": (3, 0, 0),
    }


def silent(wires, line, how):
    """The line is not there, or unknown throughout, or between the thresholds after a start."""
    if how == "absent":
        return {name: some for name, some in wires.items() if name != line}
    return wires | {line: [(0, UNKNOWN if how == "unknown" else FLOATING)]}


@pytest.mark.parametrize("how", ["absent", "unknown", "floating"])
@pytest.mark.parametrize("line", ["latch", "clock", "data"])
@pytest.mark.parametrize("count", [0, 1, 4])
@pytest.mark.parametrize("sampled", [False, True])
def test_a_line_that_is_never_at_a_level_fails(line, how, count, sampled):
    wires = silent(capture([0, 128, 128, 0][:count]), line, how)
    samples = [MS + n * FRAME + (14 + 6 * bit) * US for n in range(count) for bit in range(8)]
    end = MS + 5 * FRAME
    result = inspected(wires, end=end, samples=samples if sampled else ())
    assert result.unreached == (line,)
    found = finding(result, "levels.reached", line)
    assert (found.verdict, found.measured, found.limit) == ("fail", 0, 1)
    assert found.says.startswith(f"{line} is never at a level")
    assert not [f for f in findings_of(result) if f.verdict == "pass" and f.met.other == line]
    if line == "clock":
        assert not [f for f in findings_of(result) if f.id == "levels.glitches"]
    if line == "data" and count:
        assert finding(result, "reads.decided").measured == count
        assert all(read.undecided == 0xFF for read in result.reads())
    if line == "latch" or not count:
        assert finding(result, "capture.reads").verdict == "fail"


def test_a_whole_capture_reaches_every_line():
    assert inspected(WHOLE).unreached == ()
    assert not [f for f in findings_of(inspected(WHOLE)) if f.id == "levels.reached"]


def test_one_read_is_a_capture():
    result = inspected(capture([0x42]))
    assert [read.byte for read in result.reads()] == [0x42]
    assert not [f.id for f in findings_of(result) if f.verdict == "fail"]


def test_every_finding_is_data_that_makes_its_sentence():
    """Whatever is wrong: numbers in SI, the read and the moment it was met in."""
    noisy = with_changes(WHOLE, "clock", (MS + 28 * US, LOW), (MS + 28 * US + 50_000, HIGH))
    for wires in (WHOLE, noisy, capture([0, 3, 0, 3]), {**WHOLE, "data": [(0, UNKNOWN)]}):
        result = inspected(wires)
        for found in findings_of(result, policy="neither"):
            assert found.says
            assert found.sources
            if found.met.at_ps is not None:
                starts = [read.start_ps for read in result.reads()]
                number = sum(start <= found.met.at_ps for start in starts)
                assert found.met.read == (number or None)
            if found.id.startswith("timing.") and found.unit == "s" and found.measured:
                assert found.measured < 1


@pytest.mark.parametrize(
    ("wait", "passes"), [(5 * MS - 1, 2), (5 * MS, 1), (4 * MS, 2), (6 * MS, 1), (200 * US, 2)]
)
def test_a_pass_follows_within_a_third_of_the_longer_waits(wait, passes):
    """Longer waits of 15 ms; read by read alike, so that only the time tells."""
    times, now = [], MS
    for _ in range(10):
        times += [now, now + wait]
        now += wait + 15 * MS
    result = inspected(capture([0] * 20, times=times))
    assert result.passes == passes


@pytest.mark.parametrize(("alone", "passes"), [(2, 2), (3, 1)])
def test_eight_polls_of_ten_with_as_many_reads_settle_the_passes(alone, passes):
    times = []
    for number in range(10):
        at = MS + number * FRAME
        times += [at] if number < alone else [at, at + MS]
    assert inspected(capture([0] * len(times), times=times)).passes == passes


def channels(wires, **options):
    found = findings_of(inspected(wires), **options)
    return [(f.verdict, f.case) for f in found if f.id == "capture.channels"]


def upside_down(wires, *names):
    return wires | {n: [(t, 1 - level) for t, level in wires[n]] for n in names}


MANY = capture([0, 0, 128, 128, 2, 0, 0])


@pytest.mark.parametrize(
    ("wires", "cases"),
    [
        (MANY, []),
        (upside_down(MANY, "latch"), ["latch"]),
        (upside_down(MANY, "data"), ["data"]),
        (upside_down(MANY, "latch", "clock", "data"), ["latch", "data"]),
        (MANY | {"latch": MANY["clock"], "clock": MANY["latch"]}, ["exchanged"]),
        (MANY | {"data": [(0, LOW)]}, ["data"]),
        (MANY | {"data": [(0, HIGH)]}, []),
        # Three of six, which somebody may do with a mat of his own.
        (capture([15, 15, 15, 0, 0, 0]), []),
        (capture([15, 15, 15, 15, 0, 0, 0]), ["data"]),
    ],
)
def test_a_recording_with_the_wrong_names_or_upside_down_does_not_pass(wires, cases):
    assert channels(wires) == [("fail", case) for case in cases]


def test_a_clock_upside_down_has_no_times():
    found = findings_of(inspected(upside_down(MANY, "clock")))
    assert "clock" in {f.case for f in found if f.id == "capture.channels"}
    judged = {f.id for f in found if f.id.startswith("timing.") and f.verdict != "not-judged"}
    assert judged == {"timing.latch-width", "timing.clock-period", "timing.clocks"}


def test_what_somebody_says_was_held_may_have_been():
    assert channels(capture([15] * 4), told=True) == []


@pytest.mark.parametrize(("level", "word"), [(LOW, "low"), (HIGH, "high")])
def test_a_data_line_that_never_moves_is_told(level, word):
    found = finding(inspected(MANY | {"data": [(0, level)]}), "levels.moves")
    assert found.verdict == "not-judged"
    assert f"data stood {word} all through" in found.says
    assert "levels.moves" not in {f.id for f in findings_of(inspected(MANY))}


def stopped(held, place, wanted=8):
    """A read whose clock of that number, from 0, comes twice, among two that are whole."""
    wires = capture([held] * 3, clocks=wanted)
    start = MS + FRAME
    at = start + (14 + 6 * place) * US
    clock = [(t, v) for t, v in wires["clock"] if not start < t < start + FRAME]
    data = [(t, v) for t, v in wires["data"] if not start < t < start + FRAME]
    levels = [1 - (held >> 7 - n & 1) for n in range(8)] + [0] * (wanted - 7)
    falls = [start + (14 + 6 * n) * US for n in range(wanted)]
    falls = [*falls[: place + 1], at + 2 * US, *falls[place + 1 :]]
    data.append((start + 300_000, levels[0]))
    for number, fall in enumerate(falls):
        clock += [(fall, LOW), (fall + US, HIGH)]
        data.append((fall + US + 300_000, [*levels, 0][number + 1]))
    return wires | {"clock": sorted(clock), "data": sorted(data)}


@pytest.mark.parametrize(
    ("held", "place", "wanted", "says"),
    [
        # Down is held, its bit is lost, and Left stands in its place.
        (0b100, 5, 8, "Down was held and is not read"),
        # Right is held; its own bit is lost, and the serial input reads as pressed.
        (1, 7, 8, "Right reads as pressed, as it was"),
        (0, 7, 8, "Right reads as pressed though it was not"),
        (0b100, 5, 24, "bit for Down is lost, later ones move up: Down was held and is not read"),
        (0, 11, 24, "the pad's bit 12 is lost, later ones move up"),
    ],
)
def test_what_an_extra_clock_does_to_a_button_that_is_held(held, place, wanted, says):
    result = inspected(stopped(held, place, wanted), settings=usual_settings(wanted=wanted))
    found = next(
        f for f in findings_of(result, wanted=wanted) if f.id == "reads.extra-clock" and f.met.read
    )
    assert (found.verdict, says in found.says) == ("fail", True), found.says
    assert "not pressed, as it was" not in found.says or not held & 1


def lost(edges, *places):
    return [edge for place, edge in enumerate(edges) if place not in places]


@pytest.mark.parametrize(
    ("line", "far", "verdict", "says"),
    [
        ("clock", lambda edges, way: way(edges, 30_000), "pass", "the same 64 edges at both"),
        ("clock", lambda edges, _: edges[:1], "fail", "0 at the pad's end, where it stands still"),
        ("clock", lambda edges, _: [(0, UNKNOWN)], "fail", "where it is never at a level"),
        ("clock", lambda edges, way: lost(way(edges, 30_000), 5, 6), "fail", "64 edges at the con"),
        ("clock", lambda edges, way: way(edges, -30_000), "fail", "30 ns before it is sent"),
        ("data", lambda edges, way: way(edges, -30_000), "pass", "the same"),
        ("data", lambda edges, _: edges[:1], "fail", "0 at the pad's end"),
        ("data", lambda edges, way: way(edges, 30_000), "fail", "before it is sent"),
    ],
)
def test_a_line_recorded_at_the_pad_too_is_the_same_there(line, far, verdict, says):
    """Where only some edges of one end are seen the line is lost on its way."""

    def way(edges, delay):
        return [(when + delay * (when > 0), level) for when, level in edges]

    wires = capture([0, 128, 65, 0])
    seen = inspected(wires | {f"far-{line}": far(wires[line], way)})
    (found,) = (f for f in findings_of(seen) if f.id == f"timing.{line}-arrives")
    assert found.verdict == verdict
    assert says in found.says


def test_data_that_come_from_the_pad_only_are_lost_to_the_console():
    wires = capture([0, 128, 0])
    dead = {"far-data": wires["data"], "data": [(0, HIGH)]}
    found = finding(inspected(wires | dead), "timing.data-arrives")
    assert found.verdict == "fail"
    assert "0 at the console's end" in found.says


def test_an_edge_under_way_when_the_capture_ends_is_not_lost():
    wires = capture([0, 128])
    end = wires["clock"][-1][0]
    far = [(when + 100_000, level) for when, level in wires["clock"][:-1]]
    seen = inspected(wires | {"far-clock": far}, end=end + 50_000)
    assert finding(seen, "timing.clock-arrives").verdict == "pass"
