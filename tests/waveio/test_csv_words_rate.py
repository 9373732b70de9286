"""A rate in a preamble is taken where the words leave no doubt, and nowhere else."""

import pytest

from padbench.waveio.csv_words import stated_rate


@pytest.mark.parametrize(
    ("line", "hertz"),
    [
        ("Sample rate: 10 MHz", 1e7),
        ("; Sampling rate = 24 MHz", 24e6),
        ("SAMPLE RATE;2,5;MSa/s", 2.5e6),
        ("Sampling frequency = 500kHz", 5e5),
        ("Sampling Rate (kS/s),250", 2.5e5),
        ("Sample interval;100;ns", 1e7),
        ('"Sampling interval","0.1","us"', 1e7),
        ("Increment (us),0.5", 2e6),
        ("X increment: 2e-6 s", 5e5),
        ("Time step [µs]\t4", 2.5e5),
        ("# sampling period 1 us", 1e6),
    ],
)
def test_said_clearly(line, hertz):
    found = stated_rate(["Made on;bench 4", line])
    assert found.line == 2
    assert found.hertz == pytest.approx(hertz)


@pytest.mark.parametrize(
    "line",
    [
        *("Sample rate: 10000000", "Sample Interval,1E-06", "Increment,1.0e-06,V"),
        *("Sample rate: 10 ns", "Sample interval: 10 MHz", "Sample interval: 0 s"),
        *("Increment (mV),2", "Sample rate: 3 apples", "Sample rate: 1e300 GHz"),
    ],
)
def test_said_without_a_unit_that_fits(line):
    found = stated_rate([line])
    assert (found.line, found.hertz, found.why) == (1, None, "without a unit that fits")


@pytest.mark.parametrize("line", ["Samples: 1000", "Rate;9600", "Rows,9000", "Sample rate"])
def test_not_said(line):
    assert stated_rate([line]) is None


def test_said_twice():
    assert stated_rate(["Sample rate: 1 MHz", "Sample interval: 1 us"]).hertz == 1e6
    assert stated_rate(["Sample rate: 1", "Sample interval: 1 us"]).hertz == 1e6
    found = stated_rate(["Sample rate: 1 MHz", "Sample interval: 2 us"])
    assert (found.hertz, found.why) == (None, "where line 1 says otherwise")
