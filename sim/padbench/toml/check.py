"""A document against a model: what pydantic refuses, in the words of somebody who writes TOML.

Examples, known keys and known words are taken from the model, so that they cannot go stale.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from types import NoneType, UnionType
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from padbench.core.units import UnitError, found_text
from padbench.toml.document import Document
from padbench.toml.lines import Path
from padbench.toml.problems import Problem, Refused, SheetError, nearest, one_line

MOST_PROBLEMS = 11
"""So that all stays on a screen of 24 lines; the last line then says how many are left."""

M = TypeVar("M", bound=BaseModel)
_Says = tuple[str, str, str]
"""Value found, what is wrong with it, what would do."""


class Table(BaseModel):
    """A table of a file: unchangeable, without unknown keys, hyphens in keys for underscores."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        alias_generator=lambda name: name.replace("_", "-"),
        validate_by_alias=True,
        validate_by_name=True,
        validate_default=True,
    )


@dataclass(frozen=True, slots=True)
class Clash:
    """Values that do not go together; ``path`` is the key to blame."""

    path: Path
    wrong: str
    instead: str


def check(
    document: Document,
    model: type[M],
    across: Callable[[Mapping[str, Any]], Iterable[Clash]] = lambda _: (),
) -> M:
    """The document as the model has it.

    ``across`` is told the top-level fields by name, None for one that cannot be read, and says
    which values do not go together: so one bad value does not hide what is wrong elsewhere.

    Raises:
        SheetError: all that is wrong, in order of lines; at most 11 problems, and a last one that
            counts the rest.
    """
    faults: list[tuple[Path, Callable[[], _Says]]] = []
    try:
        # By name as well, and "pull_up" would pass in a file for "pull-up".
        checked = model.model_validate(document.data, by_alias=True, by_name=False)
        fields = {name: getattr(checked, name) for name in model.model_fields}
    except ValidationError as error:
        fields = {name: _alone(field, name, document) for name, field in model.model_fields.items()}
        for fault in error.errors(include_url=False):
            path = tuple(step for step in fault["loc"] if step != "[key]")
            faults.append((path, partial(_refused, model, path, fault)))
    for clash in across(fields):
        faults.append((clash.path, partial(_clashing, document.data, clash)))
    if faults:
        raise SheetError(_problems(document, faults))
    return checked


def _problems(document: Document, faults: list[tuple[Path, Callable[[], _Says]]]) -> list[Problem]:
    name = one_line(document.name)
    placed = sorted(
        ((document.line(path), path, says) for path, says in faults),
        key=lambda fault: fault[0] or 0,
    )
    problems = [
        Problem(name, line, _spoken(path, document.data), *says())
        for line, path, says in placed[:MOST_PROBLEMS]
    ]
    if len(placed) > MOST_PROBLEMS:
        more = f"has {len(placed) - MOST_PROBLEMS} more problems"
        problems.append(Problem(name, None, "", "", more, "mend the ones above first"))
    return problems


def _alone(field: FieldInfo, name: str, document: Document) -> Any:
    """One top-level field by itself, or None if it cannot be read."""
    raw = document.data.get(field.alias or name)
    if raw is None:
        return None if field.is_required() else field.get_default(call_default_factory=True)
    kind: Any = field.annotation
    try:
        return TypeAdapter(kind).validate_python(raw, by_alias=True, by_name=False)
    except ValidationError:
        return None


def _step(level: Any, step: str | int) -> Any:
    try:
        return level[step]
    except (KeyError, IndexError, TypeError):
        return None


def _clashing(data: Any, clash: Clash) -> _Says:
    for step in clash.path:
        data = _step(data, step)
    # None: a value that came from a default. Of a table its name says enough.
    found = "" if data is None or isinstance(data, dict) else found_text(data)
    return found, clash.wrong, clash.instead


def _spoken(path: Path, data: Any) -> str:
    """A key as people write it, ``contacts.stuck[1]``; in a list of tables as its author counts.

    So ``scenario "x", step 2, hold``: by name where it has one, else from 1.
    """
    text, between = "", "."
    for step in path:
        data = _step(data, step)
        if not isinstance(step, int):
            text += (between if text else "") + step[:100]
        elif not isinstance(data, dict):
            text += f"[{step}]"
        else:
            between = ", "
            text += f" {found_text(data['name']) if 'name' in data else step + 1}"
    return one_line(text)


def _refused(model: type[BaseModel], path: Path, error: ErrorDetails) -> _Says:
    kind, raw, context = error["type"], error["input"], error.get("ctx", {})
    cause, words = context.get("error"), _WRONG.get(kind)
    field = _Field.at(model, path)
    of_key = error["loc"][-1:] == ("[key]",)
    # Of a key, or of a table as a whole, the name says enough.
    found = "" if of_key or field.is_model else found_text(raw)
    if isinstance(cause, UnitError | Refused):
        return found, cause.wrong, cause.instead
    if kind == "extra_forbidden" or of_key:
        return "", *_unknown(model, path, raw)
    if kind in ("model_type", "dict_type"):
        return found_text(raw), "is not a table", f"write {_header(path)} on a line of its own"
    if kind in ("tuple_type", "list_type") and field.is_list_of_tables:
        header = f"[{_header(path)}]"
        return found, "is not a list of tables", f"write {header} on a line of its own"
    if kind == "literal_error" and isinstance(raw, str):
        return found, "is not known here", nearest(raw, _choices(field.kind))
    wrong = words.format(**context) if words else f"cannot be used ({error['msg']})"
    return "" if kind == "missing" else found, wrong, field.to_write(path)


