"""Consoles (clock, lines, frames, rates of the sample fetch), and polls by name.

console_timing("60hz").frame_rate           # Fraction, 60.0988 per second
named_poll("plain-loop").timings["clocks"]  # 8
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from types import MappingProxyType

from padbench.core.findings import Source
from padbench.parts.figure import Entry, read_table

__all__ = [
    "ConsoleTiming",
    "NamedPoll",
    "console_names",
    "console_timing",
    "named_poll",
    "poll_names",
]


@dataclass(frozen=True, slots=True)
class ConsoleTiming:
    """One console. ``clock`` is the CPU clock in Hz, all of it exact.

    A line is ``cycles_per_line`` CPU cycles, a frame ``lines`` lines, every second one shorter by
    ``shortened_by`` cycles. Lines 0 to ``picture_lines`` - 1 draw; vertical blanking begins with
    line ``blanking_from``, vertical sync with line ``sync_from``. ``fetch_periods`` are in CPU
    cycles, slowest first. ``extra_clocks``: a stopped read of the port clocks the pad too often.
    """

    name: str
    note: str
    clock: Fraction
    cycles_per_line: Fraction
    lines: int
    shortened_by: Fraction
    picture_lines: int
    blanking_from: int
    sync_from: int
    fetch_periods: tuple[int, ...]
    extra_clocks: bool
    cited: Source
    cycle_ps: Fraction = field(init=False)
    """Length of a CPU cycle in picoseconds."""

    def __post_init__(self) -> None:
        """Work out what `to_ps` needs very often."""
        object.__setattr__(self, "cycle_ps", Fraction(10**12) / self.clock)

    @property
    def frame_cycles(self) -> Fraction:
        """CPU cycles of a frame, the mean of a long and a short one."""
        return self.lines * self.cycles_per_line - self.shortened_by / 2

    @property
    def frame_rate(self) -> Fraction:
        """Frames per second."""
        return self.clock / self.frame_cycles

    def to_ps(self, cycles: Fraction | int) -> int:
        """Moment of a cycle in whole picoseconds, each rounded by itself so that none adds up."""
        if isinstance(cycles, int):
            # The same, twenty times as quick: half a picosecond and more is rounded up.
            whole, rest = divmod(cycles * self.cycle_ps.numerator, self.cycle_ps.denominator)
            return whole + (2 * rest >= self.cycle_ps.denominator)
        return round(cycles * self.cycle_ps)


class _ConsoleEntry(Entry):
    note: str
    subcarrier: str
    cycles_per_subcarrier: str
    cycles_per_line: str
    lines: int
    shortened_by: str
    picture_lines: int
    blanking_from: int
    sync_from: int
    fetch_rates: list[int]
    extra_clocks: bool


def console_timing(name: str) -> ConsoleTiming:
    """The console of that name; ``KeyError`` for one that is not in the table."""
    return _consoles()[name]


def console_names() -> tuple[str, ...]:
    """Every console in the table, in its order; the first one is meant where none is named."""
    return tuple(_consoles())


@cache
def _consoles() -> dict[str, ConsoleTiming]:
    return {name: _console(name, raw) for name, raw in read_table("consoles.toml").items()}


def _console(name: str, raw: dict[str, object]) -> ConsoleTiming:
    entry = _ConsoleEntry.model_validate(raw)
    subcarrier = Fraction(entry.subcarrier) * 10**6
    return ConsoleTiming(
        name=name,
        note=entry.note,
        clock=subcarrier * Fraction(entry.cycles_per_subcarrier),
        cycles_per_line=Fraction(entry.cycles_per_line),
        lines=entry.lines,
        shortened_by=Fraction(entry.shortened_by),
        picture_lines=entry.picture_lines,
        blanking_from=entry.blanking_from,
        sync_from=entry.sync_from,
        fetch_periods=tuple(8 * rate for rate in entry.fetch_rates),
        extra_clocks=entry.extra_clocks,
        cited=entry.cited,
    )


@dataclass(frozen=True, slots=True)
class NamedPoll:
    """A poll's timings, with the keys and the wording of the sheet's ``[poll]`` table."""

    name: str
    note: str
    timings: Mapping[str, str | int]
    cited: Source


class _PollEntry(Entry):
    note: str
    latch_width: str
    latch_to_clock: str
    clock_low: str
    clock_high: str
    sample: str
    period: str
    clocks: int
    passes: int


def named_poll(name: str) -> NamedPoll:
    """The poll of that name; ``KeyError`` for one that is not in the table."""
    return _polls()[name]


def poll_names() -> tuple[str, ...]:
    """Every poll in the table, in its order."""
    return tuple(_polls())


@cache
def _polls() -> dict[str, NamedPoll]:
    polls = {}
    for name, raw in read_table("polls.toml").items():
        entry = _PollEntry.model_validate(raw)
        timings = entry.model_dump(by_alias=True, exclude={"note", "source", "kind"})
        polls[name] = NamedPoll(name, entry.note, MappingProxyType(timings), entry.cited)
    return polls
