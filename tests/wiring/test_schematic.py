"""Schematic and packages: every pin and value on them, and nothing over anything else."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path

import pytest
from boards import INPUTS, Part, changed, harbour, write
from matplotlib.figure import Figure
from matplotlib.text import Text

from padbench.core.buttons import BUTTONS
from padbench.jobs.loading import load_sheet
from padbench.jobs.wiring import plan_wiring
from padbench.sheet import sheet_from_text
from padbench.wiring.netlists.sheet import board_of
from padbench.wiring.netlists.shown import parts_shown
from padbench.wiring.plan import wiring_plan
from padbench.wiring.schematic import draw_on, drawn_svg, packages, schematic

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
B = (SHEETS / "harbour-b.toml").read_text(encoding="utf-8")
SVG = "{http://www.w3.org/2000/svg}"


@cache
def plan(stages=8, part="CD4021B", *changes):
    text = B.replace("stages = 8", f"stages = {stages}")
    for name, stage in sheet_from_text(B, "b").buttons.items():
        text = text.replace(f"\n{name} = {stage}", f"\n{name} = {stage + stages - 8}")
    if part == "74HC165":
        changes = (("CD4021B", part), ("latch-inverted = false", "latch-inverted = true"), *changes)
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return wiring_plan(sheet_from_text(text, "x"))


CASES = [
    *((stages, part) for part in ("CD4021B", "74HC165") for stages in (8, 14, 16, 24)),
    (8, "CD4021B", ("Down = 3", "Down = 4"), ('"ground"', '"supply"')),
    (16, "74HC165", ('"39k ± 5 %"', '"absent"'), ('"3.6k ± 5 %"', '"absent"')),
    (8, "CD4021B", ('"39k ± 5 %"', '"0 Ω"'), ('"ground"', '"open"')),
]


_MADE = {}


def svg(picture, made, *, broken):
    """Drawn once for all tests."""
    key = picture, id(made), broken
    if key not in _MADE:
        _MADE[key] = made, drawn_svg(picture, made, broken=broken)
    return _MADE[key][1]


def words(root):
    """(text, left, right, top, foot) of each; a letter taken as 0.6 of its size wide."""
    for node in root.iter(f"{SVG}text"):
        (line,) = node
        size, text = float(node.get("font-size")), line.text
        x, y = float(node.get("x")), float(node.get("y")) + float(line.get("dy"))
        wide = 0.6 * size * len(text)
        left = x - wide * {"end": 1, "middle": 0.5, "start": 0}[node.get("text-anchor")]
        middle = {"central": 0, "ideographic": -0.4, "hanging": 0.4, "alphabetic": -0.3}
        y += middle[node.get("dominant-baseline")] * size
        yield text, left, left + wide, y - 0.35 * size, y + 0.35 * size


def strokes(root):
    """Straight pieces of everything drawn."""
    for node in root.iter():
        drawn = node.get("d") or node.get("points")
        if drawn is None or "A" in drawn:
            continue
        for run in drawn.split("M"):
            numbers = [float(one) for one in re.findall(r"-?[0-9.]+(?:e-?[0-9]+)?", run)]
            yield from pairwise(zip(numbers[::2], numbers[1::2], strict=True))


def crosses(start, end, box):
    """Whether a piece enters a box: clipped to each side in turn (Liang and Barsky, 1984)."""
    _, left, right, top, foot = box
    (x, y), (dx, dy) = start, (end[0] - start[0], end[1] - start[1])
    since, until = 0.0, 1.0
    for way, room in ((-dx, x - left), (dx, right - x), (-dy, y - top), (dy, foot - y)):
        if way == 0:
            if room < 0:
                return False
        elif way < 0:
            since = max(since, room / way)
        else:
            until = min(until, room / way)
    return since < until


@pytest.mark.parametrize("picture", [schematic, packages])
@pytest.mark.parametrize("case", CASES)
def test_no_word_stands_on_another_on_a_line_or_beyond_the_edge(case, picture):
    apart(svg(picture, plan(*case), broken=False))


def apart(drawn):
    """Fail where a word stands on another, on a line, or beyond the edge."""
    root = ET.fromstring(drawn)
    left, top, wide, tall = map(float, root.get("viewBox").split())
    boxes = [*words(root)]
    for text, a, b, high, low in boxes:
        assert left <= a, text
        assert b <= left + wide, text
        assert top <= high, text
        assert low <= top + tall, text
    for (one, a, b, up, down), (two, c, d, high, low) in combinations(boxes, 2):
        assert b <= c or d <= a or down <= high or low <= up, (one, two)
    lines = [*strokes(root)]
    assert len(lines) > 30
    for box in boxes:
        assert not any(crosses(start, end, box) for start, end in lines), box[0]


@pytest.mark.parametrize("case", CASES)
def test_no_ground_of_a_contact_touches_another_wire(case):
    lines = [*strokes(ET.fromstring(svg(schematic, plan(*case), broken=False)))]
    grounds = 0
    for lead, *triangle in zip(*(lines[place:] for place in range(5)), strict=False):
        if lead[1] != triangle[3][1] or abs(lead[0][0] - lead[1][0]) > 0.1:
            continue  # five strokes: down, and once round the triangle
        grounds += 1
        xs, ys = zip(*(point for piece in triangle for point in piece), strict=True)
        box = ("ground", min(xs), max(xs), min(ys), max(ys) + 2)
        mine = {lead, *triangle}
        assert not any(crosses(*line, box) for line in lines if line not in mine), lead
    assert grounds >= 7  # one stage may have two contacts


@pytest.mark.parametrize("case", CASES[:8])
def test_every_pin_stands_there_by_name_and_number(case):
    made = plan(*case)
    said = [text for text, *_ in words(ET.fromstring(svg(schematic, made, broken=False)))]
    for pin in made.pins:
        assert said.count(pin.name) >= len({one.chip for one in made.pins})
        assert str(pin.number) in said
    chips = len({pin.chip for pin in made.pins})
    assert {f"R{place} 39 kΩ ± 5 %" for place in range(1, 9)} <= {*said}
    assert {"R9", "R10", "latch", "clock", "data", "supply", "ground"} <= {*said}
    assert said.count("3.6 kΩ ± 5 %") == 2
    assert {f"C{place} 100 nF" for place in range(1, chips + 1)} <= {*said}
    assert said.count(f"U{chips + 1}") == said.count("inverter") == (case[1] == "74HC165")
    assert {f"SW{place} {name}" for place, name in enumerate(BUTTONS, 1)} <= {*said}


@pytest.mark.parametrize("case", CASES)
def test_packages_have_each_pin_with_its_name_and_net(case):
    made = plan(*case)
    said = [text for text, *_ in words(ET.fromstring(svg(packages, made, broken=False)))]
    for pin in made.pins:
        for text in (pin.name, pin.net, str(pin.number)):
            assert text in said
    assert said.count("open") >= sum(pin.net == "open" for pin in made.pins)
    assert sum(text.endswith(", from above") for text in said) == made.pins[-1].chip


def test_values_are_those_of_the_sheet():
    changes = (("39k", "22k"), ('length = "2.5 m"', 'length = "1.5 m"'))
    drawn = svg(schematic, plan(8, "CD4021B", *changes), broken=False)
    said = [text for text, *_ in words(ET.fromstring(drawn))]
    assert sum("22 kΩ ± 5 %" in one for one in said) == 8
    assert "cable, 1.5 m" in said
    bare = svg(schematic, plan(8, "CD4021B", ('"3.6k ± 5 %"', '"absent"')), broken=False)
    assert "3.6 kΩ" not in bare


def test_cautions_stand_on_it():
    good = svg(schematic, plan(), broken=False)
    assert "Unplug before you wire" in good
    assert "cannot work" not in good
    assert "cannot work" in svg(schematic, plan(), broken=True)
    short = svg(schematic, plan(8, "CD4021B", ('"39k ± 5 %"', '"0 Ω"')), broken=True)
    assert "Do not plug this in" in short


def test_it_is_drawn_in_black_on_white_and_the_same_twice():
    one, two = (drawn_svg(schematic, plan(16, "74HC165"), broken=False) for _ in range(2))
    assert one == two
    colours = {*re.findall(r"(?:stroke|fill|background-color)[:=]\"?([a-z#0-9()]+)", one)}
    assert colours <= {"black", "white", "none"}


def test_names_of_users_own_parts_are_no_markup():
    odd = replace(plan(), part="A&B <$x$> \\alpha")
    said = [one for one, *_ in words(ET.fromstring(svg(schematic, odd, broken=False)))]
    assert "U1 A＆B <＄x＄> ＼alpha" in said


def test_on_axes_all_words_lie_within_the_figure():
    figure = Figure()
    draw_on(figure.add_axes((0, 0, 1, 1)), schematic, plan(8, "74HC165"), broken=True)
    figure.draw_without_rendering()
    words = [one for one in figure.findobj(Text) if one.get_text() and one.get_visible()]
    assert {"clock-inhibit", "U2", "inverter"} <= {one.get_text() for one in words}
    boxes = [(one.get_text(), one.get_window_extent()) for one in words if one.axes is not None]
    boxes = [
        (text, box) for text, box in boxes if box.width > 1 and not re.match("[-−0-9.]+$", text)
    ]
    for text, box in boxes:
        assert figure.bbox.x0 <= box.x0, text
        assert box.x1 <= figure.bbox.x1, text
        assert figure.bbox.y0 <= box.y0, text
    for (one, a), (two, b) in combinations(boxes, 2):
        assert not a.overlaps(b), (one, two)


# ── what a board has besides ─────────────────────────────────────────────────────────────────────

AK, SMALL = (
    {"1": "A", "2": "K"},
    """[pad]
