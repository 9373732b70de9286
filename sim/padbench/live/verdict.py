"""Every scenario of a turned sheet, in processes beside the server, given up when nobody waits.

    verdicts = Verdicts()
    verdicts.of("tab 1", 1, pad, bench.judged(state))
    verdicts.close()

The simulator fills a process, so a server that simulated here would answer no switch meanwhile.
"""

from collections.abc import Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from functools import lru_cache
from multiprocessing import get_context
from typing import Any, Literal

from padbench.circuit.pad_model import CORNERS, Corner
from padbench.core.findings import Finding, overall
from padbench.jobs.loading import Refusal
from padbench.live.bench import Pad
from padbench.trials.run import scenarios_of
from padbench.workers import tied_to_parent

_WORKERS = 2
_LOOK = 0.05
"""Seconds after which it is seen whether somebody still waits."""

_LONGEST_FIRST = ("all-states", "stopped-any-bit", "fetch-cases")
"""So that no worker is left with one of them at the end."""

Told = tuple[str, Literal["pass", "fail"], str]
"""Scenario, verdict, and what is wrong first."""


class Verdicts:
    """Worker processes; they live until `close`. Of the questions of a tab the newest counts."""

    def __init__(self) -> None:
        self._pool = _pool()
        self._closed = False
        self._turns: dict[str, int] = {}

    def warm(self, pad: Pad) -> None:
        """Start the workers and have them play once, so that the first question waits for less."""
        for corner in CORNERS:
            port = pad.sheet.works_with.ports[0]
            self._pool.submit(_play, pad.text, pad.sheet.document.name, "idle", port, corner)

    def close(self) -> None:
        """End the workers."""
        self._closed = True
        self._pool.shutdown(wait=True, cancel_futures=True)

    def newest(self, tab: str, turn: int) -> None:
        """A tab has taken a turn: whatever it asked for before is given up."""
        self._turns[tab] = max(turn, self._turns.get(tab, 0))

    def of(
        self, tab: str, turn: int, pad: Pad, findings: Sequence[Finding]
    ) -> dict[str, Any] | None:
        """The verdict with every scenario; None if the tab has taken a later turn meanwhile."""
        self.newest(tab, turn)
        try:
            return self._run(tab, turn, pad, findings)
        except BrokenProcessPool:  # a worker was killed: the next question finds others
            self._pool = _pool()
            return None
        except RuntimeError:  # a pool that has shut down takes nothing more
            if not self._closed:
                raise
            raise Refusal("server", "it has ended; start padbench live again") from None

    def _run(
        self, tab: str, turn: int, pad: Pad, findings: Sequence[Finding]
    ) -> dict[str, Any] | None:
        name = pad.sheet.document.name
        scenarios = [*scenarios_of(pad.sheet)]
        waiting: set[Future[Told]] = {
            self._pool.submit(_play, pad.text, name, scenario, port, corner)
            for scenario in sorted(scenarios, key=lambda one: one not in _LONGEST_FIRST)
            for port in pad.sheet.works_with.ports
            for corner in CORNERS
        }
        told: list[Told] = []
        while waiting:
            done, waiting = wait(waiting, _LOOK, FIRST_COMPLETED)
            if self._closed:
                raise RuntimeError("what still waits is cancelled")
            if self._turns[tab] > turn:
                for future in waiting:
                    future.cancel()
                return None
            told += [future.result() for future in done]
        wrong = {scenario: says for scenario, verdict, says in told if verdict == "fail"}
        return {
            "verdict": overall([*(f.verdict for f in findings), *(how for _, how, _ in told)]),
            "scenarios": [{"name": one, "wrong": wrong.get(one)} for one in scenarios],
        }


def _pool() -> ProcessPoolExecutor:
    # Fresh interpreters: a fork would take the threads' locks along.
    return ProcessPoolExecutor(_WORKERS, get_context("spawn"), initializer=tied_to_parent)


_pad = lru_cache(4)(Pad.of)


def _play(text: str, name: str, scenario: str, port: str, corner: Corner) -> Told:
    pad = _pad(text, name)
    run = pad.play(scenarios_of(pad.sheet)[scenario], port, corner)
    run.let_go()
    wrong = next((one.says for one in run.problems), None)
    wrong = wrong or next((one.says for one in run.broken), None)
    return scenario, run.verdict, f"{run.where}: {wrong}" if wrong else ""
