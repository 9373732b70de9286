"""The laws put back into the equations that they solve, which are written here once more."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from padbench.circuit.laws import (
    diode_current,
    diode_fall,
    mos_gain,
    mos_level,
    mos_time,
    rc_times,
)

gains = st.floats(1e-5, 1e-2)
overdrives = st.floats(0.5, 4.0)


def drawn(gain: float, overdrive: float, volts: float) -> float:
    """Level 1 of circuit simulators (from memory): amperes of a MOS transistor."""
    if volts >= overdrive:
        return gain * overdrive**2 / 2
    return gain * (overdrive * volts - volts**2 / 2)


@given(gains, overdrives, st.floats(1e-7, 1e-2), st.floats(0.0, 4.0))
def test_what_holds_an_output_up_is_what_transistor_and_resistor_draw(
    gain, overdrive, siemens, volts
):
    """Below pinch-off and in saturation."""
    held = drawn(gain, overdrive, volts) + siemens * volts
    level = float(mos_level(gain, overdrive, siemens, held))
    again = drawn(gain, overdrive, level) + siemens * level
    assert again == pytest.approx(held, rel=1e-9, abs=1e-15)
    # In saturation a small conductance alone tells the volts.
    assert level == pytest.approx(volts, rel=1e-6, abs=1e-9) or siemens < 1e-6


@given(gains, overdrives, st.floats(0.01, 5.0))
def test_a_gain_gives_the_current_that_it_was_found_from(gain, overdrive, drop):
    assert mos_gain(drawn(gain, overdrive, drop), drop, overdrive) == pytest.approx(gain)


@given(st.floats(0.05, 6.0), st.floats(1.0, 1e6), st.floats(1e-15, 1e-6), st.floats(0.024, 0.06))
def test_a_diode_and_its_resistor_share_the_volts(volts, ohms, saturation, slope):
    current = float(diode_current(volts, ohms, saturation, slope))
    assert slope * math.log1p(current / saturation) + ohms * current == pytest.approx(
        volts, rel=1e-9
    )


@pytest.mark.parametrize(
    ("start", "final", "to", "taus"),
    [
        (0.0, 5.0, 5.0 * (1 - math.exp(-1)), 1.0),
        (5.0, 0.0, 5.0 * math.exp(-2), 2.0),
        (0.0, 5.0, 0.0, 0.0),  # there already
        (5.0, 0.0, 5.0, 0.0),
        (0.0, 5.0, -1.0, 0.0),  # behind
        (5.0, 0.0, 6.0, 0.0),
        (0.0, 5.0, 5.0, math.inf),  # never quite
        (5.0, 0.0, 0.0, math.inf),
        (0.0, 5.0, 6.0, math.inf),
        (2.0, 2.0, 2.0, 0.0),
    ],
)
def test_a_line_passes_a_level_after_so_many_time_constants(start, final, to, taus):
    assert float(rc_times(1e-6, start, final, to)) == pytest.approx(taus * 1e-6)


def balance(pull, push) -> float:
    """Volts between 0 and 20 at which what pulls equals what pushes, by bisection."""
    low, high = 0.0, 20.0
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (low, middle) if pull(middle) > push(middle) else (middle, high)
    return low


def through_diode(volts: float, ohms: float, saturation: float, slope: float) -> float:
    """Shockley's diode and a resistor in series, by bisection on the current."""
    low, high = 0.0, volts / ohms
    for _ in range(200):
        middle = (low + high) / 2
        across = slope * math.log1p(middle / saturation) + ohms * middle
        low, high = (low, middle) if across > volts else (middle, high)
    return low


@pytest.mark.parametrize("charge_r", [1e3, 1e4, 1e5])
@pytest.mark.parametrize("pull_r", [10.0, 1e3])
def test_a_line_falls_through_a_diode_as_far_as_what_holds_it_up_lets_it(charge_r, pull_r):
    saturation, slope, supply = 2.5e-9, 0.05, 5.0
    rest = balance(
        lambda volts: through_diode(volts, pull_r, saturation, slope),
        lambda volts: (supply - volts) / charge_r,
    )
    fall = [
        float(diode_fall(supply, to, charge_r, supply, pull_r, saturation, slope, 1e-9))
        for to in (supply, rest * 1.01, rest * 1.0001, rest * 0.9999, rest * 0.5)
    ]
    assert fall[0] == 0
    assert 0 < fall[1] < fall[2] < math.inf
    assert fall[3:] == [math.inf, math.inf]


@given(gains, overdrives, st.floats(1e-7, 1e-3), st.floats(1e-6, 1e-2))
def test_an_output_falls_as_far_as_what_holds_it_up_lets_it(gain, overdrive, siemens, held):
    """At rest the transistor and the resistor draw what is held, in saturation as well."""
    rest = balance(lambda volts: drawn(gain, overdrive, volts) + siemens * volts, lambda _: held)
    assume(rest < 19)  # as far as is looked
    start = rest + 1.0
    times = [
        float(mos_time(1e-9, start, to, gain, overdrive, siemens, held))
        for to in (start + 0.1, start, rest + 0.01, rest + 0.001, rest - 0.001, rest - 0.1)
    ]
    assert times[:2] == [0, 0]
    assert 0 < times[2] < times[3] < math.inf
    assert times[4:] == [math.inf, math.inf]
