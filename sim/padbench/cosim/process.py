"""Runs one job in a process of its own, with limits on it and nothing left behind.

The process is this module again, ``python -m padbench.cosim.process FOLDER``: it builds the design
and simulates it, in a process group of its own, so that it can be ended with all that it started.
"""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Literal

from padbench.cosim.build_folder import as_written, size_of, within_reach
from padbench.cosim.confined import (
    Unseen,
    foreign_call,
    foreign_node,
    foreign_word,
    write_only_below,
)
from padbench.cosim.job import RECORDS, Job, PadRun, ReaderRun, Records
from padbench.cosim.port_list import directions
from padbench.cosim.records import ENTITY, unknown_generic, with_fields

_BUILD_LOG, _RUN_LOG, _WORKER_LOG = "build.log", "run.log", "worker.log"
_UNKNOWN_PARAMETER = re.compile(
    r"(?:warning: parameter |Parameters from the command line .*: )(\w+)(?: not found|$)", re.M
)
"""What Icarus says, and goes on, and what Verilator says, and stops."""
_BUILT = "built"
"""The mark that the design was compiled."""
_PLACED = re.compile(r"^\S.*?:\d+(?::\d+)?:.*$", re.MULTILINE)
_PLAIN = re.compile(r"^\W*error\b.*$", re.MULTILINE | re.IGNORECASE)
_NO_HEADER = re.compile(r"(?i)include file\b")
"""In what Icarus and Verilator say of a header that is not there."""
_NO_TOP = re.compile(r"find the root module|was not found in design|cannot find entity")
"""What Icarus, Verilator and GHDL say of a ``top`` that is in no source."""
_OF_COCOTB = re.compile(r"^ *[-.\d]+ns (?:INFO|WARNING) .*$", re.MULTILINE)
_CRASH = re.compile(r"return code: -(\d+)$", re.MULTILINE)
"""How cocotb's runner says that a signal ended the simulator."""
_PATH = re.compile(r"([\w./+-]+):\d+:")
_HDL = frozenset((".v", ".sv", ".vh", ".svh", ".vhd", ".vhdl"))
_TOOLS = re.compile(r"\*\*\*|not found|[Uu]nable to|cannot|bad library|Error \d+|Traceback|Errno")
"""What make, a shell and Python say; a simulator's own words name a place in a source."""
_MOST_LOG = 1 << 20
_LONGEST = 500
_PATIENCE = 0.1
"""Seconds between two looks at what came."""
_MOST_MEMORY = 8 << 30
"""Bytes of address space for each process of a job, so that a design cannot fill the machine."""
_MOST_OUTPUT = 256 << 20
"""Bytes of messages and files of a job, beside its records."""
_MOST_FILE = 1 << 30
"""Bytes of one file, wherever a design writes it."""

_PRECISION = ("1ns", "1ps")
_DUMP = """module padbench_dump;
initial begin $dumpfile("dump.vcd"); $dumpvars(0, {top}); end
endmodule
"""


@dataclass(frozen=True)
class Outcome:
    """How a job went.

    ``kind``: "done"; "misfit" (the design does not fit, ``says`` and ``key`` tell what); "build"
    (it does not compile, ``says`` is the simulator's own message with file and line); "built-late"
    and "late" (the limit passed, while compiling or after it); "ended" (the simulator stopped by
    itself before the end, ``says`` are its last words); "flooded" (it was ended, since it wrote
    too much).
    """

    kind: Literal["done", "misfit", "build", "built-late", "late", "ended", "flooded"]
    says: str = ""
    key: str = ""


