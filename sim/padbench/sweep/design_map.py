"""Which loop lengths and gaps between passes are safe for a routine, at all fetch periods.

    found = design_map(routine, console, measured.run, console.timing.fetch_periods)

The row of bus cycles is stretched as if the routine had been written so, as
`padbench.console.judge.safe_lengths` does for one of the two at a time: what comes out is no worse
than its assumption, that a stopped pass takes as many cycles as an undisturbed one.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from padbench.console.judge import first_two_passes, stretched
from padbench.console.run import Run
from padbench.sweep.phases import hits_two

__all__ = ["GAPS", "LOOPS", "DesignMap", "design_map"]

LOOPS = range(12, 73)
"""CPU cycles from one read of the port to the next; 14 is the quickest usual loop."""

GAPS = range(0, 97)
"""CPU cycles added between the passes."""


@dataclass(frozen=True, slots=True)
class DesignMap:
    """``unsafe[i][j]``: the periods of which some phase stops both passes.

    That is with ``loops[i]`` cycles a bit and ``gaps[j]`` more between the passes. ``loop`` is the
    length now.
    """

    loop: int
    loops: tuple[int, ...]
    gaps: tuple[int, ...]
    unsafe: tuple[tuple[tuple[int, ...], ...], ...]

    @property
    def safe(self) -> tuple[tuple[bool, ...], ...]:
        """Where no phase of any period stops both passes."""
        return tuple(tuple(not at for at in row) for row in self.unsafe)


def design_map(
    run: Run,
    periods: Sequence[int],
    *,
    loops: Sequence[int] = LOOPS,
    gaps: Sequence[int] = GAPS,
    step: Callable[[], None] = lambda: None,
) -> DesignMap | None:
    """The map of a routine with an undisturbed ``run``; ``step`` is called after each loop length.

    None for a routine with fewer than two passes of the first port, or without an even loop.
    """
    first, second = first_two_passes(run)
    if not second:
        return None
    lengths = {b - a for part in (first, second) for a, b in pairwise(part)}
    if len(lengths) != 1:
        return None
    (loop,) = lengths
    rows = []
    for length in loops:
        rows.append(
            tuple(_unsafe(run.kinds, first, second, length - loop, gap, periods) for gap in gaps)
        )
        step()
    return DesignMap(loop, tuple(loops), tuple(gaps), tuple(rows))


def _unsafe(
    kinds: bytes, first: list[int], second: list[int], more: int, gap: int, periods: Sequence[int]
) -> tuple[int, ...]:
    # What a loop takes longer it takes eight times a pass, the last time behind the last read.
    row = stretched(stretched(kinds, first[-1:], gap), _behind(first, second, gap), more)
    moved = frozenset(read + more * place for place, read in enumerate(first))
    later = frozenset(read + gap + more * (place + len(first)) for place, read in enumerate(second))
    return tuple(period for period in periods if hits_two(row, period, moved, later))


def _behind(first: list[int], second: list[int], gap: int) -> list[int]:
    return [*first, *(read + gap for read in second[:-1])]
