"""From scripted reads to timed edges: the console's own and those that reach the register."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from padbench.model.port import far_end
from padbench.pad import PadModel
from padbench.stimulus import ScriptedRead

__all__ = ["Edges", "LineEdges", "console_edges", "pad_edges", "within_limits"]

_LONG_AGO = -(2**61)


@dataclass(frozen=True, slots=True)
class LineEdges:
    """Level of a line at the start, then alternating (picoseconds, level) edges."""

    start: int
    edges: list[tuple[int, int]]


@dataclass(frozen=True, slots=True)
class Edges:
    """Latch and clock of one run, and the moments at which the console samples."""

    latch: LineEdges
    clock: LineEdges
    samples: list[int]


def console_edges(reads: Sequence[ScriptedRead]) -> Edges:
    """What the console drives for these reads; a read that starts early cuts off the one before.

    Raises ``ValueError`` for reads out of order. The clock idles high and pulses low once for
    each read of the port (from memory).
    """
    latch: list[tuple[int, int]] = []
    clock: list[tuple[int, int]] = []
    samples: list[int] = []
    for place, read in enumerate(reads):
        ends = reads[place + 1].start if place + 1 < len(reads) else None
        if ends is not None and ends <= read.start:
            raise ValueError(f"read {place + 1} starts at {ends} ps, not after the one before it")
        t = read.timing
        own = [(read.start, 1), (read.start + t.latch_width, 0)]
        pulses: list[tuple[int, int]] = []
        at = own[1][0] + t.latch_to_clock
        for bit in range(1, t.clocks + 1):
            if bit == read.stopped_bit:
                for _ in range(read.extra_clocks):
                    pulses += [(at, 0), (at + t.clock_low, 1)]
                    at += 2 * t.clock_low
            if ends is None or at + t.sample < ends:
                samples.append(at + t.sample)
            pulses += [(at, 0), (at + t.clock_low, 1)]
            at += t.clock_low + t.clock_high
        if ends is not None:
            own, pulses = _cut(own, ends), _cut(pulses, ends)
            if len(pulses) % 2:
                pulses.append((ends, 1))
            if len(own) % 2:
                raise ValueError(f"the latch of read {place + 2} begins inside the one before it")
        latch += own
        clock += pulses
    return Edges(LineEdges(0, latch), LineEdges(1, clock), samples)


def _cut(edges: list[tuple[int, int]], ends: int) -> list[tuple[int, int]]:
    return [edge for edge in edges if edge[0] < ends]


def pad_edges(pad: PadModel, console: Edges) -> tuple[LineEdges, LineEdges]:
    """Latch and clock as they arrive at the pad's end of the cable."""
    latch = LineEdges(*far_end(console.latch.edges, pad.latch_line, console.latch.start))
    clock = LineEdges(*far_end(console.clock.edges, pad.clock_line, console.clock.start))
    return latch, clock


def within_limits(
    pad: PadModel, latch: LineEdges, clock: LineEdges, contact_times: Sequence[int]
) -> bool:
    """Whether these edges at the pad surely keep every limit; may say no where one just would.

    Only for a part that loads at once while the latch line is high, from inputs that have levels.
    """
    limits = pad.limits
    latch_at, clock_at = _times(latch), _times(clock)
    rises = clock_at[1::2]
    if latch.start or not clock.start or not len(latch_at) or not len(clock_at):
        return False
    falls = latch_at[1::2]
    moves = np.asarray([_LONG_AGO, *contact_times], np.int64)
    stood = falls - moves[np.searchsorted(moves, falls, side="right") - 1]
    first = np.searchsorted(rises, falls)
    known = first < len(rises)
    return bool(
        _least(np.diff(latch_at)) >= limits.load_width.ps
        and _least(np.diff(clock_at)) >= limits.clock_width.ps
        and _least(np.diff(rises)) >= limits.clock_period.ps
        and _least(rises[first[known]] - falls[known]) >= limits.removal.ps
        and _least(stood) >= limits.setup_parallel.ps
    )


def _times(line: LineEdges) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    return np.asarray([at for at, _ in line.edges], np.int64)


def _least(values: np.ndarray[tuple[int], np.dtype[np.int64]]) -> int:
    return int(values.min()) if len(values) else 2**62
