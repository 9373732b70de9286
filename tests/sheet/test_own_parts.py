"""Registers and kinds of port of the user's own, in a file that the sheet names."""

import json
from dataclasses import replace
from math import sqrt
from pathlib import Path

import pytest

from padbench.circuit.electric import judge_electric
from padbench.cli import main
from padbench.core.findings import Source
from padbench.parts import port_kind, port_names, register_names, register_part
from padbench.parts.figure import read_table
from padbench.parts.own import load_own, own_text
from padbench.sheet import STARTER, SheetError, load_sheet

FIGURE = 'source = "measured on the bench", class = "C"'
PORT = f"""
[port.shelf-three]
drives-high = true
diode = false
note = "the consoles of shelf three, with a resistor on the data line"
source = "measured on the bench"
class = "C"
input-capacitance = {{ typ = 40, unit = "pF", at = "5 V", {FIGURE} }}
output-high-resistance = {{ max = 400, unit = "Ω", at = "5 V", {FIGURE} }}
output-low-resistance = {{ max = 60, unit = "Ω", at = "5 V", {FIGURE} }}
output-leakage = {{ max = 1, unit = "µA", at = "5 V", {FIGURE} }}
input-low = {{ max = 0.8, unit = "V", at = "5 V", {FIGURE} }}
input-high = {{ min = 2, unit = "V", at = "5 V", {FIGURE} }}
input-leakage = {{ max = 20, unit = "µA", at = "5 V", {FIGURE} }}
data-pull-up = {{ typ = 10, unit = "kΩ", at = "5 V", {FIGURE} }}
supply-current = {{ max = 20, unit = "mA", at = "5 V", {FIGURE} }}
"""
NUMBERS = read_table("registers.toml")["CD4021B"]["pins"]["numbers"]
PINS = ", ".join(f"{name} = {pin}" for name, pin in NUMBERS.items())
REGISTER = f"""
[register.drawer-4021]
family = "4021"
load = "transparent"
load-level = "high"
schmitt-clock = false
stages = 8
timing-of = "CD4021B"
source = "the drawer"
class = "C"
pins = {{ numbers = {{ {PINS} }}, source = "the drawer", class = "C" }}
[register.drawer-4021.figures]
clock-to-output = {{ max = 500, unit = "ns", at = "5 V, 25 °C, 50 pF", {FIGURE} }}
"""

TTL = f"""
input-low = {{ max = 0.8, unit = "V", at = "4.5 V to 5.5 V", {FIGURE} }}
input-high = {{ min = 2, unit = "V", at = "4.5 V to 5.5 V", {FIGURE} }}
"""


@pytest.fixture
def make(tmp_path):
    def write(parts, **changes):
        text = STARTER + '\n[parts]\nfile = "own/my-parts.toml"\n'
        for old, new in changes.values():
            assert old in text
            text = text.replace(old, new)
        (tmp_path / "own").mkdir(exist_ok=True)
        (tmp_path / "own" / "my-parts.toml").write_text(parts)
        sheet = tmp_path / "pad.toml"
        sheet.write_text(text)
        return sheet

    return write


PORTS = ('"push-pull", "pull-down-only"', '"shelf-three"')
PART = ('part = "CD4021B"', 'part = "drawer-4021"')


def test_a_port_of_ones_own(make):
    sheet = load_sheet(make(PORT, ports=PORTS))
    electric = judge_electric(sheet)
    found = {one.id: one for one in electric.findings}
    # A square-law transistor (threshold 1.5 V) that sinks 0.4875 mA at 0.4 V of 5 V: at 4.75 V it
    # holds what comes through 10 k, and 20 µA.
    gain = 0.4875e-3 / ((3.5 - 0.4 / 2) * 0.4)
    # gain (3.25 - v / 2) v = (4.75 - v) / 10 k + 20 µA
    half = 3.25 * gain + 1 / 10e3
    expected = (half - sqrt(half**2 - 2 * gain * (4.75 / 10e3 + 20e-6))) / gain
    assert found["data.low"].measured == pytest.approx(expected, rel=0.001)
    assert found["data.low"].limit == pytest.approx(0.8)
    assert "shelf-three" in found["data.low"].where
    assert {row.port for row in electric.ports} == {*port_names(), "shelf-three"}