_WRONG = {
    "missing": "is missing",
    "invalid_key": "is no text",
    "string_type": "is not text in quotes",
    "string_too_short": "is empty",
    "literal_error": "is not text in quotes",
    "int_type": "is not a whole number",
    "int_parsing": "is not a whole number",
    "int_from_float": "is not a whole number",
    "float_type": "is not a number",
    "float_parsing": "is not a number",
    "finite_number": "is not a finite number",
    "bool_type": "is not true or false",
    "bool_parsing": "is not true or false",
    "tuple_type": "is not a list",
    "list_type": "is not a list",
    "greater_than": "is not more than {gt}",
    "greater_than_equal": "is less than {ge}",
    "less_than_equal": "is more than {le}",
}
"""Pydantic's kinds of error in words."""


def _unknown(model: type[BaseModel], path: Path, raw: object) -> tuple[str, str]:
    """What is wrong with a key that the model does not have, and the key that may be meant."""
    above = _Field.at(model, path[:-1])
    if len(path) == 1:
        tables = raw if isinstance(raw, list) and raw else [raw]
        is_table = all(isinstance(table, dict) for table in tables)
        wrong = f"is no known {'table' if is_table else 'key'}"
    else:
        header = _header(path[:-1])
        wrong = f"is no key of {f'[{header}]' if isinstance(path[-2], int) else header}"
    return wrong, nearest(str(path[-1]), above.keys)


def _header(path: Path) -> str:
    return one_line(f"[{'.'.join(step[:100] for step in path if isinstance(step, str))}]")


@dataclass(frozen=True, slots=True)
class _Field:
    """What a model wants at some path; ``kind`` is None where it knows of nothing there."""

    kind: Any
    example: str | None = None

    @classmethod
    def at(cls, model: type[BaseModel], path: Path) -> "_Field":
        field = cls(model)
        for step in path:
            kind = field.kind
            if isinstance(step, int):
                inner = get_args(kind)[:1]  # an item has the example of its list
                field = cls(cls.of(inner[0]).kind if inner else None, field.example)
            elif field.is_model:
                known = {f.alias or name: f for name, f in kind.model_fields.items()}
                field = cls.of(known[step].annotation, known[step]) if step in known else cls(None)
            elif get_origin(kind) is dict:
                field = cls.of(get_args(kind)[1])
            else:
                return cls(None)
        return field

    @classmethod
    def of(cls, kind: Any, field: FieldInfo | None = None) -> "_Field":
        """Of a type, without what stands around it: marks, and that it may be left out."""
        marks = [] if field is None else [*field.metadata, field]
        while True:
            if get_origin(kind) is Annotated:
                kind, *more = get_args(kind)
                marks += more
            elif get_origin(kind) in (Union, UnionType) and NoneType in get_args(kind):
                kind = next(part for part in get_args(kind) if part is not NoneType)
            else:
                break
        examples = [f'"{mark.example}"' for mark in marks if hasattr(mark, "example")]
        examples += [_toml(mark.examples[0]) for mark in marks if getattr(mark, "examples", None)]
        return cls(kind, examples[0] if examples else None)

    @property
    def is_model(self) -> bool:
        return isinstance(self.kind, type) and issubclass(self.kind, BaseModel)

    @property
    def is_list_of_tables(self) -> bool:
        inner = get_args(self.kind)[:1] if get_origin(self.kind) in (tuple, list) else ()
        return any(_Field.of(kind).is_model for kind in inner)

    @property
    def keys(self) -> tuple[str, ...]:
        if self.is_model:
            return tuple(f.alias or name for name, f in self.kind.model_fields.items())
        return _choices(get_args(self.kind)[0]) if get_origin(self.kind) is dict else ()

    def to_write(self, path: Path) -> str:
        """What to write for a key that is missing or has a wrong value."""
        if self.example is None and self.is_list_of_tables:
            return f"write [{_header(path)}] on a line of its own"
        if self.example is None and (self.is_model or get_origin(self.kind) is dict):
            return f"write the table {_header(path)}"
        names = [step for step in path if isinstance(step, str)]
        if not names:
            return "write keys as text"  # in a dict; TOML has no others
        example = self.example or _toml(_USUAL.get(self.kind, "…"))
        return one_line(f"write for example {names[-1][:100]} = {example}")


_USUAL: dict[Any, object] = {int: 8, float: 1.5, bool: True}
"""An example of a kind for keys that have none of their own: a stage in [buttons]."""


def _choices(kind: Any) -> tuple[str, ...]:
    """The words of a literal, through what may stand around it: optional, a tuple of them."""
    words: list[str] = []
    for part in get_args(kind):
        words += [part] if isinstance(part, str) else _choices(part)
    return tuple(dict.fromkeys(words))


def _toml(value: object) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else str(value)
