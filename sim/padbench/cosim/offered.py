"""What a reader's reads must be, and what it must offer: worked out from what its wires did.

A reader chooses the moments of its latch itself, so what it loads is known only afterwards: the
contacts as they stood when its latch fell.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from padbench.core.buttons import spelled
from padbench.core.decode import Read
from padbench.core.timeline import HIGH, Wire
from padbench.cosim.job import Poll, ReaderRun
from padbench.scenarios import Expected, Script
from padbench.scenarios.expect import allowed_states, expected_bits
from padbench.scenarios.script import Bits
from padbench.trials import Problem

__all__ = ["WrongOffer", "as_it_was_made", "strobe_problems"]


@dataclass(frozen=True, slots=True)
class WrongOffer(Problem):
    """A reader offers another byte than it read; None: no byte, or an unknown one.

    ``read`` is the first read of that poll.
    """

    expected: int | None = None
    got: int | None = None


def as_it_was_made(
    script: Script, run: ReaderRun, record: Mapping[str, Any], reads: Sequence[Read]
) -> Script:
    """The script with what must come of these reads; times in a read count from the run's base."""
    expected: list[Expected] = []
    contacts = _Contacts(record)
    for poll, made in zip(run.polls, _of_polls(record, reads), strict=True):
        if poll.reset is not None:
            expected += [_given_up(read, contacts) for read in made]
            continue
        for turn in range(run.passes):
            read = made[turn] if turn < len(made) else None
            lost = poll.lost[turn] if turn < len(poll.lost) else (0, 0)
            expected.append(_of_read(read, contacts, poll, lost))
    accepted: tuple[tuple[Bits, ...], ...] = ()
    if run.passes > 1 and not any(poll.reset for poll in run.polls):
        accepted = allowed_states([one.bits for one in expected], run.passes)
    return replace(
        script,
        expected=tuple(expected),
        passes=run.passes if accepted else 1,
        accepted=accepted,
        breaks=frozenset(),
        tolerates=script.tolerates | {"timing.setup-parallel"},
    )


class _Contacts:
    """What was down when."""

    def __init__(self, record: Mapping[str, Any]) -> None:
        base = record["base"]
        self.times = np.asarray([at - base for at, _ in record["contacts"]], np.int64)
        self.bytes = [byte for _, byte in record["contacts"]]

    def at(self, when: int) -> tuple[int, int]:
        """The byte at a moment, and a mask of what moved at that very moment."""
        after = int(np.searchsorted(self.times, when, side="right")) - 1
        before = int(np.searchsorted(self.times, when, side="left")) - 1
        byte = self.bytes[max(0, after)]
        return byte, byte ^ self.bytes[max(0, before)]


def _of_polls(record: Mapping[str, Any], reads: Sequence[Read]) -> list[Sequence[Read]]:
    starts = [read.start_ps for read in reads]
    begun = [at - record["base"] for at in record["polls"]]
    cuts = [*np.searchsorted(starts, begun).tolist(), len(reads)]
    cuts[0] = 0
    return [reads[one:other] for one, other in pairwise(cuts)]


def _of_read(read: Read | None, contacts: _Contacts, poll: Poll, lost: tuple[int, int]) -> Expected:
    held, moved = contacts.at(read.latch_end_ps) if read is not None else (0, 0xFF)
    bit, count = lost
    bits = expected_bits(held, serial=poll.serial, stopped_bit=bit, extra_clocks=count)
    if moved:
        open_ = expected_bits(moved, serial=1, stopped_bit=bit, extra_clocks=count)
        bits = tuple(None if unsure else it for it, unsure in zip(bits, open_, strict=True))
    return Expected(bits, len(bits), held)


def _given_up(read: Read, contacts: _Contacts) -> Expected:
    """A reset came: anything will do."""
    held, _ = contacts.at(read.latch_end_ps)
    return Expected((None,) * len(read.bits), len(read.clock_rises), held)


def strobe_problems(
    run: ReaderRun,
    record: Mapping[str, Any],
    expected: Sequence[Expected],
    reads: Sequence[Read],
    valid: Wire,
    *,
    released: bool,
    keeps: bool,
) -> Iterator[Problem]:
    """What the reader offered, poll by poll, beside what it should have.

    ``valid`` is the wire of that name; it has to be low while nothing is offered. ``released``:
    after a reset it promises to show no button as pressed; ``keeps``: the byte stands until the
    next one is offered.
    """
    base, end = record["base"], record["end"]
    begun = [*record["polls"], end]
    place = 0
    for number, (poll, made) in enumerate(zip(run.polls, _of_polls(record, reads), strict=True)):
        after, before = begun[number], begun[number + 1]
        got = [byte for at, byte in record["strobes"] if after < at <= before]
        want: list[int] = []
        why = "it was reset"
        if poll.reset is None:
            group = expected[place : place + run.passes]
            bytes_ = {
                _byte(one, made[turn] if turn < len(made) else None)
                for turn, one in enumerate(group)
            }
            want = list(bytes_) if len(bytes_) == 1 else []
            why = "its reads differ"
        first = place + 1
        place += len(made) if poll.reset is not None else run.passes
        if got != want:
            offers = ", ".join("an unknown byte" if b is None else spelled(b) for b in got)
            wanted = spelled(want[0]) if want else f"nothing, as {why}"
            yield WrongOffer(
                "poll {poll}: it offers {offers}, expected {wanted}",
                {"poll": number + 1, "offers": offers if got else "no byte", "wanted": wanted},
                after - base,
                first,
                next(iter(want), None),
                next((byte for byte in got if byte not in want), next(iter(got), None)),
            )
    falls = np.asarray([read.latch_end_ps for read in reads], np.int64)
    if len(falls) and (valid.at(falls) == HIGH).sum() > 1:
        yield Problem("valid is high although nothing is offered", at=int(falls[0]))
    if keeps:
        yield from _let_go(record)
    if released and any(byte != 0 for byte in record["cleared"]):
        shown = ", ".join("an unknown byte" if b is None else spelled(b) for b in record["cleared"])
        text = "after a reset it shows {shown}, nothing pressed was promised"
        yield Problem(text, {"shown": shown})


def _let_go(record: Mapping[str, Any]) -> Iterator[Problem]:
    """The first byte that no longer stands in the poll after; a reset clears what stood."""
    if record["cleared"]:
        return
    for at, byte in record["kept"]:
        offered = [one for when, one in record["strobes"] if when < at][-1:]
        if offered and offered[0] != byte:
            shown = "an unknown byte" if byte is None else spelled(byte)
            text = "the byte offered before has become {shown}"
            yield Problem(text, {"shown": shown}, at - record["base"])
            return


def _byte(expected: Expected, read: Read | None) -> int:
    """The expected byte, its open bits as they came."""
    got = read.bits if read is not None else ()
    return sum(
        128 >> place
        for place, bit in enumerate(expected.bits[:8])
        if (bit if bit is not None else place < len(got) and got[place])
    )
