"""Fields of records as ports: GHDL shows a simulation no record, so an entity goes around it.

    used = with_fields(job, folder)     # in the folder now: padbench_fields.vhd
    used.fields                         # {"io_keys": "io.keys"}, a port of it and the field

Its ports are those of the design, and in place of a record that is an input or an output each field
of it. Records inside records are taken apart too.
"""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from padbench.cosim.job import Job

ENTITY = "padbench_fields"

_TEXT = """{context}
entity {entity} is
{generics}
port ({ports});
end entity;
architecture around of {entity} is
{signals}
begin
{joined}
design : entity work.{top} {given} port map ({map});
end architecture;
"""


def with_fields(job: Job, folder: Path) -> Job:
    """The same job, with the entity around its design if the sheet names fields of records."""
    names = [*job.ties]
    for port in job.ports.values():
        names += port if isinstance(port, list) else [port]
    if not job.vhdl or not any("." in name for name in names if name):
        return job
    text = text_of(job)
    entity = _entity(text, job.top)
    fields: dict[str, str] = {}
    ports, signals, joined, mapped = [], [], [], []
    for name, way, kind in ports_of(text, job.top):
        leaves = [*_leaves(text, name, kind)] if way in ("in", "out") else [(name, kind)]
        mapped.append(f"{name} => {name}")
        if leaves == [(name, kind)]:
            ports.append(f"{name} : {way} {kind}")
            continue
        signals.append(f"signal {name} : {kind.split(':=')[0]};")
        for path, inside in leaves:
            port = path.replace(".", "_").lower()
            fields[port] = path.lower()
            ports.append(f"{port} : {way} {inside}")
            joined.append(f"{path} <= {port};" if way == "in" else f"{port} <= {path};")
    if entity is None or not fields:
        return job
    generics = _generics(entity[2])
    given = [f"{name} => {name}" for name, _ in _declared(generics)]
    (folder / f"{ENTITY}.vhd").write_text(
        _TEXT.format(
            entity=ENTITY,
            top=job.top,
            context=entity[1],
            generics=f"generic ({generics});" if generics else "",
            ports="; ".join(ports),
            signals="\n".join(signals),
            joined="\n".join(joined),
            given=f"generic map ({', '.join(given)})" if given else "",
            map=", ".join(mapped),
        )
    )
    return replace(job, fields=fields)


def text_of(job: Job) -> str:
    """All sources in VHDL, without comments."""
    text = "\n".join(Path(source).read_text(errors="replace") for source in job.sources)
    return re.sub(r"--.*", "", text)


def ports_of(text: str, top: str) -> Iterator[tuple[str, str, str]]:
    """Each port of an entity: its name, ``in``, ``out`` or ``inout``, and its type."""
    entity = _entity(text, top)
    ports = re.search(r"\bport\s*\((.*)\)\s*;", entity[2], re.S | re.I) if entity else None
    for name, kind in _declared(ports[1] if ports else ""):
        way = re.match(r"(in|out|inout|buffer)\b", kind, re.I)
        rest = kind[way.end() :].strip() if way else kind
        written = way[1].lower() if way else "in"
        yield name, "out" if written == "buffer" else written, rest


def unknown_generic(job: Job) -> str | None:
    """A parameter that the entity has not; GHDL says no more than that elaboration failed."""
    entity = _entity(text_of(job), job.top)
    if entity is None:
        return None
    known = {name.lower() for name, _ in _declared(_generics(entity[2]))}
    return next((name for name in job.parameters if name.lower() not in known), None)


def _generics(inside: str) -> str:
    """The generic clause of an entity, without its parentheses."""
    found = re.search(r"\bgeneric\s*\((.*?)\)\s*;\s*(?:port\s*\(|\Z)", inside, re.S | re.I)
    return found[1] if found else ""


def _entity(text: str, top: str) -> re.Match[str] | None:
    """What it uses, and what is in it."""
    uses = r"((?:\b(?:library|use)\b[^;]*;\s*)*)"
    return re.search(rf"{uses}\bentity\s+{top}\s+is\b(.*?)\bend\b", text, re.S | re.I)


def _declared(text: str) -> Iterator[tuple[str, str]]:
    """Name and type of each thing in a list of declarations."""
    for part in text.split(";"):
        names, colon, kind = part.partition(":")
        names = re.sub(r"\b(signal|constant)\b", "", names, flags=re.I)
        for name in names.split(",") if colon else ():
            yield name.strip(), kind.strip()


def _leaves(text: str, path: str, kind: str) -> Iterator[tuple[str, str]]:
    """What a port or a field consists of, that is no record: its path, and its type."""
    named = re.match(r"[\w.]+", kind)
    mark = named[0].rsplit(".", 1)[-1] if named else ""
    record = re.search(rf"\btype\s+{mark}\s+is\s+record\b(.*?)\bend\s+record\b", text, re.S | re.I)
    if not mark or record is None:
        yield path, kind
        return
    for name, inside in _declared(record[1]):
        yield from _leaves(text, f"{path}.{name}", inside)
