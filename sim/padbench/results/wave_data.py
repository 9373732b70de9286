"""A stretch of wires and reads as the small object that the page draws its wave from.

Times are counted in a unit that divides them all, and only differences are kept, in base 36: a run
of 256 reads takes some 100 kB.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from padbench.core.buttons import BUTTONS, spelled
from padbench.core.timeline import Timeline, Wire
from padbench.trials.result import ReadResult, ScenarioRun

__all__ = [
    "ROWS",
    "ShownRead",
    "Wave",
    "bits_of",
    "marks_of",
    "read_as",
    "wave_object",
    "wave_of",
    "whole_run",
]

ROWS = (
    ("console.latch", "latch sent"),
    ("cable.latch", "latch at pad"),
    ("console.clock", "clock sent"),
    ("cable.clock", "clock at pad"),
    ("cable.data", "data"),
    *((f"contacts.{name}", name) for name in BUTTONS),
)
"""Wire and what it is called, from top to bottom. A contact is high while it is closed."""

_DIGITS = "0123456789abcdefghijklmnopqrstuvwxyz"


@dataclass(frozen=True, slots=True)
class ShownRead:
    """A read in a wave: times in picoseconds, bytes as in `padbench.core.buttons`.

    ``undecided`` is a mask of the bits that were at no level; ``right``: it is as it should be.
    """

    start: int
    latch_end: int
    samples: tuple[int, ...]
    byte: int
    expected: int
    undecided: int
    right: bool


@dataclass(frozen=True)
class Wave:
    """What one wave shows. ``rows`` are names of wires and what they are called, top to bottom.

    ``marks`` are moments (picoseconds) and what is wrong there. The first read has the number
    ``first``; time 0 is the moment ``offset`` (picoseconds) of the whole that this is a part of.
    It opens at the stretch ``opens`` (picoseconds), else at the read with the first mark.
    """

    timeline: Timeline
    reads: Sequence[ShownRead]
    marks: Sequence[tuple[int, str]] = ()
    rows: Sequence[tuple[str, str]] = ROWS
    first: int = 1
    offset: int = 0
    opens: tuple[int, int] | None = None


def wave_of(run: ScenarioRun) -> Wave:
    """The wave of a scenario, whatever ran it: only the rows that its wires have."""
    return Wave(
        run.timeline,
        [
            ShownRead(
                pair.read.start_ps,
                pair.read.latch_end_ps,
                pair.read.samples,
                pair.byte,
                pair.expected.byte,
                pair.read.undecided,
                pair.as_expected,
            )
            for pair in run.reads
        ],
        marks_of(run),
    )


def wave_object(wave: Wave) -> dict[str, Any]:
    """Keys: ``unit`` (ps), ``end``, ``first``, ``offset``, ``rows``, ``samples``, ``reads``,
    ``marks``, and ``opens`` or nothing.

    A row is name, levels (a digit each, as in `padbench.core.timeline`), time differences. A read
    is start, end of latch, number of samples, byte, expected byte, undecided mask, and 1 if it is
    as expected. A mark is a time and what is wrong there. All times but differences are in units.
    """
    line = wave.timeline
    rows = [(name, line.wires[key]) for key, name in wave.rows if key in line.wires]
    samples = [at for read in wave.reads for at in read.samples]
    times = [
        [line.end_ps, wave.offset],
        *(wire.times for _, wire in rows),
        samples,
        [at for read in wave.reads for at in (read.start, read.latch_end)],
        [at for at, _ in wave.marks],
    ]
    unit = int(np.gcd.reduce(np.concatenate([np.asarray(t, np.int64) for t in times]))) or 1
    return {
        "unit": unit,
        "end": line.end_ps // unit,
        "first": wave.first,
        "offset": wave.offset // unit,
        "rows": [[name, *_packed(wire, unit)] for name, wire in rows],
        "samples": _differences(samples, unit),
        "reads": [
            [
                read.start // unit,
                read.latch_end // unit,
                len(read.samples),
                read.byte,
                read.expected,
                read.undecided,
                int(read.right),
            ]
            for read in wave.reads
        ],
        "marks": [[at // unit, says] for at, says in wave.marks],
        "opens": None if wave.opens is None else [at // unit for at in wave.opens],
    }


def marks_of(run: ScenarioRun) -> list[tuple[int, str]]:
    """Where something went wrong (picoseconds) and what, in time order."""
    marks = [(problem.at, problem.says) for problem in run.problems if problem.at is not None]
    marks += [
        (min(found.met.at_ps, run.timeline.end_ps), found.says)
        for found in run.broken
        if found.met.at_ps is not None
    ]
    return sorted(marks)


def whole_run(run: ScenarioRun) -> list[str]:
    """What went wrong and has no one moment to be marked at."""
    said = [problem.says for problem in run.problems if problem.at is None]
    return said + [found.says for found in run.broken if found.met.at_ps is None]


def read_as(pair: ReadResult) -> str:
    """What a read came out as, for people: undecided bits are neither pressed nor released."""
    undecided = pair.read.undecided
    if not undecided:
        return spelled(pair.byte)
    if undecided == 0xFF:
        return "undecided"
    sure = pair.byte & ~undecided
    return f"{spelled(sure)}, " * bool(sure) + f"{spelled(undecided)} undecided"


def bits_of(pair: ReadResult) -> str:
    """The byte in binary, with a question mark for each bit at no level."""
    masks = (128 >> place for place in range(8))
    return "".join(
        "?" if pair.read.undecided & mask else "1" if pair.byte & mask else "0" for mask in masks
    )


def _packed(wire: Wire, unit: int) -> tuple[str, str]:
    return "".join(map(str, wire.levels.tolist())), _differences(wire.times.tolist(), unit)


def _differences(times: Iterable[int], unit: int) -> str:
    last, parts = 0, []
    for at in times:
        parts.append(_base36((at - last) // unit))
        last = at
    return " ".join(parts)


def _base36(number: int) -> str:
    text = ""
    while number >= 36:
        number, digit = divmod(number, 36)
        text = _DIGITS[digit] + text
    return _DIGITS[number] + text
