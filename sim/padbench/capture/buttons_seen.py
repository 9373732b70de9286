"""When each button went down and up, as far as reads can tell."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from padbench.capture.rows import IN_GAP
from padbench.core.buttons import BUTTONS, OPPOSITES, byte_of

__all__ = ["BOUNCE_PS", "Press", "bounces", "opposites", "presses"]

BOUNCE_PS = 10 * 10**9
"""Contacts bounce for 1 to 5 ms, sometimes 10 (from memory)."""

_OPPOSITE = [byte_of(pair) for pair in OPPOSITES]


@dataclass(frozen=True, slots=True)
class Press:
    """A button down. ``down_ps`` is the start of the first read that saw it, ``up_ps`` that of the
    first that did not any more; None at the ends of the capture, where nobody saw it happen.
    """

    button: str
    down_ps: int | None
    up_ps: int | None


def presses(rows: NDArray[np.void]) -> tuple[Press, ...]:
    """In order of going down, from rows of `ROW`. Reads that are not sure say nothing, and ``held``
    is what counts: a bit that the console lost was no press and no release.
    """
    sure = rows[(rows["missing"] == 0) & (rows["undecided"] == 0) & (rows["flags"] & IN_GAP == 0)]
    if not len(sure):
        return ()
    held, starts = sure["held"], sure["start"]
    found: list[tuple[float, float, int, Press]] = []
    for place, button in enumerate(BUTTONS):
        down = held & 128 >> place > 0
        changes = np.flatnonzero(down[1:] != down[:-1]) + 1
        times: list[int | None] = starts[changes].tolist()
        if down[0]:
            times.insert(0, None)
        if len(times) % 2:
            times.append(None)
        for one, other in zip(times[::2], times[1::2], strict=True):
            up = math.inf if other is None else other
            found.append((one or 0, up, place, Press(button, one, other)))
    return tuple(press for *_, press in sorted(found, key=itemgetter(0, 1, 2)))


def bounces(found: Iterable[Press]) -> tuple[Press, ...]:
    """Presses that follow a release of the same button too soon for a thumb, or end too soon."""
    released: dict[str, int] = {}
    bounced = []
    for press in found:
        down, up = press.down_ps, press.up_ps
        before = released.get(press.button)
        short = down is not None and up is not None and up - down < BOUNCE_PS
        soon = down is not None and before is not None and down - before < BOUNCE_PS
        if short or soon:
            bounced.append(press)
        if up is not None:
            released[press.button] = up
    return tuple(bounced)


def opposites(byte: int) -> bool:
    """Whether a byte has two opposite directions in it."""
    return any(byte & pair == pair for pair in _OPPOSITE)
