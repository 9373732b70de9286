"""A sweep cut into parts, done here or by worker processes of this machine.

    for tally in done(parts(known, periods), workers=2): ...

Each part is some held states of one period. What comes back can be joined in any order, so the
totals are the same for any number of workers.
"""

import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any, TypeVar

from padbench.routines.fast import Survey, count
from padbench.routines.tally import Tally

__all__ = ["Part", "count_of", "done", "parts", "spread"]

Known = TypeVar("Known")
Work = TypeVar("Work")
Result = TypeVar("Result")

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
    """Each part's counts as they come. Raises `RoutineError` as `count` does."""
    return spread(count_of, known, work, workers)


def count_of(known: Survey, part: Part) -> Tally:
    """The counts of one part."""
    return count(known, part.period, part.first, part.end)


def spread(
    do: Callable[[Known, Work], Result], known: Known, work: Sequence[Work], workers: int = 1
) -> Iterator[Result]:
    """``do(known, part)`` for each part of the work, as they come.

    With several workers ``do`` has to be a function of a module, and ``known`` goes to each worker
    once. Memory grows with the workers, not with the parts.
    """
    if workers == 1:
        for part in work:
            yield do(known, part)
        return
    # A fresh interpreter each: a fork would take threads' locks along.
    pool = ProcessPoolExecutor(
        workers, mp_context=get_context("spawn"), initializer=_start, initargs=(do, known)
    )
    try:
        waiting: set[Future[Result]] = set()
        left = list(reversed(work))
        while left or waiting:
            while left and len(waiting) < 2 * workers:
                waiting.add(pool.submit(_do, left.pop()))
            ready, waiting = wait(waiting, return_when=FIRST_COMPLETED)
            for one in ready:
                yield one.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


_task: list[Any] = []


def _start(do: Callable[[Known, Work], Result], known: Known) -> None:
    """A worker begins; Ctrl-C is for the process that waits for it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _task[:] = [do, known]


def _do(part: Any) -> Any:
    do, known = _task
    return do(known, part)
