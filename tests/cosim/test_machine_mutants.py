"""A few of the mutants that Yosys makes; tests/bench/machine_mutants.py runs all of them."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from machine import killed_by, machine_mutants

pytestmark = pytest.mark.usefixtures("simulators")

COUNT = 120
SAMPLE = {"shift_register": (3, 60), "fpga_pad": (10, 77), "port_reader": (5, 40)}


def test_a_sample_is_killed(tmp_path):
    mutants = []
    for design, chosen in SAMPLE.items():
        folder: Path = tmp_path / design
        folder.mkdir()
        mutants += machine_mutants(design, COUNT, folder, chosen)
    with ThreadPoolExecutor(2) as pool:
        killers = list(pool.map(killed_by, mutants))
    alive = [one.command for one, killer in zip(mutants, killers, strict=True) if not killer]
    assert alive == []
    assert len(mutants) == sum(map(len, SAMPLE.values()))
