"""Levels and edge times against ngspice, a circuit simulator that is not ours.

The netlists are written here, from the circuit as one would draw it; only the numbers of the parts
are shared with the code under test. Class P: the charging curves and the diode's temperature come
out of the simulator.
"""

import random
import re
import shutil
import subprocess

import numpy as np
import pytest

from padbench.circuit.circuits import Circuits
from padbench.circuit.design import Design, changed, design_of
from padbench.circuit.worst_case import worst_case
from padbench.parts import port_kind, register_part
from padbench.sheet import STARTER, sheet_from_text

SHEET = sheet_from_text(STARTER, "starter")
QUIET = {"leakage": 0, "leakage_hot": 0, "port_leakage": 0, "input_leakage": 0}


def ngspice(netlist: str) -> dict[str, float]:
    """Run a netlist in batch; everything that is printed or measured, by its name."""
    if shutil.which("ngspice") is None:
        pytest.fail("ngspice is not installed; install it with: apt-get install ngspice")
    run = subprocess.run(
        ["ngspice", "-b", "/dev/stdin"],
        input=netlist,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    found = re.findall(r"^\s*([a-z_()0-9]+)\s*=\s*([-+.0-9e]+)", run.stdout.lower(), re.M)
    assert found, run.stdout + run.stderr
    return {name: float(number) for name, number in found}


def at_one_corner(port: str, supply: float, celsius: float, **values: float) -> Design:
    """A design whose corners all fall together."""
    base = design_of(SHEET, register_part("CD4021B"), port_kind(port))
    same = {
        "supply_low": supply,
        "supply_high": supply,
        "coldest_used": celsius,
        "hottest_used": celsius,
        "pull_up_tol": 0,
        "latch_tol": 0,
        "clock_tol": 0,
    }
    return changed(base, **same | values)


def worst(design: Design, id_: str) -> float:
    return float(next(one for one in worst_case(design) if one.id == id_).measured[0])


def some(seed: int) -> random.Random:
    return random.Random(seed)


def between(rng: random.Random, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


@pytest.mark.parametrize("seed", range(6))
def test_levels_at_an_input(seed):
    rng = some(seed)
    supply, pull_up = rng.uniform(4, 6), between(rng, 1e3, 200e3)
    contact, dirt, leak = between(rng, 50, 40e3), between(rng, 1e5, 1e8), between(rng, 1e-7, 2e-6)
    heard = ngspice(f"""an input, pressed and released
V1 vdd 0 {supply}
R1 vdd closed {pull_up}
R2 closed 0 {contact}
I1 0 closed {leak}
R3 vdd opened {pull_up}
R4 opened 0 {dirt}
I2 opened 0 {leak}
.control
op
print v(closed) v(opened)
.endc
.end
""")
    design = at_one_corner(
        "push-pull",
        supply,
        25,
        pull_up=pull_up,
        worn=contact,
        closed=contact,
        dirt=dirt,
        leakage=leak,
    )
    assert worst(design, "levels.pressed") == pytest.approx(heard["v(closed)"], rel=0.01)
    released = max(heard["v(opened)"], 0.0)
    assert worst(design, "levels.released") == pytest.approx(released, rel=0.01, abs=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_edges_at_an_input(seed):
    rng = some(100 + seed)
    supply, pull_up = rng.uniform(4.5, 5.5), between(rng, 10e3, 200e3)
    contact, farads = pull_up * rng.uniform(0.001, 0.3), between(rng, 3e-12, 20e-12)
    slow = pull_up * farads
    heard = ngspice(f"""a press and a release; the contact is a switch
V1 vdd 0 {supply}
R1 vdd in {pull_up}
S1 in g press 0 hand
R2 g 0 {contact}
R3 in 0 1e9
C1 in 0 {farads}
Vp press 0 PULSE(0 1 {slow} {slow * 1e-5} {slow * 1e-5} {12 * slow} 1)
.model hand SW(VT=0.5 RON=1e-3 ROFF=1e12)
.options reltol=1e-6
.tran {slow / 500} {30 * slow} 0 {slow / 500}
.meas tran press TRIG v(press) VAL=0.5 RISE=1 TARG v(in) VAL={0.3 * supply} FALL=1
.meas tran release TRIG v(press) VAL=0.5 FALL=1 TARG v(in) VAL={0.7 * supply} RISE=1
.end
""")
    design = at_one_corner(
        "push-pull",
        supply,
        25,
        pull_up=pull_up,
        worn=contact,
        closed=contact,
        dirt=1e9,
        input_c=farads,
        **QUIET,
    )
    assert worst(design, "edges.press") == pytest.approx(heard["press"], rel=0.02)
    assert worst(design, "edges.release") == pytest.approx(heard["release"], rel=0.02)


@pytest.mark.parametrize("celsius", [-40, 0, 25, 60, 105])
@pytest.mark.parametrize("seed", range(3))
def test_a_line_on_a_port_that_pulls_down_through_a_diode(seed, celsius):
    rng = some(1000 * seed + celsius)
    supply, ohms, pull = rng.uniform(4.5, 5.5), between(rng, 1e3, 20e3), rng.uniform(20, 200)
    farads, current = between(rng, 50e-12, 3e-9), between(rng, 1e-10, 2e-8)
    emission = rng.uniform(1.0, 1.9)
    tau = ohms * farads
    wide = 6 * tau
    heard = ngspice(f"""resistor up, switch and diode down
V1 vdd 0 {supply}
R1 vdd line {ohms}
C1 line 0 {farads}
D1 line k silicon
S1 k 0 ctl 0 port
Vc ctl 0 PULSE(0 1 {tau} {tau * 1e-5} {tau * 1e-5} {4 * tau} {4 * tau + wide})
.model silicon D(IS={current} N={emission} EG=1.11 XTI=3 RS=0 CJO=0)
.model port SW(VT=0.5 RON={pull} ROFF=1e13)
.options reltol=1e-6 tnom=25 gmin=1e-15
.temp {celsius}
.tran {tau / 5000} {14 * tau} 0 {tau / 5000}
.meas tran low FIND v(line) AT={4.9 * tau}
.meas tran high FIND v(line) AT={0.9 * tau}
.meas tran fall TRIG v(ctl) VAL=0.5 RISE=1 TARG v(line) VAL={0.3 * supply} FALL=1
.meas tran rise_low TRIG v(ctl) VAL=0.5 FALL=1 TARG v(line) VAL={0.3 * supply} RISE=1
.meas tran pulse TRIG v(line) VAL={0.3 * supply} FALL=1 TARG v(line) VAL={0.3 * supply} RISE=1
.meas tran rise_high TRIG v(ctl) VAL=0.5 FALL=1 TARG v(line) VAL={0.7 * supply} RISE=1
.meas tran edge TRIG v(line) VAL={0.3 * supply} RISE=1 TARG v(line) VAL={0.7 * supply} RISE=1
.meas tran lasts TRIG v(line) VAL={0.7 * supply} RISE=1 TARG v(line) VAL={0.7 * supply} FALL=2
.end
""")
    design = at_one_corner(
        "pull-down-only",
        supply,
        celsius,
        latch_r=ohms,
        clock_r=ohms,
        clock_low=4 * tau,
        clock_high=wide,
        latch_width=wide,
        pull_r=pull,
        saturation_low=current,
        saturation_high=current,
        emission=emission,
        cable_length=1,
        cable_per_metre=farads,
        input_c=0,
        **QUIET,
    )
    line = Circuits(design).latch
    assert line.driven.low[0, 0] == pytest.approx(heard["low"], rel=0.01)
    assert line.driven.high[0, 0] == pytest.approx(heard["high"], rel=0.01)
    assert line.fall_low[0, 0] == pytest.approx(heard["fall"], rel=0.02)
    assert line.rise_low[0, 0] == pytest.approx(heard["rise_low"], rel=0.02)
    assert line.rise_high[0, 0] == pytest.approx(heard["rise_high"], rel=0.02)
    # Of the port's 4 tau the register sees less by the fall and more by the rise.
    seen = worst(design, "clock.low-pulse") - 4 * tau
    assert seen == pytest.approx(heard["pulse"] - 4 * tau, rel=0.02, abs=0.002 * tau)
    # Of the high part, or of a latch, less by the rise and more by the fall.
    for id_ in ("clock.high-pulse", "latch.pulse"):
        seen = worst(design, id_) - wide
        assert seen == pytest.approx(heard["lasts"] - wide, rel=0.02, abs=0.002 * tau)
    for id_ in ("clock.rise", "latch.rise"):
        assert worst(design, id_) == pytest.approx(heard["edge"], rel=0.02)


@pytest.mark.parametrize("seed", range(4))
def test_a_line_on_a_push_pull_port(seed):
    rng = some(2000 + seed)
    supply, ohms = rng.uniform(4.5, 5.5), between(rng, 1e3, 50e3)
    lift, pull, farads = rng.uniform(20, 300), rng.uniform(20, 300), between(rng, 50e-12, 3e-9)
    tau = max(lift, pull) * farads
    heard = ngspice(f"""a switch up, a switch down, and the pad's resistor
V1 vdd 0 {supply}
R1 vdd line {ohms}
C1 line 0 {farads}
S1 line 0 ctl 0 down
S2 vdd line up 0 lift
Vc ctl 0 PULSE(0 1 {tau} {tau * 1e-5} {tau * 1e-5} {10 * tau} {19 * tau})
Vd up 0 PULSE(1 0 {tau} {tau * 1e-5} {tau * 1e-5} {10 * tau} {19 * tau})
.model down SW(VT=0.5 RON={pull} ROFF=1e13)
.model lift SW(VT=0.5 RON={lift} ROFF=1e13)
.options reltol=1e-6
.tran {tau / 500} {27 * tau} 0 {tau / 500}
.meas tran low FIND v(line) AT={10.9 * tau}
.meas tran lasts TRIG v(line) VAL={0.7 * supply} RISE=1 TARG v(line) VAL={0.7 * supply} FALL=2
.meas tran fall TRIG v(ctl) VAL=0.5 RISE=1 TARG v(line) VAL={0.3 * supply} FALL=1
.meas tran rise TRIG v(ctl) VAL=0.5 FALL=1 TARG v(line) VAL={0.7 * supply} RISE=1
.end
""")
    design = at_one_corner(
        "push-pull",
        supply,
        25,
        clock_r=ohms,
        clock_high=9 * tau,
        lift_r=lift,
        pull_r=pull,
        cable_length=1,
        cable_per_metre=farads,
        input_c=0,
        **QUIET,
    )
    line = Circuits(design).clock
    assert line.driven.low[0, 0] == pytest.approx(heard["low"], rel=0.01)
    assert line.fall_low[0, 0] == pytest.approx(heard["fall"], rel=0.02)
    assert line.rise_high[0, 0] == pytest.approx(heard["rise"], rel=0.02)
    seen = worst(design, "clock.high-pulse") - 9 * tau
    assert seen == pytest.approx(heard["lasts"] - 9 * tau, rel=0.02, abs=0.002 * tau)


@pytest.mark.parametrize("seed", range(4))
def test_the_data_line_with_a_resistor_in_the_console(seed):
    rng = some(3000 + seed)
    supply, up, down = rng.uniform(4.5, 5.5), between(rng, 5e3, 50e3), between(rng, 20e3, 200e3)
    sink, source = rng.uniform(300, 900), rng.uniform(300, 900)
    farads = between(rng, 100e-12, 3e-9)
    tau = max(sink, source) * farads
    heard = ngspice(f"""the register's output as two switches, cable, console
V1 vdd 0 {supply}
S1 data 0 ctl 0 down
S2 vdd data up 0 lift
R1 vdd data {up}
R2 data 0 {down}
C1 data 0 {farads}
Vc ctl 0 PULSE(0 1 {tau} {tau * 1e-5} {tau * 1e-5} {14 * tau} 1)
Vd up 0 PULSE(1 0 {tau} {tau * 1e-5} {tau * 1e-5} {14 * tau} 1)
.model down SW(VT=0.5 RON={sink} ROFF=1e13)
.model lift SW(VT=0.5 RON={source} ROFF=1e13)
.options reltol=1e-6
.tran {tau / 500} {30 * tau} 0 {tau / 500}
.meas tran high FIND v(data) AT={0.9 * tau}
.meas tran low FIND v(data) AT={14.5 * tau}
.meas tran fall TRIG v(ctl) VAL=0.5 RISE=1 TARG v(data) VAL={0.3 * supply} FALL=1
.meas tran rise TRIG v(ctl) VAL=0.5 FALL=1 TARG v(data) VAL={0.7 * supply} RISE=1
.end
""")
    design = at_one_corner(
        "push-pull",
        supply,
        25,
        data_up=up,
        data_down=down,
        sink=0.4 / sink,
        source=0.4 / source,
        cable_length=1,
        cable_per_metre=farads,
        console_c=0,
        **QUIET,
    )
    assert worst(design, "data.low") == pytest.approx(heard["low"], rel=0.01)
    assert worst(design, "data.high") == pytest.approx(heard["high"], rel=0.01)
    assert worst(design, "data.rise") == pytest.approx(heard["rise"], rel=0.02)
    assert worst(design, "data.fall") == pytest.approx(heard["fall"], rel=0.02)
