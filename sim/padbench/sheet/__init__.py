"""The design sheet: ``load_sheet(source)`` gives a `Sheet`, or all that is wrong with it."""

from padbench.sheet.load import load_sheet, pad_of, sheet_from_text, starter
from padbench.sheet.model import Assumed, Hdl, Poll, Sheet
from padbench.toml import Problem, SheetError

STARTER = starter()

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