def test_a_resistor_below_the_data_line_takes_its_current_from_the_pad(make):
    def taken(parts):
        found = judge_electric(load_sheet(make(parts, ports=PORTS)), remedies=False).findings
        return [one.measured for one in found if one.id in ("supply.idle", "supply.all-held")]

    plain = PORT.replace("data-pull-up = { typ = 10", "data-pull-up = { typ = 1000")
    down = PORT.replace("data-pull-up = { typ = 10", "data-pull-down = { typ = 1")
    # Ohm's law: 5.25 V through 1 k
    for more, less in zip(taken(down), taken(plain), strict=True):
        assert more - less == pytest.approx(5.25e-3, rel=1e-6)


def test_a_register_of_ones_own(make):
    sheet = load_sheet(make(REGISTER, part=PART))
    assert sheet.part.clock_to_output.max == pytest.approx(500e-9)
    assert sheet.part.clock_width.cited.kind == "from memory"
    found = {one.id: one for one in judge_electric(sheet).findings}
    plain = load_sheet(make(REGISTER))
    before = {one.id: one for one in judge_electric(plain).findings}
    later = found["data.later-bits"].measured - before["data.later-bits"].measured
    # 180 ns more at 5 V and 25 °C; at 4.75 V and 40 °C by the CD4021B's derating
    stretch = 4.75 / 5 * ((5 - 1.5) / (4.75 - 1.5)) ** 1.56 * (1 + 0.003 * 15)
    assert later == pytest.approx(180e-9 * stretch)


