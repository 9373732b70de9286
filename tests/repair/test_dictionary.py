"""The dictionary against the simulator: every fault, in every way in which it may show."""

from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest

from padbench.circuit.pad_model import pad_model
from padbench.core.decode import decode
from padbench.core.pad import SOUND
from padbench.jobs.loading import load_sheets
from padbench.model.simulation import simulate
from padbench.parts.fault_kinds import fault_kinds
from padbench.repair.dictionary import Dictionary, both, coded
from padbench.scenarios.timetable import Timetable
from padbench.sheet import load_sheet
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


def test_coded_defects_merge_as_defects_do(known):
    """The pairs of the ranking and two faults of a sheet are one arithmetic."""
    defects = [part for row in known.rows for _, part in row.variant.mix][::5]
    for one, other in product(defects, defects[::4]):
        merged = both(coded([one], 8), coded([other], 8))
        assert merged.tolist() == coded([one | other], 8).tolist()
