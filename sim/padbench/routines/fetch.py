"""The sample fetch: the sound unit stops the CPU to get a byte. Independent of any routine.

All rules from memory: the request rises every so many cycles; the CPU stops at the first read
cycle at or after it (it never stops in a write cycle: MCS6500 Hardware Manual, appendix A); four
cycles are stolen, three if the stop was put off by an odd number of cycles. The CPU's own address
stays on the bus for all of them but the last, in which the sample is fetched; then the stopped
read is done for real.
"""

from dataclasses import dataclass
from typing import Literal

from padbench.parts import ConsoleTiming

__all__ = ["SHORTEST_PERIOD", "Clocks", "Console", "SampleFetch", "Stop", "stolen_cycles"]

SHORTEST_PERIOD = 8
"""CPU cycles; with less, one fetch could run into the next."""

Clocks = Literal["joined", "each"]
"""What the repeated reads of a stopped port read do: join into one extra clock, or one each."""


@dataclass(frozen=True, slots=True)
class Console:
    """A console as read routines meet it: its timing, and what repeated reads of the port do."""

    timing: ConsoleTiming
    clocks: Clocks = "joined"

    def extra_clocks(self, stolen: int) -> int:
        """Clocks too many when a port read is stopped for ``stolen`` cycles."""
        if not self.timing.extra_clocks:
            return 0
        return 1 if self.clocks == "joined" else stolen - 1


@dataclass(frozen=True, slots=True)
class Stop:
    """One fetch: requested, and the CPU stopped ``stolen`` cycles at a read, in cycles."""

    requested: int
    at: int
    stolen: int
    address: int


def stolen_cycles(put_off: int) -> int:
    """How long the CPU stands still when the stop was put off by so many cycles."""
    return 3 if put_off % 2 else 4


class SampleFetch:
    """Requests at ``phase``, ``phase + period``, ...; ask it in every read cycle.

    One object for one run. ``ValueError`` for a period below `SHORTEST_PERIOD` or a phase outside
    0 .. period - 1.
    """

    def __init__(self, period: int, phase: int) -> None:
        if period < SHORTEST_PERIOD:
            raise ValueError(f"a period of {period} cycles; it takes at least {SHORTEST_PERIOD}")
        if not 0 <= phase < period:
            raise ValueError(f"phase {phase} is outside 0..{period - 1}")
        self.period = period
        self.requested = phase
        self.stops: list[Stop] = []

    def stop(self, now: int, address: int) -> int:
        """Cycles stolen by a stop in the read cycle that would be at ``now``; 0 for none."""
        if now < self.requested:
            return 0
        stolen = stolen_cycles(now - self.requested)
        self.stops.append(Stop(self.requested, now, stolen, address))
        self.requested += self.period
        return stolen
