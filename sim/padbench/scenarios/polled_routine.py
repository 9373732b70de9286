"""A poll made by a routine: what it does, and what it hands on, depends on what it reads.

The routine is a 6502 read routine, `padbench.routines.poll.RoutinePoll`. Whatever answers its reads
decides what it does next, so the pad that answers here is the one of the facts, worked out without
the simulation (see `expect`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from padbench.core.pad import PadModel
from padbench.scenarios.expect import closed_contacts, held_state, wire_bits
from padbench.scenarios.script import Expected

Bit = bool | None
"""One sampled bit, True is pressed; None is at no level."""


@dataclass(frozen=True, slots=True)
class Unsettled:
    """From ``start`` to ``end`` (picoseconds) these buttons may read either way."""

    start: int
    end: int
    buttons: int


@dataclass(frozen=True, slots=True)
class FetchCase:
    """One case of a sweep, to be played again: a held state, a fetch, and what it shows.

    ``fetch``: CPU cycles from one request to the next, and the cycle of the first.
    """

    says: str
    held: int
    fetch: tuple[int, int]


@dataclass
class _Load:
    """One latch and what came after it."""

    rise: int
    serial: int | None
    wire: list[bool | None] = field(default_factory=list)
    held: int = 0
    passed_on: int = 0
    place: int = 0
    lost: bool = False
    bits: list[bool | None] = field(default_factory=list)
    clocks: int = 0

    def ahead(self) -> bool | None:
        """The bit that stands on the data line; None: either."""
        if self.lost:
            return None
        if self.place < len(self.wire):
            return self.wire[self.place]
        return None if self.serial is None else self.serial == 0


@dataclass
class AnsweringPad:
    """The pad that a routine finds: what must stand on the wire, and what the routine is told.

    `begin` opens each call, with the bits that the wire had in that call of an earlier run, in the
    order of the reads. Told is what was read, and the wrong level where there was none; with
    ``ideal`` what must be read, and only open bits come from that run. Reads beyond them find what
    must be read, unless the one before did not: a wire that has gone wrong is guessed to stay so.
    ``told`` has the bits of each call; ``strayed``: one was not what it must be.
    """

    pad: PadModel
    moves: Sequence[tuple[int, int]]
    unsettled: Sequence[Unsettled]
    ideal: bool = False
    told: list[list[bool]] = field(default_factory=list)
    strayed: bool = False
    _loads: list[_Load] = field(default_factory=list)
    _loading: bool = False
    _serial: int | None = 0
    _read: Sequence[Bit] = ()
    _astray: bool = False

    @property
    def expected(self) -> tuple[Expected, ...]:
        """Each read as it must come out."""
        return tuple(
            Expected(tuple(load.bits), load.clocks, load.held, load.passed_on)
            for load in self._loads
        )

    @property
    def passes(self) -> int:
        """Latches so far."""
        return len(self._loads)

    def held(self, at: int) -> int:
        """What the pad hands on at a time (picoseconds)."""
        return held_state(self.moves, at, self.pad.policy)

    def begin(self, serial: int | None, read: Sequence[Bit]) -> None:
        """A call, with its level of the serial input; see above."""
        self._serial, self._read, self._astray = serial, read, False
        self.told.append([])

    def strobe(self, level: int, at: int) -> None:
        """The latch line goes to a level, at the console's end."""
        if level and not self._loading:
            self._loads.append(_Load(at, self._serial))
        elif self._loading and not level:
            load = self._loads[-1]
            when = at + (self.pad.latch_line.fall or 0)
            load.held = closed_contacts(self.moves, when)
            load.passed_on = held_state(self.moves, when, self.pad.policy)
            open_ = self._open(when)
            load.wire = [
                None if place < 8 and open_ & 128 >> place else bit
                for place, bit in enumerate(wire_bits(load.passed_on, self.pad.stages))
            ]
        self._loading = bool(level)

    def stopped(self, extra: int, low: int, pause: int, wait: int) -> None:
        """Clocks too many before a read; see `extra_clocks_arriving`."""
        if not self._loads:
            return
        load = self._loads[-1]
        load.clocks += extra
        if not self._loading:
            arriving = extra_clocks_arriving(self.pad, extra, low, pause, wait)
            load.place += arriving or 0
            load.lost |= arriving is None

    def read(self, at: int) -> int:
        """One read, sampled at ``at``; its clock follows."""
        must, given = self._bit(at)
        if self._loads:
            load = self._loads[-1]
            load.bits.append(must)
            load.clocks += 1
            load.place += not self._loading
        told = self._tell(must, given if must is None else must)
        self.strayed |= must is not None and told != must
        self.told[-1].append(told)
        return told

    def _bit(self, at: int) -> tuple[bool | None, bool]:
        """What must be read, and what the pad hands on where that is open."""
        if self._loading:
            must = self._transparent(at)
            return must, bool(held_state(self.moves, at, self.pad.policy) & 0x80)
        if not self._loads:
            return None, True  # nobody knows what the register holds before its first load
        load = self._loads[-1]
        must = load.ahead()
        in_byte = load.place < 8 and load.passed_on & 128 >> load.place
        return must, bool(in_byte) if load.place < 8 else True

    def _transparent(self, at: int) -> bool | None:
        """The first button, which stands on the data line while the register loads."""
        lately = at - self.pad.limits.answer.ps
        now, before = (
            held_state(self.moves, when, self.pad.policy) & 0x80 for when in (at, lately)
        )
        rise = self._loads[-1].rise + (self.pad.latch_line.rise or 0)
        if now != before or lately < rise or self._open(at) & 0x80:
            return None
        return bool(now)

    def _open(self, at: int) -> int:
        buttons = 0
        for one in self.unsettled:
            if one.start <= at <= one.end:
                buttons |= one.buttons
        return buttons

    def _tell(self, must: bool | None, given: bool) -> bool:
        place = len(self.told[-1])
        if self.ideal and must is not None:
            return given
        if place >= len(self._read):
            return given != self._astray
        got = self._read[place]
        told = not given if got is None else got
        self._astray = told != given
        return told


def extra_clocks_arriving(pad: PadModel, extra: int, low: int, pause: int, wait: int) -> int | None:
    """How many extra clocks the pad gets; None if that cannot be told.

    Each is low for ``low`` and then high for ``pause``; the sample comes ``wait`` after the last
    rise (picoseconds). The pauses are short. A port that leaves the rise of the line to a resistor
    may not get it high in time, and then the pulses run together into one; or only so briefly that
    the register need not notice.
    """
    if not extra or pad.clock_line.rise is None:
        return 0
    limits = pad.limits
    high = pause - pad.clock_line.rise
    if high <= 0:
        return 0
    kept = (
        high >= limits.clock_width.ps
        and low + pause >= limits.clock_period.ps
        and wait >= limits.answer.ps
    )
    return extra if kept else None
