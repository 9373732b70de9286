"""A run as the small object that the page draws its wave from.

Times are counted in a unit that divides them all, and only differences are kept, in base 36: a run
of 256 reads takes some 100 kB.
"""

import re
from collections.abc import Iterable
from typing import Any

import numpy as np

from padbench.buttons import BUTTONS
from padbench.timeline import Wire
from padbench.verify.result import ScenarioResult

__all__ = ["ROWS", "marks_of", "wave_object"]

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
_MOMENT = re.compile(r"at ([0-9.]+) µs$")
"""How the rules of ``rules/timing`` end ``where`` if the worst was met at one moment."""


def wave_object(run: ScenarioResult) -> dict[str, Any]:
    """Keys: ``unit`` (ps), ``end``, ``rows``, ``samples``, ``reads``, ``marks``.

    A row is name, levels (a digit each, as in `padbench.timeline`), time differences. A read is
    start, end of latch, number of samples, byte, expected byte, undecided mask, and 1 if it is as
    expected. A mark is a time and what is wrong there. All times but differences are in units.
    """
    line = run.timeline
    rows = [(name, line.wires[key]) for key, name in ROWS if key in line.wires]
    samples = [at for pair in run.reads for at in pair.read.samples]
    starts = [(pair.read.start_ps, pair.read.latch_end_ps) for pair in run.reads]
    marks = marks_of(run)
    times = [
        [line.end_ps],
        *(wire.times for _, wire in rows),
        samples,
        [at for both in starts for at in both],
        [at for at, _ in marks],
    ]
    unit = int(np.gcd.reduce(np.concatenate([np.asarray(t, np.int64) for t in times]))) or 1
    return {
        "unit": unit,
        "end": line.end_ps // unit,
        "rows": [[name, *_packed(wire, unit)] for name, wire in rows],
        "samples": _differences(samples, unit),
        "reads": [
            [
                start // unit,
                end // unit,
                len(pair.read.samples),
                pair.byte,
                pair.expected.byte,
                pair.read.undecided,
                int(pair.as_expected),
            ]
            for pair, (start, end) in zip(run.reads, starts, strict=True)
        ],
        "marks": [[at // unit, says] for at, says in marks],
    }


def marks_of(run: ScenarioResult) -> list[tuple[int, str]]:
    """Where something went wrong (picoseconds) and what, in time order."""
    marks = [(problem.at, problem.says) for problem in run.problems if problem.at is not None]
    for found in run.broken:
        moment = _MOMENT.search(found.where)
        if moment is not None:
            marks.append((min(round(float(moment[1]) * 1e6), run.timeline.end_ps), found.says))
    return sorted(marks)


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
