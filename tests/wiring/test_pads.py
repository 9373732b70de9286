"""Several pads on one cable, in a chain or with a data line each, judged in one run."""

import io
import json
from dataclasses import replace
from pathlib import Path

import pytest
from boards import BUTTONS, INPUTS, Part, adapter, changed, write

import padbench
from padbench.cli import main
from padbench.jobs.loading import load_sheets
from padbench.model.simulation import simulate
from padbench.results.documents import json_texts
from padbench.results.html_page import write_page
from padbench.results.text import as_text
from padbench.sheet import SheetError
from padbench.trials.trial import judge, run_scenario, scenarios_of, setting_of
from padbench.wiring.netlists.compare import judge_board
from padbench.wiring.netlists.sheet import board_of
from padbench.wiring.schematic import drawn_svg, schematic

SHEETS = Path(__file__).parents[2] / "sim/sheets"
CHAIN = (SHEETS / "harbour-adapter.toml").read_text()
SMALL = """[pad]
name = "Adapter"
supply = "5 V ± 5 %"
[works-with]
ports = ["push-pull"]
[poll]
use = "plain-loop"
clocks = CLOCKS
[board]
netlist = "pad.net"
"""


def of_board(folder, parts, pads, *, chained=True):
    """The sheet beside a board: which register is whose, nothing more."""
    (folder / "pad.net").write_text(write(parts, "s-expression"))
    text = SMALL.replace("CLOCKS", str(8 * pads if chained else 8))
    for number in range(1, pads + 1):
        text += f'[[pads]]\nname = "Player {number}"\nregister = "U{number}"\n'
        text += "" if chained else f'data = "DATA{number}"\n'
    path = folder / "pad.toml"
    path.write_text(text)
    return path


@pytest.fixture(scope="module")
def chain():
    return padbench.verify(CHAIN, ["each-button", "past-the-end", "stopped-last-bit", "cut-short"])


def test_each_pad_of_a_chain_is_judged_by_its_own_bits(chain):
    """And what the others hold meanwhile, every second of their buttons, is read and named."""
    document = json.loads("".join(json_texts(chain)))
    assert (document["verdict"], chain.name) == ("pass", "2 pads")
    for result, own, other in zip(document["results"], (1, 2), (2, 1), strict=True):
        assert result["pad"] == f"Harbour Street adapter, Player {own}"
        read = result["scenarios"][0]["reads"][3]
        assert (read["pressed"], read["clocks"], read["as_expected"]) == (["Start"], 16, True)
        assert read["beside"] == {f"Player {other}": ["A", "Select", "Up", "Left"]}


def test_the_page_and_the_text_name_each_pad(chain):
    page, text = io.StringIO(), as_text(chain, whole=False)
    write_page(chain, page)
    for own, other in ((1, 2), (2, 1)):
        assert f"Harbour Street adapter, Player {own}: Passes." in text
        bits = f"bits {8 * other - 7} to {8 * other} of a read, A+Select+Up+Left held meanwhile"
        assert f"Player {other}: {bits}" in page.getvalue()
        assert f"Player {other}" in text


def test_the_wire_has_all_bits_in_order():
    """Beside the expected bits: the bits on the wire, from the samples alone."""
    second = load_sheets(CHAIN)[1]
    run = run_scenario(second, scenarios_of(second)["each-button"], "push-pull", "slow")
    read = run.reads[0].read
    in_time = [bit for _, bit in sorted(zip(read.samples, read.bits, strict=True))]
    assert in_time == [bool(0xAA80 & 0x8000 >> place) for place in range(16)]


def test_a_wrong_bit_of_the_other_pad_is_named_as_its_own():
    second = load_sheets(CHAIN)[1]
    setting = setting_of(second, "push-pull", "fast")
    (beside,) = setting.pad.beside
    script = scenarios_of(second)["idle"].build(setting)
    made = simulate(replace(setting.pad, beside=(replace(beside, byte=0xA2),)), script.stimulus)
    run = judge(scenarios_of(second)["idle"], script, made, setting.pad.limits, play=lambda: None)
    assert "wrong as well: Player 1's Up" in run.problems[0].says
    assert run.verdict == "fail"