def run_job(
    job: Job,
    runs: Iterable[PadRun | ReaderRun],
    folder: Path,
    seen: Callable[[dict[str, Any]], None],
) -> Outcome:
    """Run a job in ``folder``, which has nothing in it, and wait for it.

    ``seen`` is called with each record as it comes, so that judging goes on beside the simulation.
    Every process of the job is gone on return, also when this is left by an exception.
    Raises ``OSError`` if the folder cannot be written.
    """
    used = with_fields(within_reach(job, folder), folder)
    used.write(folder, runs)
    command = [sys.executable, "-m", "padbench.cosim.process", str(folder)]
    timed_out = flooded = False
    records = Records(folder)
    ending: dict[str, Any] = {}

    def take() -> None:
        for record in records.new():
            ending.update({key: record[key] for key in ("fault", "done") if key in record})
            seen(record)

    with closing(Programs(folder)) as programs:
        process = programs.start(_WORKER_LOG, command)
        ends = time.monotonic() + job.limit
        while not (timed_out or flooded):
            try:
                process.wait(_PATIENCE)
                break
            except subprocess.TimeoutExpired:
                take()
                timed_out = time.monotonic() > ends
                flooded = size_of(folder) > _MOST_OUTPUT
    take()
    if flooded:
        says = f"it wrote more than {_MOST_OUTPUT >> 20} MiB of messages and files"
        return Outcome("flooded" if (folder / _BUILT).exists() else "build", says)
    outcome = _outcome(job, folder, ending, timed_out, process.returncode)
    return replace(outcome, says=as_written(outcome.says, job, used))


class Programs:
    """Programs that run side by side in a folder, each by the name of the file with its words.

        with closing(Programs(folder)) as programs:
            programs.start("log", ["yosys", "-q", "design.ys"])
            programs.said(re.compile("ERROR"), seconds=10)     # "log", None if none says it

    Each has a group of processes, which is gone when it is ended; when this process is gone,
    however, so are they and the folder.
    """

    _WATCHED = 'exec 3<&0; (read _ <&3; rm -rf "$0"; kill -9 0) & exec "$@" 3<&- </dev/null'
    """What runs is a program beside a shell that does so when its input is at its end."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.running: dict[str, subprocess.Popen[bytes]] = {}
        path = os.pathsep.join(path for path in sys.path if path)
        own = {"PYTHONDONTWRITEBYTECODE": "1", "TMPDIR": str(folder), "PYTHONPATH": path}
        self.environment = {**os.environ, **own}

    def start(self, name: str, command: Sequence[str]) -> "subprocess.Popen[bytes]":
        """Start one; one of the same name is ended."""
        self.end(name)
        with (self.folder / name).open("wb") as log:
            self.running[name] = subprocess.Popen(
                ["sh", "-c", self._WATCHED, str(self.folder), *command],
                cwd=self.folder,
                env=self.environment,
                stdin=subprocess.PIPE,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        return self.running[name]

    def said(
        self, wanted: re.Pattern[str], seconds: float, *, until: str | None = None
    ) -> str | None:
        """The first that is over and says what is wanted; None by then, or with ``until`` over."""
        ends = time.monotonic() + seconds
        while True:
            over = [name for name, one in self.running.items() if one.poll() is not None]
            for name in over:
                if wanted.search(self.words(name)):
                    return name
            if len(over) == len(self.running) or until in over or time.monotonic() > ends:
                return None
            time.sleep(_PATIENCE / 5)

    def words(self, name: str) -> str:
        """What one said until now."""
        return _text(self.folder / name)

    def end(self, name: str) -> None:
        """End one, if it is there."""
        process = self.running.pop(name, None)
        if process is None:
            return
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        process.stdin.close()  # type: ignore[union-attr]

    def close(self) -> None:
        """End all."""
        for name in [*self.running]:
            self.end(name)


def _outcome(
    job: Job, folder: Path, ending: Mapping[str, Any], timed_out: bool, code: int
) -> Outcome:
    """``ending`` is what the records said of it: "fault", or "done"."""
    fault = ending.get("fault")
    if fault is not None:
        says = "; ".join(part for part in (fault["says"], fault["instead"]) if part)
        return Outcome("misfit", says, fault["key"])
    if not (folder / _BUILT).exists():
        return Outcome("built-late") if timed_out else _not_built(job, folder)
    if "done" in ending or timed_out:
        return Outcome("done" if "done" in ending else "late")
    return Outcome("ended", _how_it_ended(folder, code))


def _not_built(job: Job, folder: Path) -> Outcome:
    """Why it does not compile."""
    words = _first_error(_text(folder / _BUILD_LOG)) or _last_line(_text(folder / _WORKER_LOG))
    unknown = _UNKNOWN_PARAMETER.search(words)
    if unknown is not None:
        says = f"{unknown[1]} is no parameter of {job.top}; leave it out"
        return Outcome("build", says, f"parameters.{unknown[1]}")
    if _NO_HEADER.search(words):
        says = f'{words}; name the folder that it is in, such as include = ["."]'
        return Outcome("build", says, "include")
    if _NO_TOP.search(words):
        says = f"{job.top} is in none of the sources; name a module or entity that is"
        return Outcome("build", says, "top")
    tools = _of_tools(words, folder)
    says = f"the tool chain here fails, not your sources: {words}" if tools else words
    return Outcome("build", says, "simulator" if tools else "")


def _of_tools(words: str, folder: Path) -> bool:
    """Whether a message is about a file that nobody wrote for the design, or about no file."""
    place = _PATH.search(words)
    if place is None:
        return _TOOLS.search(words) is not None
    path = Path(place[1])
    ours = (folder / "build", Path(sys.prefix), Path(sys.base_prefix), Path("/usr"))
    # Sources and folders of headers are given with their whole path, whatever a header is called.
    made = not path.is_absolute() and path.suffix.lower() not in _HDL
    return made or any(path.is_relative_to(base) for base in ours)


def _how_it_ended(folder: Path, code: int) -> str:
    """The simulator's own last words, or the signal that ended it."""
    words = _first_error(_OF_COCOTB.sub("", _text(folder / _RUN_LOG)))
    crash = _CRASH.search(_text(folder / _WORKER_LOG))
    if crash is None:
        return words or f"exit code {code}"
    name = signal.Signals(int(crash[1])).name
    return f"the simulator crashed ({name}){': ' if words else ''}{words}"


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


