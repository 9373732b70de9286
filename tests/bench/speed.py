"""How fast the bench is, as ratios measured in one run: ``.venv/bin/python tests/bench/speed.py``.

Each pair is timed in turn, A B A B ..., and the median of the pairwise ratios is reported, so that
a machine that is busy with something else slows both.
"""

import random
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from bare_myhdl import run_bare

from padbench.core.decode import decode
from padbench.core.stimulus import ScriptedRead, Stimulus
from padbench.core.timeline import Timeline, Wire
from padbench.model.simulation import simulate
from padbench.sheet import load_sheet
from padbench.trials.trial import setting_of, verify
from padbench.waveio import write_wave

SHEET = Path(__file__).parents[2] / "sim" / "sheets" / "harbour-b.toml"
READS = 2000
ROUNDS = 7


def seconds(job: Callable[[], object]) -> float:
    start = time.perf_counter()
    job()
    return time.perf_counter() - start


def paired(one: Callable[[], object], other: Callable[[], object], rounds: int) -> list[float]:
    """Pairwise ``other / one``: above 1 means that ``one`` is the faster."""
    one(), other()
    return [seconds(other) / seconds(one) for _ in range(rounds)]


def show(what: str, ratios: list[float], goal: str) -> None:
    spread = f"{min(ratios):.2f} to {max(ratios):.2f}"
    print(f"{what:62} {statistics.median(ratios):5.2f}   ({spread}; goal {goal})")


def simulation() -> None:
    sheet = load_sheet(SHEET)
    random.seed(1)
    held = [random.randrange(256) for _ in range(READS)]
    for corner in ("fast", "slow"):
        setting = setting_of(sheet, "push-pull", corner)
        timing, period = setting.timing, setting.period
        stimulus = Stimulus(
            tuple((n * period, byte) for n, byte in enumerate(held)),
            tuple(ScriptedRead((n + 1) * period - timing.length, timing) for n in range(READS)),
            READS * period,
        )

        def recorded(setting=setting, stimulus=stimulus):
            return simulate(setting.pad, stimulus)

        assert [read.byte for read in decode(recorded())] == held
        ratios = paired(recorded, lambda t=timing, p=period: run_bare(held, t, p), ROUNDS)
        show(f"reads/s, recorded simulation / bare MyHDL, {corner} corner", ratios, ">= 0.8")


def start_up() -> None:
    def run(*arguments: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, *arguments], check=True, capture_output=True)

    ratios = paired(run("-c", "pass"), run("-m", "padbench", "--help"), 15)
    show("time of padbench --help / python -c pass", ratios, "<= 2.5")


def whole_job() -> None:
    sheet = load_sheet(SHEET)
    times = [seconds(lambda: verify(sheet)) for _ in range(5)]
    runs = "19 scenarios, 2 corners, 2 ports"
    print(f"verify of the example sheet ({runs}), seconds: {statistics.median(times):.2f}")


def wave_writing() -> None:
    when, level = np.arange(25_000) * 40, np.arange(25_000) % 2
    wires = {f"cable.{i}": Wire.from_arrays(when + i, level) for i in range(4)}
    with TemporaryDirectory() as folder:
        path = Path(folder, "waves.vcd")
        times = [seconds(lambda: write_wave(Timeline(10**6, wires), path)) for _ in range(5)]
    print(f"writing a VCD of 100 000 changes, seconds: {statistics.median(times):.2f}")


if __name__ == "__main__":
    simulation()
    start_up()
    whole_job()
    wave_writing()
