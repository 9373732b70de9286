"""What is not judged on push-pull lines, computed with ngspice: ring-back, ground, spikes.

The lead is a ladder of cores of its own. Class M: 0.5 to 1 µH and 100 pF a metre, 15 to 30 % of
them towards a neighbour. Calculated: 0.125 Ω a metre of copper of 0.14 mm². Class A: a port of 20
to 75 Ω with edges of 5 ns, quicker than any of the old consoles' chips. Thresholds are those of
JEDEC JESD13-B (class P), 1.5 V and 3.5 V at 5 V; a usual part counts from 90 ns on (class M). The
the guide of limits (sim/padbench/core) has these figures.
"""

import re
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from test_ngspice import ngspice

METRES, SECTIONS = 2.5, 10
FARADS, OHMS = 100e-12, 0.125
LOAD = 7.5e-12
GUIDE = (Path(__file__).parents[2] / "sim/padbench/core/README.md").read_text()
LIMITS = " ".join(GUIDE.partition("## Limits")[2].split())


def lead(share, henries):
    """Latch, clock, data and ground in sections; node core0 is the console's end."""
    part = METRES / SECTIONS
    lines = []
    for n in range(SECTIONS):
        for core in ("latch", "clock", "data", "gnd"):
            lines.append(f"L{core}{n} {core}{n} {core}m{n} {henries * part}")
            lines.append(f"R{core}{n} {core}m{n} {core}{n + 1} {OHMS * part}")
        for one, other in (("latch", "clock"), ("clock", "data")):
            lines.append(f"C{one}{other}{n} {one}{n + 1} {other}{n + 1} {share * FARADS * part}")
            lines.append(f"K{one}{other}{n} L{one}{n} L{other}{n} {share}")
        for core, others in (("latch", 1), ("clock", 2), ("data", 1)):
            own = (1 - others * share) * FARADS * part
            lines.append(f"C{core}{n} {core}{n + 1} gnd{n + 1} {own}")
    return "\n".join(lines)


def heard(share, henries, ohms, latch, clock, data, taken=0.0):
    """Of the pad's end: the clock's least and most, how long it is beyond a threshold, ground."""
    n = SECTIONS
    return ngspice(f"""a lead with its ground, a push-pull port and a pad
Vg gnd0 0 0
Vl pl 0 {latch}
Rl pl latch0 {ohms}
Vk pk 0 {clock}
Rk pk clock0 {ohms}
Vd pd gnd{n} {data}
Rd pd data{n} 400
Cd data0 0 20p
{lead(share, henries)}
Cl latch{n} gnd{n} {LOAD}
Ck clock{n} gnd{n} {LOAD}
I1 0 gnd{n} {taken}
Ek seen 0 clock{n} gnd{n} 1
.options reltol=1e-4
.tran 0.5n 1.2u 0 0.5n
.meas tran least MIN v(seen) FROM=300n TO=1.2u
.meas tran most MAX v(seen) FROM=300n TO=1.2u
.meas tran rest AVG v(gnd{n}) FROM=150n TO=190n
.meas tran ground MAX v(gnd{n}) FROM=100n TO=1.2u
.meas tran settled MIN v(seen) FROM=250n TO=1.2u
.meas tran short INTEG par('v(seen)<3.5 ? 1 : 0') FROM=300n TO=1.2u
.end
""")


def said(what, unit="V"):
    """The figure of the guide's limits after some words."""
    found = re.search(rf"{what} \(?([0-9.]+) {unit}", LIMITS)
    assert found, what
    return float(found[1])


EDGE = "PULSE(0 5 200n 5n 5n 1 2)"
FALL = "PULSE(5 0 500n 5n 5n 1 2)"
QUICKLY = "PULSE(5 0 500n 50n 50n 1 2)"
COUNTS = 90e-9


@pytest.mark.parametrize("henries", [0.5e-6, 1e-6])
def test_a_rising_clock_rings_back_above_the_threshold(henries):
    found = heard(0.15, henries, 75, "0", EDGE, "0")
    assert found["settled"] >= said("rings back to no less than") > 3.5
    assert heard(0.15, henries, 20, "0", EDGE, "0")["short"] < COUNTS


@pytest.mark.parametrize("share", [0.15, 0.3])
@pytest.mark.parametrize("henries", [0.5e-6, 1e-6])
def test_neighbours_that_fall_make_no_clock(share, henries):
    table = heard(share, henries, 75, FALL, "5", QUICKLY, taken=10e-3)
    assert table["least"] >= said("take a high clock to no less than") > 2.75
    assert table["short"] <= said("below 3.5 V for at most", "ns") * 1e-9 < COUNTS
    assert table["ground"] <= said("ground moves by at most")
    assert table["rest"] <= said("for some nanoseconds", "mV") * 1.1e-3
    strong = heard(share, henries, 20, FALL, "5", QUICKLY)
    assert strong["least"] >= said("it is to no less than")
    assert strong["short"] <= said("and for at most", "ns") * 1e-9 < COUNTS


def test_the_figures_are_no_more_than_they_have_to_be():
    """Those of the worst case, to a tenth; else a figure of the guide could be any."""
    table = heard(0.3, 1e-6, 75, FALL, "5", QUICKLY)
    assert table["least"] == pytest.approx(said("take a high clock to no less than"), rel=0.1)
    assert table["short"] == pytest.approx(said("below 3.5 V for at most", "ns") * 1e-9, rel=0.1)
