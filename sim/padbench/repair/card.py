"""The fewest presses and readings that tell a sound pad from every single fault.

    steps, left = card_steps(known, bench)
    steps[0].test.held, steps[0].expected        # what to hold, what must be read

Greedy set cover: each step is the one that shows most of the faults that no step before it shows.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from padbench.repair.dictionary import Dictionary
from padbench.repair.metering import MeterBench
from padbench.repair.observed import kind_of
from padbench.repair.ranking import Test, common, practical
from padbench.sheet.model import Fault

_FINGERS = 3
"""Buttons that a volunteer holds at once without trouble (assumed)."""

_OTHERS = 3
"""Other outcomes that a step names."""

T = TypeVar("T")
Shows = NDArray[np.bool_]


@dataclass(frozen=True)
class CardStep:
    """What to do, what a sound pad shows, and (what else may come, the faults of that)."""

    test: Test
    expected: str
    others: tuple[tuple[str, tuple[Fault, ...]], ...]


def card_steps(
    known: Dictionary, bench: MeterBench
) -> tuple[tuple[CardStep, ...], tuple[Fault, ...]]:
    """The steps, and the faults that none of them shows."""
    states = [*practical(known, _FINGERS)]
    presses = {held: known.labels[:, held] != known.labels[0, held] for held in states}
    metered = [point for point in bench.points() if kind_of(point[0]) in ("volts", "ohms")]
    readings = {point: bench.differs(*point) for point in metered}
    left = np.ones(len(known.rows), bool)
    left[0] = False
    tests = [Test("", held, 0.0, 1.0) for held in _cover(presses, left)]
    tests += [Test(where, held, 0.0, 1.0) for where, held in _cover(readings, left)]
    steps = tuple(
        CardStep(test, bench.outcome(0, test.where, test.held), _others(known, bench, test))
        for test in tests
    )
    hidden = {known.rows[row].fault for row in np.flatnonzero(left).tolist()}
    return steps, tuple(fault for place in sorted(hidden) if (fault := known.faults[place]))


def _cover(shows: Mapping[T, Shows], left: Shows) -> list[T]:
    """The tests that show all that can be shown; ``left`` loses what they show."""
    chosen: list[T] = []
    while True:
        best = max(shows, key=lambda test: int((shows[test] & left).sum()))
        if not (shows[best] & left).any():
            return chosen
        chosen.append(best)
        left &= ~shows[best]


def _others(
    known: Dictionary, bench: MeterBench, test: Test
) -> tuple[tuple[str, tuple[Fault, ...]], ...]:
    """What no sound pad shows, and the commonest faults first that show it."""
    steady = [row for row, entry in enumerate(known.rows) if len(entry.variant.mix) == 1]
    steady.sort(key=lambda row: -common([known.faults[known.rows[row].fault]]))
    shown = bench.outcomes(test.where, test.held, steady)
    found = sorted(shown.items(), key=lambda item: -len(item[1]))
    others = [(outcome, tuple(filter(None, some))) for outcome, some in found if None not in some]
    return tuple(others[:_OTHERS])
