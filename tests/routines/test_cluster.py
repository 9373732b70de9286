"""Sweeps on a Dask cluster of two processes on this machine: the same totals, whatever dies."""

import os
import socket
import subprocess
import sys
from contextlib import ExitStack, nullcontext
from pathlib import Path
from types import SimpleNamespace

import pytest
from yardstick import merged

from padbench.cli import main
from padbench.jobs.sweep import sweep
from padbench.parts import console_timing
from padbench.routines.console import Console
from padbench.routines.counts import SweepCounts
from padbench.routines.fast import Part, count, survey
from padbench.routines.source import load_routine
from padbench.workers import NoWorkers, joined, spread, spread_on

SOURCES = Path(__file__).parents[1] / "routines" / "sources"
EXPOSED = str(SOURCES / "read-twice-36.asm")
QUIET = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    """(address, worker processes): a scheduler and two workers of one thread.

    Tests kill them, one after the other.
    """
    tmp_path = tmp_path_factory.mktemp("cluster")
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
        yield address, processes[1:]


@pytest.mark.filterwarnings("ignore")  # Dask's own
def test_the_same_object_as_without(cluster):
    address, _ = cluster
    here, there = (
        sweep(routine=EXPOSED, periods=[432, 576], cluster=one) for one in (None, address)
    )
    assert here.document == there.document


@pytest.mark.filterwarnings("ignore")  # Dask's own
def test_a_worker_killed_in_the_middle_changes_nothing(cluster):
    """After the first of 32 parts, of which never more than 16 are under way."""
    address, workers = cluster
    known = survey(load_routine(EXPOSED), Console(console_timing("60hz")))
    work = [Part(432, first, first + 8) for first in range(0, 256, 8)]
    assert len(work) == 32
    whole = SweepCounts(432)
    with joined(address) as client:
        client.wait_for_workers(2, timeout=30)
        for number, tally in enumerate(spread_on(client, count, known, work)):
            if number == 0:
                workers[0].kill()
                workers[0].wait(30)
            whole.add(tally)
    assert whole == merged(432, spread(count, known, work))
    assert whole.accepted_wrong > 0


@pytest.mark.filterwarnings("ignore")  # Dask's own
def test_a_cluster_that_goes_away_is_told(cluster):
    address, dask_workers = cluster
    known = survey(load_routine(EXPOSED), Console(console_timing("60hz")))
    work = [Part(432, first, first + 8) for first in range(0, 256, 8)]
    with joined(address) as client:
        done = spread_on(client, count, known, work)
        next(done)
        for worker in dask_workers:
            worker.kill()
        with pytest.raises(NoWorkers, match="is gone"):
            list(done)


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
    code = main(["sweep", "--routine", "read-once", "--cluster", "tcp://127.0.0.1:9"])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert "no scheduler answers" in err
