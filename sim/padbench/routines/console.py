"""A console as a read routine meets it: its timing, its sample fetch, and the pads on its ports.

    console = Console(console_timing("60hz"), clocks="joined")
    fetch = SampleFetch(period=432, phase=17)
    pad = PadPort(held=0x80)

The sample fetch: the sound unit stops the CPU to get a byte. All rules from memory: the request
rises every so many cycles; the CPU stops at the first read cycle at or after it (it never stops in
a write cycle: MCS6500 Hardware Manual, appendix A); four cycles are stolen, three if the stop was
put off by an odd number of cycles. The CPU's own address stays on the bus for all of them but the
last, in which the sample is fetched; then the stopped read is done for real.

A pad is the plain register of eight stages with its serial input tied to ground, which reads as
pressed (common practice): one clock for each read, one latch for both ports. The MyHDL model is the
other, finer one; the wave of a case comes from that, and a test holds the two to each other.
"""

from dataclasses import dataclass, field
from typing import Literal, Protocol

from padbench.parts import ConsoleTiming

SHORTEST_PERIOD = 8
"""CPU cycles; with less, one fetch could run into the next."""

Clocks = Literal["joined", "each"]
"""What the repeated reads of a stopped port read do: join into one extra clock, or one each."""


@dataclass(frozen=True, slots=True)
class Console:
    """A console as read routines meet it: its timing, and what repeated reads of the port do.

    ``after_copy``: the routine is called so many CPU cycles after its caller's sprite copy.
    """

    timing: ConsoleTiming
    clocks: Clocks = "joined"
    after_copy: int | None = None

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


SPRITE_COPY = 0x4014
"""A write there copies 256 bytes to sprite memory and stops the CPU meanwhile (from memory)."""

COPY_CYCLES = 513
"""CPU cycles of a sprite copy: the one in which the CPU stops, and two for each byte."""


def copy_ends(now: int, requested: int, period: int) -> tuple[int, int]:
    """When the CPU goes on that a sprite copy stops at ``now``, and the next fetch request.

    From memory: copy and fetch get bytes in cycles of one parity, requests come in those of the
    other. The copy waits for its first such cycle, so it takes 513 or 514. A fetch gets its byte
    three cycles after its request; inside the copy that puts the rest off by two, and the parity of
    what comes after stays known. If the copy is over by then, the CPU goes on a cycle after that
    byte, on the other parity.
    """
    end = now + COPY_CYCLES + (now - requested) % 2
    while requested < end:
        end = end + 2 if requested + 3 < end else requested + 4
        requested += period
    return end, requested


def can_occur(phase: int, period: int, after_copy: int | None) -> bool:
    """Whether a phase is left possible so many cycles after a sprite copy; None is no copy.

    A copy ends an odd number of cycles from any request (see `copy_ends`), and so do all phases
    until a fetch comes between it and the routine: that, or one at the end of the copy, can turn
    parity round, and the next one is a period later. What is between is not known, so all those
    phases are left; so are all with an odd period, whose requests have no parity.
    """
    if after_copy is None or period % 2:
        return True
    return (phase + after_copy) % 2 == 1 or phase >= period - after_copy - _MOST_STOLEN


_MOST_STOLEN = 4
"""CPU cycles that a fetch takes at most (from memory)."""


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

    def copied(self, now: int) -> int:
        """Where the CPU goes on that a sprite copy stops at ``now``."""
        end, self.requested = copy_ends(now, self.requested, self.period)
        return end


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
