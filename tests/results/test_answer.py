"""The answer says no port works that does not, and names each thing that fails once."""

from dataclasses import replace
from pathlib import Path

import pytest

from padbench.core.buttons import BUTTONS
from padbench.core.findings import Finding, Rule
from padbench.results.answer import Cause, answer_of, answer_of_core, thinnest
from padbench.results.change import plan_of
from padbench.scenarios import SCENARIOS
from padbench.sheet import sheet_from_text
from padbench.trials.trial import Trial, try_sheet

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
A, B = ((SHEETS / f"harbour-{name}.toml").read_text() for name in "ab")
PORTS = ("push-pull", "pull-down-only")


def tried(text, *names):
    sheet = sheet_from_text(text, "sheet")
    return try_sheet(sheet, [SCENARIOS[name] for name in names])


def answered(trial, needed=()):
    return answer_of(trial, needed, PORTS)


@pytest.fixture(scope="module")
def good():
    return tried(B, "idle", "each-button")


@pytest.fixture(scope="module")
def bad():
    return tried(A, "idle", "each-button", "past-the-end")


def failing(id_, **more):
    return Finding(Rule(id_, "V", {"fail": "fails"}), "fail", 1.0, 2.0, -1.0, **more)


def test_a_good_pad_works_on_both_ports_with_every_button_right(good):
    answer = answered(good)
    assert [(one.port, one.works, one.says) for one in answer.ports] == [
        (port, True, "works") for port in PORTS
    ]
    assert all(set(one.buttons.values()) == {"right"} for one in answer.ports)
    assert (answer.causes, answer.failing) == ((), ())
    assert answer.passing == ("idle", "each-button")


def test_a_bad_pad_by_port_and_button(bad):
    pushed, pulled = answered(bad).ports
    assert pushed.says == "Up and Down are swapped; a worn contact may not read"
    assert (pushed.buttons["Up"], pushed.buttons["Down"]) == (
        "swapped with Down",
        "swapped with Up",
    )
    assert pushed.buttons["A"] == "right when new"
    assert pulled.says == "nothing reads"
    assert set(pulled.buttons.values()) == {"not read"}
    assert not pushed.works
    assert not pulled.works


def test_one_input_that_floats_leaves_the_other_buttons_right():
    trial = tried(B + '\n[[fault]]\nkind = "input-open"\nat = "Up"\n', "each-button")
    answer = answer_of(trial, (), PORTS, broken=["the input of Up is open"])
    for one in answer.ports:
        assert (one.works, one.says) == (False, "Up may read either way")
        others = {name: word for name, word in one.buttons.items() if name != "Up"}
        assert (one.buttons["Up"], {*others.values()}) == ("unsure", {"right"})
    (cause,) = answer.causes
    assert (cause.title, cause.says) == ("What is broken", "the input of Up is open")
    assert cause.scenarios == ("each-button",)


def test_a_swapped_pair_is_told_beside_an_input_that_floats():
    fault = '\n[[fault]]\nkind = "input-open"\nat = "A"\n'
    pushed = answered(tried(A + fault, "each-button")).ports[0]
    assert pushed.buttons["A"] == "unsure"
    assert (pushed.buttons["Up"], pushed.buttons["Down"]) == (
        "swapped with Down",
        "swapped with Up",
    )


def test_everything_that_fails_stands_under_one_cause(bad):
    plan = plan_of(sheet_from_text(A, "sheet"), bad)
    assert plan.holds
    answer = answered(bad, plan.changes)
    assert {cause.change for cause in answer.causes} == set(plan.changes)
    findings = [id_ for cause in answer.causes for id_ in cause.findings]
    scenarios = [name for cause in answer.causes for name in cause.scenarios]
    assert sorted(findings) == sorted(f.id for f in bad.findings if f.verdict == "fail")
    assert sorted(scenarios) == sorted(answer.failing)
    assert all(cause.findings or cause.scenarios for cause in answer.causes)
    still = answer_of(bad, plan.changes, PORTS, ["past-the-end"]).causes
    assert [cause.change for cause in still if "past-the-end" in cause.scenarios] == [None]


