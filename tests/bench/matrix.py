"""Wall time of a matrix of cores and simulators against the least that it could take.

    .venv/bin/python tests/bench/matrix.py [WORKERS]

The designs of `hdl/` on all three simulators, and some faulty ones on Icarus, nothing from the
cache. Wanted is at most 1.2 times the larger of the longest job and the total of processor time by
the smaller of workers and cores. All is slower while other programs run, so what the jobs took on
their workers is set beside it as well. About two minutes on two cores of its own.
"""

import os
import resource
import sys
import tempfile
import time
from contextlib import nullcontext
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "cosim"))

from designs import DESIGNS, PAD_MUTANTS, sheet_text

from padbench.jobs.matrix import regress_all

WANTED = 1.2


def used() -> float:
    """Processor time of this process and of all that it has waited for."""
    both = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(one.ru_utime + one.ru_stime for one in both)


def main(workers: int) -> int:
    with tempfile.TemporaryDirectory() as name:
        folder, cases = Path(name), []
        for design in DESIGNS:
            for simulator in ("icarus", "ghdl", "verilator"):
                sheet = folder / f"{design}-{simulator}.toml"
                sheet.write_text(sheet_text(design, simulator))
                cases.append((sheet, simulator))
        for mutant in PAD_MUTANTS[:: len(PAD_MUTANTS) // 6]:
            sheet = folder / f"{mutant.name}.toml"
            sheet.write_text(sheet_text(mutant.design, source=mutant.write(folder)))
            cases.append((sheet, "icarus"))
        before, began = used(), time.monotonic()
        whole, results, refused = regress_all(
            cases, {}, workers=workers, kept=False, waves=lambda *_: nullcontext()
        )
        wall, processor = time.monotonic() - began, used() - before
    assert not refused, refused
    jobs = [result.seconds for result in results]
    cores = min(workers, os.cpu_count() or 1)
    bound, on_workers = max(*jobs, processor / cores), max(*jobs, sum(jobs) / workers)
    print(f"{whole.lead} {len(cases)} jobs, {workers} workers")
    print(f"wall {wall:.1f} s, longest job {max(jobs):.1f} s, processor time {processor:.1f} s")
    print(f"ratio to the least by processor time {wall / bound:.2f} (wanted: at most {WANTED})")
    print(f"ratio to what the jobs took          {wall / on_workers:.2f}")
    return wall > WANTED * bound


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 2))
