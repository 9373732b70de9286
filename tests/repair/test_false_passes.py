"""What must not pass as healthy, and what must not be blamed."""

from pathlib import Path

import pytest

import padbench
from padbench.core.buttons import BUTTONS
from padbench.repair.captured import observed_in
from padbench.repair.metering import MeterBench
from padbench.repair.observed import WRONG_IN_CAPTURE, read_lines
from padbench.repair.ranking import rank

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"

SOUND = {"idle": "none", **{name: name for name in BUTTONS}}


def told(seen=(), meter=(), **more):
    return padbench.diagnose(
        SHEETS / "harbour-b.toml", {**SOUND, **dict(seen)}, meter=meter, **more
    )


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
    ],
)
def test_a_reading_that_no_sound_pad_has_is_no_pass(reading):
    result = told(meter=[reading])
    assert result.verdict == "fail"
    assert not result.data.healthy
    assert told(meter=["pin 16=5V", "core data=0.3"]).verdict == "pass"


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
