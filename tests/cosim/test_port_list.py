"""Bits of vectors as ports, ties, header folders and macros; what does not fit is named."""

import pytest
from styles import FPGA

from padbench.cosim.job import HdlError
from padbench.cosim.proof import proof_of
from padbench.cosim.regress import regress, scenarios_of
from padbench.sheet import sheet_from_text

pytestmark = pytest.mark.usefixtures("simulators")

VECTORS = """
`include "levels.vh"
module wrapped(input [3:0] lines, input [7:0] keys, input enable, input mode, output [1:0] out);
    wire inner;
    wire reset = 1'b0;
    pad core(lines[0], reset, lines[1], lines[2], lines[3], keys, inner);
    assign out = {enable ? inner : 1'bx, `SPARE};
endmodule
"""
KEYS = """latch = "lines[1]"
clock = "lines[2]"
serial = "lines[3]"
data = "out[1]"
ties = { enable = 1 }
include = ["headers"]
defines = { SPARE_LEVEL = 0 }
buttons = { A = "keys[7]", B = "keys[6]", Select = "keys[5]", Start = "keys[4]", Up = "keys[3]", \
Down = "keys[2]", Left = "keys[1]", Right = "keys[0]" }
"""


def sheet_of(folder, *changes):
    (folder / "headers").mkdir(exist_ok=True)
    (folder / "headers" / "levels.vh").write_text("`define SPARE (`SPARE_LEVEL == 1)\n")
    text = FPGA.write(folder)
    source = folder / "fpga.v"
    source.write_text(
        source.read_text()
        + VECTORS.replace("lines[0]", "clk").replace(
            "input [3:0] lines", "input clk, input [3:0] lines"
        )
    )
    head = text.split("serial =")[0].replace('top = "pad"', 'top = "wrapped"')
    text = head + KEYS + 'system-clock = "clk"\nfrequency = "12 MHz"\n'
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return sheet_from_text(text, "sheet")


def run(folder, *changes, names=("each-button", "past-the-end")):
    sheet = sheet_of(folder, *changes)
    return regress(sheet, folder, [scenarios_of(sheet)[name] for name in names])


def test_bits_ties_headers_and_macros(tmp_path):
    result = run(tmp_path)
    assert result.verdict == "pass"
    (left,) = [found for found in result.findings if found.id == "hdl.inputs"]
    assert left.verdict == "not-judged"
    assert left.says.startswith("mode: inputs of the design that the sheet does not name")
    # Without the tie the line is at no level, so the tie is what made it pass.
    assert run(tmp_path, ("enable = 1", "enable = 0")).verdict == "fail"


@pytest.mark.parametrize(
    ("change", "key", "says"),
    [
        (('"out[1]"', '"enable"'), "data", "enable is an input of wrapped; name an output"),
        (('"lines[1]"', '"out[1]"'), "latch", "out[1] is an output of wrapped; name an input"),
        (('"lines[1]"', '"reset"'), "latch", "reset is no port of wrapped; it has clk, enable,"),
        (('"lines[1]"', '"lines[4]"'), "latch", "lines[4] is no part of a port of wrapped"),
        (("enable = 1", "enabled = 1"), "ties.enabled", "enabled is no port of wrapped"),
        (("enable = 1", "enable = 2"), "ties.enable", "enable has 1 bit, and 2 needs more"),
        (('["headers"]', '["gone"]'), "include[0]", '"gone" is no folder'),
        (
            ("ties =", "parameters = { STAGE = 3 }\nties ="),
            "parameters.STAGE",
            "STAGE is no parameter of wrapped",
        ),
    ],
)
def test_what_does_not_fit(tmp_path, change, key, says):
    with pytest.raises(HdlError) as caught:
        run(tmp_path, change, names=("idle",))
    assert caught.value.key == key
    assert says in caught.value.says


