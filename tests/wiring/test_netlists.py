"""Netlists: three formats, one board; what is recognised, and drawn against meant."""

import random
import sys
import time
import tracemalloc
from dataclasses import replace
from pathlib import Path

import pytest
from boards import BUTTONS, FORMS, INPUTS, Part, adapter, changed, harbour, write

import padbench
from padbench.circuit.electric import judge_electric
from padbench.cli import main
from padbench.jobs.loading import design_of, load_sheet
from padbench.results.text import as_text
from padbench.sheet import STARTER, SheetError
from padbench.wiring.netlists.compare import judge_board
from padbench.wiring.netlists.formats import is_netlist, read_board
from padbench.wiring.netlists.sheet import board_of

SHEETS = Path(__file__).parents[2] / "sim/sheets"
PLUG = 'plug = ["ground", "clock", "latch", "data", "supply"]\n'
IPC_PARTS = '[board.parts]\nU1 = "CD4021B"\n"R*" = "39k"\n'


@pytest.fixture
def judged(tmp_path):
    """What a board comes to against a sheet, by id; the starter sheet unless a text is given."""

    def judge(parts, form="s-expression", sheet=STARTER, board=PLUG):
        (tmp_path / "pad.net").write_text(write(parts, form))
        path = tmp_path / "pad.toml"
        path.write_text(f'{sheet}\n[board]\nnetlist = "pad.net"\n{board}')
        design = design_of(path)
        drawn = board_of(design.sheet)
        return {found.id: found for found in judge_board(drawn, design.sheet)}

    return judge


def fails(found):
    return {id_: one.says for id_, one in found.items() if one.verdict == "fail"}


# ── formats ──────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("revision", "abc")
@pytest.mark.parametrize("form", FORMS)
def test_the_examples_are_the_library_s_boards(form, revision):
    """And each format tells of the same pins and nets."""
    path = SHEETS / f"harbour-{revision}.{FORMS[form]}"
    title = f"Harbour Street replacement pad, revision {revision.upper()}"
    assert path.read_text() == write(harbour(revision), form, title)
    assert is_netlist(path)
    board = read_board(path, {})
    assert board.form.startswith(form)
    pins = {
        (reference, pin, net)
        for net, several in board.nets.items()
        for reference, pin in several
        if reference != "U1" and not net.startswith("NC")
    }
    meant = harbour(revision).items()
    assert pins == {(r, p, net) for r, part in meant if r != "U1" for p, net in part.pins.items()}


def test_a_long_name_of_ipc_d_356_stands_in_its_alias(tmp_path):
    text = write(harbour(), "IPC-D-356").replace("LATCH  ", "NNAME1 ")
    (tmp_path / "pad.ipc").write_text(text.replace("P  UNITS", "P  NNAME1  LATCH\nP  UNITS", 1))
    board = read_board(tmp_path / "pad.ipc", {})
    assert dict(board.nets)["LATCH"] == (("U1", "9"), ("R9", "2"), ("J1", "3"))


def test_pins_without_a_net_are_not_joined_by_their_name(judged):
    """IPC-D-356 calls the net of each of them N/C."""
    parts = changed(harbour(), U1={"11": "N/C", "2": "N/C"})
    found = judged(parts, "IPC-D-356", board=IPC_PARTS + '"R9" = "3.6k"\n"R10" = "3.6k"\n')
    assert {*fails(found)} == {"board.open"}


def test_a_part_that_is_not_fitted_pulls_nothing_up(judged):
    parts = harbour()
    found = judged({**parts, "R6": replace(parts["R6"], value="DNP")})
    says = "U1 pin 5 (P3) has no pull-up: no resistor goes from its net DOWN to supply"
    assert fails(found) == {"board.pull-up": says}


def test_a_mark_of_not_fitted_counts_as_well(tmp_path):
    text = write(harbour(), "s-expression").replace(
        '(ref "R6") (value "39k")', '(ref "R6") (value "39k") (property (name "dnp"))'
    )
    (tmp_path / "pad.net").write_text(text)
    assert not read_board(tmp_path / "pad.net", {}).parts["R6"].fitted


def test_in_spice_an_m_is_a_thousandth(tmp_path):
    text = "* pad\nr1 a b 2m\nr2 a b 3meg\nr3 a b 4k7\n.end\n"
    (tmp_path / "pad.cir").write_text(text)
    board = read_board(tmp_path / "pad.cir", {})
    assert [part.value for part in board.parts.values()] == ["2m", "3M", "4K7"]


# ── drawn against meant ──────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("form", ["s-expression", "SPICE"])
def test_the_good_board_is_the_sheet(judged, form):
    found = judged(harbour(), form)
    assert {one.verdict for one in found.values()} == {"pass"}
    assert len(found) == 15


def with_part(**parts):
    return {**harbour(), **parts}