@pytest.mark.parametrize(
    ("id_", "word"),
    [
        ("levels.released", "unsure"),
        ("levels.pressed", "right when new"),
        ("power.pull-up", "right"),
    ],
)
def test_a_finding_that_no_port_is_to_blame_for_fails_on_each(good, id_, word):
    """The runs all read right; yet the answer does not say so."""
    answer = answered(replace(good, findings=(*good.findings, failing(id_))))
    for one in answer.ports:
        assert not one.works
        assert one.findings == (id_,)
        assert set(one.buttons.values()) == {word}
    assert id_ in answer.causes[0].findings


def test_the_number_of_what_fails_goes_with_its_verb(good):
    one, other = failing("levels.released"), failing("data.high")
    for some, says in (
        ([one], "levels.released fails"),
        ([one, other], "data.high and 1 more fail"),
    ):
        trial = replace(good, findings=(*good.findings, *reversed(some)))
        assert {port.says for port in answered(trial).ports} == {f"reads in simulation, but {says}"}


def test_a_finding_of_one_port_leaves_the_other_alone(good):
    rows = tuple(
        replace(row, fails=("data.high",))
        if (row.variant, row.port) == (good.ports[0].variant, "pull-down-only")
        else row
        for row in good.ports
    )
    trial = replace(good, findings=(*good.findings, failing("data.high")), ports=rows)
    assert [one.works for one in answered(trial).ports] == [True, False]


def test_a_port_of_which_nothing_was_played_is_judged_by_the_findings(good):
    nothing = Trial((failing("levels.released"),), (), good.ports)
    for one in answered(nothing).ports:
        assert not one.works
        assert set(one.buttons.values()) == {"not tried"}


@pytest.mark.parametrize(
    ("old", "new", "button", "word", "says"),
    [
        ("[contacts]", '[contacts]\nstuck = ["Start"]', "Start", "stuck", "Start stuck"),
        ("Right = 1\n", "", "Right", "never", "Right unread"),
    ],
)
def test_what_is_wrong_with_one_button_is_named(old, new, button, word, says):
    (one, _) = answered(tried(B.replace(old, new), "each-button")).ports
    assert one.buttons[button] == word
    assert says in one.says
    assert {one.buttons[name] for name in BUTTONS if name != button} == {"right"}


def test_the_thinnest_are_measured_by_their_limits():
    def held(id_, margin, limit, unit="V"):
        return Finding(Rule(id_, unit, {"pass": ""}), "pass", None, limit, margin)

    some = [held("wide", 9, 1), held("thin", 1, 100), held("none", None, 1), held("zero", 1, 0),
            held("counted", 0, 9, "edges"), held("some", 1, 10), failing("broken")]  # fmt: skip
    assert [found.id for found in thinnest(some)] == ["thin", "some", "wide"]
    assert len(thinnest([held(str(n), n, 1) for n in range(9)])) == 5


def test_the_scenario_to_look_at_is_the_one_with_a_press():
    assert Cause("", "", (), ("idle", "each-button", "held")).telling == "each-button"
    assert Cause("", "", (), ("held", "idle")).telling == "held"
    assert Cause("", "", (), ()).telling == ""


def test_a_core_is_answered_like_a_port(good, bad):
    runs = [run for run in bad.every if run.port == "push-pull" and run.corner == "fast"]
    swapped = Cause("all", "Up and Down are swapped", (), ("each-button",))
    (port,) = (answer := answer_of_core("core", runs, (), [swapped])).ports
    assert (port.port, port.works, port.buttons["Up"]) == ("core", False, "swapped with Down")
    assert port.says == "Up and Down are swapped"
    assert (answer.causes, answer.failing) == ((swapped,), ("each-button", "past-the-end"))
    assert answer_of_core("core", good.runs, (), []).ports[0].works
    # What nothing explains is said to be so, and a finding alone is enough to fail.
    (unexplained,) = answer_of_core("core", runs, (), []).causes
    assert unexplained.scenarios == answer.failing
    late = answer_of_core("core", good.runs, [failing("data.answer")], [])
    assert not late.ports[0].works
    assert late.causes[0].findings == ("data.answer",)
