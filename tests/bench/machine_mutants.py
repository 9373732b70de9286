"""Mutants made by Yosys on the three references: how many does the bench kill?

    .venv/bin/python tests/bench/machine_mutants.py [COUNT] [DESIGN ...]

COUNT mutants of each design (default 100) go through all scenarios that apply, on Icarus, up to the
first that comes out wrong; what survives goes through them on Verilator as well, since in the
netlist of a register with set and clear a race in zero time can hide a fault from a simulator with
another order of events. Of what survives both, Yosys is asked for a proof that it is equivalent;
what is neither killed nor proved is printed with its place. Takes a second a mutant on two cores.
"""

import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "cosim"))

from designs import DESIGNS
from machine import killed_by, machine_mutants, proved_equivalent


def run(design: str, count: int) -> None:
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as name, ThreadPoolExecutor(2) as pool:
        mutants = machine_mutants(design, count, Path(name))
        killers = list(pool.map(killed_by, mutants))
        for number, killer in enumerate(killers):
            if not killer and (other := killed_by(mutants[number], "verilator")):
                killers[number] = f"{other} (Verilator)"
        alive = [one for one, killer in zip(mutants, killers, strict=True) if not killer]
        proofs = list(pool.map(proved_equivalent, alive))
    print(
        f"{design}: {len(mutants) - len(alive)} of {len(mutants)} killed, "
        f"{sum(map(bool, proofs))} of {len(alive)} survivors proved equivalent "
        f"({time.perf_counter() - began:.0f} s)"
    )
    for killer, many in Counter(filter(None, killers)).most_common():
        print(f"  {many:4} by {killer}")
    for one, proof in zip(alive, proofs, strict=True):
        print(f"  {f'equivalent, {proof}' if proof else 'OPEN'}: {one.command}")
    sys.stdout.flush()


if __name__ == "__main__":
    arguments = sys.argv[1:]
    many = int(arguments.pop(0)) if arguments and arguments[0].isdigit() else 100
    for one in arguments or DESIGNS:
        run(one, many)
