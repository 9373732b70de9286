"""The golden waves still are what the simulation does, by content."""

from pathlib import Path

import pytest

from padbench.decode import decode
from padbench.scenarios import SCENARIOS
from padbench.sheet import load_sheet
from padbench.verify import run_scenario
from padbench.waveio import read_vcd

ROOT = Path(__file__).parents[2]
GOLDEN = sorted((ROOT / "waves").glob("*.vcd"))


def test_there_are_golden_waves():
    assert len(GOLDEN) >= 4


@pytest.mark.parametrize("path", GOLDEN, ids=lambda path: path.stem)
def test_a_golden_wave_is_what_a_run_makes(path):
    sheet = load_sheet(ROOT / "sim" / "sheets" / "harbour-b.toml")
    result = run_scenario(sheet, SCENARIOS[path.stem], "push-pull", "slow")
    golden = read_vcd(path)
    assert golden == result.timeline
    # A reader that knows nothing of the simulation finds the same bytes in the file.
    assert [read.byte for read in decode(golden)] == [pair.byte for pair in result.reads]
