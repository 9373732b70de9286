"""Mutants made by Yosys on the three references: how many does the bench kill?

    .venv/bin/python tests/bench/machine_mutants.py [--prove SECONDS] [COUNT] [DESIGN ...]

COUNT mutants of each design (default 120) go through all scenarios that apply, on Icarus, up to the
first that comes out wrong. Of what survives, Yosys is asked for a proof that it is equivalent. What
is not proved goes through the scenarios on Verilator as well, since in the netlist of a register
with set and clear a race in zero time can hide a fault from a simulator with another order of
events. What is neither killed nor proved is printed with its place: it needs a new scenario.
Takes about a second a mutant on two cores.

With --prove the proofs of `regress --prove` are tried on the same mutants instead, SECONDS for
each: what they prove has to be equivalent for Yosys too, or no scenario may kill it. One that is
equivalent and killed is so by a race in zero time, which no circuit has; `regress` fails it.
"""

import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "cosim"))

from designs import DESIGNS
from machine import killed_by, machine_mutants, proved_equivalent, sheet_of

from padbench.cosim.proof import proof_of


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


def prove(design: str, count: int, seconds: float) -> None:
    began, results = time.perf_counter(), Counter[str]()
    with tempfile.TemporaryDirectory() as name:
        for mutant in machine_mutants(design, count, Path(name)):
            proof = proof_of(sheet_of(mutant), Path(name), seconds)
            results[proof.result] += 1
            if proof.result == "refuted":
                continue
            says = proof.says
            if proof.result == "proved":
                killer, equal = killed_by(mutant), proved_equivalent(mutant)
                says = f"{equal or 'not equivalent for Yosys'}, killed by {killer or 'none'}"
                says += ": FALSE" if killer and not equal else ""
            print(f"  {proof.result}, {says}: {mutant.command}", flush=True)
    print(f"{design}: {dict(results)} ({time.perf_counter() - began:.0f} s)", flush=True)


if __name__ == "__main__":
    arguments, limit = sys.argv[1:], 0.0
    if arguments[:1] == ["--prove"]:
        limit = float(arguments[1])
        del arguments[:2]
    many = int(arguments.pop(0)) if arguments and arguments[0].isdigit() else 120
    for one in arguments or DESIGNS:
        if limit:
            prove(one, many, limit)
        else:
            run(one, many)
