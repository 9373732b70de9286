"""What must not pass as healthy, and what must not be blamed."""

import re
from pathlib import Path

import pytest

import padbench
from padbench.cli import main
from padbench.core.buttons import BUTTONS, byte_of
from padbench.repair import ranking
from padbench.repair.captured import observed_in
from padbench.repair.metering import MeterBench
from padbench.repair.observed import WRONG_IN_CAPTURE, each_place, read_lines
from padbench.repair.ranking import rank
from padbench.results.text import as_text
from padbench.sheet import SheetError, load_sheet

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"

SOUND = {"idle": "none", **{name: name for name in BUTTONS}}


def told(seen=(), meter=(), **more):
    return padbench.diagnose(
        SHEETS / "harbour-b.toml", {**SOUND, **dict(seen)}, meter=meter, **more
    )


def brief(result):
    section = next(one for one in result.sections if one.id == "brief")
    return " ".join(" ".join(row) for block in section.blocks for row in block.rows)


def kinds(result):
    return {(f.kind, f.at) for f in result.data.found.candidates[0].faults if f}


@pytest.mark.parametrize(
    "reading",
    [
        "supply to ground=0.2",
        "pin 16=0V",
        "pin 3=5V",
        "pin 9=2.5V",
        "pin 6 to ground=0",
        "core data=open",
        "latch to clock=0",
        "latch to data=20",
        "supply to latch=open",
        "pin 1 A+B=5V",
        "pin 3 to ground=0",
        "pin 8 to ground=open",
        "scope data=low",
        "scope clock=high",
        "scope pin 9=low",
        "swap cable=cured",
        "beat A=yes",
    ],
)
def test_a_reading_that_no_sound_pad_has_is_no_pass(reading):
    result = told(meter=[reading])
    assert result.verdict == "fail"
    assert not result.data.healthy


def test_readings_of_a_sound_pad_pass():
    """Also what its resistors leave between two cores, and what several held buttons do."""
    volts = ["pin 16=5V", "pin 1 A+B=0.1V", "pin 6 A+B=5V"]
    ohms = ["core data=0.3", "supply to latch=3.6k", "latch to clock=7.2k", "supply to ground=39k"]
    words = ["scope data=pulses", "scope pin 3=pulses", "swap cable=same", "beat A=no"]
    assert told(meter=[*volts, *ohms, *words]).verdict == "pass"


def test_what_is_odd_on_one_line_is_not_blamed_on_another():
    """What comes and goes elsewhere leaves the latch's level alone."""
    result = told(meter=["scope pin 9=low"])
    assert {at for _, at in kinds(result)} == {"latch"}
    assert "NOT EXPLAINED" in told(meter=["scope clock=high"]).word


def test_a_steady_beat_tells_a_line_that_floats_from_dirt():
    """Mains hum against the poll: from memory."""
    seen = {"idle": "none x5, A x5"}
    floats, dirt = ("pull-up-missing", "A"), ("contact-flickers", "A")
    assert {floats, dirt} <= kinds(told(seen))
    assert kinds(told(seen, ["beat A=yes"])) & {floats, dirt} == {floats}
    assert kinds(told(seen, ["beat A=no"])) & {floats, dirt} == {dirt}


def test_a_swap_tells_cable_from_register():
    dead = dict.fromkeys(BUTTONS, "none")
    cable, register = ("core-open", "data"), ("output-stuck", None)
    assert {cable, register} <= kinds(told(dead))
    assert kinds(told(dead, ["swap cable=cured"])) & {cable, register} == {cable}
    assert kinds(told(dead, ["swap register=cured"])) & {cable, register} == {register}


def test_pins_of_all_registers_of_a_chain():
    """Sixteen stages: the buttons are at the second register, whose latch is at its own pin 9."""
    text = (SHEETS / "harbour-b.toml").read_text().replace("stages = 8", "stages = 16")
    text = re.sub(r"^(\w+) = ([1-8])$", lambda m: f"{m[1]} = {int(m[2]) + 8}", text, flags=re.M)

    def seen(*meter, **more):
        return padbench.diagnose(text, {**SOUND, **more}, meter=meter)

    assert seen("pin 9 of register 2=0.3V", "pin 1 of register 2 A=0.1V").verdict == "pass"
    assert seen("pin 1 of register 2=0V").verdict == "fail"
    assert seen("pin 9 of register 2=5V").verdict == "fail"
    dead = seen("pin 1 of register 2 A=5V", A="none")
    assert ("contact-dead", "A") in kinds(dead)
    assert ("input-at-supply", "A") in kinds(dead)
    assert dead.data.tests[0].where == "pin 1 of register 2 to supply"
    with pytest.raises(padbench.Refusal, match="pins 1 to 16 and the pad 2 registers"):
        seen("scope pin 9 of register 3=low")


