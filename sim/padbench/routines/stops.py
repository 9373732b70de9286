"""Where the fetches stop a run, by arithmetic on its row of cycles, all phases at once.

    row = run.kinds                                       # of an undisturbed run
    touched_phases(row, period=432, limit=29_780)         # those whose cases have to be run

What need not be run, and this is the proof. The CPU is a function of the values it reads. A stop
repeats one read and changes no value, except that a pad takes a step for each read of its port. So
up to the first stop in a port read a case has exactly the cycles of the undisturbed run with the
same held state, moved back by the stolen ones; where the stops fall follows by arithmetic from
which cycles are reads. A case whose stops all miss the ports therefore ends as the undisturbed run
did, if that leaves it within the cycle limit; if not, it is run like the rest. Which phases those
are depends only on the row of reads and writes, so held states that share it share the arithmetic.

`padbench.routines.plain` has the same, a phase at a time; tests compare the two, and run cases of
all kinds the long way.
"""

import numpy as np
import numpy.typing as npt

__all__ = ["READ", "reads_ahead_of", "touched_phases"]

Phases = npt.NDArray[np.int64]

READ, _PORT = 1, 2
"""Kinds of cycles from which on they are reads, and reads of a port; see `RoutineRun`."""


def reads_ahead_of(row: npt.NDArray[np.uint8]) -> Phases:
    """For each cycle, and one more, the place of the first read at or after it; or the length."""
    last = len(row)
    places = np.where(row >= READ, np.arange(last), last)
    return np.append(np.minimum.accumulate(places[::-1])[::-1], last)


def touched_phases(kinds: bytes, period: int, limit: int) -> Phases:
    """Phases, rising, with a stop in a port read, or with so many stops that the limit is passed.

    ``kinds`` is the row of cycles of an undisturbed run, ``limit`` and ``period`` are CPU cycles.
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
