"""Remedies of several findings brought together: the narrowest range, and what lies in all."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from padbench.core.findings import Finding, Rule
from padbench.core.remedies import Remedy
from padbench.results.change import changes, value_now

E12 = (10.0, 12.0, 15.0, 18.0, 22.0, 27.0, 33.0, 39.0, 47.0, 56.0, 68.0, 82.0)


def finding(id_="levels.pressed", verdict="fail", remedy=None):
    rule = Rule(id_, "V", {verdict: f"{id_} is broken"})
    return Finding(rule, verdict, 1.0, 2.0, -1.0, remedy=remedy)


def remedy(low, high, key="pull-up.value"):
    values = tuple(v for v in E12 if (low is None or v >= low) and (high is None or v <= high))
    return Remedy(key, low, high, "Ω", values)


def test_the_narrowest_range_counts_and_a_step_is_left():
    (made,) = changes([
        finding("a", remedy=remedy(11, None)), finding("b", remedy=remedy(16, None)),
    ])  # fmt: skip
    assert made.says == "at least 16 Ω"
    assert made.values[0] == "18 Ω"
    assert made.spare == "22 Ω"
    assert made.mends == ("a", "b")


def test_ranges_that_do_not_meet_promise_no_value():
    (made,) = changes([finding(remedy=remedy(50, None)), finding(remedy=remedy(None, 20))])
    assert (made.spare, made.values) == ("", ())
    assert made.says == "pull-up.value from 50 Ω up would do; pull-up.value up to 20 Ω would do"


def test_six_others_about_the_one_named_and_never_itself():
    (made,) = changes([finding(remedy=remedy(None, 90))])
    assert (made.spare, len(made.values)) == ("68 Ω", 12)
    assert made.others == ("27 Ω", "33 Ω", "39 Ω", "47 Ω", "56 Ω", "82 Ω")
    (made,) = changes([finding(remedy=remedy(50, 70))])
    assert (made.spare, made.others) == ("68 Ω", ("56 Ω",))


@pytest.mark.parametrize(
    ("key", "title"),
    [
        ("buttons", "Wires of the buttons"),
        ("port.push-pull.data-pull-up", "Port: push pull, data pull up"),
    ],
)
def test_a_title_is_in_words(key, title):
    (made,) = changes([finding(remedy=Remedy(key, advice="none"))])
    assert made.title == title


def test_what_only_follows_is_not_said_twice():
    wire, run = finding("wiring.order"), finding("timing.clock-low")
    assert [made.mends for made in changes([wire, run])] == [("wiring.order",)]
    assert [made.mends for made in changes([run])] == [("timing.clock-low",)]
    assert changes([finding(verdict="pass", remedy=remedy(1, 2))]) == ()


bounds = st.one_of(st.none(), st.sampled_from([9.0, 11.0, 16.0, 25.0, 40.0, 70.0, 90.0]))


@given(st.lists(st.tuples(bounds, bounds), min_size=1, max_size=5))
def test_every_value_that_is_named_does_for_every_finding(ranges):
    (made,) = changes([finding(remedy=remedy(low, high)) for low, high in ranges])
    for value in (*made.values, *([made.spare] if made.spare else [])):
        number = float(value.removesuffix(" Ω"))
        assert all((low or 0) <= number <= (high or 1e9) for low, high in ranges)
    kept = [v for v in E12 if all((lo or 0) <= v <= (hi or 1e9) for lo, hi in ranges)]
    bounded = any(low or high for low, high in ranges)
    assert len(made.values) == (len(kept) if bounded else 0)


def test_the_wires_now_are_those_of_the_buttons_that_it_is_about():
    to_connect = Remedy(
        "buttons", advice="connect-buttons", facts={"buttons": ("Up",), "stages": (4,)}
    )
    (change,) = changes([finding(remedy=to_connect)])
    sheet = {"buttons": {"A": 8, "B": 7, "Up": 3}}
    assert value_now(change, sheet) == "Up on 3"