name = "chain"
supply = "5 V ± 5 %"
[register]
stages = STAGES
[works-with]
ports = ["push-pull"]
[poll]
use = "plain-loop"
clocks = STAGES
[board]
netlist = "pad.net"
""",
)


def on_board(chips):
    """A board with all that a pad may have: in series, clamps, a light, capacitors, ties."""
    parts = harbour()
    for number in range(2, chips + 1):
        pins = {**parts["U1"].pins, **dict.fromkeys(map(str, INPUTS.values()), "VCC")}
        pins |= {"3": f"CHAIN{number}", "11": f"CHAIN{number + 1}" if number < chips else "TIE"}
        parts[f"U{number}"] = Part("CD4021BE", pins)
    own = {"9": "LATCH_IN", "1": "A_IN", "3": "OUT", "11": "CHAIN2" if chips > 1 else "TIE"}
    parts = changed(parts, U1=own, SW2={"1": "B_SW"}, SW8={"1": "RIGHT_SW"})
    parts = changed(parts, **{f"U{one}": {"9": "LATCH_IN", "10": f"CLOCK_{one}"}
                              for one in range(1, chips + 1)})  # fmt: skip
    parts |= {f"R{20 + one}": Part("220", {"1": "CLOCK", "2": f"CLOCK_{one}"})
              for one in range(1, chips + 1)}  # fmt: skip
    parts |= {
        "R11": Part("100 5%", {"1": "LATCH", "2": "LATCH_IN"}),
        "R12": Part("47", {"1": "DATA", "2": "OUT"}),
        "R13": Part("1k", {"1": "A", "2": "A_IN"}),
        "R14": Part("1k 5%", {"1": "B_SW", "2": "B"}),
        "R15": Part("1k 5%", {"1": "RIGHT_SW", "2": "RIGHT"}),
        "R16": Part("10k", {"1": "TIE", "2": "GND"}),
        "R17": Part("1k 5%", {"1": "VCC", "2": "LIT"}),
        "D1": Part("BAT54", {"1": "LATCH", "2": "VCC"}, AK),
        "D2": Part("BAT54", {"1": "GND", "2": "LATCH"}, AK),
        "D3": Part("ESD5V", {"1": "A", "2": "GND"}),
        "D4": Part("LED", {"1": "LIT", "2": "GND"}, AK),
        "C2": Part("10p", {"1": "DATA", "2": "GND"}),
    }
    return parts


@pytest.fixture(scope="module", params=[1, 2, 3])
def board(request, tmp_path_factory):
    """The schematic of such a board, and all words on it."""
    folder = tmp_path_factory.mktemp("board")
    (folder / "pad.net").write_text(write(on_board(request.param), "s-expression"))
    path = folder / "pad.toml"
    path.write_text(SMALL.replace("STAGES", str(8 * request.param)))
    made = plan_wiring(load_sheet(path)).data
    drawn = drawn_svg(schematic, made, broken=True)
    return request.param, drawn, [text for text, *_ in words(ET.fromstring(drawn))]


def test_all_parts_of_a_board_are_drawn_once_and_apart(board):
    chips, drawn, said = board
    names = [text.split()[0] for text in said]
    parts = {name for name in on_board(chips) if name != "J1"}
    assert {name: names.count(name) for name in parts} == dict.fromkeys(parts, 1)
    apart(drawn)


def test_a_board_s_own_values_stand_beside_its_references(board):
    *_, said = board
    assert {"R1 39 kΩ ± 5 %", "R11 100 Ω ± 5 %", "R13 1 kΩ", "C2 10 pF", "D4 LED", "D3 ESD5V"} <= {
        *said
    }
    assert said.count("C1 100 nF") == 1
    # One for three chips stands beside none of them.
    assert "Also on the board, not placed above:" in said
    assert {"with C2", "ground", "supply", "latch", "A"} <= {*said}


def test_what_the_board_lacks_is_not_drawn_and_what_is_twice_is(tmp_path):
    parts = {name: part for name, part in harbour().items() if name not in ("C1", "R3", "R9")}
    parts |= {"R30": Part("39k", {"1": "VCC", "2": "UP"}), "SW9": Part("A", {"1": "A", "2": "GND"})}
    (tmp_path / "pad.net").write_text(write(parts, "s-expression"))
    drawn = drawn_svg(schematic, plan_wiring(tmp_path / "pad.net").data, broken=False)
    names = [text.split()[0] for text, *_ in words(ET.fromstring(drawn))]
    assert not {"C1", "R3", "R9"} & {*names}
    assert "nF" not in drawn
    assert {name: names.count(name) for name in parts if name != "J1"} == dict.fromkeys(
        parts.keys() - {"J1"}, 1
    )
    apart(drawn)


def test_inputs_that_are_shorted_are_not_drawn_as_in_series(tmp_path):
    parts = changed(harbour(), U1={str(INPUTS[7]): "A"}, R2={"2": "A"}, SW2={"1": "A"})
    (tmp_path / "pad.net").write_text(write(parts, "s-expression"))
    sheet = load_sheet(tmp_path / "pad.net")
    shown = parts_shown(board_of(sheet), sheet)
    assert not [place for place in shown.labels if place.startswith("pin ")]
    assert [one.says for chain in shown.beside for one in chain if "R2" in one.says]


def test_a_chain_with_a_gate_has_a_capacitor_beside_each_register(tmp_path):
    parts = on_board(2)
    parts |= {"C3": Part("100n", {"1": "VCC", "2": "GND"}),
              "U9": Part("74HC1G04", {"2": "GND", "3": "GND", "5": "VCC"})}  # fmt: skip
    (tmp_path / "pad.net").write_text(write(parts, "s-expression"))
    (tmp_path / "pad.toml").write_text(SMALL.replace("STAGES", "16"))
    sheet = load_sheet(tmp_path / "pad.toml")
    names = parts_shown(board_of(sheet), sheet).names
    assert {names["capacitor 1"], names["capacitor 2"]} == {"C1", "C3"}


@pytest.mark.parametrize(("lifted", "behind"), [("LATCH", False), ("LATCH_IN", True)])
def test_a_resistor_in_series_stands_on_its_side_of_the_others(tmp_path, lifted, behind):
    parts = changed(on_board(1), R9={"2": lifted})
    (tmp_path / "pad.net").write_text(write(parts, "s-expression"))
    drawn = drawn_svg(schematic, plan_wiring(tmp_path / "pad.net").data, broken=False)
    left = {text.split()[0]: x for text, x, *_ in words(ET.fromstring(drawn))}
    assert (left["R11"] > left["R9"]) is behind
    assert left["R14"] < left["SW2"]  # between pull-up and contact
    assert left["R13"] > left["SW1"]  # between both and the pin
    apart(drawn)
