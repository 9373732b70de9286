"""Remedies are data, and every kind of them has its words."""

import pytest

from padbench.core.remedies import ADVICE, Remedy, joined, spelled_range


def test_a_resistor_names_its_preferred_values():
    remedy = Remedy(
        "pull-up.value", 24_447.5, 1.2e6, "Ω", e12=(27e3, 33e3), e24=(27e3, 30e3), kind="resistor"
    )
    assert remedy.says == (
        "pull-up.value from 24.45 kΩ to 1.2 MΩ would do; preferred: E12 27 kΩ, 33 kΩ; E24 27 kΩ,"
        " 30 kΩ"
    )
    bare = Remedy("pull-up.value", 3.0, None, "Ω", kind="resistor")
    assert "no preferred value in it suits everything else" in bare.says


def test_many_values_are_cut_and_the_last_is_named():
    ohms = tuple(float(n) for n in range(1, 10))
    assert Remedy("r", 1.0, 9.0, "Ω", e24=ohms, kind="resistor").says.endswith("5 Ω, 6 Ω … 9 Ω")


def test_sizes():
    remedy = Remedy("resistors.rating", 0.06, None, "W", sizes=(0.0625, 0.1), kind="size")
    assert remedy.says.endswith("usual sizes: 62.5 mW, 100 mW")
    assert "no usual size" in Remedy("resistors.rating", 6.0, None, "W", kind="size").says


@pytest.mark.parametrize(
    ("low", "high", "unit", "words"),
    [
        (None, None, "s", "of any value"),
        (None, 1.23456e-6, "s", "up to 1.234 µs"),
        (1.23456e-6, None, "s", "from 1.235 µs up"),
        (8.0, None, "", "from 8 up"),
        (None, 36.27, "°C", "up to 36.2 °C"),
    ],
)
def test_ranges_are_rounded_to_the_passing_side(low, high, unit, words):
    assert spelled_range(low, high, unit) == words


FACTS = {"buttons": ("A", "B"), "stages": (8, 7), "pin": (9,)}


def test_every_advice_has_words():
    says = {code: Remedy("key", advice=code, facts=FACTS).says for code in ADVICE}
    assert all(says.values())
    assert says["connect-buttons"] == "connect A to stage 8 and B to stage 7"
    assert says["stages"] == "take 8 or 7 stages"
    assert says["inverter"] == "put an inverter between latch and the load pin, pin 9"
    assert says["clean"] == "clean or replace what closes A and B"
    assert says["none-tried"] != says["none"]
    assert "no single value" not in says["none-tried"]
    with pytest.raises(KeyError):
        _ = Remedy("key", advice="unheard-of").says


def test_all_of_them_in_one_text():
    remedy = Remedy("a", 1.0, None, "s", also=(Remedy("b", None, 2.0, "s"),))
    assert remedy.whole == "a from 1 s up would do; or b up to 2 s would do"


def test_names_are_joined_as_in_a_sentence():
    assert [joined(list("ABC"[:n])) for n in range(4)] == ["", "A", "A and B", "A, B and C"]
