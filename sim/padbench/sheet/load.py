"""From a file or a text to a `Sheet`, or to a `SheetError` that says all that is wrong."""

from pathlib import Path

from pydantic import ValidationError

from padbench.sheet.explain import problems_of
from padbench.sheet.model import Sheet
from padbench.sheet.problems import SheetError
from padbench.sheet.text import parse_toml, read_text

__all__ = ["load_sheet", "sheet_from_text"]


def load_sheet(path: Path) -> Sheet:
    """Read a sheet from a file.

    Raises:
        SheetError: the file cannot be read, is not a regular file, is larger than 1 MiB, is not
            text, is not TOML, or is not a valid sheet. All problems of a sheet come together.
    """
    return sheet_from_text(read_text(path), str(path))


def sheet_from_text(text: str, name: str) -> Sheet:
    """Read a sheet from its text; ``name`` stands for the file in messages.

    Raises:
        SheetError: the text is not TOML or not a valid sheet.
    """
    document = parse_toml(text, name)
    try:
        # By name as well, and "pull_up" would pass in a file for "pull-up".
        sheet = Sheet.model_validate(document, by_alias=True, by_name=False)
    except ValidationError as error:
        raise SheetError(problems_of(document, text, name, error)) from None
    clashes = problems_of(document, text, name, None)
    if clashes:
        raise SheetError(clashes)
    return sheet