DOWN, UP = str(INPUTS[3]), str(INPUTS[4])
FAULTS = {
    "swapped": (
        changed(harbour(), U1={UP: "DOWN", DOWN: "UP"}),
        {"board.buttons": "SW5 (Up) goes to U1 pin 5 (P3), and SW6 (Down) to U1 pin 4 (P4): the two"
         " are swapped"},
    ),
    "contact at a wrong input": (
        changed(harbour(), SW5={"1": "LEFT"}),
        {"board.buttons": "SW5 (Up) goes to U1 pin 6 (P2); it belongs on U1 pin 4 (P4)",
         "board.short": "Left and Up share the net LEFT"},
    ),
    "no pull-up": (
        {name: part for name, part in harbour().items() if name != "R6"},
        {"board.pull-up": "U1 pin 5 (P3) has no pull-up: no resistor goes from its net DOWN to"
         " supply"},
    ),
    "pull-up at the wrong net": (
        changed(harbour(), R6={"2": "UP"}),
        {"board.pull-up": "U1 pin 5 (P3) has no pull-up: no resistor goes from its net DOWN to"
         " supply",
         "board.values": "R5 and R6 is 19.5 kΩ; the sheet has 39 kΩ ± 5 % (pull-up.value)"},
    ),
    "pull-up to ground": (
        changed(harbour(), R6={"1": "GND"}),
        {"board.pull-up": "U1 pin 5 (P3) has no pull-up: no resistor goes from its net DOWN to"
         " supply; R6 pulls DOWN to ground"},
    ),
    "open serial input": (
        changed(harbour(), U1={"11": None}),
        {"board.open": "U1 pin 11 (serial) is open; it belongs on ground"},
    ),
    "open input": (
        changed(harbour(), U1={UP: None}),
        {"board.open": "U1 pin 4 (P4) is open; it belongs on Up",
         "board.buttons": "SW5 (Up) goes to no input of the register; it belongs on U1 pin 4 (P4)"},
    ),
    "exchanged": (
        changed(harbour(), U1={"16": "GND", "8": "VCC"}),
        {"board.supply": "supply and ground are exchanged at U1: ground is on pin 16, not 8,"
         " supply is on pin 8, not 16"},
    ),
    "latch and clock": (
        changed(harbour(), U1={"9": "CLOCK", "10": "LATCH"}),
        {"board.lines": "U1 pin 9 (load) goes to CLOCK; it belongs on latch; U1 pin 10"
         " (clock) goes to LATCH; it belongs on clock"},
    ),
    "data from the wrong output": (
        changed(harbour(), U1={"3": None, "12": "DATA"}),
        {"board.lines": "U1 pin 3 (Q8) goes to nothing, and data comes from U1 pin 12 (Q7); it"
         " belongs on data"},
    ),
    "two nets are one": (
        changed(harbour(), U1={DOWN: "UP"}, SW6={"1": "UP"}, R6={"2": "UP"}),
        None,
    ),
    "an input on ground": (
        changed(harbour(), U1={UP: "GND"}),
        {"board.buttons": "SW5 (Up) goes to no input of the register; it belongs on U1 pin 4 (P4)",
         "board.short": "GND and U1 pin 4 (P4) share the net GND"},
    ),
    "nothing done": (
        with_part(R20=Part("10k", {"1": "UP", "2": "UP"})),
        {"board.no-effect": "R20 does nothing: a side is open, or both are on one net (UP)"},
    ),
    "one side open": (
        with_part(C2=Part("100n", {"1": "VCC"})),
        {"board.no-effect": "C2 does nothing: a side is open, or both are on one net (VCC)"},
    ),
    "another value": (
        with_part(R9=Part("36k", {"1": "VCC", "2": "LATCH"})),
        {"board.values": "R9 is 36 kΩ; the sheet has 3.6 kΩ ± 5 % (resistors.latch-to-supply)"},
    ),
    "a resistor left out": (
        {name: part for name, part in harbour().items() if name != "R10"},
        {"board.values": "no resistor goes from clock to supply; the sheet has 3.6 kΩ"
         " ± 5 % (resistors.clock-to-supply)"},
    ),
    "contact to supply": (
        changed(harbour(), SW5={"2": "VCC"}),
        {"board.contacts": "SW5 (Up) goes from UP to VCC, not to ground"},
    ),
    "no contact": (
        {name: part for name, part in harbour().items() if name != "SW5"},
        {"board.contacts": "there is no contact of Up, which belongs on U1 pin 4 (P4)"},
    ),
    "a line without a core": (
        changed(harbour(), J1={"4": None}),
        {"board.lines": "U1 pin 3 (Q8) goes to nothing; it belongs on data; DATA (data)"
         " reaches no pin of J1, and one plug takes all lines"},
    ),
    "another register": (
        with_part(U1=replace(harbour()["U1"], value="HEF4021BT")),
        {"board.register": "U1 is a HEF4021B on the board; the sheet has a CD4021B"},
    ),
    "a resistor between two lines": (
        with_part(R20=Part("10k", {"1": "LATCH", "2": "CLOCK"})),
        {"board.no-place": "R20 goes from LATCH to CLOCK, for which the sheet has no place"},
    ),
    "a diode the wrong way round": (
        with_part(D1=Part("1N4148", {"1": "CLOCK", "2": "GND"}, {"1": "A", "2": "K"})),
        {"board.no-place": "D1 conducts from CLOCK to GND; turn it round, or give an indicator"
         " its resistor"},
    ),
    "a second contact that is not read": (
        with_part(SW9=Part("A", {"1": "OTHER", "2": "GND"}), TP1=Part("", {"1": "OTHER"})),
        {"board.buttons": "SW9 (A) goes to no input of the register; it belongs on U1 pin 1 (P8)"},
    ),
    "a gate whose input floats": (
        with_part(U3=Part("74HC14", {"7": "GND", "14": "VCC", "1": "GND", "3": "GND", "5": "GND",
                                     "9": "GND", "11": "GND"})),
        {"board.open": "U3 pin 13 is open; it belongs on ground, if it is not used"},
    ),
    "a capacitor at an input": (
        with_part(C5=Part("1u", {"1": "UP", "2": "GND"})),
        {"board.values": "C5 (1u) takes 90.1 ms to let a contact's net rise after a release, and"
         " the next poll comes in 16.6 ms"},
    ),
    "the output of an inverter on data": (
        with_part(U3=Part("74HC1G04", {"2": "GND", "3": "GND", "4": "DATA", "5": "VCC"})),
        {"board.no-place": "the output of the inverter U3 pin 2 is on DATA, where the sheet has no"
         " place for it"},
    ),
    "the output of an inverter on an input": (
        with_part(U3=Part("74HC1G04", {"2": "GND", "3": "GND", "4": "UP", "5": "VCC"})),
        {"board.no-place": "the output of the inverter U3 pin 2 is on UP, where the sheet has no"
         " place for it"},
    ),
    "a collector on clock": (
        with_part(Q1=Part("BC547", {"1": "CLOCK", "2": "BASE", "3": "GND"},
                          {"1": "C", "2": "B", "3": "E"}),
                  R30=Part("10k", {"1": "LATCH", "2": "BASE"})),
        None,
    ),
    "a test point on two nets": (
        with_part(TP1=Part("", {"1": "DATA", "2": "GND"})),
        {"board.no-place": "TP1 goes from DATA to GND, for which the sheet has no place"},
    ),
    "a bridge between two inputs": (
        with_part(W1=Part("wire", {"1": "UP", "2": "DOWN"})),
        None,
    ),
    "a bridge between two lines": (
        with_part(W1=Part("wire", {"1": "LATCH", "2": "CLOCK"})),
        {"board.no-place": "W1 goes from LATCH to CLOCK, for which the sheet has no place"},
    ),
    "a resistor of nothing between two lines": (
        with_part(R30=Part("0R", {"1": "LATCH", "2": "VCC"})),
        {"board.no-place": "R30 goes from LATCH to VCC, for which the sheet has no place"},
    ),
    "a coil that is no wire": (
        changed(harbour(), U1={"10": "INNER"}) | {"L1": Part("10H", {"1": "CLOCK", "2": "INNER"})},
        {"board.lines": "U1 pin 10 (clock) goes to INNER; it belongs on clock",
         "board.no-place": "L1 goes from CLOCK to INNER, for which the sheet has no place"},
    ),
    "a tie that is none": (
        changed(harbour(), U1={"11": "TIED"}) | {"R30": Part("1G", {"1": "TIED", "2": "GND"})},
        {"board.values": "R30 is too large to tie an input: the leakage of the input leaves 1 kV"
         " across it"},
    ),
    "data at a test point alone": (
        changed(harbour(), J1={"4": None}) | {"TP1": Part("", {"1": "DATA"})},
        {"board.lines": "DATA (data) reaches no pin of J1, and one plug takes all lines"},
    ),
    "supply and ground at the plug": (
        with_part(J1=replace(harbour()["J1"], names={"1": "VCC", "5": "GND"})),
        {"board.lines": "J1 pin 1 (VCC) goes to GND; it belongs on supply; J1 pin 5 (GND) goes to"
         " VCC; it belongs on ground"},
    ),
    "latch and clock at the plug": (
        with_part(J1=replace(harbour()["J1"], names={"2": "LATCH", "3": "CLK", "4": "DATA"})),
        {"board.lines": "J1 pin 2 (LATCH) goes to CLOCK; it belongs on latch; J1 pin 3 (CLK) goes"
         " to LATCH; it belongs on clock"},
    ),
    "a divider in a line": (
        changed(harbour(), U1={"10": "INNER"}, R10={"2": "INNER"})
        | {"R30": Part("10k", {"1": "CLOCK", "2": "INNER"})},
        None,
    ),
    "turned package": (
        with_part(
            U1=Part("CD4021BE", {str((int(pin) + 7) % 16 + 1): net
                                 for pin, net in harbour()["U1"].pins.items()})
        ),
        None,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_named_with_the_references_of_the_board(judged, name):
    parts, says = FAULTS[name]
    found = fails(judged(parts))
    assert found
    if says is not None:
        assert found == says


def test_a_mirrored_footprint_is_named_as_such_and_nothing_else(judged):
    found = fails(judged(harbour("c")))
    assert [*found] == ["board.footprint"]
    assert "the pins of U1 are numbered as seen from below" in found["board.footprint"]
    assert "A is on pin 16, not 1" in found["board.footprint"]


def test_what_is_wrong_besides_a_mirrored_footprint_is_told_too(judged):
    parts = {name: part for name, part in harbour("c").items() if name != "R6"}
    assert {*fails(judged(parts))} == {"board.footprint", "board.pull-up"}


def test_supply_and_ground_in_one_are_a_short(judged):
    """Told by the names of the connector's pins, as the net has but one."""
    one = {
        name: replace(part, pins={p: net.replace("GND", "VCC") for p, net in part.pins.items()})
        for name, part in harbour().items()
    }
    one["J1"] = replace(one["J1"], names={"1": "GND"})
    assert "ground and supply share the net VCC" in fails(judged(one)).get("board.short", "")


def test_what_is_left_out_is_told(judged):
    parts = with_part(U9=Part("MCU", {"1": "VCC", "2": "GND"}))
    found = judged(parts, board=f'{PLUG}ignore = ["U9"]\n')
    assert fails(found) == {}
    told = found["board.left-out"]
    assert (told.verdict, told.says) == ("not-judged", "U9 is not judged: [board] ignore names it")


def test_the_capacitors_are_told_with_their_values(judged):
    """One of some nanofarads for each chip, else it is a warning; whichever chip it is beside."""
    supply = {"1": "VCC", "2": "GND"}
    gate = Part("74HC1G04", {"2": "LATCH", "3": "GND", "4": "X", "5": "VCC"})
    none = {name: part for name, part in harbour().items() if name != "C1"}
    for parts, verdict, says in (
        (harbour(), "pass", "C1 (100n) from supply to ground, for U1"),
        (none, "not-judged", "warning: no capacitor from supply to ground, for U1; 100 nF beside"),
        (with_part(C1=Part("10p", supply)), "not-judged", "warning: C1 (10p) from supply to"),
        (with_part(C1=Part("", supply)), "not-judged", "warning: C1 (of no value) from supply"),
        (with_part(U2=gate), "not-judged", "warning: C1 (100n) from supply to ground, for U1, U2"),
        (with_part(U2=gate, C2=Part("100n", supply)), "pass", "C1 (100n), C2 (100n) from"),
    ):
        found = judged(parts)["board.decoupling"]
        assert (found.verdict, found.says[: len(says)]) == (verdict, says)
        assert found.warns == (verdict != "pass") == (found.measured < found.limit)
        assert found.rests_on == "common practice"


def test_a_serial_input_on_supply_is_told_where_the_board_alone_says_so(tmp_path):
    (tmp_path / "pad.net").write_text(write(changed(harbour(), U1={"11": "VCC"}), "s-expression"))
    sheet = load_sheet(tmp_path / "pad.net")
    found = {one.id: one for one in judge_board(board_of(sheet), sheet)}
    assert found["board.left-out"].says.count("U1 pin 11 (serial) is not judged: it is tied")


def test_a_large_capacitor_on_a_line_fails_the_pad(tmp_path):
    parts = with_part(C9=Part("100n", {"1": "CLOCK", "2": "GND"}))
    (tmp_path / "pad.net").write_text(write(parts, "s-expression"))
    electric = judge_electric(load_sheet(tmp_path / "pad.net"), remedies=False)
    failing = {one.id for one in electric.findings if one.verdict == "fail"}
    assert any(id_.startswith("clock.") for id_ in failing)


def test_two_nets_that_are_one_are_a_short(judged):
    found = fails(judged(FAULTS["two nets are one"][0]))
    assert "U1 pin 4 (P4) and U1 pin 5 (P3) share the net UP" in found["board.short"]


@pytest.mark.parametrize("pin", range(1, 17))
def test_no_pin_can_be_moved_unseen(judged, pin):
    """Each pin of the register, but unused outputs, on each other net of the board."""
    parts = harbour()
    own = parts["U1"].pins.get(str(pin))
    if own is None:
        return
    for net in ("VCC", "GND", "LATCH", "DATA", "UP", "LEFT", None):
        if net != own:
            assert fails(judged(changed(parts, U1={str(pin): net}))), net


# ── recognition ──────────────────────────────────────────────────────────────────────────────────


def test_series_resistors_inverter_and_chips_beside_are_recognised(judged):
    parts = with_part(
        U1=Part("74HC165", {
            **{"1": "LOAD", "2": "CLOCK_IN", "9": "SERIAL_OUT", "10": "GND", "15": "GND"},
            **{"8": "GND", "16": "VCC", "11": "RIGHT", "12": "LEFT", "13": "DOWN", "14": "UP"},
            **{"3": "START", "4": "SELECT", "5": "B", "6": "A"},
        }),
        U2=Part("74LVC1G04", {"2": "LATCH", "3": "GND", "4": "LOAD", "5": "VCC"}),
        R21=Part("100", {"1": "CLOCK", "2": "CLOCK_IN"}),
        R22=Part("100", {"1": "DATA", "2": "SERIAL_OUT"}),
        D1=Part("ESD", {"1": "GND", "2": "CLOCK"}, {"1": "A", "2": "K"}),
    )  # fmt: skip
    sheet = STARTER.replace("CD4021B", "74HC165", 1).replace(
        "latch-inverted = false", "latch-inverted = true"
    )
    found = judged(parts, sheet=sheet)
    assert fails(found) == {}
    assert found["board.series"].facts["parts"] == ("R21", "R22")
    without = {**parts, "U1": changed(parts, U1={"1": "LATCH"})["U1"]}
    assert "latch" in fails(judged(without, sheet=sheet))["board.lines"]


BY_INVERTER = STARTER.replace("CD4021B", "74HC165", 1).replace(
    "latch-inverted = false", "latch-inverted = true"
)
ON_PUSH_PULL = STARTER.replace('ports = ["push-pull", "pull-down-only"]', 'ports = ["push-pull"]')


def test_a_transistor_is_an_inverter(judged):
    parts = changed(harbour(), U1={"9": "LOAD"}) | {
        "Q1": Part("BC547", {"1": "LOAD", "2": "BASE", "3": "GND"}, {"1": "C", "2": "B", "3": "E"}),
        "R30": Part("10k", {"1": "LATCH", "2": "BASE"}),
        "R31": Part("4.7k", {"1": "VCC", "2": "LOAD"}),
    }
    says = "U1 pin 9 (load) goes to LOAD, through the inverter Q1; it belongs on latch"
    assert fails(judged(parts, sheet=ON_PUSH_PULL)) == {"board.lines": says}


HELD_BY_165 = {
    **{"1": "LOAD", "2": "CLOCK", "9": "DATA", "10": "GND", "15": "GND", "8": "GND", "16": "VCC"},
    **{"11": "RIGHT", "12": "LEFT", "13": "DOWN", "14": "UP"},
    **{"3": "START", "4": "SELECT", "5": "B", "6": "A"},
}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({}, {}),
        ({"R31": None}, {"board.pull-up": "Q1 has no pull-up: no resistor goes from its net LOAD to"
                         " supply"}),
        ({"R31": Part("10M", {"1": "VCC", "2": "LOAD"})},
         {"board.values": "R31 is too large to tie an input: the leakage of the input leaves 10 V"
          " across it", "board.inverter": "R31 lifts the load pin in 517 µs; half the time of the"
          " latch is 2.7 µs"}),
        ({"R30": Part("10M", {"1": "LATCH", "2": "BASE"})},
         {"board.inverter": "R30 lets no more than 395 nA into the base, which needs 55.9 µA, a"
          " twentieth of the collector's"}),
        ({"R31": Part("1M", {"1": "VCC", "2": "LOAD"})}, None),
        ({"R30": Part("10", {"1": "LATCH", "2": "BASE"})}, None),
        ({"R31": Part("10", {"1": "VCC", "2": "LOAD"})}, None),
        ({"R32": Part("47k", {"1": "BASE", "2": "GND"})}, {}),
        ({"R32": Part("2.7k", {"1": "BASE", "2": "GND"})}, {}),
        ({"R32": Part("1k", {"1": "BASE", "2": "GND"})}, None),
        ({"R32": Part("3.6k", {"1": "VCC", "2": "BASE"})},
         {"board.no-place": "R32 goes from VCC to BASE, for which the sheet has no place"}),
        ({"Q1": Part("BC557", {"1": "LOAD", "2": "BASE", "3": "GND"},
                     {"1": "C", "2": "B", "3": "E"})},
         {"board.inverter": "Q1 (BC557) is a PNP or p-channel transistor, which a high latch"
          " does not switch on: take an NPN or n-channel one, its emitter or source on ground"}),
        ({"R30": Part("0R", {"1": "LATCH", "2": "BASE"})},
         {"board.no-place": "Q1 has its base on LATCH without a resistor between"}),
    ],
)  # fmt: skip
def test_a_transistor_before_the_load_pin(judged, change, says):
    """On a port that drives the latch both ways; no file of another program has such figures."""
    parts = with_part(
        U1=Part("74HC165", HELD_BY_165),
        Q1=Part("BC547", {"1": "LOAD", "2": "BASE", "3": "GND"}, {"1": "C", "2": "B", "3": "E"}),
        R30=Part("10k", {"1": "LATCH", "2": "BASE"}),
        R31=Part("4.7k", {"1": "VCC", "2": "LOAD"}),
    )
    parts = {name: part for name, part in {**parts, **change}.items() if part is not None}
    sheet = ON_PUSH_PULL.replace("CD4021B", "74HC165", 1).replace(
        "latch-inverted = false", "latch-inverted = true"
    )
    found = judged(parts, sheet=sheet)
    if says is None:
        assert {*fails(found)} - {"board.values"} == {"board.inverter"}
    else:
        assert fails(found) == says
    inverter = found["board.inverter"]
    assert any(source.kind == "from memory" for source in inverter.sources)
    assert "Q1 is not judged: its delay, which is reckoned as none" in found["board.left-out"].says


