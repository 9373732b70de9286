"""SPICE netlists against ngspice, which reads and expands them itself, and as Yosys writes them.

Each pin of each subcircuit has a resistor inside, so what ngspice lists after it has taken the
subcircuits apart shows which pin it put on which node. The netlists are random; the good examples
are read too. Class P: the nodes come out of the simulator.
"""

import random
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from padbench.parts.own import find_part
from padbench.wiring.netlists.formats import read_board

SHEETS = Path(__file__).parents[2] / "sim/sheets"
NAMES = {number: name for name, number in find_part("CD4021B").pins.items()}


def listed(netlist: str) -> dict[str, list[str]]:
    """The nodes of each element as ngspice has them."""
    if shutil.which("ngspice") is None:
        pytest.fail("ngspice is not installed; install it with: apt-get install ngspice")
    asked = re.sub(r"(?im)^\.end$", ".control\nlisting runnable\n.endc\n.end", netlist)
    run = subprocess.run(
        ["ngspice", "-b", "/dev/stdin"],
        input=asked,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    lines = re.findall(r"(?m)^([rcl]\S*) (\S+) (\S+) \S+$", run.stdout.lower())
    assert lines, run.stdout + run.stderr
    ground = {"0": "gnd"}
    return {name: [ground.get(one, one) for one in nodes] for name, *nodes in lines}


def own(path: Path) -> dict[tuple[str, str], str]:
    """The net of each pin as we read it."""
    board = read_board(path, {})
    return {
        (part.reference.lower(), pin.lower()): net.lower()
        for part in board.parts.values()
        for pin, net in part.pins.items()
    }


def made(chance: random.Random) -> str:
    """A netlist with subcircuits, comments, broken lines, capitals and both names of ground."""
    nets = ["0", "gnd", "GND", *(f"N{place}" for place in range(8))]
    lines = ["a title that is no part"]
    kinds = {f"chip{kind}": chance.randint(2, 6) for kind in range(3)}
    for kind, count in kinds.items():
        pins = [f"p{pin}" for pin in range(count)]
        lines += [f".SUBCKT {kind} {' '.join(pins)}"]
        lines += [f"R{pin} {pin} inside 1k" for pin in pins]
        lines += [".ends"]
    for place in range(12):
        kind = chance.choice([*kinds])
        nodes = [chance.choice(nets) for _ in range(kinds[kind])]
        broken = "\n+ " if chance.random() < 0.5 else " "
        lines.append(f"xU{place} {nodes[0]}{broken}{' '.join(nodes[1:])} {kind.upper()}")
        lines.append(f"R{place} {chance.choice(nets)} {chance.choice(nets)} 4k7 ; beside")
        lines += ["* a comment", ""] if chance.random() < 0.3 else []
    return "\n".join([*lines, ".end", ""])


def test_pins_of_subcircuits_are_where_ngspice_has_them(tmp_path):
    path = tmp_path / "board.cir"
    for seed in range(6):
        text = made(random.Random(seed))
        path.write_text(text)
        theirs, ours = listed(text), own(path)
        for (reference, pin), net in ours.items():
            if reference.startswith("u"):
                assert theirs[f"r.x{reference}.r{pin}"][0] == net, (seed, reference, pin)
            else:
                assert theirs[reference][int(pin) - 1] == net, (seed, reference, pin)


@pytest.mark.parametrize("revision", "abc")
def test_the_examples_are_read_alike(revision):
    path = SHEETS / f"harbour-{revision}.cir"
    ours = own(path)
    for reference, nodes in listed(path.read_text()).items():
        assert [ours[reference, "1"], ours[reference, "2"]] == nodes


def test_a_netlist_that_yosys_wrote_has_the_nets_of_its_verilog(tmp_path):
    """Yosys orders the nodes of each part by the ports of its module, and numbers the parts."""
    if shutil.which("yosys") is None:
        pytest.fail("yosys is not installed; install it with: apt-get install yosys")
    chance, nets = random.Random(4), [f"N{place}" for place in range(9)]
    ports = ", ".join(f"inout \\{pin} " for pin in NAMES.values())
    parts = [{pin: chance.choice(nets) for pin in NAMES.values()} for _ in range(9)]
    lines = [f"(* blackbox *) module CD4021BE({ports}); endmodule"]
    lines.append(f"module top({', '.join(f'inout {net}' for net in nets)});")
    for place, pins in enumerate(parts):
        joined = ", ".join(f".\\{pin} ({net})" for pin, net in pins.items())
        lines.append(f"CD4021BE U{place} ({joined});")
    (tmp_path / "pad.v").write_text("\n".join([*lines, "endmodule"]))
    script = "read_verilog pad.v; write_spice -top top pad.cir"
    subprocess.run(["yosys", "-q", "-p", script], cwd=tmp_path, check=True, timeout=60)
    path = tmp_path / "pad.cir"
    wrote = path.read_text()
    kinds = f".subckt CD4021BE {' '.join(NAMES.values())}\n.ends\n"
    path.write_text(f"* the part, which Yosys leaves to others\n{kinds}{wrote}\n.end\n")
    read = [dict(part.pins) for part in read_board(path, {}).parts.values()]
    meant = [{pin.upper(): net for pin, net in pins.items()} for pins in parts]
    assert sorted(map(repr, read)) == sorted(map(repr, meant))
