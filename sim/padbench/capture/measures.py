"""Statistics of widths that come in portions, in bounded memory."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

__all__ = ["Measure", "Sampler", "Statistics"]

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
        self._chosen: list[np.ndarray[tuple[int, ...], np.dtype[np.int64]]] = []

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
        return dict(self._filled())

    def _filled(self) -> Iterator[tuple[str, Statistics]]:
        for name, sampler in self.items():
            found = sampler.statistics()
            if found is not None:
                yield name, found
