"""The laws put back into the equations that they solve, which are written here once more."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from padbench.circuit.laws import diode_current, mos_gain, mos_level, rc_times

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
