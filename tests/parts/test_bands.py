"""Colour bands against IEC 60062, its edition of 2004, spelt out by hand and from memory."""

import pytest

from padbench.parts import E24, colour_bands


@pytest.mark.parametrize(
    ("ohms", "tolerance", "bands"),
    [
        (39e3, 0.05, "orange white orange gold"),
        (3.6e3, 0.05, "orange blue red gold"),
        (10, 0.1, "brown black black silver"),
        (4.7, 0.05, "yellow violet gold gold"),
        (0.22, 0.05, "red red silver gold"),
        (1e6, 0.05, "brown black green gold"),
        (39e3, 0.01, "orange white black red brown"),
        (38.3e3, 0.01, "orange grey orange red brown"),
        (100, 0.02, "brown black black black red"),
        (4.64e3, 0.05, "yellow blue yellow brown gold"),
        # Grey since 2016 says 0.01 %, and orange 0.05 %.
        (39e3, 0.0005, "orange white black red grey"),
    ],
)
def test_bands(ohms, tolerance, bands):
    assert colour_bands(ohms, tolerance) == tuple(bands.split())


@pytest.mark.parametrize(("ohms", "tolerance"), [(0, 0.05), (39e3, 0.07), (12345, 0.05)])
def test_what_has_no_bands(ohms, tolerance):
    assert colour_bands(ohms, tolerance) is None


def test_bands_read_back_to_the_value():
    digits = "black brown red orange yellow green blue violet grey white".split()  # noqa: SIM905
    for decade in range(1, 7):
        for step in E24:
            first, second, power, last = colour_bands(step * 10.0**decade, 0.05)
            value = int(f"{digits.index(first)}{digits.index(second)}") * 10 ** digits.index(power)
            assert value == step * 10**decade
            assert last == "gold"
