"""From a file or a text to a `Sheet`, or to a `SheetError` that says all that is wrong."""

from pathlib import Path
from typing import Any

from pydantic import ValidationError

from padbench.sheet.explain import problems_of
from padbench.sheet.model import Sheet
from padbench.sheet.own import own_parts
from padbench.sheet.own_file import load_own
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

    A parts file that the sheet names is looked for beside ``name``.

    Raises:
        SheetError: the text is not TOML or not a valid sheet, or its parts file cannot be used.
    """
    document = parse_toml(text, name)
    table = document.get("parts")
    file = table.get("file") if isinstance(table, dict) else None
    if not isinstance(file, str):
        return _checked(document, text, name)
    # Relative to the sheet, so that a folder with both can be moved.
    with own_parts(load_own(Path(name).parent / file)):
        return _checked(document, text, name)


def _checked(document: dict[str, Any], text: str, name: str) -> Sheet:
    try:
        # By name as well, and "pull_up" would pass in a file for "pull-up".
        sheet = Sheet.model_validate(document, by_alias=True, by_name=False)
    except ValidationError as error:
        raise SheetError(problems_of(document, text, name, error)) from None
    clashes = problems_of(document, text, name, None)
    if clashes:
        raise SheetError(clashes)
    return sheet
