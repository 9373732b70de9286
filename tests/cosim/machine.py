"""Mutants of the references made by Yosys, and whether the bench kills them.

Of each reference Yosys' `mutate` changes one place in the netlist: a constant or an inverter where
a wire was, two wires swapped. A mutant is killed by the first scenario that comes out wrong; the
simulation is ended there, so most cost little more than the start of a simulator.
"""

import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from designs import HDL, sheet_for

from padbench.cosim.regress import regress
from padbench.cosim.result import HdlError
from padbench.verify import ScenarioResult

LIMIT = 60.0
SEED = 4021
PASSES = {"port_reader": 2}
PARAMETERS = {"port_reader": "chparam -set PASSES 2 port_reader"}
"""With one pass only, what compares two passes would be there for nothing."""

STEPS = 40
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
sat -verify -tempinduct -maxsteps {steps} -timeout 60 {start} -prove trigger 0 miter
"""


@dataclass(frozen=True)
class Machine:
    """One mutant: its source, and the command of Yosys that made it."""

    design: str
    source: Path
    command: str


def yosys(folder: Path, script: str, name: str, seconds: float = 120) -> bool:
    """Run a script; False if Yosys found it wrong or did not end in time."""
    (folder / name).write_text(script)
    try:
        said = subprocess.run(
            ["yosys", "-q", name], cwd=folder, capture_output=True, check=False, timeout=seconds
        )
    except subprocess.TimeoutExpired:
        return False
    return said.returncode == 0


def machine_mutants(
    design: str, count: int, folder: Path, chosen: Sequence[int] | None = None
) -> list[Machine]:
    """``count`` mutants of a reference, or those of them with these numbers, as Verilog files."""
    read = f"read_verilog {HDL / 'verilog' / f'{design}.v'}\n{PARAMETERS.get(design, '')}\n"
    read += "proc\nopt_clean\n"
    made = f"mutate -list {count} -seed {SEED} -o {design}.txt\n"
    made += "write_verilog -noattr original.v\n"
    assert yosys(folder, read + made, f"{design}.ys")
    commands = (folder / f"{design}.txt").read_text().splitlines()
    script = read + "design -save original\n"
    mutants = []
    for number in range(len(commands)) if chosen is None else chosen:
        command, source = commands[number], folder / f"{design}_{number}.v"
        script += f"design -load original\n{command}\nwrite_verilog -noattr {source.name}\n"
        mutants.append(Machine(design, source, command))
    assert yosys(folder, script, f"{design}_mutants.ys")
    return mutants


class _Killed(Exception):
    """A scenario came out wrong: the rest need not run."""


def _first_wrong(result: ScenarioResult) -> None:
    if result.verdict == "fail" or any(found.verdict == "fail" for found in result.findings):
        raise _Killed(result.name)


def killed_by(mutant: Machine, simulator: str = "icarus") -> str:
    """The scenario, or what else, that kills a mutant; empty if it survives."""
    sheet = sheet_for(
        mutant.design, simulator, source=mutant.source, passes=PASSES.get(mutant.design, 1)
    )
    assert sheet.hdl is not None
    # Yosys fixed the parameters when it wrote the file.
    hdl = sheet.hdl.model_copy(update={"parameters": {}})
    sheet = sheet.model_copy(update={"hdl": hdl})
    folder = mutant.source.parent
    try:
        result = regress(sheet, folder, folder, limit=LIMIT, keep=_first_wrong)
    except _Killed as killed:
        return str(killed)
    except HdlError as error:
        return error.says
    failed = [found.id for found in result.findings if found.verdict == "fail"]
    return failed[0] if failed else ""


def proved_equivalent(mutant: Machine) -> str:
    """How Yosys proved that a mutant is the reference by its outputs; empty if it did not.

    The proof holds for any number of cycles: by induction over the outputs, and the flip-flops
    too where both have the same, from whatever start or, failing that, from zero.
    """
    folder = mutant.source.parent
    for start in ("", "-set-init-zero"):
        for expose in ("expose -dff -shared gold gate", ""):
            proof = PROOF.format(
                design=mutant.design,
                mutant=mutant.source.stem,
                steps=STEPS,
                expose=expose,
                start=start,
            )
            if yosys(folder, proof, f"{mutant.source.stem}.ys"):
                return f"{'all flip-flops' if expose else 'outputs'} {start}".strip()
    return ""
