"""The golden waves still are what the simulation does, by content."""

from pathlib import Path

import pytest

from padbench.circuit.pad_model import pad_model
from padbench.core.decode import decode
from padbench.parts import console_timing
from padbench.routines.console import Console
from padbench.routines.source import load_routine
from padbench.routines.wave import case_wave
from padbench.scenarios import SCENARIOS
from padbench.sheet import STARTER, load_sheet, sheet_from_text
from padbench.trials.trial import run_scenario
from padbench.waveio import read_wave

ROOT = Path(__file__).parents[2]
ROUTINES = {"exposed-read-twice"}  # see test_the_exposed_read_twice_is_what_a_run_makes
GOLDEN = sorted(p for p in (ROOT / "waves").glob("*.vcd") if p.stem not in ROUTINES)


def test_there_are_golden_waves():
    assert len(GOLDEN) >= 4
    assert {name for name in ROUTINES if not (ROOT / "waves" / f"{name}.vcd").is_file()} == set()


@pytest.mark.parametrize("path", GOLDEN, ids=lambda path: path.stem)
def test_a_golden_wave_is_what_a_run_makes(path):
    sheet = load_sheet(ROOT / "sim" / "sheets" / "harbour-b.toml")
    result = run_scenario(sheet, SCENARIOS[path.stem], "push-pull", "slow")
    golden = read_wave(path)
    assert golden == result.timeline
    # A reader that knows nothing of the simulation finds the same bytes in the file.
    assert [read.byte for read in decode(golden)] == [pair.byte for pair in result.reads]


def test_the_exposed_read_twice_is_what_a_run_makes():
    """Both passes lose a bit and agree: nothing is held, Right is handed on."""
    console = Console(console_timing("60hz"))
    routine = load_routine(str(ROOT / "tests" / "routines" / "sources" / "read-twice-36.asm"))
    pad = pad_model(sheet_from_text(STARTER, "starter"), "push-pull", "slow")
    golden = read_wave(ROOT / "waves" / "exposed-read-twice.vcd")
    assert golden == case_wave(routine, console, pad, held=0, period=432, phase=49)
    # A reader that knows nothing of routines finds two passes of nine clocks that agree.
    reads = decode(golden)
    assert [read.byte for read in reads] == [0x01, 0x01]
    assert [len(read.clock_rises) for read in reads] == [9, 9]
    assert [len(read.bits) for read in reads] == [8, 8]
    assert len(golden.wires["cpu.stopped"].rises()) == 2
    # Two requests, one fetch period apart.
    first, second = golden.events["cpu.request"].tolist()
    assert second - first == console.timing.to_ps(432)
