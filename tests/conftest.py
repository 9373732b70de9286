"""What many tests need: the CD4021B's limits, an ordinary pad and an ordinary poll."""

import gc
import importlib
import inspect
import os
import signal
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from padbench.core.findings import Source
from padbench.core.limits import Limit, Limits
from padbench.core.pad import PadModel
from padbench.core.stimulus import PollTiming, ScriptedRead, Stimulus

sys.path.insert(0, str(Path(__file__).with_name("routines")))  # `yardstick` is for several folders

# The import of vcdvcd has the process end, without a word, at any pipe or socket that the other
# side closed: so a tab that gave up a call took a worker of pytest-xdist down.
_kept = signal.getsignal(signal.SIGPIPE)
importlib.import_module("vcdvcd")
signal.signal(signal.SIGPIPE, _kept)


def pytest_collection_finish() -> None:
    """What stands in memory now stays to the end: the garbage collector need not walk over it."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session", autouse=True)
def stack_without_sources() -> Iterator[None]:
    """MyHDL asks for the stack whenever a block or a process is made, and uses no line of it.

    To find the lines Python looks through all modules for each of its frames, and the tests have
    thousands of modules.
    """

    def stack(context: int = 1) -> list[inspect.FrameInfo]:
        return inspect.getouterframes(sys._getframe(1), 0)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(inspect, "stack", stack)
        yield


MS = 1_000_000_000
US = 1_000_000


@pytest.fixture(scope="session")
def limits() -> Limits:
    """CD4021B at 5 V (from memory); 700 ns for the answer over a long cable."""
    sheet = (Source("CD4021B data sheet", "from memory"),)
    return Limits(
        load_width=Limit(160_000, sheet),
        clock_width=Limit(180_000, sheet),
        clock_period=Limit(333_333, sheet),
        removal=Limit(280_000, sheet),
        setup_parallel=Limit(50_000, sheet),
        answer=Limit(700_001, sheet),
    )


@pytest.fixture(scope="session")
def pad(limits: Limits) -> PadModel:
    return PadModel(limits, answer=700_000)


@pytest.fixture(scope="session")
def timing() -> PollTiming:
    return PollTiming(
        latch_width=12 * US,
        latch_to_clock=6 * US,
        clock_low=560_000,
        clock_high=7 * US,
        sample=560_000,
    )


@pytest.fixture(scope="session")
def polled(timing: PollTiming) -> Callable[..., Stimulus]:
    """``polled([0x80, 0x00])``: one poll a millisecond, these contacts closed half-way before."""

    def make(held: list[int], **changes: Any) -> Stimulus:
        t = replace(timing, **changes)
        return Stimulus(
            contacts=tuple((n * MS + MS // 2 if n else 0, byte) for n, byte in enumerate(held)),
            reads=tuple(ScriptedRead((n + 1) * MS, t) for n in range(len(held))),
            end=(len(held) + 1) * MS,
        )

    return make


def pytest_addoption(parser: pytest.Parser) -> None:
    """See `tests/cli/test_golden.py`."""
    parser.addoption("--write-golden", action="store_true", help="write the golden texts anew")


# Workers of pytest-xdist have it; text is as wide as without a terminal.
os.environ.pop("COLUMNS", None)

SLOW_UNDER_A_TRACER = {
    *("cosim", "outside", "padsweep"),
    *("test_cluster.py", "test_design_map.py", "test_engine.py", "test_lanes.py"),
}
"""Tests that run simulators or long loops; what they reach, quicker tests reach too."""

LONGEST_FIRST = (
    *("test_references.py", "test_page_browser.py", "test_cluster.py", "test_pages_browser.py"),
    *("test_verify.py", "test_plugin.py", "test_any_makers_part.py", "test_design_map.py"),
)
"""Files begun first, so that no worker is left alone with one of them at the end."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Measure coverage only where that does not double the time of the whole run; sort files."""
    for item in items:
        if SLOW_UNDER_A_TRACER & set(item.path.parts):
            item.add_marker(pytest.mark.no_cover)
    places = {name: place for place, name in enumerate(LONGEST_FIRST)}
    items.sort(key=lambda item: places.get(item.path.name, len(places)))
