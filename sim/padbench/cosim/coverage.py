"""Functional coverage: what the wires really showed, not what the scenarios meant to do.

A held state counts where a latch fell on it and all eight bits were sampled; a transition is two
such states in a row; a stopped position is a sample before which the clock rose more than once, or,
where the bench is the pad, a bit before which it lost others.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from padbench.core.decode import Read
from padbench.core.timeline import Timeline, Word

__all__ = ["Coverage", "covered"]

_ALL_STATES = frozenset(range(256))
_POSITIONS = frozenset((bit, extra) for bit in range(1, 9) for extra in (1, 2, 3))


@dataclass
class Coverage:
    """Sets that grow as timelines are added with `add`."""

    states: set[int] = field(default_factory=set)
    transitions: set[tuple[int, int]] = field(default_factory=set)
    positions: set[tuple[int, int]] = field(default_factory=set)

    def add(self, timeline: Timeline, reads: Iterable[Read]) -> None:
        """Count one scenario's reads. ``KeyError`` for a timeline without ``contacts.held``."""
        word = timeline.words["contacts.held"]
        times = np.asarray(word.times, np.int64)
        lost = timeline.words.get("pad.lost")
        before: int | None = None
        for read in reads:
            place = int(np.searchsorted(times, read.latch_end_ps, side="right")) - 1
            held = word.values[place] if place >= 0 else None
            if held is None or len(read.samples) < 8:
                before = None
                continue
            self.states.add(held)
            if before is not None:
                self.transitions.add((before, held))
            before = held
            self._positions(read)
            if lost is not None:
                self._lost(read, lost)

    def _lost(self, read: Read, lost: Word) -> None:
        """The pad's count of bits lost, as it goes up inside a read."""
        times = np.asarray(lost.times, np.int64)
        first, last = np.searchsorted(times, [read.start_ps, read.samples[7]])
        for place in range(max(1, int(first)), int(last)):
            now, before = lost.values[place], lost.values[place - 1]
            bit = int(np.searchsorted(read.clock_rises, times[place], side="right")) + 1
            if now is not None and before is not None and now > before:
                self.positions.add((bit, now - before))

    def _positions(self, read: Read) -> None:
        rises = np.searchsorted(read.clock_rises, read.samples[:8], side="left")
        steps = np.diff(rises, prepend=0)
        for place, step in enumerate(steps.tolist()):
            extra = step - (1 if place else 0)
            if extra > 0:
                self.positions.add((place + 1, extra))

    @property
    def missing_states(self) -> list[int]:
        """Held states that no read was seen of."""
        return sorted(_ALL_STATES - self.states)

    @property
    def missing_positions(self) -> list[tuple[int, int]]:
        """(bit, extra clocks), one to three, at which no read was seen stopped."""
        return sorted(_POSITIONS - self.positions)

    @property
    def missing_transitions(self) -> list[tuple[int, int]]:
        """Pairs of held states that were not seen one after the other."""
        return [
            (one, other)
            for one in range(256)
            for other in range(256)
            if (one, other) not in self.transitions
        ]


def covered(runs: Iterable[tuple[Timeline, Iterable[Read]]]) -> Coverage:
    """The coverage of several runs together."""
    coverage = Coverage()
    for timeline, reads in runs:
        coverage.add(timeline, reads)
    return coverage
