"""From a timeline to reads: every latch and the clocks that follow it.

    for read in decode(timeline):
        print(read.start_ps, pressed_in(read.byte))

The decoder looks at three wires and, where the timeline has them, the moments at which the
console sampled. It neither knows nor cares where the timeline came from.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain, pairwise

import numpy as np
from numpy.typing import NDArray

from padbench.core.levels import HIGH, LOW, UNKNOWN
from padbench.core.timeline import Timeline, Times
from padbench.core.wire_names import CABLE_DATA, CONSOLE_CLOCK, CONSOLE_LATCH, CONSOLE_SAMPLE

Cuts = tuple[NDArray[np.intp], NDArray[np.intp]]


@dataclass(frozen=True, slots=True)
class Names:
    """Which wires of a timeline to decode. ``sample`` names events; None: sample at each rise."""

    latch: str = CONSOLE_LATCH
    clock: str = CONSOLE_CLOCK
    data: str = CABLE_DATA
    sample: str | None = CONSOLE_SAMPLE


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
        return sum(128 >> place for place, bit in enumerate(self.bits) if bit)

    @property
    def undecided(self) -> int:
        """Mask, in the places of `byte`, of sampled bits that were neither high nor low."""
        return sum(128 >> place for place, bit in enumerate(self.bits) if bit is None)

    @property
    def missing(self) -> int:
        """Mask, in the places of `byte`, of bits that were never sampled."""
        return 0xFF >> len(self.bits)

    def worst_byte(self, expected: int) -> int:
        """`byte` with each undecided bit resolved to the opposite of ``expected``.

        An unreliable bit may read either way; whoever judges a design has to assume the wrong one.
        """
        return self.byte | (self.undecided & ~expected)


@dataclass(frozen=True, slots=True)
class ReadArrays:
    """All reads of a timeline at once, for whoever has many: what `decode` gives one by one.

    ``starts`` and ``latch_ends`` have an entry a read. ``rises``, ``falls`` (of the clock) and
    ``samples`` are those of the whole timeline, ``levels`` (uint8) what the samples saw. Those of
    read i stand at ``rise_cuts[0][i]`` up to, not including, ``rise_cuts[1][i]``; and so on.
    """

    starts: Times
    latch_ends: Times
    rises: Times
    falls: Times
    samples: Times
    levels: NDArray[np.uint8]
    rise_cuts: Cuts
    fall_cuts: Cuts
    sample_cuts: Cuts

    def __len__(self) -> int:
        """How many reads."""
        return len(self.starts)

    def part(self, which: slice | NDArray[np.bool_]) -> "ReadArrays":
        """Some of the reads, in the same order."""
        cuts = (self.rise_cuts, self.fall_cuts, self.sample_cuts)
        rise, fall, sample = ((first[which], last[which]) for first, last in cuts)
        return replace(
            self,
            starts=self.starts[which],
            latch_ends=self.latch_ends[which],
            rise_cuts=rise,
            fall_cuts=fall,
            sample_cuts=sample,
        )

    @classmethod
    def of(cls, reads: Sequence[Read]) -> "ReadArrays":
        """Those reads, and no edge or sample beside."""

        def every(name: str) -> tuple[Times, Cuts]:
            parts = [getattr(read, name) for read in reads]
            ends = np.cumsum([len(part) for part in parts], dtype=np.intp)
            return np.fromiter(chain.from_iterable(parts), np.int64), (
                np.append(0, ends[:-1])[: len(ends)],
                ends,
            )

        (rises, rise), (falls, fall) = every("clock_rises"), every("clock_falls")
        samples, sample = every("samples")
        levels = [
            UNKNOWN if bit is None else LOW if bit else HIGH for read in reads for bit in read.bits
        ]
        starts, latch_ends = (
            np.asarray([getattr(read, name) for read in reads], np.int64)
            for name in ("start_ps", "latch_end_ps")
        )
        bits = np.asarray(levels, np.uint8)
        return cls(starts, latch_ends, rises, falls, samples, bits, rise, fall, sample)

    def short(self, wanted: int = 8, *, last: bool = True) -> NDArray[np.bool_]:
        """Which were cut short; ``last`` says that no latch follows the last of them."""
        short: NDArray[np.bool_] = self.sample_cuts[1] - self.sample_cuts[0] < wanted
        short[-1:] &= not last
        return short

    def reads(self, wanted: int = 8, *, last: bool = True) -> tuple[Read, ...]:
        """One by one; ``last`` says that no latch follows the last of them."""
        bits = [None if v > HIGH else v == LOW for v in self.levels.tolist()]
        samples, rises, falls = (t.tolist() for t in (self.samples, self.rises, self.falls))
        every = (
            *(self.starts, self.latch_ends, *self.sample_cuts),
            *(*self.rise_cuts, *self.fall_cuts, self.short(wanted, last=last)),
        )
        rows = zip(*(part.tolist() for part in every), strict=True)
        return tuple(
            Read(
                start_ps=start,
                latch_end_ps=latch_end,
                clock_falls=tuple(falls[f0:f1]),
                clock_rises=tuple(rises[r0:r1]),
                samples=tuple(samples[s0:s1]),
                bits=tuple(bits[s0:s1]),
                cut_short=short,
            )
            for start, latch_end, s0, s1, r0, r1, f0, f1, short in rows
        )


def decode(timeline: Timeline, names: Names | None = None, wanted: int = 8) -> tuple[Read, ...]:
    """All reads of a timeline, in time order.

    ``wanted`` is the number of bits of a whole read. Raises ``KeyError`` naming a wire that the
    timeline does not have. Clocks before the first latch belong to no read and are left out.
    """
    return read_arrays(timeline, names).reads(wanted)


def read_arrays(timeline: Timeline, names: Names | None = None) -> ReadArrays:
    """As `decode`, all at once."""
    names = names or Names()
    latch = timeline.wires[names.latch]
    clock = timeline.wires[names.clock]
    data = timeline.wires[names.data]
    starts, latch_falls = latch.rises(), latch.falls()
    rises, falls = clock.rises(), clock.falls()
    samples: Times = rises
    if names.sample is not None and names.sample in timeline.events:
        samples = timeline.events[names.sample]
    ends = np.append(starts[1:], timeline.end_ps + 1)[: len(starts)]
    latch_ends = np.append(latch_falls, timeline.end_ps)[np.searchsorted(latch_falls, starts)]
    cuts = (_cuts(starts, ends, times) for times in (rises, falls, samples))
    return ReadArrays(starts, latch_ends, rises, falls, samples, data.before(samples), *cuts)


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
    if len(falls) != len(read.clock_rises):
        return ()
    close = tuple(
        place
        for place, (one, other) in enumerate(pairwise(falls))
        if 10 * (other - one) < 6 * usual
    )
    return close if len(close) == more else ()


def inside(cuts: Cuts) -> NDArray[np.intp]:
    """The places within such cuts, one read after the other."""
    first, last = cuts
    counts = last - first
    places: NDArray[np.intp] = np.repeat(first - np.cumsum(counts) + counts, counts)
    return places + np.arange(len(places))


def _cuts(starts: Times, ends: Times, times: Times) -> Cuts:
    """For each read, the first and the last-plus-one place of its own ``times``."""
    first = np.searchsorted(times, starts, side="right")
    return first, np.maximum(first, np.searchsorted(times, ends, side="left"))
