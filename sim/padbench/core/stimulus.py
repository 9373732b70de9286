"""What is done to a pad in one run: contacts that move, and reads that the console makes.

    poll = PollTiming(12_000_000, 6_000_000, 560_000, 7_000_000, sample=560_000)
    Stimulus(contacts=((0, 0x80),), reads=(ScriptedRead(1_000_000_000, poll),), end=2_000_000_000)

Plain data, so that a scenario, a user's file or a read routine can all produce it and any
engine can play it.
"""

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Duration = TypeVar("Duration", int, "NDArray[np.float64]")

POLL_TIMES = ("latch_width", "latch_to_clock", "clock_low", "clock_high", "sample")
"""Times of a `PollTiming` that the poll of a sheet has too."""

CUT_AFTER = 3
"""Clocks of a read that a new latch cuts off."""


def cut_away(clock_high: Duration) -> Duration:
    """How much of its last clock's high part such a read lacks, in whole picoseconds."""
    return clock_high // 2


def until_cut(latch_to_clock: Duration, clock_low: Duration, clock_high: Duration) -> Duration:
    """From the latch's fall of such a read to the latch that cuts it off: the soonest of any."""
    return latch_to_clock + CUT_AFTER * (clock_low + clock_high) - cut_away(clock_high)


@dataclass(frozen=True, slots=True)
class PollTiming:
    """The timed actions of one read, in picoseconds.

    The latch goes high for ``latch_width``; ``latch_to_clock`` after its fall the clock first
    falls; each clock is low for ``clock_low``, then high for ``clock_high``. The data line is
    sampled ``sample`` after each fall of the clock; a sample at the very moment of the rising edge
    takes the level that stood before it. Extra clocks (see `ScriptedRead`) are never sampled; each
    is low for ``extra_low`` and then high for ``extra_high``, 0 for as long as ``clock_low``.
    """

    latch_width: int
    latch_to_clock: int
    clock_low: int
    clock_high: int
    sample: int
    clocks: int = 8
    extra_low: int = 0
    extra_high: int = 0

    @property
    def extra_pulse(self) -> tuple[int, int]:
        """How long an extra clock is low, and high before the next fall."""
        return self.extra_low or self.clock_low, self.extra_high or self.clock_low

    @property
    def length(self) -> int:
        """From the rise of the latch to the end of the last clock, in picoseconds."""
        return (
            self.latch_width
            + self.latch_to_clock
            + self.clocks * (self.clock_low + self.clock_high)
        )

    def with_clocks(self, clocks: int) -> "PollTiming":
        """The same timing with another number of clocks."""
        return replace(self, clocks=clocks)


@dataclass(frozen=True, slots=True)
class ScriptedRead:
    """One latch and its clocks, starting at ``start`` (picoseconds).

    ``extra_clocks`` more pulses come just before the sample of bit ``stopped_bit`` (1 is the
    first bit): what the pad gets when the CPU is stopped in that read of the port. ``serial``
    overrides the level of the serial input from this read on: 0, 1, or None for left open.
    """

    start: int
    timing: PollTiming
    stopped_bit: int = 0
    extra_clocks: int = 0
    serial: int | str | None = "as built"

    @property
    def length(self) -> int:
        """From the rise of the latch to the end of the last clock, extra clocks included."""
        return self.timing.length + self.extra_clocks * sum(self.timing.extra_pulse)


@dataclass(frozen=True, slots=True)
class DrivenLines:
    """Latch and clock edge by edge, as a read routine drives them, in picoseconds.

    ``latch`` changes at each of its times, low at first; ``clock`` too, high at first; the data
    line is sampled at ``samples`` (at the very moment of an edge: the level from before it).
    ``serial`` has (time, level) of the serial input where it is not as built; None is left open.
    """

    latch: tuple[int, ...]
    clock: tuple[int, ...]
    samples: tuple[int, ...]
    serial: tuple[tuple[int, int | None], ...] = ()


@dataclass(frozen=True)
class Stimulus:
    """Everything that happens from outside in one run.

    ``contacts`` holds (time, byte) pairs: from that time on exactly those contacts are closed.
    ``notes`` are comments for the wave, (time, text). Both in time order, as are ``reads``.
    ``driven`` gives the edges themselves, in place of ``reads``.
    """

    contacts: tuple[tuple[int, int], ...]
    reads: tuple[ScriptedRead, ...]
    end: int
    notes: tuple[tuple[int, str], ...] = field(default=())
    driven: DrivenLines | None = None
