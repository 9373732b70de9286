"""The dictionary against the simulator: every fault, in every way in which it may show."""

from dataclasses import replace
from pathlib import Path

import pytest

from padbench.circuit.pad_model import pad_model
from padbench.core.decode import decode
from padbench.model.bench import simulate
from padbench.parts.faults import fault_kinds
from padbench.repair.dictionary import Dictionary
from padbench.scenarios.timetable import Timetable
from padbench.sheet import load_sheet
from padbench.trials.run import setting_of

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
PORTS = ("push-pull", "pull-down-only")
STATES = (0, *(128 >> place for place in range(8)), 0x81, 0x60, 0xAA, 0xFF)


def played(setting, defect):
    """(sure bits, mask of the others) of each state, as the simulator has them."""
    timetable = Timetable(setting)
    for held in STATES:
        timetable.hold(held)
        timetable.poll()
        timetable.poll()
    timeline = simulate(replace(setting.pad, defect=defect), timetable.script().stimulus)
    reads = decode(timeline)[1::2]
    assert len(reads) == len(STATES)
    return [(read.byte & ~read.undecided, read.undecided) for read in reads]


@pytest.mark.parametrize("kind", sorted(fault_kinds()))
@pytest.mark.parametrize("port", PORTS)
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
    assert tried or kind == "resistor-missing"


def test_the_sheet_plays_its_own_faults():
    text = (SHEETS / "harbour-b.toml").read_text()
    broken = load_sheet(f'{text}\n[[fault]]\nkind = "inputs-shorted"\nat = "A"\nto = "Up"\n')
    setting = setting_of(broken, "push-pull", "slow")
    reads = played(setting, pad_model(broken, "push-pull", "slow").defect)
    assert reads[1] == (0x88, 0)
    assert reads[5] == (0x88, 0)
    # What is broken in the sheet leaves the dictionary alone.
    assert Dictionary.of(broken, "push-pull").fixed[0].tolist() == list(range(256))
