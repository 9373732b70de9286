"""What must change: a plan for all that fails, put back into the sheet, judged and played again."""

import pytest

from padbench.core.findings import Finding, Rule
from padbench.core.remedies import Remedy
from padbench.parts import register_names
from padbench.results import change
from padbench.results.change import Change, Plan, plan_of, value_now
from padbench.scenarios import SCENARIOS
from padbench.sheet import load_sheet
from padbench.trials.trial import try_sheet

SOME = [SCENARIOS["each-button"], SCENARIOS["past-the-end"]]
LATCH, CLOCK = "resistors.latch-to-supply", "resistors.clock-to-supply"
TABLES = {
    "pad": {"name": "Spoilt", "supply": "5 V ± 5 %"},
    "register": {"part": "CD4021B", "serial-input": "ground"},
    "buttons": {
        name: 8 - place
        for place, name in enumerate(["A", "B", "Select", "Start", "Up", "Down", "Left", "Right"])
    },
    "pull-up": {"value": "39k ± 5 %"},
    "resistors": {"latch-to-supply": "3.6k ± 5 %", "clock-to-supply": "3.6k ± 5 %"},
    "works-with": {"ports": ["push-pull", "pull-down-only"]},
    "poll": {"use": "plain-loop"},
}


def sheet_with(**tables):
    names = {name.replace("_", "-"): rows for name, rows in tables.items()}
    return load_sheet({**TABLES, **{name: TABLES.get(name, {}) | names[name] for name in names}})


def planned(sheet):
    return plan_of(sheet, try_sheet(sheet, SOME))


@pytest.fixture(scope="module")
def spoilt():
    """All that revision A has wrong: wires, the serial input, pull-ups and no resistors."""
    sheet = sheet_with(
        register={"serial-input": "open"},
        buttons={"Up": 3, "Down": 4},
        pull_up={"value": "10k ± 5 %"},
        resistors={"latch-to-supply": "absent", "clock-to-supply": "absent"},
    )
    trial = try_sheet(sheet, SOME)
    return trial, plan_of(sheet, trial)


def test_one_change_a_part_and_everything_that_failed_is_behind_one(spoilt):
    trial, plan = spoilt
    keys = [made.key for made in plan.changes]
    assert keys == ["buttons", "register.serial-input", "pull-up.value", LATCH, CLOCK]
    failed = {one.id for one in trial.findings if one.verdict == "fail"}
    assert {id_ for made in plan.changes for id_ in made.mends} == failed
    assert "clock.rise" not in next(made for made in plan.changes if made.key == LATCH).mends
    latch, clock = plan.changes[3:]
    assert latch.spare == clock.spare == "3.6 kΩ"
    assert latch.spare in latch.values
    assert latch.ohms == 3600
    assert not {made.key for made in plan.alternatives} & set(keys)


def test_the_plan_was_judged_and_played_again(spoilt):
    _, plan = spoilt
    assert plan.holds
    assert plan.replayed == ("each-button", "past-the-end")
    assert plan.says == "with these changes everything holds: calculated and played again"
    again = try_sheet(plan.sheet, SOME)
    assert again.verdict == "pass"
    assert plan.sheet.buttons["Up"] == 4


def test_what_still_reads_wrong_on_the_mended_sheet_is_said(monkeypatch):
    sheet = sheet_with(pull_up={"value": "10k ± 5 %"}, buttons={"Up": 3, "Down": 4})
    trial = try_sheet(sheet, SOME)
    # An edit that does not do what it should is found out by playing.
    monkeypatch.setattr(change, "_wired", lambda sheet, _: ([], sheet))
    plan = plan_of(sheet, trial)
    assert not plan.holds
    assert plan.wrong == ("each-button",)
    assert [one.id for one in plan.left] == ["wiring.order"]
    assert plan.says == (
        "with all that the sheet can change, wiring.order still fails,"
        " and each-button still read wrong: calculated and played again"
    )
    assert plan.changes[-1].mends == ("wiring.order",)


def test_a_plan_for_what_passes_is_nothing_and_judges_nothing(monkeypatch):
    sheet = sheet_with()
    trial = try_sheet(sheet, SOME)
    monkeypatch.setattr(change, "try_sheet", None)
    assert plan_of(sheet, trial) == Plan()


def test_missing_pull_ups_get_a_value_and_no_bound_alone():
    plan = planned(sheet_with(pull_up={"value": "absent"}))
    (made,) = plan.changes
    assert (made.key, bool(made.spare)) == ("pull-up.value", True)
    assert {"wiring.pull-up", "levels.released"} <= set(made.mends)
    assert plan.holds


def test_the_sister_part_is_changed_for_its_makers_4021():
    plan = planned(sheet_with(register={"part": "MC14014B"}))
    assert [made.key for made in plan.changes] == ["register.part"]
    assert plan.sheet.part.name == "MC14021B"
    assert plan.holds
    sisters = [name for name in register_names() if "4014" in name]
    assert {name.replace("4014", "4021") for name in sisters} <= {*register_names()}


def test_a_bounce_is_waited_for():
    plan = planned(sheet_with(contacts={"bounce": "20 ms"}))
    assert [(made.key, made.spare) for made in plan.changes] == [("policy.debounce", "25 ms")]
    assert {made.key for made in plan.alternatives} == {"poll.period", "contacts.bounce"}
    assert plan.holds


def test_what_no_edit_mends_is_told_and_left():
    # Stage 10 is the second of the second register, and that is brought out to no pin.
    plan = planned(sheet_with(register={"stages": 10}))
    assert not plan.holds
    assert [one.id for one in plan.left] == ["wiring.stages"]
    assert "wiring.stages still fails" in plan.says
    assert [made.key for made in plan.changes] == ["buttons", "register.stages"]
    shifted = Finding(
        Rule("data.over-voltage", "V", {"fail": "too high"}),
        "fail",
        remedy=Remedy("", advice="level-shifter"),
    )
    (made,) = change._said([shifted])
    assert made.key == ""
    assert made.says.startswith("too high; put a level shifter between port and pad")


@pytest.mark.parametrize(
    ("key", "title"),
    [
        ("buttons", "Wires of the buttons"),
        ("port.push-pull.data-pull-up", "Port: push pull, data pull up"),
    ],
)
def test_a_title_is_in_words(key, title):
    assert Change(key, "", "", (), "", ("x",)).title == title


def test_six_others_about_the_one_named_and_never_itself():
    values = tuple(f"{ohms} Ω" for ohms in (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82))
    made = Change("pull-up.value", "", "68 Ω", values, "E12", ("x",))
    assert made.others == ("27 Ω", "33 Ω", "39 Ω", "47 Ω", "56 Ω", "82 Ω")
    assert Change("cable.length", "", "2 m", (), "", ("x",)).others == ()


def test_what_only_follows_is_not_said_twice():
    def finding(id_):
        remedy = Remedy("", advice="none-tried")
        return Finding(Rule(id_, "V", {"fail": f"{id_} is broken"}), "fail", remedy=remedy)

    wire, run = finding("wiring.order"), finding("timing.clock-low")
    assert [made.mends for made in change._said([wire, run])] == [("wiring.order",)]
    assert [made.mends for made in change._said([run])] == [("timing.clock-low",)]


def test_the_wires_now_are_those_of_the_buttons_that_it_is_about():
    made = Change("buttons", "", "", (), "", ("wiring.order",), buttons=("Up",))
    assert value_now(made, {"buttons": {"A": 8, "B": 7, "Up": 3}}) == "Up on 3"
