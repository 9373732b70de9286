"""Extended VCD (IEEE Std 1364-2005, 18.4) against what an independent converter made of it.

None of the simulators at hand writes the format (Icarus Verilog says that $dumpports is not
implemented, Verilator and GHDL do not know it), so the files are made here from the standard's
grammar. A converter to plain VCD, of a wave viewer, was run once on a file with every state; it
gives two wires a port, what is driven in and what out. `CONVERTED` is what it wrote.
"""

import json

import numpy as np

from padbench.cli import main
from padbench.core.levels import FLOATING, UNKNOWN
from padbench.core.timeline import Wire
from padbench.waveio import Pick, open_capture

HELD = [0x00, 0x80, 0x01, 0x5A, 0xC3, 0xFF]
HEAD = (
    "$date\n today\n$end\n$timescale\n 1 ns\n$end\n$scope module bench.pad $end\n"
    "$var port 1 <0 latch $end\n$var port 1 <1 clock $end\n$var port [7:0] <2 held $end\n"
    "$var port 1 <3 data $end\n$upscope $end\n$enddefinitions $end\n"
)
# By state: what is driven in and what is driven out.
CONVERTED = {
    **{"D": "0z", "U": "1z", "N": "xz", "Z": "zz", "d": "0z", "u": "1z"},
    **{"L": "z0", "H": "z1", "X": "zx", "T": "zz", "l": "z0", "h": "z1"},
    **{"0": "00", "1": "11", "?": "xx", "F": "zz", "A": "01", "a": "0x", "B": "10", "b": "1x"},
    **{"C": "x0", "c": "x1", "f": "zz"},
}


def wire(path, name):
    with open_capture(path) as scan:
        variable = next(v for v in scan.variables if v.name.endswith(name))
        pieces = scan.pieces({"it": Pick(variable)})
        parts = [piece.changes["it"] for piece in pieces if "it" in piece.changes]
    return Wire.from_arrays(*(np.concatenate(part) for part in zip(*parts, strict=True)))


def joined(one, other):
    """Of what is driven from two sides: who drives alone, or both if they agree."""
    if FLOATING in (one, other):
        return other if one == FLOATING else one
    return one if one == other else UNKNOWN


def test_every_state_is_the_level_that_the_converter_makes_of_it(tmp_path):
    path = tmp_path / "states.evcd"
    text = "".join(f"#{n}\np{state} 6 6 <0\n" for n, state in enumerate(CONVERTED))
    path.write_text(HEAD + text)
    expected = [joined(*map("01xz".index, pair)) for pair in CONVERTED.values()]
    assert wire(path, "latch").at(1000 * np.arange(len(expected))).tolist() == expected
    assert set(expected) == {0, 1, 2, 3}


def reads_of(held):
    now, out = 0, ["#0\n$dumpports\npD 6 0 <0\npU 0 6 <1\npUUUUUUUU 0 6 <2\npX 6 6 <3\n$end\n"]
    for byte in held:
        inputs = "".join("UD"[byte >> 7 - n & 1] for n in range(8))
        levels = [1 - (byte >> 7 - n & 1) for n in range(8)] + [0]
        out.append(f"#{now}\np{inputs} 66666666 00000000 <2\n")
        now += 2000
        out.append(f"#{now}\npU 0 6 <0\np{'LH'[levels[0]]} 6 6 <3\n#{now + 8900}\npD 6 0 <0\n")
        now += 14_300
        for place in range(8):
            out.append(f"#{now}\npD 6 0 <1\n#{now + 560}\npU 0 6 <1\n")
            out.append(f"#{now + 700}\np{'LH'[levels[place + 1]]} 6 6 <3\n")
            now += 6150
        now += 50_000
    return "".join([*out, f"$vcdclose #{now} $end\n"])


def inspected(capsys, *arguments):
    main(["inspect", *map(str, arguments), "--json"])
    out, err = capsys.readouterr()
    assert err == ""
    return json.loads(out)


def test_reads_are_what_was_held(tmp_path, capsys):
    path = tmp_path / "reads.evcd"
    path.write_text(HEAD + reads_of(HELD))
    found = inspected(capsys, path)
    assert [read["byte"] for read in found["reads"]] == HELD
    assert found["statistics"]["latch width"]["median"] == 8.9
    assert found["statistics"]["clock low"]["max"] == 0.56
    # The stages' inputs are a port of eight bits; A stands on the left.
    held = inspected(capsys, path, "--data", "held[7]")
    assert [read["byte"] for read in held["reads"]] == [255 * (byte >> 7) for byte in HELD]
