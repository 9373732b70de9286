"""What the readers of captures share: the pieces they hand on, and errors with a place.

A capture is read as a stream of `Piece`s, each a stretch of time. Whoever takes them keeps what
is needed and lets the rest go, so memory does not grow with the file.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from padbench.core.timeline import Times

__all__ = ["Changes", "Piece", "WaveError"]

Changes = tuple[Times, NDArray[np.uint8]]
"""Times (picoseconds, never falling) and the levels a wire then has; two arrays of one length."""


class WaveError(ValueError):
    """A wave file that cannot be used: ``file: line: what is wrong; what would be right``."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of a capture, from the end of the piece before up to ``end_ps``.

    ``changes`` has the chosen wires under the names they were asked for; a volts channel has its
    zone here (LOW, HIGH, or UNKNOWN between the thresholds). ``events`` are moments without a
    level. ``gaps`` are (start, end) in picoseconds in which the writer recorded nothing.
    ``broken_off`` says at which place the file ends in the middle of something, in the last piece
    only. ``volts`` has the least and the greatest voltage of channels that were followed for that.
    """

    end_ps: int
    changes: Mapping[str, Changes]
    events: Mapping[str, Times] = field(default_factory=dict)
    gaps: tuple[tuple[int, int], ...] = ()
    broken_off: str | None = None
    volts: Mapping[str, tuple[float, float]] = field(default_factory=dict)
