"""A design is simulated, and runs nothing and writes nowhere else.

    place = foreign_code(job, Path("build"))     # "pad.sv:7 has $system", None where nothing does
    place = foreign_library(job, Path("build"))  # the same of modules that the simulator found
    write_only_below(Path("build"))              # from here on, for this process and its children

Of HDL a simulator runs only what it reads as hardware, but for `$system`, C++ given as text and
functions from elsewhere (IEEE 1800 clause 35, VHDL's attribute "foreign"). Macros are looked
through by the simulator's own preprocessor. The words are refused wherever they stand, in a comment
too: who tells comments and strings from code has to be right about all of them.
"""

import ctypes
import os
import re
import subprocess
from collections.abc import Sequence
from pathlib import Path

from padbench.cosim.job import Job

_VERILOG = re.compile(
    r"(?P<name>\$system|\$c(?:pure)?\d*|`systemc_\w+)(?![\w$])"
    r'|(?P<dpi>\b(?:im|ex)port(?:\s|`line[^\n]*\n|//[^\n]*\n|/\*.*?\*/)*"DPI)'
    r'|`line\s+(?P<line>\d+)\s+"(?P<file>[^"\n]*)"[^\n]*\n',
    re.DOTALL,
)
_VHDL = re.compile(r"\battribute\b(?:\s|--[^\n]*\n|/\*.*?\*/)+foreign\b", re.DOTALL | re.IGNORECASE)
_PREPROCESS = {
    "icarus": ("iverilog", "-E", "-o", "{out}", "-g2012"),
    "verilator": ("verilator", "-E"),
}
_PATIENCE = 30.0


def foreign_code(job: Job, folder: Path) -> str | None:
    """Where the sources of a job have a program or foreign code run, in words; None if nowhere.

    ``folder`` is for a file on the way. What does not get through the preprocessor does not
    compile either, and is looked at as far as it got.
    """
    for number, source in enumerate(job.sources, 1):
        # What an earlier source defines holds in a later one.
        place = _in_vhdl(source) if job.vhdl else _in_verilog(job, job.sources[:number], folder)
        if place is not None:
            return place
    return None


def foreign_library(job: Job, folder: Path) -> str | None:
    """The same of files that are no sources: Verilator looks for modules where headers are."""
    known = {os.path.realpath(source) for source in job.sources}
    own = os.path.realpath(os.environ.get("VERILATOR_ROOT", "/usr/share/verilator"))
    read = [name for list_ in folder.rglob("*__ver.d") for name in list_.read_text().split()]
    for file in dict.fromkeys(read):
        path = Path(os.path.realpath(file))
        ours = path.is_relative_to(own) or str(path) in known
        if path.suffix in (".v", ".sv") and not ours and path.is_file():
            place = _in_verilog(job, [*job.sources, file], folder)
            if place is not None:
                return place
    return None


def _in_vhdl(source: str) -> str | None:
    text = Path(source).read_text(encoding="latin-1")
    found = _VHDL.search(text)
    if found is None:
        return None
    line = text.count("\n", 0, found.start()) + 1
    return f'{source}:{line} has the attribute "foreign"'


def _in_verilog(job: Job, sources: Sequence[str], folder: Path) -> str | None:
    out = folder / "preprocessed"
    command = [part.format(out=out) for part in _PREPROCESS[job.engine]]
    command += [f"-D{name}={value}" for name, value in job.defines.items()]
    command += [*(f"-I{include}" for include in job.includes), *sources]
    got = subprocess.run(command, capture_output=True, check=False, timeout=_PATIENCE)
    text = (out.read_bytes() if out.exists() else got.stdout).decode("latin-1")
    what, place = _searched(text, "")
    if what and place.startswith(":"):
        # Icarus does not say where its lines come from.
        place = _searched(Path(sources[-1]).read_text(encoding="latin-1"), sources[-1])[1]
    return f"{place or sources[-1]} {what}" if what else None


def _searched(text: str, file: str) -> tuple[str, str]:
    """What is found, and the file and line of it; both empty for nothing."""
    line, at = 1, 0
    for found in _VERILOG.finditer(text):
        line += text.count("\n", at, found.start())
        at = found.start()
        if found["file"] is not None:
            file, line, at = found["file"], int(found["line"]), found.end()
        else:
            what = f"has {found['name']}" if found["name"] else "has functions from elsewhere"
            return what, f"{file}:{line}"
    return "", ""


# Landlock (Linux 5.13), see landlock(7): rights by the version that brought them.
_CREATE, _ADD, _RESTRICT, _NO_NEW_PRIVILEGES = 444, 445, 446, 38
_RIGHTS = {1: 0x1FF2, 2: 0x2000, 3: 0x4000}
"""Write a file, remove and make what there is, link and rename across folders, cut a file."""


class _Ruleset(ctypes.Structure):
    _fields_ = (("handled", ctypes.c_uint64),)


class _Beneath(ctypes.Structure):
    _pack_ = 1
    _fields_ = (("allowed", ctypes.c_uint64), ("parent", ctypes.c_int32))


def write_only_below(*folders: Path) -> bool:
    """Have this process, and all that it starts, write in ``folders`` alone and in ``/dev``.

    False where the system cannot do that: not Linux, or before 5.13.
    """
    try:
        system = ctypes.CDLL(None, use_errno=True)
        version = system.syscall(_CREATE, None, ctypes.c_size_t(0), 1)
    except (OSError, AttributeError, TypeError):
        return False
    if version < 1:
        return False
    rights = sum(bits for since, bits in _RIGHTS.items() if since <= version)
    rules = _Ruleset(rights)
    handle = system.syscall(_CREATE, ctypes.byref(rules), ctypes.c_size_t(ctypes.sizeof(rules)), 0)
    if handle < 0:
        return False
    try:
        for allowed in (*folders, Path("/dev")):
            parent = os.open(allowed, os.O_PATH | os.O_CLOEXEC)
            beneath = _Beneath(rights, parent)
            refused = system.syscall(_ADD, handle, 1, ctypes.byref(beneath), 0)
            os.close(parent)
            if refused:
                return False
        system.prctl(_NO_NEW_PRIVILEGES, 1, 0, 0, 0)
        return bool(system.syscall(_RESTRICT, handle, 0) == 0)
    finally:
        os.close(handle)
