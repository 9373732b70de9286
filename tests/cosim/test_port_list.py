"""Bits of vectors as ports, ties, header folders and macros; what does not fit is named."""

import pytest
from styles import FPGA

from padbench.cosim.job import HdlError
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
