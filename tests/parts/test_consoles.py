"""The table of consoles: whole, with sources, and the rates of the sample fetch."""

import pytest

from padbench.parts import console_names, console_timing


@pytest.mark.parametrize("name", console_names())
def test_every_console_has_a_source_and_falling_fetch_periods(name):
    console = console_timing(name)
    assert console.cited.title
    assert console.cited.kind == "from memory"
    assert len(console.fetch_periods) == 16
    assert list(console.fetch_periods) == sorted(console.fetch_periods, reverse=True)
    assert console.picture_lines < console.blanking_from < console.lines


def test_the_rates_of_the_60_hz_console_from_memory():
    rates = [428, 380, 340, 320, 286, 254, 226, 214, 190, 160, 142, 128, 106, 84, 72, 54]
    assert list(console_timing("60hz").fetch_periods) == [8 * rate for rate in rates]


def test_cycles_become_picoseconds_each_rounded_by_itself():
    console = console_timing("60hz")
    assert console.to_ps(1) == 558_730
    assert console.to_ps(315) == 176_000_000


def test_an_unknown_console_is_a_key_error():
    with pytest.raises(KeyError):
        console_timing("70hz")
