"""The wiring plan against the published pinning and the levels of the judge."""

from pathlib import Path

import pytest

from padbench.circuit.electric import judge_electric
from padbench.core.buttons import BUTTONS
from padbench.sheet import STARTER, load_sheet, sheet_from_text
from padbench.wiring.plan import wiring_plan

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
B = load_sheet(SHEETS / "harbour-b.toml")


def sheet(*changes):
    text = STARTER
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return sheet_from_text(text, "starter")


def nets(plan):
    return {(pin.chip, pin.number): pin.net for pin in plan.pins}


def test_revision_b_pin_by_pin():
    """MC14021B, Motorola CMOS Logic Data, for the pins; common practice for what goes there."""
    expected = {
        **{1: "A", 2: "open", 3: "data", 4: "Up", 5: "Down", 6: "Left", 7: "Right", 8: "ground"},
        **{9: "latch", 10: "clock", 11: "ground", 12: "open", 13: "Start", 14: "Select"},
        **{15: "B", 16: "supply"},
    }
    assert nets(wiring_plan(B)) == {(1, pin): net for pin, net in expected.items()}
    whys = {pin.number: pin.why for pin in wiring_plan(B).pins}
    assert "read first" in whys[1]
    assert "number 8" in whys[7]


def test_voltages_are_those_that_verify_judges():
    found = {one.id: one for one in judge_electric(B).findings}
    pins = {pin.number: pin for pin in wiring_plan(B).pins}
    # The worst corner of the margin need not be the end of the range, but it lies in it.
    low, high = pins[1].held["A"]
    assert low <= found["levels.pressed"].measured <= high
    assert high <= found["levels.pressed"].limit * 5.25 / 4.75
    assert pins[1].idle[0] == pytest.approx(found["levels.released"].measured)
    assert pins[10].idle[0] == pytest.approx(found["port.pull-down-only.clock"].measured)
    assert pins[9].idle[0] <= found["latch.low"].measured <= pins[9].idle[1]
    assert pins[16].idle == pytest.approx((4.75, 5.25))
    assert pins[8].idle == (0, 0)


def test_only_its_own_input_moves_with_a_button():
    for pin in wiring_plan(B).pins:
        for button, volts in pin.held.items():
            assert (volts == pin.idle) == (pin.net != button), (pin.number, button)


def test_two_buttons_on_one_stage_both_pull_it_down():
    pin = next(pin for pin in wiring_plan(sheet(("B = 7", "B = 8"))).pins if pin.number == 1)
    assert pin.held["A"] == pin.held["B"] != pin.idle
    assert "A and B contacts" in pin.goes_to


def test_a_stuck_contact_holds_a_shared_stage_down_whichever_it_is():
    stuck = ("stuck = []", 'stuck = ["B"]')
    pin = next(pin for pin in wiring_plan(sheet(("B = 7", "B = 8"), stuck)).pins if pin.number == 1)
    assert pin.idle == pin.held["A"]
    assert pin.idle[1] < 1.5


def chained(stages, *changes):
    """A sheet whose buttons stand on the last eight stages."""
    moves = [
        (f"{name} = {8 - place}", f"{name} = {stages - place}")
        for place, name in enumerate(BUTTONS)
    ]
    return sheet(("stages = 8", f"stages = {stages}"), *moves, *changes)


def high(volts):
    return volts is not None and volts[0] > 4.7


def low(volts):
    return volts is not None and volts[1] < 0.1


def test_what_stands_at_the_outputs_after_the_clocks_of_a_read():
    """Eight clocks move what stage n - 8 had loaded to stage n (truth table of the 4021)."""
    plan = {(pin.chip, pin.name): pin for pin in wiring_plan(chained(16)).pins}
    assert high(plan[2, "Q8"].idle)  # stage 8, which is tied to supply
    assert low(plan[1, "Q8"].idle)  # the serial input
    assert {high(volts) for volts in plan[2, "Q8"].held.values()} == {True}
    # Fifteen stages: Q7 of the second package shows stage 7; with six clocks stage 9, Left's place
    plan = {
        (pin.chip, pin.name): pin
        for pin in wiring_plan(chained(15, ('use = "plain-loop"', SIX_CLOCKS))).pins
    }
    assert {name for name, volts in plan[2, "Q7"].held.items() if low(volts)} == {"Left"}
    assert high(plan[2, "Q7"].idle)


SIX_CLOCKS = 'use = "plain-loop"\nclocks = 6'


