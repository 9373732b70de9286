"""The table [hdl]: what is wrong is named with file, line, key, value and what would be right."""

from pathlib import Path

import pytest

from padbench.sheet import SheetError, sheet_from_text

SHEET = (Path(__file__).parents[2] / "sim" / "sheets" / "harbour-hdl.toml").read_text()
SOURCES = 'sources = ["../../hdl/verilog/fpga_pad.v"]'
KNOWN = "known are A, B, Select, Start, Up, Down, Left, Right"

CASES = [
    (SOURCES, "sources = []", "sources: an empty list is not enough; name at least 1"),
    (SOURCES, 'sources = ["pad.txt"]', 'sources[0]: "pad.txt" is no source file; name a file that'),
    (SOURCES, 'sources = ["pad.vhd"]', 'sources[0]: "pad.vhd" is not verilog; name verilog'),
    (SOURCES, 'source = ["pad.v"]', 'source: is no key of [hdl]; the nearest known is "sources"'),
    ('top = "fpga_pad"', 'top = "fpga pad"', "is no name of a port or design; use a letter"),
    ('language = "verilog"', 'language = "c"', '"c" is not known here; known are verilog, vhdl'),
    (
        f'{SOURCES}   # relative to this sheet\ntop = "fpga_pad"\nlanguage = "verilog"\n',
        'sources = ["pad.vhd"]\ntop = "fpga_pad"\nlanguage = "vhdl"\n',
        'simulator: "icarus" does not read vhdl; use ghdl',
    ),
    (
        'simulator = "icarus"',
        'simulator = "x"',
        '"x" is no known simulator; known are icarus, ghdl,',
    ),
    ('role = "pad"', 'role = "console"', '"console" is not known here; known are pad, reader'),
    ('serial = "serial"', "serial = 5", "serial: 5 is not text in quotes"),
    (
        'latch = "latch"',
        'latch = "1st"',
        'latch: "1st" is no name of a port or design; use a letter',
    ),
    ('clock = "clock"', 'clok = "clock"', 'clok: is no key of [hdl]; the nearest known is "clock"'),
    ('buttons = "buttons"', "buttons = 3", "3 is neither a port nor a table of ports; write for"),
    ('buttons = "buttons"', 'buttons = { A = "a" }', "has no port for B; give each button one"),
    ('buttons = "buttons"', 'buttons = { C = "c" }', f"gives a port to 'C', no button; {KNOWN}"),
    ('buttons = "buttons"', "buttons = { A = 1 }", "gives A no port; write for example { A ="),
    (
        '"12 MHz"',
        '"12 V"',
        'frequency: "12 V" is in volts (V), not hertz; write for example "12 MHz"',
    ),
    ('"12 MHz"', '"12 Hz"', "is not between 1 kHz and 1 GHz; write for example"),
    ('frequency = "12 MHz"\n', "", 'system-clock: "clk" has no frequency; write for example freq'),
    ('system-clock = "clk"\n', "", 'frequency: "12 MHz" belongs to no clock; write system-clock'),
    (
        'reset = "reset"',
        'inverted = ["rest"]',
        'inverted[0]: "rest" is not known here; the nearest',
    ),
    (
        'answer = "260 ns"',
        'answer = "fast"',
        '"fast" is not a number of seconds; write for example',
    ),
    (
        'setup = "84 ns"',
        'setup = "84 V"',
        'is in volts (V), not seconds; write for example "84 ns"',
    ),
    ('"released"', '"release"', 'after-reset: "release" is not known here; the nearest known is'),
    ("STAGES = 8", 'STAGES = "x"', 'parameters.STAGES: "x" is not a whole number; write for exam'),
    (
        'answer = "260 ns"',
        "keeps = 5",
        "5 is not true or false; write for example keeps = ",
    ),
    ("STAGES = 8", '"8 S" = 8', "is no name of a port or design; use a letter"),
    ('answer = "260 ns"', "synchroniser = 9", "synchroniser: 9 is more than 4; write for example"),
]


@pytest.mark.parametrize(("old", "new", "says"), CASES, ids=[new for _, new, _ in CASES])
def test_what_is_wrong_is_said_with_its_line(old, new, says):
    assert SHEET.count(old) == 1
    text = SHEET.replace(old, new)
    with pytest.raises(SheetError) as raised:
        sheet_from_text(text, "pad.toml")
    lines = [str(problem) for problem in raised.value.problems]
    (said,) = [line for line in lines if says in line]
    file, number, rest = said.split(":", 2)
    assert file == "pad.toml"
    assert rest.startswith(" hdl.")
    key = rest.removeprefix(" hdl.").split(":")[0].split("[")[0].split(".")[0]
    assert text.split("\n")[int(number) - 1].startswith(key)


def test_a_key_that_must_be_there_is_asked_for():
    with pytest.raises(SheetError) as raised:
        sheet_from_text(SHEET.replace('top = "fpga_pad"\n', ""), "pad.toml")
    line = SHEET.split("\n").index("[hdl]") + 1
    said = f'pad.toml:{line}: hdl.top: is missing; write for example top = "my_pad"'
    assert [str(problem) for problem in raised.value.problems] == [said]