def test_a_transistor_stays_on_where_a_low_is_a_diode_s_drop(judged):
    """And a gate has its capacitance to fill."""
    parts = changed(harbour(), U1={"9": "LOAD"}) | {
        "Q1": Part("Q_NPN_CBE", {"1": "LOAD", "2": "BASE", "3": "GND"}),
        "R30": Part("10k", {"1": "LATCH", "2": "BASE"}),
        "R31": Part("4.7k", {"1": "VCC", "2": "LOAD"}),
    }
    assert fails(judged(parts))["board.inverter"].startswith("Q1 stays on where a low latch leaves")
    divided = parts | {"R32": Part("10k", {"1": "BASE", "2": "GND"})}
    assert "board.inverter" not in fails(judged(divided))
    too_little = parts | {"R32": Part("47k", {"1": "BASE", "2": "GND"})}
    assert "Q1 stays on" in fails(judged(too_little))["board.inverter"]
    parts |= {"Q1": Part("NMOS_DGS", parts["Q1"].pins)}
    assert "board.inverter" not in fails(judged(parts))
    parts |= {"R32": Part("100k", {"1": "BASE", "2": "GND"})}
    assert "board.inverter" not in fails(judged(parts))
    short = parts | {"R32": Part("10k", {"1": "BASE", "2": "GND"})}
    assert "R32 leaves the gate 50 % of" in fails(judged(short))["board.inverter"]
    parts |= {"R30": Part("10M", {"1": "LATCH", "2": "BASE"})}
    assert fails(judged(parts))["board.inverter"].startswith("R30 lifts the gate in 1.3")
    for value in ("PMOS_DGS", "BSS84"):
        parts |= {"Q1": Part(value, parts["Q1"].pins, {"1": "D", "2": "G", "3": "S"})}
        assert f"Q1 ({value}) is a PNP or p-channel" in fails(judged(parts))["board.inverter"]


def test_a_transistor_turned_round_is_a_finding(judged):
    parts = {**with_part(
        U1=Part("74HC165", HELD_BY_165),
        Q1=Part("BC547", {"1": "GND", "2": "BASE", "3": "LOAD"}, {"1": "C", "2": "B", "3": "E"}),
        R30=Part("10k", {"1": "LATCH", "2": "BASE"}),
        R31=Part("4.7k", {"1": "VCC", "2": "LOAD"}),
    )}  # fmt: skip
    says = "Q1 has on LOAD its E, and its C on ground: exchange the two on the board, or where its"
    sheet = BY_INVERTER.replace(', "pull-down-only"]', "]")
    assert fails(judged(parts, sheet=sheet)) == {"board.inverter": f"{says} pins are named"}


def test_a_capacitor_with_poles_stands_the_right_way_round(judged):
    def board(plus, minus):
        return judged(with_part(C9=Part("10u", {"1": plus, "2": minus}, {"1": "+", "2": "-"})))

    assert fails(board("VCC", "GND")) == {}
    says = "C9 has its + on GND and its - on VCC: turn it round"
    assert fails(board("GND", "VCC")) == {"board.no-place": says}


@pytest.mark.parametrize(
    ("symbol", "value", "poles"),
    [
        ("C_Polarized", "10u", True),
        ("CP_Small", "10u", True),
        ("C", "100uF/16V Elko", True),
        ("C", "10u", False),
        ("C_Unpolarized", "10u", False),
        ("C_Bipolar", "10u", False),
    ],
)
def test_pin_1_of_a_capacitor_with_poles_is_its_positive_one(tmp_path, symbol, value, poles):
    """Common practice, no source: as symbols have it that name their pins 1 and 2 alone."""
    source = f'(libsource (lib "Device") (part "{symbol}") (description "a capacitor"))'
    for pins, wrong in ({"1": "VCC", "2": "GND"}, False), ({"1": "GND", "2": "VCC"}, poles):
        netlist = write(with_part(C9=Part(value, pins)), "s-expression")
        netlist = netlist.replace(f'"C9") (value "{value}")', f'"C9") (value "{value}") {source}')
        (tmp_path / "pad.net").write_text(netlist)
        sheet = load_sheet(tmp_path / "pad.net")
        found = {one.id: one for one in judge_board(board_of(sheet), sheet)}
        assert ("C9 has its pin 1 on GND" in fails(found).get("board.no-place", "")) == wrong


@pytest.mark.parametrize(
    ("value", "pins", "says"),
    [
        ("BZX84C2V7", ("GND", "DATA"), "conducts from 2.56 V on, less than the supply, between"),
        ("BZX84C3V3", ("GND", "VCC"), "D1 (BZX84C3V3) conducts from 3.13 V on"),
        ("5.1V Zener", ("CLOCK", "VCC"), "D1 (5.1V Zener) conducts from 4.84 V on"),
        ("ZMM3.3", ("GND", "DATA"), "D1 (ZMM3.3) conducts from 3.13 V on"),
        ("1N4728A", ("GND", "DATA"), "D1 (1N4728A) conducts from 3.13 V on"),
        ("1N4736A", ("GND", "DATA"), ""),
        ("1N4620", ("GND", "DATA"), "D1 (1N4620) conducts from 3.13 V on"),
        ("ESD5Z2.5T1G", ("GND", "DATA"), "D1 (ESD5Z2.5T1G) conducts from 2.75 V on"),
        ("BZX79-2.7", ("GND", "DATA"), "D1 (BZX79-2.7) conducts from 2.56 V on"),
        ("zener 3,3V 0.5W", ("GND", "DATA"), "conducts from 3.13 V on"),
        ("1N746A", ("GND", "DATA"), "D1 (1N746A) conducts from 3.13 V on"),
        ("MMSZ5231B", ("GND", "VCC"), "D1 (MMSZ5231B) conducts from 4.84 V on"),
        ("1N4735A", ("GND", "DATA"), ""),
        ("TVS 3V3", ("GND", "CLOCK"), "D1 (TVS 3V3) conducts from 3.63 V on"),
        ("SMAJ5.0A", ("GND", "VCC"), ""),
        ("BZX84C6V2", ("GND", "DATA"), ""),
        ("BAT54", ("GND", "DATA"), ""),
    ],
)
def test_a_zener_below_the_supply_is_no_clamp(judged, value, pins, says):
    """Volts in the names of general families (common practice, no source)."""
    names = {"1": "A", "2": "K"}
    board = with_part(D1=Part(value, dict(zip("12", pins, strict=True)), names))
    found = judged(board)
    assert says in fails(found).get("board.values", "")
    assert bool(says) == bool(fails(found))
    kinds = {source.kind for source in found["board.values"].sources}
    assert ({"common practice", "from memory"} <= kinds) is bool(says)
    assert found["board.left-out"].verdict == "pass"


def test_a_zener_whose_name_tells_no_volts_is_asked_for(judged):
    def board(value):
        return with_part(D1=Part(value, {"1": "GND", "2": "DATA"}, {"1": "A", "2": "K"}))

    for value in ("D_Zener", "DDZ9685", "Zener 0.5W"):
        with pytest.raises(SheetError, match=r'is a zener diode, .* D1 = "BZX84C5V6" under'):
            judged(board(value))
    given = PLUG + '[board.parts]\nD1 = "zener VOLTS"\n'
    found = judged(board("D_Zener"), board=given.replace("VOLTS", "2.7 V"))
    assert "D1 (zener 2.7 V) conducts from" in fails(found)["board.values"]
    assert fails(judged(board("D_Zener"), board=given.replace("VOLTS", "6.2 V"))) == {}
    # What is made for lines of 5 V mostly has no volts in its name.
    told = judged(board("ESD"))["board.left-out"].says
    assert "D1 (ESD) is not judged: its value does not tell" in told


