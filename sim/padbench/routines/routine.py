"""A read routine: machine code with an entry, the ports it reads, and where its result stands."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

from padbench.routines.bus import INSTRUCTIONS, LENGTHS
from padbench.toml import Problem

PORTS = (0x4016, 0x4017)
"""Addresses of the two ports; the first is also where the latch is written (from memory)."""

DEFAULT_LIMIT = 29_780
"""CPU cycles after which a routine counts as one that does not end: a frame of the 60 Hz console."""  # noqa: E501

Place = Literal["A"] | int
"""Where a result stands at the end: the accumulator, or an address."""

_LOWEST_PORT, _HIGHEST_PORT = 0x0200, 0xFEFF
"""Ports lie outside zero page, stack and vectors."""


class RoutineError(ValueError):
    """A routine that cannot be used; the message is one line: file, place, what is wrong, remedy."""  # noqa: E501

    @classmethod
    def at(
        cls, file: str, line: int | None, found: str, wrong: str, instead: str
    ) -> "RoutineError":
        """From the pieces of the line."""
        return cls(str(Problem(file, line, "", found, wrong, instead)))


@dataclass(frozen=True)
class Assembled:
    """Machine code and what its source says of it.

    ``segments`` in the order of the source; ``labels`` has constants too; ``lines``: file and line
    by address; ``sources``: the text of each file.
    """

    segments: tuple[tuple[int, bytes], ...]
    labels: Mapping[str, int] = field(default_factory=dict)
    lines: Mapping[int, tuple[str, int]] = field(default_factory=dict)
    sources: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Routine:
    """Machine code that reads pads; called with JSR, it ends with the RTS that matches.

    ``segments`` are (address, bytes). ``results`` says where the result for each pad stands, first
    port first; before each case these places hold the held state. ``labels``, ``lines`` and
    ``sources`` are those of `Assembled`. ``second_only``: the pad is on the console's second port,
    which then stands first in ``ports``; the latch is written where it always is. ``named``:
    somebody said where the results are; else ``found`` says where they were found. ``kept`` are
    (address, port) of places that hold a pad's byte after a run: like results they hold the held
    state before each case, so that a routine which keeps the byte from before keeps what was held.
    """

    name: str
    segments: tuple[tuple[int, bytes], ...]
    entry: int
    results: tuple[Place, ...] = ("A",)
    ports: tuple[int, int] = PORTS
    labels: Mapping[str, int] = field(default_factory=dict, hash=False)
    lines: Mapping[int, tuple[str, int]] = field(default_factory=dict, hash=False)
    sources: Mapping[str, str] = field(default_factory=dict, hash=False)
    second_only: bool = False
    named: bool = False
    found: str = ""
    kept: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        """Refuse what cannot be run: ``RoutineError``."""
        first, second = self.ports
        for port in self.ports:
            if not _LOWEST_PORT <= port <= _HIGHEST_PORT:
                raise self.error(
                    None,
                    f"port ${port:04X}",
                    "lies in zero page, stack or vectors",
                    f"give an address from ${_LOWEST_PORT:04X} to ${_HIGHEST_PORT:04X}",
                )
            if self.loaded[port]:
                raise self.error(
                    port, f"port ${port:04X}", "lies inside the routine", "move one of the two"
                )
        if first == second:
            raise self.error(None, f"port ${first:04X}", "is given twice", "give two addresses")
        if not 1 <= len(self.results) <= len(self.ports):
            raise self.error(None, f"{len(self.results)} results", "are named", "name one or two")
        if len(set(self.results)) < len(self.results):
            raise self.error(
                None, "the result place", "is the same for both pads", "name one for each"
            )
        for place in self.results:
            if place in self.ports:
                raise self.error(
                    None,
                    f"the result address ${place:04X}",
                    "is the port itself",
                    "name A or the address in memory that the routine leaves the byte at",
                )
        if not self.loaded[self.entry]:
            raise self.error(
                None,
                f"the entry ${self.entry:04X}",
                "lies outside the routine",
                f"name an address in {self.extent}",
            )

    @cached_property
    def loaded(self) -> bytes:
        """For each address 1 if the routine's own bytes stand there."""
        there = bytearray(0x10000)
        for address, code in self.segments:
            there[address : address + len(code)] = bytes([1]) * len(code)
        return bytes(there)

    @cached_property
    def image(self) -> list[int]:
        """Memory before a run: the routine's bytes, 0 everywhere else."""
        memory = [0] * 0x10000
        for address, code in self.segments:
            memory[address : address + len(code)] = code
        return memory

    @property
    def extent(self) -> str:
        """Its addresses, for people."""
        return ", ".join(f"${at:04X}..${at + len(code) - 1:04X}" for at, code in self.segments)

    @property
    def strobe(self) -> int:
        """The address whose bit 0 is the latch when written: that of the console's first port."""
        return self.ports[1 if self.second_only else 0]

    def with_results(self, *results: Place, found: str = "") -> "Routine":
        """The same code with its results in other places."""
        return replace(self, results=results, found=found)

    def error(self, at: int | None, found: str, wrong: str, instead: str) -> RoutineError:
        """An error that names the source line of an address where it is known."""
        file, line = (self.name, None) if at is None else self.lines.get(at, (self.name, None))
        return RoutineError.at(file, line, found, wrong, instead)

    def check_instruction(
        self, pc: int, memory: Sequence[int], came_from: int | None = None
    ) -> None:
        """Raise `RoutineError` unless a whole documented instruction of ours stands at ``pc``.

        In ``memory`` as it is now: code may have changed itself. ``came_from`` is the instruction
        before it, to blame for a jump into nowhere.
        """
        if not self.loaded[pc]:
            raise self.error(
                came_from,
                f"${pc:04X}",
                "is jumped to and is no part of the routine",
                f"keep to {self.extent}, and end with the RTS that matches the call",
            )
        opcode = memory[pc]
        instruction = INSTRUCTIONS.get(opcode)
        if instruction is None:
            raise self.error(
                pc,
                f"${opcode:02X} at ${pc:04X}",
                "is not a documented opcode",
                "use one of the 151 of the Programming Manual, or name the right entry and origin",
            )
        end = pc + LENGTHS[instruction.mode]
        if end > 0x10000 or not all(self.loaded[pc:end]):
            raise self.error(
                pc,
                f"the {instruction.mnemonic} at ${pc:04X}",
                "runs over the end of the routine",
                "give its whole operand",
            )
