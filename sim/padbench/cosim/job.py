"""What one simulator process is asked to do, and what it hands back: plain data, written as JSON.

The process that asks and the one inside the simulator share nothing but these files. Runs are
written one after the other and read so, and a record is read once and not kept.
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

GRID = 1_000
"""Picoseconds: a simulator with a precision of 1 ns or finer plays times on this grid exactly."""

_JOB, _RUNS, RECORDS = "job.json", "runs.jsonl", "records.jsonl"
_PORTS = "ports.json"

Actions = list[tuple[int, str, Any]]
"""(picoseconds, "latch", "clock", "serial", "reset" or "buttons", level or word), in time order."""


def on_grid(ps: int) -> int:
    """The nearest time on the grid, but never 0 for what was not."""
    return max(round(ps / GRID), 1 if ps else 0) * GRID


class HdlError(Exception):
    """The design cannot be run: it does not compile, or does not fit the sheet.

    ``key`` is the key of ``[hdl]`` to blame, empty where the message names a place in the sources.
    """

    def __init__(self, key: str, says: str) -> None:
        super().__init__(says)
        self.key, self.says = key, says


@dataclass(frozen=True)
class PadRun:
    """One scenario for a pad; it lasts ``end`` picoseconds."""

    name: str
    end: int
    actions: Actions


@dataclass(frozen=True)
class Poll:
    """One poll of a reader, times in picoseconds.

    ``lost``: bits that the pad loses, pass by pass, (bit, how many). ``serial`` is the level of
    the pad's serial input. Contacts: ``inside`` moves that long after the latch's rise, ``after``
    after the last clock's; the next poll comes ``pause`` after that, or the request stays
    high and it comes at once (the next one's ``at_once``). ``reset``: (after the latch's rise,
    length).
    """

    lost: list[tuple[int, int]]
    serial: int
    inside: list[tuple[int, int]]
    after: list[tuple[int, int]]
    pause: int
    at_once: bool = False
    reset: tuple[int, int] | None = None


@dataclass(frozen=True)
class ReaderRun:
    """One scenario for a reader that makes ``passes`` reads a poll.

    ``held`` is what is down at first, ``wait`` the time for a poll by the sheet (picoseconds).
    ``brisk``: the next poll as soon as a byte was offered. ``answer``: the pad's in picoseconds,
    None for the job's.
    """

    name: str
    held: int
    passes: int
    wait: int
    polls: list[Poll]
    brisk: bool = False
    answer: int | None = None


@dataclass(frozen=True)
class Job:
    """A design and its wiring; the runs are made in one process, one after the other.

    ``build`` and ``run`` are options of the simulator, see `padbench.sheet.simulators`. ``ports``
    maps the roles (latch, clock, data, serial, system-clock, reset, start, held, valid, buttons) to
    port names; ``buttons`` may instead be a list, one port for each bit from bit 0 on, None where
    no button is. ``widths`` holds those of vectors. ``period`` is that of the system clock and
    ``answer`` the pad's in picoseconds, ``limit`` the longest that it may take in seconds.
    ``ties`` are levels of further inputs. ``pulled_up``: a data line that is let go is high.
    ``dump_all``: the simulator records every signal in a file of its own form. ``fields`` are
    those of records by the ports of the entity around the design, see `padbench.cosim.records`.
    """

    sources: list[str]
    top: str
    engine: str
    build: list[str]
    run: list[str]
    wheel: str
    vhdl: bool
    two_valued: bool
    role: Literal["pad", "reader"]
    ports: dict[str, Any]
    inverted: list[str]
    parameters: dict[str, int]
    widths: dict[str, int]
    period: int | None
    answer: int
    serial: int | None
    limit: float
    ties: dict[str, int]
    pulled_up: bool
    includes: list[str]
    defines: dict[str, int]
    dump_all: bool = False
    fields: dict[str, str] = field(default_factory=dict)

    def write(self, folder: Path, runs: Iterable[PadRun | ReaderRun]) -> None:
        """Leave the job in a folder, where its process finds it; ``runs`` are made one by one."""
        (folder / _JOB).write_text(json.dumps(vars(self)))
        with (folder / _RUNS).open("w") as out:
            for run in runs:
                out.write(json.dumps(run, default=vars) + "\n")

    @staticmethod
    def built(folder: Path, ports: dict[str, str]) -> None:
        """Leave the directions of the design's ports beside the job."""
        (folder / _PORTS).write_text(json.dumps(ports))

    @staticmethod
    def directions(folder: Path) -> dict[str, str]:
        """What `built` left."""
        ports: dict[str, str] = json.loads((folder / _PORTS).read_text())
        return ports

    @classmethod
    def read(cls, folder: Path) -> "Job":
        """The job of a folder."""
        return cls(**json.loads((folder / _JOB).read_text()))

    @staticmethod
    def runs(folder: Path) -> Iterator[Any]:
        """The runs of a folder's job, one by one: each a `PadRun`, or each a `ReaderRun`."""
        with (folder / _RUNS).open() as file:
            for run in map(json.loads, file):
                if "polls" not in run:
                    yield PadRun(**run)
                else:
                    yield ReaderRun(**{**run, "polls": [Poll(**poll) for poll in run["polls"]]})


class Records:
    """The records of a job's folder as they come; a line not yet whole is left for later.

    ``for record in Records(folder).new(): ...``
    """

    def __init__(self, folder: Path) -> None:
        self._path, self._read = folder / RECORDS, 0
        self._path.touch()

    def new(self) -> Iterator[dict[str, Any]]:
        """Those that came since the last call."""
        with self._path.open("rb") as file:
            file.seek(self._read)
            for line in file:
                if not line.endswith(b"\n"):
                    return
                self._read += len(line)
                yield json.loads(line)
