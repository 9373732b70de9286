"""Designs and mutants for these tests; the simulators must be there."""

import sys
from pathlib import Path

import pytest

from padbench.sheet.simulators import SIMULATORS

sys.path.insert(0, str(Path(__file__).parent))  # `designs` is data shared by several tests


@pytest.fixture(scope="session")
def simulators() -> None:
    """Fails, and says what to install, where a simulator is missing."""
    missing = [simulator.missing for simulator in SIMULATORS.values() if simulator.missing]
    if missing:
        pytest.fail(f"simulators are missing: {'; '.join(missing)}")
