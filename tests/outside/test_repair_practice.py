"""What people who repair pads know, against the repair bench (common practice, no source).

The groups of faults that presses cannot part were found by an independent calculation as well; none
of its code is here. The reads that belong to them follow from the data sheet's truth table: level
high of the load makes all stages follow the inputs, a rising clock edge shifts by one, the serial
input enters stage 1 (CD4021B data sheet, SCHS024).
"""

from pathlib import Path

import pytest

from padbench.core.buttons import BUTTONS, byte_of
from padbench.repair.dictionary import Dictionary
from padbench.repair.metering import MeterBench
from padbench.repair.observed import Observed
from padbench.repair.ranking import rank
from padbench.sheet import load_sheet

SHEET = Path(__file__).parents[2] / "sim" / "sheets" / "harbour-b.toml"


@pytest.fixture(scope="module")
def known():
    return Dictionary.of(load_sheet(SHEET), "push-pull")


@pytest.fixture(scope="module")
def meter(known):
    return MeterBench(known)


ALIKE = {
    # Latch high: always transparent. Clock open: never a shift. Either way all bits are the first.
    "first bit repeated": (
        lambda held: 0xFF if held & 0x80 else 0,
        {("cores-shorted", "supply", "latch"), ("core-open", "clock", None)},
    ),
    # Never loaded, the grounded serial input fills the register: low is pressed.
    "all pressed": (
        lambda held: 0xFF,
        {
            ("cores-shorted", "ground", "data"),
            ("core-open", "supply", None),
            ("cores-shorted", "ground", "latch"),
            ("register-no-load", None, None),
            ("part-synchronous", None, None),
        },
    ),
    "all released": (
        lambda held: 0,
        {("core-open", "data", None), ("stage-stuck", "8", None)},
    ),
    "A dead": (
        lambda held: held & 0x7F,
        {("contact-dead", "A", None), ("input-at-supply", "A", None)},
    ),
    "Right stuck": (
        lambda held: held | 0x01,
        {("contact-stuck", "Right", None), ("stage-stuck", "1", None)},
    ),
}


@pytest.mark.parametrize("what", ALIKE)
def test_presses_leave_the_groups_that_the_trade_knows(known, meter, what):
    reads, alike = ALIKE[what]
    seen = Observed()
    for held in (0, *(byte_of([name]) for name in BUTTONS), 0xFF):
        seen.add(held, reads(held))
    best = rank(known, meter, seen).candidates[0]
    assert alike <= {(one.kind, one.at, one.to) for one in best.faults if one is not None}


def test_a_stage_that_is_stuck_spoils_every_button_that_passes_it(known):
    """Stage 3 stuck low: Down, and Left and Right behind it, read as pressed, whatever is held."""
    named = [one and (one.kind, one.at, one.level) for one in known.faults]
    place = named.index(("stage-stuck", "3", "low"))
    part = known.first_part(int((known.fault_of == place).argmax()))
    assert {int(byte) & 0x07 for byte in known.fixed[part]} == {0x07}
    assert {int(byte) & 0xF8 for byte in known.fixed[part]} == {held & 0xF8 for held in range(256)}
