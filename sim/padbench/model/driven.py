"""From scripted reads to timed edges: the console's own and those that reach the register.

console = console_edges(stimulus.reads)
clock = far_end(console.clock, pad.clock_line)     # as the register sees it, cable included
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from padbench.core.pad import Defect, LineDelays, PadModel, Seen
from padbench.core.stimulus import DrivenLines, ScriptedRead
from padbench.core.timeline import Times, Wire

_LONG_AGO = -(2**61)


@dataclass(frozen=True, slots=True)
class Line:
    """Level at the start, and the times (picoseconds, rising) at which it changes to the other."""

    start: int
    times: Sequence[int]

    def inverted(self) -> "Line":
        """The same edges, the other way up."""
        return Line(1 - self.start, self.times)

    def wire(self, end: int) -> Wire:
        """As a wire of a timeline that ends at ``end``."""
        times = np.asarray([0, *self.times], np.int64)
        levels = (np.arange(len(times)) + self.start) % 2
        kept = times <= end
        return Wire.from_arrays(times[kept], levels[kept])


@dataclass(frozen=True, slots=True)
class Edges:
    """Latch and clock of one run, and the moments at which the console samples."""

    latch: Line
    clock: Line
    samples: list[int]


def console_edges(reads: Sequence[ScriptedRead]) -> Edges:
    """What the console drives for these reads; a read that starts early cuts off the one before.

    Raises ``ValueError`` for reads out of order. The clock idles high and pulses low once for
    each read of the port (from memory).
    """
    latch: list[int] = []
    clock: list[int] = []
    samples: list[int] = []
    for place, read in enumerate(reads):
        pulses, taken = _clocks(read)
        if place + 1 < len(reads):
            ends = reads[place + 1].start
            if ends <= read.start + read.timing.latch_width:
                raise ValueError(
                    f"read {place + 2} starts at {ends} ps, before the latch of the one before fell"
                )
            if pulses and pulses[-1] >= ends:
                pulses = [at for at in pulses if at < ends]
                # A clock that is low when the new latch comes goes high with it.
                pulses += [ends] if len(pulses) % 2 else []
                taken = [at for at in taken if at < ends]
        latch += [read.start, read.start + read.timing.latch_width]
        clock += pulses
        samples += taken
    return Edges(Line(0, latch), Line(1, clock), samples)


def driven_edges(driven: DrivenLines) -> Edges:
    """Edges that are given one by one. Raises ``ValueError`` where time does not go forward."""
    for name in ("latch", "clock", "samples"):
        times = getattr(driven, name)
        for one, other in pairwise(times):
            if other <= one:
                raise ValueError(f"{name}: {other} ps comes after {one} ps; put them in order")
    return Edges(Line(0, driven.latch), Line(1, driven.clock), list(driven.samples))


def _clocks(read: ScriptedRead) -> tuple[list[int], list[int]]:
    """Falls and rises of one read's clocks, and its samples."""
    t = read.timing
    low, high = t.clock_low, t.clock_high
    at = read.start + t.latch_width + t.latch_to_clock
    pulses: list[int] = []
    samples: list[int] = []
    for bit in range(1, t.clocks + 1):
        if bit == read.stopped_bit:
            extra_low, extra_high = t.extra_pulse
            for _ in range(read.extra_clocks):
                pulses += (at, at + extra_low)
                at += extra_low + extra_high
        samples.append(at + t.sample)
        pulses += (at, at + low)
        at += low + high
    return pulses, samples


def far_end(line: Line, delays: LineDelays) -> Line:
    """A driven line as it reaches the other end of the cable.

    An edge that would arrive no earlier than the one after it cancels out with it: the line had
    not got far enough when it was driven back. A direction whose delay is None never arrives.
    """
    rise, fall = delays.rise, delays.fall
    if rise is None or fall is None:
        return Line(0 if rise is None else 1, [])
    if rise == fall == 0:
        return line
    arrived: list[int] = []
    for number, when in enumerate(line.times):
        at = when + (fall if (line.start + number) % 2 else rise)
        if arrived and at <= arrived[-1]:
            arrived.pop()
        else:
            arrived.append(at)
    return Line(line.start, arrived)


