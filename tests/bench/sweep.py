"""How fast sweeps of a routine are, as ratios measured in one run.

    .venv/bin/python tests/bench/sweep.py [growth|routines]

One core, processor time; the sweep is set against py65 case by case.
"""

import os
import resource
import statistics
import sys
import time
from itertools import count as numbers
from pathlib import Path

import numpy as np

from padbench.parts import console_timing
from padbench.routines.console import Console, SampleFetch
from padbench.routines.fast import Part, count, survey
from padbench.routines.routine import Routine
from padbench.routines.run import InstructionCache, run_case
from padbench.routines.source import load_routine

ROUNDS = 3
SOURCES = Path(__file__).parents[1] / "routines" / "sources"


def growth() -> None:
    """Linear in cases, and memory stays: 10^5 to 10^9."""
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
    asked = sys.argv[1:] or ["growth", "routines"]
    for name, part in (("growth", growth), ("routines", routine_speed)):
        if name in asked:
            part()
