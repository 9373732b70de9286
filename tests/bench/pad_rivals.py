"""Others that make the reads of `tests/bench/sweep.py`, one by one.

All take cases of a sweep, drawn at random, and make the read of each: contacts that change before
any event of it, stopped bits with their extra clocks, either tie; every bit is compared with what
must come out. All give reads a second of processor time, so that other work on the machine counts
for nobody.
"""

import random
import resource
import subprocess
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from padbench.core.decode import decode
from padbench.core.findings import Source
from padbench.core.limits import Limit, Limits
from padbench.core.pad import PadModel
from padbench.core.stimulus import ScriptedRead, Stimulus
from padbench.model.simulation import simulate
from padbench.padsweep.counting import PAIRS, pad_parts
from padbench.padsweep.replay import case_timing, moment_ps
from padbench.padsweep.tally import PadCase
from padbench.scenarios.expect import expected_bits

LIMITS = Limits(*[Limit(100, (Source("none", "assumed"),))] * 6)

Contender = Callable[[], float]
"""Makes its reads and returns reads a second; raises if any bit was wrong."""

# Transparent as the data sheet has it, and written so that Verilator makes the most of it: three
# times as quick as set and clear for each stage.
REGISTER = """
module register(input load, input clock, input serial, input [7:0] inputs, output last);
  reg [7:0] shifted, loaded;
  reg since = 0, mark = 0;
  wire [7:0] stages = (load | since == mark) ? loaded : shifted;
  assign last = stages[7];
  always_latch if (load) loaded = inputs;
  always @(posedge clock or posedge load)
    if (load) since <= mark;
    else begin shifted <= {stages[6:0], serial}; since <= ~mark; end
endmodule
"""
LOOP = """
module bench;
  parameter READS = 1;
  reg [31:0] cases [0:READS-1];
  reg load = 0, clock = 1, serial = 0; reg [7:0] inputs = 255; wire last;
  register dut(load, clock, serial, inputs, last);
  integer n, b, x, place, wrong = 0; reg [31:0] one; reg [23:0] line;
  task event_; begin
    if (place == one[23:16]) begin inputs = ~one[15:8]; #1; end
    place = place + 1;
  end endtask
  task pulse; begin event_; clock = 0; #1 clock = 1; #1; end endtask
  initial begin
    $readmemh("cases.hex", cases);
    for (n = 0; n < READS; n = n + 1) begin
      one = cases[n]; place = 0; serial = one[30]; inputs = ~one[7:0]; #1;
      line = {one[23:16] <= 1 ? one[15:8] : one[7:0], {16{~one[30]}}};
      event_; load = 1; #1; event_; load = 0; #1;
      for (b = 1; b <= 8; b = b + 1) begin
        if (b == one[27:24]) begin
          line = {line, 3'b0} >> (3 - one[29:28]);
          for (x = 0; x < one[29:28]; x = x + 1) pulse;
        end
        event_;
        if (last !== ~line[24-b]) wrong = wrong + 1;
        pulse;
      end
      event_;
    end
    $display("%0d", wrong); $finish;
  end
endmodule
"""
DRIVER = """
#include "Vregister.h"
#include "verilated.h"
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <vector>
int main(int, char** arguments) {
  std::vector<uint32_t> cases(atol(arguments[2]));
  FILE* file = fopen(arguments[1], "rb");
  if (fread(cases.data(), 4, cases.size(), file) != cases.size()) return 1;
  Vregister dut; long wrong = 0;
  dut.load = 0; dut.clock = 1; dut.serial = 0; dut.inputs = 255; dut.eval();
  clock_t start = ::clock();
  for (uint32_t one : cases) {
    int before = one & 255, after = one >> 8 & 255, moment = one >> 16 & 255, place = 0;
    int stop = one >> 24 & 15, extra = one >> 28 & 3, tie = one >> 30 & 1;
    int line = (moment <= 1 ? after : before) << 16 | (tie ? 0 : 0xFFFF);
    auto event = [&] { if (place++ == moment) { dut.inputs = ~after; dut.eval(); } };
    auto pulse = [&] { event(); dut.clock = 0; dut.eval(); dut.clock = 1; dut.eval(); };
    dut.inputs = ~before; dut.serial = tie; dut.eval();
    event(); dut.load = 1; dut.eval();
    event(); dut.load = 0; dut.eval();
    for (int bit = 1; bit <= 8; bit++) {
      if (bit == stop) { line <<= extra; for (int n = 0; n < extra; n++) pulse(); }
      event();
      wrong += dut.last == (line >> (24 - bit) & 1);
      pulse();
    }
    event();
  }
  printf("%ld %.9f\\n", wrong, double(::clock() - start) / CLOCKS_PER_SEC);
}
"""
COCOTB = """
import os, time, cocotb
from cocotb.triggers import Timer

@cocotb.test()
async def loop(dut):
    cases, wrong = [int(word, 16) for word in open("cases.hex")], 0
    step = Timer(1, "ns")
    place = one = 0

    async def event():
        nonlocal place
        if place == one >> 16 & 255:
            dut.inputs.value = ~(one >> 8) & 255
            await step
        place += 1

    async def pulse():
        await event()
        dut.clock.value = 0
        await step
        dut.clock.value = 1
        await step

    dut.load.value, dut.clock.value, dut.serial.value, dut.inputs.value = 0, 1, 0, 255
    await step
    start = time.process_time()
    for one in cases:
        before, after, moment = one & 255, one >> 8 & 255, one >> 16 & 255
        stop, extra, tie, place = one >> 24 & 15, one >> 28 & 3, one >> 30, 0
        line = (after if moment <= 1 else before) << 16 | (0 if tie else 0xFFFF)
        dut.inputs.value, dut.serial.value = ~before & 255, tie
        await step
        for level in (1, 0):
            await event()
            dut.load.value = level
            await step
        for bit in range(1, 9):
            if bit == stop:
                line <<= extra
                for _ in range(extra):
                    await pulse()
            await event()
            wrong += int(dut.last.value) == line >> 24 - bit & 1
            await pulse()
        await event()
    with open(os.environ["TOOK"], "w") as file:
        print(wrong, time.process_time() - start, file=file)
"""