def broken_lines(latch: Line, clock: Line, broken: Defect) -> tuple[Line, Line]:
    """Latch and clock as load pin and clock pin of a broken pad see them."""
    if broken.lost or broken.extra:
        clock = _miscounted(latch, clock, broken)
    return _seen(broken.latch, latch, latch, clock), _seen(broken.clock, clock, latch, clock)


def _seen(what: Seen, own: Line, latch: Line, clock: Line) -> Line:
    if what in ("low", "high"):
        return Line(int(what == "high"), [])
    if what == "wired":
        return _wired(latch, clock)
    return {"own": own, "latch": latch, "clock": clock}[what]


def _wired(one: Line, other: Line) -> Line:
    """High while both are."""
    levels, times = [one.start, other.start], list[int]()
    moves = sorted([(at, 0) for at in one.times] + [(at, 1) for at in other.times])
    start = level = min(levels)
    for place, (at, line) in enumerate(moves):
        levels[line] ^= 1
        last = place + 1 == len(moves) or moves[place + 1][0] > at
        if last and min(levels) != level:
            level = min(levels)
            times.append(at)
    return Line(start, times)


def _miscounted(latch: Line, clock: Line, broken: Defect) -> Line:
    """A clock of each read that does not arrive, or one that arrives twice in its high part."""
    loads = np.asarray(latch.times[::2], np.int64)
    pulses = [clock.times[place : place + 2] for place in range(0, len(clock.times) - 1, 2)]
    kept: list[int] = []
    number, before = 0, -1
    for place, (fall, rise) in enumerate(pulses):
        read = int(np.searchsorted(loads, fall, side="right"))
        number, before = (number + 1 if read == before else 1), read
        if number != broken.lost:
            kept += [fall, rise]
        if number == broken.extra:
            after = pulses[place + 1][0] if place + 1 < len(pulses) else rise + 3 * (rise - fall)
            third = min(after - rise, 8 * (rise - fall)) // 3
            kept += [rise + third, rise + 2 * third]
    return Line(clock.start, kept)


def within_limits(
    pad: PadModel, console: Edges, latch: Line, clock: Line, contact_times: Sequence[int]
) -> bool:
    """Whether these edges at the pad surely keep every limit; may say no where one just would.

    Only for a part that loads at once while the latch line is high, from inputs that have levels.
    An edge that the line swallowed has broken a limit: what the console sent did not arrive.
    """
    limits = pad.limits
    latch_at = np.asarray(latch.times, np.int64)
    clock_at = np.asarray(clock.times, np.int64)
    rises = clock_at[1::2]
    if latch.start or not clock.start or not len(latch_at) or not len(clock_at):
        return False
    if len(latch_at) < len(console.latch.times) or len(clock_at) < len(console.clock.times):
        return False
    falls = latch_at[1::2]
    moves = np.asarray([_LONG_AGO, *contact_times], np.int64)
    stood = falls - moves[np.searchsorted(moves, falls, side="right") - 1]
    first = np.searchsorted(rises, falls)
    known = first < len(rises)
    return bool(
        latch_at[0] < rises[0]
        and _least(np.diff(latch_at)) >= limits.load_width.ps
        and _least(np.diff(clock_at)) >= limits.clock_width.ps
        and _least(np.diff(rises)) >= limits.clock_period.ps
        and _least(rises[first[known]] - falls[known]) >= limits.removal.ps
        and _least(stood) >= limits.setup_parallel.ps
        and _least(_waits(console, latch_at, rises, moves)) > pad.answer
    )


def _waits(console: Edges, latch_at: Times, rises: Times, moves: Times) -> Times:
    """From whatever may have moved the data line last to each sample."""
    causes = np.sort(np.concatenate([latch_at[::2], rises, moves]))
    samples = np.asarray(console.samples, np.int64)
    waits: Times = samples - causes[np.searchsorted(causes, samples, side="left") - 1]
    return waits


def _least(values: Times) -> int:
    return int(values.min()) if len(values) else 2**62
