"""A sweep cut into parts, done here or by worker processes of this machine.

    for tally in done(parts(known, periods), workers=2): ...

Each part is some held states of one period. What comes back can be joined in any order, so the
totals are the same for any number of workers.
"""

import signal
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from multiprocessing import get_context

from padbench.sweep.engine import Survey, count
from padbench.sweep.tally import Tally

__all__ = ["Part", "done", "parts"]

_STATES = 64
"""Held states in a part; less than a second even for a slow routine."""


@dataclass(frozen=True, slots=True)
class Part:
    """Held states ``first`` to ``end`` - 1 of a fetch period."""

    period: int
    first: int
    end: int


def parts(known: Survey, periods: Sequence[int], states: int = _STATES) -> list[Part]:
    """All cases of these periods, ``states`` held states a part."""
    held = len(known.row_of)
    return [
        Part(period, first, min(first + states, held))
        for period in periods
        for first in range(0, held, states)
    ]


def done(known: Survey, work: Sequence[Part], workers: int = 1) -> Iterator[Tally]:
    """Each part's counts as they come. Raises `RoutineError` as `count` does.

    Memory grows with the workers, not with the parts.
    """
    if workers == 1:
        for part in work:
            yield count(known, part.period, part.first, part.end)
        return
    # A fresh interpreter each: a fork would take threads' locks along.
    pool = ProcessPoolExecutor(
        workers, mp_context=get_context("spawn"), initializer=_start, initargs=(known,)
    )
    try:
        waiting: set[Future[Tally]] = set()
        left = list(reversed(work))
        while left or waiting:
            while left and len(waiting) < 2 * workers:
                waiting.add(pool.submit(_do, left.pop()))
            ready, waiting = wait(waiting, return_when=FIRST_COMPLETED)
            for one in ready:
                yield one.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


_known: list[Survey] = []


def _start(known: Survey) -> None:
    """A worker begins; Ctrl-C is for the process that waits for it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _known[:] = [known]


def _do(part: Part) -> Tally:
    return count(_known[0], part.period, part.first, part.end)
