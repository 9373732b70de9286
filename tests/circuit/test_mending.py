"""The fewest values that mend a sheet: they do together, none is one too many, each has room."""

from functools import cache

import pytest

from padbench.circuit.design import design_of, stacked
from padbench.circuit.mending import fewest_settings, with_settings
from padbench.circuit.quantities import QUANTITIES
from padbench.circuit.worst_case import worst_case
from padbench.parts import E12, E24, preferred
from padbench.sheet import STARTER, sheet_from_text
from sheets import FIRMWARE, written

LATCH, CLOCK = "resistors.latch-to-supply", "resistors.clock-to-supply"
NO_RESISTORS = {LATCH: "absent", CLOCK: "absent"}
WEAK = {"pull-up.value": "10k ± 5 %"} | NO_RESISTORS


def broken(sheet):
    ports = [sheet.port(name) for name in sheet.works_with.ports]
    designs = stacked([design_of(sheet, sheet.part, port) for port in ports])
    return [worst.id for worst in worst_case(designs, QUANTITIES) if not worst.holds.all()]


SPOILT = {
    "weak pull-ups and no resistors": (WEAK, {"pull-up.value", LATCH, CLOCK}),
    "no latch resistor": ({LATCH: "absent"}, {LATCH}),
    "one resistor far too small": ({CLOCK: "300 Ω ± 5 %"}, {CLOCK}),
    "nothing fitted": (NO_RESISTORS | {"pull-up.value": None}, {"pull-up.value", LATCH, CLOCK}),
    "a slow program": (FIRMWARE | {"register.next-bit": "1 us to 8 us"}, {"register.next-bit"}),
    "a short latch": ({"poll.latch-width": "150 ns"}, {"poll.latch-width"}),
}


@cache
def searched(name):
    return fewest_settings(written(SPOILT[name][0]))


@pytest.mark.parametrize("name", SPOILT)
def test_the_settings_mend_together_and_none_is_one_too_many(name):
    change, keys = SPOILT[name]
    sheet = written(change)
    found = searched(name)
    assert {key for setting in found.settings for key in setting.keys} == keys
    assert found.left == ()
    assert broken(with_settings(sheet, found.settings)) == []
    for place in range(len(found.settings)):
        rest = [setting for at, setting in enumerate(found.settings) if at != place]
        assert set(broken(with_settings(sheet, rest))) == found.mends[place]
        assert found.mends[place]


def test_values_are_preferred_equal_on_latch_and_clock_and_have_a_fifth_to_spare():
    found = searched("weak pull-ups and no resistors")
    for setting in found.settings:
        assert setting.value in preferred(E24, 1, 1e9)
        assert setting.low <= 0.8 * setting.value
        assert 1.2 * setting.value <= setting.high
        assert setting.text.endswith("Ω ± 5 %")
    assert [setting.keys for setting in found.settings] == [("pull-up.value",), (LATCH, CLOCK)]
    # Where the usual 3.6 kΩ lie well inside they are taken; the pull-up is the middle's.
    pull_up, both = found.settings
    assert both.value == 3600
    middle = (pull_up.low * pull_up.high) ** 0.5
    nearest = min(preferred(E12, 1, 1e9), key=lambda ohms: abs(ohms / middle - 1))
    assert pull_up.value == nearest


def test_a_single_resistor_takes_after_its_fellow():
    change = {LATCH: "absent", CLOCK: "2.7k ± 5 %"}
    (setting,) = fewest_settings(written(change)).settings
    assert (setting.keys, setting.value) == ((LATCH,), 2700)


def test_where_the_range_has_no_end_the_usual_value_is_taken():
    (setting,) = fewest_settings(written({CLOCK: "300 Ω ± 5 %"}, ports=("push-pull",))).settings
    assert (setting.high, setting.value) == (None, 3600)


def test_others_would_each_do_in_its_place():
    sheet = written({"cable.length": "12 m"})
    found = fewest_settings(sheet)
    assert [setting.keys for setting in found.settings] == [(CLOCK,)]
    others = {setting.dial.key for setting in found.others[0]}
    assert "cable.length" in others
    assert CLOCK not in others
    for setting in found.others[0]:
        assert broken(with_settings(sheet, [setting])) == []
        if setting.dial.key.startswith("cable."):
            assert setting.value * 1.2 <= setting.high < setting.dial.now


def test_what_nothing_mends_is_left_and_the_rest_is_mended():
    # A pad that makes 12 V for itself lifts data above the console's supply, whatever is fitted.
    sheet = written({"pad.supply": "12 V", "contacts.worn": "100k"})
    found = fewest_settings(sheet)
    assert "data.over-voltage" in found.left
    assert found.settings
    assert set(broken(with_settings(sheet, found.settings))) == set(found.left)


@pytest.mark.parametrize(
    "edits",
    [
        {'supply = "5 V ± 5 %"': 'supply = "3.3 V ± 5 %"'},
        {'part = "CD4021B"': 'part = "MC14021B"', 'use = "plain-loop"': 'use = "brisk"'},
        {
            'use = "plain-loop"': 'use = "brisk"',
            '["push-pull", "pull-down-only"]': '["3v3-adapter"]',
        },
    ],
    ids=["too little supply", "brisk for a slow part", "brisk on an adapter"],
)
def test_a_plan_keeps_to_what_a_pad_can_be(edits):
    """No other supply than the console's, no cable too short to hold or of next to nothing."""
    text = STARTER
    for old, new in edits.items():
        assert old in text
        text = text.replace(old, new)
    found = fewest_settings(sheet_from_text(text, "starter.toml"))
    values = {setting.dial.key: setting.value for setting in found.settings}
    assert not {"pad.supply", "pad.temperature"} & set(values)
    assert values.get("cable.length", 2.0) >= 0.5
    assert values.get("cable.capacitance", 100e-12) >= 60e-12
