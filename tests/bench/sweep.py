"""How fast sweeps are, as ratios measured in one run: ``.venv/bin/python tests/bench/sweep.py``.

One core. Every contender makes the same kind of read (latch, eight samples, eight clocks, a new
held state each) and checks each of the eight bits against what was held:

- pad lanes: `PadLanes`, bit-sliced in numpy;
- compiled: the register of ``register.v`` below by Verilator, -O3, no timing wheel, straight from C++;
- Icarus: the same register and the loop in Verilog;
- cocotb on Icarus: the same register, the loop in Python;
- MyHDL: the bench of padbench without rules or waves.

Needs verilator, g++, iverilog and cocotb; what is missing is said and left out.
"""  # noqa: E501

import os
import resource
import shutil
import statistics
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from padbench.console.fetch import Console, SampleFetch
from padbench.console.routine import Routine
from padbench.console.run import run_case
from padbench.console.source import load_routine
from padbench.console.steps import Steps
from padbench.decode import decode
from padbench.model.bench import simulate
from padbench.pad import PadModel
from padbench.parts import console_timing
from padbench.rules.limits import Limit, Limits
from padbench.stimulus import PollTiming, ScriptedRead, Stimulus
from padbench.sweep.engine import FastEngine
from padbench.sweep.pads import PadLanes, filled

ROUNDS = 5
WORDS = 1 << 15
US = 1_000_000
SOURCES = Path(__file__).parents[1] / "console" / "sources"

REGISTER = """
module register(input load, input clock, input serial, input [7:0] inputs, output last);
  reg [7:0] stages;
  assign last = stages[7];
  always @(posedge clock or posedge load)
    if (load) stages <= inputs; else stages <= {stages[6:0], serial};
endmodule
"""
LOOP = """
module bench;
  parameter READS = 1000;
  reg load = 0, clock = 1, serial = 0; reg [7:0] inputs; wire last;
  register dut(load, clock, serial, inputs, last);
  integer n, b, wrong = 0;
  initial begin
    for (n = 0; n < READS; n = n + 1) begin
      inputs = ~n[7:0]; load = 1; #1 load = 0; #1;
      for (b = 7; b >= 0; b = b - 1) begin
        clock = 0; #1 if (last !== ~n[b]) wrong = wrong + 1;
        clock = 1; #1;
      end
    end
    $display("%0d", wrong); $finish;
  end
endmodule
"""
DRIVER = """
#include "Vregister.h"
#include "verilated.h"
#include <chrono>
#include <cstdio>
#include <cstdlib>
int main(int, char** arguments) {
  Vregister dut; long reads = atol(arguments[1]), wrong = 0;
  dut.load = 0; dut.clock = 1; dut.serial = 0; dut.eval();
  auto start = std::chrono::steady_clock::now();
  for (long n = 0; n < reads; n++) {
    dut.inputs = ~n; dut.load = 1; dut.eval(); dut.load = 0; dut.eval();
    for (int b = 7; b >= 0; b--) {
      dut.clock = 0; dut.eval();
      wrong += dut.last == ((n >> b) & 1);
      dut.clock = 1; dut.eval();
    }
  }
  std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
  printf("%ld %.9f\\n", wrong, took.count());
}
"""
COCOTB = """
import os, time, cocotb
from cocotb.triggers import Timer

@cocotb.test()
async def loop(dut):
    reads, wrong = int(os.environ["READS"]), 0
    step = Timer(1, "ns")
    dut.load.value, dut.clock.value, dut.serial.value = 0, 1, 0
    await step
    start = time.perf_counter()
    for n in range(reads):
        dut.inputs.value = ~n & 0xFF
        dut.load.value = 1
        await step
        dut.load.value = 0
        await step
        for bit in range(7, -1, -1):
            dut.clock.value = 0
            await step
            wrong += int(dut.last.value) == n >> bit & 1
            dut.clock.value = 1
            await step
    with open(os.environ["TOOK"], "w") as file:
        print(wrong, time.perf_counter() - start, file=file)
"""

Contender = Callable[[], float]
"""Makes its reads and returns reads a second; raises if any bit was wrong."""


