"""What a console must see, worked out from the facts and without any simulation.

The serial order, the level past the end and what a stopped read does are common practice; the
policies for opposite directions are those in use. The simulation has its own code for all of it,
so that each is a check on the other.
"""

from collections.abc import Iterable, Sequence

from padbench.core.buttons import OPPOSITES, byte_of
from padbench.core.pad import Beside, Policy
from padbench.scenarios.script import Bits

Moves = Sequence[tuple[int, int]]


def held_state(moves: Moves, at: int, policy: Policy) -> int:
    """The byte that a pad with this policy passes on at a time (picoseconds).

    ``moves`` are (picoseconds, byte of closed contacts) in time order; a move at ``at`` counts.
    Opposite directions that closed at the same instant cancel out unless the policy is "both".
    """
    now = closed_contacts(moves, at)
    if policy == "both":
        return now
    for pair in OPPOSITES:
        one, other = (byte_of([name]) for name in pair)
        if now & one and now & other:
            since_one, since_other = _since(moves, at, one), _since(moves, at, other)
            keep = 0
            if policy != "neither" and since_one != since_other:
                one_is_later = since_one > since_other
                keep = one if one_is_later == (policy == "newer") else other
            now = now & ~(one | other) | keep
    return now


def closed_contacts(moves: Moves, at: int) -> int:
    """The byte of contacts closed at a time (picoseconds); a move at that time counts."""
    return next((byte for when, byte in reversed(moves) if when <= at), 0)


def _since(moves: Moves, at: int, bit: int) -> int:
    """When the contact, closed at ``at``, last closed; equal for two that never were open."""
    since = 0
    for when, byte in reversed([move for move in moves if move[0] <= at]):
        if not byte & bit:
            return since
        since = when
    return since


def expected_bits(
    held: int,
    *,
    clocks: int = 8,
    stages: int = 8,
    serial: int | None = 0,
    stopped_bit: int = 0,
    extra_clocks: int = 0,
    first: int = 0,
    beside: Sequence[Beside] = (),
) -> Bits:
    """The bits of one read of ``clocks`` samples.

    Eight buttons come first, then stages without a button (not pressed), then the level of the
    serial input without end: 0 reads as pressed, 1 as not pressed, None as either. A read that is
    stopped at ``stopped_bit`` (1 is the first) loses ``extra_clocks`` bits there, and all later
    ones move up. ``first`` and ``beside`` as in `PadModel`.
    """
    past = None if serial is None else serial == 0
    own = wire_bits(held, stages)
    wire = [*[False] * first, *own[: len(own) - first], *[past] * (clocks + extra_clocks)]
    for one in beside:
        wire[one.first : one.first + 8] = wire_bits(one.byte, 8)
    if stopped_bit:
        del wire[stopped_bit - 1 : stopped_bit - 1 + extra_clocks]
    return tuple(wire[:clocks])


def wire_bits(held: int, stages: int) -> list[bool | None]:
    """What a register that has just loaded will show: buttons, then stages without one."""
    return [*(bool(held & 128 >> place) for place in range(8)), *[False] * (stages - 8)]


def accepted_states(bytes_read: Iterable[int], passes: int, before: int = 0) -> tuple[int, ...]:
    """What a console acts on that wants all ``passes`` reads of a poll to agree (common practice).

    Where they differ it keeps what it had, ``before`` at first.
    """
    reads = list(bytes_read)
    states = []
    for first in range(0, len(reads) - passes + 1, passes):
        group = set(reads[first : first + passes])
        before = group.pop() if len(group) == 1 else before
        states.append(before)
    return tuple(states)


def allowed_states(reads: Sequence[Bits], passes: int) -> tuple[tuple[Bits, ...], ...]:
    """For each poll, the states that a console may act on that wants all passes to agree.

    ``reads`` are the expected bits; a bit that may read either way leaves more than one state
    open: the passes may agree on it either way, or differ, and then the console keeps what it had.
    """
    states: tuple[Bits, ...] = ((False,) * 8,)
    polls = []
    for first in range(0, len(reads) - passes + 1, passes):
        group = [(*bits, *(False,) * 8)[:8] for bits in reads[first : first + passes]]
        merged = tuple(_agreed(column) for column in zip(*group, strict=True))
        if "differ" not in merged:
            open_bits = any(None in bits for bits in group)
            agreed: Bits = merged  # type: ignore[assignment]
            states = (*(states if open_bits else ()), agreed)
        polls.append(states)
    return tuple(polls)


def _agreed(column: Iterable[bool | None]) -> bool | str | None:
    known = {bit for bit in column if bit is not None}
    return "differ" if len(known) > 1 else next(iter(known), None)


def fits(byte: int, pattern: Bits) -> bool:
    """Whether a byte is one of those that a pattern of eight bits stands for."""
    return all(
        bit is None or bit == bool(byte & 128 >> place) for place, bit in enumerate(pattern[:8])
    )
