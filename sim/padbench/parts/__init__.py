"""Data-sheet tables: registers, kinds of port, named polls, consoles; and resistors to buy.

    part = register_part("CD4021B")
    part.clock_to_output.max          # 3.2e-07: seconds, as all figures are in SI units
    part.clock_to_output.cited        # where that comes from, and of which class it is

The numbers stand in the TOML files of this folder, each with its source; an entry without one is
refused. Tables are read once, on first use. A user's own file has the same keys (`own`).
"""

from padbench.parts.consoles import (
    ConsoleTiming,
    NamedPoll,
    console_names,
    console_timing,
    named_poll,
    poll_names,
)
from padbench.parts.figure import Figure
from padbench.parts.port_kinds import PortKind, port_kind, port_names
from padbench.parts.registers import (
    Derating,
    RegisterPart,
    register_names,
    register_part,
    worst_of_family,
)
from padbench.parts.resistors import E12, E24, colour_bands, preferred

__all__ = [
    "E12",
    "E24",
    "ConsoleTiming",
    "Derating",
    "Figure",
    "NamedPoll",
    "PortKind",
    "RegisterPart",
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
    "worst_of_family",
]
