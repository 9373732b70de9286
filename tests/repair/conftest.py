"""Sheets and their dictionaries, made once."""

import sys
from pathlib import Path

import pytest

from padbench.repair.dictionary import Dictionary
from padbench.sheet import load_sheet

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))  # the benchmark's own functions

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
PORTS = ("push-pull", "pull-down-only")


@pytest.fixture(scope="session")
def sheet():
    return load_sheet(SHEETS / "harbour-b.toml")


@pytest.fixture(scope="session")
def known(sheet):
    return Dictionary.of(sheet, "push-pull")


@pytest.fixture(scope="session")
def known_on(sheet):
    return {port: Dictionary.of(sheet, port) for port in PORTS}
