"""The design sheet: ``load_sheet(path)`` gives a checked `Sheet`, or all that is wrong with it."""

from padbench.sheet.load import load_sheet, sheet_from_text
from padbench.sheet.model import Hdl, Poll, Sheet
from padbench.sheet.problems import Problem, SheetError
from padbench.sheet.starter import STARTER

__all__ = [
    "STARTER",
    "Hdl",
    "Poll",
    "Problem",
    "Sheet",
    "SheetError",
    "load_sheet",
    "sheet_from_text",
]
