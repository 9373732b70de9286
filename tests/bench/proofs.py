"""Which correct designs fail, and which faulty ones pass: plain, by proof and at true time.

    .venv/bin/python tests/bench/proofs.py [--minutes N] [--seconds S] [--out FILE] [NAME ...]

All designs of `hdl/`, their faulty variants, and all styles of `tests/cosim`, each on one
simulator. Every one is run plain; what passes is proved for S seconds (default 120), and what is
not refuted is run at true time, if it has a clock of its own. No correct one may fail, no faulty
one pass. FILE (default: `waves/out/proofs.jsonl`) gets a line for each step, and what stands there
is not done again, so that it can be done in slices: after N minutes it begins nothing new.
"""

import argparse
import json
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "cosim"))

from designs import DESIGNS, PAD_MUTANTS, READER_MUTANTS, sheet_for
from more_styles import MORE_BAD, MORE_GOOD
from styles import BAD, BAD_READERS, GOOD, GOOD_READERS

from padbench.cosim.proof import proof_of
from padbench.cosim.regress import regress
from padbench.sheet import Sheet, sheet_from_text
from padbench.trials.scenario_run import ScenarioRun

STEPS = ("plain", "proof", "true time")
Case = tuple[str, bool, Callable[[Path], Sheet]]
"""Its name, whether it is correct, and its sheet, with the source in a folder."""


def cases() -> Iterator[Case]:
    for design in DESIGNS:
        for simulator in ("icarus", "ghdl"):
            name = f"{design} ({'VHDL' if simulator == 'ghdl' else 'Verilog'})"
            yield name, True, lambda _, d=design, s=simulator: sheet_for(d, s)  # type: ignore[misc]
    good = (*GOOD, *GOOD_READERS, *MORE_GOOD)
    for style in (*good, *BAD, *BAD_READERS, *MORE_BAD):
        yield (
            style.name,
            style in good,
            lambda folder, s=style: sheet_from_text(s.write(folder), "sheet"),  # type: ignore[misc]
        )
    for one in (*PAD_MUTANTS, *READER_MUTANTS):
        simulator = "ghdl" if one.language == "vhdl" else "icarus"
        yield (
            f"{one.name} (variant)",
            False,
            lambda folder, m=one, s=simulator: sheet_for(  # type: ignore[misc]
                m.design, s, source=m.write(folder), passes=m.passes
            ),
        )


class Fails(Exception):
    """A scenario came out wrong; the others need not be played."""


def step_of(step: str, sheet: Sheet, folder: Path, seconds: float) -> tuple[str, str]:
    """(pass, fail or open; what failed first, or why it is open)."""
    if step == "proof":
        proof = proof_of(sheet, folder, seconds)
        words = {"proved": "pass", "refuted": "fail", "undecided": "open"}
        return words[proof.result], proof.says
    assert sheet.hdl is not None
    if step == "true time" and sheet.hdl.system_clock is None:
        return "open", "no clock of its own: plain is at true time"

    def up_to_the_first(run: ScenarioRun) -> None:
        if run.verdict == "fail":
            wrong = [finding.id for finding in run.findings if finding.verdict == "fail"]
            raise Fails(", ".join([run.name, *wrong]))

    try:
        result = regress(
            sheet, folder, true_time=step == "true time", limit=900, keep=up_to_the_first
        )
    except Fails as first:
        return "fail", str(first)
    wrong = [finding.id for finding in result.findings if finding.verdict == "fail"]
    return result.verdict, ", ".join(wrong)


def left(steps: dict[str, str], good: bool) -> Iterator[str]:
    """What is still to be done of one: up to the first step that fails."""
    for step in STEPS:
        if step not in steps:
            yield step
            return
        if steps[step] == "fail":
            return


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--minutes", type=float, default=1e9)
    parser.add_argument("--seconds", type=float, default=120.0)
    parser.add_argument("--out", type=Path, default=Path("waves") / "out" / "proofs.jsonl")
    parser.add_argument("--steps", nargs="+", choices=STEPS, default=STEPS)
    parser.add_argument("names", nargs="*")
    options = parser.parse_args()
    ends = time.monotonic() + 60 * options.minutes
    options.out.parent.mkdir(parents=True, exist_ok=True)
    options.out.touch()
    lines = [json.loads(line) for line in options.out.read_text().splitlines()]
    done: dict[str, dict[str, str]] = {}
    for line in lines:
        done.setdefault(line["name"], {})[line["step"]] = line["result"]
    every = {name: (good, sheet) for name, good, sheet in cases()}
    wanted = options.names or [*every]
    for step in options.steps:
        for name in wanted:
            good, make = every[name]
            if [step] != [*left(done.get(name, {}), good)] or time.monotonic() > ends:
                continue
            began = time.monotonic()
            with tempfile.TemporaryDirectory() as folder:
                place = Path(folder)
                sheet = make(place)
                result, says = step_of(step, sheet, place, options.seconds)
            seconds = round(time.monotonic() - began, 1)
            row: dict[str, Any] = {"name": name, "step": step, "result": result}
            with options.out.open("a") as out:
                out.write(json.dumps({**row, "says": says, "seconds": seconds}) + "\n")
            done.setdefault(name, {})[step] = result
            kind = "correct" if good else "faulty"
            print(f"{name:26} {kind:8} {step:10} {result:5} {seconds:6.1f} s  {says}", flush=True)
    return told(every, done)


def told(every: dict[str, Any], done: dict[str, dict[str, str]]) -> int:
    """The figures; 1 if any is false."""
    counts: Counter[str] = Counter()
    for name, (good, _) in every.items():
        steps = done.get(name, {})
        fails = "fail" in steps.values()
        over = not [*left(steps, good)]
        word = "fails" if fails else "passes" if over else "not over"
        if over and fails == good:
            word += ": FALSE"
            print(f"FALSE {name}: {steps}")
        counts[f"{'correct' if good else 'faulty'}, {word}"] += 1
        for step, result in steps.items():
            counts[f"{'correct' if good else 'faulty'}, {step}: {result}"] += 1
    for kind, many in sorted(counts.items()):
        print(f"{many:4} {kind}")
    return any("FALSE" in kind for kind in counts)


if __name__ == "__main__":
    sys.exit(main())
