"""From a timeline to reads: every latch and the clocks that follow it.

    for read in decode(timeline):
        print(read.start_ps, pressed_in(read.byte))

The decoder looks at three wires and, where the timeline has them, the moments at which the
console sampled. It neither knows nor cares where the timeline came from.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from padbench.timeline import FLOATING, LOW, UNKNOWN, Timeline, Times

__all__ = ["Names", "Read", "decode", "extra_clocks"]


@dataclass(frozen=True, slots=True)
class Names:
    """Which wires of a timeline to decode. ``sample`` names events; None: sample at each rise."""

    latch: str = "console.latch"
    clock: str = "console.clock"
    data: str = "cable.data"
    sample: str | None = "console.sample"


@dataclass(frozen=True, slots=True)
class Read:
    """One latch and its clocks, up to the next latch.

    ``start_ps`` and ``latch_end_ps`` are the edges of the latch (``latch_end_ps`` is the end of
    the timeline if it never fell). ``clock_falls`` and ``clock_rises`` lie after ``start_ps`` and
    before the next latch. ``bits`` are what was sampled, first on the wire first: True is pressed
    (low on the wire), None is neither level. ``cut_short`` says that a new latch came before
    ``wanted`` bits had been sampled.
    """

    start_ps: int
    latch_end_ps: int
    clock_falls: tuple[int, ...]
    clock_rises: tuple[int, ...]
    samples: tuple[int, ...]
    bits: tuple[bool | None, ...]
    cut_short: bool

    @property
    def byte(self) -> int:
        """The first eight bits, 1 is pressed, first bit in bit 7; what is not known counts as 0."""
        return sum(128 >> place for place, bit in enumerate(self.bits[:8]) if bit)

    @property
    def undecided(self) -> int:
        """Mask, in the places of `byte`, of sampled bits that were neither high nor low."""
        return sum(128 >> place for place, bit in enumerate(self.bits[:8]) if bit is None)

    @property
    def missing(self) -> int:
        """Mask, in the places of `byte`, of bits that were never sampled."""
        return 0xFF >> min(8, len(self.bits))

    def worst_byte(self, expected: int) -> int:
        """`byte` with each undecided bit resolved to the opposite of ``expected``.

        An unreliable bit may read either way; whoever judges a design has to assume the wrong one.
        """
        return self.byte | (self.undecided & ~expected)


def decode(timeline: Timeline, names: Names | None = None, wanted: int = 8) -> tuple[Read, ...]:
    """All reads of a timeline, in time order.

    ``wanted`` is the number of bits of a whole read. Raises ``KeyError`` naming a wire that the
    timeline does not have. Clocks before the first latch belong to no read and are left out.
    """
    names = names or Names()
    latch = timeline.wires[names.latch]
    clock = timeline.wires[names.clock]
    data = timeline.wires[names.data]
    starts, latch_falls = latch.rises(), latch.falls()
    if not len(starts):
        return ()
    rises, falls = clock.rises(), clock.falls()
    samples: Times = rises
    if names.sample is not None and names.sample in timeline.events:
        samples = timeline.events[names.sample]
    levels = data.before(samples)
    bits = [None if v in (UNKNOWN, FLOATING) else v == LOW for v in levels.tolist()]

    ends = np.append(starts[1:], timeline.end_ps + 1)
    at_sample, at_rise, at_fall = (_cuts(starts, ends, t) for t in (samples, rises, falls))
    sample_list, rise_list, fall_list = samples.tolist(), rises.tolist(), falls.tolist()
    latch_end = np.append(latch_falls, timeline.end_ps)[
        np.searchsorted(latch_falls, starts, side="right")
    ]
    reads = []
    for i, start in enumerate(starts.tolist()):
        got = tuple(bits[slice(*at_sample[i])])
        reads.append(
            Read(
                start_ps=start,
                latch_end_ps=int(latch_end[i]),
                clock_falls=tuple(fall_list[slice(*at_fall[i])]),
                clock_rises=tuple(rise_list[slice(*at_rise[i])]),
                samples=tuple(sample_list[slice(*at_sample[i])]),
                bits=got,
                cut_short=len(got) < wanted and i + 1 < len(starts),
            )
        )
    return tuple(reads)


def extra_clocks(read: Read, usual: int, wanted: int = 8) -> tuple[int, ...]:
    """Which clocks of a read, counted from 0, the program never asked for.

    A stopped CPU repeats its read of the port within a few cycles (from memory), far less than the
    program's loop takes. ``usual`` is the loop's time from one fall of the clock to the next, in
    picoseconds. Of two falls less than 0.6 of it apart the first is extra: its rise has shifted the
    register when the read is done for real. Empty unless exactly as many clocks stand so as the
    read has more than ``wanted``: a read that is simply long has none.
    """
    falls = read.clock_falls
    more = len(falls) - wanted
    if more <= 0 or len(falls) != len(read.clock_rises):
        return ()
    close = tuple(
        place
        for place, (one, other) in enumerate(pairwise(falls))
        if 10 * (other - one) < 6 * usual
    )
    return close if len(close) == more else ()


def _cuts(starts: Times, ends: Times, times: Times) -> Sequence[tuple[int, int]]:
    """For each read, the first and the last-plus-one place of its own ``times``."""
    first = np.searchsorted(times, starts, side="right").tolist()
    last = np.searchsorted(times, ends, side="left").tolist()
    return list(zip(first, last, strict=True))
