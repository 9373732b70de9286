"""Faulty pads and readers, made by hand: each is killed, and the report names the right cause."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from designs import PAD_MUTANTS, READER_MUTANTS, Mutant, sheet_for

from padbench.cosim.outcome import RegressResult
from padbench.cosim.regress import regress
from padbench.scenarios import SCENARIOS

pytestmark = pytest.mark.usefixtures("simulators")

MUTANTS = PAD_MUTANTS + READER_MUTANTS
# Those that tell the mutants apart; all scenarios would take three times as long.
SOME = [
    *("idle", "each-button", "stuck-contact", "press-in-latch", "press-after-latch"),
    *("past-the-end", "cut-short", "long-latch", "stopped-last-bit", "read-twice-rejects"),
]


@pytest.fixture(scope="module")
def results(tmp_path_factory) -> dict[str, RegressResult]:
    """All mutants, two at a time: they also show that parallel runs do not disturb each other."""
    folder: Path = tmp_path_factory.mktemp("mutants")

    def run(mutant: Mutant) -> RegressResult:
        sheet = sheet_for(mutant.design, source=mutant.write(folder), passes=mutant.passes)
        return regress(sheet, folder, [SCENARIOS[name] for name in [*SOME, *mutant.needs]])

    with ThreadPoolExecutor(2) as pool:
        return dict(zip((m.name for m in MUTANTS), pool.map(run, MUTANTS), strict=True))


def test_there_are_enough_of_them():
    assert len(PAD_MUTANTS) >= 24
    assert len(READER_MUTANTS) >= 8


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name)
def test_mutant_is_killed_for_the_right_reason(mutant, results):
    result = results[mutant.name]
    assert result.verdict == "fail"
    named = [cause.id for cause in result.causes]
    named += [found.id for found in result.findings if found.verdict == "fail"]
    assert mutant.tells in named
    # Where a read is wrong, or what is offered, the first of them is shown with its place.
    idle = {"valid-inverted", "byte-not-kept"} & set(named)
    if any(scenario.problems for scenario in result.scenarios) and not idle:
        assert result.failures
    # A cause that explains everything leaves no room for many others.
    if any(cause.explains == 1 for cause in result.causes) and mutant.tells in named[:1]:
        assert len(result.causes) <= 2
