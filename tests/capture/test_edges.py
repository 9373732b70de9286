"""Edges from 10 to 90 % of the levels found: of known curves, however they are scaled and cut."""

from dataclasses import replace

import numpy as np
import pytest

from padbench.capture.edges import ANSWERS, Edges, LineEdges, named
from padbench.capture.inspect import inspect, parting, usual_settings
from padbench.capture.measures import Measure
from padbench.core.findings import Source
from padbench.core.limits import Limit
from padbench.waveio import THRESHOLDS, Piece, Thresholds

US = 1e-6
LINES = ("latch", "clock", "data")
HELD = [0x00, 0x80, 0x5A]


def settling(times, turns, tau):
    """A line that goes to 0 or 1 at each turn, first-order RC from wherever it stands."""
    values, level, start, since = np.full(len(times), float(turns[0][1])), turns[0][1], None, 0.0
    start = float(level)
    for (when, to), upto in zip(turns, [*(t for t, _ in turns[1:]), times[-1] + 1], strict=True):
        inside = (times >= when) & (times <= upto)
        values[inside] = to + (start - to) * np.exp(-(times[inside] - when) / tau)
        start = to + (start - to) * np.exp(-(upto - when) / tau)
        since = when
    assert since == turns[-1][0]
    return values


def volts(step=20e-9, tau=100e-9, answer=400e-9, low=0.0, high=5.0, noise=0.0):
    """Seconds, and volts of the three lines: reads of 8 clocks of 1 µs low, 6 µs apart."""
    times = np.arange(0, (len(HELD) * 120 + 20) * US, step)
    turns = {"latch": [(0.0, 0)], "clock": [(0.0, 1)], "data": [(0.0, 1)]}
    for number, byte in enumerate(HELD):
        start = (number * 120 + 10) * US
        turns["latch"] += [(start, 1), (start + 9 * US, 0)]
        levels = [1 - (byte >> 7 - n & 1) for n in range(8)] + [0]
        turns["data"].append((start + 0.3 * US, levels[0]))
        for n in range(8):
            fall = start + (14 + 6 * n) * US
            turns["clock"] += [(fall, 0), (fall + US, 1)]
            turns["data"].append((fall + US + answer, levels[n + 1]))
    random = np.random.default_rng(1)
    taus = {"latch": tau, "clock": tau, "data": tau / 2}
    lines = {n: low + (high - low) * settling(times, turns[n], taus[n]) for n in LINES}
    return times, {n: v + noise * random.standard_normal(len(v)) for n, v in lines.items()}


def pieces(times, lines, thresholds=THRESHOLDS, size=10**9):
    for first in range(0, len(times), size):
        own = times[first : first + size]
        changes, analogue = {}, {}
        for name, whole in lines.items():
            some = whole[first : first + size]
            changes[name] = np.rint(own * 1e12).astype(np.int64), thresholds.zones(some)
            analogue[name] = own, some
        yield Piece(round(own[-1] * 1e12), changes, analogue=analogue)


def clock_edge(stream, limit=400e-9):
    named = Limit(round(limit * 1e12), (Source("a limit for this test", "assumed"),))
    timing = inspect(stream, replace(usual_settings(), edge=named)).timing
    return next(finding for finding in timing if finding.id == "levels.clock-edge")


def test_a_bit_is_what_stood_before_a_slow_clock_began_to_rise():
    """The register takes the edge at half its height and answers before it is at 3.5 V."""
    seen = inspect(pieces(*volts(tau=400e-9, answer=300e-9)), usual_settings())
    assert [(read.byte, read.undecided) for read in seen.reads()] == [(byte, 0) for byte in HELD]


@pytest.mark.parametrize(
    ("low", "high", "found"),
    [(0.0, 4.0, None), (0.0, 3.6, (1.08, 2.52)), (1.4, 5.0, (2.48, 3.92)), (0.9, 5.0, None)],
)
def test_thresholds_close_to_a_level_part_it_badly(low, high, found):
    seen = inspect(pieces(*volts(low=low, high=high)), usual_settings())
    parted = parting(seen)
    assert (parted and (parted.low, parted.high)) == (found and pytest.approx(found, rel=0.01))


@pytest.mark.parametrize(("tau", "verdict"), [(150e-9, "pass"), (210e-9, "fail")])
def test_the_clock_that_counts_is_the_one_at_the_registers_end_of_the_cable(tau, verdict):
    times, lines = volts(tau=20e-9)
    found = clock_edge(pieces(times, lines | {"far-clock": volts(tau=tau)[1]["clock"]}))
    assert found.verdict == verdict
    assert found.measured == pytest.approx(2.2 * tau, rel=0.03)
    assert "edge of the clock at the pad's end, 10 to 90 %" in found.says