@pytest.mark.parametrize(
    ("pins", "says"),
    [
        ({"3": "VCC", "5": "GND"},
         {"board.supply": "U2 pin 5 goes to GND; it belongs on supply; U2 pin 3 goes to VCC; it"
          " belongs on ground"}),
        ({"5": "LOOSE"}, {"board.open": "U2 pin 5 is open; it belongs on supply"}),
        ({"3": None}, {"board.open": "U2 pin 3 is open; it belongs on ground"}),
    ],
)  # fmt: skip
def test_an_inverter_s_own_supply_and_ground_are_judged(judged, pins, says):
    gate = {"2": "LATCH", "3": "GND", "4": "LOAD", "5": "VCC", **pins}
    gate = {pin: net for pin, net in gate.items() if net}
    parts = with_part(U1=Part("74HC165", HELD_BY_165), U2=Part("74LVC1G04", gate))
    sheet = ON_PUSH_PULL.replace("CD4021B", "74HC165", 1)
    sheet = sheet.replace("latch-inverted = false", "latch-inverted = true")
    assert fails(judged(parts, sheet=sheet)) == says


def test_an_inverter_for_a_lower_supply_is_told(judged):
    """74AUP: 3.6 V, 74AUC: 2.7 V (from memory)."""
    gate = {"2": "LATCH", "3": "GND", "4": "LOAD", "5": "VCC"}

    def found(value, ports='"push-pull"'):
        parts = with_part(U1=Part("74HC165", HELD_BY_165), U2=Part(value, gate))
        sheet = ON_PUSH_PULL.replace("CD4021B", "74HC165", 1).replace('"push-pull"', ports)
        sheet = sheet.replace("latch-inverted = false", "latch-inverted = true")
        return fails(judged(parts, sheet=sheet))

    says = "U2 (74AUP1G14) takes no more than 3.6 V, and has up to 5.25 V"
    assert found("74AUP1G14") == {"board.values": says}
    assert found("74AUP1G14", '"3v3-adapter"') == {}
    assert "2.7 V" in found("SN74AUC1G04", '"3v3-adapter"')["board.values"]
    assert found("74LVC1G14") == {}


LINES_TO = {"1": "LATCH", "2": "GND", "3": "CLOCK", "4": "CLOCK", "5": "VCC", "6": "LATCH"}
IO = {"1": "I/O1", "2": "GND", "3": "I/O2", "4": "I/O2", "5": "VBUS", "6": "I/O1"}


@pytest.mark.parametrize(
    ("part", "says"),
    [
        (Part("USBLC6-2SC6", LINES_TO), {}),
        (Part("some array", LINES_TO, IO), {}),
        (Part("PRTR5V0U2X", {"1": "GND", "2": "LATCH", "3": "DATA", "4": "VCC"}), {}),
        (Part("PESD5V0L2BT", {"1": "LATCH", "2": "DATA", "3": "GND"}), {}),
        (Part("BAT54S", {"1": "GND", "2": "VCC", "3": "DATA"}), {}),
        (Part("USBLC6-2SC6", {**LINES_TO, "3": "GND", "2": "CLOCK", "4": "GND"}),
         {"board.no-place": "D1.1 goes from CLOCK to LATCH, for which"}),
        (Part("USBLC6-2SC6", {**LINES_TO, "2": "VCC", "5": "GND"}),
         {"board.no-place": "D1.1 conducts from VCC to LATCH"}),
        (Part("some array", {**LINES_TO, "2": "LOOSE"}, IO),
         {"board.open": "D1 pin 2 is open; it belongs on ground"}),
        (Part("PRTR5V0U2X", {"1": "LOOSE", "2": "LATCH", "3": "DATA", "4": "LOOSE4"}),
         {"board.open": "D1 pin 1 is open; it belongs on ground"}),
        (Part("BAT54S", {"1": "VCC", "2": "GND", "3": "DATA"}),
         {"board.no-place": "D1.1 conducts from VCC to DATA"}),
        (Part("PESD3V3L2BT", {"1": "LATCH", "2": "DATA", "3": "GND"}),
         {"board.values": "conducts from 3.63 V on"}),
    ],
)  # fmt: skip
def test_an_array_of_diodes_is_each_of_them(judged, part, says):
    """Pins by data sheets (from memory): value or names of pins tell, whatever its reference."""
    for reference in ("D1", "U7"):
        found = fails(judged(with_part(**{reference: part})))
        assert {*found} == {*says}
        assert all(text.replace("D1", reference) in found[id_] for id_, text in says.items())


def by_gate(value):
    """A board whose latch is turned by a gate."""
    gate = Part(value, {"2": "LATCH", "3": "GND", "4": "LOAD", "5": "VCC"})
    if "1G" not in value and "7S" not in value:
        gate = Part(value, {"1": "LATCH", "2": "LOAD", "7": "GND", "14": "VCC",
                            **dict.fromkeys(("3", "5", "9", "11", "13"), "GND")})  # fmt: skip
    return with_part(U1=Part("74HC165", HELD_BY_165), U2=gate)


@pytest.mark.parametrize(
    ("value", "any_edge"),
    [("74HC1G14", True), ("74HC14", True), ("CD40106B", True), ("74HC1G04", False)],
)
def test_a_schmitt_gate_takes_any_edge_of_the_latch(judged, tmp_path, value, any_edge):
    """Data sheets set no limit of edges for such inputs (from memory)."""
    judged(by_gate(value), sheet=BY_INVERTER)
    sheet = load_sheet(tmp_path / "pad.toml")
    verdicts = {one.id: one.verdict for one in judge_electric(sheet, remedies=False).findings}
    assert verdicts["latch.rise"] == ("pass" if any_edge else "fail")
    assert verdicts["clock.rise"] == "fail"


@pytest.mark.parametrize(
    ("value", "port", "says"),
    [
        ("SN74LVC04A", "push-pull", "takes no more than 3.6 V, and has up to 5.25 V"),
        ("74LVC1G04", "push-pull", ""),
        ("74AXP1G04", "push-pull", "takes no more than 2.75 V"),
        ("NC7SP04", "push-pull", "takes no more than 3.6 V"),
        ("74HCT04", "3v3-adapter", "wants at least 4.5 V"),
        ("74HC04", "3v3-adapter", ""),
        ("74HCT04", "push-pull", ""),
        ("74LS04", "push-pull", "may lift the load pin to no more than 2.7 V, and 3.67 V and more"),
    ],
)
def test_a_gate_suits_supply_and_load_pin(judged, value, port, says):
    """Figures of the families from memory; 70 % of 5.25 V is 3.675 V."""
    sheet = BY_INVERTER.replace('ports = ["push-pull", "pull-down-only"]', f'ports = ["{port}"]')
    said = fails(judged(by_gate(value), sheet=sheet)).get("board.values", "")
    assert said.startswith("U2") if says else not said
    assert says in said


def test_a_bipolar_gate_may_be_lifted_by_a_resistor(judged):
    parts = {**by_gate("74LS04"), "R33": Part("1k", {"1": "VCC", "2": "LOAD"})}
    assert fails(judged(parts, sheet=BY_INVERTER.replace(', "pull-down-only"]', "]"))) == {}


def test_an_array_whose_pins_are_one_line_joins_no_two(judged):
    """Pins 1 and 6, 3 and 4 of this array are one line each (its data sheet, from memory)."""

    def board(six):
        return judged(
            with_part(
                D1=Part(
                    "USBLC6-2SC6",
                    {"1": "LATCH", "2": "GND", "3": "CLOCK", "4": "CLOCK", "5": "VCC", "6": six},
                )
            )
        )

    assert fails(board("LATCH")) == {}
    says = "D1 (USBLC6-2SC6) joins LATCH and DATA inside"
    assert "from memory" in {source.kind for source in board("DATA")["board.short"].sources}
    assert fails(board("DATA")) == {"board.short": says}


def test_a_gate_that_is_no_schmitt_gate_is_told_where_the_sheet_has_one(judged):
    sheet = BY_INVERTER.replace("[buttons]", "schmitt-inverter = true\n[buttons]", 1)
    says = "U2 pin 2 is a 74HC1G04; the sheet has a Schmitt gate (register.schmitt-inverter)"
    assert fails(judged(by_gate("74HC1G04"), sheet=sheet)) == {"board.values": says}
    assert fails(judged(by_gate("74HC1G14"), sheet=sheet)) == {}


@pytest.mark.parametrize(
    ("value", "least"), [("74HCT1G14", "0.5 V"), ("74HCT1G04", "0.8 V"), ("74HC1G04", "")]
)
def test_a_gate_must_read_the_low_of_a_port_with_diodes(judged, value, least):
    said = fails(judged(by_gate(value), sheet=BY_INVERTER)).get("board.values", "")
    assert said.startswith(f"U2 pin 2 ({value}) reads {least} and less as low" if least else "")
    assert bool(said) == bool(least)


@pytest.mark.parametrize("value", ["NC7SZ14", "TC7SH04FU", "NL17SZ14", "MC74VHC1GT04", "74LVC1GU04",
                                   "74AHC1G14"])  # fmt: skip
def test_a_single_gate_is_an_inverter_by_many_names(judged, value):
    gate = {"2": "LATCH", "3": "GND", "4": "LOAD", "5": "VCC"}
    parts = changed(harbour(), U1={"9": "LOAD"}) | {"U2": Part(value, gate)}
    says = "U1 pin 9 (load) goes to LOAD, through the inverter U2 pin 2; it belongs on latch"
    assert fails(judged(parts, sheet=ON_PUSH_PULL)) == {"board.lines": says}


def test_an_indicator_is_told_with_its_current(judged):
    def board(ohms, anode="LIT", cathode="GND"):
        led = Part("LED", {"1": cathode, "2": anode}, {"1": "K", "2": "A"})
        return judged(with_part(D1=led, R60=Part(ohms, {"1": "VCC", "2": "LIT"})))

    assert "D1 (LED) takes 365 mA from the supply" in fails(board("10"))["board.values"]
    lit = board("1k")
    assert fails(lit) == {}
    assert "it draws up to 3.65 mA beside" in lit["board.left-out"].says
    says = "D1 (LED) goes from GND to LIT the wrong way round: it never lights"
    assert fails(board("1k", "GND", "LIT")) == {"board.no-effect": says}


