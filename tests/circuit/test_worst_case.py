"""Corner arithmetic: many designs as one by one, and no margin from a worse corner."""

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.circuit.circuits import thresholds
from padbench.circuit.design import ABSENT, Design, changed, design_of, stacked
from padbench.circuit.laws import stretch
from padbench.circuit.worst_case import worst_case
from padbench.parts import port_kind, register_part
from padbench.sheet import STARTER, sheet_from_text

SHEET = sheet_from_text(STARTER, "starter")
PORTS = ("push-pull", "pull-down-only")


def starter(port="pull-down-only", part="CD4021B"):
    return design_of(SHEET, register_part(part), port_kind(port))


def rows(design, numbers):
    return Design(**{f.name: getattr(design, f.name)[numbers] for f in fields(Design)})


def many(size):
    rng = np.random.default_rng(7)

    def spread(low, high):
        return np.exp(rng.uniform(np.log(low), np.log(high), size))

    def sometimes_absent(ohms):
        return np.where(rng.random(size) < 0.1, ABSENT, ohms)

    supply = rng.uniform(3, 12, size)
    kinds = stacked([starter(port) for port in PORTS])
    picked = rows(kinds, rng.integers(0, 2, size))
    return changed(
        picked,
        supply_low=supply,
        supply_high=supply * rng.uniform(1, 1.2, size),
        coldest_used=rng.uniform(-40, 20, size),
        hottest_used=rng.uniform(20, 120, size),
        pull_up=sometimes_absent(spread(10, 1e7)),
        pull_up_tol=rng.uniform(0, 0.2, size),
        worn=spread(10, 1e5),
        closed=spread(1e-3, 10),
        dirt=spread(1e4, 1e9),
        cable_length=spread(0.01, 1e3),
        latch_r=sometimes_absent(spread(1, 1e6)),
        clock_r=sometimes_absent(spread(1, 1e6)),
        clock_tol=rng.uniform(0, 0.2, size),
        data_up=sometimes_absent(spread(1e3, 1e5)),
        sample=spread(1e-7, 1e-4),
        clock_low=spread(1e-7, 1e-5),
        clock_high=spread(1e-7, 1e-4),
    )


def test_many_designs_in_one_call_are_as_one_by_one():
    designs = many(1_500)
    together = worst_case(designs)
    # Fifty of them, in three pieces of work; tests/bench/corners.py takes them all.
    for row in range(0, 1_500, 29):
        alone = worst_case(rows(designs, slice(row, row + 1)))
        for one, all_ in zip(alone, together, strict=True):
            assert one.id == all_.id
            assert one.margin[0] == pytest.approx(all_.margin[row], rel=1e-12), (row, one.id)
            assert one.measured[0] == pytest.approx(all_.measured[row], rel=1e-12)
            assert one.corner[0] == all_.corner[row]
    # And it is no test if nearly all of them go one way.
    for one in together:
        if one.id.startswith(("levels", "latch.pulse", "clock.", "data.later")):
            assert 0.01 < np.mean(one.holds) < 0.99 or one.id == "clock.fall", one.id


WIDER = {
    "pull_up_tol": 0.3,
    "latch_tol": 0.3,
    "clock_tol": 0.3,
    "supply_low": 4.0,
    "supply_high": 6.0,
    "coldest_used": -55.0,
    "hottest_used": 125.0,
    "worn": 20e3,
    "closed": 10.0,
    "dirt": 1e5,
    "saturation_low": 1e-11,
    "saturation_high": 1e-7,
    "leakage": 1e-5,
    "leakage_hot": 1e-5,
    "cable_length": 30.0,
    "clock_to_output": 1e-6,
}


CORNERS = {
    "pull_up_tol",
    "latch_tol",
    "clock_tol",
    "supply_low",
    "supply_high",
    "coldest_used",
    "hottest_used",
    "saturation_low",
    "saturation_high",
}


@given(st.lists(st.sampled_from(list(WIDER)), min_size=1, unique=True), st.sampled_from(PORTS))
@settings(deadline=None, max_examples=40)
def test_more_margin_never_comes_from_a_worse_corner(names, port):
    tight, wide = starter(port), changed(starter(port), **{name: WIDER[name] for name in names})
    for before, after in zip(worst_case(tight), worst_case(wide), strict=True):
        # A slower line shortens one part of the clock and lengthens the other.
        if before.id.endswith("pulse") and not CORNERS.issuperset(names):
            continue
        assert after.margin[0] <= before.margin[0] + 1e-12 * abs(before.margin[0]), before.id


@given(
    st.sampled_from(["supply", "resistors", "temperature", "diode"]),
    st.floats(0, 1),
    st.sampled_from(PORTS),
)
@settings(deadline=None, max_examples=40)
def test_a_point_inside_has_no_less_margin_than_the_worst_corner(axis, way, port):
    design = starter(port)
    whole = worst_case(design)

    def within(low, high):
        return low + way * (high - low)

    if axis == "supply":
        value = within(design.supply_low, design.supply_high)
        inside = changed(design, supply_low=value, supply_high=value)
    elif axis == "resistors":
        scale = within(0.95, 1.05)
        tolerances = {"pull_up_tol": 0, "latch_tol": 0, "clock_tol": 0}
        inside = changed(
            design,
            pull_up=design.pull_up * scale,
            latch_r=design.latch_r * scale,
            clock_r=design.clock_r * scale,
            **tolerances,
        )
    elif axis == "temperature":
        value = within(design.coldest_used, design.hottest_used)
        inside = changed(design, coldest_used=value, hottest_used=value)
    else:
        value = within(design.saturation_low, design.saturation_high)
        inside = changed(design, saturation_low=value, saturation_high=value)
    for at_worst, found in zip(whole, worst_case(inside), strict=True):
        assert found.margin[0] >= at_worst.margin[0] - 1e-9 * abs(at_worst.margin[0]), found.id


