"""Work cut into parts, done here, by worker processes of this machine, or on a Dask cluster.

    for counts in parts_done(count, known, parts, workers=2): ...
    for counts in parts_done(count, known, parts, cluster="tcp://HOST:8786"): ...

What comes back may come in any order. A cluster needs the extra ``cluster``; it hands a part to
another worker when one dies, so that the totals are those of one process. What is known goes along
with each part there, as a worker may join at any time.
"""

import logging
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from multiprocessing import get_context
from typing import Any, TypeVar

__all__ = ["NoCluster", "joined", "parts_done", "spread", "spread_on"]

Known = TypeVar("Known")
Work = TypeVar("Work")
Done = TypeVar("Done")

_PATIENCE = 6.0
"""Seconds until a scheduler has to answer, and then until a worker has joined."""
_RETRIES = 5
_PARTS_AHEAD = 16
"""Parts under way at a time: enough for some machines, few enough that little is kept."""


def parts_done(
    do: Callable[[Known, Work], Done],
    known: Known,
    work: Sequence[Work],
    *,
    workers: int = 1,
    cluster: str | None = None,
) -> Iterator[Done]:
    """``do(known, part)`` for each part, as they come: here, in processes, or on a cluster.

    Raises `NoCluster` where there is none at that address.
    """
    if cluster is None:
        yield from spread(do, known, work, workers)
        return
    with joined(cluster) as client:
        yield from spread_on(client, do, known, work)


def spread(
    do: Callable[[Known, Work], Done], known: Known, work: Sequence[Work], workers: int = 1
) -> Iterator[Done]:
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
        waiting: set[Future[Done]] = set()
        left = list(reversed(work))
        while left or waiting:
            while left and len(waiting) < 2 * workers:
                waiting.add(pool.submit(_do, left.pop()))
            ready, waiting = wait(waiting, return_when=FIRST_COMPLETED)
            for future in ready:
                yield future.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


_task: list[Any] = []


def _start(do: Callable[[Known, Work], Done], known: Known) -> None:
    """A worker begins; Ctrl-C is for the process that waits for it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _task[:] = [do, known]


def _do(part: Any) -> Any:
    do, known = _task
    return do(known, part)


class NoCluster(Exception):
    """There is no cluster to be had; the message says why, in one line."""


@contextmanager
def joined(address: str) -> Iterator[Any]:
    """A client of the cluster whose scheduler is at this address. Raises `NoCluster`."""
    try:
        from distributed import Client  # noqa: PLC0415  (slow, and an extra)
    except ImportError:
        raise NoCluster("distributed is missing; pip install 'padbench[cluster]'") from None
    # A worker that dies is no news to the user: its part is done by another.
    logging.getLogger("distributed.client").setLevel(logging.ERROR)
    try:
        client = Client(address, timeout=_PATIENCE, set_as_default=False)
    except (OSError, ValueError, TimeoutError):
        raise NoCluster(
            f"no scheduler answers at {address[:80]!r}; give it as tcp://HOST:8786"
        ) from None
    try:
        try:
            client.wait_for_workers(1, timeout=_PATIENCE)
        except TimeoutError:
            raise NoCluster(f"no worker has joined {address[:80]!r}; start some") from None
        yield client
    finally:
        client.close()


def spread_on(
    client: Any, do: Callable[[Known, Work], Done], known: Known, work: Sequence[Work]
) -> Iterator[Done]:
    """``do(known, part)`` for each part of the work, as they come.

    ``do`` has to be a function of a module that the workers have. Raises `NoCluster` if a part
    cannot be done although it was tried again and again.
    """
    from distributed import KilledWorker, as_completed  # noqa: PLC0415

    left = list(reversed(work))

    def submit() -> Any:
        return client.submit(do, known, left.pop(), pure=False, retries=_RETRIES)

    first = [submit() for _ in range(min(_PARTS_AHEAD, len(left)))]
    coming = as_completed(first, loop=client.loop)
    for future in coming:
        try:
            yield future.result()
        except KilledWorker:
            raise NoCluster("workers die again and again; look at their logs") from None
        if left:
            coming.add(submit())
