from math import exp

import pytest
from hypothesis import given
from hypothesis import strategies as st

from padbench.electric.edges import rc_time

parts = st.floats(0.05, 0.95)


@given(st.floats(1, 1e6), st.floats(1e-12, 1e-6), parts, st.floats(1, 18))
def test_the_charging_curve_is_at_the_target_then(ohms, farads, part, supply):
    t = rc_time(ohms, farads, 0.0, supply, part * supply)
    assert supply * (1 - exp(-t / (ohms * farads))) == pytest.approx(part * supply, rel=1e-9)


def test_half_way_takes_ln_two():
    assert rc_time(1e3, 1e-9, 0, 5, 2.5) == pytest.approx(0.693147e-6, rel=1e-6)
    assert rc_time(1e3, 1e-9, 5, 0, 2.5) == pytest.approx(0.693147e-6, rel=1e-6)


def test_nothing_to_do_takes_no_time():
    assert rc_time(1e3, 1e-9, 1, 5, 1) == 0


@pytest.mark.parametrize("target", [5.0, 6.0, -1.0])
def test_what_is_never_passed(target):
    with pytest.raises(ValueError, match="never passes"):
        rc_time(1e3, 1e-9, 0, 5, target)
