"""A design is simulated, and runs nothing and writes nowhere else.

    foreign_word(job)                       # "pad.vhd:7 has ...", None where nothing does
    foreign_node(folder, build_command)     # the same of Verilog, before C++ is made of it
    foreign_call(folder / "sim.vvp")        # the same of the program that Icarus made
    write_only_below(folder)                # from here on, for this process and its children

    python -m padbench.cosim.confined FOLDER PROGRAM ...

Of HDL a simulator runs only what it reads as hardware, but for `$system`, C++ given as text and
functions from elsewhere (IEEE 1800 clause 35, VHDL's attribute "foreign"). Whether there is any is
seen in what the simulator itself made of the design: it alone is right about macros, strings,
comments and the files that it finds. GHDL shows no such thing; there the word is refused wherever
it may be more than a comment.
"""

import ctypes
import json
import os
import re
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from padbench.cosim.job import Job

_WORD = re.compile(r"\bforeign\b", re.ASCII | re.IGNORECASE)
_COMMENT = re.compile(r"""[^"'%\\*]*--[^*]*""")
"""A line of VHDL that holds nothing before its comment which could hide code behind it."""
_NODE = re.compile(
    r'"type":"(?:(?P<system>SYSTEM[TF])|C\w+USER|UC(?:STMT|FUNC)|SYSTEMCSECTION'
    r'|SC(?:[CD]TOR|HDR|IMP|IMPHDR|INT))"|(?P<dpi>"dpi(?:Im|Ex)port":true)'
)
"""Verilator's names, those of its older versions too."""
_LOC = re.compile(r'"loc":"(\w+),(\d+):')
_CALL = re.compile(r'(?:%vpi_|\.sfunc)\S* (\d+) (\d+) "\$system"')


class Unseen(Exception):
    """Verilator makes no tree of the design, and says why when it builds it."""


def foreign_word(job: Job) -> str | None:
    """Where the VHDL of a job may have foreign code run, in words; None if nowhere."""
    for source in job.sources:
        text = Path(source).read_text(encoding="latin-1")
        # GHDL ends a line, and so a comment, at each of these.
        for end in re.finditer(r"[^\n\v\f\r]+", text):
            if _WORD.search(end[0]) and not _COMMENT.fullmatch(end[0]):
                line = text.count("\n", 0, end.start()) + 1
                return f'{source}:{line} has "foreign", which is for code from elsewhere'
    return None


def foreign_node(folder: Path, build: Sequence[str]) -> str | None:
    """The same of Verilog, by the command that is to build it; ``folder`` is for the tree.

    Raises `Unseen`.
    """
    command = [*build, "--json-only", "-Mdir", str(folder)]
    if subprocess.run(command, capture_output=True, check=False).returncode:
        raise Unseen
    (meta,) = folder.glob("*.tree.meta.json")
    (tree,) = folder.glob("*.tree.json")
    with tree.open(encoding="latin-1") as lines:
        for text in lines:
            found = _NODE.search(text)
            if found is None:
                continue
            place = _LOC.search(text)
            files = json.loads(meta.read_text(encoding="latin-1"))["files"]
            where = f"{files[place[1]]['filename']}:{place[2]}" if place else "the design"
            what = "functions from elsewhere" if found["dpi"] else "C++ in it"
            return f"{where} has {'$system' if found['system'] else what}"
    return None


def foreign_call(program: Path) -> str | None:
    """The same of a program for Icarus's ``vvp``."""
    text = program.read_text(encoding="latin-1")
    found = _CALL.search(text)
    if found is None:
        return None
    names = re.findall(r'^    "(.*)";$', text[text.rindex("\n:file_names ") :], re.MULTILINE)
    return f"{names[int(found[1])]}:{found[2]} has $system"


# Landlock (Linux 5.13), see landlock(7): rights by the version that brought them.
_CREATE, _ADD, _RESTRICT, _NO_NEW_PRIVILEGES = 444, 445, 446, 38
_RIGHTS = {1: 0x1FF2, 2: 0x2000, 3: 0x4000}
"""Write a file, remove and make what there is, link and rename across folders, cut a file."""
_OF_A_FILE = 0x4002
"""Those of them that a file may have, which is no folder."""


class _Ruleset(ctypes.Structure):
    _fields_ = (("handled", ctypes.c_uint64),)


class _Beneath(ctypes.Structure):
    _pack_ = 1
    _fields_ = (("allowed", ctypes.c_uint64), ("parent", ctypes.c_int32))


def write_only_below(folder: Path) -> bool:
    """Have this process, and all that it starts, write in ``folder`` alone and in ``/dev/null``.

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
        for allowed, what in ((folder, rights), (Path(os.devnull), rights & _OF_A_FILE)):
            parent = os.open(allowed, os.O_PATH | os.O_CLOEXEC)
            beneath = _Beneath(what, parent)
            refused = system.syscall(_ADD, handle, 1, ctypes.byref(beneath), 0)
            os.close(parent)
            if refused:
                return False
        system.prctl(_NO_NEW_PRIVILEGES, 1, 0, 0, 0)
        return bool(system.syscall(_RESTRICT, handle, 0) == 0)
    finally:
        os.close(handle)


if __name__ == "__main__":
    write_only_below(Path(sys.argv[1]))
    os.execvp(sys.argv[2], sys.argv[2:])
