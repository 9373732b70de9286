"""Mutants of the references made by Yosys, and whether the bench kills them.

Of each reference Yosys' `mutate` changes one place in the netlist: a constant or an inverter where
a wire was, two wires swapped. A mutant is killed by the first scenario that comes out wrong; the
simulation is ended there, so most cost little more than the start of a simulator.
"""

import re
import subprocess
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from designs import HDL, sheet_text

from padbench.cosim.job import HdlError
from padbench.cosim.regress import regress
from padbench.sheet import Sheet, sheet_from_text
from padbench.trials.scenario_run import ScenarioRun

LIMIT = 60.0
SEED = 4021
PASSES = {"port_reader": 2}
"""With one pass only, what compares two passes would be there for nothing."""
QUICK = {"LATCH_CYCLES": 6, "LATCH_TO_CLOCK": 5, "CLOCK_LOW": 4, "CLOCK_HIGH": 8}
QUICK_POLL = """
latch-width = "500 ns"
latch-to-clock = "417 ns"
clock-low = "333 ns"
clock-high = "667 ns"
sample = "333 ns"
"""
VARIANTS: dict[str, tuple[dict[str, int], ...]] = {
    "port_reader": ({"PASSES": 2, **QUICK}, {"PASSES": 2}),
}
"""Parameters that a mutant is tried with: a wrong counter may be right by luck with one set.

The first set is also the one that equivalence is proved for.
"""

STEPS = 8
PROOF = """
read_verilog {mutant}_gold.v
rename {design} gold
read_verilog {mutant}.v
rename {design} gate
proc
opt_clean
{expose}
miter -equiv -flatten gold gate miter
clk2fflogic miter
opt -full miter
sat -verify -tempinduct -maxsteps {steps} -timeout 8 {start} -prove trigger 0 {invariant} miter
"""
UNREACHED = {"port_reader": "state[2] & |state[1:0] | |left[15:3]"}
"""What never holds in a reference, proved along with the rest: five states; a counter up to 7."""
_REGISTER = re.compile(r"^  reg (?:\[\d+:\d+\] )?(\w+);", re.MULTILINE)


@dataclass(frozen=True)
class Machine:
    """One mutant: a source for each of `VARIANTS`, and the command of Yosys that made it."""

    design: str
    sources: tuple[Path, ...]
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
    mutants: dict[int, Machine] = {}
    commands: list[str] = []
    for variant, values in enumerate(VARIANTS.get(design, ({},))):
        text = (HDL / "verilog" / f"{design}.v").read_text()
        for name, value in values.items():
            # In the text: `chparam` would give the cells other numbers with each set.
            text = re.sub(rf"(parameter {name} *=) \d+", rf"\1 {value}", text)
        (folder / f"{design}.v").write_text(text)
        read = f"read_verilog {design}.v\nproc\nopt_clean\n"
        if not variant:
            made = f"mutate -list {count} -seed {SEED} -o {design}.txt\n"
            made += "write_verilog -noattr original.v\n"
            assert yosys(folder, read + made, f"{design}.ys")
            commands = (folder / f"{design}.txt").read_text().splitlines()
        script = read + "design -save original\n"
        for number in range(len(commands)) if chosen is None else chosen:
            source = folder / f"{design}_{number}_{variant}.v"
            script += f"design -load original\n{commands[number]}\n"
            script += f"write_verilog -noattr {source.name}\n"
            mutant = mutants.setdefault(number, Machine(design, (), commands[number]))
            mutants[number] = replace(mutant, sources=(*mutant.sources, source))
        assert yosys(folder, script, f"{design}_mutants.ys")
    return list(mutants.values())


class _Killed(Exception):
    """A scenario came out wrong: the rest need not run."""


def _first_wrong(result: ScenarioRun) -> None:
    if result.verdict == "fail" or any(found.verdict == "fail" for found in result.findings):
        raise _Killed(result.name)


def killed_by(mutant: Machine, simulator: str = "icarus") -> str:
    """The scenario, or what else, that kills a mutant; empty if it survives."""
    killers = (_killed(mutant, variant, simulator) for variant in range(len(mutant.sources)))
    return next(filter(None, killers), "")


def sheet_of(mutant: Machine, variant: int = 0, simulator: str = "icarus") -> Sheet:
    source, passes = mutant.sources[variant], PASSES.get(mutant.design, 1)
    text = sheet_text(mutant.design, simulator, source=source, passes=passes)
    if "LATCH_CYCLES" in VARIANTS.get(mutant.design, ({},))[variant]:
        text = text.replace("[poll]", f"[poll]{QUICK_POLL}")
    sheet = sheet_from_text(text, "sheet")
    assert sheet.hdl is not None
    # Yosys fixed the parameters when it wrote the file.
    hdl = sheet.hdl.model_copy(update={"parameters": {}})
    return sheet.model_copy(update={"hdl": hdl})


def _killed(mutant: Machine, variant: int, simulator: str) -> str:
    sheet = sheet_of(mutant, variant, simulator)
    try:
        result = regress(sheet, mutant.sources[variant].parent, limit=LIMIT, keep=_first_wrong)
    except _Killed as killed:
        return str(killed)
    except HdlError as error:
        return error.says
    failed = [found.id for found in result.findings if found.verdict == "fail"]
    return failed[0] if failed else ""


def proved_equivalent(mutant: Machine) -> str:
    """How Yosys proved that a mutant is the reference by its outputs; empty if it did not.

    Each proof holds for any number of cycles, from any state in which both are alike, or else from
    zero: by induction over the outputs and all registers, over all but one of them (which may then
    differ where nobody looks), or over the outputs alone.
    """
    folder, stem = mutant.sources[0].parent, mutant.sources[0].stem
    registers = _REGISTER.findall((folder / "original.v").read_text())
    text = (folder / "original.v").read_text()
    if mutant.design in UNREACHED:
        watch = f"(* keep *) wire unreached = {UNREACHED[mutant.design]};"
        text = text.replace("endmodule", f"{watch}\nendmodule")
    (folder / f"{stem}_gold.v").write_text(text)
    ways = {"all registers alike": _exposed(registers)}
    ways |= {f"all registers but {n} alike": _exposed({*registers} - {n}) for n in registers}
    ways["outputs alike"] = ""
    fixed = {"design": mutant.design, "mutant": stem, "steps": STEPS}
    starts = {"": ("", ""), ", from zero": ("-set-init-zero", "")}
    if mutant.design in UNREACHED:
        starts[", from zero"] = ("-set-init-zero", "-prove gold.unreached 0")
    for way, expose in ways.items():
        for said, (start, invariant) in starts.items():
            proof = PROOF.format(**fixed, expose=expose, start=start, invariant=invariant)
            if yosys(folder, proof, f"{stem}.ys", 15):
                return way + said
    return ""


def _exposed(registers: Iterable[str]) -> str:
    """As outputs, so that they are compared like the others."""
    return "expose " + " ".join(f"gold/w:{name} gate/w:{name}" for name in sorted(registers))