class Lanes:
    """Some million reads a call, all lanes at once."""

    def __init__(self, words: int, times: int) -> None:
        limit = Limit(1, "no limit matters here")
        self.pads = PadLanes(PadModel(Limits(*[limit] * 6)), words)
        draw = np.random.default_rng(6)
        self.levels = [
            draw.integers(0, 1 << 64, words, np.uint64, endpoint=False) for _ in range(8)
        ]
        # What was held, as another copy: else a wire would be compared with itself.
        self.held = [wire.copy() for wire in self.levels]
        self.high, self.low = filled(words, 1), filled(words, 0)
        self.words, self.times = words, times

    def __call__(self) -> float:
        differ, wrong = np.empty(self.words, np.uint64), filled(self.words, 0)
        pads, levels, held = self.pads, self.levels, self.held
        start = time.perf_counter()
        for _ in range(self.times):
            # Each button's wire becomes its neighbour's: other states in every block.
            levels, held = [*levels[1:], levels[0]], [*held[1:], held[0]]
            pads.inputs_are(levels)
            pads.latch(self.high, same=True)
            pads.latch(self.low, same=True)
            for wire in reversed(held):
                np.bitwise_xor(pads.output, wire, out=differ)
                np.bitwise_or(wrong, differ, out=wrong)
                pads.clock()
        took = time.perf_counter() - start
        assert not wrong.any()
        return 64 * self.words * self.times / took


def masked(words: int = WORDS, times: int = 4) -> Contender:
    """The same reads where each edge pays for a mask."""
    lanes = Lanes(words, times)

    def run() -> float:
        pads = lanes.pads
        start = time.perf_counter()
        for _ in range(times):
            pads.inputs_are(lanes.levels)
            pads.latch(lanes.high)
            pads.latch(lanes.low)
            wrong = lanes.low
            for wire in reversed(lanes.held):
                wrong = wrong | (pads.output ^ wire)
                pads.clock(lanes.high)
        took = time.perf_counter() - start
        assert not wrong.any()
        return 64 * words * times / took

    return run


def compiled(folder: Path, reads: int = 4_000_000) -> Contender:
    (folder / "register.v").write_text(REGISTER)
    (folder / "main.cpp").write_text(DRIVER)
    options = ["--cc", "--exe", "--build", "-O3", "--x-assign", "fast", "--no-timing"]
    options += ["-CFLAGS", "-O3 -march=native"]
    subprocess.run(
        ["verilator", *options, "register.v", "main.cpp"],
        stdout=subprocess.DEVNULL,
        check=True,
        cwd=folder,
    )

    def run() -> float:
        command = [str(folder / "obj_dir" / "Vregister"), str(reads)]
        out = subprocess.run(command, check=True, capture_output=True, text=True).stdout
        wrong, took = out.split()
        assert wrong == "0", out
        return reads / float(took)

    return run


def icarus(folder: Path, reads: int = 60_000) -> Contender:
    (folder / "all.v").write_text(REGISTER + LOOP)

    def build(count: int, name: str) -> list[str]:
        command = ["iverilog", "-o", name, "-s", "bench", f"-Pbench.READS={count}", "all.v"]
        subprocess.run(command, check=True, cwd=folder)
        return ["vvp", "-n", str(folder / name)]

    whole, empty = build(reads, "whole"), build(0, "empty")

    def seconds(command: list[str]) -> float:
        start = time.perf_counter()
        out = subprocess.run(command, check=True, capture_output=True, text=True).stdout
        assert out.split()[0] == "0", out
        return time.perf_counter() - start

    return lambda: reads / (seconds(whole) - seconds(empty))


def cocotb_on_icarus(folder: Path, reads: int = 1_500) -> Contender:
    from cocotb_tools.runner import get_runner  # noqa: PLC0415  (may be missing)

    (folder / "register.v").write_text(REGISTER)
    (folder / "loop_test.py").write_text(COCOTB)
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
            extra_env={"READS": str(reads), "TOOK": str(took)},
            build_dir=folder / "co",
            log_file=folder / "run.log",
        )
        wrong, seconds = took.read_text().split()
        assert wrong == "0", wrong
        return reads / float(seconds)

    return run


def myhdl(reads: int = 2_000) -> Contender:
    pad = PadModel(Limits(*[Limit(100, "none")] * 6))
    timing = PollTiming(12 * US, 12 * US, 4 * US, 8 * US, 2 * US)
    period = 200 * US
    stimulus = Stimulus(
        tuple((n * period, n & 0xFF) for n in range(1, reads + 1)),
        tuple(ScriptedRead(n * period + 20 * US, timing) for n in range(1, reads + 1)),
        (reads + 2) * period,
    )

    def run() -> float:
        start = time.perf_counter()
        timeline = simulate(pad, stimulus)
        took = time.perf_counter() - start
        assert [read.byte for read in decode(timeline)] == [n & 0xFF for n in range(1, reads + 1)]
        return reads / took

    return run