def test_latch_clock_and_supply_carry_all_registers():
    pads = [(1, "A"), (1, "B"), (2, "B")]
    text = CHAIN.split("[[pads]]")[0] + "[pull-up]" + CHAIN.split("[pull-up]")[1]
    for number, (register, line) in enumerate(pads):
        text += f'[[pads]]\nname = "{number}"\nregister = {register}\ndata = "{line}"\n'
    sheets = load_sheets(text)
    assert [one.registers for one in sheets] == [3, 3, 3]
    assert [one.inputs for one in sheets] == [24, 24, 24]
    assert [one.chip.stages for one in sheets] == [8, 16, 16]
    assert [one.last_stage for one in sheets] == [8, 8, 16]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            "clocks = 16",
            "clocks = 8",
            "poll.clocks: 8 do not reach Player 2, whose bits are 9 to 16",
        ),
        ("register = 1", "register = 2", "give register 2 to Player 1 and to Player 2"),
        ("register = 1", "register = 0", "register: 0 is no register of a chain"),
        ("register = 1", 'register = "U2"', "is no register of a sheet without a netlist"),
        ("Player 2", "Player 1", "name 'Player 1' twice"),
        ("register = 1", "register = 1\n[pads.buttons]\nA = 16", "buttons.A: 16 is no stage of"),
        ("[pull-up]", '[[fault]]\nkind = "contact-dead"\nat = "A"\n[pull-up]', "fault: "),
        ("serial-input", "stages = 12\nserial-input", "has no whole register 2"),
    ],
)
def test_what_cannot_be_is_a_line(old, new, says):
    assert old in CHAIN
    with pytest.raises(SheetError) as caught:
        load_sheets(
            CHAIN.replace(old, new, 1) if old != "register = 1" else CHAIN.replace(old, new)
        )
    assert says in str(caught.value)


def test_other_commands_want_one_pad(capsys, tmp_path):
    path = tmp_path / "pad.toml"
    path.write_text(CHAIN)
    assert main(["play", str(path), "--scenario", "idle", "--no-waves"]) == 2
    assert main(["wiring", str(path), "--pad", "Player 3"]) == 2
    said = capsys.readouterr().err
    assert "Player 1, Player 2" in said
    assert "Traceback" not in said
    assert main(["wiring", str(path), "--pad", "Player 2", "--json"]) == 0
    nets = {
        (pin["chip"], pin["pin"]): pin["net"] for pin in json.loads(capsys.readouterr().out)["pins"]
    }
    assert (nets[1, 1], nets[2, 1], nets[2, 3], nets[1, 3]) == ("A", "other", "data", "chain")


@pytest.mark.parametrize(("pads", "chained"), [(2, True), (3, True), (2, False)])
def test_an_adapter_s_board_is_judged_pad_by_pad(tmp_path, pads, chained):
    path = of_board(tmp_path, adapter(pads, chained=chained), pads, chained=chained)
    result = padbench.verify(path, "idle")
    assert {one.id for one in result.findings if one.verdict == "fail"} == set()
    assert result.verdict == "pass"
    # By their places in the chain it is the same.
    if chained:
        for number in range(1, pads + 1):
            place = f"register = {pads + 1 - number}"
            path.write_text(path.read_text().replace(f'register = "U{number}"', place))
        findings = padbench.verify(path, ()).findings
        assert {one.id for one in findings if one.verdict == "fail"} == set()
    last = load_sheets(path)[-1]
    assert last.buttons["A"] == 8
    assert last.chip.stages == (8 * pads if chained else 8)


def test_the_example_is_the_library_s_adapter():
    title = "Harbour Street adapter"
    assert (SHEETS / "harbour-adapter.net").read_text() == write(adapter(), "s-expression", title)


def failing(folder, parts):
    """What fails of each pad, by id, on a board of two."""
    result = padbench.verify(of_board(folder, parts, 2), "idle")
    return [
        {one.id: one.says for one in trial.findings if one.verdict == "fail"}
        for trial in result.data
    ]


def test_a_mistake_is_told_of_the_pad_that_has_it(tmp_path):
    up, down = str(INPUTS[4]), str(INPUTS[3])
    first, second = failing(tmp_path, changed(adapter(), U2={up: "P2_DOWN", down: "P2_UP"}))
    assert first == {}
    assert second["board.buttons"] == (
        "SW502 (Up) goes to U2 pin 5 (P3), and SW602 (Down) to U2 pin 4 (P4): the two are swapped"
    )


def test_what_must_change_names_the_part_of_each_pad(tmp_path):
    parts = adapter()
    parts = {**parts, "R602": Part("39", parts["R602"].pins)}
    result = padbench.verify(of_board(tmp_path, parts, 2), "each-button")
    said = " ".join(as_text(result, whole=False).split())
    assert "on the board R602 (39 on P2_DOWN): 39 kΩ; as the others are" in said


def test_a_contact_at_the_other_pad_s_register_is_missed(tmp_path):
    first, _ = failing(tmp_path, changed(adapter(), SW101={"1": "P2_A"}))
    assert "A" in first["wiring.every-button"]
    assert "board.contacts" in first


