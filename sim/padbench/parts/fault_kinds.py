"""Kinds of physical fault, from ``faults.toml``: what is broken, the repair, the check after it.

fault_kinds()["core-open"].says         # with fields in braces
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from padbench.core.buttons import BUTTONS

CORES = ("supply", "ground", "latch", "clock", "data")
"""The five that a pad uses (common practice)."""

BRANCHES = {
    "all buttons": BUTTONS,
    "the cross": ("Up", "Down", "Left", "Right"),
    "A and B": ("A", "B"),
    "Select and Start": ("Select", "Start"),
}
"""Contacts with one track to ground (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind; the head of ``faults.toml`` says what each key means."""

    says: str
    mend: str
    check: str
    common: int
    at: str = ""
    to: str = ""
    level: bool = False
    ohms: bool = False
    part: str = ""
    like: str = ""


@cache
def fault_kinds() -> Mapping[str, Kind]:
    """Every kind, by the word that a sheet uses."""
    text = (files(__package__) / "faults.toml").read_text(encoding="utf-8")
    return {name: Kind(**table) for name, table in tomllib.loads(text).items()}
