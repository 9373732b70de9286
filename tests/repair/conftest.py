"""Sheets and their dictionaries, made once."""

import sys
from functools import cache
from pathlib import Path

import pytest

import padbench.jobs.diagnose as job
from padbench.repair.dictionary import Dictionary
from padbench.sheet import load_sheet

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))  # the benchmark's own functions
sys.path.insert(0, str(Path(__file__).parent))

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
PORTS = ("push-pull", "pull-down-only")


@pytest.fixture(scope="session")
def benches():
    """What one sheet and port need, made once."""
    return cache(job.bench_of)


@pytest.fixture(autouse=True)
def _one_dictionary(monkeypatch, benches):
    monkeypatch.setattr(job, "bench_of", benches)


@pytest.fixture(scope="session")
def sheet():
    return load_sheet(SHEETS / "harbour-b.toml")


@pytest.fixture(scope="session")
def known(sheet):
    return Dictionary.of(sheet, "push-pull")


@pytest.fixture(scope="session")
def known_on(sheet):
    return {port: Dictionary.of(sheet, port) for port in PORTS}
