"""Findings as data, and their sentences: every case of every rule, made from a real wave."""

import re
import string
from dataclasses import replace
from typing import get_args

import numpy as np
import pytest
from handmade import NS, STYLES, silenced, wave, without
from hypothesis import given
from hypothesis import strategies as st

from padbench.core import answering, timing
from padbench.core.answering import SystemClock, judge_answers
from padbench.core.decode import decode
from padbench.core.findings import (
    Finding,
    Met,
    Rule,
    Source,
    SourceClass,
    overall,
    worst_of_each,
)
from padbench.core.limits import Limit, judge_count, judge_times
from padbench.core.quality import CLOCK_EDGE, DATA_DELAY, held_to_most
from padbench.core.sentences import COUNTED, amount, capital, filled, moment
from padbench.core.timing import judge_timing

RULES = {**timing.RULES, **answering.RULES, DATA_DELAY.id: DATA_DELAY, CLOCK_EDGE.id: CLOCK_EDGE}


def finding(id_="a", verdict="pass", margin=None, unit="s", **more):
    rule = Rule(id_, unit, {"pass": "{margin}", "fail": "{margin} short"})
    return Finding(rule, verdict, margin=margin, **more)


def test_the_least_margin_stands_for_an_id():
    kept = worst_of_each(
        [
            finding("a", "pass", 5.0),
            finding("b", "not-judged", None),
            finding("a", "pass", 2.0),
            finding("a", "pass", 3.0),
            finding("b", "pass", 9.0),
        ]
    )
    assert [(f.id, f.margin) for f in kept] == [("a", 2.0), ("b", 9.0)]


def test_of_equal_margins_the_first_stands():
    kept = worst_of_each([finding(margin=1.0, met=Met(at_ps=at)) for at in (7, 8)])
    assert [f.met.at_ps for f in kept] == [7]


def test_a_failure_outranks_any_margin():
    kept = worst_of_each([finding("a", "pass", -1.0), finding("a", "fail", 0.5)])
    assert [f.verdict for f in kept] == ["fail"]


def test_a_margin_below_none_at_all_is_worse():
    kept = worst_of_each([finding(margin=None), finding(margin=-0.5), finding(margin=0.5)])
    assert [f.margin for f in kept] == [-0.5]


def test_overall():
    assert overall([]) == "pass"
    assert overall(["pass", "not-judged"]) == "pass"
    assert overall(["pass", "fail", "pass"]) == "fail"


@given(st.integers(1, 10**9))
def test_thin_is_less_than_a_tenth_of_the_limit(tenth):
    """To the picosecond, though the numbers are in seconds."""
    limit = Limit(10 * tenth, ())
    for spare, thin in ((tenth - 1, True), (tenth, False), (tenth + 1, False)):
        met = held_to_least(10 * tenth + spare, limit)
        assert (met.verdict, met.thin) == ("pass", thin)
    assert not held_to_least(10 * tenth - 1, limit).thin  # it fails


def held_to_least(ps, limit):
    """A real finding of a time against a least one."""
    return judge_times(timing.RULES["timing.removal"], [0], [ps], limit)


def test_a_limit_below_zero_has_a_tenth_too():
    assert finding(limit=-100.0, margin=9.0).thin
    assert not finding(limit=-100.0, margin=10.0).thin


def test_no_count_is_thin():
    for unit in COUNTED:
        assert not finding(limit=8.0, margin=0.0, unit=unit).thin
    assert finding(limit=8.0, margin=0.0, unit="V").thin


def test_nothing_is_thin_without_a_limit_or_a_margin():
    assert not finding(limit=8.0).thin
    assert not finding(margin=0.0).thin
    assert not finding(verdict="not-judged", limit=8.0, margin=0.0).thin


@pytest.mark.parametrize(
    ("met", "words"),
    [
        (Met(), "whole run"),
        (Met(scenario="held"), "held"),
        (
            Met("held", "slow", "push-pull", read=2, at_ps=12_000_000),
            "held, slow corner, push-pull port, read 2, at 12.000 µs",
        ),
        (Met("held", simulator="Icarus", top="pad"), "held, on Icarus, top pad"),
        (Met(at_ps=0), "at 0.000 µs"),
        (Met(other="every port"), "every port"),
        (
            Met(
                port="push-pull",
                ends=(("supply", 4.75), ("temperature", -20.0), ("contact", "worn")),
            ),
            "push-pull port, supply 4.75 V, -20 °C, worn",
        ),
    ],
)
def test_a_run_and_a_moment_in_words(met, words):
    assert finding(met=met).where == words