def test_an_indicator_whose_resistor_is_on_its_own_rail_never_lights(judged):
    led = Part("LED", {"1": "LIT", "2": "VCC"}, {"1": "K", "2": "A"})
    found = judged(with_part(D1=led, R60=Part("1k", {"1": "VCC", "2": "LIT"})))
    assert "D1 (LED) goes from VCC to LIT, as its resistor does" in fails(found)["board.no-effect"]
    assert "D1" not in found["board.left-out"].says


def test_a_serial_input_beside_an_indicator_is_not_tied(judged):
    """The LED holds it some volts above the ground that its resistor goes to."""
    led = Part("LED", {"1": "LIT", "2": "VCC"}, {"1": "K", "2": "A"})
    parts = changed(harbour(), U1={"11": "LIT"}) | {"D1": led}
    found = fails(judged(parts | {"R60": Part("1k", {"1": "GND", "2": "LIT"})}))
    assert found == {"board.serial-input": "U1 pin 11 (serial) goes to LIT; it belongs on ground"}


def test_a_diode_in_the_supply_is_told_with_its_drop(judged):
    diode = Part("1N5817", {"1": "VCC", "2": "FED"}, {"1": "K", "2": "A"})
    says = fails(judged(changed(harbour(), J1={"5": "FED"}) | {"D1": diode}))["board.no-place"]
    assert says.startswith("D1 (1N5817) stands in the supply, between FED and VCC: the pad gets")


@pytest.mark.parametrize(
    ("ohms", "poll", "verdict"),
    [("220", "plain-loop", "pass"), ("10k", "plain-loop", "fail"), ("1k", "brisk", "fail")],
)
def test_a_resistor_in_data_is_judged_by_what_is_to_spare(judged, ohms, poll, verdict):
    parts = changed(harbour(), U1={"3": "OUT"}) | {"R60": Part(ohms, {"1": "OUT", "2": "DATA"})}
    found = judged(parts, sheet=STARTER.replace('use = "plain-loop"', f'use = "{poll}"'))
    assert found["board.series"].verdict == verdict
    assert found["board.series"].facts["line"] == "data"


def test_a_resistor_in_data_drops_what_the_port_s_resistor_draws(judged):
    parts = changed(harbour(), U1={"3": "OUT"}) | {"R60": Part("8.2k", {"1": "OUT", "2": "DATA"})}
    sheet = STARTER.replace('["push-pull", "pull-down-only"]', '["pull-down-all-diodes"]')
    assert "R60 drops" in fails(judged(parts, sheet=sheet))["board.values"]


def test_one_plug_carries_all_lines(judged):
    parts = changed(harbour(), J1={"2": None}) | {"J2": Part("Debug", {"1": "CLOCK", "2": "GND"})}
    says = "CLOCK (clock) reaches no pin of J1, and one plug takes all lines"
    assert says in fails(judged(parts))["board.lines"]
    wires = {f"J{pin}": Part("Wire", {"1": net}) for pin, net in harbour()["J1"].pins.items()}
    apart = {name: part for name, part in harbour().items() if name != "J1"} | wires
    assert fails(judged(apart, board="")) == {}


def test_the_order_of_the_plug_s_pins(judged):
    swapped = changed(harbour(), J1={"1": "VCC", "5": "GND"})
    told = fails(judged(swapped))["board.lines"]
    says = "J1 pin 1 goes to supply; it belongs on ground; J1 pin 5 goes to ground; it belongs on"
    assert says in told
    says = 'if it is right: [board] plug = ["supply", "clock", "latch", "data", "ground"]'
    assert says in judged(swapped, board="")["board.left-out"].says
    names = dict(zip("12345", ("GND", "CLK", "LATCH", "DATA", "VCC"), strict=True))
    named = with_part(J1=replace(harbour()["J1"], names=names))
    assert judged(named, board="")["board.left-out"].verdict == "pass"


def test_the_pins_of_a_plug_may_have_letters(judged):
    def board(cores, plug=PLUG):
        parts = with_part(J1=Part("Cable", dict(zip("ABCDE", cores, strict=True))))
        return judged(parts, board=plug)

    cores = ["GND", "CLOCK", "LATCH", "DATA", "VCC"]
    assert fails(board(cores)) == {}
    cores[1:3] = cores[2:0:-1]
    assert "J1 pin B goes to latch; it belongs on clock" in fails(board(cores))["board.lines"]
    untold = board(cores, "")["board.left-out"].says
    assert 'plug = ["ground", "latch", "clock", "data", "supply"]' in untold


def test_a_plug_whose_pins_nobody_counts_is_not_judged(judged):
    cores = {f"PAD{n}": net for n, net in enumerate(("GND", "CLOCK", "LATCH", "DATA", "VCC"))}
    found = judged(with_part(J1=Part("Cable", cores)), board="")
    assert "J1 is not judged: no name tells the order of its pins" in found["board.left-out"].says


def test_a_plug_may_have_a_data_line_of_each_pad(judged):
    """That of the other pad is of no line here; where neither is this one's, that is told."""
    two = PLUG.replace('"supply"]', '"supply", "data"]')
    assert fails(judged(harbour(), board=two)) == {}
    away = changed(harbour(), J1={"4": "OTHER", "7": "DATA"})
    says = "J1 pin 4 goes to open; it belongs on data; J1 pin 6 goes to open; it belongs on data"
    assert says in fails(judged(away, board=two))["board.lines"]


def test_a_contact_that_another_pad_s_name_is_of_is_told(tmp_path):
    """Two pads in a chain, Up of each at the other's register."""
    pads = adapter()
    parts = changed(pads, U1={UP: "P2_UP"}, U2={UP: "P1_UP"})
    (tmp_path / "pads.net").write_text(write(parts, "s-expression"))
    small = ADAPTER_SHEET.replace("NETLIST", "pads.net")
    (tmp_path / "pads.toml").write_text(small)
    found = [one.says for one in padbench.verify(tmp_path / "pads.toml", "idle").findings
             if one.verdict == "fail"]  # fmt: skip
    assert found == [
        "SW502 (Up) goes to U1 and is of P2, not of P1, by its name",
        "SW501 (Up) goes to U2 and is of P1, not of P2, by its name",
    ]
    # The name of a contact may say it as well as its net's.
    called = pads | {"SW501": Part("P2 Up", pads["SW501"].pins)}
    (tmp_path / "pads.net").write_text(write(called, "s-expression"))
    found = padbench.verify(tmp_path / "pads.toml", "idle").findings
    assert ["is of P2, not of P1" in one.says for one in found if one.verdict == "fail"] == [True]


ADAPTER_SHEET = """
[pad]
name = "Two"
supply = "5 V ± 5 %"
[works-with]
ports = ["push-pull"]
[board]
netlist = "NETLIST"
[[pads]]
name = "P1"
register = "U1"
[[pads]]
name = "P2"
register = "U2"
[poll]
use = "plain-loop"
clocks = 16
"""


def test_the_output_of_another_pad_s_register_on_data_is_told(judged):
    common = {"VCC", "GND", "LATCH", "CLOCK"}
    pins = {pin: net if net in common else f"{net}_2" for pin, net in harbour()["U1"].pins.items()}
    apart = with_part(U2=Part("CD4021BE", pins), J2=Part("Cable", {"1": "DATA_2"}))
    assert fails(judged(apart, board='register = "U1"\n')) == {}
    says = "U2 pin 3 (Q8) is on DATA, where the sheet has no place for it"
    joined = with_part(U2=Part("CD4021BE", {**pins, "3": "DATA"}))
    assert fails(judged(joined, board='register = "U1"\n')) == {"board.no-place": says}
    through = changed(apart, U2={"3": "OUT_2"}) | {"R40": Part("100", {"1": "OUT_2", "2": "DATA"})}
    assert {*fails(judged(through, board='register = "U1"\n'))} == {"board.no-place"}


@pytest.mark.parametrize(
    ("ground", "goes"), [({"9": "GND"}, None), ({}, "nothing"), ({"9": "VCC"}, "VCC")]
)
def test_a_membrane_needs_ground_at_its_connector(judged, ground, goes):
    parts = {name: part for name, part in harbour().items() if not name.startswith("SW")}
    pins = {str(pin): name.upper() for pin, name in enumerate(BUTTONS, 1)}
    found = fails(judged({**parts, "J2": Part("Membrane", pins | ground)}))
    assert found.keys() == ({"board.contacts"} if goes else set())
    if goes:
        assert f"J2 (Up) goes from UP to {goes}, not to ground" in found["board.contacts"]


def test_a_resistor_to_supply_behind_one_in_series_is_told(judged):
    parts = changed(harbour(), U1={"10": "INNER"}, R10={"2": "INNER"})
    small = judged({**parts, "R30": Part("47", {"1": "CLOCK", "2": "INNER"})})
    assert fails(small) == {}
    says = "R30, with R10 behind it, is not judged: levels and port.* are reckoned without it"
    assert small["board.left-out"].says == says
    large = fails(judged(FAULTS["a divider in a line"][0]))
    assert "leaves a low at 74 % of the supply" in large["board.values"]


@pytest.mark.parametrize(
    "value",
    ["39k DNP", "DNP 39k", "39k (DNP)", "39k/NF", "39k, DNI", "n.c.", "39k do not fit", "DNP"],
)
def test_a_word_of_not_fitted_counts_anywhere(judged, value):
    parts = harbour()
    found = judged({**parts, "R6": replace(parts["R6"], value=value)})
    assert {*fails(found)} == {"board.pull-up"}


def test_a_wire_and_a_register_that_are_not_fitted_are_none(judged):
    wired = changed(harbour(), U1={"10": "INNER"})
    found = judged({**wired, "R30": Part("0R DNP", {"1": "CLOCK", "2": "INNER"})})
    assert {*fails(found)} == {"board.open"}
    with pytest.raises(SheetError, match="no register"):
        judged(with_part(U1=replace(harbour()["U1"], value="CD4021BE DNP")))


@pytest.mark.parametrize(
    ("value", "ohms"),
    [("39 k", 39e3), ("39k 1%", 39e3), ("39k, 0.25W", 39e3), ("39k/1%/0603", 39e3), ("39K", 39e3),
     ("39 kOhm", 39e3), ("39k 1/4W", 39e3), ("39k (1%)", 39e3)],
)  # fmt: skip
def test_values_are_read_whole(tmp_path, value, ohms):
    parts = {name: replace(part, value=value) if part.value == "39k" else part
             for name, part in harbour().items()}  # fmt: skip
    (tmp_path / "pad.net").write_text(write(parts, "s-expression"))
    value = load_sheet(tmp_path / "pad.net").pull_up.value
    assert (value.low + value.high) / 2 == pytest.approx(ohms, rel=1e-3)


