"""The roles in a cocotb test of one's own: the example as it stands, and all of them everywhere."""

import os
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from designs import HDL

pytestmark = pytest.mark.usefixtures("simulators")

EXAMPLES = Path(__file__).parents[2] / "sim" / "examples"
RUN = """
import sys
from cocotb_tools.runner import VHDL, Verilog, get_runner
from padbench.cosim.process import _use_wheel
from padbench.sheet.simulators import SIMULATORS
engine, top, module, case, *sources = sys.argv[1:]
row = SIMULATORS[engine]
if row.wheel:
    _use_wheel(row.wheel)
mark = VHDL if row.language == "vhdl" else Verilog
scale = None if row.language == "vhdl" else ("1ns", "1ps")
runner = get_runner(engine)
runner.build(sources=[mark(source) for source in sources], hdl_toplevel=top, build_args=row.build,
             timescale=scale)
runner.test(hdl_toplevel=top, test_module=module, testcase=case or None, test_args=row.run,
            results_xml="results.xml")
"""

BOTH = """module both(input clk, reset, latch, clock, serial, start, r_data, input [7:0] buttons,
    output data, r_latch, r_clock, valid, output [7:0] held);
    fpga_pad pad(.clk(clk), .reset(reset), .latch(latch), .clock(clock), .serial(serial),
        .buttons(buttons), .data(data));
    port_reader reader(.clk(clk), .reset(reset), .start(start), .latch(r_latch), .clock(r_clock),
        .data(r_data), .held(held), .valid(valid));
endmodule
"""
BOTH_VHDL = """library ieee; use ieee.std_logic_1164.all;
entity both is port (clk, reset, latch, clock, serial, start, r_data : in std_logic;
    buttons : in std_logic_vector(7 downto 0);
    data, r_latch, r_clock, valid : out std_logic; held : out std_logic_vector(7 downto 0));
end entity;
architecture structure of both is begin
    pad : entity work.fpga_pad port map (clk => clk, reset => reset, latch => latch,
        clock => clock, serial => serial, buttons => buttons, data => data);
    reader : entity work.port_reader port map (clk => clk, reset => reset, start => start,
        latch => r_latch, clock => r_clock, data => r_data, held => held, valid => valid);
end architecture;
"""


def run(folder: Path, engine: str, top: str, module: str, case: str, *sources: Path) -> int:
    """How many tests passed; the first failure is told."""
    path = os.pathsep.join([str(EXAMPLES), str(Path(__file__).parent), *filter(None, sys.path)])
    environment = {key: value for key, value in os.environ.items() if "PYTEST" not in key}
    said = subprocess.run(
        [sys.executable, "-c", RUN, engine, top, module, case, *map(str, sources)],
        cwd=folder,
        env={**environment, "PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=False,
        timeout=150,
    )
    found = [*folder.rglob("results.xml")]
    assert found, said.stdout + said.stderr
    cases = ElementTree.parse(found[0]).findall(".//testcase")
    done = [case for case in cases if case.find("skipped") is None]
    for one in done:
        assert one.find("failure") is None, said.stdout
        assert one.find("error") is None, said.stdout
    return len(done)


@pytest.mark.parametrize(
    ("top", "test"),
    [("fpga_pad", "a_console_reads_the_pad"), ("port_reader", "a_pad_answers_the_reader")],
)
def test_the_example_passes(top, test, tmp_path):
    source = HDL / "verilog" / f"{top}.v"
    assert run(tmp_path, "icarus", top, "cocotb_test", test, source) == 1


@pytest.mark.parametrize("engine", ["icarus", "ghdl", "verilator"])
def test_the_roles_on_each_simulator(engine, tmp_path):
    language, ending = ("vhdl", "vhd") if engine == "ghdl" else ("verilog", "v")
    both = tmp_path / f"both.{ending}"
    both.write_text(BOTH_VHDL if engine == "ghdl" else BOTH)
    parts = [HDL / language / f"{name}.{ending}" for name in ("fpga_pad", "port_reader")]
    assert run(tmp_path, engine, "both", "roles_bench", "", *parts, both) == 4