def test_verify_takes_both(make, capsys):
    sheet = make(PORT + REGISTER, ports=PORTS, part=PART)
    assert main(["verify", str(sheet), "--no-waves", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["verdict"] == "pass"


def test_one_sheet_does_not_see_the_parts_of_another(make, tmp_path):
    load_sheet(make(PORT, ports=PORTS))
    other = tmp_path / "other.toml"
    other.write_text(STARTER.replace(*PORTS))
    with pytest.raises(SheetError, match="no known kind of port"):
        load_sheet(other)


def test_sheets_with_other_parts_of_the_same_name_are_not_equal(make):
    quick = load_sheet(make(REGISTER, part=PART))
    assert quick == load_sheet(make(REGISTER, part=PART))
    assert quick != load_sheet(make(REGISTER.replace("max = 500", "max = 600"), part=PART))


def test_a_copy_of_a_sheet_keeps_its_parts(make):
    sheet = load_sheet(make(PORT, ports=PORTS))
    assert sheet.model_copy(update={"contacts": sheet.contacts}).port("shelf-three").diode is False


BROKEN = [
    (PORT.replace('source = "measured on the bench"\nclass', "class"), "source: is missing"),
    (PORT.replace('at = "5 V", source = "measured on the bench", ', 'at = "5 V", ', 1), "source"),
    (PORT[: PORT.index("supply-current")], "supply-current: is missing; write the table"),
    (PORT.replace("max = 60", "max = -60"), "not negative"),
    (PORT.replace("max = 60", "max = 0"), "not more than 0"),
    (PORT.replace("max = 60", "max = nan"), "output-low-resistance"),
    (PORT.replace('unit = "Ω"', 'unit = "furlong"', 1), "unit"),
    (PORT.replace('unit = "Ω"', 'unit = "pF"', 1), "not in Ω"),
    (PORT.replace("drives-high = true", "drives-high = false"), "drives-high"),
    (PORT.replace("diode = false", "diode = true"), "diode-saturation-current"),
    (PORT.replace("max = 0.8", "max = 2.8"), "below input-high"),
    (PORT.replace("shelf-three", "push-pull"), "shipped"),
    (PORT + "\nwhatever = 3\n", "no key"),
    ("[console.x]\na = 1\n", "no known table"),
    ("port = 3\n", "not a table"),
    ("[port]\nx = 3\n", "port.x: 3 is not a table"),
    (REGISTER.replace("timing-of", "timing_of"), "no key"),
    (REGISTER.replace('timing-of = "CD4021B"', 'timing-of = "CD4O21B"'), "no known part"),
    (REGISTER.replace('timing-of = "CD4021B"\n', ""), "is missing"),
    (REGISTER.replace("max = 500", "typ = 500"), "needs a max"),
    (
        f'{REGISTER}sink-drop = {{ max = 0, unit = "V", at = "5 V", {FIGURE} }}',
        "sink-drop: is not more than 0",
    ),
    (
        f'{REGISTER}source-drop = {{ max = 0, unit = "V", at = "5 V", {FIGURE} }}',
        "source-drop: is not more than 0",
    ),
    (REGISTER + TTL.replace("max = 0.8", "max = 2"), "input-low is not below input-high"),
    (REGISTER + TTL.replace('"V"', '"fraction"', 1), "input-low is not below input-high"),
    (REGISTER.replace("P8 = 1", "P8 = 2"), "each once"),
    (REGISTER.replace("P8 = 1, ", ""), "pins lack P8"),
    (REGISTER.replace("stages = 8", "stages = 0"), "stages"),
    ("", "is empty"),
    ("[port", "is not TOML"),
]


@pytest.mark.parametrize(("parts", "says"), BROKEN, ids=range(len(BROKEN)))
def test_a_parts_file_that_cannot_be_used_is_one_line(make, capsys, parts, says):
    sheet = make(parts)
    assert main(["verify", str(sheet), "--no-waves"]) == 2
    err = capsys.readouterr().err
    assert says in err
    assert "my-parts.toml" in err
    assert "; " in err, "it says what would be right"
    assert "correct it" not in err
    assert err.count("\n") == 1, err


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("stages = 8", "stages = 3000000", "stages"),
        ("stages = 8", "stages = 1000000000", "stages"),
        ("max = 500", "max = 5e-324", "is absurdly small or large"),
        ("max = 500", "max = 1e308", "is absurdly small or large"),
    ],
)
def test_absurd_numbers_are_refused_in_short_lines(make, capsys, old, new, says):
    assert old in REGISTER
    assert main(["verify", str(make(REGISTER.replace(old, new), part=PART)), "--no-waves"]) == 2
    err = capsys.readouterr().err
    assert says in err
    assert max(map(len, err.splitlines())) < 1000


def test_thresholds_in_volts_do_not_move_with_the_supply(make):
    """TTL levels of 0.8 V and 2 V (common practice)."""
    found = judge_electric(load_sheet(make(REGISTER + TTL, part=PART)), remedies=False).findings
    limits = {one.id: one.limit for one in found}
    assert limits["levels.pressed"] == limits["clock.low"] == 0.8
    assert limits["levels.released"] == limits["port.push-pull.clock"] == 2


@pytest.mark.parametrize("levels", ["", 'levels = "series-b"\n', 'levels = "fixed"\n'])
def test_thresholds_of_the_b_series_do(make, levels):
    """JEDEC JESD13-B: 1.5 V and 3.5 V at 5 V, and the same parts of 4.75 V."""
    parts = REGISTER.replace("schmitt-clock", f"{levels}schmitt-clock")
    sheet = load_sheet(make(parts, part=PART))
    found = {one.id: one for one in judge_electric(sheet, remedies=False).findings}
    moved = 1.0 if "fixed" in levels else 4.75 / 5
    assert found["levels.pressed"].limit == pytest.approx(1.5 * moved)
    assert found["levels.released"].limit == pytest.approx(3.5 * moved)


def test_a_figure_of_class_m_says_so_whatever_its_source(make):
    guessed = FIGURE.replace('class = "C"', 'class = "M"')
    sheet = load_sheet(make(REGISTER.replace(FIGURE, guessed), part=PART))
    assert str(sheet.part.clock_to_output.cited) == "measured on the bench; from memory"


