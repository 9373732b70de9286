"""Timeline → Value Change Dump (IEEE Std 1364-2005, clause 18), for any wave viewer.

    write_wave(timeline, Path("waves/out/idle.vcd"), comment="scenario idle")

Times are picoseconds. The same timeline gives the same bytes, so a golden file can be compared.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import repeat
from math import nan
from operator import itemgetter
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from vcd import VCDWriter
from vcd.writer import RealVariable, Variable

from padbench import __version__
from padbench.core.timeline import Timeline
from padbench.files import whole_file

LOOSE = "unscoped"
"""Scope of the names without a dot: the library has no place outside a scope."""

NOTE = "console.note"
"""Variable that holds the notes, eight bits a character."""

_ORDER = ("contacts", "pad", "cable", "console")
_LEVELS = "01xz"
_SIMPLE = re.compile(r"[A-Za-z_][A-Za-z0-9_$]*")
_PRINTABLE = re.compile(r"[!-~]+")

Value = int | str | float


@dataclass(frozen=True, slots=True)
class _Row:
    """One variable; only one with a ``start`` has a value from time 0 on."""

    name: str
    kind: Literal["wire", "reg", "event", "real"]
    size: int
    start: Value | None
    times: Sequence[int]
    values: Iterable[Value]


class _Scope(str):
    """A scope that sorts by the way of a press through the pad, not by the alphabet.

    The library sorts scopes when it writes them; this is the one hold it offers on the order.
    """

    __slots__ = ()

    def __lt__(self, other: str) -> bool:
        return self._rank() < _Scope(other)._rank()

    def _rank(self) -> tuple[int, str]:
        return _ORDER.index(self) if self in _ORDER else len(_ORDER), str(self)


Volts = Mapping[str, tuple[NDArray[np.int64], NDArray[np.float64]]]
"""Times in picoseconds and voltages, by name."""


def write_wave(
    timeline: Timeline, path: Path | str, comment: str = "", volts: Volts | None = None
) -> None:
    """Write a timeline, whole or not at all; `read_wave` gives it back.

        padbench.write_wave(run.timeline, "idle.vcd", "scenario idle")

    Wires are 1-bit ``wire``, words ``reg`` with their full range, events ``event``. Notes are a
    ``reg`` named ``note`` in scope ``console`` that holds UTF-8 bytes, the last character in the
    lowest byte, as a Verilog string does; viewers show it as ASCII. ``volts`` are written beside
    as real variables; a point that repeats the voltage before it is written too: joined by lines,
    it is where a flat piece ends.

    A few timelines come back in a plainer form: a wire or word without an entry at time 0 gets
    one that says *unknown*, an event that happens twice at one time happens once, notes stand
    in time order, and zero characters at the start of a note are gone.

    Raises ``ValueError`` for a time before 0 or after the end, for two things of one name, and
    for a name that VCD cannot hold or that has a meaning of its own here (``console.note``);
    ``OSError`` if the file cannot be written.
    """
    rows = [*_wires(timeline), *_words(timeline), *_events(timeline)]
    if any(row.name == NOTE for row in rows):
        raise ValueError(f"{NOTE!r} is where the notes stand; use another name")
    rows += _notes(timeline)
    for name, (times, volts_) in (volts or {}).items():
        values = volts_.tolist()
        rows.append(_Row(name, "real", 64, values[0], times.tolist()[1:], values[1:]))
    _check(rows, timeline.end_ps)
    placed = [(*_place(row.name), row) for row in rows]
    placed.sort(key=itemgetter(0))  # codes in the order of the file, whatever that of the timeline
    with whole_file(Path(path)) as out:
        writer = VCDWriter(
            out,
            timescale="1 ps",
            date="",  # the standard allows none, and a date would change the bytes
            comment=_harmless(comment),
            version=f"padbench {__version__}",
        )
        changes: list[tuple[int, Variable[Any], Value]] = []
        for scopes, name, row in placed:
            variable = writer.register_var(
                scopes,
                name,
                row.kind,
                row.size,
                init=row.start,
                # The range tells a word of one bit from a wire.
                bit_index=(row.size - 1, 0) if row.kind == "reg" else None,
            )
            changes += zip(row.times, repeat(variable), row.values, strict=False)
        changes.sort(key=itemgetter(0))
        writer.flush()  # the header now, or an event at time 0 would be lost in it
        change = writer.change
        for when, variable, value in changes:
            if isinstance(variable, RealVariable):
                variable.value = nan  # the writer leaves out what equals the value before
            change(variable, when, value)
        writer.close()
        out.write(f"#{timeline.end_ps}\n")


def _wires(timeline: Timeline) -> Iterator[_Row]:
    for name, wire in timeline.wires.items():
        times = wire.times.tolist()
        values = [_LEVELS[level] for level in wire.levels.tolist()]
        yield _with_start(name, "wire", 1, times, values)


def _words(timeline: Timeline) -> Iterator[_Row]:
    for name, word in timeline.words.items():
        if word.width < 1:
            raise ValueError(f"word {name!r} has {word.width} bits; it needs at least one")
        values = ["x" if value is None else value for value in word.values]
        yield _with_start(name, "reg", word.width, word.times, values)


def _with_start(
    name: str,
    kind: Literal["wire", "reg"],
    size: int,
    times: Sequence[int],
    values: Sequence[Value],
) -> _Row:
    if len(times) and times[0] == 0:
        return _Row(name, kind, size, values[0], times[1:], values[1:])
    return _Row(name, kind, size, "x", times, values)


def _events(timeline: Timeline) -> Iterator[_Row]:
    for name, moments in timeline.events.items():
        yield _Row(name, "event", 1, None, np.unique(moments).tolist(), repeat(1))


def _notes(timeline: Timeline) -> Iterator[_Row]:
    if not timeline.notes:
        return
    texts = [(when, text.encode()) for when, text in sorted(timeline.notes, key=itemgetter(0))]
    times: list[int] = []
    values: list[Value] = []
    for when, text in texts:
        value = int.from_bytes(text)
        if values and values[-1] == value:
            # A value that does not change is not written; a moment of x tells the two apart.
            times.append(when)
            values.append("x")
        times.append(when)
        values.append(value)
    size = 8 * max(1, *(len(text) for _, text in texts))
    yield _Row(NOTE, "reg", size, "x", times, values)


def _check(rows: Iterable[_Row], end: int) -> None:
    """Refuse times outside 0..end and names used twice, before anything is written."""
    seen: set[str] = set()
    for row in rows:
        if row.name in seen:
            raise ValueError(f"two things are named {row.name!r}; give each a name of its own")
        seen.add(row.name)
        if len(row.times) and row.times[0] < 0:
            raise ValueError(
                f"{row.name} changes at {row.times[0]} ps; shift the timeline so that it starts "
                "at 0 or later"
            )
        if len(row.times) and row.times[-1] > end:
            raise ValueError(
                f"{row.name} changes at {row.times[-1]} ps, after the end at {end} ps; "
                "let the timeline end later"
            )
    if end < 0:
        raise ValueError(f"the timeline ends at {end} ps; it has to end at 0 or later")


def _place(name: str) -> tuple[list[_Scope], str]:
    """Nested scopes and the name in them, as Verilog identifiers, escaped where they have to be."""
    parts = name.split(".")
    if len(parts) == 1:
        parts.insert(0, LOOSE)
    elif parts[:-1] == [LOOSE]:
        raise ValueError(f"{name!r} would come back as {parts[1]!r}; use another scope")
    *scopes, own = (_identifier(part, name) for part in parts)
    return [_Scope(scope) for scope in scopes], own


def _identifier(part: str, name: str) -> str:
    if _SIMPLE.fullmatch(part):
        return part
    if _PRINTABLE.fullmatch(part):
        return f"\\{part} "  # white space ends an escaped identifier, so it belongs to it
    raise ValueError(
        f"name {name!r} cannot stand in a VCD file; "
        "between its dots use printable ASCII characters without spaces"
    )


def _harmless(comment: str) -> str:
    """A comment that cannot end early and holds no keyword, in printable ASCII and line ends."""
    plain = comment.encode("ascii", "backslashreplace").decode("ascii")
    plain = re.sub(r"[^\n -~]", " ", plain)
    return re.sub(r"\$(?=[A-Za-z])", "$ ", plain).strip()
