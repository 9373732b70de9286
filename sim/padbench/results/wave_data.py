"""A stretch of wires and reads as the small object that the page draws its wave from.

Times are counted in a unit that divides them all, and only differences are kept, in base 36: a run
of 256 reads takes some 100 kB.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from padbench.core.buttons import BUTTONS, spelled
from padbench.core.decode import Read
from padbench.core.levels import HIGH
from padbench.core.timeline import Timeline, Wire
from padbench.trials.scenario_run import ReadResult, ScenarioRun

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

    ``marks`` are moments (picoseconds) and what is wrong there, ``notes`` moments and, in a few
    words, what happens there. The first read has the number ``first``; time 0 is the moment
    ``offset`` (picoseconds) of the whole that this is a part of. It opens at the stretch ``opens``
    (picoseconds), else at the read with the first mark or note.
    """

    timeline: Timeline
    reads: Sequence[ShownRead]
    marks: Sequence[tuple[int, str]] = ()
    rows: Sequence[tuple[str, str]] = ROWS
    first: int = 1
    offset: int = 0
    opens: tuple[int, int] | None = None
    notes: Sequence[tuple[int, str]] = ()


def wave_of(run: ScenarioRun) -> Wave:
    """The wave of a scenario, whatever ran it: only the rows that its wires have.

    Where nothing is wrong and no read is stopped or cut short, it opens where a contact moves
    within a read, or closes and opens between two.
    """
    marks, notes = marks_of(run), [*_notes(run.reads)]
    opens = None
    if not marks and not notes:
        notes = [*_moves(run)]
        if notes and not any(_in_a_read(pair, notes[0][0]) for pair in run.reads):
            opens = _about(run, notes[0][0])
    return Wave(
        run.timeline,
        [
            ShownRead(
                pair.read.start_ps,
                pair.read.latch_end_ps,
                # Other pads' bits have a wave of their own.
                pair.read.samples[: len(BUTTONS) if pair.beside else None],
                pair.byte,
                pair.expected.byte,
                pair.read.undecided,
                pair.as_expected,
            )
            for pair in run.reads
        ],
        marks,
        opens=opens,
        notes=sorted(notes),
    )


def event_of(pair: ReadResult, held: int | None = None) -> tuple[int, str]:
    """Where a read first shows what is wrong with it, and that in a few words.

    It is the sample of its first wrong bit; else its start, with nothing said. With ``held`` a bit
    is wrong that is not as those contacts are, also where a stopped read makes that expected.
    """
    wanted = pair.expected.bits
    if held is not None:
        wanted = tuple(bool(held & 128 >> place) for place in range(len(BUTTONS)))
    for place, (at, bit) in enumerate(zip(pair.read.samples, pair.read.bits, strict=True)):
        want = wanted[place] if place < len(wanted) else None
        if want is None or bit == want:
            continue
        name = BUTTONS[place] if place < len(BUTTONS) else f"bit {place + 1}"
        if bit is None:
            every = pair.read.undecided == 0xFF
            return at, "every bit undecided" if every else f"{name} undecided"
        return at, f"wrong bit: {name} reads {'pressed' if bit else 'released'}"
    return pair.read.start_ps, ""


def _notes(reads: Sequence[ReadResult]) -> Iterator[tuple[int, str]]:
    """Extra clocks, latches that come too soon, and the first wrong bit of each read."""
    for number, pair in enumerate(reads):
        read = pair.read
        yield from extra_clocks(read, sorted(read.samples))
        if read.cut_short and number + 1 < len(reads):
            yield reads[number + 1].read.start_ps, "a new latch cuts the read short"
        at, says = event_of(pair)
        if says:
            yield at, says


def extra_clocks(read: Read, samples: Sequence[int]) -> Iterator[tuple[int, str]]:
    """Where clocks of a read come that no sample asks for, and how many."""
    before = read.latch_end_ps
    for at in samples:
        # The last clock before a sample is its own; those before it are one too many.
        extra = [fall for fall in read.clock_falls if before < fall <= at][:-1]
        if extra:
            yield extra[0], f"{len(extra)} extra clocks" if extra[1:] else "extra clock"
        before = at


def _in_a_read(pair: ReadResult, at: int) -> bool:
    return pair.read.start_ps <= at <= max(pair.read.latch_end_ps, *pair.read.samples, 0)


def _moves(run: ScenarioRun) -> Iterator[tuple[int, str]]:
    """Where a contact moves within a read, or more than once between two."""
    reads = [pair.read for pair in run.reads]
    starts = np.asarray([read.start_ps for read in reads], np.int64)
    ends = np.asarray([-1, *(max(read.latch_end_ps, *read.samples, 0) for read in reads)], np.int64)
    for name in BUTTONS:
        wire = run.timeline.wires.get(f"contacts.{name}")
        if wire is None:
            continue
        times, levels = wire.times[1:], wire.levels[1:]
        inside = times <= ends[np.searchsorted(starts, times, "right")]
        for at, level in zip(times[inside].tolist(), levels[inside].tolist(), strict=True):
            yield at, f"{name} {'closes' if level == HIGH else 'opens'} within the read"
        # Between which two reads each of them lies.
        _, first, count = np.unique(
            np.searchsorted(starts, times), return_index=True, return_counts=True
        )
        for place, edges in zip(first.tolist(), count.tolist(), strict=True):
            if edges > 1:
                says = f"{name} bounces" if edges > 2 else f"{name} closes and opens between reads"
                yield int(times[place]), says


def _about(run: ScenarioRun, at: int) -> tuple[int, int]:
    """From before a moment between two reads until the end of the read after it."""
    after = next((pair.read for pair in run.reads if pair.read.start_ps > at), None)
    until = run.timeline.end_ps if after is None else max(after.latch_end_ps, *after.samples, 0)
    room = (until - at) // 10
    return max(0, at - room), min(run.timeline.end_ps, until + room)


def wave_object(wave: Wave, unit: int = 0) -> dict[str, Any]:
    """Keys: ``unit`` (ps), ``end``, ``first``, ``offset``, ``rows``, ``samples``, ``reads``,
    ``marks``, ``notes``, and ``opens`` or nothing.

    A row is name, levels (a digit each, as in `padbench.core.timeline`), time differences. A read
    is start, end of latch, number of samples, byte, expected byte, undecided mask, and 1 if it is
    as expected. A mark is a time and what is wrong there. All times but differences are in units,
    the largest that divides them if none is given.
    """
    line = wave.timeline
    rows = [(name, line.wires[key]) for key, name in wave.rows if key in line.wires]
    samples = [at for read in wave.reads for at in read.samples]
    times = [
        [line.end_ps, wave.offset],
        *(wire.times for _, wire in rows),
        samples,
        [at for read in wave.reads for at in (read.start, read.latch_end)],
        [at for at, _ in (*wave.marks, *wave.notes)],
        wave.opens or [],
    ]
    unit = unit or int(np.gcd.reduce(np.concatenate([np.asarray(t, np.int64) for t in times]))) or 1
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
        "notes": [[at // unit, says] for at, says in wave.notes],
        "opens": None if wave.opens is None else [at // unit for at in wave.opens],
    }


def marks_of(run: ScenarioRun) -> list[tuple[int, str]]:
    """Where something went wrong (picoseconds) and what, in time order.

    What is wrong with a read is marked at its first wrong bit.
    """
    reads = dict(enumerate(run.reads, 1))
    marks = []
    for problem in run.problems:
        read = reads.get(problem.read or 0)
        at = problem.at if read is None or problem.at is None else event_of(read)[0]
        if at is not None:
            marks.append((at, problem.says))
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