def drawn(count: int) -> list[PadCase]:
    """Cases of a sweep of a sheet, each as likely as the other."""
    draw = random.Random(6)
    parts = [part for parts in pad_parts(8) for part in parts]
    states = [draw.randrange(PAIRS) for _ in range(count)]
    return [PadCase(one >> 8, one & 0xFF, draw.choice(parts)) for one in states]


def words(cases: Sequence[PadCase]) -> list[int]:
    """A case as 32 bits: held before, held after, moment, stopped bit (4), extra clocks, tie."""
    return [
        one.held
        | one.then << 8
        | one.part.moment << 16
        | one.part.stopped_bit << 24
        | one.part.extra << 28
        | one.part.tie << 30
        for one in cases
    ]


def _hex(folder: Path, reads: int) -> None:
    text = "\n".join(f"{word:08x}" for word in words(drawn(reads)))
    (folder / "cases.hex").write_text(text + "\n")


def compiled(folder: Path, reads: int = 500_000) -> Contender:
    """Verilator, -O3, no timing wheel, driven straight from C++."""
    (folder / "register.v").write_text(REGISTER)
    (folder / "main.cpp").write_text(DRIVER)
    np.array(words(drawn(reads)), np.uint32).tofile(folder / "cases")
    options = ["--cc", "--exe", "--build", "-O3", "--x-assign", "fast", "--no-timing"]
    options += ["-Wno-fatal", "-Wno-lint", "-CFLAGS", "-O3 -march=native"]
    subprocess.run(
        ["verilator", *options, "register.v", "main.cpp"],
        stdout=subprocess.DEVNULL,
        check=True,
        cwd=folder,
    )

    def run() -> float:
        command = [str(folder / "obj_dir" / "Vregister"), str(folder / "cases"), str(reads)]
        out = subprocess.run(command, check=True, capture_output=True, text=True).stdout
        wrong, took = out.split()
        assert wrong == "0", out
        return reads / float(took)

    return run


def icarus(folder: Path, reads: int = 20_000) -> Contender:
    """Register and loop in Verilog; what starting takes is measured and left out."""
    (folder / "all.v").write_text(REGISTER + LOOP)
    _hex(folder, reads)

    def build(count: int, name: str) -> list[str]:
        command = ["iverilog", "-g2012", "-o", name, "-s", "bench", f"-Pbench.READS={count}"]
        subprocess.run([*command, "all.v"], check=True, cwd=folder)
        return ["vvp", "-n", name]

    whole, little = build(reads, "whole"), build(1, "little")

    def seconds(command: list[str]) -> float:
        before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
        out = subprocess.run(command, check=True, capture_output=True, text=True, cwd=folder).stdout
        assert out.split()[-1] == "0", out
        return resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before

    return lambda: (reads - 1) / (seconds(whole) - seconds(little))


def cocotb_on_icarus(folder: Path, reads: int = 600) -> Contender:
    """The same register, the loop in Python."""
    from cocotb_tools.runner import get_runner  # noqa: PLC0415  (may be missing)

    (folder / "register.v").write_text(REGISTER)
    (folder / "loop_test.py").write_text(COCOTB)
    _hex(folder, reads)
    runner = get_runner("icarus")
    runner.build(
        sources=[folder / "register.v"],
        hdl_toplevel="register",
        build_dir=folder / "co",
        timescale=("1ns", "1ps"),
        log_file=folder / "build.log",
    )
    took = folder / "took"

    def run() -> float:
        runner.test(
            hdl_toplevel="register",
            test_module="loop_test",
            test_dir=folder,
            extra_env={"TOOK": str(took)},
            build_dir=folder / "co",
            log_file=folder / "run.log",
        )
        wrong, seconds = took.read_text().split()
        assert wrong == "0", wrong
        return reads / float(seconds)

    return run


def myhdl(reads: int = 1_500) -> Contender:
    """The bench of padbench without rules or waves."""
    pad, timing = PadModel(LIMITS), case_timing(LIMITS)
    made, moves, wanted = [], [(0, 0)], []
    at = 1_000_000_000
    for case in drawn(reads):
        part = case.part
        read = ScriptedRead(at, timing, part.stopped_bit, part.extra, part.tie)
        change = moment_ps(read, part.moment)
        moves += [(at - 50_000_000, case.held), (change, case.then)]
        made.append(read)
        wanted.append(
            expected_bits(
                case.then if part.moment <= 1 else case.held,
                serial=part.tie,
                stopped_bit=part.stopped_bit,
                extra_clocks=part.extra,
            )
        )
        at = read.start + read.length + 200_000_000
    stimulus = Stimulus(tuple(moves), tuple(made), at)

    def run() -> float:
        start = time.process_time()
        timeline = simulate(pad, stimulus)
        took = time.process_time() - start
        assert [tuple(read.bits) for read in decode(timeline)] == wanted
        return reads / took

    return run
