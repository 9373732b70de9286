import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from padbench.core.units import UnitError, Value, found_text, read_value, show, to_ps

UNITS = ("Ω", "V", "F", "F/m", "s", "m", "W", "Hz")

AS_WRITTEN: list[tuple[object, str, float]] = [
    ("47k", "Ω", 47e3),
    ("47K", "Ω", 47e3),
    ("4.7 kΩ", "Ω", 4700),
    ("4.7 k\u2126", "Ω", 4700),
    ("300 ohm", "Ω", 300),
    ("300 ohms", "Ω", 300),
    ("3 kohm", "Ω", 3000),
    ("300R", "Ω", 300),
    ("300 \u2126", "Ω", 300),
    ("300 \u03a9", "Ω", 300),
    ("10 MΩ", "Ω", 10e6),
    ("10M", "Ω", 10e6),
    ("1e3", "Ω", 1000),
    ("0", "Ω", 0),
    (47, "Ω", 47),
    (0.5, "Ω", 0.5),
    ("5V", "V", 5),
    ("+5 V", "V", 5),
    ("5000 mV", "V", 5),
    ("2.5 m", "m", 2.5),
    ("2.5m", "m", 2.5),
    ("30 cm", "m", 0.3),
    ("1500 mm", "m", 1.5),
    ("2 metres", "m", 2),
    ("100 pF/m", "F/m", 100e-12),
    ("0 pF/m", "F/m", 0),
    ("100\u00a0pF/m", "F/m", 100e-12),
    ("12 µs", "s", 12e-6),
    ("12 μs", "s", 12e-6),
    ("12 us", "s", 12e-6),
    ("5 ms", "s", 5e-3),
    ("5 msec", "s", 5e-3),
    ("22 pF", "F", 22e-12),
    ("1 F", "F", 1),
    (".25 W", "W", 0.25),
    ("60 Hz", "Hz", 60),
    ("1.79 MHz", "Hz", 1.79e6),
]

# IEC 60062: the letter stands where the point would.
RKM: list[tuple[object, str, float]] = [
    ("4k7", "Ω", 4700),
    ("4K7", "Ω", 4700),
    ("4R7", "Ω", 4.7),
    ("R47", "Ω", 0.47),
    ("1M5", "Ω", 1.5e6),
    ("4k7Ω", "Ω", 4700),
    ("3V3", "V", 3.3),
    ("4n7", "F", 4.7e-9),
    ("2µ2", "F", 2.2e-6),
]


@pytest.mark.parametrize(("raw", "unit", "number"), AS_WRITTEN + RKM)
def test_reads_what_people_write(raw: object, unit: str, number: float) -> None:
    value = read_value(raw, unit, example="")
    assert value.nominal == pytest.approx(number, rel=1e-12)
    assert value == Value.exact(value.nominal)


@pytest.mark.parametrize("sign", ["±", " ± ", "+-", " +- ", "+/-", " +/- "])
def test_tolerance_spreads_the_value(sign: str) -> None:
    value = read_value(f"4k7{sign}5 %", "Ω", example="")
    assert value.nominal == 4700
    assert value.low == pytest.approx(4465)
    assert value.high == pytest.approx(4935)