def renamed(parts, name):
    """The board with the nets of its contacts called otherwise: of P1_A, ``name("1", "A")``."""
    nets = {f"P{pad}_{button.upper()}": name(pad, button) for pad in "12" for button in BUTTONS}
    return {
        reference: replace(part, pins={pin: nets.get(net, net) for pin, net in part.pins.items()})
        for reference, part in parts.items()
    }


@pytest.mark.parametrize("way", ["P{}_{}", "/Player {}/{}", "/pad{}/{}", "P{}-{}"])
def test_two_pads_exchanged_as_a_whole_are_told_by_their_names(tmp_path, way):
    """The sheet calls them Player 1 and Player 2; all contacts of each are at the other's chip."""
    right = renamed(adapter(), lambda pad, button: way.format(pad, button.upper()))
    assert failing(tmp_path, right) == [{}, {}]
    wrong = renamed(adapter(), lambda pad, button: way.format("21"[int(pad) - 1], button.upper()))
    first, second = failing(tmp_path, wrong)
    assert "SW101 (A) goes to U1 and is of P2, not of P1, by its name" in first["board.buttons"]
    assert "SW802 (Right) goes to U2 and is of P1, not of P2" in second["board.buttons"]


def test_data_lines_exchanged_at_the_plug_are_told_where_it_names_their_nets(tmp_path):
    def judged(plug, **at):
        path = of_board(tmp_path, changed(adapter(chained=False), J1=at), 2, chained=False)
        cores = f'plug = ["ground", "clock", "latch", "supply", {plug}]' if plug else ""
        path.write_text(path.read_text().replace("[board]", f"[board]\n{cores}"))
        trials = padbench.verify(path, ()).data
        return [{one.id: one.says for one in trial.findings if one.id.startswith("board")}
                for trial in trials]  # fmt: skip

    named = '"DATA1", "data2"'
    holds = "latch, clock and data go from the cable to their pins"
    assert {one["board.lines"] for one in judged(named)} == {holds}
    swapped = {"5": "DATA2", "6": "DATA1"}
    says = "J1 pin 5 goes to DATA2; it belongs on DATA1; J1 pin 6 goes to DATA1; it belongs on"
    assert all(one["board.lines"].startswith(says) for one in judged(named, **swapped))
    # Called data both, the sheet does not say whose is where.
    for one in judged('"data", "data"', **swapped):
        assert (
            "J1 is not judged: [board] plug has data twice; name the nets" in one["board.left-out"]
        )
    # What is offered to be taken over is right for both.
    for one in judged(""):
        assert (
            'plug = ["ground", "clock", "latch", "supply", "DATA1", "DATA2"]'
            in one["board.left-out"]
        )
    with pytest.raises(SheetError, match='has no net "DATA3"'):
        judged('"DATA1", "DATA3"')


@pytest.mark.parametrize("which", ["U1", "U2"])
def test_a_mirrored_register_inside_a_chain_is_named(tmp_path, which):
    parts = adapter()
    pins = {str(17 - int(pin)): net for pin, net in parts[which].pins.items()}
    for found in failing(tmp_path, {**parts, which: replace(parts[which], pins=pins)}):
        assert {*found} == {"board.footprint"}
        assert found["board.footprint"].startswith(
            f"the pins of {which} are numbered as seen from below"
        )


def test_each_chip_is_named_as_the_board_has_it(tmp_path):
    """Table, drawing and their capacitors: whoever solders by the table is at the right chip."""
    plan = padbench.plan_wiring(of_board(tmp_path, adapter(), 2), "Player 2")
    (brief,) = [one for one in plan.sections if one.id == "brief"]
    rows = {row[0]: row[2] for row in brief.blocks[0].rows}
    assert rows["U2.1"] == "A contact"
    assert rows["U1.1"] == "Player 1: A"
    assert (rows["U2.3"], rows["U1.11"]) == ("serial input of U1", "last output of U2")
    assert {pin["reference"] for pin in plan.document["pins"] if pin["net"] == "A"} == {"U2"}
    names = plan.data.names
    assert [names[f"capacitor {place}"] for place in (1, 2)] == ["C102", "C101"]
    drawn = drawn_svg(schematic, plan.data, broken=False)
    assert "Player 1: A" in drawn
    first = padbench.plan_wiring(
        of_board(tmp_path, adapter(chained=False), 2, chained=False), "Player 2"
    )
    assert (first.data.names["register 1"], first.data.names["capacitor 1"]) == ("U2", "C102")


