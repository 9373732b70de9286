"""Turns what the model refuses into problems with a place and a remedy."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from functools import partial
from typing import Any

from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from padbench.core.units import UnitError, found_text
from padbench.sheet.checks import CHECKS, Clash, Readable
from padbench.sheet.locate import Path, Places, places
from padbench.sheet.model import Sheet
from padbench.sheet.problems import MOST_PROBLEMS, Problem, Refused, nearest, one_line
from padbench.sheet.remedy import choices, dotted, to_write, unknown_key

__all__ = ["problems_of"]


@dataclass(frozen=True, slots=True)
class _Fault:
    """A fault with its place; its words are found only if it is among those shown."""

    path: Path
    say: Callable[[], tuple[str, str, str]]


def problems_of(
    document: Mapping[str, Any], text: str, name: str, error: ValidationError | None
) -> list[Problem]:
    """All problems of a sheet in order of lines, at most 50 and a last one that counts the rest.

    Args:
        document: the sheet as tomllib read it.
        text: the same as text, for line numbers.
        name: what to call the file.
        error: what the model refused, or None if it refused nothing.
    """
    faults = [] if error is None else [_refused(one) for one in error.errors(include_url=False)]
    faults += _clashes(document)
    if not faults:
        return []
    where = places(text)
    found = sorted(
        ((_line(fault.path, where), fault) for fault in faults), key=lambda pair: pair[0] or 0
    )
    shown = [
        Problem(one_line(name), line, dotted(fault.path), *fault.say())
        for line, fault in found[:MOST_PROBLEMS]
    ]
    if len(found) > MOST_PROBLEMS:
        more = f"has {len(found) - MOST_PROBLEMS} more problems"
        shown.append(Problem(one_line(name), None, "", "", more, "mend the ones above first"))
    return shown


def _clashes(document: Mapping[str, Any]) -> list[_Fault]:
    readable = Readable(**{part.name: _table(part.name, document) for part in fields(Readable)})
    return [
        _Fault(clash.path, partial(_about_clash, document, clash))
        for check in CHECKS
        for clash in check(readable)
    ]


def _about_clash(document: Mapping[str, Any], clash: Clash) -> tuple[str, str, str]:
    return _found(document, clash.path), clash.wrong, clash.instead


def _table(name: str, document: Mapping[str, Any]) -> Any:
    """One table of the sheet by itself, or None if it cannot be read."""
    field = Sheet.model_fields[name]
    raw = document.get(field.alias or name)
    if raw is None:
        return None if field.is_required() else field.get_default(call_default_factory=True)
    table: Any = field.annotation
    try:
        return TypeAdapter(table).validate_python(raw, by_alias=True, by_name=False)
    except ValidationError:
        return None


def _found(document: Any, path: Path) -> str:
    for step in path:
        try:
            document = document[step]
        except (KeyError, IndexError, TypeError):
            return ""  # a value that came from a default
    return found_text(document)


def _line(path: Path, where: Places) -> int | None:
    """The line of a key, or of the table it should stand in."""
    for depth in range(len(path), 0, -1):
        if path[:depth] in where:
            return where[path[:depth]]
    return None


def _refused(error: ErrorDetails) -> _Fault:
    path = error["loc"]
    if path and path[-1] == "[key]":  # pydantic's mark for "the key itself, not its value"
        path = path[:-1]
        return _Fault(path, partial(_about_key, error))
    return _Fault(path, partial(_words, path, error))


def _about_key(error: ErrorDetails) -> tuple[str, str, str]:
    # Only [buttons] and [hdl.parameters] have free keys, and what refuses them says why.
    cause = error["ctx"]["error"]
    return "", cause.wrong, cause.instead


def _words(path: Path, error: ErrorDetails) -> tuple[str, str, str]:
    """Found value, what is wrong, what would do."""
    kind, raw, context = error["type"], error["input"], error.get("ctx", {})
    found, cause = found_text(raw), context.get("error")
    if isinstance(cause, UnitError | Refused):
        return found, cause.wrong, cause.instead
    if kind == "missing":
        return "", "is missing", to_write(path)
    if kind == "extra_forbidden":
        return "", *unknown_key(path)
    if kind in ("model_type", "dict_type"):
        return found, "is not a table", f"write [{path[0]}] on a line of its own"
    if kind == "literal_error" and isinstance(raw, str):
        return found, "is not known here", nearest(raw, choices(path))
    wrong = _WRONG.get(kind)
    wrong = wrong.format(**context) if wrong else f"cannot be used ({error['msg']})"
    return found, wrong, to_write(path)


_WRONG = {
    "string_type": "is not text in quotes",
    "literal_error": "is not text in quotes",
    "int_type": "is not a whole number",
    "bool_type": "is not true or false",
    "bool_parsing": "is not true or false",
    "tuple_type": "is not a list",
    "greater_than_equal": "is less than {ge}",
    "less_than_equal": "is more than {le}",
}
"""Pydantic's kinds of error in the words of someone who writes a sheet."""
