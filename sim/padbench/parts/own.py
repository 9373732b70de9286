"""Registers and kinds of port of the user's own, from a TOML file that a sheet names.

Tables ``[register.NAME]`` and ``[port.NAME]`` have the keys of the shipped tables beside this
module. While a sheet is read, its own parts are known beside the shipped ones:

    with own_parts(load_own(Path("my-parts.toml"))):
        known_parts()                #  the shipped ones, then those of the file

`own_text` writes such a table.
"""

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from padbench.parts.figure import Figure, cited_text, read_table
from padbench.parts.port_kinds import PortEntry, PortKind, port_kind, port_names
from padbench.parts.registers import (
    RegisterEntry,
    RegisterPart,
    part_from,
    register_entries,
    register_names,
    register_part,
)
from padbench.toml import Clash, Document, Refused, Table, check, nearest, wanted

LONGEST_NAME = 40
_START = "begin with [register.NAME] or [port.NAME], and the keys of the shipped tables"


@dataclass(frozen=True)
class OwnParts:
    """What a parts file holds, by name."""

    registers: Mapping[str, RegisterPart] = field(default_factory=dict)
    ports: Mapping[str, PortKind] = field(default_factory=dict)


# While a sheet is read, the names in it are looked up here; a finished sheet carries its own.
_CURRENT: ContextVar[OwnParts] = ContextVar("own parts")
_NONE = OwnParts()


@contextmanager
def own_parts(own: OwnParts) -> Iterator[None]:
    """Within the block, sheets are read with these parts."""
    token = _CURRENT.set(own)
    try:
        yield
    finally:
        _CURRENT.reset(token)


def own_now() -> OwnParts:
    """The parts of the sheet that is being read; none outside `own_parts`."""
    return _CURRENT.get(_NONE)


def find_part(name: str, own: OwnParts | None = None) -> RegisterPart:
    """A register, own or shipped; ``KeyError`` for an unknown name."""
    return (own or own_now()).registers.get(name) or register_part(name)


def find_port(name: str, own: OwnParts | None = None) -> PortKind:
    """A kind of port, own or shipped; ``KeyError`` for an unknown name."""
    return (own or own_now()).ports.get(name) or port_kind(name)


def known_parts(own: OwnParts | None = None) -> tuple[str, ...]:
    """Every register, the shipped ones first."""
    return (*register_names(), *(own or own_now()).registers)


def known_ports(own: OwnParts | None = None) -> tuple[str, ...]:
    """Every kind of port, the shipped ones first."""
    return (*port_names(), *(own or own_now()).ports)


_Name = Annotated[
    str,
    wanted(
        lambda name: name.isprintable() and 0 < len(name) <= LONGEST_NAME,
        "is no name",
        f"use up to {LONGEST_NAME} plain characters",
    ),
]


class _PartsFile(Table):
    register_: dict[_Name, RegisterEntry] = Field(default_factory=dict, alias="register")
    port: dict[_Name, PortEntry] = Field(default_factory=dict)


def load_own(path: Path) -> OwnParts:
    """Read and check a parts file.

    Raises:
        SheetError: the file cannot be read or is not TOML; a table is not ``register`` or ``port``,
            a name is a shipped one; an entry lacks a source, a figure or a pin, has a key that
            nobody reads, or figures that do not go together.
    """
    document = Document.read(path, _START)
    registers: dict[str, RegisterPart] = {}

    def across(tables: Mapping[str, Any]) -> Iterator[Clash]:
        entries: dict[str, RegisterEntry] = tables["register_"] or {}
        known = register_entries(read_table("registers.toml")) | entries
        for name, entry in entries.items():
            if entry.timing_of is not None and entry.timing_of not in known:
                key = ("register", name, "timing-of")
                yield Clash(key, "is no known part", nearest(entry.timing_of, known))
                continue
            try:
                registers[name] = part_from(name, entry, known)
            except Refused as refused:
                yield Clash(("register", name), refused.wrong, refused.instead)
        for kind, shipped in (("register", register_names()), ("port", port_names())):
            table = document.data.get(kind)
            for name in table if isinstance(table, dict) else ():
                if name in shipped:
                    wrong = "has the name of a shipped one"
                    yield Clash((kind, name), wrong, "give it another name")

    parts = check(document, _PartsFile, across)
    return OwnParts(registers, {name: entry.port(name) for name, entry in parts.port.items()})


def own_text(part: RegisterPart | PortKind) -> str:
    """A part as a table of a parts file; what it borrows it borrows there too."""
    kind = "register" if isinstance(part, RegisterPart) else "port"
    table = f"{kind}.{json.dumps(part.name, ensure_ascii=False)}"
    source, _, letter = cited_text(part.cited).rpartition(", ")
    lines, figures = [f"[{table}]", source, letter], list[str]()
    borrowed: Mapping[str, str] = getattr(part, "borrowed", {})
    for own in fields(part):
        key, value = own.name.replace("_", "-"), getattr(part, own.name)
        if isinstance(value, Figure):
            figures += [] if own.name in borrowed else [f"{key} = {value.text()}"]
        elif key == "levels":
            lines += [] if value == "fraction" else [f'levels = "{value}"']
        elif key != "name" and isinstance(value, bool | int | str):
            lines.append(f"{key} = {json.dumps(value, ensure_ascii=False)}")
    if isinstance(part, PortKind):
        return "\n".join([*lines, *figures, ""])
    lines += [f'timing-of = "{lender}"' for lender in [*borrowed.values()][:1]]
    pins = ", ".join(f"{name} = {number}" for name, number in part.pins.items())
    cited = cited_text(part.pins_cited or part.cited)
    lines.append(f"pins = {{ numbers = {{ {pins} }}, {cited} }}")
    if part.derating is not None:
        law = part.derating
        numbers = f"volts = {law.volts:g}, threshold = {law.threshold:g}"
        numbers += f", exponent = {law.exponent:g}, per-degree = {law.per_degree:g}"
        lines.append(f"derating = {{ {numbers}, {cited_text(law.cited)} }}")
    return "\n".join([*lines, f"[{table}.figures]", *figures, ""])
