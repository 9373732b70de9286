"""Every scenario of a turned sheet, in processes beside the server, given up when nobody waits.

    verdicts = Verdicts()
    verdicts.of("tab 1", pad, bench.judged(state))
    verdicts.close()

The simulator fills a process, so a server that simulated here would answer no switch meanwhile.
"""

from collections import OrderedDict
from collections.abc import Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from functools import lru_cache
from multiprocessing import get_context
from threading import Lock
from typing import Any, Literal

from padbench.circuit.pad_model import CORNERS, Corner
from padbench.core.findings import Finding, overall
from padbench.live.bench import Pad
from padbench.routines.poll import with_timings
from padbench.sheet import Sheet, sheet_from_text
from padbench.trials.run import run_scenario, scenarios_of
from padbench.workers import tied_to_parent

__all__ = ["Verdicts"]

_WORKERS = 2
_TABS, _KEPT = 64, 32
"""Tabs that are told apart, and verdicts that are kept."""
_LOOK = 0.05
"""Seconds after which it is seen whether somebody still waits."""

_LONGEST_FIRST = ("all-states", "stopped-any-bit", "fetch-cases")
"""So that no worker is left with one of them at the end."""

Told = tuple[str, Literal["pass", "fail"], str]
"""Scenario, verdict, and what is wrong first."""


class Verdicts:
    """Worker processes; they live until `close`. One waits at most for each tab."""

    def __init__(self) -> None:
        self._pool = _pool()
        self._waits: OrderedDict[str, object] = OrderedDict()
        self._known: OrderedDict[str, dict[str, Any]] = OrderedDict()
        self._lock = Lock()
        for _ in range(_WORKERS):
            self._pool.submit(_warm)  # so that the first question finds them awake

    def close(self) -> None:
        """End the workers."""
        self._pool.shutdown(wait=True, cancel_futures=True)

    def of(self, tab: str, pad: Pad, findings: Sequence[Finding]) -> dict[str, Any] | None:
        """The verdict with every scenario; None if the same tab has asked for another meanwhile."""
        mine = object()
        with self._lock:
            self._waits[tab] = mine
            self._waits.move_to_end(tab)
            while len(self._waits) > _TABS:
                self._waits.popitem(last=False)
            known = self._known.get(pad.text)
        try:
            return known or self._run(tab, mine, pad, findings)
        except BrokenProcessPool:  # a worker was killed: the next question finds others
            self._pool = _pool()
            return None

    def _run(
        self, tab: str, mine: object, pad: Pad, findings: Sequence[Finding]
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
            if self._waits.get(tab) is not mine:
                for future in waiting:
                    future.cancel()
                return None
            told += [future.result() for future in done]
        wrong = {scenario: says for scenario, verdict, says in told if verdict == "fail"}
        found = {
            "verdict": overall(
                [*(f.verdict for f in findings), *(verdict for _, verdict, _ in told)]
            ),
            "scenarios": [
                {
                    "name": one,
                    "verdict": "fail" if one in wrong else "pass",
                    "says": wrong.get(one, ""),
                }
                for one in scenarios
            ],
        }
        with self._lock:
            self._known[pad.text] = found
            while len(self._known) > _KEPT:
                self._known.popitem(last=False)
        return found


def _pool() -> ProcessPoolExecutor:
    # Fresh interpreters: a fork would take the threads' locks along.
    return ProcessPoolExecutor(_WORKERS, get_context("spawn"), initializer=tied_to_parent)


@lru_cache(4)
def _sheet(text: str, name: str) -> Sheet:
    sheet = sheet_from_text(text, name)
    return sheet if sheet.poll.routine is None else with_timings(sheet)


def _warm() -> None:
    """Nothing: the worker has imported this module now."""


def _play(text: str, name: str, scenario: str, port: str, corner: Corner) -> Told:
    sheet = _sheet(text, name)
    run = run_scenario(sheet, scenarios_of(sheet)[scenario], port, corner)
    run.let_go()
    wrong = [*(problem.says for problem in run.problems), *(found.says for found in run.broken)]
    return scenario, run.verdict, f"{run.where}: {wrong[0]}" if wrong else ""
