"""Causes without a simulator: each fault of the table explains its own reads, a sound pad none."""

from dataclasses import replace
from itertools import pairwise

import pytest

from padbench.core.cause_words import SAYS
from padbench.core.decode import Read, decode
from padbench.core.pad import PadModel
from padbench.core.timeline import Timeline
from padbench.cosim.causes import Cause, likely_causes, offer_causes
from padbench.cosim.faults import FaultyRegister, PadFault, offer_faults, pad_faults
from padbench.cosim.hdl_scenarios import all_transitions
from padbench.cosim.outcome import Coverage
from padbench.model.simulation import simulate
from padbench.scenarios import SCENARIOS, Script, Setting

NAMES = ["each-button", "press-in-latch", "past-the-end", "long-latch", "stopped-last-bit"]
NAMES += ["stopped-any-bit"]
ASK_FOR_ALL = ("stages-extra", "serial-low", "extra-clocks-lost")
"""Told apart by the last and longest of these scripts alone; the others do without it."""


@pytest.fixture(scope="module")
def setting(limits, timing) -> Setting:
    return Setting(PadModel(limits), timing, period=100_000_000, bounce=200_000_000)


@pytest.fixture(scope="module")
def scripts(setting) -> list[Script]:
    return [SCENARIOS[name].build(setting) for name in NAMES]


@pytest.fixture(scope="module")
def timelines(setting, scripts) -> list[Timeline]:
    """What the model's wires do in each script."""
    return [simulate(setting.pad, script.stimulus) for script in scripts]


@pytest.fixture(scope="module")
def sound(timelines) -> list[list[Read]]:
    return [decode(timeline) for timeline in timelines]


def reads_of(fault: PadFault, script: Script, pad: PadModel, sound: list[Read]) -> list[Read]:
    """The model's reads with the bits that the fault would have given."""
    return [
        replace(read, bits=bits) for read, bits in zip(sound, fault.gives(script, pad), strict=True)
    ]


def test_without_a_fault_the_prediction_is_the_model(setting, scripts, sound):
    """Two independent ways from a script to bits: timed in MyHDL, and without delays here."""
    for script, reads in zip(scripts, sound, strict=True):
        for read, bits in zip(reads, FaultyRegister().reads(script, setting.pad), strict=True):
            assert read.bits == bits


def test_a_sound_pad_has_no_cause(setting, scripts, sound):
    assert likely_causes([*zip(scripts, sound, strict=True)], setting.pad) == ()


ONE_OF_EACH = {fault.id: number for number, fault in enumerate(pad_faults(PadModel(None)))}  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "number", sorted(ONE_OF_EACH.values()), ids=sorted(ONE_OF_EACH, key=ONE_OF_EACH.__getitem__)
)
def test_each_fault_is_named_for_its_own_reads(number, setting, scripts, sound):
    fault = list(pad_faults(setting.pad))[number]
    runs = [
        (script, reads_of(fault, script, setting.pad, reads))
        for script, reads in zip(scripts, sound, strict=True)
    ][: None if fault.id in ASK_FOR_ALL else -1]
    causes = likely_causes(runs, setting.pad)
    assert any(cause.explains == 1 for cause in causes)
    assert fault.id in {cause.id for cause in causes}


@pytest.mark.parametrize(
    ("change", "id_"),
    [
        (lambda byte: int(f"{byte:08b}"[::-1], 2), "order-reversed"),
        (lambda byte: byte ^ 0xFF, "data-inverted"),
        (lambda byte: byte << 1 & 0xFF | 1, "one-bit-late"),
        (lambda byte: byte >> 1, "one-bit-early"),
        (lambda byte: byte | 0x20, "bit-stuck"),
        (lambda byte: 7, "held-stuck"),
    ],
)
def test_causes_of_what_a_reader_offers(change, id_):
    pairs = [(count * 77 & 0xFF, change(count * 77 & 0xFF)) for count in range(256)]
    assert id_ in [cause.id for cause in offer_causes(pairs)]


@pytest.mark.parametrize("count", [1, 2, 5, 16, 256])
def test_all_transitions_come_once(count):
    path = list(all_transitions(count))
    pairs = list(pairwise(path))
    assert len(pairs) == count * count
    assert len(set(pairs)) == count * count


def test_coverage_is_what_the_wires_showed(timelines, sound):
    coverage = Coverage()
    coverage.add(timelines[0], sound[0])
    assert coverage.states == {128 >> place for place in range(8)}
    assert coverage.transitions == {(128 >> n, 64 >> n) for n in range(7)}
    assert len(coverage.missing_positions) == 24
    assert len(coverage.missing_transitions) == 65_536 - 7
    coverage.add(timelines[-1], sound[-1])
    assert coverage.missing_positions == []


def test_every_fault_has_a_sentence_and_every_sentence_is_filled():
    """A cause with an id that the table of sentences lacks, or a fact too few, is found here."""
    says = [Cause("pad", fault.id, facts=fault.facts).says for fault in pad_faults(PadModel(None))]  # type: ignore[arg-type]
    assert "stage 3 is stuck high" in says
    assert "Up and Down are swapped" in says
    assert "it has 9 stages: one too many after the last bit" in says
    says += [Cause("reader", fault.id, facts=fault.facts).says for fault in offer_faults()]
    assert "Left always reads as not pressed" in says
    assert not any("{" in text for text in says)
    assert Cause("reader", "clock-count", facts={"clocks": 7}).says.startswith("it makes 7 clocks")
    assert {fault.id for fault in offer_faults()} < set(SAYS["reader"])