@pytest.mark.parametrize(
    "seen", [{"A": "A x99, none"}, {"idle": "none x99, A"}, {"B": "B x999, none"}]
)
def test_one_read_in_a_hundred_is_no_pass(seen):
    assert told(seen).verdict == "fail"


def test_a_capture_has_no_wrong_notes(known):
    seen = observed_in(known, [0] * 30 + [0x80] * 99 + [0] + [0x80] * 99 + [0] * 30, [0x80])
    seen.wrong = WRONG_IN_CAPTURE
    best = rank(known, MeterBench(known), seen).candidates[0]
    assert ("contact-worn", "A") in {(one.kind, one.at) for one in best.faults if one}


def test_a_row_of_contacts_without_ground_is_not_the_register():
    """Above the contacts the inputs still see their pull-ups: common practice, no source."""
    cross = dict.fromkeys(("Up", "Down", "Left", "Right"), "none")
    assert kinds(told(cross, ["pin 4 Up=5V", "pin 5 Down=5V"])) == {("contacts-open", "the cross")}
    every = dict.fromkeys(BUTTONS, "none")
    found = told(every, ["pin 1 A=5V", "pin 15 B=5V", "pin 16=5V"])
    assert kinds(found) == {("contacts-open", "all buttons")}


def test_a_worn_contact_has_any_volts():
    assert ("contact-worn", "Left") in kinds(told({"Left": "none"}, ["pin 6 Left=3.4V"]))
    assert ("contact-dead", "Left") in kinds(told({"Left": "none"}, ["pin 6 Left=5V"]))


@pytest.mark.parametrize(("one", "other"), [("Left", "Right"), ("A", "Down")])
def test_swapped_wires_are_named(one, other):
    assert ("inputs-swapped", one) in kinds(told({one: other, other: one}))


def test_steady_reads_are_not_called_intermittent(known):
    wrong = dict.fromkeys(("A", "Start", "Left"), "none")
    lines = [f"{key}={wrong.get(key, value)} x3" for key, value in SOUND.items()]
    found = rank(known, MeterBench(known), read_lines(lines, "{}"))
    assert found.unexplained or not known.rows[found.candidates[0].row].variant.mix[1:]


def test_a_wrong_pull_up_has_the_ohms_that_were_measured():
    result = told({"Down": "none"}, ["pin 5 to supply=2.2k"])
    assert ("pull-up-wrong", "Down") in kinds(result)
    said = [result.data.words.fault(f) for f in result.data.found.candidates[0].faults]
    assert any("2.2 kΩ where 39 kΩ belongs" in one for one in said)


def test_a_shorted_supply_is_measured_before_the_next_press():
    """First ohms, then power: common practice, no source."""
    tests = told(dict.fromkeys(SOUND, "all")).data.tests
    first = [each_place(one.where) for one in tests[:2]]  # before others that tell more for it
    assert all(("supply to ground", 0) in one for one in first)


def test_a_press_costs_more_with_each_button_and_a_look_as_much_as_one():
    tests = padbench.diagnose(SHEETS / "harbour-b.toml", {"A": "Right"}).data.tests
    costs = {one.held.bit_count(): one.cost for one in tests if one.press and one.held != 0x80}
    assert costs[0] == costs[1] == 1
    more = [costs[n] for n in sorted(costs)[1:]]
    assert more == sorted({*more})
    assert len(more) > 3


def test_a_press_that_may_short_the_supply_says_so():
    result = told({"A": "none"})
    held = ranking.Test("", 0x80, 1.0, 1.0)
    assert "joins supply to ground: up to" in result.data.words.caution(
        held, result.data.found.suspects
    )
    assert not result.data.words.caution(held)


@pytest.mark.parametrize(
    ("faults", "wrong"),
    [
        (['contact-dead"\nat="A"', 'contact-dead"\nat="A"'], "is there already"),
        (['contact-dead"\nat="A"', 'contact-stuck"\nat="A"'], "cannot be beside"),
        (['contact-worn"\nat="A"\nohms="0"'], "is not above 0"),
        (['contacts-open"\nat="the moon"'], "is no branch"),
    ],
)
def test_faults_that_cannot_be_are_refused(faults, wrong):
    text = (SHEETS / "harbour-b.toml").read_text()
    text += "".join(f'\n[[fault]]\nkind="{fault}\n' for fault in faults)
    with pytest.raises(SheetError, match=wrong):
        load_sheet(text)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["pin 9=500V"], "no voltage of a pad"),
        (["--card", "x.pdf", "A=A"], "name it .html or .txt"),
        (["--file", str(SHEETS)], "is a directory"),
    ],
)
def test_what_cannot_be_read_is_one_line(words, said, capsys):
    assert main(["diagnose", str(SHEETS / "harbour-b.toml"), *words]) == 2
    assert said in capsys.readouterr().err


