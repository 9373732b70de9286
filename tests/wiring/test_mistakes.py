import pytest

from padbench.sheet import STARTER, sheet_from_text
from padbench.wiring.mistakes import judge_wiring

SHEET = sheet_from_text(STARTER, "starter")


def failing(**changes):
    found = judge_wiring(SHEET.model_copy(update=changes))
    return {f.id: f.says for f in found if f.verdict == "fail"}


def changed(table, **values):
    return {table: getattr(SHEET, table).model_copy(update=values)}


def stages(**moved):
    return {"buttons": {**SHEET.buttons, **moved}}


def test_the_starter_has_no_fault():
    assert failing() == {}


def test_swapped_buttons_are_named():
    says = failing(**stages(Up=3, Down=4))["wiring.order"]
    assert says == "Up and Down are swapped: Up belongs on stage 4 and Down on stage 3"


def test_three_buttons_round_the_corner_are_named_one_by_one():
    says = failing(**stages(A=7, B=6, Select=8))["wiring.order"]
    assert says.count(";") == 5
    assert "A on stage 7 reads as B" in says


def test_a_button_beyond_the_eighth_bit_is_never_read():
    sheet = {**changed("chip", stages=16), **stages(A=8)}
    assert "A on stage 8 is never read" in failing(**sheet)["wiring.order"]


def test_a_missing_button():
    buttons = {name: stage for name, stage in SHEET.buttons.items() if name not in ("A", "Left")}
    assert "no stage for A and Left" in failing(buttons=buttons)["wiring.every-button"]


def test_a_shared_stage():
    assert "A and B share stage 8" in failing(**stages(B=8))["wiring.own-stage"]


@pytest.mark.parametrize(
    ("part", "stages", "output"),
    [
        *[("CD4021B", stages, "Q4") for stages in (12, 20)],
        *[("CD4021B", stages, None) for stages in (8, 14, 15, 16, 22, 23, 24)],
        *[("74HC165", 8 + n, f"Q{n}") for n in range(1, 8)],
        ("74HC165", 16, None),
    ],
)
def test_a_chain_ends_on_an_output_that_has_a_pin(part, stages, output):
    """A 4021 brings out stages 6, 7 and 8 (MC14021B, Motorola CMOS Logic Data), a 165 only 8."""
    chip = changed("chip", part=part, stages=stages, latch_inverted=part == "74HC165")
    places = {name: stages - place for place, name in enumerate(SHEET.buttons)}
    found = failing(**chip, buttons=places)
    assert list(found) == ([] if output is None else ["wiring.stages"])
    if output:
        assert f"end on {output}" in found["wiring.stages"]


@pytest.mark.parametrize(
    ("change", "id_", "says"),
    [
        (changed("chip", serial_input="open"), "wiring.serial-input", "left open"),
        (changed("pull_up", value=None), "wiring.pull-up", "floating"),
        (changed("chip", part="MC14014B"), "wiring.load", "fit a 4021"),
        (changed("chip", part="74HC165"), "wiring.load", "must be inverted"),
        (changed("chip", latch_inverted=True), "wiring.load", "must not be inverted"),
        (changed("contacts", stuck=("B",)), "wiring.stuck-contact", "B always reads"),
    ],
)
def test_faults(change, id_, says):
    found = failing(**change)
    assert list(found) == [id_]
    assert says in found[id_]


@pytest.mark.parametrize(
    ("change", "key", "place", "says"),
    [
        (changed("chip", serial_input="open"), "register.serial-input", None, "input, pin 11"),
        (changed("pull_up", value=None), "pull-up.value", None, "no wire"),
        (changed("chip", part="MC14014B"), "register.part", None, "take the 4014 out"),
        (
            changed("chip", part="74HC165"),
            *("register.latch-inverted", "register.part"),
            "put an inverter between latch and the load pin, pin 1",
        ),
        (
            changed("chip", latch_inverted=True),
            *("register.latch-inverted", "register.part"),
            "connect latch without an inverter to the load pin, pin 9",
        ),
        (changed("contacts", stuck=("B",)), "contacts.stuck", None, "replace what closes B"),
        (stages(Up=3, Down=4), "buttons", None, "connect Up to stage 4 and Down to stage 3"),
    ],
)
def test_what_to_connect_and_where_on_the_sheet(change, key, place, says):
    faults = judge_wiring(SHEET.model_copy(update=change))
    (found,) = [one for one in faults if one.verdict == "fail"]
    assert (found.remedy.key, found.place.key) == (key, place or key)
    assert says in found.remedy.says
    assert all(one.sources for one in faults)


# 5.25 V at the 50 mA that a shipped port spares (from memory): 105 Ω.
@pytest.mark.parametrize(
    ("value", "short"),
    [
        *[(value, True) for value in ("0 Ω", "1 mΩ", "0.05 Ω", "104 Ω", "106 Ω ± 1 %", "110 Ω")],
        *[(value, False) for value in ("105.1 Ω ± 0 %", "107 Ω ± 1 %", "39k ± 5 %")],
    ],
)
def test_a_pull_up_that_is_as_good_as_a_wire_is_refused_with_a_caution(value, short):
    text = STARTER.replace('value = "39k ± 5 %"', f'value = "{value}"')
    found = judge_wiring(sheet_from_text(text, "starter"))
    pull_up = next(f for f in found if f.id == "wiring.pull-up")
    assert (pull_up.verdict == "fail") is short
    assert ("do not plug this in" in pull_up.says) is short


def test_a_74hc165_behind_an_inverter_is_right():
    assert failing(**changed("chip", part="74HC165", latch_inverted=True)) == {}