def test_what_never_loads_or_always_does():
    def data(*changes):
        return next(pin for pin in wiring_plan(sheet(*changes)).pins if pin.net == "data")

    part = 'part = "CD4021B"'
    assert low(data((part, 'part = "MC14014B"')).idle)
    for always in ((part, 'part = "74HC165"'), ("inverted = false", "inverted = true")):
        pin = data(always)
        assert high(pin.idle)
        assert {name for name, volts in pin.held.items() if low(volts)} == {"A"}


def test_an_input_without_a_pull_up_has_no_voltage_to_foretell():
    plan = wiring_plan(sheet(('"39k ± 5 %"', '"absent"')))
    assert next(pin for pin in plan.pins if pin.net == "A").idle is None


def test_two_registers_in_a_chain():
    plan = wiring_plan(sheet(("stages = 8", "stages = 16"), ("A = 8", "A = 16")))
    found = nets(plan)
    assert (found[1, 3], found[2, 11]) == ("chain", "chain")
    assert (found[2, 3], found[2, 1], found[1, 11]) == ("data", "A", "ground")
    assert found[1, 1] == "supply"


def test_a_line_that_registers_share_has_one_resistor():
    plan = wiring_plan(sheet(("stages = 8", "stages = 16"), ("A = 8", "A = 16")))
    for line, name in (("clock", "clock"), ("latch", "load")):
        says = [pin.goes_to for pin in plan.pins if pin.name == name]
        assert says == [f"{line} core; 3.6 kΩ to supply", f"{line} core"]
        assert [need.count for need in plan.needs if f"{line} to supply" in need.what] == [1]


def test_a_chain_of_fourteen_stages_is_read_at_its_sixth_of_the_second():
    """Pin 2 is Q6: MC14021B, Motorola CMOS Logic Data."""
    found = nets(wiring_plan(chained(14)))
    assert (found[2, 2], found[2, 3], found[2, 12]) == ("data", "open", "open")
    assert (found[2, 14], found[2, 15], found[2, 1]) == ("A", "supply", "supply")


def test_a_74hc165_wants_its_clock_let_through_and_its_latch_inverted():
    inverted = sheet(
        ('part = "CD4021B"', 'part = "74HC165"'), ("inverted = false", "inverted = true")
    )
    plan = wiring_plan(inverted)
    assert dict(plan.cores)["latch"] == "input of the inverter"
    assert dict(wiring_plan(B).cores)["latch"] == "load pin"
    notes = {need.what: (need.count, need.note) for need in plan.needs}
    assert "unused gates to ground" in notes["inverter"][1]
    assert notes["capacitor"][0] == 2
    says = {one.id: one.says for one in judge_electric(inverted, remedies=False).findings}
    assert "at the inverter" in says["latch.rise"]
    assert "at the register" in says["clock.rise"]
    found = {pin.name: pin for pin in plan.pins}
    assert found["clock-inhibit"].net == "ground"
    assert "inverter" in found["load"].goes_to
    assert found["load"].idle == pytest.approx((4.75, 5.25))
    assert any(need.what == "inverter" for need in plan.needs)


def test_parts_have_bands_and_cores_have_no_colour():
    plan = wiring_plan(B)
    bands = {need.what: need.bands for need in plan.needs}
    assert bands["pull-up"] == ("orange", "white", "orange", "gold")
    assert bands["resistor, clock to supply"] == ("orange", "blue", "red", "gold")
    assert [core for core, _ in plan.cores] == ["supply", "ground", "latch", "clock", "data"]


def test_a_value_that_nobody_sells_gets_neighbours():
    plan = wiring_plan(sheet(('"39k ± 5 %"', '"38k ± 5 %"')))
    note = next(need.note for need in plan.needs if need.what == "pull-up")
    assert "36 kΩ" in note
    assert "39 kΩ" in note


def test_cautions_come_first():
    steps = wiring_plan(B).checklist
    assert steps[0].startswith("Unplug")
    assert "dangerous voltage" in steps[1]
    assert "short" in steps[2]
    assert "pin 16 is positive against pin 8" in " ".join(steps)


def test_the_checks_foretell_no_more_than_the_pins():
    for value, said, withheld in (
        ('"absent"', "may stand at any voltage", "each input stands at"),
        ('"0 Ω"', "Hold no button", "its own input falls"),
    ):
        plan = wiring_plan(sheet(('"39k ± 5 %"', value)))
        steps = " ".join(plan.checklist)
        assert said in steps
        assert withheld not in steps
        assert ("plug in, switch on" in steps) is (value == '"absent"')
        pin = next(pin for pin in plan.pins if pin.net == "A")
        assert (pin.idle if value == '"absent"' else pin.held["A"]) is None
