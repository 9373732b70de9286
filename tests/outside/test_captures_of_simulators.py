"""What independent simulators write decodes to what was held.

The register of the 4021's truth table (CD4021B data sheet, Texas Instruments SCHS024) and a port
that reads it stand in `captures/`, in Verilog and in VHDL, and below in MyHDL. Icarus Verilog,
GHDL, Verilator and MyHDL's own tracer each write a VCD file of the same reads in their own way
(IEEE Std 1364-2005, clause 18). ngspice makes volts of a pad on a cable.
"""

import gzip
import json
import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from myhdl import Signal, always, always_comb, block, concat, delay, instance, intbv

from padbench.cli import main

SOURCES = Path(__file__).parent / "captures"
HELD = [0x00, 0x80, 0x01, 0x5A, 0x00, 0xC3, 0xFF]
STOPPED = [0, 0, 0, 0, 8, 3, 0]


def lost(byte: int, bit: int) -> int:
    """A byte whose read was stopped at a bit: it is lost and the serial input's "pressed" added.

    Common practice, no source.
    """
    if not bit:
        return byte
    keep = (0xFF << (9 - bit)) & 0xFF
    return byte & keep | (byte << 1 & ~keep & 0xFF) | 1


def run(folder: Path, *command: str, **environment: str) -> None:
    if shutil.which(command[0]) is None:
        pytest.fail(f"{command[0]} is missing: apt-get install {command[0]}")
    done = subprocess.run(
        command,
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | environment,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def icarus(folder: Path) -> Path:
    sources = [str(SOURCES / name) for name in ("bench.v", "pad.v")]
    run(folder, "iverilog", "-g2005", "-o", "bench", *sources)
    run(folder, "vvp", "-n", "bench")
    return folder / "bench.vcd"


def verilator(folder: Path) -> Path:
    sources = [str(SOURCES / name) for name in ("bench.v", "pad.v")]
    options = ["--binary", "--timing", "--trace", "-Wno-fatal", "-O0", "--top-module", "bench"]
    # Nothing of a run this short is worth what the compiler takes to make it quick.
    run(
        folder,
        "verilator",
        *options,
        *sources,
        MAKEFLAGS="OPT_FAST=-O0 OPT_SLOW=-O0 OPT_GLOBAL=-O0",
    )
    run(folder, str(folder / "obj_dir" / "Vbench"))
    return folder / "bench.vcd"


def ghdl(folder: Path) -> Path:
    for step in (["-a", "--std=08", str(SOURCES / "bench.vhd")], ["-e", "--std=08", "bench"]):
        run(folder, "ghdl", *step)
    run(folder, "ghdl", "-r", "--std=08", "bench", "--vcd=bench.vcd")
    return folder / "bench.vcd"


@block
def bench():
    latch, clock, data = Signal(bool(0)), Signal(bool(1)), Signal(bool(1))
    held, stages = Signal(intbv(0)[8:]), Signal(intbv(255)[8:])

    @always(clock.posedge, latch.posedge)
    def pad():
        if latch:
            stages.next = held ^ 255
        else:
            stages.next = concat(stages[7:], False)

    @always_comb
    def output():
        data.next = stages[7]

    @instance
    def port():
        for buttons, stopped in zip(HELD, STOPPED, strict=True):
            held.next = buttons
            yield delay(2000)
            latch.next = 1
            yield delay(8900)
            latch.next = 0
            yield delay(5400)
            for bit in range(1, 9):
                for _ in range(2 if bit == stopped else 1):
                    clock.next = 0
                    yield delay(560)
                    clock.next = 1
                    yield delay(560)
                yield delay(5030)
            yield delay(50_000)

    return pad, output, port


def myhdl(folder: Path) -> Path:
    design = bench()
    design.config_sim(trace=True, directory=str(folder), filename="bench")
    try:
        design.run_sim(quiet=1)
    finally:
        design.quit_sim()
    return folder / "bench.vcd"


def inspected(capsys, *arguments) -> dict:
    code = main(["inspect", *map(str, arguments), "--json"])
    out, err = capsys.readouterr()
    assert err == ""
    found = json.loads(out)
    assert code == (0 if found["verdict"] == "pass" else 1)
    return found


@pytest.mark.filterwarnings("ignore::UserWarning")
@pytest.mark.parametrize("writer", [icarus, ghdl, verilator, myhdl], ids=lambda w: w.__name__)
def test_every_writer_gives_the_same_reads(tmp_path, capsys, writer):
    found = inspected(capsys, writer(tmp_path))
    assert [read["byte"] for read in found["reads"]] == [
        lost(byte, bit) for byte, bit in zip(HELD, STOPPED, strict=True)
    ]
    # Nobody told the decoder; what the pad had loaded stands on the wire all the same.
    on_wire = {tuple(read["on_wire"]) for read in found["reads"][4:5]}
    assert on_wire == {()}
    assert [read["extra_clocks"] for read in found["reads"]] == [
        [bit] if bit else [] for bit in STOPPED
    ]
    assert found["statistics"]["latch width"]["median"] == 8.9
    assert found["statistics"]["clock low"]["max"] == 0.56
    assert found["statistics"]["latch to first clock"]["min"] == 5.4
    assert all(channel["found"] for channel in found["channels"].values())


# Netlist times in microseconds: a port on a lead of 2.5 m with 100 pF/m (from memory).
LATCH, GAP, LOW, HIGH, PERIOD = 8.9, 5.4, 0.56, 5.6, 100.0
SAMPLE = 0.05
SHOWN = [0x00, 0x80, 0x5A, 0x01, 0xC3, 0xFF]
EDGE = 0.02


def pieces(changes: list[tuple[float, int]]) -> str:
    """A piecewise linear source of 5 V whose edges are centred on the given microseconds."""
    points, level = [(0.0, changes[0][1])], changes[0][1]
    for when, new in changes[1:]:
        if new != level:
            points += [(when - EDGE / 2, level), (when + EDGE / 2, new)]
            level = new
    return "PWL(" + " ".join(f"{when:.4f}u {5 * level}" for when, level in points) + ")"


def netlist() -> str:
    latch, clock, data = [(0.0, 0)], [(0.0, 1)], [(0.0, 1)]
    for number, byte in enumerate(SHOWN):
        start = 10 + number * PERIOD
        latch += [(start, 1), (start + LATCH, 0)]
        levels = [1 - (byte >> 7 - place & 1) for place in range(8)] + [0]
        data.append((start + 0.16, levels[0]))
        for place in range(8):
            fall = start + LATCH + GAP + place * (LOW + HIGH)
            clock += [(fall, 0), (fall + LOW, 1)]
            # 160 ns from clock to output, typical (from memory).
            data.append((fall + LOW + 0.16, levels[place + 1]))
    # The output as 780 ohms: 0.4 V at 0.51 mA (from memory); the port's drivers as 100 ohms.
    return f"""a pad on a cable
Vl l0 0 {pieces(latch)}
Vc c0 0 {pieces(clock)}
Vd d0 0 {pieces(data)}
Rl l0 latch 100
Rc c0 clock 100
Rd d0 data 780
Cl latch 0 250p
Cc clock 0 250p
Cd data 0 250p
.tran 5n {10 + len(SHOWN) * PERIOD}u 0 5n
.control
set filetype=ascii
set wr_singlescale
set wr_vecnames
run
linearize v(latch) v(clock) v(data)
wrdata out.txt v(latch) v(clock) v(data)
quit
.endc
.end
"""


@pytest.fixture(scope="module")
def volts(tmp_path_factory):
    """Columns time (s), latch, clock, data (V), a sample every 50 ns."""
    folder = tmp_path_factory.mktemp("spice")
    (folder / "pad.cir").write_text(netlist())
    run(folder, "ngspice", "-b", "pad.cir")
    table = np.loadtxt(folder / "out.txt", skiprows=1)
    return table[:: round(SAMPLE / 0.005)]


DIALECTS = {
    "plain": (",", ".", ["time,latch,clock,data"], 1),
    "semicolons and commas": (";", ",", ["Zeit;CH1;CH2;CH3", "s;V;V;V"], 1),
    "tabs": ("\t", ".", ["Time (usec)\tChannel 1 latch (V)\tCH2-clock (V)\tdata (V)"], 1e6),
    "tabs and commas": ("\t", ",", [], 1),
    "preamble": (
        ",",
        ".",
        ["Made on,bench 4", "Rows,9000", "", "Time,CH1,CH2,CH3", "ms,V,V,V"],
        1e3,
    ),
    "semicolons, gzip": (";", ".", ["# exported", "t;a;b;c"], 1),
}


@pytest.mark.parametrize("dialect", DIALECTS)
def test_volts_of_a_circuit_simulator_in_six_dialects(tmp_path, capsys, volts, dialect):
    delimiter, decimal, head, factor = DIALECTS[dialect]
    noise = np.random.default_rng(4021).uniform(-0.4, 0.4, volts[:, 1:].shape)
    rows = np.column_stack([volts[:, 0] * factor, volts[:, 1:] + noise])
    text = "\n".join(
        [*head, *(delimiter.join(f"{x:.9g}".replace(".", decimal) for x in row) for row in rows)]
    )
    path = tmp_path / "volts.csv"
    data = (text + "\n").encode()
    path.write_bytes(gzip.compress(data) if "gzip" in dialect else data)
    names = ["--time", "1", "--latch", "2", "--clock", "3", "--data", "4"]
    named = any("latch" in line for line in head)
    found = inspected(capsys, path, *([] if named else names))
    assert [c["found"] for c in found["channels"].values()] == [named] * 4
    assert [read["byte"] for read in found["reads"]] == SHOWN
    assert not any(read["undecided"] for read in found["reads"])
    measured = found["statistics"]
    for name, set_to in (
        *(("latch width", LATCH), ("clock low", LOW), ("clock high", HIGH)),
        *(("latch to first clock", GAP), ("poll period", PERIOD)),
    ):
        # Half a picosecond for the rounding of the times.
        assert abs(measured[name]["min"] - set_to) <= SAMPLE + 1e-6, name
        assert abs(measured[name]["max"] - set_to) <= SAMPLE + 1e-6, name
    # 160 ns, and 250 pF through 780 ohms up to 3.5 V or down to 1.5 V: 1.2 RC each way.
    delay_ = 0.16 + 1.204 * 780 * 250e-12 * 1e6 - 1.204 * 100 * 250e-12 * 1e6
    assert abs(measured["data delay after the clock"]["median"] - delay_) <= 2 * SAMPLE
