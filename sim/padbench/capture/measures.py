"""Statistics of widths that come in portions, in bounded memory."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padbench.core.decode import ReadArrays

_KEPT = 1 << 17


@dataclass(frozen=True, slots=True)
class Statistics:
    """All in picoseconds. ``median`` is exact up to 131 072 values, then that of an even choice."""

    count: int
    least: int
    median: float
    mean: float
    most: int


class Sampler:
    """Collects one kind of width."""

    def __init__(self) -> None:
        self._count = 0
        self._sum = 0.0
        self._least = np.iinfo(np.int64).max
        self._most = np.iinfo(np.int64).min
        self._every = 1
        self._chosen: list[NDArray[np.int64]] = []

    def add(self, values: ArrayLike) -> None:
        """More values, in picoseconds."""
        new = np.asarray(values, np.int64).ravel()
        if not len(new):
            return
        self._least = min(self._least, int(new.min()))
        self._most = max(self._most, int(new.max()))
        self._sum += float(new.sum(dtype=np.float64))
        self._chosen.append(new[-self._count % self._every :: self._every])
        self._count += len(new)
        while sum(map(len, self._chosen)) > _KEPT:
            # Every second of what was chosen, so that the choice stays even.
            self._chosen = [np.concatenate(self._chosen)[::2]]
            self._every *= 2

    def statistics(self) -> Statistics | None:
        """None if there was nothing to measure."""
        if not self._count:
            return None
        return Statistics(
            self._count,
            int(self._least),
            float(np.median(np.concatenate(self._chosen))),
            self._sum / self._count,
            int(self._most),
        )


class Measure(dict[str, Sampler]):
    """Samplers by name, made when first asked for."""

    def __missing__(self, name: str) -> Sampler:
        """A new, empty one."""
        self[name] = Sampler()
        return self[name]

    def statistics(self) -> dict[str, Statistics]:
        """Those that have anything, by name."""
        found = ((name, sampler.statistics()) for name, sampler in self.items())
        return {name: statistics for name, statistics in found if statistics is not None}


def measure_reads(reads: ReadArrays, measure: Measure) -> None:
    """Add the widths of latch and clocks, and the lengths."""
    (f0, f1), (r0, r1) = reads.fall_cuts, reads.rise_cuts
    falls, rises = np.append(reads.falls, 0), np.append(reads.rises, 0)
    count_falls, count_rises = f1 - f0, r1 - r0
    usual = (count_falls > 0) & (count_rises > 0)
    usual[usual] = falls[f0[usual]] < rises[r0[usual]]
    low = np.where(usual, np.minimum(count_falls, count_rises), 0)
    high = np.where(usual, np.minimum(count_falls - 1, count_rises), 0)
    measure["latch width"].add(reads.latch_ends - reads.starts)
    measure["clock low"].add(rises[_ragged(r0, low)] - falls[_ragged(f0, low)])
    measure["clock high"].add(falls[_ragged(f0 + 1, high)] - rises[_ragged(r0, high)])
    measure["latch to first clock"].add(falls[f0[usual]] - reads.latch_ends[usual])
    measure["read length"].add(rises[r1[usual] - 1] - reads.starts[usual])


def _ragged(first: NDArray[np.intp], counts: NDArray[np.intp]) -> NDArray[np.intp]:
    """``counts[i]`` numbers from ``first[i]`` on, one row after the other."""
    before = np.cumsum(counts) - counts
    places: NDArray[np.intp] = np.repeat(first - before, counts) + np.arange(int(counts.sum()))
    return places