@pytest.mark.parametrize(
    ("change", "id_", "says"),
    [
        ({"U1": {"11": None}}, "board.open", "U1 pin 11 (serial) is open; it belongs on U2 pin 3"),
        (
            {"U2": {"3": None, "12": "LINK2"}},
            "board.serial-input",
            "U1 pin 11 (serial) goes to LINK2; it belongs on U2 pin 3 (Q8)",
        ),
        ({"U2": {"11": "DATA"}}, "board.serial-input", "U2 pin 11 (serial) goes to DATA; it be"),
        ({}, "board.register", "U2 is a CD4014B on the board; the sheet has a CD4021B like U1"),
    ],
)
def test_a_broken_chain_is_a_finding_at_its_pin(tmp_path, change, id_, says):
    parts = changed(adapter(), **change)
    if not change:
        parts["U2"] = replace(parts["U2"], value="CD4014BE")
    path = of_board(tmp_path, parts, 2)
    for by in ("register", "place"):
        if by == "place":
            text = path.read_text().replace('"U1"', "2").replace('"U2"', "1")
            path.write_text(text)
        for sheet in load_sheets(path):
            found = {one.id: one for one in judge_board(board_of(sheet), sheet)}
            assert found[id_].verdict == "fail"
            assert found[id_].says.startswith(says)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (
            {"U1": {"11": None}, "U2": {"11": None}},
            {"board.open": ["U1 pin 11 (serial) is open; it belongs on U2 pin 3 (Q8)",
             "U2 pin 11 (serial) is open; it belongs on U3 pin 3 (Q8)"]},
        ),
        (
            {"U1": {"11": None, "3": None}},
            {"board.open": ["U1 pin 11 (serial) is open; it belongs on U2 pin 3 (Q8)"],
             "board.lines": ["U1 pin 3 (Q8) goes to nothing; it belongs on data"]},
        ),
    ],
)  # fmt: skip
def test_two_links_broken_at_once_are_each_told_at_their_pin(tmp_path, change, says):
    for sheet in load_sheets(of_board(tmp_path, changed(adapter(3), **change), 3)):
        drawn = board_of(sheet)
        assert [part.reference for part in drawn.chain] == ["U3", "U2", "U1"]
        found = judge_board(drawn, sheet)
        wrong = {one.id: sorted(one.says.split("; U")) for one in found if one.verdict == "fail"}
        assert {id_: len(rows) for id_, rows in wrong.items()} == {
            id_: len(rows) for id_, rows in says.items()
        }
        for id_, rows in says.items():
            whole = next(one.says for one in found if one.id == id_)
            assert all(row in whole for row in rows)


def test_a_good_register_is_not_blamed_for_another_s_output(tmp_path):
    parts = changed(adapter(2, chained=False), U2={"3": "DATA1"})
    path = of_board(tmp_path, parts, 2, chained=False)
    second = load_sheets(path)[1]
    found = [one for one in judge_board(board_of(second), second) if one.verdict == "fail"]
    assert [one.says for one in found] == ["U2 pin 3 (Q8) goes to DATA1; it belongs on data"]


def test_one_pad_of_several_is_played_by_its_name(tmp_path, capsys):
    path = tmp_path / "pad.toml"
    path.write_text(CHAIN)
    command = ["play", str(path), "--scenario", "idle", "--corner", "fast", "--no-waves", "--json"]
    assert main([*command, "--pad", "Player 2"]) == 0
    assert json.loads(capsys.readouterr().out)["reads"][0]["beside"].keys() == {"Player 1"}
    assert main([*command, "--pad", "Player 3"]) == 2
    assert "Player 1, Player 2; verify takes them all; wiring, play" in capsys.readouterr().err


@pytest.mark.parametrize("chained", [True, False])
def test_several_pads_without_a_sheet_are_one_line_that_says_how(tmp_path, capsys, chained):
    path = tmp_path / "two.net"
    path.write_text(write(adapter(chained=chained), "s-expression"))
    for command in (["wiring", str(path)], ["new", str(tmp_path / "x.toml"), "--from", str(path)]):
        assert main(command) == 2
        (line,) = capsys.readouterr().err.splitlines()
        lines = (
            ("", ", and [poll] clocks = 16")
            if chained
            else (', data = "DATA1"', ', data = "DATA2"')
        )
        for number in (1, 2):
            register = f'[[pads]] name = "{number}", register = "U{number}"'
            assert register + lines[not chained and number - 1] in line
        assert line.endswith(lines[1])
    assert not (tmp_path / "x.toml").exists()


@pytest.mark.parametrize("pads", ["[1]", '"two"', "[]", "[{register = [1]}]"])
def test_pads_that_are_none_are_a_line_also_beside_a_board(tmp_path, capsys, pads):
    (tmp_path / "pad.net").write_text(write(adapter(), "s-expression"))
    path = tmp_path / "pad.toml"
    path.write_text(f"pads = {pads}\n" + SMALL.replace("CLOCKS", "16"))
    assert main(["verify", str(path), "--no-waves"]) == 2
    assert "fault in padbench" not in capsys.readouterr().err
