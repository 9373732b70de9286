"""The register as hardware: converts to Verilog, and does what the timed model does."""

import shutil
import subprocess
from itertools import chain
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from myhdl import Signal, Simulation, delay, instance, intbv

from padbench.core.pad import PadModel
from padbench.model.part import watched_register
from padbench.model.record import Log, record
from padbench.model.register import shift_register

LOAD, CLOCK, SERIAL, INPUTS = range(4)


def ports(stages: int) -> list[Any]:
    return [
        Signal(bool(0)),
        Signal(bool(1)),
        Signal(bool(0)),
        Signal(intbv(0)[stages:]),
        Signal(bool(0)),
    ]


def converted(tmp_path, stages=8):
    """The Verilog of a register, as text."""
    shift_register(*ports(stages)).convert(hdl="Verilog", path=str(tmp_path), name="register")
    return (tmp_path / "register.v").read_text()


@pytest.mark.parametrize("stages", [1, 9])
def test_it_converts_to_verilog(tmp_path, stages):
    text = converted(tmp_path, stages)
    assert "module register" in text
    assert text.count("posedge clock") == stages


BENCH = """
`timescale 1ns/1ps
module bench;
  reg load = 0, clock = 1, serial = 0; reg [7:0] inputs = 8'hA5; wire last;
  register dut(.load(load), .clock(clock), .serial(serial), .inputs(inputs), .last(last));
  integer n;
  initial begin
    #100 load = 1; #10 $write("%b", last);
    inputs = 8'h3C; #10 $write("%b", last);          // transparent while the load is high
    #10 load = 0;
    for (n = 0; n < 10; n = n + 1) begin #10 $write("%b", last); clock = 0; #10 clock = 1; end
    inputs = 8'hFF; #10 $write("%b", last);          // no effect any more
    $display(""); $finish;
  end
endmodule
"""


def test_icarus_runs_the_converted_register(tmp_path):
    converted(tmp_path)
    assert shutil.which("iverilog"), "iverilog is missing: apt-get install iverilog"
    (tmp_path / "bench.v").write_text(BENCH)
    built = tmp_path / "bench.vvp"
    sources = [str(tmp_path / "register.v"), str(tmp_path / "bench.v")]
    subprocess.run(["iverilog", "-o", str(built), "-s", "bench", *sources], check=True)
    ran = subprocess.run(["vvp", str(built)], check=True, capture_output=True, text=True)
    # A5 shows its last stage; then 3C from stage 8 down to 1, then the serial input's 0.
    assert ran.stdout.split() == ["1" + "0" + "00111100" + "00" + "0"]


def both(pad, script, seen):
    """The hardware and the timed register on the same pins; compares them after every step."""
    load, clock, serial, inputs, last = ports(pad.stages)
    data = Signal(2)
    record(data)
    stages, doubts = Log(), Log()
    hardware = shift_register(load, clock, serial, inputs, last)
    timed = watched_register(pad, load, clock, serial, inputs, data, stages, doubts)
    pins = (load, clock, serial, inputs)

    @instance
    def play():
        for pin, level in script:
            pins[pin].next = level
            yield delay(1_000_000)
            if stages.values and not doubts.values[-1]:
                seen.append((bool(last), int(data._val)))

    return hardware, timed, play


moves = st.one_of(
    st.tuples(st.sampled_from([LOAD, CLOCK, SERIAL]), st.booleans()).map(lambda move: [move]),
    st.tuples(st.just(INPUTS), st.integers(0, 255)).map(lambda move: [move]),
    # Clocks in a row, with one level at the serial input, which comes out after eight.
    st.tuples(st.booleans(), st.integers(1, 20)).map(
        lambda row: [(LOAD, False), (SERIAL, row[0]), *[(CLOCK, False), (CLOCK, True)] * row[1]]
    ),
)


@pytest.mark.no_cover
# To make the blocks takes far longer than to play them: few examples, each a long one.
@settings(max_examples=6, deadline=None)
@given(script=st.lists(moves, min_size=20, max_size=60))
def test_hardware_and_timed_model_agree_under_any_stimulus(limits, script):
    seen: list[tuple[bool, int]] = []
    script = [(LOAD, True), (LOAD, False), *chain.from_iterable(script)]
    simulation = Simulation(both(PadModel(limits), script, seen))
    try:
        simulation.run(quiet=1)
    finally:
        simulation.quit()
    assert seen
    assert all(hardware == timed for hardware, timed in seen)
