"""Work cut into parts, done here, by worker processes of this machine, or on a Dask cluster.

    for counts in parts_done(count, known, parts, workers=2): ...
    for counts in parts_done(count, known, parts, cluster="tcp://HOST:8786"): ...

What comes back may come in any order. A cluster needs the extra ``cluster``; it hands a part to
another worker when one dies, so that the totals are those of one process. What is known goes along
with each part there, as a worker may join at any time.
"""

import asyncio
import logging
import os
import re
import signal
import socket
import threading
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import CancelledError, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from multiprocessing import get_context, parent_process
from multiprocessing.connection import Connection, wait
from typing import Any, TypeVar

from padbench import __version__

Known = TypeVar("Known")
Work = TypeVar("Work")
Done = TypeVar("Done")

_PATIENCE = 10.0
"""Seconds until a scheduler has to answer, and then until a worker has joined."""
_RETRIES = 5
"""So often a part is tried again that a worker took with it."""
_LOOK = 3.0
"""Seconds without a result after which the cluster is looked at, and so on."""
_LOOKS = 4
"""So many looks in a row may find no worker."""
_ADDRESS = re.compile(r"(tcp://)?([\w.-]+|\[[0-9A-Fa-f:.]+\]):\d{1,5}")
_PARTS_AHEAD = 16
"""Parts under way at a time: enough for some machines, few enough that little is kept."""


def parts_done(
    do: Callable[[Known, Work], Done],
    known: Known,
    work: Sequence[Work],
    *,
    workers: int = 1,
    cluster: str | None = None,
) -> Generator[Done, None, None]:
    """``do(known, part)`` for each part, as they come: here, in processes, or on a cluster.

    Raises `NoWorkers` where there is none at that address, and where workers end again and again.
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
    left = [(part, 0) for part in reversed(work)]
    pool = [Worker(do, known) for _ in range(min(workers, len(left)))]
    try:
        for worker in pool:
            worker.begin(left.pop())
        while any(worker.busy for worker in pool):
            for ready in wait([worker.pipe for worker in pool if worker.busy]):
                worker = next(one for one in pool if one.pipe is ready)
                part, tried = worker.task
                try:
                    yield worker.answer()
                except Ended:
                    # It was killed: another takes its place, and its part.
                    if tried == _RETRIES:
                        raise NoWorkers("workers end again and again; is memory short?") from None
                    worker.end()
                    pool[pool.index(worker)] = worker = Worker(do, known)
                    left.append((part, tried + 1))
                if left:
                    worker.begin(left.pop())
    finally:
        for worker in pool:
            worker.end()


class Worker:
    """A process that does part after part, and a pipe of its own to it.

    No lock and no queue is shared, so one that is killed at any moment takes nothing else along:
    the standard pool waits for ever for one that is killed while another is started (3.11).
    """

    def __init__(self, do: Callable[[Any, Any], Any], known: Any) -> None:
        # A fresh interpreter: a fork would take threads' locks along.
        context = get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self.process = context.Process(target=_work, args=(theirs,), daemon=True)
        with _deaf():
            self.process.start()
        theirs.close()
        self.told: Any = (do, known)
        self.task: Any = None

    @property
    def busy(self) -> bool:
        """Whether it has a part whose answer was not taken."""
        return self.task is not None

    def begin(self, task: Any) -> None:
        """Give it a part; whether it lives shows when the answer is read."""
        told, self.told = self.told, None
        self.task = task
        with suppress(OSError):
            if told is not None:
                self.pipe.send(told)
            self.pipe.send(task[0])

    def answer(self) -> Any:
        """What it makes of its part; raises what that raises, `Ended` if it has been killed."""
        try:
            done, error = self.pipe.recv()
        except (EOFError, OSError):
            raise Ended from None
        finally:
            self.task = None
        if error is not None:
            raise error
        return done

    def end(self) -> None:
        """Kill it, whatever it does."""
        self.process.kill()
        self.process.join()
        self.pipe.close()


class Ended(Exception):
    """A worker is no more."""


@contextmanager
def _deaf() -> Iterator[None]:
    """Who is born within is deaf to Ctrl-C, which would end it with a traceback as it begins."""
    mask = getattr(signal, "pthread_sigmask", None)  # Windows has none; see `_work`
    if mask is None:
        yield
        return
    kept = mask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        mask(signal.SIG_SETMASK, kept)


def _work(pipe: "Connection[Any, Any]") -> None:
    """The process itself: it ends with the one that waits for it, and leaves Ctrl-C to that."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    with suppress(EOFError, OSError):
        do, known = pipe.recv()
        while True:
            part = pipe.recv()
            answer: tuple[Any, Exception | None]
            try:
                answer = (do(known, part), None)
            except Exception as error:
                answer = (None, error)
            pipe.send(answer)


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


