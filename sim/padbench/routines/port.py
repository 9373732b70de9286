"""Two pads on the console's ports, as the bus sees them: one clock for each read, one latch for both.

The pad is the plain register of eight stages with its serial input tied to ground, which reads as
pressed (common practice). The MyHDL model is the other, finer one; the wave of a case comes from
that, and a test holds the two to each other.
"""  # noqa: E501

from dataclasses import dataclass, field
from typing import Protocol

__all__ = ["PadPort", "Pass", "Plugged"]

_PAST_THE_END = 1
"""What a shift brings in: the grounded serial input, inverted by the console."""


@dataclass(frozen=True, slots=True)
class Pass:
    """The first eight reads of a port after a latch: the byte they made, and when they came.

    ``reads`` are the cycles of the eight reads, stolen cycles counted.
    """

    byte: int
    reads: tuple[int, ...]


class Plugged(Protocol):
    """Whatever is plugged into a port; ``now`` is a cycle of the run, stolen ones included."""

    passes: list[Pass]

    def strobe(self, level: int, now: int) -> None:
        """A write of the latch bit."""

    def stopped(self, extra: int, stolen: int, now: int) -> None:
        """``extra`` clocks in the ``stolen`` cycles that end where cycle ``now`` begins."""

    def read(self, now: int) -> int:
        """One read: 1 is pressed."""


@dataclass(slots=True)
class PadPort:
    """One pad. ``held`` is the state of its buttons, A in bit 7; it does not change in a run.

    Before the first latch the register holds what a whole read leaves in it: the serial input's
    level in all stages.
    """

    held: int
    latched: bool = False
    content: int = 0xFF
    passes: list[Pass] = field(default_factory=list)
    _bits: list[int] = field(default_factory=list)
    _reads: list[int] = field(default_factory=list)
    _whole: bool = True

    def strobe(self, level: int, now: int = 0) -> None:
        """A write of the latch bit; while it is 1 the register loads (transparent)."""
        if self.latched and not level:
            self._bits, self._reads, self._whole = [], [], False
        self.latched = bool(level)
        if level:
            self.content = self.held

    def clock(self, times: int) -> None:
        """Rising edges of the clock; without effect while the register loads."""
        if not self.latched:
            for _ in range(times):
                self.content = (self.content << 1 | _PAST_THE_END) & 0xFF

    def stopped(self, extra: int, stolen: int, now: int) -> None:
        """The clocks of repeated reads."""
        self.clock(extra)

    def read(self, now: int) -> int:
        """One read of the port in cycle ``now``: 1 is pressed. Its clock shifts afterwards."""
        bit = self.content >> 7
        self.clock(1)
        if not (self.latched or self._whole):
            self._bits.append(bit)
            self._reads.append(now)
            if len(self._bits) == 8:
                byte = int("".join(map(str, self._bits)), 2)
                self.passes.append(Pass(byte, tuple(self._reads)))
                self._whole = True
        return bit