def test_a_parts_file_that_is_not_there(make, capsys):
    sheet = make(PORT)
    (sheet.parent / "own" / "my-parts.toml").unlink()
    assert main(["verify", str(sheet), "--no-waves"]) == 2
    assert "my-parts.toml: there is no such file" in capsys.readouterr().err


@pytest.mark.parametrize("file", ["3", '""', '"."', '["x"]'])
def test_a_name_of_a_parts_file_that_is_none(tmp_path, capsys, file):
    sheet = Path(tmp_path / "pad.toml")
    sheet.write_text(STARTER + f"\n[parts]\nfile = {file}\n")
    assert main(["verify", str(sheet), "--no-waves"]) == 2
    assert capsys.readouterr().err.count("\n") == 1


@pytest.mark.parametrize(
    ("code", "title", "kind"),
    [
        ("P", "the maker's data sheet", "published"),
        ("P2", "the maker's data sheet, quoted in a driver's source", "second-hand"),
        ("C", "what repairers know", "common practice"),
        ("M", "the data sheet", "from memory"),
        ("A", "an ordinary output", "assumed"),
        ("X", "drawer.csv, 2024-05-31", "measured"),
    ],
)
def test_every_class_of_source(make, code, title, kind):
    figure = FIGURE.replace("measured on the bench", title).replace(
        'class = "C"', f'class = "{code}"'
    )
    sheet = load_sheet(make(REGISTER.replace(FIGURE, figure), part=PART))
    assert sheet.part.clock_to_output.cited == Source(title, kind)
    assert sheet.part.cited == Source("the drawer", "common practice")


@pytest.mark.parametrize(
    ("code", "says"),
    [
        ("P2", "does not say who quotes it; write for example source ="),
        ("X", "does not say when it was measured; write for example source ="),
        ("Z", '"Z" is not known here; known are P, P2, C, M, A, X'),
    ],
)
def test_a_class_that_its_source_does_not_bear_out(make, code, says):
    broken = REGISTER.replace(FIGURE, FIGURE.replace('class = "C"', f'class = "{code}"'))
    with pytest.raises(SheetError) as caught:
        load_sheet(make(broken, part=PART))
    (problem,) = caught.value.problems
    assert says in str(problem)
    assert problem.line == broken[: broken.index("clock-to-output")].count("\n") + 1


def test_all_that_is_wrong_with_a_parts_file_is_said(make):
    broken = PORT.replace('"Ω"', '"furlong"', 1) + REGISTER.replace("timing-of =", "timing-off =")
    with pytest.raises(SheetError) as caught:
        load_sheet(make(broken))
    assert [problem.key for problem in caught.value.problems] == [
        "port.shelf-three.output-high-resistance.unit",
        "register.drawer-4021.timing-off",
    ]


def test_a_register_may_borrow_from_another_in_the_file(make):
    second = REGISTER.replace("drawer-4021", "second").replace("CD4021B", "drawer-4021")
    second = second[: second.index("[register.second.figures]")] + "figures = {}\n"
    sheet = load_sheet(make(REGISTER + second, part=('part = "CD4021B"', 'part = "second"')))
    assert sheet.part.clock_to_output.max == pytest.approx(500e-9)
    assert sheet.part.clock_to_output.cited == Source("taken from the drawer-4021", "from memory")


def test_registers_that_borrow_from_each_other_lack_the_rest(make):
    first = REGISTER.replace("CD4021B", "second")
    second = REGISTER.replace("drawer-4021", "second").replace("CD4021B", "drawer-4021")
    with pytest.raises(
        SheetError, match=r"the figure supply is missing; name a timing-of"
    ) as caught:
        load_sheet(make(first + second))
    assert len(caught.value.problems) == 2


@pytest.mark.parametrize("name", [*register_names(), *port_names()])
def test_a_part_that_is_written_is_read_back_as_it_was(tmp_path, name):
    shipped = port_kind(name) if name in port_names() else register_part(name)
    part = replace(shipped, name='the "same"')
    (tmp_path / "own.toml").write_text(own_text(part))
    own = load_own(tmp_path / "own.toml")
    assert [*own.registers.values(), *own.ports.values()] == [part]
