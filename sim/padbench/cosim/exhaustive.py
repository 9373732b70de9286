"""Scenarios that leave nothing out: every transition between held states, every stopped read."""

from collections.abc import Iterator, Sequence
from functools import partial

from padbench.scenarios import Scenario, Script, Setting
from padbench.scenarios.timetable import Timetable

__all__ = ["all_transitions", "exhaustive_scenarios"]

_CHUNK = 512
"""Reads in one scenario: working out what must come takes the square of it."""


def all_transitions(count: int = 256) -> Iterator[int]:
    """A round trip on which every ordered pair of states stands next to each other once.

    A de Bruijn sequence of order 2: the Lyndon words of one and two letters, in order
    (Fredricksen and Maiorana 1978, from memory); the first state comes again at the end.
    """
    for one in range(count):
        yield one
        for other in range(one + 1, count):
            yield one
            yield other
    yield 0


def exhaustive_scenarios(passes: int = 1) -> Iterator[Scenario]:
    """Chunks of transitions, then of stopped reads: each bit, one to three clocks, all states.

    ``passes``: reads in one poll, each of which is stopped in its turn.
    """
    path = list(all_transitions())
    for number, first in enumerate(range(0, len(path) - 1, _CHUNK)):
        # One state of overlap, or the transition from chunk to chunk would be missing.
        part = path[first : first + _CHUNK + 1]
        yield Scenario(
            f"exhaustive-transitions-{number:03}",
            "All transitions between held states, in part.",
            partial(_transitions, part, passes),
        )
    cases = [
        (turn, bit, extra, held)
        for turn in range(passes)
        for bit in range(1, 9)
        for extra in (1, 2, 3)
        for held in range(256)
    ]
    for number, first in enumerate(range(0, len(cases), _CHUNK)):
        yield Scenario(
            f"exhaustive-stopped-{number:03}",
            "All stopped reads of all held states, in part.",
            partial(_stopped, cases[first : first + _CHUNK], passes),
        )


def _transitions(path: Sequence[int], passes: int, setting: Setting) -> Script:
    plan = Timetable(setting, passes=passes)
    for held in path:
        plan.hold(held)
        plan.poll()
    plan.note("all transitions", at=0)
    return plan.script()


def _stopped(cases: Sequence[tuple[int, int, int, int]], passes: int, setting: Setting) -> Script:
    plan = Timetable(setting, passes=passes)
    for turn, bit, extra, held in cases:
        plan.hold(held)
        plan.poll(stopped=[*[(0, 0)] * turn, (bit, extra)])
    plan.note("all stopped reads", at=0)
    return plan.script()
