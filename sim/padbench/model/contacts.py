"""Contacts: buttons go down and up, the declared policy and the wiring make inputs of them.

processes = contacts(pad, stimulus.contacts, closed, inputs)
inputs_word(pad, 0x80)              # 0x7F: the input of stage 8 is low
"""

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from myhdl import delay

from padbench.core.buttons import OPPOSITES, byte_of
from padbench.core.pad import PadModel, Policy
from padbench.model.record import on_change


def contacts(pad: PadModel, moves: Iterable[tuple[int, int]], closed: Any, inputs: Any) -> Any:
    """Play ``moves`` ((picoseconds, byte) pairs in time order) on the contacts.

    ``closed`` (intbv signal of 8 bits) shows the contacts, stuck ones included; ``inputs`` (intbv
    signal, one bit a stage, bit 0 is stage 1) the register's parallel inputs: low where pressed.
    """
    effective = _arbiter(pad.policy)
    effective(pad.stuck)  # stuck contacts were there first

    def fingers() -> Any:
        at = 0
        for when, byte in moves:
            if when > at:
                yield delay(when - at)
                at = when
            closed.next = byte | pad.stuck

    def wires() -> None:
        inputs.next = inputs_word(pad, effective(int(closed)))

    return fingers(), on_change(wires, closed)


def inputs_word(pad: PadModel, pressed: int) -> int:
    """Levels of the parallel inputs for a byte of effective buttons; a stage without one is high.

    Two buttons on one stage pull the same input: either is enough.
    """
    low = 0
    for one in pad.beside:
        low |= one.byte << pad.stages - one.first - 8
    for bit, stage in pad.stage_of:
        if pressed & bit:
            low |= 1 << (stage - 1)
    mask, levels = pad.defect.inputs
    return (1 << pad.stages) - 1 & ~low & ~mask | levels


def first_inputs(pad: PadModel) -> int:
    """Levels of the parallel inputs before any button moves: stuck contacts, under the policy."""
    return inputs_word(pad, _arbiter(pad.policy)(pad.stuck))


def passed_on(policy: Policy, moves: Iterable[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """(picoseconds, byte of closed contacts) as a pad with this policy passes them on."""
    decide = _arbiter(policy)
    for when, closed in moves:
        yield when, decide(closed)


class _Pair:
    """Two opposite directions, in the order in which they went down."""

    def __init__(self, one: int, other: int) -> None:
        self.sides = (one, other)
        self.order: list[int] = []
        self.tied = False

    def passed(self, closed: int, policy: Policy) -> int:
        """What of this pair goes on, given all contacts closed now."""
        self.order = [side for side in self.order if closed & side]
        new = [side for side in self.sides if closed & side and side not in self.order]
        self.tied = len(new) == 2 or (self.tied and len(self.order) == 2)
        self.order += new
        if len(self.order) < 2 or policy == "both":
            return sum(self.order)
        if policy == "neither" or self.tied:
            return 0
        return self.order[-1 if policy == "newer" else 0]


def _arbiter(policy: Policy) -> Callable[[int], int]:
    """What a pad that decides passes on, called once for each change of its contacts.

    Opposite directions closed at the same instant have no first and no last: neither goes on.
    """
    pairs = [_Pair(byte_of([one]), byte_of([other])) for one, other in OPPOSITES]
    directions = sum(sum(pair.sides) for pair in pairs)

    def decide(closed: int) -> int:
        return closed & ~directions | sum(pair.passed(closed, policy) for pair in pairs)

    return decide
