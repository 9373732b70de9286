"""A port and a register fitted from a capture, against the circuit that ngspice made it with.

The netlists are written here. Class P for the laws (switch, level-1 transistor, Shockley's diode);
the figures put in are made up and must come out again.
"""

import re
import shutil
import subprocess
from functools import cache

import numpy as np
import pytest

import padbench
from padbench.cli import main
from padbench.parts import Figure, port_kind, register_part
from padbench.parts.own import load_own
from padbench.sheet import STARTER

PULL, LIFT, RESISTOR = 140.0, 260.0, 3.6e3
CABLE, PIN, CONSOLE = 250e-12, 7.5e-12, 20e-12
"""2.5 m of 100 pF/m, one input of the register, one of the console: what the starter sheet says."""
SINK, SOURCE, DROP = 1.4e-3, 0.9e-3, 0.4
DELAY = 230e-9
HELD = (0x80, 0x5A, 0x3C)


def gain(amperes):
    return amperes / (3.5 * DROP - DROP**2 / 2)


def stair(changes):
    """A PWL source from (seconds, volts): each step takes a nanosecond."""
    points, before = [], changes[0][1]
    for when, level in changes:
        points += [f"{when:.10g} {before}", f"{when + 1e-9:.10g} {level}"]
        before = level
    return " ".join(points)


def wires():
    """When the port sends latch and clock up, and the register's gate goes the other way."""
    latch, clock, gate = [(0.0, 0)], [(0.0, 1)], [(0.0, 0)]
    for number, byte in enumerate(HELD):
        start = 5e-6 + number * 80e-6
        levels = [1 - (byte >> 7 - n & 1) for n in range(8)] + [0]
        latch += [(start, 1), (start + 9e-6, 0)]
        gate.append((start + DELAY, 1 - levels[0]))
        for n in range(8):
            fall = start + (14 + 6 * n) * 1e-6
            clock += [(fall, 0), (fall + 1.2e-6, 1)]
            gate.append((fall + 1.2e-6 + DELAY, 1 - levels[n + 1]))
    return latch, clock, gate


def netlist(path, diode, step):
    latch, clock, gate = wires()
    lines = ""
    for name, changes in (("latch", latch), ("clock", clock)):
        down = [(when, 1 - level) for when, level in changes]
        foot = f"k{name}" if diode else name
        lines += f"""
R{name} vdd {name} {RESISTOR}
C{name} {name} 0 {CABLE + PIN}
Vd{name} d{name} 0 PWL({stair(down)})
S{name} {foot} 0 d{name} 0 down
"""
        if diode:
            lines += f"D{name} {name} {foot} silicon\n"
        else:
            lines += (
                f"Vu{name} u{name} 0 PWL({stair(changes)})\nT{name} vdd {name} u{name} 0 lift\n"
            )
    lines = lines.replace("Tlatch", "SUlatch").replace("Tclock", "SUclock")
    return f"""a read or three: a port, a cable, a register's output
V1 vdd 0 5
{lines}
M1 data gate 0 0 nmos W=1u L=1u
M2 data gate vdd vdd pmos W=1u L=1u
C1 data 0 {CABLE + CONSOLE}
M3 tested gate 0 0 nmos W=1u L=1u
M4 tested gate vdd vdd pmos W=1u L=1u
C2 tested 0 50p
Vg gate 0 PWL({stair([(when, 5 * level) for when, level in gate])})
.model nmos NMOS(LEVEL=1 VTO=1.5 KP={gain(SINK)} LAMBDA=0)
.model pmos PMOS(LEVEL=1 VTO=-1.5 KP={gain(SOURCE)} LAMBDA=0)
.model silicon D(IS=2.5e-9 N=1.75 EG=1.11 XTI=3 RS=0 CJO=0)
.model down SW(VT=0.5 RON={PULL} ROFF=1e13)
.model lift SW(VT=0.5 RON={LIFT} ROFF=1e13)
.options reltol=1e-4 tnom=25
.temp 25
.control
tran {step} 245u 0 {step}
linearize v(latch) v(clock) v(data) v(tested)
wrdata {path} v(latch) v(clock) v(data) v(tested)
.endc
.end
"""


@cache
def simulated(folder, diode, step=10e-9):
    """Seconds, and volts of latch, clock, data and of the same output with 50 pF."""
    if shutil.which("ngspice") is None:
        pytest.fail("ngspice is not installed; install it with: apt-get install ngspice")
    out = folder / f"volts-{diode}-{step}.data"
    deck = netlist(out, diode, step)
    subprocess.run(
        ["ngspice", "-b", "/dev/stdin"],
        input=deck,
        text=True,
        capture_output=True,
        timeout=100,
        check=False,
    )
    table = np.loadtxt(out)
    return table[:, 0], *(table[:, column] for column in (1, 3, 5, 7))


def capture(folder, diode=False, step=10e-9, digital=False, late=0):
    """As a file; ``late`` are samples by which data come later than simulated."""
    seconds, *volts = simulated(folder, diode, step)
    volts[2] = np.roll(volts[2], late)
    path = folder / f"scope-{diode}-{step}-{digital}{late or ''}.csv"
    lines = np.stack([seconds, *([v > 2.5 for v in volts[:3]] if digital else volts[:3])], axis=1)
    form = "%.10g,%d,%d,%d" if digital else "%.10g,%.4f,%.4f,%.4f"
    np.savetxt(path, lines, form, header="Time (s),latch,clock,data", comments="")
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("fit")
    (place / "pad.toml").write_text(STARTER)
    return place


