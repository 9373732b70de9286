"""What a design in an HDL is held to, beside the part whose place it takes."""

from padbench.cosim.setting import hdl_setting
from padbench.sheet import STARTER, sheet_from_text

HDL = '\n[hdl]\nsources = ["my_pad.v"]\ntop = "my_pad"\nlanguage = "verilog"\n'
CLOCKED = HDL + 'system-clock = "clk"\nfrequency = "12 MHz"\n'


def test_a_design_with_a_system_clock_keeps_the_rule_of_the_loads_end():
    text = STARTER.replace('"CD4021B"', '"74HC165"').replace("inverted = false", "inverted = true")
    for hdl in (HDL, CLOCKED):
        assert hdl_setting(sheet_from_text(text + hdl, "x")).pad.limits.clock_at_load_end
        assert not hdl_setting(sheet_from_text(STARTER + hdl, "x")).pad.limits.clock_at_load_end
