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
    netlist = f"""resistor up, switch and diode down
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
.meas tran edge TRIG v(line) VAL=TENTH RISE=1 TARG v(line) VAL=NINETY RISE=1
.meas tran down TRIG v(line) VAL=NINETY FALL=1 TARG v(line) VAL=TENTH FALL=1
.meas tran lasts TRIG v(line) VAL={0.7 * supply} RISE=1 TARG v(line) VAL={0.7 * supply} FALL=2
.end
"""
    rough = netlist.replace("TENTH", f"{0.3 * supply}").replace("NINETY", f"{0.7 * supply}")
    heard = ngspice(rough)
    tenth = (heard["high"] - heard["low"]) / 10
    fine = netlist.replace("TENTH", f"{heard['low'] + tenth}")
    heard = ngspice(fine.replace("NINETY", f"{heard['high'] - tenth}"))
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
    assert line.low[0, 0] == pytest.approx(heard["low"], rel=0.01)
    assert line.high[0, 0] == pytest.approx(heard["high"], rel=0.01)
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
    for id_ in ("clock.fall", "latch.fall"):
        assert worst(design, id_) == pytest.approx(heard["down"], rel=0.03)


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
    assert line.low[0, 0] == pytest.approx(heard["low"], rel=0.01)
    assert line.fall_low[0, 0] == pytest.approx(heard["fall"], rel=0.02)
    assert line.rise_high[0, 0] == pytest.approx(heard["rise"], rel=0.02)
    seen = worst(design, "clock.high-pulse") - 9 * tau
    assert seen == pytest.approx(heard["lasts"] - 9 * tau, rel=0.02, abs=0.002 * tau)


# Class P for the law (level 1 of the simulator), M for the outputs' figures.
@pytest.mark.parametrize(
    ("volts", "threshold", "milliamperes", "drop", "slow"),
    [
        (5.0, 1.5, 0.51, 0.4, 0.0),
        (4.75, 1.5, 0.51, 0.4, 200e-9),
        (5.25, 1.0, 0.36, 0.4, 0.0),
        (3.3, 1.2, 0.44, 0.4, 0.0),
        (5.0, 0.9, 4.0, 0.33, 0.0),
    ],
)
@pytest.mark.parametrize("seed", range(2))
def test_the_data_line_of_a_transistor(volts, threshold, milliamperes, drop, slow, seed):
    """One that just meets its table: its current, or its transition where that is slower."""
    rng = some(3000 + seed)
    up, down = (between(rng, 8e3, 50e3), between(rng, 50e3, 200e3)) if seed else (1e12, 1e12)
    farads, leak = between(rng, 150e-12, 1e-9), between(rng, 1e-7, 2e-6)
    kp = milliamperes * 1e-3 / ((5 - threshold) * drop - drop**2 / 2)
    weak = kp
    if slow:
        # Of 100.5 ns at 50 pF the load makes 67.5 (class P: MC14001B, Motorola CMOS Logic Data).
        heard = ngspice(mos_output(5, threshold, kp, 50e-12))
        weak = kp * heard["transition"] / (slow * 67.5 / 100.5)
        assert weak < kp
    heard = ngspice(mos_output(volts, threshold, kp, farads, up, down, leak))
    times = ngspice(mos_output(volts, threshold, weak, farads, up, down, leak))
    tested = ngspice(mos_output(volts, threshold, weak, 50e-12, up, down, leak))
    amperes = milliamperes * 1e-3
    design = at_one_corner(
        "push-pull",
        volts,
        25,
        data_up=up,
        data_down=down,
        **{f"{kind}{hot}": amperes for kind in ("sink", "source") for hot in ("", "_hot")},
        sink_drop=drop,
        source_drop=drop,
        transition=slow or 1e-12,
        drive_volts=5,
        drive_threshold=threshold,
        cable_length=1,
        cable_per_metre=farads,
        console_c=0,
        **QUIET | {"input_leakage": leak},
    )
    # Leakage flows into the line in the netlist: against its low and with its high.
    assert worst(design, "data.low") == pytest.approx(heard["low"], rel=0.02, abs=1e-4)
    circuits = Circuits(design)
    into = circuits.at_lines.sign > 0
    (low_at, high_at), high = circuits.data_thresholds, circuits.data_levels[1]
    assert high[:, into][0, 0] == pytest.approx(heard["high"], rel=0.01)
    fall, rise = circuits.data_time(low_at, rises=False), circuits.data_time(high_at, rises=True)
    assert fall[:, into][0, 0] == pytest.approx(times["fall"], rel=0.05)
    assert rise[:, into][0, 0] == pytest.approx(times["rise"], rel=0.05)
    beyond = max(times["fall"] - tested["half_fall"], times["rise"] - tested["half_rise"])
    answer = circuits.answers[1] - design.clock_to_output * circuits.stretched
    assert answer[:, into][0, 0] == pytest.approx(beyond, rel=0.05)