REFUSED = [
    ("47 kF", "Ω", "is in farads (F), not ohms"),
    ("5m", "Ω", "is in metres (m), not ohms"),
    ("5 m", "s", "is in metres (m), not seconds"),
    ("5 %", "V", "is in per cent (%), not volts"),
    ("100 pF", "F/m", "is in farads (F), not farads per metre"),
    ("5 min", "s", "is not in seconds"),
    ("5 parsec", "m", "is not in metres"),
    ("5", "V", "has no unit"),
    ("5 k", "V", "has no unit"),
    (5, "V", "has no unit"),
    (2.5, "m", "has no unit"),
    (True, "Ω", "is not a value with a unit"),
    (None, "Ω", "is not a value with a unit"),
    ([], "Ω", "is not a value with a unit"),
    ({}, "Ω", "is not a value with a unit"),
    ("", "V", "is empty"),
    ("  ", "V", "is empty"),
    ("nan", "Ω", "is not a finite number"),
    ("NaN V", "V", "is not a finite number"),
    ("inf", "Ω", "is not a finite number"),
    ("∞ V", "V", "is not a finite number"),
    (math.nan, "Ω", "is not a finite number"),
    (math.inf, "Ω", "is absurdly large"),
    (10**400, "Ω", "is absurdly large"),
    ("1e400 V", "V", "is absurdly large"),
    ("1.1e15", "Ω", "is absurdly large"),
    ("1e-19 F", "F", "is absurdly small"),
    ("1e-400 V", "V", "is absurdly small"),
    ("-5 V", "V", "is negative"),
    ("\u22125 V", "V", "is negative"),
    (-1, "Ω", "is negative"),
    ("4,7k", "Ω", "has a comma"),
    ("1,000", "Ω", "has a comma"),
    ("4.7k ± 101 %", "Ω", "has a tolerance outside"),
    ("4.7k ± -1 %", "Ω", "has a tolerance outside"),
    ("4.7k ± 5", "Ω", "has a tolerance that is not in per cent"),
    ("4.7k ±", "Ω", "has a tolerance that is not in per cent"),
    ("4.7k ± 5 % ± 5 %", "Ω", "has more than one tolerance"),
    ("5\nV", "V", "holds an invisible character"),
    ("5 V\u200b", "V", "holds an invisible character"),
    ("1" * 61, "Ω", "is too long"),
    ("absent", "Ω", "is not a number of ohms"),
    ("0x10", "Ω", "is not in ohms"),
    ("1_000", "Ω", "is not a number"),
    ("５ V", "V", "is not a number"),
    ("5 V V", "V", "is not a number"),
    ("$5", "V", "is not a number"),
]


@pytest.mark.parametrize(("raw", "unit", "wrong"), REFUSED)
def test_refuses_with_the_reason(raw: object, unit: str, wrong: str) -> None:
    with pytest.raises(UnitError) as caught:
        read_value(raw, unit, example="SOME")
    assert caught.value.wrong.startswith(wrong)
    assert str(caught.value).startswith(caught.value.found)
    assert len(str(caught.value).splitlines()) == 1
    assert "comma" in wrong or 'write for example "SOME"' in str(caught.value)


def test_a_decimal_comma_gets_its_own_remedy() -> None:
    with pytest.raises(UnitError, match=r'write a point: "4\.7k ± 2\.5 %"'):
        read_value("4,7k ± 2,5 %", "Ω", example="")


def test_quantiphy_of_others_keeps_its_preferences() -> None:
    from quantiphy import Quantity  # noqa: PLC0415

    read_value("2.5 m", "m", example="")
    assert float(Quantity("2.5 m")) == 0.0025


def is_read_or_refused(text: str, unit: str) -> None:
    try:
        value = read_value(text, unit, example="x")
    except UnitError as error:
        says = str(error)
    else:
        assert 0 <= value.low <= value.nominal <= value.high < math.inf
        return
    assert len(says.splitlines()) == 1


@given(st.text(max_size=20), st.sampled_from(UNITS))
def test_any_text(text: str, unit: str) -> None:
    is_read_or_refused(text, unit)


@given(st.text("0123456789.,eE+-±%kKmMGpnuµRΩVFsH/ ", max_size=16), st.sampled_from(UNITS))
def test_text_made_of_the_right_signs(text: str, unit: str) -> None:
    is_read_or_refused(text, unit)


@given(st.floats(1e-12, 1e12), st.sampled_from(UNITS))
def test_what_is_shown_can_be_read(number: float, unit: str) -> None:
    value = read_value(show(number, unit, digits=9), unit, example="")
    assert value.nominal == pytest.approx(number, rel=1e-8)


@pytest.mark.parametrize(
    ("number", "unit", "text"),
    [
        (4700, "Ω", "4.7 kΩ"),
        (280e-9, "s", "280 ns"),
        (12e-6, "s", "12 µs"),
        (999.9999, "Ω", "1 kΩ"),
        (0, "V", "0 V"),
        (-0.2, "V", "-200 mV"),
        (2.5, "m", "2.5 m"),
        (100e-12, "F/m", "100 pF/m"),
    ],
)
def test_shows_numbers_for_people(number: float, unit: str, text: str) -> None:
    assert show(number, unit) == text


def test_picoseconds_are_rounded() -> None:
    assert to_ps(280e-9) == 280_000
    assert to_ps(0.56e-6) == 560_000
    assert to_ps(16.639e-3) == 16_639_000_000
    assert to_ps(1.6e-12) == 2


@given(st.one_of(st.text(), st.integers(), st.floats(), st.dates(), st.lists(st.integers())))
def test_found_values_fit_on_a_line(raw: object) -> None:
    text = found_text(raw)
    assert text.isprintable()
    assert len(text) <= 60