def main(folder: Path) -> int:
    """The process itself: build, then simulate; 0 if the simulator ended by itself.

    Its limit on processor time holds even if whoever started it is gone: a design that never ends
    leaves no process.
    """
    import resource  # noqa: PLC0415 - this and the groups of processes are of Unix alone

    sys.path.insert(0, str(Path(__file__).parent / "lean"))  # cocotb hands the path on
    from cocotb_tools.runner import VHDL, Verilog, get_runner  # noqa: PLC0415 - only in the process

    job = Job.read(folder)
    seconds = int(2 * job.limit) + 10
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
    resource.setrlimit(resource.RLIMIT_AS, (_MOST_MEMORY, _MOST_MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_FSIZE, (_MOST_FILE, _MOST_FILE))
    if job.wheel:
        _use_wheel(job.wheel)
    os.environ.update(COCOTB_LOG_LEVEL="ERROR", COCOTB_ANSI_OUTPUT="0", PADBENCH_JOB=str(folder))
    # Rewriting assertions compiles every module anew, numpy's too, and costs half a second a start;
    # so do threads of a library for matrices, which nobody multiplies here.
    os.environ.update(COCOTB_REWRITE_ASSERTION_FILES="", OPENBLAS_NUM_THREADS="1")
    # What a test run around us set is not meant for the simulation.
    for name in [name for name in os.environ if name.startswith(("PYTEST_", "COV_CORE_"))]:
        del os.environ[name]
    runner = get_runner(job.engine)
    mark = VHDL if job.vhdl else Verilog
    build = folder / "build"
    around = [folder / f"{ENTITY}.vhd"] if job.fields else []
    dump = []
    if job.dump_all and job.engine == "icarus":
        # cocotb's own module for this is SystemVerilog, which a .v file is not compiled as.
        dump = [folder / "padbench_dump.v"]
        dump[0].write_text(_DUMP.format(top=job.top))
        # Its smaller kind of record has a nameless file in /tmp, where nothing may be written.
        os.environ["SIM_CMD_SUFFIX"] = "-vcd"
    found = [foreign_word(job)] if job.vhdl else []
    if any(found):
        return _foreign(job, folder, found)
    if job.engine == "verilator":
        _look_first(runner, folder, found)
    try:
        runner.build(
            sources=[mark(source) for source in (*job.sources, *around, *dump)],
            hdl_toplevel=ENTITY if around else job.top,
            parameters=job.parameters,
            build_args=[*job.build, *(("-s", "padbench_dump") if dump else ())],
            includes=job.includes,
            defines=job.defines,
            build_dir=build,
            waves=job.dump_all and not dump,
            always=True,
            timescale=None if job.vhdl else _PRECISION,
            log_file=folder / _BUILD_LOG,
        )
    except RuntimeError:
        return 1  # the log says why
    if job.engine == "icarus":
        found.append(foreign_call(build / "sim.vvp"))
    if any(found):
        return _foreign(job, folder, found)
    (folder / _BUILT).touch()
    warned = _UNKNOWN_PARAMETER.search(_text(folder / _BUILD_LOG))
    unknown = unknown_generic(job) if job.vhdl else warned and warned[1]
    if unknown:
        says = f"{unknown} is no parameter of {job.top}"
        return _misfit(folder, f"parameters.{unknown}", says, "leave it out")
    job.built(folder, directions(job, build))
    return _simulate(job, runner, folder)


def _simulate(job: Job, runner: Any, folder: Path) -> int:
    """What was built, so that it writes in ``folder`` alone."""
    build, top = folder / "build", job.top.lower() if job.vhdl else job.top
    if not write_only_below(folder):
        _record(folder, {"unconfined": True})
    try:
        runner.test(
            test_module="padbench.cosim.inside",
            hdl_toplevel=ENTITY if job.fields else top,
            test_args=job.run,
            parameters=job.parameters,
            build_dir=build,
            test_dir=build,
            waves=job.dump_all,
            results_xml=str(folder / "results.xml"),
            timescale=_PRECISION if job.vhdl else None,
            log_file=folder / _RUN_LOG,
        )
    except RuntimeError as error:
        print(error)  # it says how the simulator ended
        return 1
    return 0


def _misfit(folder: Path, key: str, says: str, instead: str) -> int:
    _record(folder, {"fault": {"key": key, "says": says, "instead": instead}})
    return 1


def _record(folder: Path, record: dict[str, Any]) -> None:
    with (folder / RECORDS).open("a") as out:
        out.write(json.dumps(record) + "\n")


def _look_first(runner: Any, folder: Path, found: list[str | None]) -> None:
    """Have Verilator's tree looked at before C++ is made of it, and none made of foreign code."""
    commands = runner._build_command

    def looked_at() -> list[Any]:
        translate, *compile_ = commands()
        try:
            found.append(foreign_node(folder / "tree", translate))
        except Unseen:
            return [translate]
        return [] if found[-1] else [translate, *compile_]

    runner._build_command = looked_at


def _foreign(job: Job, folder: Path, found: list[str | None]) -> int:
    """What is no source was found in a folder of headers."""
    place = next(filter(None, found))
    ours = any(place.startswith(f"{source}:") for source in job.sources)
    says = f"{place}, and padbench simulates hardware: it runs no program"
    return _misfit(folder, "sources" if ours else "include", says, "leave it out")


def _use_wheel(name: str) -> None:
    """Have a simulator found in its wheel."""
    spec = find_spec(name)
    if spec is None or spec.origin is None:
        return
    root = Path(spec.origin).parent
    os.environ[f"{name.upper()}_ROOT"] = str(root)
    # A user without a home, as of a service, has no place for what it keeps, and nothing compiles.
    places = map(os.environ.get, ("CCACHE_DIR", "XDG_CACHE_HOME", "HOME"))
    if shutil.which("ccache") and os.access(next(filter(None, places), ""), os.W_OK):
        os.environ.setdefault("OBJCACHE", "ccache")
    os.environ.pop("MAKEFLAGS", None)  # those of a make that runs us
    os.environ["PATH"] = f"{root / 'bin'}{os.pathsep}{os.environ['PATH']}"


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