@pytest.mark.parametrize("value", ["1,5k", "39k THT", "39 or 47k", "10,5%", "1/4W", "39 NF"])
def test_a_value_with_more_in_it_is_refused_and_may_be_given(judged, value):
    parts = with_part(R6=replace(harbour()["R6"], value=value))
    with pytest.raises(SheetError, match="R6 has the value"):
        judged(parts)
    assert fails(judged(parts, board='[board.parts]\nR6 = "39k"\n')) == {}


def test_a_hundred_nanofarads_with_a_blank_are_fitted(judged):
    found = judged(with_part(C1=replace(harbour()["C1"], value="100 nF")))
    assert "capacitor" not in found["board.left-out"].says


def test_a_contact_whose_value_is_its_symbol_is_named_in_the_sheet(judged):
    parts = changed(with_part(SW5=Part("SW_Push", {"1": "X7", "2": "GND"})), U1={UP: "X7"},
                    R5={"2": "X7"})  # fmt: skip
    with pytest.raises(SheetError, match="no name tells which button SW5"):
        judged(parts)
    assert fails(judged(parts, board='[board.parts]\nSW5 = "Up"\n')) == {}
    with pytest.raises(SheetError, match='SW6 is "Down" here and "Up"'):
        judged(parts, board='[board.parts]\nSW6 = "Up"\n')


def test_the_pins_of_a_switch_name_no_button(judged):
    parts = with_part(SW5=Part("SW_Push", {"1": "UP", "2": "GND"}, {"1": "A", "2": "B"}))
    assert fails(judged(parts)) == {}


def test_wiring_looks_at_the_board(tmp_path):
    (tmp_path / "pad.net").write_text(write(FAULTS["no pull-up"][0], "s-expression"))
    result = padbench.plan_wiring(tmp_path / "pad.net")
    assert result.exit_code == 1
    assert "board.pull-up" in {one["id"] for one in result.document["findings"]}


def test_a_large_series_resistor_is_no_small_thing(judged):
    parts = changed(harbour(), U1={"3": "OUT"}) | {"R22": Part("100k", {"1": "DATA", "2": "OUT"})}
    assert {*fails(judged(parts))} == {"board.series"}


def test_what_is_on_the_board_besides_is_added_to_the_sheet(tmp_path):
    parts = changed(harbour(), SW1={"1": "PAD_OF_A"}) | {
        "R23": Part("1k", {"1": "PAD_OF_A", "2": "A"}),
        "C9": Part("47p", {"1": "CLOCK", "2": "GND"}),
    }
    (tmp_path / "pad.net").write_text(write(parts, "s-expression"))
    sheet = load_sheet(tmp_path / "pad.net")
    assert sheet.contacts.worn.nominal == pytest.approx(11e3)
    assert sheet.cable.capacitance.nominal == pytest.approx(100e-12 + 47e-12 / 2.5)
    assert "cable.capacitance" in {one.key for one in sheet.assumed}


def test_capacitors_on_one_line_add_up_and_a_tolerance_told_is_kept(tmp_path):
    parts = harbour() | {
        "C8": Part("47p", {"1": "CLOCK", "2": "GND"}),
        "C9": Part("53p", {"1": "GND", "2": "CLOCK"}),
        "C10": Part("60p", {"1": "DATA", "2": "GND"}),
        "R9": Part("3.6k 1%", {"1": "VCC", "2": "LATCH"}),
        "R1": Part("39k 10%", {"1": "VCC", "2": "A"}),
    }
    (tmp_path / "pad.net").write_text(write(parts, "s-expression"))
    sheet = load_sheet(tmp_path / "pad.net")
    assert sheet.cable.capacitance.nominal == pytest.approx(140e-12)
    lifter, pull_up = sheet.resistors.latch_to_supply, sheet.pull_up.value
    assert (lifter.low, lifter.high) == pytest.approx((3564, 3636), rel=1e-5)
    assert (pull_up.low, pull_up.high) == pytest.approx((35100, 42900), rel=1e-5)
    assumed = {one.key for one in sheet.assumed}
    assert "pull-up.value" in assumed
    assert "resistors.latch-to-supply" not in assumed


def test_a_series_resistor_of_no_value_is_not_judged_and_told(judged):
    parts = changed(harbour(), U1={"3": "OUT"}) | {"R22": Part("", {"1": "DATA", "2": "OUT"})}
    found = judged(parts)
    assert fails(found) == {}
    assert found["board.left-out"].says == "R22 is not judged: the netlist gives no value"
    assert found["board.series"].verdict == "not-judged"


@pytest.mark.parametrize("form", ["s-expression", "SPICE"])
def test_a_chain_of_two_registers_is_one_pad(judged, form):
    first = harbour()["U1"].pins | {str(pin): "VCC" for pin in INPUTS.values()} | {"3": "CHAIN"}
    parts = changed(harbour(), U1={"11": "CHAIN"}) | {"U2": Part("CD4021BE", first)}
    sheet = STARTER.replace("stages = 8", "stages = 16")
    for place, name in enumerate(BUTTONS):
        sheet = sheet.replace(f"\n{name} = {8 - place}\n", f"\n{name} = {16 - place}\n")
    assert fails(judged(parts, form, sheet=sheet)) == {}
    says = "U1 pin 11 (serial) goes to CUT; it belongs on U2 pin 3 (Q8)"
    cut = changed({**parts, "TP1": Part("", {"1": "CUT"})}, U1={"11": "CUT"})
    assert fails(judged(cut, sheet=sheet)) == {"board.serial-input": says}
    with pytest.raises(SheetError, match=r"U1 and U2 are not one chain.* stages = 16"):
        judged(cut)
    found = judged(parts, form)
    assert {*fails(found)} == {"board.register"}
    # No pin was compared, so nothing is said to be right.
    assert "pass" not in {one.verdict for one in found.values()}
    assert found["board.left-out"].says.startswith("all else is not judged")


def test_two_pads_on_one_board_are_judged_each_by_its_own_sheet(judged):
    """An adapter: they share latch and clock, and each has its own data line."""
    common = {"VCC", "GND", "LATCH", "CLOCK"}
    parts = harbour()
    for reference, part in harbour().items():
        if reference not in ("R9", "R10", "J1"):
            pins = {p: net if net in common else f"{net}_2" for p, net in part.pins.items()}
            number = reference.lstrip("USWRC")
            name = f"{reference.removesuffix(number)}{int(number) + 20}"
            parts[name] = replace(part, pins=pins)
    assert {"U21", "SW25", "R26", "C21"} <= parts.keys()
    parts["J2"] = Part("Cable", {"1": "GND", "2": "CLOCK", "3": "LATCH", "4": "DATA_2", "5": "VCC"})
    second = 'register = "U21"\ndata = "DATA_2"\n'
    first = 'register = "U1"\n'
    assert fails(judged(parts, board=first)) == {}
    assert fails(judged(parts, board=second)) == {}
    swapped = changed(parts, U21={UP: "DOWN_2", DOWN: "UP_2"})
    assert fails(judged(swapped, board=first)) == {}
    says = "SW25 (Up) goes to U21 pin 5 (P3), and SW26 (Down) to U21 pin 4 (P4)"
    assert fails(judged(swapped, board=second)) == {"board.buttons": f"{says}: the two are swapped"}
    between = {**parts, "R40": Part("1k", {"1": "UP", "2": "UP_2"})}
    assert {*fails(judged(between, board=first))} == {"board.no-place"}


def test_a_pull_up_of_no_value_spoils_none_of_the_others(tmp_path):
    bare = {"R4": Part("", {"1": "VCC", "2": "START"})}
    (tmp_path / "pad.net").write_text(write(with_part(**bare), "s-expression"))
    sheet = load_sheet(tmp_path / "pad.net")
    found = {one.id: one for one in judge_board(board_of(sheet), sheet)}
    assert fails(found) == {}
    assert "R4 is not judged: the netlist gives no value, and 39 kΩ" in found["board.left-out"].says


def test_every_row_of_the_table_says_by_what(tmp_path):
    (tmp_path / "pad.net").write_text(write(harbour(), "s-expression"))
    drawn = board_of(load_sheet(tmp_path / "pad.net"))
    table = {row["reference"]: (row["what"], row["by"]) for row in drawn.rows}
    assert {*table} == {*harbour()} | {"net VCC", "net GND", "net LATCH", "net CLOCK", "net DATA"}
    assert table["SW5"] == ("contact of Up", "its value Up")
    assert table["R9"] == ("latch-to-supply, VCC to LATCH", "its reference letters R")
    assert table["U1"] == ("register, place 1 of 1 in the chain", "its value CD4021BE")


# ── sheet and command line ───────────────────────────────────────────────────────────────────────


def test_a_netlist_alone_is_a_sheet_with_the_rest_assumed():
    sheet = load_sheet(SHEETS / "harbour-a.net")
    assert sheet.buttons["Up"], sheet.buttons["Down"] == (3, 4)
    assert sheet.chip.serial_input == "open"
    assert sheet.resistors.clock_to_supply is None
    assumed = {one.key: one.value for one in sheet.assumed}
    assert assumed["pull-up.value"] == "10 kΩ ± 5 %, as the netlist tells no tolerance"
    assert assumed["poll.use"] == "plain-loop"


def test_a_small_sheet_takes_from_its_netlist_what_it_leaves_out():
    sheet, whole = (load_sheet(SHEETS / f"harbour-{name}.toml") for name in ("board", "b"))
    for table in ("buttons", "pull_up", "resistors", "chip", "cable"):
        assert getattr(sheet, table) == getattr(whole, table)


def test_verify_fails_what_the_board_has_wrong(tmp_path):
    """Though the sheet beside it is a good one."""
    (tmp_path / "pad.net").write_text(write(FAULTS["swapped"][0], "s-expression"))
    (tmp_path / "pad.toml").write_text(STARTER + '\n[board]\nnetlist = "pad.net"\n')
    result = padbench.verify(tmp_path / "pad.toml", "idle")
    assert result.exit_code == 1
    assert [one.id for one in result.findings if one.verdict == "fail"] == ["board.buttons"]
    plan = result.document["plan"]
    assert (plan["holds"], plan["left"]) == (False, ["board.buttons"])
    assert any(section.id == "board" for section in result.sections)


def test_a_sheet_made_from_a_netlist_is_the_board(tmp_path, capsys):
    path = tmp_path / "pad.toml"
    assert main(["new", str(path), "--from", str(SHEETS / "harbour-a.net")]) == 0
    said = capsys.readouterr().out
    assert "so check: pad.supply" in said
    assert "pull-up.value (tolerance)" in said
    assert "buttons: the sheet has them as drawn" in said
    sheet = load_sheet(path)
    assert sheet.buttons == load_sheet(SHEETS / "harbour-a.toml").buttons
    assert sheet.chip.serial_input == "open"
    assert sheet.pull_up.value.nominal == 10e3
    board = judge_board(board_of(sheet), sheet)
    assert {one.id for one in board if one.verdict == "fail"} == set()


