"""Consoles (clock, lines, frames, rates of the sample fetch), and polls by name.

console_timing("60hz").frame_rate           # Fraction, 60.0988 per second
named_poll("plain-loop").timings["clocks"]  # 8
"""

from collections.abc import Mapping
from fractions import Fraction
from functools import cache, cached_property

from padbench.parts.figure import Entry, read_table


class ConsoleTiming(Entry):
    """One console, all of it exact.

    The CPU clock is ``cycles_per_subcarrier`` of ``subcarrier`` (MHz). A line is
    ``cycles_per_line`` CPU cycles, a frame ``lines`` lines, every second one shorter by
    ``shortened_by`` cycles. Lines 0 to ``picture_lines`` - 1 draw; vertical blanking begins with
    line ``blanking_from``, vertical sync with line ``sync_from``. The sample fetch comes every
    eight times one of ``fetch_rates`` CPU cycles, slowest first. ``extra_clocks``: a stopped read
    of the port clocks the pad too often.
    """

    name: str
    note: str
    subcarrier: Fraction
    cycles_per_subcarrier: Fraction
    cycles_per_line: Fraction
    lines: int
    shortened_by: Fraction
    picture_lines: int
    blanking_from: int
    sync_from: int
    fetch_rates: tuple[int, ...]
    extra_clocks: bool

    @cached_property
    def clock(self) -> Fraction:
        """Of the CPU, in Hz."""
        return self.subcarrier * 10**6 * self.cycles_per_subcarrier

    @cached_property
    def cycle_ps(self) -> Fraction:
        """Length of a CPU cycle in picoseconds."""
        return Fraction(10**12) / self.clock

    @cached_property
    def _cycle(self) -> tuple[int, int]:
        return self.cycle_ps.as_integer_ratio()

    @cached_property
    def fetch_periods(self) -> tuple[int, ...]:
        """From one request of the sample fetch to the next, in CPU cycles, slowest first."""
        return tuple(8 * rate for rate in self.fetch_rates)

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
            top, bottom = self._cycle
            whole, rest = divmod(cycles * top, bottom)
            return whole + (2 * rest >= bottom)
        return round(cycles * self.cycle_ps)


def console_timing(name: str) -> ConsoleTiming:
    """The console of that name; ``KeyError`` for one that is not in the table."""
    return _consoles()[name]


def console_names() -> tuple[str, ...]:
    """Every console in the table, in its order; the first one is meant where none is named."""
    return tuple(_consoles())


@cache
def _consoles() -> dict[str, ConsoleTiming]:
    table = read_table("consoles.toml")
    return {name: ConsoleTiming.model_validate({"name": name, **table[name]}) for name in table}


class NamedPoll(Entry):
    """A poll's timings, with the wording of the sheet's ``[poll]`` table."""

    name: str
    note: str
    latch_width: str
    latch_to_clock: str
    clock_low: str
    clock_high: str
    sample: str
    period: str
    clocks: int
    passes: int

    @cached_property
    def timings(self) -> Mapping[str, str | int]:
        """By the keys of that table."""
        return self.model_dump(by_alias=True, exclude={"name", "note", "source", "kind"})


def named_poll(name: str) -> NamedPoll:
    """The poll of that name; ``KeyError`` for one that is not in the table."""
    return _polls()[name]


def poll_names() -> tuple[str, ...]:
    """Every poll in the table, in its order."""
    return tuple(_polls())


@cache
def _polls() -> dict[str, NamedPoll]:
    table = read_table("polls.toml")
    return {name: NamedPoll.model_validate({"name": name, **table[name]}) for name in table}
