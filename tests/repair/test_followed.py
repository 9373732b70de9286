"""Broken pads whose fault is known, played by their sheets: advice is followed to its end.

What is read comes from the simulator, what a meter finds from the circuit of the true fault.
"""

import random

import diagnose as benchmark
import pytest
from test_dictionary import SHEETS, played

from padbench.jobs.diagnose import diagnosed
from padbench.parts.fault_kinds import CORES
from padbench.repair import ranking
from padbench.repair.observed import Observed, each_place, read_lines
from padbench.sheet import load_sheet
from padbench.trials.trial import setting_of

PADS = [
    'kind = "contact-worn"\nat = "B"',
    'kind = "pull-up-missing"\nat = "Up"\nrests = "high"',
    'kind = "input-at-supply"\nat = "Select"',
    'kind = "inputs-swapped"\nat = "A"\nto = "Start"',
    'kind = "core-open"\nat = "supply"\nrests = "low"',
    'kind = "joint-open"\nat = "ground"\nrests = "works"',
    'kind = "cores-shorted"\nat = "supply"\nto = "ground"',
    'kind = "output-stuck"\nlevel = "high"',
    'kind = "serial-wrong"',
]
MOST_PRESSES = 12
"""Presses, and a look at nothing held, that a pad without a fault is asked for (README)."""
LONG = 300
"""Reads of a press that is watched for five seconds."""


def named(fault):
    return fault and (fault.kind, fault.at, fault.to, fault.level)


@pytest.mark.parametrize("fault", PADS)
def test_advice_that_is_followed_ends_at_the_fault(fault, benches, tmp_path):
    (tmp_path / "pad.toml").write_text(
        f"{SHEETS.joinpath('harbour-b.toml').read_text()}\n[[fault]]\n{fault}\n"
    )
    broken = load_sheet(tmp_path / "pad.toml")
    setting, (true,) = setting_of(broken, "push-pull", "slow"), broken.fault
    design, known, bench = benches(SHEETS / "harbour-b.toml", "push-pull")
    rows = [
        row for row, one in enumerate(known.rows) if one.variant.mix[0][1] == setting.pad.defect
    ]
    row = next(row for row in rows if named(known.faults[known.fault_of[row]]) == named(true))
    rng, seen, test = random.Random(1), Observed(), ranking.Test("", 0, 1.0, 0.2)
    for _ in range(12):
        if test.press:
            ((sure, loose),) = played(setting, setting.pad.defect, [test.held])
            for _ in range(LONG if loose else 1):
                seen.add(test.held, sure | rng.randrange(256) & loose, 1 if loose else LONG)
        for where, held in each_place(test.where) if test.where else ():
            seen.meter.append(benchmark.measured(bench, row, where, held or test.held, rng))
        it = diagnosed(design, known, bench, seen).data
        if not it.tests:
            break
        test = it.tests[0]
    assert not it.tests
    assert not it.found.unexplained
    assert named(true) in map(named, it.found.candidates[0].faults)


@pytest.mark.parametrize("sheet", ["harbour-a.toml", "harbour-b.toml"])
def test_a_sound_pad_is_asked_a_few_presses_though_each_is_read_once(sheet, benches):
    _, known, bench = benches(SHEETS / sheet, "push-pull")
    seen = Observed()
    while tests := ranking.next_tests(
        known, bench, ranking.rank(known, bench, seen), seen, meter=False
    ):
        assert len(seen.reads) < MOST_PRESSES
        seen.add(tests[0].held, int(known.fixed[0, tests[0].held]))
    found = ranking.rank(known, bench, seen)
    assert found.candidates[0].healthy
    assert ranking.settled(known, found)


@pytest.mark.parametrize("core", CORES)
def test_what_has_no_contact_is_asked_no_more_presses(core, benches):
    """That it may be loose instead changes nothing about what to mend."""
    design, known, bench = benches(SHEETS / "harbour-b.toml", "push-pull")
    ohms = ",".join("open" if one == core else "0.3" for one in CORES)
    seen = read_lines(["idle=none", "A=none", f"cores={ohms}"], "{}")
    tests = diagnosed(design, known, bench, seen).data.tests
    assert tests
    assert not any(test.press for test in tests)
