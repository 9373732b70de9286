"""How long the corner arithmetic takes: one sheet on both ports, and ten thousand in one call.

    .venv/bin/python tests/bench/corners.py

Prints times and their ratio, all from one run; the aim is 50 ms for all corners of one sheet. The
designs that are judged in one call are judged one by one as well, every one, and have to agree.
"""

from dataclasses import fields
from pathlib import Path
from time import perf_counter

import numpy as np

from padbench.circuit.design import Design, changed, design_of, stacked
from padbench.circuit.electric import judge_electric
from padbench.circuit.worst_case import worst_case
from padbench.sheet import load_sheet

SHEET = Path(__file__).parents[2] / "sim" / "sheets" / "harbour-b.toml"
MANY = 10_000


def one_of(designs, row):
    return Design(**{f.name: getattr(designs, f.name)[row : row + 1] for f in fields(Design)})


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
    one = best(lambda: worst_case(both))
    rng = np.random.default_rng(1)

    def spread(low, high):
        return np.exp(rng.uniform(np.log(low), np.log(high), MANY))

    supply = rng.uniform(4, 6, MANY)
    kinds = stacked([design_of(sheet, sheet.part, sheet.port(p)) for p in sheet.known_ports])
    picked = rng.integers(0, len(kinds), MANY)
    many = changed(
        Design(**{f.name: getattr(kinds, f.name)[picked] for f in fields(Design)}),
        supply_low=supply,
        supply_high=supply * rng.uniform(1, 1.2, MANY),
        hottest_used=rng.uniform(25, 120, MANY),
        pull_up=spread(1e3, 1e6),
        worn=spread(1e2, 1e5),
        dirt=spread(1e5, 1e9),
        latch_r=spread(3e2, 1e5),
        clock_r=spread(3e2, 1e5),
        cable_length=spread(0.1, 1e3),
        clock_high=spread(1e-7, 1e-4),
    )
    all_judged = worst_case(many)
    all_ = best(lambda: worst_case(many), 1)
    print(f"all corners of one sheet on two ports: {one * 1e3:.1f} ms ({one / 0.05:.2f} of 50 ms)")
    print(f"{MANY} sheets in one call: {all_:.2f} s, {one / 2 * MANY / all_:.0f} times one by one")
    start = perf_counter()
    for row in range(MANY):
        alone = worst_case(one_of(many, row))
        for single, together in zip(alone, all_judged, strict=True):
            assert single.id == together.id
            assert single.corner[0] == together.corner[row], (row, single.id)
            for name in ("margin", "measured", "limit"):
                left, right = getattr(single, name)[0], getattr(together, name)[row]
                assert left == right or abs(left - right) <= 1e-12 * abs(right), (row, single.id)
    print(f"all {MANY} agree with the one-by-one answer, which took {perf_counter() - start:.0f} s")
    print(f"findings with the longest cable: {best(lambda: judge_electric(sheet)) * 1e3:.0f} ms")


if __name__ == "__main__":
    main()
