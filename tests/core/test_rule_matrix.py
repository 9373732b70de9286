"""Every rule on every kind of timeline: its limit cuts to the picosecond, and what is not there
never passes.
"""

from dataclasses import replace

import numpy as np
import pytest
from handmade import LINES, STYLES, ps, silenced, wave, without
from hypothesis import given
from hypothesis import strategies as st

from padbench.core import answering, timing
from padbench.core.answering import SystemClock, judge_answers
from padbench.core.decode import decode
from padbench.core.findings import Source
from padbench.core.limits import Limit
from padbench.core.quality import CLOCK_EDGE, DATA_DELAY, data_delays, held_to_most
from padbench.core.timeline import Timeline, Wire, Word
from padbench.core.timing import judge_timing

NS = 1_000
ANSWER = Limit(100 * NS, (Source("this test", "assumed"),))
EDGE = Limit(40 * NS, (Source("this test", "assumed"),))

READ_RULES = ("timing.first-bit", "timing.later-bits", "timing.clocks", "timing.sample-point")
"""Those that go by the reads, which there are none of without latch, clock or data."""

# For each rule: the wave that just meets the limit, the one just beyond it, and what becomes of
# the verdict where a line that the rule goes by is there but never at a level.
NJ = "not-judged"
RULES = {
    "timing.latch-arrives": ({"lost": (1, 0)}, {"lost": (2, 0)}, {"latch": NJ, "load": "fail"}),
    "timing.clock-arrives": (
        {"lost": (0, 1)},
        {"lost": (0, 2)},
        {"clock": NJ, "pad-clock": "fail"},
    ),
    "timing.latch-width": ({"latch": 160 * NS}, {"latch": 159_999}, {"load": NJ}),
    "timing.clock-low": ({"low": 180 * NS}, {"low": 179_999}, {"pad-clock": NJ}),
    "timing.clock-high": ({"high": 180 * NS}, {"high": 179_999}, {"pad-clock": NJ}),
    "timing.clock-period": (
        {"low": 180 * NS, "high": 153_333},
        {"low": 180 * NS, "high": 153_332},
        {"pad-clock": NJ},
    ),
    "timing.removal": (
        {"gap": 100 * NS, "low": 180 * NS},
        {"gap": 99_999, "low": 180 * NS},
        {"load": NJ, "pad-clock": NJ},
    ),
    "timing.clock-at-load-end": ({"gap": 1}, {"gap": 0}, {"load": NJ, "pad-clock": NJ}),
    "timing.setup-parallel": (
        {"moved": 50 * NS},
        {"moved": 49_999},
        {"inputs": NJ, "load": NJ},
    ),
    "timing.first-bit": (
        {"latch": 200 * NS, "gap": 320_001, "low": 180 * NS},
        {"latch": 200 * NS, "gap": 320_000, "low": 180 * NS},
        {"latch": NJ, "data": NJ, "sample": NJ},
    ),
    "timing.later-bits": (
        {"low": 350 * NS, "high": 350_001},
        {"low": 350 * NS, "high": 350_000},
        {"latch": NJ, "clock": NJ, "data": NJ, "sample": NJ},
    ),
    "timing.clocks": ({"clocks": 8}, {"clocks": 7}, {"latch": NJ, "clock": "fail"}),
    "timing.sample-point": (
        {"sample": 500 * NS},
        {"sample": 500_001},
        {"latch": NJ, "clock": NJ, "sample": NJ},
    ),
    "timing.data-delay": (
        {"answer": 100 * NS},
        {"answer": 100_001},
        {"data": NJ, "pad-clock": NJ},
    ),
    # How long an edge of the clock takes is drawn by `zones`.
    "levels.clock-edge": ({}, {}, {"pad-clock": NJ}),
    "data.glitch": (
        {},
        {"glitch": 300 * NS},
        {"load": NJ, "data": NJ, "pad-clock": "fail"},
    ),
    "data.transparent": (
        {"answer": 999_999, "high": 2_000 * NS},
        {"answer": 1_000 * NS, "high": 2_000 * NS},
        {"load": NJ, "inputs": NJ, "data": "fail"},
    ),
    "data.answer": (
        {"answer": 100 * NS},
        {"answer": 100_001},
        {"load": NJ, "data": NJ},
    ),
    "data.synchroniser": (
        {"answer": 100 * NS},
        {"answer": 99_999},
        {"load": NJ, "data": NJ, "pad-clock": NJ},
    ),
}
NO_PROBE_INSIDE = {
    *("timing.latch-arrives", "timing.clock-arrives", "timing.setup-parallel"),
    *("timing.sample-point", "data.transparent"),
}
UNJUDGED = {"simulation": set(), "hdl": {"timing.sample-point"}, "capture": NO_PROBE_INSIDE}
"""What such a timeline does not show, however good the pad."""

# Rises of the clock are at 3.5 µs and every 1 µs then: the third edge comes 100 ns after each.
SYSTEM = SystemClock(rise=0, period=40 * NS)


@pytest.fixture(scope="module")
def limits(limits):
    """With the rule that not every register needs."""
    return replace(limits, clock_at_load_end=(Source("this test", "assumed"),))


