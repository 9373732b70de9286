"""Every scenario of a turned sheet, in processes beside the server, given up when nobody waits.

    verdicts = Verdicts()
    verdicts.of("tab 1", 1, pad, bench.judged(state))
    verdicts.close()

The simulator fills a process, so a server that simulated here would answer no switch meanwhile. The
sweep of a read routine is done there too, once for each routine.
"""

from collections.abc import Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, ThreadPoolExecutor, wait
from contextlib import suppress
from functools import lru_cache
from itertools import product
from queue import SimpleQueue
from threading import Lock
from typing import Any

from padbench.circuit.pad_model import CORNERS
from padbench.core.findings import Finding, overall
from padbench.jobs.loading import Refusal
from padbench.live.bench import Pad
from padbench.routines.counts import SweepCounts
from padbench.routines.fast import Part as FetchPart
from padbench.routines.fast import count
from padbench.trials.trial import scenarios_of
from padbench.workers import Ended, Worker

_WORKERS = 2
_LOOK = 0.05
"""Seconds after which it is seen whether somebody still waits."""
_TRIES = 5
"""So often a part is done again whose worker was killed."""

_LONGEST_FIRST = ("all-states", "stopped-any-bit", "fetch-cases")
"""So that no worker is left with one of them at the end."""


Part = tuple[Any, ...]
"""A function of this module, and what it is told besides the pad."""


class Verdicts:
    """Worker processes; they live until `close`. Of the questions of a tab the newest counts."""

    def __init__(self) -> None:
        self._closed = False
        self._turns: dict[str, int] = {}
        self._changing, self._sweeping = Lock(), Lock()
        self._workers = [Worker(_done, None) for _ in range(_WORKERS)]
        self._idle: SimpleQueue[Worker] = SimpleQueue()
        for worker in self._workers:
            self._idle.put(worker)
        self._threads = ThreadPoolExecutor(_WORKERS)

    def warm(self, pad: Pad) -> None:
        """Have the workers play once, so that the first question waits for less."""
        for _ in self._workers:
            self._submit(pad, (_play, "idle"))

    def close(self) -> None:
        """End the workers, whatever they do."""
        with self._changing:
            self._closed = True
            for worker in self._workers:
                worker.process.kill()
        self._threads.shutdown(wait=True, cancel_futures=True)
        for worker in self._workers:
            worker.end()

    def newest(self, tab: str, turn: int) -> None:
        """A tab has taken a turn: whatever it asked for before is given up."""
        self._turns[tab] = max(turn, self._turns.get(tab, 0))

    def of(
        self, tab: str, turn: int, pad: Pad, findings: Sequence[Finding]
    ) -> dict[str, Any] | None:
        """The verdict with every scenario, and what a read ``routine`` does by itself as findings.

        None if the tab has taken a later turn meanwhile.
        """
        self.newest(tab, turn)
        try:
            return self._run(tab, turn, pad, findings)
        except (CancelledError, RuntimeError):  # threads that have shut down take nothing more
            if not self._closed:
                raise
            raise _ENDED from None

    def sweep(self, tab: str, turn: int, pad: Pad) -> bool:
        """Count all rates of the pad's read routine, once; False if the tab is further."""
        self.newest(tab, turn)
        with self._sweeping:
            poll = pad.poll
            if poll is not None and not poll.swept:
                rates = poll.console.timing.fetch_periods
                sweeps = self._all(tab, turn, pad, [(_count, rate) for rate in rates])
                if sweeps is None:
                    return False
                poll.counted(sweeps)
        return True

    def _run(
        self, tab: str, turn: int, pad: Pad, findings: Sequence[Finding]
    ) -> dict[str, Any] | None:
        if not self.sweep(tab, turn, pad):
            return None
        scenarios = sorted(scenarios_of(pad.sheet), key=lambda one: one not in _LONGEST_FIRST)
        told = self._all(
            tab, turn, pad, [(Pad.routine_findings,), *((_play, one) for one in scenarios)]
        )
        if told is None:
            return None
        own, *played = told
        wrong = dict(zip(scenarios, played, strict=True))
        judged = [one.verdict for one in (*findings, *own)]
        return {
            "verdict": "fail" if any(played) else overall(judged),
            "scenarios": [{"name": one, "wrong": wrong[one]} for one in scenarios_of(pad.sheet)],
            "routine": own,
        }

    def _all(self, tab: str, turn: int, pad: Pad, parts: Sequence[Part]) -> list[Any] | None:
        """What comes of each; None if the tab has taken a later turn."""
        futures = [self._submit(pad, part) for part in parts]
        waiting = {*futures}
        while waiting:
            _, waiting = wait(waiting, _LOOK, FIRST_COMPLETED)
            if self._closed:  # what still waits is cancelled, which wakes nobody
                raise _ENDED
            if self._turns[tab] > turn:
                for future in waiting:
                    future.cancel()
                return None
        return [future.result() for future in futures]

    def _submit(self, pad: Pad, part: Part) -> Future[Any]:
        sweeps = pad.poll.sweeps if pad.poll is not None and pad.poll.swept else ()
        return self._threads.submit(self._ask, (pad.text, pad.sheet.document.name, sweeps, part))

    def _ask(self, task: Any) -> Any:
        """What a worker makes of a task; if it is killed, another one."""
        worker = self._idle.get()
        try:
            for _ in range(_TRIES):
                worker.begin((task, 0))
                with suppress(Ended):
                    return worker.answer()
                worker = self._in_place_of(worker)
        finally:
            self._idle.put(worker)
        raise Refusal("server", "its workers end again and again; is memory short?")

    def _in_place_of(self, worker: Worker) -> Worker:
        with self._changing:
            if self._closed:
                raise _ENDED
            worker.end()
            place = self._workers.index(worker)
            self._workers[place] = Worker(_done, None)
            return self._workers[place]


_ENDED = Refusal("server", "it has ended; start padbench live again")

_pad = lru_cache(4)(Pad.of)


def _done(_: None, task: tuple[str, str, Sequence[SweepCounts], Part]) -> Any:
    """In a worker: a part's function, of the pad and what else the part says."""
    text, name, sweeps, (do, *words) = task
    pad = _pad(text, name)
    if sweeps and pad.poll is not None:
        pad.poll.counted(sweeps)
    return do(pad, *words)


def _play(pad: Pad, scenario: str) -> str | None:
    """What goes wrong at the first corner and port at which anything does."""
    wrong = None
    for port, corner in product(pad.sheet.works_with.ports, CORNERS):
        run = pad.play(scenarios_of(pad.sheet)[scenario], port, corner)
        run.let_go()
        if wrong is None and run.verdict == "fail":
            says = [*(one.says for one in run.problems), *(one.says for one in run.broken)]
            wrong = f"{run.where}: {says[0]}"
    return wrong


def _count(pad: Pad, period: int) -> SweepCounts:
    assert pad.poll is not None
    return count(pad.poll.known, FetchPart(period))
