"""The example cocotb test runs as it stands, as a newcomer would run it."""

import os
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from designs import HDL

EXAMPLES = Path(__file__).parents[2] / "sim" / "examples"
RUN = """
import sys
from cocotb_tools.runner import get_runner
runner = get_runner("icarus")
runner.build(sources=[sys.argv[1]], hdl_toplevel=sys.argv[2], timescale=("1ns", "1ps"))
runner.test(
    hdl_toplevel=sys.argv[2],
    test_module="cocotb_test",
    testcase=sys.argv[3],
    results_xml="results.xml",
)
"""


@pytest.mark.parametrize(
    ("top", "test"),
    [("fpga_pad", "a_console_reads_the_pad"), ("port_reader", "a_pad_answers_the_reader")],
)
def test_the_example_passes(top, test, tmp_path):
    path = os.pathsep.join([str(EXAMPLES), *filter(None, sys.path)])
    environment = {key: value for key, value in os.environ.items() if "PYTEST" not in key}
    said = subprocess.run(
        [sys.executable, "-c", RUN, str(HDL / "verilog" / f"{top}.v"), top, test],
        cwd=tmp_path,
        env={**environment, "PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    results = ElementTree.parse(next(tmp_path.rglob("results.xml")))
    cases = results.findall(".//testcase")
    done = [case for case in cases if case.find("skipped") is None]
    assert len(done) == 1
    assert done[0].find("failure") is None, said.stdout
