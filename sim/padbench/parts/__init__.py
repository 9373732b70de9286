"""Data-sheet tables: registers, kinds of port, named polls, consoles.

The numbers stand in the TOML files of this folder, each with its source; an entry without one is
refused. Tables are read once, on first use.
"""

from padbench.parts.bands import colour_bands
from padbench.parts.consoles import ConsoleTiming, console_names, console_timing
from padbench.parts.figure import FROM_MEMORY, Figure, SourceClass
from padbench.parts.polls import NamedPoll, named_poll, poll_names
from padbench.parts.ports import PortKind, port_kind, port_names
from padbench.parts.preferred import E12, E24, preferred
from padbench.parts.registers import Derating, RegisterPart, register_names, register_part

__all__ = [
    "E12",
    "E24",
    "FROM_MEMORY",
    "ConsoleTiming",
    "Derating",
    "Figure",
    "NamedPoll",
    "PortKind",
    "RegisterPart",
    "SourceClass",
    "colour_bands",
    "console_names",
    "console_timing",
    "named_poll",
    "poll_names",
    "port_kind",
    "port_names",
    "preferred",
    "register_names",
    "register_part",
]
