"""Which lengths of a loop, and of the way between passes, keep a fetch from two passes of a poll.

    layout = layout_of(baseline.longest)
    layout.unsafe(more, gap, periods)    # the periods of which some phase stops two passes
    safe_lengths(baseline.longest, periods), design_map(baseline.longest, periods)

The row of bus cycles is stretched as if the routine had been written so. Any two passes count, of
the same port: a routine that makes three may hand on what the last two agree on. What comes out is
worth no more than its assumption, that a stopped pass takes as many cycles as an undisturbed one.
"""

from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from padbench.routines.run import RoutineRun
from padbench.routines.stops import COPY, READ, reads_ahead_of

Phases = npt.NDArray[np.int64]

_MOST_STOLEN = 4  # CPU cycles of one fetch (from memory)
_QUICKEST_LOOP = 12
"""CPU cycles a bit: LDA of the port, LSR, ROL in zero page and a taken branch need 14; a loop that
keeps its byte in a register can save the last two."""
_LONGEST_LOOP = 80
_MOST_GAP = 128
"""How far the search goes, in CPU cycles: our choice, beyond any loop or gap in use."""


@dataclass(frozen=True, slots=True)
class SafeLengths:
    """What keeps two passes from being stopped in one poll, other than what there is now.

    ``loops``: cycles from one read of the port to the next, with everything else as it is;
    ``gaps``: cycles to add between each pass and the next. ``loop`` is the length now, None if it
    varies. Both hold for all ``periods``, CPU cycles from fetch to fetch, and say nothing of any
    other. Each is worth no more than the assumption above; run the changed routine to be sure.
    """

    loop: int | None
    loops: tuple[int, ...]
    gaps: tuple[int, ...]
    periods: tuple[int, ...]

    @property
    def rates(self) -> str:
        """For which rates it holds, for people."""
        if len(self.periods) == 1:
            return f"with a fetch every {self.periods[0]} cycles"
        return f"at each of the {len(self.periods)} rates tried"


@dataclass(frozen=True, slots=True)
class PassLayout:
    """An undisturbed run as far as lengths go; all places are cycles of its row ``kinds``.

    ``passes``: by port and pass, the places of the reads. ``bits``: behind which of them each bit
    of a loop can be stretched, ``between``: behind which of them each way to the next pass can.
    ``loop`` is the way from one read of the first port to the next, None if it varies;
    ``shortest``, the shortest it can become.
    """

    kinds: bytes
    passes: tuple[tuple[tuple[int, ...], ...], ...]
    loop: int | None
    shortest: int
    bits: tuple[int, ...]
    between: tuple[int, ...]

    def unsafe(self, more: int, gap: int, periods: Sequence[int]) -> tuple[int, ...]:
        """Of which periods some phase stops two passes of a port.

        That is with ``more`` cycles a bit (fewer if it is below 0) and ``gap`` more between passes.
        """
        added = Counter(dict.fromkeys(self.between, gap))
        for place in self.bits:
            added[place] += more
        places = sorted(added)
        parts, start, moved = [], 0, [0]
        for place in places:
            parts.append(self.kinds[start : place + 1])
            start = place + 1 + max(0, -added[place])
            parts.append(bytes([READ]) * max(0, added[place]))
            moved.append(moved[-1] + added[place])
        row = np.frombuffer(b"".join([*parts, self.kinds[start:]]), np.uint8)
        last = len(row)
        ahead = reads_ahead_of(row)
        number = np.full((len(self.passes), last + 1), -1, np.int64)
        for port, passes in enumerate(self.passes):
            for which, reads in enumerate(passes):
                at = [read + moved[bisect_left(places, read)] for read in reads]
                number[port, at] = which
        return tuple(period for period in periods if _two_hit(ahead, number, period))


def layout_of(run: RoutineRun) -> PassLayout | None:
    """The layout of an undisturbed run; None with fewer than two passes of the first port."""
    passes = tuple(tuple(one.reads for one in port) for port in run.passes)
    first = passes[0]
    if len(first) < 2 or COPY in run.kinds:
        return None
    lengths = {b - a for one in first for a, b in pairwise(one)}
    loop = lengths.pop() if len(lengths) == 1 else None
    reads = sorted(at for port in passes for one in port for at in one)

    def last_before(end: int) -> int:
        return reads[bisect_left(reads, end) - 1]

    starts = [one[0] for one in first]
    between = [last_before(start) for start in starts[1:]]
    bits: list[int] = []
    shortest = 0
    if loop is not None:
        # What a loop takes longer it takes eight times a pass, behind all that it reads for a bit.
        ends = [at + loop for one in first for at in one]
        nexts = [*[at for one in first for at in one][1:], len(run.kinds)]
        bits = [last_before(min(pair)) for pair in zip(ends, nexts, strict=True)]
        own = [
            reads[place] if place < len(reads) else len(run.kinds)
            for place in (bisect_left(reads, at + 1) for at in bits)
        ]
        shortest = loop - min(after - at - 1 for at, after in zip(bits, own, strict=True))
    return PassLayout(run.kinds, passes, loop, shortest, tuple(bits), tuple(between))


