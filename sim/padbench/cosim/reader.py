"""What a reader's reads must be, what it must offer, and its pace: worked out from its wires.

A reader chooses the moments of its latch itself, so what it loads is known only afterwards: the
contacts as they stood when its latch fell.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Literal

import numpy as np

from padbench.core.buttons import spelled
from padbench.core.decode import Read
from padbench.core.findings import Finding, Met, Rule
from padbench.core.levels import HIGH
from padbench.core.limits import Limit
from padbench.core.stimulus import PollTiming
from padbench.core.timeline import Wire
from padbench.cosim.job import Poll, ReaderRun
from padbench.scenarios import Expected, Script
from padbench.scenarios.expect import allowed_states, expected_bits
from padbench.scenarios.script import Bits
from padbench.trials.scenario_run import Problem

_TEXT = "what differs most from the sheet's poll is {what}, by {measured:4}"
_PACE = Rule(
    "reader.pace",
    "s",
    {"pass": _TEXT, "fail": _TEXT, "not-judged": "there is no whole read to see a pace of"},
)

StrobeFault = Literal["offer", "differ", "reset", "high", "let-go", "shown"]
"""Another byte than the reads' was offered; one although the reads differ, or after a reset; valid
is high between offers; the byte offered did not stand; something shows after a reset.
"""


@dataclass(frozen=True, slots=True)
class StrobeProblem(Problem):
    """What is wrong with what a reader offers.

    Of a wrong offer ``expected`` and ``got`` are the bytes, None for no byte or an unknown one, and
    ``read`` is the first read of that poll.
    """

    fault: StrobeFault = "offer"
    expected: int | None = None
    got: int | None = None

    @property
    def offers(self) -> bool:
        """Whether it is about an offer, and thus has bytes and a read."""
        return self.fault in ("offer", "differ", "reset")


def as_it_was_made(
    script: Script, run: ReaderRun, record: Mapping[str, Any], reads: Sequence[Read]
) -> Script:
    """The script with what must come of these reads; times in a read count from the run's base."""
    expected: list[Expected] = []
    contacts = _Contacts(record)
    for poll, own in zip(run.polls, _of_polls(record, reads), strict=True):
        if poll.reset is not None:
            expected += [_given_up(read, contacts) for read in own]
            continue
        for turn in range(run.passes):
            read = own[turn] if turn < len(own) else None
            lost = poll.lost[turn] if turn < len(poll.lost) else (0, 0)
            expected.append(_of_read(read, contacts, poll, lost))
    accepted: tuple[tuple[Bits, ...], ...] = ()
    if run.passes > 1 and not any(poll.reset for poll in run.polls):
        accepted = allowed_states([read.bits for read in expected], run.passes)
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
    return [reads[first:last] for first, last in pairwise(cuts)]


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
    begun = [*record["polls"], record["end"]]
    place = 0
    for number, (poll, own) in enumerate(zip(run.polls, _of_polls(record, reads), strict=True)):
        after, before = begun[number], begun[number + 1]
        got = [byte for at, byte in record["strobes"] if after < at <= before]
        want: set[int] = set()
        if poll.reset is None:
            group = expected[place : place + run.passes]
            want = {
                _byte(read, own[turn] if turn < len(own) else None)
                for turn, read in enumerate(group)
            }
        agreed = next(iter(want)) if len(want) == 1 else None
        if got != ([] if agreed is None else [agreed]):
            fault: StrobeFault = "reset" if poll.reset else "differ" if agreed is None else "offer"
            yield StrobeProblem(
                _OFFERS + ("{offered:list}" if got else "no byte") + _WANTED[fault],
                {"poll": number + 1, "offered": tuple(map(_named, got)), "wanted": agreed},
                after - record["base"],
                place + 1,
                fault,
                agreed,
                next((byte for byte in got if byte != agreed), next(iter(got), None)),
            )
        place += len(own) if poll.reset is not None else run.passes
    falls = np.asarray([read.latch_end_ps for read in reads], np.int64)
    if len(falls) and (valid.at(falls) == HIGH).sum() > 1:
        yield StrobeProblem(_HIGH, at=int(falls[0]), fault="high")
    if keeps:
        yield from _let_go(record)
    if released and any(byte != 0 for byte in record["cleared"]):
        shown = tuple(map(_named, record["cleared"]))
        yield StrobeProblem(_SHOWN, {"shown": shown}, fault="shown")


_OFFERS = "poll {poll}: it offers "
_WANTED = {
    "offer": ", expected {wanted:buttons}",
    "differ": ", expected nothing, as its reads differ",
    "reset": ", expected nothing, as it was reset",
}
_HIGH = "valid is high although nothing is offered"
_LET_GO = "the byte offered before has become {byte}"
_SHOWN = "after a reset it shows {shown:list}, nothing pressed was promised"


def _named(byte: int | None) -> str:
    return "an unknown byte" if byte is None else spelled(byte)


def _let_go(record: Mapping[str, Any]) -> Iterator[Problem]:
    """The first byte that no longer stands in the poll after; a reset clears what stood."""
    if record["cleared"]:
        return
    for at, byte in record["kept"]:
        offered = [strobed for when, strobed in record["strobes"] if when < at][-1:]
        if offered and offered[0] != byte:
            yield StrobeProblem(
                _LET_GO, {"byte": _named(byte)}, at - record["base"], fault="let-go"
            )
            return


def _byte(expected: Expected, read: Read | None) -> int:
    """The expected byte, its open bits as they came."""
    got = read.bits if read is not None else ()
    return sum(
        128 >> place
        for place, bit in enumerate(expected.bits[:8])
        if (bit if bit is not None else place < len(got) and got[place])
    )


def judge_pace(reads: Iterable[Read], timing: PollTiming, within: Limit) -> Finding:
    """``reader.pace``: no width in a whole read is further from ``timing`` than ``within``."""
    whole = [read for read in reads if len(read.clock_rises) == 8]
    if not whole:
        return Finding(_PACE, "not-judged", sources=within.sources)
    off, at, what = max(width for read in whole for width in _off(read, timing))
    return Finding(
        _PACE,
        "fail" if off > within.ps else "pass",
        measured=off * 1e-12,
        limit=within.ps * 1e-12,
        margin=(within.ps - off) * 1e-12,
        met=Met(at_ps=at),
        sources=within.sources,
        facts={"what": what},
    )


def _off(read: Read, timing: PollTiming) -> Iterator[tuple[int, int, str]]:
    """How far each width is from the sheet's: (picoseconds, when, which)."""
    falls, rises = read.clock_falls, read.clock_rises
    widths = [
        (read.start_ps, read.latch_end_ps, timing.latch_width, "the latch"),
        (read.latch_end_ps, falls[0], timing.latch_to_clock, "the pause before the first clock"),
        *(
            (fall, rise, timing.clock_low, "the low part of a clock")
            for fall, rise in zip(falls, rises, strict=False)
        ),
        *(
            (rise, fall, timing.clock_high, "the high part of a clock")
            for rise, fall in zip(rises, falls[1:], strict=False)
        ),
    ]
    for start, end, wanted, what in widths:
        yield abs(end - start - wanted), start, what
