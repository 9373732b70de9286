"""Units as people and instruments write them; what is none is handed on as it stands."""

import pytest

from padbench.waveio.csv_words import SECONDS, name_and_unit, stated_unit, unit_named

WORDS = {
    "s": ("s", "S", "sec", "secs", "second", "Seconds", "sec."),
    "ms": ("ms", "MS", "msec", "millisec", "milliseconds"),
    "us": (
        "us",
        "µs",
        "\N{GREEK SMALL LETTER MU}s",
        "usec",
        "µsec",
        "micro seconds",
        "Microseconds",
    ),
    "ns": ("ns", "nsec", "nanosecond"),
    "ps": ("ps", "psec", "picoseconds"),
    "V": ("V", "Volt", "volts", "v"),
    "mV": ("mV", "millivolts"),
}


@pytest.mark.parametrize(("unit", "word"), [(u, w) for u, words in WORDS.items() for w in words])
def test_words(unit, word):
    assert unit_named(word) == unit
    shapes = ("time ({})", "time [{}]", "time in {}", "time_in_{}", "time / {}", "time ( in {} )")
    assert {name_and_unit(shape.format(word)) for shape in shapes} == {("time", unit)}
    shapes = ("time_{}", "time, {}", "time {}", "time-{}")
    assert {name_and_unit(shape.format(word)) for shape in shapes} == {("time", unit)}


@pytest.mark.parametrize("word", ["", "x", "axis", "ks", "Ms.s", "minutes", "A", "kelvins"])
def test_words_that_are_no_units(word):
    assert unit_named(word) is None


@pytest.mark.parametrize(
    ("text", "name", "unit"),
    [
        *(("latch", "latch", ""), ("x-axis", "x-axis", ""), ("CH1 latch", "CH1 latch", "")),
        *(("p_s", "p_s", ""), ("P/S", "P/S", "S"), ("t (foo)", "t (foo)", "foo")),
        *(("timeMs", "time", "ms"), ("times", "times", ""), ("us", "us", "us"), ("s", "s", "")),
        *(("time in ticks", "time in ticks", "ticks"), ("CH1 (V)", "CH1", "V"), ("", "", "")),
    ],
)
def test_names(text, name, unit):
    assert name_and_unit(text) == (name, unit)


@pytest.mark.parametrize(
    ("line", "unit"),
    [
        *(("Horizontal Units,us", "us"), ("X Unit;Second", "s"), ("# time unit: nsec", "ns")),
        *(('"Time Units","ticks"', "ticks"), ("X-axis units [ms]", "ms")),
    ],
)
def test_a_unit_in_the_preamble(line, unit):
    found = stated_unit(["Made on;bench 4", line])
    assert (found.line, found.unit) == (2, unit)


@pytest.mark.parametrize("line", ["Units of y,V", "Time,CH1", "Width,1us", "Units"])
def test_no_unit_in_the_preamble(line):
    assert stated_unit([line]) is None


def test_factors():
    assert [SECONDS[unit] * 1e12 for unit in ("ms", "us", "ns", "ps")] == pytest.approx(
        [1e9, 1e6, 1e3, 1]
    )
