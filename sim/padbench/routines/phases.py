"""Which phases of a fetch can change a run: the plain engine's arithmetic, all phases at once."""

import numpy as np
import numpy.typing as npt

from padbench.routines.lengths import reads_ahead_of

__all__ = ["touched_phases"]

Phases = npt.NDArray[np.int64]

_PORT = 2


def touched_phases(kinds: bytes, period: int, limit: int) -> Phases:
    """Phases, rising, with a stop in a port read, or with so many stops that the limit is passed.

    ``kinds`` is the row of cycles of an undisturbed run (see `padbench.routines.run.Run`),
    ``limit`` and ``period`` are CPU cycles. Why every other phase ends as the undisturbed
    run does is shown at the top of `padbench.routines.plain`; a test compares the two.
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
