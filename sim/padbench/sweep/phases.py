"""Which phases of a fetch can change a run: the plain engine's arithmetic, all phases at once."""

import numpy as np
import numpy.typing as npt

__all__ = ["hits_two", "reads_ahead_of", "touched_phases"]

Phases = npt.NDArray[np.int64]

_READ, _PORT = 1, 2
_MOST_STOLEN = 4


def reads_ahead_of(row: npt.NDArray[np.uint8]) -> Phases:
    """For each cycle, and one more, the place of the first read at or after it; or the length."""
    last = len(row)
    places = np.where(row >= _READ, np.arange(last), last)
    return np.append(np.minimum.accumulate(places[::-1])[::-1], last)


def hits_two(kinds: bytes, period: int, first: frozenset[int], second: frozenset[int]) -> bool:
    """Whether any phase stops a read of the first pass and one of the second.

    ``first`` and ``second`` are places in the row of cycles. Takes for granted that a stopped pass
    has the same cycles as an undisturbed one.
    """
    row = np.frombuffer(kinds, np.uint8)
    last = len(row)
    if period > last + _MOST_STOLEN:
        return False  # a second request comes after the end
    ahead = reads_ahead_of(row)
    passes = np.zeros(last + 1, np.uint8)
    passes[list(first)] |= 1
    passes[list(second)] |= 2
    requested: Phases = np.arange(period)
    stolen = behind = np.zeros(period, np.int64)
    seen = np.zeros(period, np.uint8)
    while len(requested):
        place = ahead[np.minimum(np.maximum(requested - stolen, behind), last)]
        seen = seen | passes[place]
        if (seen == 3).any():
            return True
        on = place < last
        requested, stolen, place, seen = requested[on], stolen[on], place[on], seen[on]
        stolen = stolen + 4 - ((place + stolen - requested) & 1)
        behind = place + 1
        requested = requested + period
    return False


def touched_phases(kinds: bytes, period: int, limit: int) -> Phases:
    """Phases, rising, with a stop in a port read, or with so many stops that the limit is passed.

    ``kinds`` is the row of cycles of an undisturbed run (see `padbench.console.run.Run`), ``limit``
    and ``period`` are CPU cycles. Why every other phase ends as the undisturbed run does is shown
    at the top of `padbench.console.plain`; a test compares the two.
    """
    row = np.frombuffer(kinds, np.uint8)
    last = len(row)
    ahead = reads_ahead_of(row)
    port = np.append(row >= _PORT, False)
    touched = np.zeros(period, np.bool_)
    phase = requested = np.arange(period)
    stolen = behind = np.zeros(period, np.int64)
    while len(phase):
        place = np.minimum(np.maximum(requested - stolen, behind), last)
        place = ahead[place]
        # Past the last read there are no more stops; then only the time they took can matter.
        over = place >= last
        touched[phase[over]] = last + stolen[over] > limit
        touched[phase[port[place]]] = True
        on = ~(over | port[place])
        phase, requested, stolen, place = phase[on], requested[on], stolen[on], place[on]
        # Three cycles if the stop was put off by an odd number, else four: see `stolen_cycles`.
        stolen = stolen + 4 - ((place + stolen - requested) & 1)
        behind = place + 1
        requested = requested + period
    return np.flatnonzero(touched)
