"""Parts of a sweep on the machines of a Dask cluster; needs the extra ``cluster``.

    for tally in spread_on(cluster, do, known, work): ...

The cluster hands a part to another worker when one dies, so that the totals are those of one
process; what is known goes along with each part, as a worker may join at any time.
"""

import logging
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

__all__ = ["NoCluster", "joined", "spread_on"]

Known = TypeVar("Known")
Work = TypeVar("Work")
Result = TypeVar("Result")

_PATIENCE = 6.0
"""Seconds until a scheduler has to answer, and then until a worker has joined."""
_RETRIES = 5
_PARTS_AHEAD = 16
"""Parts under way at a time: enough for some machines, few enough that little is kept."""


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
    client: Any, do: Callable[[Known, Work], Result], known: Known, work: Sequence[Work]
) -> Iterator[Result]:
    """``do(known, part)`` for each part of the work, as they come; as `spread` in `work`.

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
