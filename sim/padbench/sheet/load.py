"""From a file, a text or a dict to a `Sheet`, or to a `SheetError` that says all that is wrong."""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields, replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from padbench.core.buttons import stages_in_order
from padbench.parts import (
    console_names,
    named_poll,
    poll_names,
    port_kind,
    port_names,
    register_names,
)
from padbench.parts.own import find_part, known_parts, load_own, own_parts
from padbench.sheet.checks import CHECKS, Readable
from padbench.sheet.model import Sheet
from padbench.toml import Clash, Document, Problem, SheetError, check

UNNAMED = ("<text>", "<dict>")
"""What messages call a sheet that is no file."""

_START = "write a sheet to start from with: padbench new my-pad.toml"


Fill = Callable[[Document, Path], Document]
"""Puts into a document what it leaves to another file in a folder, before it is checked."""


def load_sheet(
    source: Path | str | Mapping[str, Any] | Document, fill: Fill = lambda document, _: document
) -> Sheet:
    """Read and check a design sheet.

        load_sheet("my-pad.toml")                  # or a Path
        load_sheet(Path("my-pad.toml").read_text() + "[cable]…")
        load_sheet({"pad": {"name": "My pad", "supply": "5 V ± 5 %"}, "register": {…}, …})

    A str that holds a line end or an equals sign is TOML text, any other the path of a file (for
    the odd path with an equals sign give a `Path`). A dict has the tables of the file as dicts,
    with the file's keys and wordings: ``{"cable": {"length": "2.5 m"}}``. A parts file that the
    sheet names is looked for beside the file; for a text or a dict, in the working folder.

    ``fill`` is asked first for what the sheet leaves to other files; a `Document` is a text that
    was read already.

    Every quantity of the sheet is then a `Value` in its SI base unit, and ``sheet.line_of`` says
    where a key stands.

    Raises:
        SheetError: the file cannot be read, is not a regular file, is larger than 1 MiB, is not
            text, is not TOML, or is not a valid sheet; or its parts file is not. All problems of a
            sheet come together, a line each; they name the file, ``<text>`` or ``<dict>``.
    """
    if isinstance(source, Document):
        return _checked(source, Path(source.name).parent, fill)
    if isinstance(source, Mapping):
        return _checked(Document("<dict>", "", dict(source)), Path(), fill)
    if isinstance(source, str) and re.search("[\n=]", source):
        return _checked(Document.parse(source, "<text>", _START), Path(), fill)
    if source == "":
        raise SheetError([Problem("<text>", None, "", "", "is empty", _START)])
    path = Path(source)
    return _checked(Document.read(path, _START), path.parent, fill)


def sheet_from_text(text: str, name: str) -> Sheet:
    """As `load_sheet` of a text; ``name`` stands for the file in messages and for parts files."""
    return _checked(Document.parse(text, name, _START), Path(name).parent)


def pad_of(document: Document, place: int) -> Document:
    """A document with ``[[pads]]`` as the pad at a place has it, from 0; any other as it is.

    That pad comes first, with its name, its buttons and its register and data line on the board.
    """
    pads = document.data.get("pads")
    if not isinstance(pads, list) or not all(isinstance(one, dict) for one in pads):
        return document
    if not pads or not isinstance(document.data.get("register", {}), dict):
        return document
    mine, data = pads[place], {**document.data}
    data["pads"] = [mine, *pads[:place], *pads[place + 1 :]]
    chip: dict[str, Any] = {**data.get("register", {})}
    part, chain = chip.get("part"), [one for one in pads if one.get("data") == mine.get("data")]
    each = find_part(part).stages if part in known_parts() else 8
    places = [one["register"] for one in chain if isinstance(one.get("register"), int)]
    if "board" not in data:
        data["register"] = {"stages": max(places, default=1) * each, **chip}
        own = mine["register"] if mine.get("register") in places else 1
        data.setdefault("buttons", stages_in_order(own * each))
    if "buttons" in mine:
        data["buttons"] = mine["buttons"]
    if isinstance(data.get("pad"), dict) and "name" in data["pad"]:
        data["pad"] = {**data["pad"], "name": f"{data['pad']['name']}, {mine.get('name')}"}
    if isinstance(data.get("board"), dict):
        there = {key: mine[key] for key in ("register", "data") if isinstance(mine.get(key), str)}
        data["board"] = {**data["board"], **there}
    return replace(document, data=data)


@cache
def starter() -> str:
    """A commented sheet of a plain pad that passes every check; it lists what the tables have."""
    text = (files(__package__) / "starter.toml").read_text(encoding="utf-8")
    ports = [f"#   {name}: {port_kind(name).note}" for name in port_names()]
    polls = [f"#   {name}: {named_poll(name).note}" for name in poll_names()]
    for mark, known in (
        ("<registers>", ", ".join(register_names())),
        ("# <ports>", "\n".join(ports)),
        ("# <polls>", "\n".join(polls)),
        ("<consoles>", ", ".join(f'"{name}"' for name in console_names())),
    ):
        text = text.replace(mark, known)
    return text


def _checked(document: Document, beside: Path, fill: Fill = lambda document, _: document) -> Sheet:
    table = document.data.get("parts")
    file = table.get("file") if isinstance(table, dict) else None
    if not isinstance(file, str):
        return _against_model(fill(document, beside))
    # Relative to the sheet, so that a folder with both can be moved.
    with own_parts(load_own(beside / file)):
        return _against_model(fill(document, beside))


def _against_model(document: Document) -> Sheet:
    sheet = check(document, Sheet, _clashes)
    sheet._document = document
    return sheet


def _clashes(tables: Mapping[str, Any]) -> Iterable[Clash]:
    readable = Readable(**{field.name: tables[field.name] for field in fields(Readable)})
    return (clash for find in CHECKS for clash in find(readable))
