"""The ports of a built design and their directions, and names of bits and fields of ports.

    directions(job, build)            # {"latch": "input", "data": "output"}
    port_of(job, "io.keys[3]")        # ("io_keys", [3]), where io is a record

Simulators show inner signals and ports alike through their interface; what they built tells.
"""

import re
from itertools import takewhile
from pathlib import Path

from padbench.cosim.job import Job
from padbench.cosim.records import ports_of, text_of

_VVP_PORT = re.compile(r'\.port_info \d+ /(INPUT|OUTPUT|INOUT) \d+ "([^"]+)"')
_VVP_SCOPE = re.compile(r'^S_\w+ \.scope module, "([^"]+)"', re.MULTILINE)
_CPP_PORT = re.compile(r"VL_(IN|OUT|INOUT)(?:8|16|64|W)?\(\(?&(\w+)")
_CPP = {"IN": "input", "OUT": "output", "INOUT": "inout"}
_VHDL = {"in": "input", "out": "output", "inout": "inout"}
_STEP = re.compile(r"\[(\d+)\]|\.(\w+)")


def parts_of(name: str) -> tuple[str, list[int | str]]:
    """``"bus[3]"`` is ``("bus", [3])``, ``"io.data"`` is ``("io", ["data"])``."""
    base = re.split(r"[\[.]", name, maxsplit=1)[0]
    steps = [int(bit) if bit else field for bit, field in _STEP.findall(name[len(base) :])]
    return base, steps


def port_of(job: Job, name: str) -> tuple[str, list[int | str]]:
    """A port by its name in the sheet, as `parts_of`; a field of a record is a port of its own."""
    base, steps = parts_of(name.lower() if job.vhdl else name)
    path = [base, *takewhile(lambda step: isinstance(step, str), steps)]
    for port, field in job.fields.items():
        if field == ".".join(map(str, path)):
            return port, steps[len(path) - 1 :]
    return base, steps


def directions(job: Job, build: Path) -> dict[str, str]:
    """By name ``input``, ``output`` or ``inout``; empty where that cannot be told."""
    if job.vhdl:
        return _of_vhdl(job)
    if job.engine == "icarus":
        return _of_vvp(job.top, build / "sim.vvp")
    header = build / "Vtop.h"
    text = header.read_text(errors="replace") if header.exists() else ""
    found = _CPP_PORT.findall(text)
    return {name.replace("___05F", "__"): _CPP[way] for way, name in found}


def _of_vvp(top: str, path: Path) -> dict[str, str]:
    text = path.read_text(errors="replace") if path.exists() else ""
    scopes = [*_VVP_SCOPE.finditer(text)]
    for place, scope in enumerate(scopes):
        if scope[1] == top:
            end = scopes[place + 1].start() if place + 1 < len(scopes) else len(text)
            ports = _VVP_PORT.findall(text, scope.end(), end)
            return {name: way.lower() for way, name in ports}
    return {}


def _of_vhdl(job: Job) -> dict[str, str]:
    found = {name.lower(): _VHDL[way] for name, way, _ in ports_of(text_of(job), job.top)}
    apart = {path.split(".")[0] for path in job.fields.values()}
    fields = {port: found[path.split(".")[0]] for port, path in job.fields.items()}
    return {name: way for name, way in found.items() if name not in apart} | fields
