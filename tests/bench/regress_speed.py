"""Reads per second through `regress` on Icarus against a bare cocotb loop on the same register.

    .venv/bin/python tests/bench/regress_speed.py

Both numbers come from one run of this script; the ratio is wanted to be at least 0.7. The bare loop
counts its loop alone, `regress` everything from the sheet to the verdict, build included.
"""

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "cosim"))

from designs import HDL, sheet_for

from padbench.cosim.regress import regress

READS = 20_000
RUN = """
import sys
from cocotb_tools.runner import get_runner
runner = get_runner("icarus")
runner.build(sources=[sys.argv[1]], hdl_toplevel="shift_register", timescale=("1ns", "1ps"))
runner.test(hdl_toplevel="shift_register", test_module="bare_cocotb")
"""


def bare() -> float:
    path = os.pathsep.join([str(Path(__file__).parent), *filter(None, sys.path)])
    with tempfile.TemporaryDirectory() as folder:
        said = subprocess.run(
            [sys.executable, "-c", RUN, str(HDL / "verilog" / "shift_register.v")],
            cwd=folder,
            env={**os.environ, "PYTHONPATH": path, "READS": str(READS)},
            capture_output=True,
            text=True,
            check=True,
        )
    found = re.search(r"RATE ([\d.]+)", said.stdout)
    assert found, said.stdout
    return float(found[1])


def through_regress() -> tuple[float, float]:
    result = regress(sheet_for("shift_register"), HDL, exhaustive=True)
    assert result.verdict == "pass"
    return result.reads / result.seconds, result.seconds


if __name__ == "__main__":
    # Before and after, since other work on the machine comes and goes.
    before = bare()
    rate, seconds = through_regress()
    loop = (before + bare()) / 2
    print(f"bare cocotb loop   {loop:8.0f} reads/s")
    print(f"regress            {rate:8.0f} reads/s (--exhaustive: {seconds:.1f} s)")
    print(f"ratio              {rate / loop:8.2f} (wanted: at least 0.7)")
