"""Designs and mutants for these tests; the simulators must be there."""

import sys
from pathlib import Path

import pytest

from padbench.cosim.process import missing_tools

sys.path.insert(0, str(Path(__file__).parent))  # `designs` is data shared by several tests


@pytest.fixture(scope="session")
def simulators() -> None:
    """Fails, and says what to install, where a simulator is missing."""
    missing = [
        hint for engine in ("icarus", "ghdl", "verilator") if (hint := missing_tools(engine))
    ]
    if missing:
        pytest.fail(f"simulators are missing: {'; '.join(missing)}")
