"""How fast sweeps are, as ratios measured in one run: ``.venv/bin/python tests/bench/sweep.py``.

One core, processor time. Pad lanes count every case of `padbench sweep --sheet` for a good pad and
for one with two buttons swapped: changes of the contacts, stopped reads, both ties, with all counts
and examples. The rivals of ``pad_rivals.py`` make reads drawn from the same cases, one by one, and
check every bit as well: the register compiled by Verilator (-O3, no timing wheel, straight from
C++), Icarus alone, cocotb on Icarus, MyHDL. The routine sweep is set against py65 case by case.

Needs verilator, g++, iverilog and cocotb; what is missing is said and left out.
"""

import os
import resource
import shutil
import statistics
import sys
import time
from itertools import count as numbers
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from pad_rivals import LIMITS, Contender, cocotb_on_icarus, compiled, icarus, myhdl

from padbench.core.pad import PadModel
from padbench.padsweep.counting import PAIRS, count_parts, pad_parts
from padbench.padsweep.tally import PadTally
from padbench.parts import console_timing
from padbench.routines.console import Console, SampleFetch
from padbench.routines.fast import Part, count, survey
from padbench.routines.routine import Routine
from padbench.routines.run import InstructionCache, run_case
from padbench.routines.source import load_routine

ROUNDS = 3
WORDS = PAIRS // 64
SOURCES = Path(__file__).parents[1] / "routines" / "sources"
SWAPPED = ((128, 8), (64, 7), (32, 6), (16, 5), (8, 3), (4, 4), (2, 2), (1, 1))


def sweep_of(pad: PadModel, times: int = 1) -> tuple[PadTally, float]:
    """Every case there is, so many times over, and cases a second."""
    start = time.process_time()
    whole = PadTally()
    for _ in range(times):
        for parts in pad_parts(8):
            whole.add(count_parts(pad, parts))
    return whole, whole.cases / (time.process_time() - start)


def lanes(pad: PadModel, *, right: bool) -> Contender:
    def run() -> float:
        whole, speed = sweep_of(pad, 3)
        assert (whole.wrong == 0) == right
        return speed

    return run


def pad_speed() -> None:
    ours = lanes(PadModel(LIMITS), right=True)
    rivals: dict[str, Contender] = {
        "MyHDL": myhdl(),
        "lanes on a faulty pad": lanes(PadModel(LIMITS, stage_of=SWAPPED), right=False),
    }
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
        ours()
        speeds: list[float] = []
        for what, run in rivals.items():
            pairs = [(ours(), run()) for _ in range(ROUNDS)]
            speeds += [mine for mine, _ in pairs]
            ratio = statistics.median(mine / theirs for mine, theirs in pairs)
            theirs = statistics.median(theirs for _, theirs in pairs)
            print(f"pad lanes : {what:24} {ratio:12,.0f}   ({theirs:,.0f} reads/s)", flush=True)
    bound(statistics.median(speeds))


def bound(reads_a_second: float) -> None:
    """What bounds it: the comparisons, sixteen word operations for 64 reads, and their bytes."""

    def operations(words: int, times: int) -> float:
        one, other, out = (np.zeros(words, np.uint64) for _ in range(3))
        start = time.process_time()
        for _ in range(times):
            np.bitwise_xor(one, other, out=out)
        return words * times / (time.process_time() - start)

    quickest = max(operations(1 << 14, 2_000) for _ in range(5))
    in_blocks = max(operations(WORDS, 20_000) for _ in range(5))
    print(
        f"pad lanes: {reads_a_second:,.0f} reads/s. A read takes 16/64 word operations (an xor and "
        "an or for each bit; latch, clock and shift move no data) and 16 * 24 / 64 = 6 bytes."
    )
    for what, speed in (("in long arrays", quickest), (f"in blocks of {WORDS} words", in_blocks)):
        print(
            f"  numpy's xor {what}: {speed:.3g} words/s, so at most {4 * speed:.3g} reads/s; "
            f"{reads_a_second / (4 * speed):.0%} of that"
        )
    print("  The rest is Python between the operations, and counting what must come out.")


def growth() -> None:
    """Linear in cases, and memory stays: 10^5 to 10^9, of pads and of a routine."""
    print("reads of a pad      seconds/10^9   peak memory, MiB")
    pad, parts = PadModel(LIMITS), pad_parts(8)
    for power in range(5, 10):
        start, cases = time.process_time(), 0
        for number in numbers():
            if cases >= 10**power:
                break
            block = parts[number % len(parts)]
            cases += count_parts(pad, block[: (10**power - cases) // PAIRS + 1]).cases
        told(cases, start)
    print("cases of a routine  seconds/10^9   peak memory, MiB")
    known = survey(load_routine("read-once"), Console(console_timing("60hz")))
    for power in range(5, 10):
        start, cases = time.process_time(), 0
        for number in numbers():
            if cases >= 10**power:
                break
            # Other periods all the time: 432 to 3424 cycles, as the rates have.
            cases += count(known, Part(432 + 571 * number % 2993)).cases
        told(cases, start)


def told(cases: int, start: float) -> None:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    took = time.process_time() - start
    print(f"{cases:18,d} {took * 1e9 / cases:13.2f} {peak:18.0f}", flush=True)


def one_by_one(routine: Routine, console: Console, count: int = 400) -> float:
    """Cases a second, each run by py65."""
    draw = np.random.default_rng(1)
    cases = [(int(a), int(b)) for a, b in draw.integers(0, (256, 432), (count, 2))]
    cache = InstructionCache(routine)
    start = time.process_time()
    for held, phase in cases:
        run_case(routine, console, held, fetch=SampleFetch(432, phase), cache=cache)
    return count / (time.process_time() - start)


def swept(routine: Routine, console: Console) -> float:
    """Cases a second, all sixteen rates, survey included."""
    start = time.process_time()
    known = survey(routine, console)
    cases = sum(count(known, Part(period)).cases for period in console.timing.fetch_periods)
    return cases / (time.process_time() - start)


def routine_speed() -> None:
    console = Console(console_timing("60hz"))
    for what in ("read-once", "read-twice", str(SOURCES / "read-twice-36.asm")):
        routine = load_routine(what)
        pairs = [(swept(routine, console), one_by_one(routine, console)) for _ in range(ROUNDS)]
        ratio = statistics.median(ours / theirs for ours, theirs in pairs)
        took = 256 * sum(console.timing.fetch_periods) / statistics.median(a for a, _ in pairs)
        print(
            f"sweep : py65 case by case, {Path(what).name:20} {ratio:10,.0f}   "
            f"(all 16 rates in {took:.2f} s)"
        )


if __name__ == "__main__":
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    asked = sys.argv[1:] or ["growth", "pads", "routines"]
    for name, part in (("growth", growth), ("pads", pad_speed), ("routines", routine_speed)):
        if name in asked:
            part()
