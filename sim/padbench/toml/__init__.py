"""TOML files that people write: read, checked against a model, and every refusal on one line.

    document = Document.read(Path("pad.toml"))
    sheet = check(document, Sheet)        # or SheetError: "pad.toml:7: cable.length: … ; write …"
    document.line(("cable", "length"))    # 7

Sheets, parts files, scenarios and what was held in a capture all come in by this one way. A model
is a `Table`: examples, known keys and words in the messages are its own.
"""

from padbench.toml.check import Clash, Table, check
from padbench.toml.document import Document
from padbench.toml.problems import Problem, Refused, SheetError, nearest, one_line, wanted

__all__ = [
    "Clash",
    "Document",
    "Problem",
    "Refused",
    "SheetError",
    "Table",
    "check",
    "nearest",
    "one_line",
    "wanted",
]
