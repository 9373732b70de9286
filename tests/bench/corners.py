"""How long the corner arithmetic takes: one sheet on both ports, and ten thousand in one call.

    .venv/bin/python tests/bench/corners.py

Prints times and their ratio, all from one run; the aim is 50 ms for all corners of one sheet.
"""

from pathlib import Path
from time import perf_counter

import numpy as np

from padbench.electric.design import changed, design_of, stacked
from padbench.electric.findings import judge_electric
from padbench.electric.judge import judge
from padbench.sheet import load_sheet

SHEET = Path(__file__).parents[2] / "sim" / "sheets" / "harbour-b.toml"
MANY = 10_000


def best(work, times=5):
    taken = []
    for _ in range(times):
        start = perf_counter()
        work()
        taken.append(perf_counter() - start)
    return min(taken)


def main() -> None:
    sheet = load_sheet(SHEET)
    both = stacked([design_of(sheet, sheet.part, sheet.port(p)) for p in sheet.works_with.ports])
    one = best(lambda: judge(both))
    rng = np.random.default_rng(1)
    many = changed(
        design_of(sheet, sheet.part, sheet.port("pull-down-only")),
        pull_up=np.exp(rng.uniform(np.log(1e3), np.log(1e6), MANY)),
        clock_r=np.exp(rng.uniform(np.log(3e2), np.log(1e5), MANY)),
    )
    all_ = best(lambda: judge(many), 1)
    print(f"all corners of one sheet on two ports: {one * 1e3:.1f} ms ({one / 0.05:.2f} of 50 ms)")
    print(f"{MANY} sheets in one call: {all_:.2f} s, {one / 2 * MANY / all_:.0f} times one by one")
    print(f"findings with the longest cable: {best(lambda: judge_electric(sheet)) * 1e3:.0f} ms")


if __name__ == "__main__":
    main()
