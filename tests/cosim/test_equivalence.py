"""The MyHDL register, converted to Verilog, is the hand-written one: proved, and tried."""

import subprocess
import sys
from pathlib import Path

import pytest
from designs import HDL

REGISTER = HDL / "verilog" / "shift_register.v"
STAGES = 8

PROOF = """
read_verilog converted.v
rename register gold
read_verilog {gate}
rename shift_register gate
proc
splitnets -format _ gate/w:stages
cd gold
rename last data
{names}
rename final stages_{last}
cd ..
expose gold/w:stages_* gate/w:stages_*
opt_clean
miter -equiv -flatten gold gate miter
clk2fflogic miter
sat -verify -tempinduct -set-init-zero -prove trigger 0 miter
"""
# clk2fflogic makes a step of every change of any input, so load, clock and inputs may move in any
# order and together. All stages are outputs of the miter, which makes the induction one step long.

RANDOM = """
`timescale 1ns/1ps
module bench;
    reg load = 0, clock = 1, serial = 0;
    reg [7:0] inputs = 0;
    wire one, other;
    integer n, seed = 21, wrong = 0, high = 0;
    register gold (load, clock, serial, inputs, one);
    shift_register gate (load, clock, serial, inputs, other);
    initial begin
        load = 1; #5 load = 0;
        for (n = 0; n < 20000; n = n + 1) begin
            #5;
            case ($random(seed) & 7)
                0: load = ~load;
                1, 2: inputs = $random(seed);
                3: serial = ~serial;
                default: clock = ~clock;
            endcase
            #5 if (one !== other) wrong = wrong + 1;
            high = high + one;
        end
        $display("wrong %0d high %0d", wrong, high);
    end
endmodule
"""


CONVERT = """
import sys
from myhdl import Signal, intbv
from padbench.model.register import shift_register
bits = [Signal(bool(0)) for _ in range(4)]
block = shift_register(*bits[:3], Signal(intbv(0)[int(sys.argv[2]):]), bits[3])
block.convert(hdl="Verilog", path=sys.argv[1], name="converted")
"""


@pytest.fixture
def converted(tmp_path) -> Path:
    # MyHDL numbers blocks from the start of the process; in one of its own the names are known.
    command = [sys.executable, "-W", "ignore", "-c", CONVERT, str(tmp_path), str(STAGES)]
    subprocess.run(command, check=True)
    text = (tmp_path / "converted.v").read_text().replace("module converted", "module register")
    (tmp_path / "converted.v").write_text(text)
    return tmp_path


def prove(folder: Path, gate: Path) -> subprocess.CompletedProcess[str]:
    names = "\n".join(f"rename stage{n}_output stages_{n}" for n in range(STAGES - 1))
    (folder / "proof.ys").write_text(PROOF.format(gate=gate, names=names, last=STAGES - 1))
    try:
        return subprocess.run(
            ["yosys", "-q", "proof.ys"],
            cwd=folder,
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
    except FileNotFoundError:
        pytest.fail("yosys is missing; apt-get install yosys")


def test_proved_equal_for_any_number_of_steps(converted):
    """By induction of length 1 over all eight stages and the output, from equal stages on."""
    proof = prove(converted, REGISTER)
    assert proof.returncode == 0, proof.stdout + proof.stderr


@pytest.mark.parametrize(
    ("old", "new"), [("posedge clock", "negedge clock"), ("& ~inputs", "& inputs")]
)
def test_the_proof_fails_for_another_register(converted, old, new):
    other = converted / "other.v"
    other.write_text(REGISTER.read_text().replace(old, new))
    assert prove(converted, other).returncode != 0


def test_equal_under_random_stimuli_on_icarus(converted):
    (converted / "bench.v").write_text(RANDOM)
    run = ["iverilog", "-g2001", "-o", "bench", "converted.v", str(REGISTER), "bench.v"]
    subprocess.run(run, cwd=converted, check=True, timeout=60)
    said = subprocess.run(
        ["vvp", "-n", "bench"],
        cwd=converted,
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    ).stdout.split()
    assert said[:2] == ["wrong", "0"]
    assert 2000 < int(said[3]) < 18000  # the output moved: the comparison meant something
