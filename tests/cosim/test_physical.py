"""Faults of a design and faults of a soldered pad: two ways to work out reads, one dictionary."""

from pathlib import Path

import pytest

from padbench.cosim.causes import Cause
from padbench.cosim.faults import pad_faults
from padbench.cosim.physical import faults_like, in_a_pad
from padbench.repair.dictionary import Dictionary
from padbench.sheet import load_sheet

SHEET = Path(__file__).parents[2] / "sim" / "sheets" / "harbour-hdl.toml"


@pytest.fixture(scope="module")
def sheet():
    return load_sheet(SHEET)


@pytest.fixture(scope="module")
def known(sheet):
    return Dictionary.of(sheet, sheet.works_with.ports[0])


def alike(known, id_, **facts):
    made = next(one for one in pad_faults(known.pad) if (one.id, dict(one.facts)) == (id_, facts))
    return {(one.kind, one.at, one.to, one.level) for one in faults_like(made, known)}


@pytest.mark.parametrize(
    ("id_", "facts", "fault"),
    [
        ("no-load", {}, ("register-no-load", None, None, None)),
        ("no-shift", {}, ("register-no-shift", None, None, None)),
        ("synchronous-load", {}, ("part-synchronous", None, None, None)),
        ("latch-inverted", {}, ("part-inverted", None, None, None)),
        ("one-bit-early", {}, ("data-stage-before", None, None, None)),
        ("data-low", {}, ("output-stuck", None, None, "low")),
        ("data-high", {}, ("output-stuck", None, None, "high")),
        ("stage-stuck", {"stage": 3, "level": "low"}, ("stage-stuck", "3", None, "low")),
        ("order-swapped", {"names": ("Up", "Down")}, ("inputs-swapped", "Up", "Down", None)),
        ("input-stuck", {"name": "B", "state": "pressed"}, ("contact-stuck", "B", None, None)),
        ("input-stuck", {"name": "B", "state": "not pressed"}, ("contact-dead", "B", None, None)),
    ],
)
def test_a_fault_reads_the_same_in_a_design_and_in_a_pad(known, id_, facts, fault):
    assert fault in alike(known, id_, **facts)


def test_what_no_pad_does_is_like_nothing(known):
    assert alike(known, "order-reversed") == alike(known, "both-edges") == set()
    # Nor is what reads as a sound pad, as long as no more than the buttons is read.
    assert alike(known, "serial-high") == set()


def test_a_cause_names_the_commonest_first(sheet):
    like = in_a_pad(Cause("pad", "no-shift"), sheet)
    assert like[0].startswith("the latch core of the cable is broken")
    assert "the register does not shift, though the clock reaches pin 10" in like
    assert in_a_pad(Cause("reader", "order-reversed"), sheet) == ()
