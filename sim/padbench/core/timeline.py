"""What happened on each wire: the one form that simulation, HDL and captures share.

    line = Timeline(end_ps=2_000, wires={"cable.latch": Wire.of([(0, LOW), (500, HIGH)])})
    line.wires["cable.latch"].rises()          # array([500])
    line.wires["cable.latch"].before(500)      # LOW, the level that stood before that edge

Times are integer picoseconds. Names are paths with a dot between scope and wire (``pad.clock``).
Nothing in here reads, writes or simulates.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padbench.core.levels import FLOATING, HIGH, LOW, UNKNOWN

Times = NDArray[np.int64]


@dataclass(frozen=True, eq=False, slots=True)
class Wire:
    """One wire: ``levels[i]`` holds from ``times[i]`` until ``times[i + 1]``.

    ``times`` is int64 of shape (n,), n >= 1, strictly increasing; ``levels`` is uint8 of shape
    (n,), and neighbours differ. Before ``times[0]`` the level is UNKNOWN.
    """

    times: Times
    levels: NDArray[np.uint8]

    @classmethod
    def of(cls, changes: Iterable[tuple[int, int]]) -> "Wire":
        """From (time, level) pairs in time order; ``ValueError`` if time runs backwards."""
        pairs = list(changes)
        return cls.from_arrays([t for t, _ in pairs], [level for _, level in pairs])

    @classmethod
    def from_arrays(cls, times: ArrayLike, levels: ArrayLike) -> "Wire":
        """As `of`, from two sequences; the last of several levels at one time counts.

        Raises ``ValueError`` for no change at all, times that fall, or a level outside 0..3.
        """
        t = np.asarray(times, np.int64)
        v = np.asarray(levels, np.uint8)
        if t.ndim != 1 or t.shape != v.shape or not len(t):
            raise ValueError("a wire needs as many times as levels, and at least one")
        if v.max() > FLOATING:
            raise ValueError(f"level {v.max()} is none of 0, 1, 2 (unknown), 3 (floating)")
        steps = np.diff(t)
        if len(steps) and steps.min() < 0:
            at = int(np.argmin(steps))
            raise ValueError(f"time runs backwards, from {t[at]} to {t[at + 1]} ps")
        last = np.append(steps != 0, True)
        t, v = t[last], v[last]
        new = np.insert(np.diff(v) != 0, 0, True)
        return cls(t[new], v[new])

    @property
    def silent(self) -> bool:
        """Whether it is never LOW nor HIGH."""
        return not (self.levels <= HIGH).any()

    def __eq__(self, other: object) -> bool:
        """Same changes at the same times."""
        if not isinstance(other, Wire):
            return NotImplemented
        return np.array_equal(self.times, other.times) and np.array_equal(self.levels, other.levels)

    __hash__ = None  # type: ignore[assignment]

    def at(self, when: ArrayLike) -> NDArray[np.uint8]:
        """Levels at the given times (a change at that very time counts), same shape as ``when``."""
        return self._pick(when, "right")

    def before(self, when: ArrayLike) -> NDArray[np.uint8]:
        """Levels just before the given times: what a sampler at an edge sees."""
        return self._pick(when, "left")

    def rises(self) -> Times:
        """Times at which the wire became HIGH from another level (its start does not count)."""
        return self._changes_to(HIGH)

    def falls(self) -> Times:
        """Times at which the wire became LOW from another level (its start does not count)."""
        return self._changes_to(LOW)

    def _changes_to(self, level: int) -> Times:
        chosen: Times = self.times[1:][self.levels[1:] == level]
        return chosen

    def _pick(self, when: ArrayLike, side: Literal["left", "right"]) -> NDArray[np.uint8]:
        place = np.searchsorted(self.times, np.asarray(when, np.int64), side=side) - 1
        return np.where(place < 0, np.uint8(UNKNOWN), self.levels[np.maximum(place, 0)])


@dataclass(frozen=True, slots=True)
class Word:
    """A group of wires read as a number: ``values[i]`` holds from ``times[i]`` on.

    ``width`` is in bits, the most significant first; ``None`` stands for a value not known.
    """

    width: int
    times: tuple[int, ...]
    values: tuple[int | None, ...]

    @classmethod
    def of(cls, width: int, changes: Iterable[tuple[int, int | None]]) -> "Word":
        """From (time, value) pairs; the last at one time counts, repeats are dropped.

        Raises ``ValueError`` if time runs backwards or a value does not fit the width.
        """
        times: list[int] = []
        values: list[int | None] = []
        for when, value in changes:
            if value is not None and not 0 <= value < 1 << width:
                raise ValueError(f"{value} does not fit {width} bits")
            if times and when < times[-1]:
                raise ValueError(f"time runs backwards, from {times[-1]} to {when} ps")
            if times and when == times[-1]:
                times.pop()
                values.pop()
            if not values or values[-1] != value:
                times.append(when)
                values.append(value)
        return cls(width, tuple(times), tuple(values))


@dataclass(frozen=True, eq=False)
class Timeline:
    """Wires, words, events (moments without a level) and notes up to ``end_ps``."""

    end_ps: int
    wires: Mapping[str, Wire] = field(default_factory=dict)
    words: Mapping[str, Word] = field(default_factory=dict)
    events: Mapping[str, Times] = field(default_factory=dict)
    notes: tuple[tuple[int, str], ...] = ()

    def wire(self, name: str) -> Wire:
        """The wire of that name; one that is never at a level where there is none."""
        return self.wires.get(name, _SILENT)

    def __eq__(self, other: object) -> bool:
        """Same wires, words, events, notes and end."""
        if not isinstance(other, Timeline):
            return NotImplemented
        return (
            self.end_ps == other.end_ps
            and dict(self.wires) == dict(other.wires)
            and dict(self.words) == dict(other.words)
            and self.notes == other.notes
            and self.events.keys() == other.events.keys()
            and all(np.array_equal(t, other.events[name]) for name, t in self.events.items())
        )

    __hash__ = None  # type: ignore[assignment]


_SILENT = Wire.of([(0, UNKNOWN)])
