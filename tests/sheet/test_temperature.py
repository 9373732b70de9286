import pytest

from padbench.sheet import STARTER, SheetError, sheet_from_text


def sheet(temperature):
    text = STARTER.replace('"0 °C to 40 °C"', temperature)
    assert text != STARTER or temperature == '"0 °C to 40 °C"'
    return sheet_from_text(text, "pad.toml")


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ('"0 °C to 40 °C"', 0, 40),
        ('"-10 to 55.5 °C"', -10, 55.5),
        ('"−10 °C … +50 °C"', -10, 50),
        ('"25 °C"', 25, 25),
    ],
)
def test_ranges(text, low, high):
    found = sheet(text).pad.temperature
    assert (found.low, found.high) == (low, high)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("25", "not a range of temperatures"),
        ('"warm"', "not a range of temperatures"),
        ('"40 °C to 0 °C"', "ends below its start"),
        ('"-999 °C"', "is not between -100 °C and 200 °C"),
        ('"0 °C to 130 °C"', "the CD4021B takes -55 °C to 125 °C"),
        ('"-60 °C to 20 °C"', "the CD4021B takes"),
        ('"0 °F to 90 °F"', "not a range"),
        ('"nan to 40"', "not a range"),
    ],
)
def test_what_is_refused(text, says):
    with pytest.raises(SheetError, match=says) as caught:
        sheet(text)
    assert str(caught.value).startswith("pad.toml:11: pad.temperature: ")


@pytest.mark.parametrize("value", ['"0 W"', '"-1 W"', '"1 kΩ"', '"100 mW ± 300 %"'])
def test_ratings_that_are_refused(value):
    with pytest.raises(SheetError, match=r"pull-up\.rating"):
        sheet_from_text(STARTER.replace('"100 mW"', value, 1), "pad.toml")
