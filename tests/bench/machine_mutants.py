"""Mutants made by Yosys on the three references: how many does the bench kill?

    .venv/bin/python tests/bench/machine_mutants.py [COUNT] [DESIGN ...]

COUNT mutants of each design (default 120) go through all scenarios that apply, on Icarus, up to the
first that comes out wrong. Of what survives, Yosys is asked for a proof that it is equivalent. What
is not proved goes through the scenarios on Verilator as well, since in the netlist of a register
with set and clear a race in zero time can hide a fault from a simulator with another order of
events. What is neither killed nor proved is printed with its place: it needs a new scenario.
Takes about a second a mutant on two cores.
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
        alive = [place for place, killer in enumerate(killers) if not killer]
        proofs = dict(
            zip(alive, pool.map(proved_equivalent, [mutants[n] for n in alive]), strict=True)
        )
        for place in alive:
            if not proofs[place] and (killer := killed_by(mutants[place], "verilator")):
                killers[place] = f"{killer} (Verilator)"
        alive = [place for place in alive if not killers[place]]
    print(
        f"{design}: {len(mutants) - len(alive)} of {len(mutants)} killed, "
        f"{sum(bool(proofs[n]) for n in alive)} of {len(alive)} survivors proved equivalent "
        f"({time.perf_counter() - began:.0f} s)"
    )
    for killer, many in Counter(filter(None, killers)).most_common():
        print(f"  {many:4} by {killer}")
    for place in alive:
        proof = proofs[place]
        print(f"  {f'equivalent, {proof}' if proof else 'OPEN'}: {mutants[place].command}")
    sys.stdout.flush()


if __name__ == "__main__":
    arguments = sys.argv[1:]
    many = int(arguments.pop(0)) if arguments and arguments[0].isdigit() else 120
    for one in arguments or DESIGNS:
        run(one, many)