def safe_lengths(run: RoutineRun, periods: Sequence[int]) -> SafeLengths | None:
    """Lengths at which no phase of any of these fetch periods hits two passes of a port.

    ``periods`` are all that the routine is to be safe at, also those at which it is as it stands:
    what mends it at one can break it at another. None for a routine with fewer than two passes,
    which nothing of the kind can help, and where no two passes are hit as it stands: then whatever
    is wrong with it does not come from lengths.
    """
    layout = layout_of(run)
    if layout is None or not layout.unsafe(0, 0, periods):
        return None
    loops: tuple[int, ...] = ()
    if layout.loop is not None:
        loops = tuple(
            length
            for length in range(max(_QUICKEST_LOOP, layout.shortest), _LONGEST_LOOP + 1)
            if not layout.unsafe(length - layout.loop, 0, periods)
        )
    gaps = (0, *range(2, _MOST_GAP + 1))  # no instruction takes a single cycle
    gaps = tuple(gap for gap in gaps if not layout.unsafe(0, gap, periods))
    return SafeLengths(layout.loop, loops, gaps, tuple(periods))


def _two_hit(ahead: Phases, number: Phases, period: int) -> bool:
    """Whether any phase stops two passes of a port; ``number``: by port, the pass of each place."""
    last = len(ahead) - 1
    if period > last + _MOST_STOLEN:
        return False  # a second request comes after the end
    requested: Phases = np.arange(period)
    stolen = behind = np.zeros(period, np.int64)
    seen = np.full((len(number), period), -1)
    while len(requested):
        place = ahead[np.minimum(np.maximum(requested - stolen, behind), last)]
        hit = number[:, place]
        if ((hit >= 0) & (seen >= 0) & (hit != seen)).any():
            return True
        on = place < last
        seen = np.maximum(hit, seen)[:, on]
        requested, stolen, place = requested[on], stolen[on], place[on]
        stolen = stolen + 4 - ((place + stolen - requested) & 1)
        behind = place + 1
        requested = requested + period
    return False


def ranges(numbers: Sequence[int]) -> str:
    """Rising numbers of cycles for people: ``12 to 40, 44``."""
    stretches: list[list[int]] = []
    for number in numbers:
        if stretches and stretches[-1][1] == number - 1:
            stretches[-1][1] = number
        else:
            stretches.append([number, number])
    return ", ".join(str(a) if a == b else f"{a} to {b}" for a, b in stretches)


LOOPS = range(12, 73)
"""CPU cycles from one read of the port to the next; 14 is the quickest usual loop."""

GAPS = (0, *range(2, 97))
"""CPU cycles added between each pass and the next; no instruction takes a single one."""


@dataclass(frozen=True, slots=True)
class DesignMap:
    """``unsafe[i][j]``: the periods of which some phase stops two passes of a port.

    That is with ``loops[i]`` cycles a bit and ``gaps[j]`` more between each pass and the next;
    ``safe`` where there is no such period. ``loop`` is the length now.
    """

    loop: int
    loops: tuple[int, ...]
    gaps: tuple[int, ...]
    unsafe: tuple[tuple[tuple[int, ...], ...], ...]
    safe: tuple[tuple[bool, ...], ...]


def design_map(
    run: RoutineRun,
    periods: Sequence[int],
    *,
    loops: Sequence[int] = LOOPS,
    gaps: Sequence[int] = GAPS,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> DesignMap | None:
    """The map of a routine with an undisturbed ``run``; ``progress`` is told how many of the
    loop lengths are done.

    None for a routine with fewer than two passes of the first port, or without an even loop.
    """
    layout = layout_of(run)
    if layout is None or layout.loop is None:
        return None
    loops = [length for length in loops if length >= layout.shortest]
    rows = []
    for done, length in enumerate(loops, 1):
        rows.append(tuple(layout.unsafe(length - layout.loop, gap, periods) for gap in gaps))
        progress(done, len(loops))
    safe = tuple(tuple(not at for at in row) for row in rows)
    return DesignMap(layout.loop, tuple(loops), tuple(gaps), tuple(rows), safe)
