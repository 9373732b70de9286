"""Statistics of widths that come in portions, in bounded memory."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padbench.core.decode import ReadArrays, inside
from padbench.core.timeline import Times

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


def clock_parts(reads: ReadArrays) -> tuple[NDArray[np.bool_], Times, Times]:
    """Which reads begin with a falling clock, and the low and the high parts of their clocks."""
    (f0, f1), (r0, r1) = reads.fall_cuts, reads.rise_cuts
    usual: NDArray[np.bool_] = (f1 > f0) & (r1 > r0)
    usual[usual] = reads.falls[f0[usual]] < reads.rises[r0[usual]]
    low = np.where(usual, np.minimum(f1 - f0, r1 - r0), 0)
    high = np.where(usual, np.minimum(f1 - f0 - 1, r1 - r0), 0)
    later = f0 + 1
    return (
        usual,
        reads.rises[inside((r0, r0 + low))] - reads.falls[inside((f0, f0 + low))],
        reads.falls[inside((later, later + high))] - reads.rises[inside((r0, r0 + high))],
    )


def measure_reads(reads: ReadArrays, measure: Measure) -> None:
    """Add the widths of latch and clocks, and the lengths."""
    usual, low, high = clock_parts(reads)
    measure["latch width"].add(reads.latch_ends - reads.starts)
    measure["clock low"].add(low)
    measure["clock high"].add(high)
    first, last = reads.fall_cuts[0][usual], reads.rise_cuts[1][usual] - 1
    measure["latch to first clock"].add(reads.falls[first] - reads.latch_ends[usual])
    measure["read length"].add(reads.rises[last] - reads.starts[usual])
