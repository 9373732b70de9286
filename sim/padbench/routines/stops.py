"""Where the fetches stop a run, by arithmetic on its row of cycles, all phases at once.

    row = run.kinds                                       # of an undisturbed run
    touched_phases(row, period=432, limit=29_780)         # those whose cases have to be run

What need not be run, and this is the proof. The CPU is a function of the values it reads. A stop
repeats one read and changes no value, except that a pad takes a step for each read of its port. So
up to the first stop in a port read a case has exactly the cycles of the undisturbed run with the
same held state, moved back by the stolen ones and by sprite copies, in which no value plays a part;
where the stops fall follows by arithmetic from which cycles are reads. A case whose stops all miss
the ports therefore ends as the undisturbed run did, if that leaves it within the cycle limit; if
not, it is run like the rest. Which phases those are depends only on the row of reads and writes, so
held states that share it share the arithmetic.

Tests compare it with the same done a phase at a time, and run cases of all kinds the long way.
"""

import numpy as np
import numpy.typing as npt

from padbench.routines.console import COPY_CYCLES

Phases = npt.NDArray[np.int64]

READ, COPY = 1, 4
_PORTS = (2, 3)
"""Kinds of cycles: a read, a write that starts a sprite copy, reads of a port; see `RoutineRun`."""


def copies_end(now: Phases, requested: Phases, period: Phases) -> tuple[Phases, Phases]:
    """`padbench.routines.console.copy_ends` for arrays; period 0 is no fetch."""
    end = now + COPY_CYCLES + np.where(period > 0, (now - requested) & 1, 0)
    while (inside := requested < end).any():
        end = np.where(inside, np.where(requested + 3 < end, end + 2, requested + 4), end)
        requested = np.where(inside, requested + period, requested)
    return end, requested


def reads_ahead_of(row: npt.NDArray[np.uint8]) -> Phases:
    """For each cycle, and one more, the place of the first read at or after it; or the length."""
    last = len(row)
    places = np.where((row >= READ) & (row != COPY), np.arange(last), last)
    return np.append(np.minimum.accumulate(places[::-1])[::-1], last)


def touched_phases(kinds: bytes, period: int, limit: int) -> Phases:
    """Phases, rising, with a stop in a port read, or with so many stops that the limit is passed.

    ``kinds`` is the row of cycles of an undisturbed run, ``limit`` and ``period`` are CPU cycles.
    """
    return np.flatnonzero(first_stops(kinds, period, limit) >= 0)


def first_stops(kinds: bytes, period: int, limit: int, ports: tuple[int, ...] = _PORTS) -> Phases:
    """For each phase the place of its first stop in a read of these kinds, -1 if there is none.

    Where so many other stops come that the limit is passed it is the length of the row.
    """
    row = np.frombuffer(kinds, np.uint8)
    last = len(row)
    ahead = reads_ahead_of(row)
    port = np.append(np.isin(row, ports), False)
    found = np.full(period, -1)
    copies = np.append(np.flatnonzero(row == COPY), last)
    phase = np.arange(period)
    requested, stolen, behind, copied = phase, *np.zeros((3, period), np.int64)
    while len(phase):
        place = np.minimum(np.maximum(requested - stolen, behind), last)
        place = ahead[place]
        copy = copies[copied]
        if (first := copy < place).any():
            now = copy + 1 + stolen
            end, then = copies_end(now, requested, np.full(len(now), period))
            stolen = np.where(first, stolen + end - now, stolen)
            requested = np.where(first, then, requested)
            behind = np.where(first, copy + 1, behind)
            copied = copied + first
            continue
        # Past the last read there are no more stops; then only the time they took can matter.
        over = place >= last
        found[phase[over & (last + stolen > limit)]] = last
        found[phase[port[place]]] = place[port[place]]
        on = ~(over | port[place])
        phase, requested, stolen, place = phase[on], requested[on], stolen[on], place[on]
        copied = copied[on]
        # Three cycles if the stop was put off by an odd number, else four: see `stolen_cycles`.
        stolen = stolen + 4 - ((place + stolen - requested) & 1)
        behind = place + 1
        requested = requested + period
    return found