def test_what_the_netlist_lacks_is_given_on_the_command_line(tmp_path, capsys):
    path, netlist = tmp_path / "pad.toml", SHEETS / "harbour-b.ipc"
    options = ["--part", "U1=CD4021B", "--part", "R[1-8]=39k", "--part", "R*=3.6k"]
    assert main(["new", str(path), "--from", str(netlist), *options]) == 0
    assert load_sheet(path).resistors.latch_to_supply.nominal == 3600


# ── bad input ────────────────────────────────────────────────────────────────────────────────────

GOOD = write(harbour(), "s-expression")
BAD = {
    "cut off": (GOOD[:-200], "does not end"),
    "cut at a bracket": (GOOD[: GOOD.rindex("(node")], "breaks off"),
    "cut off, IPC": (write(harbour(), "IPC-D-356").replace("999\n", ""), "999 is missing"),
    "cut off, SPICE": (write(harbour(), "SPICE").replace(".end\n", ""), ".end is missing"),
    "an unknown subcircuit": (write(harbour(), "SPICE").replace(".subckt CABLE", ".subckt X"),
                              "whose .subckt is not there"),
    "twice": (GOOD.replace('(ref "R2") (value', '(ref "R1") (value'), "R1 stands there twice"),
    "a pin on two nets": (GOOD.replace('(ref "R2") (pin "2")', '(ref "R1") (pin "2")'),
                          "R1 pin 2 stands on two nets"),
    "no such part": (GOOD.replace('(node (ref "R2")', '(node (ref "R99")'), "no part of it"),
    "a net without a name": (GOOD.replace('(name "UP")', '(name "")'), "a net without a name"),
    "an unknown part": (GOOD.replace('(value "CD4021BE"))', '(value "CD4021BE"))\n'
                                     '(comp (ref "U7") (value "MCU"))'), 'U7 ("MCU") is no part'),
    "no register": (GOOD.replace("CD4021BE", "MCU"), "holds no register that is known"),
    "two registers": (GOOD.replace('(value "CD4021BE"))', '(value "CD4021BE"))\n'
                                   '(comp (ref "U7") (value "CD4021BE"))'), "U1 and U7 are not"),
    "two registers in one": (GOOD.replace("CD4021BE", "CD4021B or 74HC165"), "several registers"),
    "a part of a thousand pins": (
        GOOD.replace("(nets", "(nets " + "".join(
            f'(net (name "Q{n}") (node (ref "R1") (pin "{n}")))' for n in range(9, 1010))),
        "R1 has more than 1000 pins"),
    "latch and clock are one": (
        GOOD.replace('(name "CLOCK")', '(name "LATCH")'),
        'no name tells the clock; J1 pins 2 and 3 are one net, "LATCH": a short?'),
    "a part of no value": (
        GOOD.replace('(value "CD4021BE"))', '(value "CD4021BE"))\n(comp (ref "U7") (value ""))'),
        "U7 has no value, and nothing else tells what it is"),
    "no latch": (GOOD.replace('"LATCH"', '"STEP"'), "no name tells the latch; write [board] latch"),
    "two latches": (GOOD.replace('(name "DATA")', '(name "STROBE")'), "may both be the latch"),
    "a part as title": (write(harbour(), "SPICE").replace("* Harbour", "R20 UP DOWN 0\n*"),
                        "begins with a part"),
    "a contact of no name": (GOOD.replace('(value "Up")', '(value "SW")').replace('"UP"', '"X7"'),
                             "no name tells which button SW5"),
    "a value that is none": (GOOD.replace('"39k"', '"many"', 1), 'R1 has the value "many"'),
    "deep": ("(" * 100_000, "nests more than"),
    "another s-expression": ("(sheet (ref 1))", "is no netlist: it begins with (sheet"),
    "binary": ("(export \0", "breaks off"),
    "a pin too many": (GOOD.replace('(ref "U1") (pin "9")', '(ref "U1") (pin "99")'),
                       'U1 has a pin "99"'),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_a_bad_netlist_is_one_clear_line(tmp_path, capsys, name):
    text, says = BAD[name]
    path = tmp_path / "pad.net"
    path.write_text(text)
    assert main(["new", str(tmp_path / "pad.toml"), "--from", str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert err.startswith(f"padbench: {path}")
    assert says in err
    assert not (tmp_path / "pad.toml").exists()


def test_a_large_board_of_something_else_is_refused_soon(tmp_path):
    comps = [f'(comp (ref "U{n}") (value "MCU"))' for n in range(590)]
    nodes = [f'(node (ref "U{n}") (pin "{pin}") (pintype "passive") (pinfunction "IO_NUMBER"))'
             for n in range(590) for pin in range(250)]  # fmt: skip
    nets = [f'(net (code "{n}") (name "N{n}") {" ".join(nodes[n::9000])})' for n in range(9000)]
    path = tmp_path / "board.net"
    for more, says in (([], "more than 20000 pins"), (comps[:1] * 20, "more than 600 parts")):
        whole = " ".join([*comps, *(one.replace("U", f"R{n}") for n, one in enumerate(more))])
        path.write_text(f"(export (components {whole}) (nets {' '.join(nets)}))")
        assert path.stat().st_size > 10 << 20
        began = time.process_time()
        with pytest.raises(SheetError, match=says):
            load_sheet(path)
        assert time.process_time() - began < (5 if sys.gettrace() is None else 15)


@pytest.mark.parametrize("line", [".include parts.inc", ".lib parts.lib", ".if (0)"])
def test_what_may_bring_parts_into_a_spice_netlist_is_refused(tmp_path, line):
    path = tmp_path / "pad.cir"
    text = write(harbour(), "SPICE").replace(".end\n", ".control\nrun\n.endc\n.end\n")
    path.write_text(text)
    read_board(path, {})  # commands are no parts
    path.write_text(text.replace(".control", f"{line}\n.control"))
    with pytest.raises(SheetError, match="may bring parts or leave some out; write them here"):
        read_board(path, {})


def test_a_spice_netlist_of_no_subcircuits_is_no_sheet(tmp_path):
    path = tmp_path / "board.cir"
    path.write_text("* t\n" + "".join(f"R{n} N{n} N{n + 1} 1k\n" for n in range(200_000)))
    with pytest.raises(SheetError, match=r"is no netlist that is known.*with its \.subckt lines"):
        load_sheet(path)


def test_a_netlist_that_is_not_there_is_one_line(tmp_path, capsys):
    path = tmp_path / "pad.toml"
    path.write_text(STARTER + '\n[board]\nnetlist = "pad.net"\n')
    assert main(["verify", str(path), "--no-waves"]) == 2
    says = "cannot be read (No such file or directory); name a netlist"
    assert capsys.readouterr().err == f"padbench: {tmp_path / 'pad.net'}: {says}\n"


def test_a_wrong_part_in_the_sheet_is_refused(judged):
    for board, says in (
        ('[board.parts]\nU9 = "CD4021B"\n', 'no part "U9", which'),
        ('[board.parts]\nR1 = "47k"\n', 'R1 is "39k" here and "47k" in'),
        ('ignore = ["R77"]\n', 'no part "R77"'),
        ('latch = "LACH"\n', 'no net "LACH"'),
    ):
        with pytest.raises(SheetError, match=says.replace("[", r"\[")):
            judged(harbour(), board=board)


def test_a_text_that_does_not_end_takes_no_memory(tmp_path):
    path = tmp_path / "pad.net"
    path.write_text('(export "' + "x" * 2_000_000)
    tracemalloc.start()
    try:
        with pytest.raises(SheetError, match="does not end"):
            load_sheet(path)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most < 60e6  # some copies of it; a way back for each sign would be hundreds


@pytest.mark.parametrize("form", FORMS)
def test_spoilt_netlists_are_refused_or_read(tmp_path, form):
    text, path = write(harbour(), form), tmp_path / "pad.net"
    for seed in range(100):  # three hundred of all forms
        chance = random.Random(seed)
        pieces = text.split(" ")
        for _ in range(chance.choice((1, 2, 5))):
            place = chance.randrange(len(pieces))
            pieces[place] = chance.choice(["", ")", "(", '"', "U1", "\n", "999", *pieces])
        path.write_text(" ".join(pieces))
        try:
            design = design_of(path)
        except SheetError:
            continue  # any other error is a fault
        if design.sheet.board is not None:
            assert judge_board(board_of(design.sheet), design.sheet)


def test_what_nobody_could_judge_stands_below_a_verdict_that_passes(tmp_path):
    parts = changed(harbour(), U1={"10": "INNER"})
    file = tmp_path / "untold.net"
    file.write_text(write({**parts, "R61": Part("", {"1": "CLOCK", "2": "INNER"})}, "s-expression"))
    result = padbench.verify(file, ["idle"])
    assert result.verdict == "pass"
    said = " ".join(as_text(result, whole=False).split())
    assert "findings hold, 3 are not judged, and the scenario reads" in said
    assert "not judged board.left-out, board.series" in said


# ── networks, jumpers, mistakes in a new sheet ───────────────────────────────────────────────────


def with_network(value, pins, names=None):
    """The library's board with all its pull-ups in one part."""
    parts = {name: part for name, part in harbour().items() if name not in PULL_UPS}
    return {**parts, "RN1": Part(value, pins, names or {})}


PULL_UPS = [f"R{place}" for place in range(1, 9)]
LINES = [name.upper() for name in BUTTONS]
COMMON = {"1": "VCC"} | {str(pin): net for pin, net in enumerate(LINES, 2)}
TURNED = {str(17 - pin): net for pin, net in enumerate(LINES, 1)}
PAIRS = {str(2 * pin): net for pin, net in enumerate(LINES, 1)}


@pytest.mark.parametrize(
    ("value", "pins"),
    [
        ("39k", COMMON),
        ("8x39k", {str(pin): "VCC" for pin in range(1, 9)} | TURNED),
        ("39k", {str(2 * pin - 1): "VCC" for pin in range(1, 9)} | PAIRS),
    ],
    ids=["common", "across", "side by side"],
)
def test_a_resistor_network_is_so_many_resistors(judged, value, pins):
    assert fails(judged(with_network(value, pins))) == {}
    wrong = judged(with_network("10k", pins))
    assert "RN1." in wrong["board.values"].says


def test_a_network_has_its_common_pin_at_pin_1(judged):
    """Common practice, no source; names of pins count more."""
    pins = {str(pin): net for pin, net in enumerate(LINES, 1)} | {"9": "VCC"}
    says = "RN1 has the rail at pin 9; the common pin of a resistor network is pin 1"
    assert says in fails(judged(with_network("39k", pins)))["board.no-place"]
    names = {pin: "common" if pin == "9" else f"R{pin}" for pin in pins}
    assert fails(judged(with_network("39k", pins, names))) == {}


@pytest.mark.parametrize("pins", ["1 2 3 4 5 6 7 8 9", "COM R1 R2 R3 R4 R5 R6 R7 R8"])
def test_a_network_as_a_subcircuit_has_its_value_from_the_sheet(tmp_path, capsys, pins):
    """The subcircuit's name tells no ohms."""
    bare = {name: part for name, part in harbour().items() if name not in PULL_UPS}
    line = f".subckt RNET {pins}\n.ends\nXRN1 VCC {' '.join(LINES)} RNET\n.end\n"
    netlist, made = tmp_path / "pad.cir", tmp_path / "pad.toml"
    netlist.write_text(write(bare, "SPICE").replace(".end\n", line))
    command = ["new", str(made), "--from", str(netlist)]
    assert main(command) == 2
    assert 'RN1 has the value "RNET", which is not a number' in capsys.readouterr().err
    assert main([*command, "--part", "RN1=39k"]) == 0
    assert "Wrong on the board" not in capsys.readouterr().out
    assert load_sheet(made).pull_up.value.nominal == pytest.approx(39e3)


def test_a_network_that_reaches_no_input_lacks_its_pull_up(judged):
    lacks = fails(judged(with_network("39k", COMMON | {"6": "ELSEWHERE"})))
    assert lacks["board.pull-up"].startswith("U1 pin 4 (P4) has no pull-up")


def test_names_of_pins_say_which_belong_together(judged):
    """Between contacts and inputs nothing else does."""
    inner = {INPUTS[8]: "IN1", INPUTS[7]: "IN2"}
    parts = changed(harbour(), U1={str(pin): net for pin, net in inner.items()})
    pins, names = {"1": "A", "2": "IN1", "3": "B", "4": "IN2"}, ("R1.1", "R1.2", "R2.1", "R2.2")
    with pytest.raises(SheetError, match="nothing tells which of its 4 pins belong together"):
        judged({**parts, "RN1": Part("1k", pins)})
    named = dict(zip("1234", names, strict=True))
    assert fails(judged({**parts, "RN1": Part("1k", pins, named)})) == {}


@pytest.mark.parametrize(
    ("value", "wired"),
    [
        *(("SolderJumper_2_Bridged", True), ("SolderJumper_2_Open", False)),
        *(("Jumper_NC_Small", True), ("Jumper_NO_Small", False)),
        *(("closed", True), ("SolderJumper_3_Bridged12", True)),
    ],
)
def test_a_jumper_is_a_wire_or_nothing(judged, value, wired):
    """In the line to the serial input."""
    pins = {"1": "TIE", "2": "GND"} | ({"3": "VCC"} if "_3_" in value else {})
    parts = {**changed(harbour(), U1={"11": "TIE"}), "JP1": Part(value, pins)}
    assert ("board.open" not in fails(judged(parts))) is wired


@pytest.mark.parametrize("value", ["SolderJumper", "NC", "39k"])
def test_a_jumper_that_nothing_tells_of_is_a_line(judged, value):
    parts = {**harbour(), "JP1": Part(value, {"1": "A", "2": "B"})}
    with pytest.raises(
        SheetError, match=r"JP1 .* is a jumper, and nothing says .* \[board.parts\]"
    ):
        judged(parts)
    assert fails(judged(parts, board='[board.parts]\nJP1 = "open"\n')) == {}


def test_a_new_sheet_says_what_is_wrong_on_the_board_and_has_what_is_meant(capsys, tmp_path):
    parts = changed(harbour(), SW5={"1": "FOO"}, R3={"2": "GND"}, U1={"11": "VCC"})
    (tmp_path / "pad.net").write_text(write(parts, "s-expression"))
    made = tmp_path / "pad.toml"
    assert main(["new", str(made), "--from", str(tmp_path / "pad.net")]) == 0
    said = " ".join(capsys.readouterr().out.split())
    for line in (
        "board.buttons: SW5 (Up) goes to no input of the register; it belongs on U1 pin 4 (P4)",
        "board.pull-up: U1 pin 14 (P6) has no pull-up: no resistor goes from its net SELECT",
        "wiring.serial-input: it is tied to supply; ground is what programs expect",
    ):
        assert line in said
    sheet = load_sheet(made)
    assert sheet.buttons["Up"] == 4
    assert sheet.pull_up.value.nominal == pytest.approx(39e3)


@pytest.mark.parametrize(("ohms", "ports"), [("3.6k", 2), (None, 1), ("100k", 1)])
def test_a_new_sheet_names_the_ports_on_which_the_board_works(tmp_path, capsys, ohms, ports):
    lines = {f"R{9 + place}": Part(ohms, {"1": "VCC", "2": net})
             for place, net in enumerate(("LATCH", "CLOCK")) if ohms}  # fmt: skip
    rest = {name: part for name, part in harbour().items() if name not in ("R9", "R10")}
    (tmp_path / "pad.net").write_text(write({**rest, **lines}, "s-expression"))
    made = tmp_path / "pad.toml"
    assert main(["new", str(made), "--from", str(tmp_path / "pad.net")]) == 0
    names = ("push-pull", "pull-down-only")
    assert load_sheet(made).works_with.ports == names[:ports]
    said = " ".join(capsys.readouterr().out.split())
    assert ("works-with: pull-down-only is left out: " in said) == (ports == 1)
    # And has the order of the plug for whoever looked at it.
    made.write_text(made.read_text().replace("# plug =", "plug ="))
    found = {one.id: one for one in judge_board(board_of(load_sheet(made)), load_sheet(made))}
    assert fails(found) == {}
    assert load_sheet(made).board.plug == ("ground", "clock", "latch", "data", "supply")


def test_a_pull_up_that_is_unlike_the_others_is_named_with_their_value(tmp_path):
    netlist = tmp_path / "pad.net"
    netlist.write_text(write(with_part(R6=Part("39", {"1": "VCC", "2": "DOWN"})), "s-expression"))
    result = padbench.verify(netlist, "each-button")
    said = " ".join(as_text(result, whole=False).split())
    assert "on the board R6 (39 on DOWN): 39 kΩ; as the others are" in said
    assert "a press shorts" in result.lead
    assert result.document["plan"]["holds"]


def test_a_capacitor_at_a_contact_is_told_with_the_time_that_it_takes(judged):
    """2.2 × 39 kΩ × 1.05 × 10 nF, calculated; the sheet's findings go by the inputs alone."""
    found = judged(with_part(C5=Part("10n", {"1": "UP", "2": "GND"})))
    assert fails(found) == {}
    assert "a release is seen up to 901 µs later" in found["board.left-out"].says


def test_contacts_that_go_nowhere_are_each_told(tmp_path):
    """Both pins of each on one net; then no contact tells which button is at which stage."""
    parts = {name: replace(part, pins=dict.fromkeys("12", part.pins["1"]))
             if name.startswith("SW") else part for name, part in harbour().items()}  # fmt: skip
    (tmp_path / "pad.net").write_text(write(parts, "s-expression"))
    sheet = load_sheet(tmp_path / "pad.net")
    found = fails({one.id: one for one in judge_board(board_of(sheet), sheet)})
    assert "there is no contact of Up, which belongs on U1 pin 4 (P4)" in found["board.contacts"]
    assert "SW5 does nothing" in found["board.no-effect"]


def test_the_part_that_carries_a_wrong_value_is_named(tmp_path):
    for part, says in (
        ({"C2": Part("100n", {"1": "DATA", "2": "GND"})}, ", on the board C2 (100n on DATA)"),
        ({"R4": Part("390", {"1": "VCC", "2": "START"})}, ", on the board R4 (390 on START)"),
    ):
        (tmp_path / "pad.net").write_text(write(with_part(**part), "s-expression"))
        said = " ".join(as_text(padbench.verify(tmp_path / "pad.net", "idle"), whole=False).split())
        assert says in said


@pytest.mark.parametrize("names", [("2", "4", "5", "3"), ("A", "Y", "VCC", "GND")])
def test_an_inverter_may_have_its_pins_by_name(judged, names):
    nets = ("LATCH", "LOADN", "VCC", "GND")
    gate = Part("74HC1G04", dict(zip(names, nets, strict=True)))
    parts = changed(with_part(U2=gate), U1={"9": "LOADN"})
    assert "the inverter U2 pin 2" in fails(judged(parts))["board.lines"]


def test_the_order_of_pins_may_stand_in_a_value(judged):
    """As IPC-D-356 has neither names nor values: a transistor and diodes."""
    parts = changed(with_part(
        Q1=Part("", {"1": "LOADN", "2": "BASE", "3": "GND"}),
        R21=Part("10k", {"1": "LATCH", "2": "BASE"}), R22=Part("10k", {"1": "VCC", "2": "LOADN"}),
        D1=Part("", {"1": "LATCH", "2": "VCC"}),
    ), U1={"9": "LOADN"})  # fmt: skip
    rest = IPC_PARTS + 'R9 = "3.6k"\nR10 = "3.6k"\n'
    with pytest.raises(SheetError, match=r'Q1 = "NPN_BEC" under .*--part Q1='):
        judged(parts, "IPC-D-356", board=rest)
    for order, conducts in (("AK", False), ("KA", True)):
        told = rest + f'Q1 = "NPN_CBE"\nD1 = "BAT54 {order}"\n'
        found = judged(parts, "IPC-D-356", board=told)
        assert "through the inverter Q1" in found["board.lines"].says
        assert ("D1 conducts from" in found["board.no-place"].says) is conducts
    found = judged(parts, "IPC-D-356", board=told.replace("CBE", "EBC"))
    assert "Q1 has on LOADN its E, and its C on ground" in found["board.inverter"].says


def test_a_value_of_the_sheet_stands_for_one_that_says_nothing(judged):
    """And the table says where it is from."""
    parts = with_part(U1=replace(harbour()["U1"], value="SR8"))
    assert fails(judged(parts, board='[board.parts]\nU1 = "CD4021B"\n')) == {}


def test_of_many_registers_a_message_names_a_few(tmp_path):
    parts = harbour()
    chip = parts["U1"]
    more = {f"U{n}": replace(chip, pins=chip.pins | {"3": f"D{n}"}) for n in range(2, 101)}
    (tmp_path / "many.net").write_text(write(parts | more, "s-expression"))
    with pytest.raises(SheetError) as caught:
        padbench.verify(tmp_path / "many.net", ["idle"])
    said = str(caught.value)
    assert "has 100 registers, of which U1 and U2 and U3 and U4 and 96 more" in said
    assert len(said) < 400
