"""The reads of a capture, as rows and one by one, and when they saw each button go down and up."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from padbench.core.buttons import BUTTONS, OPPOSITES, byte_of, pressed_in
from padbench.core.timeline import Times

ROW = np.dtype(
    [
        ("start", "i8"),
        ("end", "i8"),
        ("byte", "u1"),
        ("held", "u1"),
        ("undecided", "u1"),
        ("missing", "u1"),
        ("clocks", "u2"),
        ("extra", "u8"),
        ("flags", "u1"),
        ("later", "u8"),
        ("unsure", "u8"),
        ("contacts", "u1"),
        ("settled", "u1"),
    ]
)
"""One read in 49 bytes: a capture of a day is a few hundred megabytes."""

CUT_SHORT, OPEN_ENDED, IN_GAP, UNEVEN, PAIRED, IN_LATCH, SPIKED = 1, 2, 4, 8, 16, 32, 64
INCOMPLETE = CUT_SHORT | OPEN_ENDED
"""Fewer samples than wanted: a read of as many or more is whole, whether `UNEVEN` or not.

Clocks are `PAIRED` if there are more than wanted and all stand in close pairs, `IN_LATCH` if
too few come behind the latch; a latch is `SPIKED` if it is less than half as long as the others
(assumed, as for close pairs).
"""

BOUNCE_PS = 10 * 10**9
"""Contacts bounce for 1 to 5 ms, sometimes 10 (from memory)."""

_OPPOSITE = [byte_of(pair) for pair in OPPOSITES]


@dataclass(frozen=True, slots=True)
class SeenRead:
    """A read of a capture. Bytes as in `padbench.core.buttons`.

    ``byte`` is what the console has after it, ``held`` the first eight levels that stood on the
    line, which is what the pad had loaded: they differ where the console was made to miss one.
    ``undecided`` and ``missing`` are masks of ``byte``. ``extra`` are the clocks, from 1, that the
    program did not ask for. ``complete``: at least as many bits as wanted were sampled before the
    next latch and before the end of the capture; else it is ``cut_short`` or ``open_ended``.
    ``later`` and ``unsure`` are as ``byte`` and ``undecided`` for bits 9 and on, 9 in the lowest.
    ``contacts`` is what the register's recorded inputs had when its load ended, ``settled`` a mask
    of those that surely had it.
    """

    number: int
    start_ps: int
    end_ps: int
    byte: int
    held: int
    undecided: int
    missing: int
    clocks: int
    extra: tuple[int, ...]
    cut_short: bool
    open_ended: bool
    in_gap: bool
    later: int = 0
    unsure: int = 0
    contacts: int = 0
    settled: int = 0

    @classmethod
    def of(cls, row: np.void | tuple[int, ...], number: int) -> "SeenRead":
        """From a row of `ROW`, or what ``tolist`` makes of one; reads are counted from 1."""
        values = row if isinstance(row, tuple) else row.tolist()
        extra, flags = values[7:9]
        clocks = tuple(n + 1 for n in range(64) if extra >> n & 1) if extra else ()
        flagged = [bool(flags & flag) for flag in (CUT_SHORT, OPEN_ENDED, IN_GAP)]
        fields: list[Any] = [number, *values[:7], clocks, *flagged, *values[9:]]
        return cls(*fields)

    def later_bits(self, wanted: int) -> str:
        """Bits 9 and on of so many wanted: 1 is pressed, ? undecided."""
        return "".join(
            "?" if self.unsure >> n & 1 else str(self.later >> n & 1) for n in range(wanted - 8)
        )

    def own(self, first: int) -> tuple[int, int]:
        """Byte and undecided bits of a pad whose bits begin at a place, from 0; 8 and on of those
        that `later` has."""
        if not first:
            return self.byte, self.undecided
        places = [(128 >> n, first - 8 + n) for n in range(8)]
        byte, unsure = (
            sum(bit for bit, at in places if bits >> at & 1) for bits in (self.later, self.unsure)
        )
        return byte, unsure

    @property
    def complete(self) -> bool:
        """Whether all bits were sampled."""
        return not (self.cut_short or self.open_ended)

    @property
    def sure(self) -> bool:
        """Whether the byte can be relied on."""
        return not (self.missing or self.undecided or self.in_gap)

    @property
    def pressed(self) -> tuple[str, ...]:
        """Buttons the console takes as pressed."""
        return pressed_in(self.byte)


UNSEEN = np.iinfo(np.int64).min
"""A time at which nobody looked."""


class Press(NamedTuple):
    """A button down. ``down_ps`` is the start of the first read that saw it, ``up_ps`` that of the
    first that did not any more; None at the ends of the capture, where nobody saw it happen.
    """

    button: str
    down_ps: int | None
    up_ps: int | None


def press_times(rows: NDArray[np.void]) -> dict[str, tuple[Times, Times]]:
    """When each button that was pressed went down and up (picoseconds), from rows of `ROW`;
    `UNSEEN` where nobody saw it. Reads that are not sure say nothing, and ``held`` is what counts:
    a bit that the console lost was no press and no release.
    """
    sure = rows[(rows["missing"] == 0) & (rows["undecided"] == 0) & (rows["flags"] & IN_GAP == 0)]
    # Nobody saw what changes at the first read, or after the last.
    times = np.concatenate([[UNSEEN], sure["start"][1:], [UNSEEN]])
    found = {}
    for place, button in enumerate(BUTTONS):
        down = np.concatenate([[False], sure["held"] & 128 >> place > 0, [False]])
        changes = np.flatnonzero(down[1:] != down[:-1])
        if len(changes):
            found[button] = times[changes[::2]], times[changes[1::2]]
    return found


def presses(times: Mapping[str, tuple[Times, Times]]) -> tuple[Press, ...]:
    """In order of going down."""
    every = [
        Press(button, None if down == UNSEEN else down, None if up == UNSEEN else up)
        for button, some in times.items()
        for down, up in zip(*(part.tolist() for part in some), strict=True)
    ]
    return (*sorted(every, key=lambda one: (one.down_ps or UNSEEN, one.up_ps or -UNSEEN)),)


def opposites(byte: int) -> bool:
    """Whether a byte has two opposite directions in it."""
    return any(byte & pair == pair for pair in _OPPOSITE)
