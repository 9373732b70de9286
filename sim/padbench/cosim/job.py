"""What one simulator process is asked to do, and what it hands back: plain data, written as JSON.

The process that asks and the one inside the simulator share nothing but these files.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

__all__ = [
    "BUILD_LOG",
    "BUILT",
    "JOB",
    "RECORDS",
    "RUN_LOG",
    "Job",
    "PadRun",
    "Poll",
    "ReaderRun",
    "Records",
]

JOB = "job.json"
RECORDS = "records.jsonl"
BUILD_LOG, RUN_LOG, BUILT = "build.log", "run.log", "built"
"""The worker's files: the simulator's messages, and the mark that the design was compiled."""

Actions = list[tuple[int, str, Any]]
"""(picoseconds, "latch", "clock", "serial", "reset" or "buttons", level or word), in time order."""


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
    ``brisk``: the next poll as soon as a byte was offered.
    """

    name: str
    held: int
    passes: int
    wait: int
    polls: list[Poll]
    brisk: bool = False


@dataclass(frozen=True)
class Job:
    """A design, its wiring, and the runs to make in one process, one after the other.

    ``ports`` maps the roles (latch, clock, data, serial, system-clock, reset, start, held, valid,
    buttons) to port names; ``buttons`` may instead be a list, one port for each bit from bit 0 on,
    None where no button is. ``widths`` holds those of vectors. ``period`` is that of the system
    clock and ``answer`` the pad's in picoseconds.
    """

    sources: list[str]
    top: str
    engine: str
    role: Literal["pad", "reader"]
    ports: dict[str, Any]
    inverted: list[str]
    parameters: dict[str, int]
    widths: dict[str, int]
    period: int | None
    answer: int
    serial: int | None
    limit: float
    pad_runs: list[PadRun] = field(default_factory=list)
    reader_runs: list[ReaderRun] = field(default_factory=list)

    def write(self, folder: Path) -> None:
        """Leave the job in a folder, where the worker finds it."""
        # Field by field: `dataclasses.asdict` copies every action, and there may be a million.
        runs = {
            name: [dict(vars(run)) for run in getattr(self, name)]
            for name in ("pad_runs", "reader_runs")
        }
        for run in runs["reader_runs"]:
            run["polls"] = list(map(vars, run["polls"]))
        (folder / JOB).write_text(json.dumps(vars(self) | runs))

    @classmethod
    def read(cls, folder: Path) -> "Job":
        """The job of a folder."""
        raw: Mapping[str, Any] = json.loads((folder / JOB).read_text())
        return cls(
            **{
                **raw,
                "pad_runs": [PadRun(**run) for run in raw["pad_runs"]],
                "reader_runs": [
                    ReaderRun(**{**run, "polls": [Poll(**poll) for poll in run["polls"]]})
                    for run in raw["reader_runs"]
                ],
            }
        )


class Records:
    """The records of a job's folder as they come; a line not yet whole is left for later."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / RECORDS
        self._read = 0

    def new(self) -> Iterator[dict[str, Any]]:
        """Those that came since the last call."""
        if not self._path.exists():
            return
        with self._path.open("rb") as file:
            file.seek(self._read)
            for line in file:
                if not line.endswith(b"\n"):
                    return
                self._read += len(line)
                yield json.loads(line)
