"""Run the scenarios on a pad written in Verilog, and name the likely fault if it reads wrong.

    python sim/examples/judge_a_design_in_verilog.py [SHEET]

Needs the extra ``cosim`` and a simulator (Icarus Verilog by default).
"""

import sys
from pathlib import Path

import padbench as pb

SHEET = Path(__file__).parents[1] / "sheets" / "harbour-hdl.toml"


def main(sheet: str) -> None:
    """Print the verdict, the first wrong reads and what may be behind them."""
    result = pb.regress(sheet, ["each-button", "cut-short"])
    print(result.name, result.verdict)
    for run in result.runs:
        print(f"  {run.name}: {run.verdict}, {run.count} reads")
        for problem in run.problems[:1]:
            print(f"    {problem.says}")


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else str(SHEET))