RECORDS = """library ieee;
use ieee.std_logic_1164.all;
package kinds is
  type lines_t is record
    latch, clock : std_logic;   -- from the cable; these come first
  end record;
  type in_t is record
    lines  : lines_t;
    keys   : std_logic_vector(7 downto 0);
    enable : std_logic;
  end record;
  type out_t is record
    data : std_logic;
  end record;
end package;
library ieee;
use ieee.std_logic_1164.all;
use work.kinds.all;
entity Pad is
  generic (DEPTH : positive := 8; FIRST : std_logic := '1');
  port (SysClk : in std_logic; Pad_i : in in_t; Pad_o : out out_t);
end entity Pad;
architecture rtl of Pad is
  signal latch, clock : std_logic_vector(2 downto 0) := "000";
  signal stages : std_logic_vector(DEPTH - 1 downto 0) := (others => FIRST);
begin
  process (SysClk) begin
    if rising_edge(SysClk) then
      latch <= latch(1 downto 0) & pad_i.lines.latch;
      clock <= clock(1 downto 0) & pad_i.lines.clock;
      if latch(1) = '1' then stages <= pad_i.keys;
      elsif clock(1) = '1' and clock(2) = '0' then stages <= stages(DEPTH - 2 downto 0) & '0';
      end if;
    end if;
  end process;
  pad_o.data <= stages(DEPTH - 1) when pad_i.enable = '1' else 'X';
end architecture;
"""
FIELDS = """latch = "Pad_i.lines.latch"
clock = "Pad_i.lines.clock"
data = "pad_o.data"
buttons = "pad_i.keys"
system-clock = "SysClk"
frequency = "24 MHz"
parameters = { DEPTH = 8 }
ties = { "pad_i.enable" = 1 }
"""


def test_a_parameter_that_verilator_does_not_find(tmp_path):
    sheet = sheet_of(
        tmp_path, ("ties =", 'parameters = { STAGE = 3 }\nsimulator = "verilator"\nties =')
    )
    with pytest.raises(HdlError) as caught:
        regress(sheet, tmp_path, [scenarios_of(sheet)["idle"]])
    assert caught.value.key == "parameters.STAGE"
    assert caught.value.says == "STAGE is no parameter of wrapped; leave it out"


def sheet_with_records(folder, *changes):
    (folder / "pad.vhd").write_text(RECORDS)
    head = FPGA.write(folder).rsplit("[hdl]\n", 1)[0]
    text = f'{head}[hdl]\nsources = ["pad.vhd"]\ntop = "pad"\nlanguage = "vhdl"\n{FIELDS}'
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return sheet_from_text(text, "sheet")


def test_fields_of_records_are_ports(tmp_path):
    """On GHDL, which shows a simulation no record; records inside records, a tie, a generic."""
    sheet = sheet_with_records(tmp_path)
    names = ("each-button", "past-the-end")
    result = regress(sheet, tmp_path, [scenarios_of(sheet)[name] for name in names])
    assert result.verdict == "pass"
    assert not [found for found in result.findings if found.id == "hdl.inputs"]


def test_a_field_that_nothing_drives_is_named(tmp_path):
    sheet = sheet_with_records(tmp_path, ('ties = { "pad_i.enable" = 1 }\n', ""))
    result = regress(sheet, tmp_path, [scenarios_of(sheet)["each-button"]])
    assert result.verdict == "fail"
    (left,) = [found for found in result.findings if found.id == "hdl.inputs"]
    assert left.says.startswith("pad_i.enable: ")
    assert left.says.endswith('such as ties = { "pad_i.enable" = 0 }')


def test_a_design_with_records_is_proved(tmp_path):
    proof = proof_of(sheet_with_records(tmp_path), tmp_path, 60)
    assert (proof.result, "answer within 167 ns" in proof.says) == ("proved", True)


@pytest.mark.parametrize(
    ("change", "key", "says"),
    [
        (("lines.latch", "lines.strobe"), "latch", "Pad_i.lines.strobe is no port of pad; it has "),
        (("pad_o.data", "pad_i.enable"), "data", "pad_i.enable is an input of pad; name an output"),
        (("DEPTH = 8", "DEPHT = 8"), "parameters.DEPHT", "DEPHT is no parameter of pad"),
    ],
)
def test_what_does_not_fit_in_records(tmp_path, change, key, says):
    sheet = sheet_with_records(tmp_path, change)
    with pytest.raises(HdlError) as caught:
        regress(sheet, tmp_path, [scenarios_of(sheet)["idle"]])
    assert (caught.value.key, caught.value.says[: len(says)]) == (key, says)
