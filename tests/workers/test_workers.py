"""Work in parts: nothing is lost with a worker that is killed, and what is no cluster is told."""

import importlib
import multiprocessing
import socket
import subprocess
import sys
import time

import pytest

from padbench import workers
from padbench.workers import NoWorkers, joined, spread

WORK = """
import os
from multiprocessing import parent_process
from pathlib import Path

def once(what):
    try:
        Path(__file__).with_name(what).touch(exist_ok=False)
    except FileExistsError:
        return False
    return True

if {starting} and parent_process() is not None and once("starting"):
    os._exit(9)

def do(known, part):
    if part in {fatal} and once(f"fatal-{{part}}"):
        os._exit(9)
    if part in {always}:
        os._exit(9)
    if part in {wrong}:
        raise ValueError(part)
    return len(known) + part
"""


@pytest.fixture
def work(tmp_path, monkeypatch, request):
    """Make a module whose function ends its process where it is told to."""
    monkeypatch.syspath_prepend(str(tmp_path))
    name = f"work_{abs(hash(request.node.name))}"

    def make(**what):
        told = {"starting": False, "fatal": (), "always": (), "wrong": (), **what}
        (tmp_path / f"{name}.py").write_text(WORK.format(**told))
        return importlib.import_module(name).do

    yield make
    sys.modules.pop(name, None)


def test_the_part_of_a_killed_worker_is_done_by_another(work):
    """One ends while it begins, with more to be told than a pipe takes, and two in their part."""
    before = set(multiprocessing.active_children())
    known = bytes(1 << 20)
    do = work(starting=True, fatal=(2, 5))
    assert sorted(spread(do, known, range(8), 2)) == [len(known) + part for part in range(8)]
    assert set(multiprocessing.active_children()) <= before


KILLS = """
import os, signal, threading, time
from pathlib import Path
from padbench.workers import spread

def do(known, part):
    return len(known) + part

def children():  # those that have begun, also while they are still told what to do
    for task in Path("/proc/self/task").iterdir():
        for pid in (task / "children").read_text().split():
            if b"spawn_main" in Path("/proc", pid, "cmdline").read_bytes():
                yield int(pid)

def kill(delay):
    while not (there := [*children()]):
        time.sleep(0.001)
    time.sleep(delay)
    os.kill(there[0], signal.SIGKILL)

if __name__ == "__main__":
    for delay in (0, 0.02, 0.05, 0.3):
        threading.Thread(target=kill, args=(delay,), daemon=True).start()
        done = spread(do, bytes(1 << 20), range(2000), 2)
        assert sorted(done) == [(1 << 20) + part for part in range(2000)]
"""


def test_one_that_is_killed_from_outside_while_it_begins_holds_nothing_up(tmp_path):
    """By itself, as one that waits for ever would hold all tests up."""
    script = tmp_path / "kills.py"
    script.write_text(KILLS)
    subprocess.run([sys.executable, script], check=True, timeout=60)


def test_workers_that_never_last_are_told(work):
    before = set(multiprocessing.active_children())
    with pytest.raises(NoWorkers, match="again and again"):
        list(spread(work(always=(1,)), b"", range(3), 2))
    assert set(multiprocessing.active_children()) <= before


def test_an_error_of_the_work_comes_through(work):
    with pytest.raises(ValueError, match="1"):
        list(spread(work(wrong=(1,)), b"", range(3), 2))


def test_more_workers_than_parts(work):
    assert list(spread(work(), b"", [4], 3)) == [4]


def test_workers_end_with_their_parent(tmp_path):
    waits = tmp_path / "waits.py"
    waits.write_text(
        "import multiprocessing, time\nfrom padbench.workers import spread\n"
        "def do(known, part):\n"
        "    print(multiprocessing.current_process().pid, flush=True)\n    time.sleep(60)\n"
        "if __name__ == '__main__':\n    list(spread(do, None, [1, 2], 2))\n"
    )
    with subprocess.Popen([sys.executable, waits], stdout=subprocess.PIPE) as parent:
        pids = [parent.stdout.readline().strip().decode() for _ in range(2)]
        assert all(pids)
        parent.kill()
        # The pipe ends when all that hold it have ended.
        assert parent.stdout.read() == b""


@pytest.mark.parametrize("address", ["", "rubbish", "http://127.0.0.1:80", "tcp://:::", "a:b:c"])
def test_what_is_no_address_is_refused_at_once(address):
    with pytest.raises(NoWorkers, match="give it as tcp://HOST:8786"), joined(address):
        pass


@pytest.mark.filterwarnings("ignore")  # Dask's own
def test_something_else_that_listens_is_no_scheduler(monkeypatch):
    monkeypatch.setattr(workers, "_PATIENCE", 0.5)
    with socket.create_server(("127.0.0.1", 0)) as other:
        began = time.monotonic()
        address = f"tcp://127.0.0.1:{other.getsockname()[1]}"
        with pytest.raises(NoWorkers, match="no scheduler answers"), joined(address):
            pass
        assert time.monotonic() - began < 10