@pytest.mark.parametrize(
    ("sources", "words"),
    [
        ((), ""),
        ((Source("JEDEC JESD13-B", "published"),), "JEDEC JESD13-B"),
        ((Source("the sheet", "given"), Source("Ohm", "calculated")), "the sheet; Ohm"),
        ((Source("read cycle", "from memory"),), "read cycle; from memory"),
        ((Source("taken from memory", "from memory"),), "taken from memory"),
        ((Source("a", "assumed"), Source("b", "measured")), "a; assumed; b; measured"),
        ((Source("a", "given"), Source("b", "given"), Source("a", "given")), "a; b"),
    ],
)
def test_sources_in_words_each_once_with_the_class_of_what_nobody_looked_up(sources, words):
    assert finding(sources=sources).source == words


def test_a_rule_of_several_names_goes_by_that_of_the_finding():
    assert (finding().id, finding(name="a.push-pull").id) == ("a", "a.push-pull")


@pytest.mark.parametrize(
    ("kinds", "word"),
    [
        ((), None),
        (("published", "given", "calculated", "measured"), "measured"),
        (("published", "calculated"), "published"),
        (("given", "calculated"), "given"),
        (("second-hand", "common practice"), "common practice"),
        (("published", "from memory"), "from memory"),
        (("from memory", "assumed", "given"), "assumed"),
    ],
)
def test_a_finding_rests_on_its_least_firm_figure(kinds, word):
    assert finding(sources=tuple(Source("a", kind) for kind in kinds)).rests_on == word


def test_every_class_of_a_source_has_its_place():
    for kind in get_args(SourceClass):
        assert finding(sources=(Source("a", kind),)).rests_on == kind


@pytest.mark.parametrize("unit", sorted(COUNTED))
@given(count=st.integers(-(10**5), 10**5))
def test_what_is_counted_is_never_scaled(unit, count):
    """It once said -257 kchanges."""
    number, word = re.fullmatch(r"(-?[\d ]*\d) ?(.*)", amount(float(count), unit)).groups()
    assert number.replace(" ", "") == str(count)
    assert (" " in number) == (abs(count) >= 10_000)
    assert word in (unit, "latch" if unit == "latches" else unit.rstrip("s"))
    assert (word == unit) == (count != 1 or not unit)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (1.0, "clocks", "1 clock"),
        (-257_000.0, "changes", "-257 000 changes"),
        (1_234_567.0, "cases", "1 234 567 cases"),
        (0.5, "", "0.5"),
        (2.8e-7, "s", "280 ns"),
        (-7e-8, "s", "-70 ns"),
        (1e-12, "s", "1 ps"),
        (9.99e-16, "s", "0 s"),
        (-9.99e-16, "V", "0 V"),
        (1e-15, "s", "1 fs"),
        (0.0, "V", "0 V"),
        (4700.0, "Ω", "4.7 kΩ"),
    ],
)
def test_amounts(value, unit, text):
    assert amount(value, unit) == text


def test_ways_of_showing_a_fact():
    facts = {"t": 1.23456e-6, "v": 4.75, "n": 1, "m": 3, "held": 0x81, "names": ("a", 2), "at": 5e6}
    for text, shown in {
        "{t}": "1.23 µs",
        "{t:4}": "1.235 µs",
        "{t:s}": "1.23 µs",
        "{t:s4}": "1.235 µs",
        "{v:V}": "4.75 V",
        "{n}, {n:4}": "1, 1",
        "{n:V}": "1 V",
        "{n:read|reads}, {m:read|reads}": "1 read, 3 reads",
        "{held:buttons}": "A+Right",
        "{names:list}": "a, 2",
        "{at:moment}": "5.000 µs",
        "{who}": "the pad",
    }.items():
        assert filled(text, {**facts, "who": "the pad"}, "s") == shown
    assert moment(1) == "0.000 µs"
    with pytest.raises(KeyError, match="absent"):
        filled("{absent}", facts)


def test_a_text_may_be_a_function_of_the_finding():
    rule = Rule("a", "s", {"fail": lambda finding: f"at {finding.met.at_ps}"})
    assert Finding(rule, "fail", met=Met(at_ps=3)).says == "at 3"
    with pytest.raises(KeyError, match="pass"):
        assert Finding(rule, "pass").says


def test_a_count_in_the_words_of_a_rule_is_in_its_unit():
    rule = Rule("a", "s", {"pass": "{measured} of {limit}, {margin}"})
    assert Finding(rule, "pass", 0, 2, 2).says == "0 s of 2 s, 2 s"
    with pytest.raises(KeyError, match="measured"):
        assert Finding(rule, "pass").says


# One wave for each case of a rule that the others do not show.
SIMULATION, HDL = STYLES["simulation"], STYLES["hdl"]
SYSTEM = SystemClock(rise=0, period=40 * NS)


def overtaken():
    """The clock rises in the latch and reaches the register after it."""
    drawn = wave(gap=-600 * NS, clocks=1)
    late = replace(
        drawn.wires["pad.clock"], times=drawn.wires["pad.clock"].times + np.array([0, 0, 500 * NS])
    )
    return replace(drawn, wires={**drawn.wires, "pad.clock": late})