def judged(timeline, style, limits, edge=EDGE.ps, reads=None):
    """All findings of a timeline by their ids."""
    if reads is None:
        reads = decode(timeline, style.names)
    findings = [*judge_timing(timeline, reads, limits, pins=style.pins, names=style.names)]
    findings += judge_answers(
        timeline,
        window=ANSWER.ps,
        answer=ANSWER,
        clock=SYSTEM,
        flip_flops=2,
        pins=style.pins,
        data_name=style.names.data,
    )
    clock, data = timeline.wire(style.pins.clock), timeline.wire(style.names.data)
    delays = data_delays(data, clock.rises(), timeline.wire(style.pins.load).rises())
    edges = clock.times[1:]
    findings.append(held_to_most(DATA_DELAY, *delays, ANSWER, "time from a clock to its data"))
    findings.append(held_to_most(CLOCK_EDGE, edges, np.full(len(edges), edge), EDGE, "edge"))
    by_id = {finding.id: finding for finding in findings}
    assert len(by_id) == len(findings) == len(RULES)
    for finding in findings:
        # None may fail to say what it found.
        assert finding.says
        assert finding.where
        assert (finding.margin is None) == (finding.verdict == NJ)
    return by_id


def test_the_matrix_has_every_rule():
    ids = {*timing.RULES, *answering.RULES, DATA_DELAY.id, CLOCK_EDGE.id}
    assert set(RULES) == ids


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("id_", RULES)
def test_a_limit_that_is_just_met_holds_and_a_picosecond_beyond_it_does_not(limits, id_, style):
    met, broken, _ = RULES[id_]
    for drawn, verdict, margin in ((met, "pass", 0), (broken, "fail", -1)):
        edge = EDGE.ps - margin if id_ == CLOCK_EDGE.id else EDGE.ps
        finding = judged(wave(STYLES[style], **drawn), STYLES[style], limits, edge)[id_]
        if id_ in UNJUDGED[style]:
            assert finding.verdict == NJ
            continue
        assert finding.verdict == verdict
        if finding.unit == "s":
            assert ps(finding.margin) == margin
            assert abs(ps(finding.measured) - ps(finding.limit)) == -margin
        elif id_.endswith("-arrives"):
            # One edge may be on its way at the end; where more are missing all of them count.
            assert finding.margin == 2 * margin
            assert finding.measured - finding.limit == 2 * margin - (verdict == "pass")
        else:
            assert finding.margin == margin


changes = st.lists(st.tuples(st.integers(1, 60), st.integers(0, 3)), max_size=8)
wires = st.tuples(st.integers(0, 3), changes).map(
    lambda drawn: Wire.of([(0, drawn[0]), *sorted(drawn[1], key=lambda change: change[0])])
)
words = changes.map(
    lambda drawn: Word.of(
        2,
        [
            (0, 0),
            *((at, None if v == 3 else v) for at, v in sorted(drawn, key=lambda change: change[0])),
        ],
    )
)


@given(
    style=st.sampled_from([*STYLES.values()]),
    lines=st.fixed_dictionaries(dict.fromkeys(LINES, wires)),
    inputs=words,
    samples=st.lists(st.integers(0, 60), max_size=8),
    end=st.integers(60, 70),
)
def test_whatever_the_wires_do_every_rule_has_an_answer(limits, style, lines, inputs, samples, end):
    """Any levels at any moments, in any order: no rule may crash, nor be at a loss for words."""
    names = {style.line(line): wire for line, wire in lines.items() if line != "inputs"}
    events = {}
    if style.names.sample is not None:
        del names[style.names.sample]
        events[style.names.sample] = np.sort(np.array(samples, np.int64))
    timeline = Timeline(end, names, {style.pins.inputs: inputs}, events)
    held = replace(limits, hold=ANSWER)
    for law in (limits, held):
        judged(timeline, style, law, edge=1)


@pytest.mark.parametrize("line", LINES)
@pytest.mark.parametrize("style", STYLES)
def test_a_line_that_is_never_at_a_level_is_never_a_silent_pass(limits, style, line):
    name = STYLES[style].line(line)
    findings = judged(silenced(wave(STYLES[style]), name), STYLES[style], limits)
    for id_, (_, _, silent) in RULES.items():
        # A capture has one probe for both ends of a line.
        verdicts = {silent[key] for key in silent if STYLES[style].line(key) == name}
        expected = "fail" if "fail" in verdicts else NJ if verdicts else "pass"
        if id_ in UNJUDGED[style]:
            expected = NJ
        assert findings[id_].verdict == expected, id_


@pytest.mark.parametrize("line", LINES)
@pytest.mark.parametrize("style", STYLES)
def test_a_line_that_the_timeline_lacks_is_not_judged(limits, style, line):
    name = STYLES[style].line(line)
    bare = without(wave(STYLES[style]), name)
    lacking = set(UNJUDGED[style])
    reads = None
    if name in map(STYLES[style].line, ("latch", "clock", "data")):
        with pytest.raises(KeyError, match=name):
            decode(bare, STYLES[style].names)
        reads = ()
        lacking |= {*READ_RULES}
    if name in map(STYLES[style].line, ("load", "pad-clock", "data")):
        lacking |= {*answering.RULES}
    if (style, line) == ("simulation", "sample"):
        # Then each rise of the clock is taken for a sample, as in an HDL run.
        lacking |= UNJUDGED["hdl"]
    else:
        lacking |= {id_ for id_ in RULES if name in map(STYLES[style].line, RULES[id_][2])}
    findings = judged(bare, STYLES[style], limits, reads=reads)
    assert {id_ for id_ in findings if findings[id_].verdict == NJ} == lacking
    assert "fail" not in {finding.verdict for finding in findings.values()}