def test_options_may_stand_before_the_pairs_and_the_repair_is_shown_whole(capsys):
    assert main(["diagnose", str(SHEETS / "harbour-b.toml"), "--port", "push-pull", "A=none"]) == 1
    assert main(["diagnose", str(SHEETS / "harbour-b.toml"), "idle=none", "A=none", "B=B"]) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert "look for a crack from there to pin 1." in out


def swapped(text):
    return text.replace("\nUp = 4\nDown = 3\n", "\nUp = 3\nDown = 4\n")


@pytest.mark.parametrize(
    ("change", "seen", "rule"),
    [
        (lambda text: text.replace("CD4021B", "CD4014B"), {"idle": "all"}, "wiring.load"),
        (swapped, SOUND | {"Up": "Down", "Down": "Up"}, "wiring.order"),
        (swapped, SOUND, "wiring.order"),
        (lambda text: text.replace('"39k ± 5 %"', '"390 Ω ± 5 %"'), SOUND, "levels.pressed"),
        (lambda text: text.replace("100 pF/m", "100 nF/m"), SOUND, "data.rise"),
        (
            lambda text: text.replace("stages = 8", "stages = 16"),
            {"idle": "none", "A": "none"},
            "wiring.order",
        ),
    ],
)
def test_a_sheet_that_fails_itself_is_no_measure_of_a_pad(change, seen, rule, capsys):
    text = change((SHEETS / "harbour-b.toml").read_text())
    result = padbench.diagnose(text, seen)
    found = result.document
    assert (result.verdict, result.word, found["decided"]) == ("fail", "NOT DECIDED.", False)
    assert result.lead.startswith("The sheet itself fails")
    assert rule in found["sheet"]
    assert not any(one["healthy"] for one in found["candidates"])
    said = as_text(result)
    assert "Healthy" not in said
    assert "nothing is broken" not in said


def test_a_board_that_fails_is_no_measure_either():
    assert padbench.diagnose(SHEETS / "harbour-b.net", SOUND).document["sheet"] == []
    result = padbench.diagnose(SHEETS / "harbour-a.net", SOUND)
    assert any(one.startswith("board.") for one in result.document["sheet"])
    assert result.word == "NOT DECIDED."
    with pytest.raises(SheetError, match=r"\[\[pads\]\]"):
        padbench.diagnose(SHEETS / "harbour-adapter.net", {"idle": "none", "A": "none"})


def test_a_button_that_no_read_shows_leaves_it_undecided(monkeypatch):
    """Also where nothing else of the sheet fails."""
    text = (SHEETS / "harbour-b.toml").read_text().replace("stages = 8", "stages = 16")
    monkeypatch.setattr("padbench.jobs.diagnose._sheet_fails", lambda *_: ())
    result = padbench.diagnose(text, dict.fromkeys(SOUND, "none"))
    assert (result.verdict, result.word) == ("fail", "NOT DECIDED.")
    assert result.lead.startswith("No read of this pad shows A, B, Select")


def test_a_steady_shift_by_one_is_data_from_the_stage_before():
    names = dict(zip(BUTTONS[1:], BUTTONS, strict=False))
    shifted = {key: f"{names[key]}+Right" if key in names else "Right" for key in SOUND}
    assert kinds(told(shifted)) == {("data-stage-before", None)}


def test_reads_that_speak_against_a_fault_are_no_certainty():
    """A is stuck, and one press was noted as nothing makes of it."""
    stuck = {key: "A" if key in ("idle", "A") else f"A+{key}" for key in SOUND}
    result = told(stuck | {"Up": "Select+Start+Left"})
    best = result.data.found.candidates[0]
    said = brief(result)
    assert best.explains < best.reads
    assert f"1. {best.explains} of {best.reads} reads" in said


def test_a_ghost_of_the_last_button_may_be_the_console():
    """A fetch of a sample clocks once too often: common practice."""
    seen = [f"{key}={value}" for key, value in SOUND.items()]
    for ghost, may in (("Right", True), ("Up", False)):
        result = padbench.diagnose(SHEETS / "harbour-b.toml", [*seen, f"{ghost} ghosts=3/60"])
        assert ("sample fetch" in brief(result)) is may
        assert result.verdict == "fail"


def test_a_serial_input_at_the_other_rail_is_named():
    """An open one may stand there too; ohms part them."""
    open_, wrong = ("serial-open", None), ("serial-wrong", None)
    found = told(meter=["pin 11=5V"])
    assert kinds(found) == {open_, wrong}
    assert found.data.tests[0].where == "pin 11 to supply"
    assert kinds(told(meter=["pin 11=5V", "pin 11 to supply=0.3"])) == {wrong}
    assert kinds(told(meter=["pin 11=5V", "pin 11 to supply=open"])) == {open_}


