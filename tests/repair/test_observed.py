"""What people type of a broken pad."""

import math

import numpy as np
import pytest

from padbench.core.pad import Defect
from padbench.repair.dictionary import coded, predicted
from padbench.repair.observed import WORDS, UnclearError, presses_named, read_lines


def test_bits_and_names_say_the_same():
    one = read_lines(["idle=00000000", "A+B=11000000"], "{}")
    assert one == read_lines(["none=none", "b + a = A+B"], "{}")
    assert one.reads == {0: {0: 1}, 0xC0: {0xC0: 1}}


def test_several_reads_are_counted_and_told_as_unsteady():
    seen = read_lines(["A=A, none, A x9", "A=0x80", "# a comment", "", "B=B  # fine"], "{}")
    assert seen.reads == {0x80: {0x80: 11, 0: 1}, 0x40: {0x40: 1}}
    assert (seen.count, seen.unsteady) == (13, [0x80])


def test_readings_of_a_meter():
    said = [
        "pin 9=0.1V",
        "pin 7 Right=5V",
        "core latch=open",
        "clock to latch=0.5",
        "pin 1 to supply=39k",
        "Pin 09 of register 1 to ground=0",
        "pin 9 of register 2 with A held=5V",
        "scope data=Low",
        "scope pin 9 A+B=pulses",
        "swap cable=cured",
        "beat a=yes",
    ]
    seen = read_lines(said, "{}")
    found = [(reading.where, reading.held, reading.value) for reading in seen.meter]
    assert found == [
        ("pin 9", 0, 0.1),
        ("pin 7", 1, 5.0),
        ("core latch", 0, math.inf),
        ("latch to clock", 0, 0.5),
        ("pin 1 to supply", 0, 39e3),
        ("pin 9 to ground", 0, 0.0),
        ("pin 9 of register 2", 0x80, 5.0),
        ("scope data", 0, WORDS["scope"].index("low")),
        ("scope pin 9", 0xC0, WORDS["scope"].index("pulses")),
        ("swap cable", 0, WORDS["swap"].index("cured")),
        ("beat A", 0, WORDS["beat"].index("yes")),
    ]
    assert [str(one) for one in seen.meter[-4:-1]] == [
        "scope data: low",
        "scope pin 9 with A+B held: pulses",
        "swap cable: cured",
    ]


def test_counts_are_reads():
    seen = read_lines(["A drops=3/60", "Up ghosts = 1/60", "A+Up drops=0/9"], "{}")
    assert seen.reads == {0x80: {0: 3, 0x80: 57}, 0: {0x08: 1, 0: 59}, 0x88: {0x88: 9}}


@pytest.mark.parametrize("clock", range(1, 8))
def test_a_bit_that_comes_too_soon_or_too_late_is_what_a_broken_clock_sends(known, clock):
    for what, defect in (("skips", Defect(extra=clock)), ("repeats", Defect(lost=clock))):
        byte, *_ = predicted(known.pad, coded([defect], known.pad), np.array([0x95]))
        seen = read_lines([f"A+Start+Down+Right {what} {clock}=1/1"], "{}")
        assert seen.reads == {0x95: {int(byte[0, 0]): 1}}


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("hello", "is no pair"),
        ("A=", "is no pair"),
        ("=A", "is no pair"),
        ("Aa=A", "is no button; try A"),
        ("A=Selct", "is no button; try Select"),
        ("A=1000000", "is no byte; write eight bits"),
        ("A=100000000", "is no byte"),
        ("A=12345678", "is no byte"),
        ("A=0x1FF", "is no byte"),
        ("A=A x0", "came no time"),
        ("A=A x999999", "more than 100000 reads"),
        ("pin 9=low", "is not a number of volts"),
        ("pin 9=5", "has no unit"),
        ("pin 9=-1V", ""),
        ("pin nine=5V", "is nothing to measure"),
        ("core red=open", "is nothing to measure"),
        ("A to B=1", "is nothing to measure"),
        ("scope data=5V", "is no outcome; use low, high, pulses, wavers"),
        ("swap pad=cured", "is nothing to measure"),
        ("core latch A=0", "is nothing to measure"),
        ("latch to latch=0", "is nothing to measure"),
        ("beat Q=yes", "is no button"),
        ("A drops=9/3", "is no share of reads"),
        ("A drops=1/0", "is no share of reads"),
        ("A skips=1/2", "is no count"),
        ("A drops 2=1/2", "is no count"),
        ("idle drops=1/2", "is no count"),
    ],
)
def test_what_cannot_be_read_is_one_line_with_its_place(line, why):
    with pytest.raises(UnclearError) as caught:
        read_lines(["idle=none", line], "symptoms.txt:{}")
    assert str(caught.value).startswith("symptoms.txt:2: ")
    assert why in str(caught.value)
    assert "\n" not in str(caught.value)


def test_presses_in_their_order():
    assert presses_named("A, B, Select+Start") == [0x80, 0x40, 0x30]
    with pytest.raises(UnclearError):
        presses_named("A, C")
