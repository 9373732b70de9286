"""Reads a parts file: tables ``[register.NAME]`` and ``[port.NAME]``, as in the shipped tables."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from padbench.core.units import found_text
from padbench.parts import port_names, register_names
from padbench.parts.ports import ports_from
from padbench.parts.registers import registers_from
from padbench.parts.tables import read_table
from padbench.sheet.locate import places
from padbench.sheet.own import OwnParts
from padbench.sheet.problems import Problem, SheetError, nearest, one_line
from padbench.sheet.remedy import dotted
from padbench.sheet.text import parse_toml, read_text

__all__ = ["load_own"]

LONGEST_NAME = 40
_KINDS = ("register", "port")
T = TypeVar("T")


def load_own(path: Path) -> OwnParts:
    """Read and check a parts file.

    Raises:
        SheetError: the file cannot be read or is not TOML; a table is not ``register`` or ``port``,
            a name is a shipped one; an entry lacks a source, a figure or a pin, or has a key that
            nobody reads. The first problem of each entry is said.
    """
    text = read_text(path)
    document = parse_toml(text, str(path))
    checker = _Checker(str(path), text)
    for kind in document:
        if kind not in _KINDS:
            checker.wrong((kind,), "", "is no known table", nearest(kind, _KINDS))
        elif not isinstance(document[kind], dict):
            checker.wrong((kind,), "", "is not a table", f"write [{kind}.NAME]")
    shipped = read_table("registers.toml")
    own = OwnParts(
        registers=checker.each(
            "register", document, register_names(), lambda table: registers_from(table, shipped)
        ),
        ports=checker.each("port", document, port_names(), ports_from),
    )
    if checker.problems:
        raise SheetError(checker.problems)
    return own


class _Checker:
    """Collects problems with their lines."""

    def __init__(self, name: str, text: str) -> None:
        self.name, self.text = one_line(name), text
        self.problems: list[Problem] = []

    def wrong(self, path: tuple[str | int, ...], found: str, wrong: str, instead: str) -> None:
        where = places(self.text)
        line = next((where[path[:n]] for n in range(len(path), 0, -1) if path[:n] in where), None)
        self.problems.append(Problem(self.name, line, dotted(path), found, wrong, instead))

    def each(
        self,
        kind: str,
        document: Mapping[str, Any],
        shipped: tuple[str, ...],
        read: Callable[[Mapping[str, object]], dict[str, T]],
    ) -> dict[str, T]:
        """The good entries of one kind."""
        table = document.get(kind)
        good: dict[str, T] = {}
        for name, raw in table.items() if isinstance(table, dict) else ():
            path = (kind, name)
            if name in shipped:
                self.wrong(path, "", "has the name of a shipped one", "give it another name")
            elif not name.isprintable() or not 0 < len(name) <= LONGEST_NAME:
                self.wrong(path, "", "is no name", f"use up to {LONGEST_NAME} plain characters")
            else:
                try:
                    good |= read({name: raw})
                except ValidationError as error:
                    self._refused(path, error)
                except KeyError as error:
                    self.wrong(
                        (*path, "timing-of"),
                        found_text(error.args[0]),
                        "is no known part",
                        nearest(str(error.args[0]), shipped),
                    )
                except ValueError as error:
                    wrong, _, instead = str(error).removeprefix(f"{name}: ").partition("; ")
                    self.wrong(path, "", wrong, instead)
        return good

    def _refused(self, path: tuple[str | int, ...], error: ValidationError) -> None:
        first = error.errors(include_url=False)[0]
        place = (*path, *(step for step in first["loc"] if step != "[key]"))
        if first["type"] == "missing":
            key = str(place[-1])
            example = {
                "source": '"the data sheet\'s title"',
                "class": '"P", "C" or "M"',
            }.get(key, "what the shipped tables have there")
            self.wrong(place, "", "is missing", f"write {key} = {example}")
        elif first["type"] == "extra_forbidden":
            self.wrong(place, "", "is no key that is read here", "leave it out")
        elif first["type"] == "model_type":
            self.wrong(place, found_text(first["input"]), "is not a table", "write one")
        else:
            # What a check says is either what is wrong and what would do, or only the latter.
            says = first["msg"].removeprefix("Value error, ")
            wrong, split, instead = says.partition("; ")
            wrong = f"cannot be used ({wrong})" if split else "cannot be used"
            self.wrong(place, found_text(first["input"]), wrong, instead or _lower(says))


def _lower(says: str) -> str:
    return says[:1].lower() + says[1:]