@pytest.mark.parametrize(("tau", "verdict"), [(100e-9, "pass"), (180e-9, "pass"), (190e-9, "fail")])
def test_an_rc_edge_takes_2_2_tau_whatever_the_thresholds(tau, verdict):
    """ln 9 τ from 10 to 90 %; the limit of 400 ns lies at 182 ns of τ."""
    measured = set()
    for low, high in [(1.5, 3.5), (0.8, 2.0), (1.0, 4.5), (2.4, 2.6)]:
        times, lines = volts(tau=tau)
        found = clock_edge(pieces(times, lines, Thresholds(low, high)))
        assert found.verdict == verdict
        measured.add(found.measured)
    assert len(measured) == 1
    assert measured.pop() == pytest.approx(tau * np.log(9), rel=0.02)
    assert " V and 5 V as found, is " in found.says


@pytest.mark.parametrize(("low", "high"), [(0.0, 3.3), (0.0, 0.5), (0.7, 4.2), (-200.0, 800.0)])
def test_the_levels_are_those_of_the_line(low, high):
    """Behind a diode, with a divider of ten, in counts of a converter."""
    middle = (low + high) / 2
    swing = high - low
    thresholds = Thresholds(middle - swing / 5, middle + swing / 5)
    times, lines = volts(low=low, high=high)
    found = clock_edge(pieces(times, lines, thresholds))
    assert found.measured == pytest.approx(100e-9 * np.log(9), rel=0.02)


@pytest.mark.parametrize("size", [37, 1000, 4096])
def test_pieces_may_end_anywhere(size):
    times, lines = volts(tau=150e-9)
    whole, parts = Edges(LINES), Edges(LINES)
    for piece in pieces(times, lines):
        whole.take(piece)
    for piece in pieces(times, lines, size=size):
        parts.take(piece)
    one, many = Measure(), Measure()
    whole.measured(one)
    parts.measured(many)
    a, b = one.statistics(), many.statistics()
    assert a.keys() == b.keys()
    assert len(a) == 8
    for name, own in a.items():
        assert own.count == b[name].count
        assert b[name].median == pytest.approx(own.median, rel=0.03)
    assert a[named("clock", rises=True)].count == 8 * len(HELD)
    assert a[named("latch", rises=False)].count == len(HELD)


def test_an_answer_is_from_half_to_half():
    """400 ns from where both begin; half-way comes ln 2 of each τ later."""
    times, lines = volts()
    edges = Edges(LINES)
    for piece in pieces(times, lines):
        edges.take(piece)
    measure = Measure()
    edges.measured(measure)
    # Rises and falls from bit to bit: 0x80 has one, 0x5A six; after the last clock comes none.
    for rises, count in ((True, 4), (False, 3)):
        answers = measure.statistics()[ANSWERS[rises]]
        wanted = 400e-9 + (50e-9 - 100e-9) * np.log(2)
        assert answers.median * 1e-12 == pytest.approx(wanted, abs=3e-9)
        assert answers.count == count


@pytest.mark.parametrize("noise", [0.02, 0.1])
def test_noise_does_not_make_an_edge(noise):
    times, lines = volts(noise=noise)
    edges = Edges(("clock",))
    for piece in pieces(times, lines):
        edges.take(piece)
    assert edges.lines["clock"].count == 16 * len(HELD)
    assert edges.lines["clock"].longest[0] == pytest.approx(100e3 * np.log(9), rel=0.4)


@pytest.mark.parametrize("shape", ["normal", "uniform"])
def test_a_line_of_noise_has_no_levels(shape):
    random, line = np.random.default_rng(1), LineEdges()
    draw = {"normal": random.standard_normal, "uniform": random.random}[shape]
    for block in range(40):
        line.take((np.arange(1000.0) + 1000 * block, 5 + 0.05 * draw(1000)))
    assert line.levels is None
    assert line.count == 0


def test_noise_before_the_first_edge_is_forgotten():
    times, lines = volts(noise=0.01)
    for size in (400, 900):
        edges = Edges(("clock",))
        for piece in pieces(times, lines, size=size):
            edges.take(piece)
        assert edges.lines["clock"].count == 16 * len(HELD)


def test_levels_alone_show_no_edge():
    times, lines = volts()
    found = clock_edge(replace(piece, analogue={}) for piece in pieces(times, lines))
    assert (found.verdict, found.measured) == ("not-judged", None)
    assert found.says == "the capture shows no edge of the clock in volts"


def test_a_limit_below_the_sample_interval_is_not_judged():
    times, lines = volts(step=500e-9)
    stream = [replace(piece, apart_ps=500_000) for piece in pieces(times, lines)]
    found = clock_edge(stream)
    assert (found.id, found.verdict, found.measured) == ("levels.clock-edge", "not-judged", None)
    assert found.says == "samples 500 ns apart cannot tell whether 400 ns are kept"
    assert clock_edge(stream, limit=500e-9).verdict == "pass"
    judged = {f.id: f.verdict for f in inspect(stream, usual_settings()).timing}
    assert judged["timing.latch-width"] == "not-judged"
    assert judged["levels.clock-edge"] == "pass"


def test_a_line_between_its_levels_does_not_fill_the_memory():
    line = LineEdges()
    line.take((np.arange(2000.0), np.repeat([0.0, 5.0], 1000)))
    for block in range(1, 8):
        line.take((np.arange(2.0**16) + block * 2.0**16, np.full(2**16, 2.5)))
    assert len(line._rest[0]) <= 1 << 18
