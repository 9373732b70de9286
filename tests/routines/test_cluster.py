"""Sweeps on a Dask cluster of two processes on this machine: the same totals, whatever dies."""

import json
import os
import socket
import subprocess
import sys
import time
from contextlib import ExitStack, nullcontext, suppress
from pathlib import Path
from types import SimpleNamespace

import pytest
from yardstick import merged

from padbench.cli import main
from padbench.parts import console_timing
from padbench.routines.console import Console
from padbench.routines.counts import SweepCounts
from padbench.routines.fast import Part, count, survey
from padbench.routines.source import load_routine
from padbench.workers import NoWorkers, joined, spread, spread_on

SOURCES = Path(__file__).parents[1] / "routines" / "sources"
EXPOSED = str(SOURCES / "read-twice-36.asm")
QUIET = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}


@pytest.fixture
def cluster(tmp_path):
    """(address, processes): a scheduler and two workers of one thread."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"tcp://127.0.0.1:{port}"
    dask = [sys.executable, "-m", "dask"]
    commands = [[*dask, "scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard"]]
    worker = [*dask, "worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard"]
    commands += [
        [*worker, "--local-directory", str(tmp_path / f"worker-{number}")] for number in range(2)
    ]
    with ExitStack() as stack:
        processes = []
        for command in commands:
            process = subprocess.Popen(command, cwd=tmp_path, env=os.environ, **QUIET)
            stack.callback(process.wait, 30)
            stack.callback(process.kill)
            processes.append(process)
        for _ in range(240):  # on a busy machine it takes its time
            with suppress(OSError), socket.create_connection(("127.0.0.1", port)):
                break
            time.sleep(0.25)
        yield address, processes


def work():
    known = survey(load_routine(EXPOSED), Console(console_timing("60hz")))
    return known, [Part(432, first, first + 8) for first in range(0, 256, 8)]


def test_whatever_dies_the_totals_are_those_of_one_process(cluster, capsys, monkeypatch):
    """A worker is killed after the first of 32 parts, of which never more than 16 are under way."""
    monkeypatch.setattr("padbench.workers._LOOK", 0.5)
    address, (_, first, second) = cluster
    what = ["sweep", "--json", "--routine", EXPOSED, "--period", "432"]
    assert main([*what, "--cluster", address]) == 1
    there = json.loads(capsys.readouterr().out)
    assert main(what) == 1
    assert json.loads(capsys.readouterr().out) == there
    known, parts = work()
    assert len(parts) == 32
    whole = SweepCounts(432)
    with joined(address) as client:
        client.wait_for_workers(2, timeout=60)
        for number, tally in enumerate(spread_on(client, count, known, parts)):
            if number == 0:
                first.kill()
                first.wait(30)
            whole.add(tally)
        assert whole == merged(432, spread(count, known, parts))
        assert whole.accepted_wrong > 0
        done = spread_on(client, count, known, parts)
        next(done)
        second.kill()
        with pytest.raises(NoWorkers, match="the last worker is gone"):
            list(done)


def test_a_scheduler_that_goes_away_is_told(cluster, caplog):
    address, (scheduler, *_) = cluster
    known, parts = work()
    with joined(address) as client:
        done = spread_on(client, count, known, parts)
        next(done)
        scheduler.kill()
        with pytest.raises(NoWorkers, match="the scheduler is gone"):
            list(done)
    assert not caplog.records  # the client's own, with a traceback


def test_a_result_that_went_with_the_last_worker_is_not_waited_for_without_end(monkeypatch):
    """Done, says the scheduler, and nobody has it any more."""

    class Lost:
        def result(self, timeout=None):
            assert timeout is not None
            raise TimeoutError

    client = SimpleNamespace(
        submit=lambda *_, **__: Lost(),
        as_current=nullcontext,
        scheduler=SimpleNamespace(address="tcp://127.0.0.1:9"),
    )
    monkeypatch.setattr("distributed.wait", lambda futures, **_: (futures, set()))
    monkeypatch.setattr("padbench.workers._workers_at", lambda address: 0)
    with pytest.raises(NoWorkers, match="the last worker is gone"):
        list(spread_on(client, count, None, [Part(432, 0, 8)]))


def test_no_scheduler_is_one_line(capsys):
    assert main(["sweep", "--routine", "read-once", "--cluster", "tcp://127.0.0.1:9"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