def mos_output(volts, threshold, kp, farads, up=1e12, down=1e12, leak=0.0):
    """Two level-1 transistors, what depends on them, and a step to each side."""
    slow = farads / (kp * (volts - threshold))
    return f"""a CMOS output: low, then high, then low again
V1 vdd 0 {volts}
M1 data gate 0 0 nmos W=1u L=1u
M2 data gate vdd vdd pmos W=1u L=1u
R1 vdd data {up}
R2 data 0 {down}
I1 0 data {leak}
C1 data 0 {farads}
Vg gate 0 PULSE({volts} 0 {slow} {slow * 1e-4} {slow * 1e-4} {40 * slow} 1)
.model nmos NMOS(LEVEL=1 VTO={threshold} KP={kp} LAMBDA=0)
.model pmos PMOS(LEVEL=1 VTO={-threshold} KP={kp} LAMBDA=0)
.options reltol=1e-5
.tran {slow / 100} {80 * slow} 0 {slow / 50}
.meas tran low FIND v(data) AT={0.9 * slow}
.meas tran high FIND v(data) AT={40 * slow}
.meas tran rise TRIG v(gate) VAL={volts / 2} FALL=1 TARG v(data) VAL={0.7 * volts} RISE=1
.meas tran half_rise TRIG v(gate) VAL={volts / 2} FALL=1 TARG v(data) VAL={0.5 * volts} RISE=1
.meas tran fall TRIG v(gate) VAL={volts / 2} RISE=1 TARG v(data) VAL={0.3 * volts} FALL=1
.meas tran half_fall TRIG v(gate) VAL={volts / 2} RISE=1 TARG v(data) VAL={0.5 * volts} FALL=1
.meas tran transition TRIG v(data) VAL={0.9 * volts} FALL=1 TARG v(data) VAL={0.1 * volts} FALL=1
.end
"""


@pytest.mark.parametrize("share", [0.15, 0.25, 0.3, 0.4])
@pytest.mark.parametrize("farads", [150e-12, 250e-12, 360e-12])
@pytest.mark.parametrize("ohms", [2.2e3, 3.6e3])
def test_data_that_fall_drag_a_rising_clock_back(share, farads, ohms):
    """Two coupled cores, of typical figures: a first-order law, so 60 ns of it are open.

    Class M: 0.55 of the supply for the threshold, 160 ns for the answer, 1 mA at 0.4 V. The default
    of 15 % passes, as pads in the field do (class C).
    """
    kp = 1e-3 / (3.5 * 0.4 - 0.4**2 / 2)
    begins, answer = 20e-6, 160e-9
    heard = ngspice(f"""a clock that a resistor lifts, and the data beside it
V1 vdd 0 5
R1 vdd clock {ohms}
C1 clock 0 {farads * (1 - share) + 7.5e-12}
C2 clock data {farads * share}
C3 data 0 {farads * (1 - share) + 20e-12}
S1 clock 0 port 0 sw
Vp port 0 PULSE(1 0 {begins} 1n 1n 1 2)
M1 data gate 0 0 nmos W=1u L=1u
M2 data gate vdd vdd pmos W=1u L=1u
Vg gate 0 PULSE(0 5 {begins + answer + ohms * (farads + 7.5e-12) * np.log(1 / 0.45)} 1n 1n 1 2)
.model nmos NMOS(LEVEL=1 VTO=1.5 KP={kp})
.model pmos PMOS(LEVEL=1 VTO=-1.5 KP={kp})
.model sw SW(VT=0.5 RON=1 ROFF=1e13)
.options reltol=1e-5
.tran 1n {begins + 5e-6} {begins - 1e-6} 1n
.meas tran first WHEN v(clock)=2.75 RISE=1
.meas tran last WHEN v(clock)=2.75 RISE=LAST
.meas tran down WHEN v(clock)=2.75 FALL=LAST
.end
""")
    low = heard["last"] - heard["down"] if heard["last"] > heard["first"] else 0.0
    design = at_one_corner(
        "pull-down-only",
        5,
        25,
        clock_r=ohms,
        pull_r=1,
        emission=0,
        input_c=7.5e-12,
        cable_length=1,
        cable_per_metre=farads,
        coupling=share,
        **QUIET,
    )
    assert worst(design, "clock.coupling") == pytest.approx(low, rel=0.1, abs=60e-9)
    if share == 0.15:
        assert worst(design, "clock.coupling") == 0
    if share > 0.25 and farads > 200e-12 and ohms > 3e3:
        assert worst(design, "clock.coupling") > 90e-9
