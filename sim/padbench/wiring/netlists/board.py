"""A board: parts with reference and value, and the net of each pin; what every reader makes.

drawing = Drawing("my-pad.net", "SPICE netlist", {})
drawing.part("R1", "39k", line=3)
drawing.pin("R1", "1", "SUPPLY", line=3)
drawing.board().nets["SUPPLY"]                       # (("R1", "1"),)
"""

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase
from functools import cached_property
from importlib.resources import files
from typing import Any

from padbench.core.units import found_text, printable
from padbench.toml import Problem, SheetError
from padbench.toml.problems import one_line

MOST_PARTS = 600
"""A pad has some dozens, an adapter with three registers some eighty; more are another board."""

NAMES: Mapping[str, Any] = tomllib.loads(
    (files(__package__) / "board.toml").read_text(encoding="utf-8")
)
"""Names on boards, and sentences of the comparison."""

_MOST_PINS, _MOST_IN_ALL = 1000, 20_000
"""Pins of a part and of a board; more take recognition more time than anybody waits."""

_NOT_FITTED = re.compile(
    # 100 nF has a unit, no mark.
    r"(?<![A-Z0-9])(?:DN[PFI]|(?<![0-9] )NF|N[./]?C|(?:DO )?NOT (?:FIT|PLACE|POPULATE|INSTALL)\w*)"
    r"(?![A-Z0-9])"
)


@dataclass(frozen=True, slots=True)
class Part:
    """One part as drawn.

    ``pins`` maps a pin's number (or its name in a subcircuit) to its net, ``functions`` to the name
    that the symbol gives it. A pin on no net is in neither.
    """

    reference: str
    value: str
    pins: Mapping[str, str]
    functions: Mapping[str, str]
    fitted: bool = True
    given: str = ""
    """Another value, in ``[board.parts]``."""
    symbol: str = ""
    """What a schematic's library calls it."""


@dataclass(frozen=True)
class Board:
    """All parts by reference; ``name`` is the file's."""

    name: str
    form: str
    parts: Mapping[str, Part]

    @cached_property
    def nets(self) -> Mapping[str, tuple[tuple[str, str], ...]]:
        """Reference and pin of all that is on a net; parts that are not fitted are on none."""
        nets: dict[str, list[tuple[str, str]]] = {}
        for part in self.parts.values():
            for pin, net in part.pins.items() if part.fitted else ():
                nets.setdefault(net, []).append((part.reference, pin))
        return {net: tuple(pins) for net, pins in nets.items()}

    def joined(self, groups: Iterable[tuple[str, str]]) -> "Board":
        """The board with the nets of each pair made one, which has the second one's name."""
        name: dict[str, str] = {}

        def root(net: str) -> str:
            while net in name:
                name[net] = name.get(name[net], name[net])  # shorter for the next one
                net = name[net]
            return net

        for one, other in groups:
            if root(one) != root(other):
                name[root(one)] = root(other)
        return replace(
            self,
            parts={
                part.reference: replace(part, pins={p: root(net) for p, net in part.pins.items()})
                for part in self.parts.values()
            },
        )


def refused(name: str, wrong: str, instead: str, line: int | None = None) -> SheetError:
    """What is wrong with a netlist, as a line."""
    return SheetError([Problem(one_line(name), line, "", "", wrong, instead)])


@dataclass
class Drawing:
    """What a reader fills: parts first, then their pins; `board` is what came of it.

    ``values`` are those of ``[board.parts]`` by reference, in which ``*``, ``?`` and ``[1-8]``
    stand for several. All methods raise `SheetError` for what cannot be so.
    """

    name: str
    form: str
    values: Mapping[str, str]
    _parts: dict[str, Part] = field(default_factory=dict)
    _pins: int = 0

    def refuse(self, wrong: str, instead: str, line: int | None = None) -> SheetError:
        """An error of this file, to raise."""
        return refused(self.name, wrong, instead, line)

    def known(self, reference: str) -> bool:
        """Whether there is such a part already."""
        return reference in self._parts

    def part(
        self,
        reference: str,
        value: str,
        line: int | None,
        *,
        fitted: bool = True,
        symbol: str = "",
    ) -> None:
        """One more part."""
        if not reference or not reference.isprintable() or len(reference) > 60:
            raise self.refuse(
                f"{found_text(reference)} is no reference of a part", "export it again", line
            )
        if reference in self._parts:
            raise self.refuse(
                f"the reference {reference} stands there twice",
                "number the parts and export it again",
                line,
            )
        if len(self._parts) == MOST_PARTS:
            raise self.refuse(
                f"holds more than {MOST_PARTS} parts", "name the netlist of a pad alone"
            )
        value = value.strip()
        given = self.values.get(reference) or next(
            (text for glob, text in self.values.items() if fnmatchcase(reference, glob)), ""
        )
        if value in ("", "~"):
            value = given
        other = self.values.get(reference, value)
        # NC may be a jumper that is normally closed.
        fitted = fitted and (reference[:2] == "JP" or not _NOT_FITTED.search(value.upper()))
        given = printable(other)[:80] if other != value else ""
        value = printable(value)[:80]
        self._parts[reference] = Part(reference, value, {}, {}, fitted, given, symbol[:80])

    def pin(self, reference: str, pin: str, net: str, line: int | None, function: str = "") -> None:
        """One pin of a part that is there, on a net."""
        part = self._parts.get(reference)
        if part is None:
            raise self.refuse(
                f"pin {found_text(pin)} is of {found_text(reference)}, which is no part of it",
                "export it again",
                line,
            )
        if not net or not pin:
            missing = "a net without a name" if not net else "a pin without a number"
            raise self.refuse(
                f"{reference} has {missing}", "name all nets and pins, and export it again", line
            )
        if len(part.pins) == _MOST_PINS:
            raise self.refuse(
                f"{reference} has more than {_MOST_PINS} pins", "name the netlist of a pad", line
            )
        self._pins += 1
        if self._pins > _MOST_IN_ALL:
            raise self.refuse(
                f"holds more than {_MOST_IN_ALL} pins", "name the netlist of a pad alone"
            )
        before = part.pins.get(pin, net)
        if before != net:
            raise self.refuse(
                f"{reference} pin {printable(pin)[:20]} stands on two nets,"
                f" {found_text(before)} and {found_text(net)}",
                "export it again",
                line,
            )
        # The reader's own dicts, until `board` hands them on.
        assert isinstance(part.pins, dict)
        assert isinstance(part.functions, dict)
        part.pins[pin] = printable(net)
        if function not in ("", "~"):  # a symbol's name for none
            part.functions[pin] = function

    def board(self) -> Board:
        """What was read."""
        if not self._parts:
            raise self.refuse(f"is a {self.form} without parts", "export it again")
        for glob in self.values:
            if not any(fnmatchcase(reference, glob) for reference in self._parts):
                raise self.refuse(
                    f"has no part {found_text(glob)}, which [board.parts] names",
                    "give it the reference that the board has",
                )
        return Board(self.name, self.form, self._parts)
