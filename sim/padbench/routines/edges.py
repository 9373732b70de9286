"""Edges of latch and clock of one port, out of what a routine does on the bus.

    lines = LineEdges(timing, port=0)
    lines.add(run.accesses, start=0)
    lines.driven

The latch follows the end of the write cycle; the clock is low during a read of the port and rises
with its end, where the program also takes the data line as it stood before that edge (from
memory). Repeated reads that join hold the clock low until the sample is fetched; where each counts,
it is low in the second half of each.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction

from padbench.core.stimulus import DrivenLines
from padbench.parts import ConsoleTiming
from padbench.routines.run import Access

__all__ = ["LineEdges"]

_HALF = Fraction(1, 2)


@dataclass
class LineEdges:
    """The lines of ``port`` (0 or 1), run after run; times in picoseconds."""

    timing: ConsoleTiming
    port: int
    latch: list[int] = field(default_factory=list)
    clock: list[int] = field(default_factory=list)
    samples: list[int] = field(default_factory=list)
    _start: int = 0
    _lead: int = 0

    @property
    def driven(self) -> DrivenLines:
        """What has been added so far."""
        return DrivenLines(tuple(self.latch), tuple(self.clock), tuple(self.samples))

    def add(self, accesses: Iterable[Access], start: int, lead: int = 0) -> None:
        """A run whose cycle 0 comes ``lead`` cycles after ``start``; the lines stay as it ends."""
        self._start, self._lead = start, lead
        for access in accesses:
            if access.kind == "latch":
                if access.value != len(self.latch) % 2:
                    self.latch.append(self._ps(access.cycle + 1))
            elif access.port == self.port:
                first = access.cycle - access.stolen
                if access.extra == 1:
                    self._low(first, access.cycle - 1)
                else:
                    for at in range(first, first + access.extra):
                        self._low(at + _HALF, at + 1)
                self._low(access.cycle, access.cycle + 1)
                self.samples.append(self.clock[-1])

    def _ps(self, cycle: Fraction | int) -> int:
        return self._start + self.timing.to_ps(cycle + self._lead)

    def _low(self, begin: Fraction | int, end: int) -> None:
        """A low pulse; right behind another one it needs a moment of high before it."""
        fall = self._ps(begin)
        if self.clock and self.clock[-1] >= fall:
            fall = self._ps(begin + _HALF)
        self.clock += (fall, self._ps(end))
