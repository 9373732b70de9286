"""What would do instead: examples and known names, looked up in the model."""

from types import NoneType
from typing import Any, get_args

from pydantic.fields import FieldInfo

from padbench.sheet.fields import Quantity, Temperatures, TimeRange
from padbench.sheet.locate import Path
from padbench.sheet.model import Sheet
from padbench.sheet.problems import nearest, one_line

__all__ = ["choices", "dotted", "to_write", "unknown_key"]


def dotted(path: Path) -> str:
    """A key as people write it: ``contacts.stuck[1]``."""
    text = ""
    for step in path:
        if isinstance(step, int):
            text += f"[{step}]"
        else:
            text += ("." if text else "") + step[:100]
    return one_line(text)


def to_write(path: Path) -> str:
    """What to write for a key that is missing or has a wrong value."""
    example = _example(path)
    if example is None and len(path) == 1:
        return f"write the table [{dotted(path)}]"
    if example is None:
        example = "8"  # keys of one's own have numbers: a stage in [buttons], a parameter's value
    names = [step for step in path if isinstance(step, str)]
    return f"write for example {names[-1]} = {example}"


def choices(path: Path) -> tuple[str, ...]:
    """The words that a key may have for its value."""
    field = _field(path)
    return () if field is None else _words(field.annotation)


def unknown_key(path: Path) -> tuple[str, str]:
    """What is wrong with a key that the model does not have, and the key that may be meant."""
    if len(path) == 1:
        return "is no known table", nearest(str(path[0]), _keys(Sheet))
    table = _field(path[:1])
    known = _keys(_plain(table.annotation)) if table is not None else ()
    return f"is no key of [{path[0]}]", nearest(str(path[-1]), known)


def _keys(model: Any) -> tuple[str, ...]:
    return tuple(field.alias or name for name, field in model.model_fields.items())


def _field(path: Path) -> FieldInfo | None:
    """The model's field at a path; None if there is none."""
    model: Any = Sheet
    field: FieldInfo | None = None
    for step in path:
        if isinstance(step, int):
            break  # items of a list have the example of the list
        fields = getattr(model, "model_fields", {})
        field = next((one for name, one in fields.items() if (one.alias or name) == step), None)
        if field is None:
            return None
        model = _plain(field.annotation)
    return field


def _plain(annotation: Any) -> Any:
    """What an optional field holds when it is there."""
    kinds = get_args(annotation)
    if NoneType not in kinds:
        return annotation
    return next(kind for kind in kinds if kind is not NoneType)


def _words(annotation: Any) -> tuple[str, ...]:
    """The words of a literal, through what may stand around it: optional, a tuple of them."""
    found: list[str] = []
    for part in get_args(annotation):
        found += [part] if isinstance(part, str) else _words(part)
    return tuple(dict.fromkeys(found))


def _example(path: Path) -> str | None:
    """A value that would do, as it stands in TOML; None where a table is wanted."""
    if path[0] == "buttons":
        return "8" if len(path) > 1 else None
    field = _field(path)
    if field is None:
        return None
    for mark in field.metadata:
        if isinstance(mark, Quantity | Temperatures | TimeRange):
            return f'"{mark.example}"'
    return _toml(field.examples[0]) if field.examples else None


def _toml(value: object) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else str(value)