def half(seconds, volts, rises, after):
    """The next crossing of 2.5 V after a moment."""
    above = volts > 2.5
    turns = np.flatnonzero((above[1:] != above[:-1]) & (above[1:] == rises))
    turn = turns[seconds[turns] > after][0]
    part = (2.5 - volts[turn]) / (volts[turn + 1] - volts[turn])
    return seconds[turn] + part * (seconds[turn + 1] - seconds[turn])


@pytest.fixture(scope="module")
def fit(folder):
    path = folder / "port.toml"
    result = padbench.inspect(
        capture(folder), sheet=folder / "pad.toml", port="push-pull", fit=path
    )
    assert result.wrote == {"Parts": path}
    return load_own(path)


def test_the_port_that_was_simulated_comes_out(fit):
    port = fit.ports["measured-push-pull"]
    assert port.output_low_resistance.typ == pytest.approx(PULL, rel=0.05)
    assert port.output_high_resistance.typ == pytest.approx(LIFT, rel=0.05)
    assert port.output_low_resistance.max >= port.output_low_resistance.typ
    assert port.output_low_resistance.max == pytest.approx(PULL, rel=0.1)
    # What no capture shows is as it was, with its own source.
    assert port.input_leakage == port_kind("push-pull").input_leakage
    assert port.output_high is None


def test_the_register_that_was_simulated_comes_out(fit, folder):
    part = fit.registers["measured-CD4021B"]
    assert part.sink_current.typ == pytest.approx(SINK, rel=0.05)
    assert part.source_current.typ == pytest.approx(SOURCE, rel=0.05)
    seconds, _, clock, _, tested = simulated(folder, False)
    # The first read: A held, so the first clock lifts data; 0x5A from 85 µs on has both ways.
    answers = []
    for rises, begin in ((True, 19e-6), (False, 99e-6 + 1e-9)):
        clocked = half(seconds, clock, True, begin)
        answers.append(half(seconds, tested, rises, clocked) - clocked)
    assert part.clock_to_output.typ == pytest.approx(np.mean(answers), rel=0.05)
    assert part.clock_to_output.max == pytest.approx(max(answers), rel=0.05)
    assert part.clock_width == register_part("CD4021B").clock_width


def test_every_figure_that_was_measured_says_so(fit, folder):
    source = r"measured, scope-False-1e-08-False\.csv, \d{4}-\d\d-\d\d"
    for part in (*fit.ports.values(), *fit.registers.values()):
        assert part.cited.kind == "measured"
        figures = [getattr(part, name) for name in part.__slots__]
        own = [f for f in figures if isinstance(f, Figure) and f.cited.kind == "measured"]
        assert len(own) >= 2
        assert all(re.fullmatch(source, figure.cited.title) for figure in own)


def test_a_sheet_takes_what_was_fitted(fit, folder):
    text = STARTER.replace('part = "CD4021B"', 'part = "measured-CD4021B"')
    text = text.replace('["push-pull", "pull-down-only"]', '["measured-push-pull"]')
    assert text.count("measured-") == 2
    (folder / "fitted.toml").write_text(text + '\n[parts]\nfile = "port.toml"\n')
    result = padbench.verify(folder / "fitted.toml", "idle")
    assert result.verdict == "pass"
    answer = next(f for f in result.findings if f.id == "data.later-bits")
    assert "measured" in {source.kind for source in answer.sources}
    usual = padbench.verify(folder / "pad.toml", "idle")
    before = next(f for f in usual.findings if f.id == "data.later-bits")
    # 0.51 mA at least and 320 ns stand in the table; this part is quicker and stronger.
    assert answer.measured < before.measured


def test_a_slow_register_fails_where_the_tables_pass(folder):
    """700 ns more than was simulated; the brisk poll leaves 950 ns with all that the line takes."""
    brisk = re.sub(r'use = "[a-z-]+"', 'use = "brisk"', STARTER)
    brisk = brisk.replace('["push-pull", "pull-down-only"]', '["push-pull"]')
    usual = padbench.verify(brisk, "idle")
    assert "data.later-bits" in {f.id for f in usual.findings if f.verdict == "pass"}
    (folder / "brisk.toml").write_text(brisk)
    out = folder / "slow.toml"
    padbench.inspect(capture(folder, late=70), sheet=folder / "brisk.toml", fit=out)
    text = brisk.replace('part = "CD4021B"', 'part = "measured-CD4021B"')
    (folder / "slow-pad.toml").write_text(text + '\n[parts]\nfile = "slow.toml"\n')
    result = padbench.verify(folder / "slow-pad.toml", "idle")
    assert "data.later-bits" in {f.id for f in result.findings if f.verdict == "fail"}


def test_a_port_that_pulls_down_through_a_diode(folder):
    path = folder / "diode.toml"
    result = padbench.inspect(
        capture(folder, diode=True), sheet=folder / "pad.toml", port="pull-down-only", fit=path
    )
    port = load_own(path).ports["measured-pull-down-only"]
    assert result.data.edges["clock"].levels[0] > 0.5
    assert port.output_low_resistance.typ == pytest.approx(PULL, rel=0.15)
    assert port.output_high_resistance is None


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"digital": True}, "shows latch in no volts with two levels"),
        ({"step": 100e-9}, "samples between 10 and 90 %, too few to measure it"),
    ],
)
def test_a_capture_that_cannot_show_it_is_refused(folder, capsys, how, says):
    out = folder / "none.toml"
    options = ["--sheet", str(folder / "pad.toml"), "--port", "push-pull", "--fit", str(out)]
    assert main(["inspect", str(capture(folder, **how)), *options]) == 2
    heard, err = capsys.readouterr()
    assert says in err
    assert err.count("\n") == 1
    assert heard == ""
    assert not out.exists()
