"""Mutants made by Yosys on the three references: how many does the bench kill?

    .venv/bin/python tests/bench/machine_mutants.py [COUNT] [DESIGN ...]

COUNT mutants of each design (default 100) go through all scenarios that apply, on Icarus; what
survives goes through them on Verilator as well, since in the netlist of a register with set and
clear a race in zero time can hide a fault from a simulator with another order of events. Of what
survives both, Yosys is asked for a proof that it is equivalent (induction over the outputs, with
and without the flip-flops); what is neither killed nor proved is printed with its place.
Takes about two seconds a mutant on two cores.
"""

import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "cosim"))

from designs import DESIGNS, HDL, sheet_for

from padbench.cosim.regress import regress
from padbench.cosim.result import HdlError

LIMIT = 60.0
SEED = 4021
PROOF = """
read_verilog original.v
rename {design} gold
read_verilog {mutant}.v
rename {design} gate
proc
opt_clean
{expose}
miter -equiv -flatten gold gate miter
clk2fflogic miter
opt -full miter
sat -verify -tempinduct -maxsteps {steps} -timeout 20 -set-init-zero -prove trigger 0 miter
"""
STEPS = 10
PASSES = {"port_reader": 2}
PARAMETERS = {"port_reader": "chparam -set PASSES 2 port_reader"}
"""With one pass only, what compares two passes would be there for nothing."""


def yosys(folder: Path, script: str, name: str) -> bool:
    (folder / name).write_text(script)
    run = ["yosys", "-q", name]
    try:
        said = subprocess.run(run, cwd=folder, capture_output=True, check=False, timeout=60)
    except subprocess.TimeoutExpired:
        return False  # not proved
    return said.returncode == 0


def mutants(design: str, count: int, folder: Path) -> list[str]:
    """Writes the design and its mutants as Verilog; returns the mutation commands."""
    read = f"read_verilog {HDL / 'verilog' / f'{design}.v'}\n{PARAMETERS.get(design, '')}\n"
    read += "proc\nopt_clean\n"
    made = f"mutate -list {count} -seed {SEED} -o list.txt\nwrite_verilog -noattr original.v\n"
    assert yosys(folder, read + made, "list.ys")
    commands = (folder / "list.txt").read_text().splitlines()
    script = read + "design -save original\n"
    for number, command in enumerate(commands):
        script += f"design -load original\n{command}\nwrite_verilog -noattr m{number}.v\n"
    assert yosys(folder, script, "make.ys")
    return commands


def killed(design: str, source: Path, simulator: str = "icarus") -> bool:
    sheet = sheet_for(design, simulator, source=source, passes=PASSES.get(design, 1))
    assert sheet.hdl is not None
    # Yosys fixed the parameters when it wrote the file.
    hdl = sheet.hdl.model_copy(update={"parameters": {}})
    sheet = sheet.model_copy(update={"hdl": hdl})
    try:
        return regress(sheet, source.parent, source.parent, limit=LIMIT).verdict == "fail"
    except HdlError:
        return True


def equivalent(design: str, folder: Path, mutant: str) -> bool:
    ways = ("expose -dff -shared gold gate", "")
    proofs = [PROOF.format(design=design, mutant=mutant, steps=STEPS, expose=way) for way in ways]
    return any(yosys(folder, proof, f"{mutant}.ys") for proof in proofs)


def run(design: str, count: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        commands = mutants(design, count, folder)
        sources = [folder / f"m{number}.v" for number in range(len(commands))]
        with ThreadPoolExecutor(2) as pool:
            dead = list(pool.map(lambda source: killed(design, source), sources))
        for number, one in enumerate(dead):
            dead[number] = one or killed(design, sources[number], "verilator")
        alive = [number for number, one in enumerate(dead) if not one]
        same = [number for number in alive if equivalent(design, folder, f"m{number}")]
        print(
            f"{design}: {sum(dead)} of {len(dead)} killed, {len(same)} of {len(alive)} survivors "
            "proved equivalent",
            flush=True,
        )
        for number in alive:
            if number not in same:
                print(f"  open: {commands[number]}", flush=True)


if __name__ == "__main__":
    arguments = sys.argv[1:]
    many = int(arguments.pop(0)) if arguments and arguments[0].isdigit() else 100
    for one in arguments or DESIGNS:
        run(one, many)
