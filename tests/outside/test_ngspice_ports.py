"""Ports as circuits against ngspice: a supply behind a diode, data behind one, weak highs, sinks.

The netlists are written here, from the circuit as one would draw it. Class P: the simulator's
diode and its charging curves.
"""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from test_ngspice import QUIET, at_one_corner, between, ngspice, some, worst

from padbench.circuit.circuits import Circuits

DIODE = "D(IS={} N=1.75 EG=1.11 XTI=3 RS=0 CJO=0)"
SPREAD = [(0, 0.25e-9), (25, 2.5e-9), (40, 25e-9)]
"""°C, and a saturation current of the parts table (assumed)."""
OPTIONS = ".options reltol=1e-6 tnom=25 gmin=1e-15"


def one_diode(port, supply, celsius, current, **values):
    ends = {"saturation_low": current, "saturation_high": current}
    return at_one_corner(port, supply, celsius, **ends | values)


@pytest.mark.parametrize(("celsius", "current"), SPREAD)
@pytest.mark.parametrize("rail", [4.75, 5.0, 5.25])
def test_a_pad_behind_the_diode_in_its_supply(rail, celsius, current):
    """All held and both lines low, each through a diode of its own; the table says 4.0 to 4.4 V."""
    inputs = "\n".join(f"R{n} vdd b{n} 39k\nC{n} b{n} 0 300" for n in range(8)).replace("C", "RC")
    heard = ngspice(f"""eight pull-ups and contacts, two lines held low, behind a diode
V1 rail 0 {rail}
D1 rail vdd silicon
{inputs}
RL vdd latch 3.6k
DL latch kl silicon
RPL kl 0 75
RK vdd clock 3.6k
DK clock kk silicon
RPK kk 0 75
I1 vdd 0 5u
.model silicon {DIODE.format(current)}
{OPTIONS}
.temp {celsius}
.control
op
print v(vdd) v(latch) i(v1)
.endc
.end
""")
    design = one_diode(
        *("pull-down-all-diodes", rail, celsius, current),
        **{"closed": 300, "quiescent": 5e-6, "quiescent_hot": 5e-6, **QUIET},
    )
    # The lines' own low is left out of the load, so the bench has some mV less.
    assert worst(design, "supply.least") == pytest.approx(heard["v(vdd)"], abs=0.02)
    assert worst(design, "supply.least") <= heard["v(vdd)"]
    if rail == 5.0:
        assert 4.1 < heard["v(vdd)"] < 4.55
    sunk = (heard["v(vdd)"] - heard["v(latch)"]) / 3.6e3
    assert worst(design, "latch.sink") == pytest.approx(sunk, rel=0.02)


@pytest.mark.parametrize(("celsius", "current"), SPREAD)
@pytest.mark.parametrize("leak", [-1e-6, 1e-6])
def test_the_levels_of_data_behind_a_diode(celsius, current, leak):
    """The low stands a diode's drop above the pad's; the high is the console's own pull-up."""
    sink, source, rail, pad = 700, 900, 5.0, 4.2
    heard = ngspice(f"""the register's two outputs, a diode each, 10 k to the console's supply
V1 rail 0 {rail}
V2 pad 0 {pad}
R1 rail low 10k
D1 low a silicon
R2 a 0 {sink}
I1 0 low {leak}
R3 rail high 10k
D2 high b silicon
R4 pad b {source}
I2 0 high {leak}
.model silicon {DIODE.format(current)}
{OPTIONS}
.temp {celsius}
.control
op
print v(low) v(a) v(high)
.endc
.end
""")
    design = one_diode(
        *("pull-down-all-diodes", rail, celsius, current),
        **{"data_up": 10e3, "sink": 0.4 / sink, "source": 0.4 / source},
        **{"sink_hot": 0.4 / sink, "source_hot": 0.4 / source},
        **{"supply_emission": 0, "fed": 0, "console_low": rail, "console_high": rail},
        **QUIET | {"supply_low": pad, "supply_high": pad, "input_leakage": abs(leak)},
    )
    circuits = Circuits(design)
    corner = int((circuits.at_lines.sign == (1 if leak > 0 else -1)).argmax())
    low, high = (level[0, corner] for level in circuits.data_levels)
    assert low == pytest.approx(heard["v(low)"], abs=1e-3)
    assert high == pytest.approx(heard["v(high)"], abs=1e-3)
    assert 0.25 < heard["v(low)"] - heard["v(a)"] < 0.8


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("celsius", "current"), SPREAD)
def test_the_edges_of_data_behind_a_diode(seed, celsius, current):
    rng = some(4000 + seed)
    sink, source, pad = rng.uniform(300, 900), rng.uniform(300, 900), rng.uniform(4.0, 4.5)
    cable, console = between(rng, 100e-12, 600e-12), between(rng, 10e-12, 40e-12)
    tau = 3 * max(sink, source) * cable + 10e3 * console
    # Level 1: as much as through a resistor at 0.4 V across it, with 5 V at the gate.
    down, up = (1 / ohms / (3.5 - 0.2) for ohms in (sink, source))
    heard = ngspice(f"""the register's output as two transistors, cable, diode, console
V1 rail 0 5
V2 pad 0 {pad}
M1 wire gate 0 0 nmos W=1u L=1u temp=27
M2 wire gate pad pad pmos W=1u L=1u temp=27
C1 wire 0 {cable}
D1 data wire silicon
R1 rail data 10k
C2 data 0 {console}
Vg gate 0 PULSE(0 {pad} {tau} {tau * 1e-5} {tau * 1e-5} {14 * tau} 1)
.model nmos NMOS(LEVEL=1 VTO=1.5 KP={down} LAMBDA=0)
.model pmos PMOS(LEVEL=1 VTO=-1.5 KP={up} LAMBDA=0)
.model silicon {DIODE.format(current)}
{OPTIONS}
.temp {celsius}
.tran {tau / 1000} {30 * tau} 0 {tau / 1000}
.meas tran fall TRIG v(gate) VAL=2 RISE=1 TARG v(data) VAL=1.5 FALL=1
.meas tran rise TRIG v(gate) VAL=2 FALL=1 TARG v(data) VAL=3.5 RISE=1
.end
""")
    design = one_diode(
        *("pull-down-all-diodes", 5.0, celsius, current),
        **{"data_up": 10e3, "sink": 0.4 / sink, "source": 0.4 / source},
        **{"sink_hot": 0.4 / sink, "source_hot": 0.4 / source},
        **{"drive_volts": 5.0, "drive_threshold": 1.5, "transition": 1e-12},
        **{"supply_emission": 0, "fed": 0, "console_low": 5.0, "console_high": 5.0},
        **{"cable_length": 1, "cable_per_metre": cable, "console_c": console},
        **QUIET | {"supply_low": pad, "supply_high": pad},
    )
    # Up it is the sum of two things that overlap: never less, and up to three times.
    rise = worst(design, "data.rise") / heard["rise"]
    assert 0.99 <= rise < 3.2
    # Down the console's resistors are taken to hold against it all the way.
    assert 0.99 <= worst(design, "data.fall") / heard["fall"] < 1.15


