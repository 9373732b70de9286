"""Registers and kinds of port that a sheet brings along, beside the shipped ones."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field

from padbench import parts
from padbench.parts import PortKind, RegisterPart

__all__ = ["OwnParts", "find_part", "find_port", "own_now", "own_parts", "part_names", "port_names"]


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
    found = (own or own_now()).registers.get(name)
    return parts.register_part(name) if found is None else found


def find_port(name: str, own: OwnParts | None = None) -> PortKind:
    """A kind of port, own or shipped; ``KeyError`` for an unknown name."""
    found = (own or own_now()).ports.get(name)
    return parts.port_kind(name) if found is None else found


def part_names(own: OwnParts | None = None) -> tuple[str, ...]:
    """Every register, the shipped ones first."""
    return (*parts.register_names(), *(own or own_now()).registers)


def port_names(own: OwnParts | None = None) -> tuple[str, ...]:
    """Every kind of port, the shipped ones first."""
    return (*parts.port_names(), *(own or own_now()).ports)