def test_ohms_come_before_a_press_that_may_short_the_supply():
    it = padbench.diagnose(SHEETS / "harbour-b.toml", {"Left": "none"}).data
    risky = [bool(it.words.caution(one, it.found.suspects)) and one.press for one in it.tests]
    assert any(risky)
    assert not any(one.where == "pin 6 to supply" for one in it.tests[risky.index(True) :])


def test_no_advice_holds_a_button_again_before_ohms():
    """Neither a test with that button held nor the check of another fault."""
    seen = {"A": "none", "B": "B", "Start": "Start"}
    result = told(seen)
    it, down = result.data, byte_of(["A"])
    assert "input-at-supply" in {kind for kind, _ in kinds(result)}
    where = [one.where for one in it.tests]
    held = [place for place, one in enumerate(it.tests) if one.held & down]
    assert held
    assert all(
        "joins supply to ground: up to" in it.words.caution(it.tests[n], it.found.suspects)
        for n in held
    )
    assert any(not it.tests[n].press for n in held)
    assert "pin 1 to supply" in where[: min(held)]
    assert held == [*range(min(held), len(it.tests))]  # after all that needs no such press
    assert "First, unplugged: no short from pin 1 to supply. Then: Hold A" in " ".join(
        brief(result).split()
    )
    checks = {one["kind"]: one["check"] for one in result.document["candidates"][0]["faults"]}
    assert checks["contact-dead"].startswith("First, unplugged")
    assert checks["input-at-supply"].startswith("Supply off")
    measured = told(seen, meter=["pin 1 to supply=39k"])
    assert "unplugged" not in brief(measured)


def test_every_member_of_a_group_is_told():
    """The short answer counts them, the tables name them."""
    result = padbench.diagnose(SHEETS / "harbour-b.toml", {"Left": "none"})
    blocks = {section.id: section.blocks for section in result.sections}
    best, *others = result.data.found.candidates[:3]
    assert len(best.faults) > 12
    said = as_text(result, 40_000)
    for row, candidate in zip(blocks["faults"][0].rows, (best, *others), strict=False):
        names = [result.data.words.fault(one) for one in candidate.faults]
        cell = row[1]
        told = [cell] if isinstance(cell, str) else [cell.text, *cell.more]
        assert "; or ".join(told) == "; or ".join(names)
        assert "; or ".join(names) in said
    assert f"or {len(best.faults) - 3} others" in brief(result)
    few, rest = blocks["mend"]
    assert len(few.lines) + len(rest.rows) == len(best.faults)


def test_of_a_sheet_of_several_pads_one_is_named(capsys):
    """Of the far pad nothing comes where the link to the other's register is open."""
    adapter = SHEETS / "harbour-adapter.toml"
    with pytest.raises(SheetError, match=r"take one with --pad"):
        padbench.diagnose(adapter, {"idle": "none"})
    dead = dict.fromkeys(SOUND, "none")
    for pad, named in (("Player 1", False), ("Player 2", True)):
        result = padbench.diagnose(adapter, dead, pad=pad)
        assert (("link-open", "2") in kinds(result)) is named
        assert padbench.diagnose(adapter, SOUND, pad=pad).verdict == "pass"
    words = [str(adapter), "--pad", "Player 2", *(f"{key}=none" for key in SOUND)]
    assert main(["diagnose", *words]) == 1
    assert "Player 2, on the bench" in capsys.readouterr().out


def test_registers_of_a_board_have_its_references(tmp_path):
    """By place in the chain and as drawn: register 1 of this board is U2."""
    (tmp_path / "pad.net").write_text((SHEETS / "harbour-adapter.net").read_text())
    text = (SHEETS / "harbour-adapter.toml").read_text()
    text = text.replace("register = 2", 'register = "U1"').replace(
        "register = 1", 'register = "U2"'
    )
    text = re.sub(r"\[register\].*?(?=# Which)", '[board]\nnetlist = "pad.net"\n', text, flags=re.S)
    text = re.sub(r"\[pull-up\].*?(?=\[works-with\])", "", text, flags=re.S)
    (tmp_path / "pad.toml").write_text(text)
    it = padbench.diagnose(tmp_path / "pad.toml", {**SOUND, "A": "none"}, pad="Player 2").data
    assert it.words.where(it.found.candidates[0].faults[0]) == "pin 1 of register 1 (U2)"
    assert it.words.plan.named(1) == "U2"


def test_a_sound_pad_read_once_a_press_is_to_be_watched_and_one_watched_is_not():
    once = " ".join(as_text(told(SOUND), whole=False).split())
    assert "for a minute" in once
    many = told({held: f"{byte} x300" for held, byte in SOUND.items()})
    assert "for a minute" not in as_text(many, whole=False)
