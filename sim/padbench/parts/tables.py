"""Reads the data files that lie beside this module."""

import tomllib
from importlib.resources import files

__all__ = ["read_table"]


def read_table(name: str) -> dict[str, dict[str, object]]:
    """The entries of one table file, by name, not yet checked."""
    text = (files(__package__) / name).read_text(encoding="utf-8")
    return tomllib.loads(text)
