"""The sheet that ``padbench new`` writes."""

from importlib.resources import files

__all__ = ["STARTER"]

STARTER = (files(__package__) / "starter.toml").read_text(encoding="utf-8")
"""A commented sheet of a plain pad that passes every check."""