def pad_speed() -> None:
    lanes = Lanes(WORDS, 40)
    rivals: dict[str, Contender] = {"MyHDL": myhdl(), "lanes, every edge masked": masked()}
    with TemporaryDirectory() as name:
        for what, tools, make in (
            ("compiled by Verilator", ("verilator", "g++"), compiled),
            ("Icarus", ("iverilog",), icarus),
            ("cocotb on Icarus", ("iverilog",), cocotb_on_icarus),
        ):
            folder = Path(name, what.replace(" ", "-"))
            folder.mkdir()
            missing = [tool for tool in tools if not shutil.which(tool)]
            if missing:
                print(f"{what}: {', '.join(missing)} is missing; apt-get install {missing[0]}")
                continue
            rivals[what] = make(folder)
        lanes()
        speeds: list[float] = []
        for what, run in rivals.items():
            pairs = [(lanes(), run()) for _ in range(ROUNDS)]
            speeds += [ours for ours, _ in pairs]
            ratio = statistics.median(ours / theirs for ours, theirs in pairs)
            theirs = statistics.median(theirs for _, theirs in pairs)
            print(f"pad lanes : {what:26} {ratio:12,.0f}   ({theirs:,.0f} reads/s)")
    ours = statistics.median(speeds)
    print(f"pad lanes: {ours:,.0f} reads/s")
    bound(ours)


def bound(reads_a_second: float) -> None:
    """What bounds it: sixteen word operations for 64 reads, and their bytes."""
    one, other = (np.zeros(WORDS, np.uint64) for _ in range(2))
    out = np.empty(WORDS, np.uint64)

    def rate(times: int = 400) -> float:
        start = time.perf_counter()
        for _ in range(times):
            np.bitwise_xor(one, other, out=out)
        return WORDS * times / (time.perf_counter() - start)

    words = max(rate() for _ in range(ROUNDS))
    print(
        "a read takes 16/64 word operations (one xor, one or for each of 8 bits; latch and clock "
        "move no data) and 16 * 24 / 64 = 6 bytes to and from the cache"
    )
    print(
        f"a lone numpy xor on the same arrays: {words:.3g} words/s, so at most {words * 4:.3g} "
        f"reads/s; the lanes reach {reads_a_second / (words * 4):.0%} of that"
    )


def growth() -> None:
    """Linear in reads, and memory stays: 10^5 to 10^9 reads in blocks of the same size."""
    print("reads         seconds/10^9 reads    peak memory, MiB")
    words = 1 << 10
    for power in range(5, 10):
        times = max(1, 10**power // (64 * words))
        lanes = Lanes(words, times)
        speed = lanes()
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"{64 * words * times:13,d} {1e9 / speed:12.2f} {peak:22.0f}")


def one_by_one(routine: Routine, console: Console, count: int = 400) -> float:
    """Cases a second, each run by py65."""
    draw = np.random.default_rng(1)
    cases = [(int(a), int(b)) for a, b in draw.integers(0, (256, 432), (count, 2))]
    steps = Steps(routine)
    start = time.perf_counter()
    for held, phase in cases:
        run_case(routine, console, held, fetch=SampleFetch(432, phase), steps=steps)
    return count / (time.perf_counter() - start)


def swept(routine: Routine, console: Console) -> float:
    """Cases a second, all sixteen rates, survey included."""
    engine = FastEngine()
    start = time.perf_counter()
    cases = sum(
        engine.sweep(routine, console, period).cases for period in console.timing.fetch_periods
    )
    return cases / (time.perf_counter() - start)


def routine_speed() -> None:
    console = Console(console_timing("60hz"))
    for what in ("read-once", "read-twice", str(SOURCES / "read-twice-36.asm")):
        routine = load_routine(what)
        pairs = [(swept(routine, console), one_by_one(routine, console)) for _ in range(3)]
        ratio = statistics.median(ours / theirs for ours, theirs in pairs)
        took = 256 * sum(console.timing.fetch_periods) / statistics.median(a for a, _ in pairs)
        print(
            f"sweep : py65 case by case, {Path(what).name:20} {ratio:10,.0f}   "
            f"(all 16 rates in {took:.2f} s)"
        )


if __name__ == "__main__":
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    growth()
    pad_speed()
    routine_speed()
