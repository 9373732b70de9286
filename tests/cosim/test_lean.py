"""What stands in for pytest in the processes of a job, where cocotb imports it for three names."""

import subprocess
import sys
from pathlib import Path

from padbench.cosim import process

_LEAN = Path(process.__file__).parent / "lean"
_SCRIPT = f"""
import sys
sys.path.insert(0, {str(_LEAN)!r})
import cocotb.regression, cocotb_tools.runner
assert "pluggy" not in sys.modules                 # so pytest itself was not imported
import pytest
assert pytest.approx(1.0) == 1.0                   # what else is asked for is the real one's
import pytest as real
assert real.__file__ != {str(_LEAN / "pytest.py")!r} and "pluggy" in sys.modules
"""


def test_cocotb_starts_without_pytest_and_whoever_needs_more_of_it_gets_the_real_one() -> None:
    ended = subprocess.run(
        [sys.executable, "-c", _SCRIPT], check=False, capture_output=True, text=True
    )
    assert ended.returncode == 0, ended.stderr
