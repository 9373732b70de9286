"""Findings of whole sheets, and remedies put back into them."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.circuit.electric import judge_bounce, judge_electric
from padbench.core.findings import Source
from padbench.core.units import show
from padbench.parts import E12, E24
from padbench.sheet import STARTER, load_sheet, sheet_from_text
from sheets import put_back, written

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"


def sheet(**changes):
    text = STARTER
    for old, new in changes.values():
        assert old in text
        text = text.replace(old, new)
    return sheet_from_text(text, "starter")


def by_id(design, remedies=True):
    return {found.id: found for found in judge_electric(design, remedies=remedies).findings}


def test_revision_b_holds_everything():
    found = by_id(load_sheet(SHEETS / "harbour-b.toml"))
    assert {one.verdict for one in found.values()} == {"pass"}
    assert found["levels.pressed"].margin > 0.3
    assert found["levels.released"].margin > 0.3


@pytest.fixture(scope="module")
def revision_a():
    return by_id(load_sheet(SHEETS / "harbour-a.toml"))


def test_revision_a_has_a_pull_up_too_low_for_a_worn_contact(revision_a):
    found = revision_a["levels.pressed"]
    # By hand: 5.25 V x 10 k / (9.5 k + 10 k) and a microampere into 4.9 k
    assert found.measured == pytest.approx(5.25 * 10 / 19.5 + 4.9e-3, abs=1e-4)
    assert found.limit == pytest.approx(0.3 * 5.25)
    assert found.margin == pytest.approx(found.limit - found.measured)
    assert "worn contact" in found.where
    assert found.remedy.key == "pull-up.value"
    assert 39e3 in found.remedy.e12
    assert 24e3 < found.remedy.low < 25e3
    assert all(value >= found.remedy.low for value in found.remedy.e24)


def test_revision_a_lacks_the_resistors_of_a_port_that_only_pulls_down(revision_a):
    found = revision_a
    for line in ("latch", "clock"):
        one = found[f"port.pull-down-only.{line}"]
        assert (one.verdict, one.measured) == ("fail", 0.0)
        assert f"the {line} line never gets high" in one.says
        assert one.remedy.key == f"resistors.{line}-to-supply"
        assert 3.6e3 in one.remedy.e24
        assert 3.3e3 in one.remedy.e12
        assert found[f"port.push-pull.{line}"].verdict == "pass"


@pytest.mark.parametrize(
    ("ports", "least"), [(', "pull-down-only"', 0.05), ("", 2.5)], ids=["both", "push-pull"]
)
def test_three_hundred_metres_of_cable_are_too_long_for_a_fast_poll(ports, least):
    text = (SHEETS / "harbour-b.toml").read_text()
    text = text.replace('"2.5 m"', '"300 m"').replace('"plain-loop"', '"brisk"')
    found = by_id(sheet_from_text(text.replace(', "pull-down-only"', ports), "b"))
    assert found["data.later-bits"].verdict == "fail"
    assert found["cable.length"].verdict == "fail"
    longest = found["cable.length"].measured
    assert f"the longest cable that works is {show(longest, 'm')}" in found["cable.length"].says
    assert least < longest < 10


def test_the_longest_cable_works_and_a_longer_one_does_not():
    longest = by_id(sheet())["cable.length"].measured

    def fails(metres):
        found = by_id(sheet(one=('"2.5 m"', f'"{metres} m"')))
        return {one.id for one in found.values() if one.verdict == "fail"}

    assert fails(longest) == set()
    assert "cable.length" in fails(longest * 1.001)
    assert len(fails(longest * 1.001)) > 1


def test_ports_by_variant():
    """Common practice: without its own resistors a pad works on push-pull ports only."""
    verdicts = {
        (row.variant, row.port): row.verdict
        for row in judge_electric(sheet(), remedies=False).ports
    }
    bare = "without resistors on latch and clock"
    assert verdicts["as drawn", "push-pull"] == verdicts["as drawn", "pull-down-only"] == "pass"
    assert (verdicts[bare, "push-pull"], verdicts[bare, "pull-down-only"]) == ("pass", "fail")


@pytest.mark.parametrize(("bounce", "polls"), [("0 s", 0), ("5 ms", 1), ("17 ms", 2), ("40 ms", 3)])
def test_polls_in_a_bounce(bounce, polls):
    found = judge_bounce(sheet(one=('bounce = "5 ms"', f'bounce = "{bounce}"')))
    assert found.measured == polls
    assert found.verdict == ("pass" if polls < 2 else "fail")


@pytest.mark.parametrize(
    ("bounce", "period", "polls"),
    [("9 ms", "3 ms", 4), ("0.3 s", "0.1 s", 4), ("1 s", "1 ms", 1001), ("8.999999 ms", "3 ms", 3)],
)
def test_a_bounce_of_so_many_whole_periods_is_seen_once_more(bounce, period, polls):
    """A poll at its first moment and one at its last: floor(bounce / period) + 1."""
    found = judge_bounce(written({"contacts.bounce": bounce, "poll.period": period}))
    assert found.measured == polls


@settings(deadline=None, max_examples=25)
@given(
    st.tuples(*[st.integers(1_000, 300_000)] * 3),
    st.tuples(*[st.sampled_from(["", " ± 1 %", " ± 20 %"])] * 3),
)
def test_what_is_said_of_a_bounce_is_where_it_begins_to_hold(micros, spreads):
    """In microseconds; the read itself takes a tenth of the shortest period."""
    keys = ("contacts.bounce", "poll.period", "policy.debounce")
    change = {
        key: f"{us} us{spread}" for key, us, spread in zip(keys, micros, spreads, strict=True)
    }
    found = judge_bounce(written(change))
    for remedy in () if found.remedy is None else (found.remedy, *found.remedy.also):
        end, way = (remedy.low, 1) if remedy.high is None else (remedy.high, -1)
        for factor, verdict in ((1, "pass"), (1 + way * 1e-6, "pass"), (1 - way * 1e-6, "fail")):
            again = written(change, put_back(change, remedy.key, end * factor, "s"))
            assert judge_bounce(again).verdict == verdict, (remedy.key, factor)
    assert (found.remedy is None) == (found.verdict == "pass")


def test_debouncing_rides_over_a_bounce():
    bounce = ('bounce = "5 ms"', 'bounce = "40 ms"')
    policy = 'opposite-directions = "both"'
    for wait, verdict in (("39 ms", "fail"), ("40 ms", "pass")):
        quiet = (policy, f'{policy}\ndebounce = "{wait}"')
        assert judge_bounce(sheet(one=bounce, two=quiet)).verdict == verdict


def test_what_was_not_looked_up_is_marked():
    found = by_id(sheet())
    for one in found.values():
        assert one.sources, one.id
    threshold, *behind = found["levels.pressed"].sources
    assert threshold == Source("JEDEC JESD13-B", "published")
    # The level itself rests on a leakage that nobody looked up.
    assert {"given", "calculated", "from memory"} == {source.kind for source in behind}
    assert "from memory" in {source.kind for source in found["data.low"].sources}


def test_preferred_values_are_of_their_series_and_break_nothing_else():
    remedy = by_id(sheet(one=('"39k ± 5 %"', '"10k ± 5 %"')))["levels.pressed"].remedy
    for number in (*remedy.e24[:3], *remedy.e24[-3:]):
        found = by_id(sheet(one=('"39k ± 5 %"', f'"{number!r} Ω ± 5 %"')), remedies=False)
        assert {one.verdict for one in found.values()} == {"pass"}, number
    assert {int(f"{x:.1e}".replace(".", "")[:2]) for x in remedy.e12} <= set(E12)
    assert {int(f"{x:.1e}".replace(".", "")[:2]) for x in remedy.e24} <= set(E24)


def test_findings_are_equal_from_call_to_call():
    assert judge_electric(sheet(), remedies=False) == judge_electric(sheet(), remedies=False)
    change = {"pull-up.value": "10k ± 5 %"}
    found = by_id(written(change))["levels.pressed"]
    assert replace(found) == found == by_id(written(change))["levels.pressed"]


def judged(change, ports=("push-pull", "pull-down-only")):
    found = judge_electric(written(change, ports=ports), remedies=False)
    return {one.id: one for one in found.findings}, found.ports


def test_a_resistor_that_is_not_there_has_no_heat():
    absent = {"resistors.latch-to-supply": "absent", "pull-up.value": "absent"}
    found, _ = judged(absent)
    for id_, what in (("latch-resistor", "from latch to supply"), ("pull-up", "no pull-up")):
        one = found[f"power.{id_}"]
        assert (one.verdict, one.measured, one.limit) == ("not-judged", None, None)
        assert what in one.says
    assert found["power.clock-resistor"].verdict == "pass"
    assert found["power.clock-resistor"].measured > 1e-3


def test_what_is_left_of_a_pulse_is_never_less_than_nothing():
    quick = {"poll.latch-width": "40 ns", "poll.latch-to-clock": "10 ns"}
    quick |= {"poll.clock-low": "20 ns", "poll.sample": "20 ns", "poll.clock-high": "50 ns"}
    found, _ = judged(quick)
    for id_ in ("latch.pulse", "clock.high-pulse"):
        assert found[id_].measured < 0
        assert found[id_].says.startswith("nothing of the ")
    assert "comes before the end of the load" in found["latch.removal"].says
    # Where a little gets through it is still told how much.
    assert "2.58 ns of the clock's low part" in found["clock.low-pulse"].says
    found, _ = judged({})
    for one in found.values():
        assert " 0 s;" not in one.says
        assert " 0 V above" not in one.says


def test_a_pad_that_works_nowhere_holds_on_no_port_of_the_table():
    _, rows = judged({"pull-up.value": "absent"})
    assert {row.verdict for row in rows} == {"fail"}
    assert all("levels.released" in row.fails for row in rows)
