"""Pads bit-sliced: one bit of a 64-bit word is one case, one array of words is one wire.

    pads = PadLanes(pad, words)
    pads.inputs_are(wires_of(pad, contacts.effective()))
    pads.latch(ALL); pads.latch(NONE)
    bit = pads.output; pads.clock()

Edges are events in the order in which they happen; there is no time. An edge that only some cases
have comes with a mask. Where all have it no mask is paid for: a shift of all cases is a new order
of the same arrays, so no array is ever changed in place, and a copy of pads shares them.
"""

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from padbench.core.buttons import BUTTONS, OPPOSITES
from padbench.core.pad import PadModel, Policy

__all__ = ["ContactLanes", "PadLanes", "Words", "filled", "wires_of"]

Words: TypeAlias = npt.NDArray[np.uint64]

_ALL = np.uint64(0xFFFF_FFFF_FFFF_FFFF)


def filled(words: int, level: int) -> Words:
    """A wire that has the same level in ``64 * words`` cases."""
    return np.full(words, _ALL if level else 0, np.uint64)


class ContactLanes:
    """Eight contacts and the policy for opposite directions, as `padbench.model.contacts` has them.

    ``move`` closes exactly these contacts (eight wires in serial order, 1 is closed) besides the
    stuck ones; ``effective`` is what is passed on.
    """

    def __init__(self, pad: PadModel, words: int) -> None:
        self.policy: Policy = pad.policy
        self.stuck = [filled(words, pad.stuck >> (7 - place) & 1) for place in range(8)]
        nothing = filled(words, 0)
        self.closed = [nothing] * 8
        self._pairs = [tuple(BUTTONS.index(name) for name in pair) for pair in OPPOSITES]
        # Of each pair: whether its first side went down first, and whether both did at once.
        self._first = [nothing] * len(self._pairs)
        self._tied = [nothing] * len(self._pairs)
        self.move(self.closed)  # stuck contacts were there first

    def move(self, closed: Sequence[Words]) -> None:
        """All contacts of all cases at one moment."""
        before, now = self.closed, [a | b for a, b in zip(closed, self.stuck, strict=True)]
        self._tied, self._first = list(self._tied), list(self._first)
        for place, (one, other) in enumerate(self._pairs):
            fresh_one, fresh_other = now[one] & ~before[one], now[other] & ~before[other]
            both = now[one] & now[other]
            stayed = both & ~fresh_one & ~fresh_other
            self._tied[place] = (fresh_one & fresh_other) | (self._tied[place] & stayed)
            self._first[place] = (fresh_other & ~fresh_one) | (self._first[place] & stayed)
        self.closed = now

    def effective(self) -> list[Words]:
        """The buttons that the policy passes on, eight wires in serial order."""
        passed = list(self.closed)
        if self.policy == "both":
            return passed
        for place, (one, other) in enumerate(self._pairs):
            both = passed[one] & passed[other]
            if self.policy == "neither":
                keep_one = keep_other = ~both
            else:
                first, clear = self._first[place], ~self._tied[place]
                one_wins = first if self.policy == "older" else ~first
                keep_one = ~both | (one_wins & clear)
                keep_other = ~both | (~one_wins & clear)
            passed[one], passed[other] = passed[one] & keep_one, passed[other] & keep_other
        return passed


def wires_of(pad: PadModel, pressed: Sequence[Words], unknown: int = 0) -> list[Words]:
    """Levels of the parallel inputs, stage 1 first: low where a button on that stage is pressed.

    Without pull-ups an open contact is at no level; it gets the level ``unknown``.
    """
    nothing = np.zeros_like(pressed[0])
    low = [nothing] * pad.stages
    for bit, stage in pad.stage_of:
        place = 7 - (bit.bit_length() - 1)
        open_is_low = pad.floating and not unknown
        wired = np.full_like(nothing, _ALL) if open_is_low else pressed[place]
        low[stage - 1] = low[stage - 1] | wired
    return [~wire for wire in low]


class PadLanes:
    """The register in ``64 * words`` cases; stage by stage the truth table of the data sheet.

    Level high of the load makes all stages follow the inputs (a synchronous part: at a rising
    clock edge); low, each rising clock edge shifts by one, the serial input enters stage 1
    (CD4021B data sheet, SCHS024). A part that loads while the latch is low is ``load_inverted``.
    ``serial`` is the level of the serial input, ``unknown`` that of all stages at power-up.
    """

    def __init__(self, pad: PadModel, words: int, serial: int = 0, unknown: int = 0) -> None:
        self.transparent = pad.load == "transparent"
        self.inverted = pad.load_inverted
        self.serial = filled(words, serial)
        # What it powers up with nobody knows.
        self.stages = [filled(words, unknown)] * pad.stages
        self.inputs = [filled(words, 1)] * pad.stages
        self.load = filled(words, 0)
        self._all_load = self._none_loads = False
        self.latch(filled(words, 0), same=True)

    @property
    def output(self) -> Words:
        """The last stage."""
        return self.stages[-1]

    def copy(self) -> "PadLanes":
        """The same pads once more, to go on in another way."""
        other = object.__new__(PadLanes)
        other.__dict__.update(self.__dict__)
        return other

    def latch(self, level: Words, *, same: bool = False) -> None:
        """The latch line goes to these levels; ``same`` says that they are one level in all."""
        self.load = ~level if self.inverted else level
        self._all_load = same and bool(self.load[0])
        self._none_loads = same and not self._all_load
        self._follow()

    def inputs_are(self, levels: Sequence[Words]) -> None:
        """The parallel inputs go to these levels, stage 1 first."""
        self.inputs = list(levels)
        self._follow()

    def serial_is(self, level: Words) -> None:
        """The serial input goes to this level."""
        self.serial = level

    def clock(self, mask: Words | None = None) -> None:
        """A rising clock edge, in all cases or in those of the mask."""
        moved = [self.serial, *self.stages[:-1]]
        if not self.transparent:
            # Loading or not is decided by the edge itself.
            self._replace([_chosen(self.load, a, b) for a, b in _pairs(self.inputs, moved)], mask)
        elif self._none_loads:
            self._replace(moved, mask)
        elif not self._all_load:
            shifts = ~self.load if mask is None else mask & ~self.load
            self._replace(moved, shifts)

    def _follow(self) -> None:
        if not self.transparent or self._none_loads:
            return
        self._replace(self.inputs, None if self._all_load else self.load)

    def _replace(self, new: Sequence[Words], mask: Words | None) -> None:
        if mask is None:
            self.stages = list(new)
        else:
            self.stages = [_chosen(mask, a, b) for a, b in _pairs(new, self.stages)]


def _pairs(one: Sequence[Words], other: Sequence[Words]) -> list[tuple[Words, Words]]:
    return list(zip(one, other, strict=True))


def _chosen(mask: Words, one: Words, other: Words) -> Words:
    """``one`` where the mask is 1, else ``other``."""
    chosen: Words = other ^ ((one ^ other) & mask)
    return chosen