class NoWorkers(Exception):
    """There is no cluster to be had, or no worker that lasts; the message says why in one line."""


@contextmanager
def joined(address: str) -> Iterator[Any]:
    """A client of the cluster whose scheduler is at this address. Raises `NoWorkers`."""
    try:
        from distributed import Client  # noqa: PLC0415  (slow, and an extra)
    except ImportError:
        raise NoWorkers("distributed is missing; pip install 'padbench[cluster]'") from None
    # A worker that dies is no news to the user: its part is done by another.
    # The client's log has a level of its own.
    for name in ("distributed", "distributed.client", "tornado", "asyncio"):
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    if not _ADDRESS.fullmatch(address) or _workers_at(address) is None:
        raise NoWorkers(f"no scheduler answers at {address[:80]!r}; give it as tcp://HOST:8786")
    try:
        client = Client(address, timeout=_PATIENCE, set_as_default=False)
    except Exception as error:
        words = str(error).split("\n", 1)[0][:200]
        raise NoWorkers(f"{address[:80]!r} does not let us join: {words}") from None
    try:
        try:
            client.wait_for_workers(1, timeout=_PATIENCE)
        except TimeoutError:
            raise NoWorkers(f"no worker has joined {address[:80]!r}; start some") from None
        _have_padbench(client)
        yield client
    finally:
        with suppress(Exception):  # of a scheduler that is gone there is nothing to take leave of
            client.close(timeout=_PATIENCE)


def _workers_at(address: str) -> int | None:
    """How many workers a scheduler has; None if none answers there."""
    from distributed.core import rpc  # noqa: PLC0415

    async def ask() -> Any:
        scheduler = rpc(address, timeout=_PATIENCE)
        try:
            return await asyncio.wait_for(scheduler.identity(), _PATIENCE)
        finally:
            await scheduler.close_rpc()

    host, _, port = address.removeprefix("tcp://").rpartition(":")
    try:
        # Where nothing listens this ends at once; Dask would try again and again.
        socket.create_connection((host.strip("[]"), int(port)), _PATIENCE).close()
        with ThreadPoolExecutor(1) as thread:  # a notebook has a loop in this one
            told = thread.submit(asyncio.run, ask()).result()
        return len(told["workers"]) if told["type"] == "Scheduler" else None
    except Exception:  # whatever else listens there may answer anything
        return None


def _have_padbench(client: Any) -> None:
    """Refuse workers that have no padbench, or another."""
    for worker, version in client.run(_version, on_error="return").items():
        if isinstance(version, BaseException):
            words = str(version).split("\n", 1)[0][:120]
            raise NoWorkers(f"the worker at {worker} cannot run padbench: {words}")
        if version != __version__:
            raise NoWorkers(f"the worker at {worker} has padbench {version}, not {__version__}")


def _version() -> str:
    return __version__


def spread_on(
    client: Any, do: Callable[[Known, Work], Done], known: Known, work: Sequence[Work]
) -> Iterator[Done]:
    """``do(known, part)`` for each part of the work, as they come.

    ``do`` has to be a function of a module that the workers have. Raises `NoWorkers` if a part
    cannot be done although it was tried again and again, and if scheduler or workers are gone.
    """
    from distributed import KilledWorker, wait  # noqa: PLC0415

    left, looks = list(reversed(work)), 0
    waiting: set[Any] = set()

    def look() -> int:
        """How often in a row no worker was there; after so many, or without scheduler, the end."""
        there = _workers_at(client.scheduler.address)
        count = 0 if there else looks + 1
        if there is None or count == _LOOKS:
            gone = "the scheduler" if there is None else "the last worker"
            raise NoWorkers(f"{gone} is gone, before all was done; start it again") from None
        return count

    while left or waiting:
        while left and len(waiting) < _PARTS_AHEAD:
            waiting.add(client.submit(do, known, left.pop(), pure=False, retries=_RETRIES))
        try:
            with client.as_current():
                ready, waiting = wait(waiting, timeout=_LOOK, return_when="FIRST_COMPLETED")
        except TimeoutError:
            looks = look()
            continue
        except (asyncio.CancelledError, CancelledError):  # the client has one, or the other
            raise NoWorkers("the scheduler is gone, before all was done; start it again") from None
        for future in ready:
            try:
                yield future.result(timeout=_LOOK)
            except TimeoutError:
                # Done, but gone with its worker: it is done again by another, if there is one.
                waiting.add(future)
                looks = look()
            except (KilledWorker, asyncio.CancelledError, CancelledError):
                raise NoWorkers("workers die again and again; look at their logs") from None
            except ImportError as error:
                raise NoWorkers(f"a worker cannot run padbench: {error}") from None
