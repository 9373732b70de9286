"""The design sheet: ``load_sheet(source)`` gives a `Sheet`, or all that is wrong with it."""

from padbench.sheet.load import load_sheet, pad_of, sheet_from_text, starter
from padbench.sheet.model import Assumed, Hdl, Poll, Sheet
from padbench.toml import Problem, SheetError

STARTER: str
"""See `starter`; put together when somebody asks for it."""

__all__ = [
    "STARTER",
    "Assumed",
    "Hdl",
    "Poll",
    "Problem",
    "Sheet",
    "SheetError",
    "load_sheet",
    "pad_of",
    "sheet_from_text",
    "starter",
]


def __getattr__(name: str) -> str:
    if name == "STARTER":
        return starter()
    raise AttributeError(name)