def waves():
    """Pairs of a timeline and what judges it besides the usual."""
    broken = {
        "latch": 159_999,
        "low": 170 * NS,
        "high": 150 * NS,
        "gap": 100 * NS,
        "moved": 49 * NS,
        "sample": 171 * NS,
        "clocks": 7,
        "answer": 99_999,
    }
    sound = wave()
    yield sound, {}
    yield wave(**broken), {}
    yield wave(**broken, lost=(2, 4), glitch=130 * NS), {"hold": 0}
    yield wave(sample=600 * NS), {"hold": 200 * NS}
    yield wave(sample=600 * NS), {"hold": 90 * NS}
    yield wave(latch=100 * NS, gap=50 * NS, low=500 * NS), {}
    yield wave(answer=1_000 * NS), {}
    yield wave(clocks=0), {}
    yield overtaken(), {}
    yield wave(gap=0), {}
    for name in (*sound.wires, *sound.words, *sound.events):
        yield silenced(sound, name), {}
        if name not in ("console.latch", "console.clock", "cable.data"):
            yield without(sound, name), {}
    yield without(sound, "cable.data"), {"reads": ()}
    yield sound, {"answer": None, "clock": None}
    yield sound, {"promised": False}


def all_findings(limits):
    for timeline, options in waves():
        hold = options.get("hold")
        law = limits if hold is None else replace(limits, hold=Limit(hold, limits.answer.sources))
        reads = options.get("reads")
        reads = decode(timeline) if reads is None else reads
        yield from judge_timing(timeline, reads, law)
        clock = options.get("clock", SYSTEM)
        answer = options.get("answer", Limit(100 * NS, ()))
        yield from judge_answers(
            timeline,
            window=100 * NS,
            answer=answer,
            clock=clock,
            flip_flops=2,
            promised=options.get("promised", True),
        )
    for rule in (DATA_DELAY, CLOCK_EDGE):
        for times in ([], [99], [100], [101]):
            at = np.arange(len(times))
            yield held_to_most(rule, at, np.array(times, int), Limit(100, ()), "time")


def test_every_case_of_every_rule_can_be_met_and_says_so(limits):
    limits = replace(limits, clock_at_load_end=(Source("this test", "assumed"),))
    met = {}
    for one in all_findings(limits):
        met.setdefault((one.id, one.case or one.verdict), one)
    assert set(met) == {(id_, case) for id_, rule in RULES.items() for case in rule.texts}
    for (id_, case), one in met.items():
        assert one.rule is RULES[id_]
        assert not set("{}") & set(one.says)
        assert "None" not in one.says
        text = one.rule.texts[case]
        fields = {name for _, name, _, _ in string.Formatter().parse(text) if name}
        if one.unit == "s" and "measured" in fields:
            assert amount(one.measured, "s", 4) in one.says
            assert amount(one.limit, "s", 4) in one.says


SAID = {
    ("timing.latch-width", "fail"): "shortest load pulse: 100 ns, less than the 160 ns that "
    "the register needs",
    ("timing.removal", "overtaken"): "a rising clock edge sent before the load ends reaches the "
    "register 400 ns after it: the line rises more slowly than the latch falls, and a bit is "
    "shifted away",
    ("timing.clocks", "fail"): "a read has 7 clocks; eight buttons take eight",
    ("timing.clock-arrives", "fail"): "4 of 14 clock edges never reach the register: the line gets "
    "there too slowly, or not at all",
    ("timing.sample-point", "pass-held"): "every sample comes while its bit stands, 200 ns after "
    "its clock pulse",
    ("timing.sample-point", "fail-held"): "a sample comes 100 ns after the edge that ends its "
    "clock pulse; the bit is held for 90 ns",
    ("data.glitch", "fail"): "the data line changes 1 time more than latch, clock and buttons ask",
    ("data.synchroniser", "fail"): "the quickest answer to a clock comes with edge 2 of the system "
    "clock; behind 2 flip-flops it cannot come before edge 3",
    ("data.answer", "unseen"): "the timeline does not show pad.load",
    ("timing.data-delay", "fail"): "the longest time is 101 ps; at most 100 ps should pass",
}


@pytest.mark.parametrize(("id_", "case"), SAID)
def test_sentences_as_they_are_read(limits, id_, case):
    said = {
        one.says for one in all_findings(limits) if (one.id, one.case or one.verdict) == (id_, case)
    }
    assert SAID[id_, case] in said


def test_words_at_the_beginning_of_a_sentence():
    assert [capital(words) for words in ("it is. it was", "ABC", "")] == [
        "It is. it was",
        "ABC",
        "",
    ]


def test_of_several_moments_a_count_names_the_first():
    rule = Rule("made.up", "edges", {"fail": "too few"})
    found = judge_count(rule, 1, 3, -2, [40, 90], ())
    assert (found.verdict, found.met.at_ps) == ("fail", 40)