@pytest.mark.parametrize("seed", range(6))
def test_a_weak_high_is_lifted_on_by_the_pads_resistor(seed):
    """The driver lets go above its level: a diode without a drop in series with it."""
    rng = some(5000 + seed)
    level, ohms, lift = rng.uniform(2.5, 4), between(rng, 1e3, 20e3), between(rng, 300, 3e3)
    pull, farads = rng.uniform(100, 300), between(rng, 50e-12, 1e-9)
    tau = ohms * farads
    heard = ngspice(f"""a source of {level} V that only lifts, a switch down, a resistor to 5 V
V1 vdd 0 5
V2 nmos 0 {level}
R1 vdd line {ohms}
C1 line 0 {farads}
S1 line 0 ctl 0 down
S2 nmos x up 0 lift
B1 x line I=V(x,line) > 0 ? V(x,line)*1 : 0
Vc ctl 0 PULSE(0 1 {tau} {tau * 1e-5} {tau * 1e-5} {8 * tau} 1)
Vd up 0 PULSE(1 0 {tau} {tau * 1e-5} {tau * 1e-5} {8 * tau} 1)
.model down SW(VT=0.5 RON={pull} ROFF=1e13)
.model lift SW(VT=0.5 RON={lift} ROFF=1e13)
.options reltol=1e-6
.tran {tau / 2000} {20 * tau} 0 {tau / 2000}
.meas tran high FIND v(line) AT={19.9 * tau}
.meas tran low FIND v(line) AT={8.9 * tau}
.meas tran early TRIG v(ctl) VAL=0.5 FALL=1 TARG v(line) VAL=1.5 RISE=1
.meas tran late TRIG v(ctl) VAL=0.5 FALL=1 TARG v(line) VAL=4.2 RISE=1
.end
""")
    design = at_one_corner(
        *("push-pull-weak-high", 5.0, 25),
        **{"latch_r": ohms, "lift_r": lift, "lift_low": level, "lift_high": level, "pull_r": pull},
        **{"cable_length": 1, "cable_per_metre": farads, "input_c": 0, "part_most": 50},
        **QUIET,
    )
    line = Circuits(design).latch
    assert line.high[0, 0] == pytest.approx(heard["high"], rel=0.005)
    assert line.low[0, 0] == pytest.approx(heard["low"], rel=0.01)
    assert line.rise_to(line.high * 0 + 1.5)[0, 0] == pytest.approx(heard["early"], rel=0.02)
    assert line.rise_to(line.high * 0 + 4.2)[0, 0] == pytest.approx(heard["late"], rel=0.02)
    assert worst(design, "latch.sink") == pytest.approx((5 - heard["low"]) / ohms, rel=0.01)


def test_a_driver_of_its_own_supply_holds_the_line_down():
    """3.3 V behind 75 Ω against 3.6 kΩ from 5 V, by hand: one node of two resistors."""
    design = at_one_corner("push-pull", 5.0, 25, lift_low=3.3, lift_high=3.3, **QUIET)
    expected = (3.3 / 75 + 5 / 3600) / (1 / 75 + 1 / 3600)
    assert worst(design, "latch.high") == pytest.approx(expected, rel=1e-6)
