"""The dictionary against the simulator: every fault, in every way in which it may show."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from padbench.circuit.pad_model import pad_model
from padbench.core.decode import decode
from padbench.core.pad import SOUND, Defect
from padbench.jobs.loading import load_sheets
from padbench.model.simulation import simulate
from padbench.parts.fault_kinds import fault_kinds
from padbench.repair.dictionary import Dictionary, coded, predicted
from padbench.scenarios.timetable import Timetable
from padbench.sheet import load_sheet
from padbench.sheet.checks import beside_output
from padbench.trials.trial import setting_of

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
STATES = (0, *(128 >> place for place in range(8)), 0x81, 0x60, 0xAA, 0xFF)


def played(setting, defect, states=STATES):
    """(sure bits, mask of the others) of each state, as the simulator has them."""
    timetable = Timetable(setting)
    for held in states:
        timetable.hold(held)
        timetable.poll()
        timetable.poll()
    alone = tuple(replace(one, byte=0) for one in setting.pad.beside)
    pad = replace(setting.pad, defect=defect, beside=alone)
    reads = [
        replace(read, bits=read.bits[pad.first : pad.first + 8])
        for read in decode(simulate(pad, timetable.script().stimulus))[1::2]
    ]
    assert len(reads) == len(states)
    return [(read.byte & ~read.undecided, read.undecided) for read in reads]


CABLE = [kind for kind in sorted(fault_kinds()) if kind.split("-")[0] in ("core", "cores", "joint")]


@pytest.mark.parametrize(
    ("port", "kind"),
    [
        *(("push-pull", kind) for kind in sorted(fault_kinds())),
        # What is on the inputs and in the register is the same there.
        *(("pull-down-only", kind) for kind in (*CABLE, "resistor-missing")),
    ],
)
def test_a_fault_reads_in_the_simulator_as_in_the_dictionary(sheet, known_on, port, kind):
    known = known_on[port]
    settings = [setting_of(sheet, port, corner) for corner in ("fast", "slow")]
    tried = {}
    for part, row in enumerate(known.row_of.tolist()):
        fault = known.faults[known.rows[row].fault]
        if fault is None or fault.kind != kind:
            continue
        place = part - int((known.row_of < row).sum())
        defect = known.rows[row].variant.mix[place][1]
        expected = [(known.fixed[part, held], known.random[part, held]) for held in STATES]
        if defect in tried:
            assert tried[defect] == expected
            continue
        tried[defect] = expected
        # Delays change nothing: the last of the places at the slow corner stands for the others.
        for setting in settings if not tried.keys() - {defect} else settings[len(tried) % 2 :][:1]:
            assert played(setting, defect) == expected, (fault, row)
    # The lines of this pad have no resistors, and its one register no link to another.
    assert tried or kind in ("resistor-missing", "link-open")


@pytest.mark.parametrize("which", ["Player 1", "Player 2"])
def test_a_chain_of_registers_reads_in_the_simulator_as_in_the_dictionary(which):
    """Links between registers, and the bits of one pad of two."""
    sheets = load_sheets(SHEETS / "harbour-adapter.toml")
    sheet = next(one for one in sheets if one.pads[0].name == which)
    known = Dictionary.of(sheet, "push-pull")
    setting, tried = setting_of(sheet, "push-pull", "slow"), {}
    for row, entry in enumerate(known.rows):
        fault, part = known.faults[entry.fault], known.first_part(row)
        if fault and fault.kind.split("-")[0] in ("link", "stage", "register", "data", "serial"):
            tried[entry.variant.mix[0][1]] = part
    links = [defect for defect in tried if defect.links[0]]
    assert {defect.links[0] for defect in links} == {1 << 8}
    states = (0, 0x80, 0x41, 0xFF)
    for defect in [*links, *({*tried} - {*links})]:
        expected = [
            (known.fixed[tried[defect], one], known.random[tried[defect], one]) for one in states
        ]
        assert played(setting, defect, states) == expected, defect
    # The link shows in the bits that come through it.
    shows = any(known.fixed[tried[one], 0] or known.random[tried[one], 0] for one in links)
    assert shows == (which == "Player 2")


def test_the_sheet_plays_its_own_faults():
    text = (SHEETS / "harbour-b.toml").read_text()
    broken = load_sheet(f'{text}\n[[fault]]\nkind = "inputs-shorted"\nat = "A"\nto = "Up"\n')
    setting = setting_of(broken, "push-pull", "slow")
    reads = played(setting, pad_model(broken, "push-pull", "slow").defect)
    assert reads[1] == (0x88, 0)
    assert reads[5] == (0x88, 0)
    # What is broken in the sheet leaves the dictionary alone.
    assert Dictionary.of(broken, "push-pull").fixed[0].tolist() == list(range(256))


@pytest.mark.parametrize("fault", ['"core-open"\nat = "supply"', '"pull-up-missing"\nat = "A"'])
def test_a_fault_that_may_hide_shows_in_its_sheet_unless_it_is_told_not_to(fault):
    text = (SHEETS / "harbour-b.toml").read_text() + f"\n[[fault]]\nkind = {fault}\n"
    assert pad_model(load_sheet(text), "push-pull", "fast").defect != SOUND
    if "supply" in fault:
        working = load_sheet(text + 'rests = "works"\n')
        assert pad_model(working, "push-pull", "fast").defect == SOUND


A, B, SELECT, UP, DOWN = 0x80, 0x40, 0x20, 0x08, 0x04
BRIDGED = Defect(joined=((8, 7), (7, 8)))
SWAPPED = Defect(moved=((UP, 3), (DOWN, 4)))


@pytest.mark.parametrize(
    ("one", "other", "reads"),
    [
        # Worked out by hand from what the contacts pull: a dead contact pulls nothing through a
        # bridge, bridges side by side are one, and a dead contact is dead wherever its wire goes.
        (BRIDGED, Defect(dead=A), {A: 0, B: A | B}),
        (BRIDGED, Defect(joined=((7, 6), (6, 7))), {A: 0xE0, B: 0xE0, SELECT: 0xE0}),
        (SWAPPED, Defect(dead=UP), {UP: 0, DOWN: UP}),
        (Defect(early=True), Defect(dead=UP), {UP: 1, DOWN: 0x09, B: 0x81}),
        (Defect(early=True), Defect(stages=(1 << 2, 0)), {0: 0x0F, A: 0x0F, B: 0x8F, 1: 0x0F}),
        # A contact at the output's neighbour drags the data line, unless data comes from elsewhere.
        (Defect(joined=((8, 4),), drags=1 << 3), SOUND, {A: A | UP, UP: 0xFF, B: B}),
        (Defect(joined=((8, 4),), drags=1 << 3), Defect(dead=UP), {A: A | UP, UP: 0}),
        (Defect(joined=((8, 4),), drags=1 << 3), Defect(early=True), {A: 0x11, UP: 0x11}),
    ],
)
def test_two_faults_work_on_each_other_as_contacts_and_wires_do(sheet, known, one, other, reads):
    states, setting = [*reads], setting_of(sheet, "push-pull", "slow")
    fixed, *_ = predicted(known.pad, coded([one | other], known.pad), np.array(states))
    assert dict(zip(states, fixed[0].tolist(), strict=True)) == reads
    assert [sure for sure, _ in played(setting, one | other, states)] == [*reads.values()]


def test_inputs_beside_an_output_are_those_of_the_package(sheet, known):
    """4021: P8 has Q6 beside it, P4 has Q8, P5 has Q7; the others have inputs or rails (fact 2,
    MC14021B, Motorola CMOS Logic Data: published)."""
    beside = {one.at for one in known.faults if one and one.kind == "input-at-output"}
    assert {name: beside_output(name, sheet) for name in sheet.buttons} == {
        **dict.fromkeys(sheet.buttons),
        **{"A": 6, "Up": 8, "Start": 7},
    }
    assert beside == {"A", "Up", "Start"}