def value(design, id_):
    return next(one for one in worst_case(design) if one.id == id_)


def test_some_of_the_quantities_are_as_in_all_of_them():
    designs = many(20)
    for one in worst_case(designs):
        (alone,) = worst_case(designs, (one.id,))
        assert np.array_equal(alone.margin, one.margin, equal_nan=True)


@given(
    st.sampled_from(["CD4021B", "74HC165"]),
    st.tuples(st.floats(2.0, 15), st.floats(2.0, 15)),
    st.tuples(st.floats(-55, 125), st.floats(-55, 125)),
)
@settings(deadline=None, max_examples=40)
def test_no_part_is_quicker_at_less_supply_or_hotter(name, volts, celsius):
    law = register_part(name).derating
    numbers = (law.volts, law.threshold, law.exponent, law.per_degree)
    worse = stretch(min(volts), max(celsius), *numbers)
    assert worse >= stretch(max(volts), min(celsius), *numbers)
    assert stretch(law.volts, 25.0, *numbers) == 1.0


def test_a_part_takes_longer_at_the_worst_corner_and_pulses_have_to_be_longer():
    cold = changed(starter(), supply_low=5.0, supply_high=5.0, hottest_used=25.0)
    hot = changed(cold, hottest_used=125.0)
    for id_ in ("latch.pulse", "clock.low-pulse", "clock.high-pulse"):
        assert value(hot, id_).limit[0] == pytest.approx(1.3 * value(cold, id_).limit[0])
    # 320 ns more by 0.3 % for each of 100 °C, and the weaker output on the cable beside.
    more = value(hot, "data.later-bits").measured[0] - value(cold, "data.later-bits").measured[0]
    assert more > 0.3 * 320e-9


def test_at_the_threshold_of_its_transistors_a_part_never_answers():
    dead = changed(starter(), supply_low=1.4)
    assert not value(dead, "data.later-bits").holds[0]
    assert not value(dead, "latch.pulse").holds[0]


def test_the_largest_contact_reads_just_so():
    design = starter()
    largest = value(design, "levels.contact").measured[0]
    assert value(changed(design, worn=largest * 0.999), "levels.pressed").holds[0]
    assert not value(changed(design, worn=largest * 1.001), "levels.pressed").holds[0]


def test_thresholds_of_the_b_series_are_those_of_jesd13_b():
    one = np.ones(1)
    for supply, low, high in [(5, 1.5, 3.5), (10, 3, 7), (15, 4, 11)]:
        found = thresholds(0.3 * one, 0.7 * one, one, supply * one)
        assert np.allclose(found, [[low], [high]])


@pytest.mark.parametrize("port", PORTS)
def test_without_a_resistor_a_line_gets_high_only_where_the_port_lifts_it(port):
    found = value(changed(starter(port), clock_r=ABSENT), "clock.high")
    assert bool(found.holds[0]) == (port == "push-pull")


def test_a_schmitt_clock_takes_any_edge():
    slow = {"cable_length": 3000.0, "clock_r": 100e3}
    assert not value(changed(starter(), **slow), "clock.rise").holds[0]
    assert value(changed(starter(part="HEF4021B"), **slow), "clock.rise").holds[0]


def test_a_wire_for_a_pull_up_shorts_the_supply():
    found = value(changed(starter(), pull_up=1e-6, closed=0.5), "supply.all-held")
    assert found.measured[0] > 8 * 5.25 / 0.5
    assert not found.holds[0]


def test_supply_and_ground_never_meet_through_a_press_when_the_pull_up_is_there():
    """Common practice: the pull-up alone bounds what a press can draw."""
    design = changed(starter(), closed=1e-6, worn=1e-6)
    found = value(design, "supply.all-held")
    assert found.measured[0] < 8 * 5.25 / (39e3 * 0.95) + 2 * 5.25 / (3.6e3 * 0.95) + 2e-4
    assert found.holds[0]


def test_currents_by_hand():
    # Push-pull at 5.25 V: eight pull-ups to ground and two line resistors, less the port's 75 ohm.
    design = changed(starter("push-pull"), closed=1e-6, quiescent=0, quiescent_hot=0)
    expected = 8 * 5.25 / (39e3 * 0.95) + 2 * 5.25 / (3.6e3 * 0.95 + 75)
    assert value(design, "supply.all-held").measured[0] == pytest.approx(expected, rel=1e-3)
    assert value(design, "power.clock-resistor").measured[0] == pytest.approx(
        (5.25 * 3420 / 3495) ** 2 / 3420, rel=1e-3
    )


@pytest.mark.parametrize(
    ("id_", "resistor"), [("data.first-bit", "latch_r"), ("data.later-bits", "clock_r")]
)
def test_a_bit_waits_for_the_line_that_brings_it(id_, resistor):
    quick, slow = starter(), changed(starter(), **{resistor: 7.2e3})
    later = value(slow, id_).measured[0] - value(quick, id_).measured[0]
    # Twice the resistor, once more the rise: 3.6 k + 5 %, 257.5 pF, from a diode's drop to 70 %
    assert later == pytest.approx(3780 * 257.5e-12 * 1.12, rel=0.08)
    other = "data.later-bits" if id_ == "data.first-bit" else "data.first-bit"
    assert value(slow, other).measured[0] == value(quick, other).measured[0]
