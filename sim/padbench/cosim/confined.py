"""A design is simulated, and runs nothing and writes nowhere else.

    place = foreign_code(job, Path("build"))     # "pad.sv:7 calls $system", None where nothing does
    write_only_below(Path("build"))              # from here on, for this process and its children

Of HDL a simulator runs only what it reads as hardware, but for `$system`, C++ given as text and
functions from elsewhere (IEEE 1800 clause 35, VHDL's attribute "foreign"). Macros are looked
through by the simulator's own preprocessor.
"""

import ctypes
import os
import re
import subprocess
from pathlib import Path

from padbench.cosim.job import Job

_VERILOG = re.compile(
    r'(?P<name>\$system|\$c(?:pure)?\d*|`systemc_\w+)(?![\w$])|(?P<dpi>\b(?:im|ex)port\s*"DPI)'
    r'|`line\s+(?P<line>\d+)\s+"(?P<file>[^"\n]*)"[^\n]*\n'
    r'|"(?:\\.|[^"\\])*"|//[^\n]*|/\*.*?\*/|\\\S+',
    re.DOTALL,
)
_VHDL = re.compile(
    r"(?P<name>\battribute\b(?:\s|--[^\n]*\n|/\*.*?\*/)+foreign\b)"
    r'|"[^"\n]*"|\\[^\\\n]*\\|--[^\n]*|/\*.*?\*/',
    re.DOTALL | re.IGNORECASE,
)
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
    if job.vhdl:
        for source in job.sources:
            text = Path(source).read_text(encoding="latin-1")
            for found in _VHDL.finditer(text):
                if found["name"]:
                    line = text.count("\n", 0, found.start()) + 1
                    return f'{source}:{line} has the attribute "foreign"'
        return None
    for source in job.sources:
        place = _in_verilog(_preprocessed(job, source, folder), "")
        if place is not None and place.startswith(":"):
            # Icarus does not say where its lines come from.
            raw = Path(source).read_text(encoding="latin-1")
            return _in_verilog(raw, source) or f"{source} {place.partition(' ')[2]}"
        if place is not None:
            return place
    return None


def _preprocessed(job: Job, source: str, folder: Path) -> str:
    out = folder / "preprocessed"
    command = [part.format(out=out) for part in _PREPROCESS[job.engine]]
    command += [f"-D{name}={value}" for name, value in job.defines.items()]
    command += [f"-I{include}" for include in job.includes]
    # What an earlier source defines holds in a later one.
    command += job.sources[: job.sources.index(source) + 1]
    got = subprocess.run(command, capture_output=True, check=False, timeout=_PATIENCE)
    text = out.read_bytes() if out.exists() else got.stdout
    return text.decode("latin-1")


def _in_verilog(text: str, file: str) -> str | None:
    line, at = 1, 0
    for found in _VERILOG.finditer(text):
        line += text.count("\n", at, found.start())
        at = found.start()
        if found["file"] is not None:
            file, line, at = found["file"], int(found["line"]), found.end()
        elif found["name"] or found["dpi"]:
            what = f"calls {found['name']}" if found["name"] else "uses functions from elsewhere"
            return f"{file}:{line} {what}"
    return None


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
