"""Preferred values against the table of IEC 60063 (class P)."""

import pytest

from padbench.parts import E12, E24, preferred

PUBLISHED_E24 = [
    *(1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0),
    *(3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1),
]
PUBLISHED_E12 = [1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2]


def test_the_series_are_those_of_iec_60063():
    assert [value / 10 for value in E24] == PUBLISHED_E24
    assert [value / 10 for value in E12] == PUBLISHED_E12


def test_both_ends_belong():
    assert preferred(E12, 3.3e3, 4.7e3) == (3.3e3, 3.9e3, 4.7e3)
    assert preferred(E24, 39e3, 39e3) == (39e3,)
    assert preferred(E12, 4e3, 4.5e3) == ()


def test_shops_carry_1_ohm_to_22_megohm():
    values = preferred(E24, 0, 1e12)
    assert (values[0], values[-1]) == (1.0, 22e6)
    assert list(values) == sorted(values)
    assert len(values) == 7 * 24 + 9


@pytest.mark.parametrize("decade", range(7))
def test_every_decade_is_whole(decade):
    found = preferred(E12, 10**decade, 9.9 * 10**decade)
    assert found == pytest.approx([x * 10**decade for x in PUBLISHED_E12])
