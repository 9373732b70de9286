"""The worst cases of a sweep, one of each kind, for playing them again."""

from collections.abc import Iterator

from padbench.routines.engine import STATES, SweepCounts
from padbench.routines.fetch import Console, SampleFetch
from padbench.routines.plain import touched_phases, undisturbed
from padbench.routines.routine import DEFAULT_LIMIT, Routine
from padbench.routines.run import Run, held_by, run_case
from padbench.routines.steps import Steps
from padbench.scenarios.polled_routine import FetchCase

__all__ = ["worst_cases"]

_SAYS = {
    "accepted_wrong": "a fetch makes it hand on a wrong byte",
    "never_settles": "a fetch keeps it from coming back",
    "corrupt": "a fetch spoils a pass, and it hands on what is held",
    "hit": "a fetch stops a read, and no pass is spoilt",
}
"""Kinds of case as in `SweepCounts`, the worst first; of each only what is of no worse kind."""

_FIRST = (0x00, 0xFF, 0x55, 0xAA)
"""Held states that are tried first, since they show most kinds."""


def worst_cases(
    routine: Routine, console: Console, counts: SweepCounts, limit: int = DEFAULT_LIMIT
) -> tuple[FetchCase, ...]:
    """At the period of the sweep's ``counts``; a kind of which it counts no case is left out.

    Raises `RoutineError` for a routine that cannot be run.
    """
    period = counts.period
    wanted = {
        "accepted_wrong": counts.accepted_wrong > 0,
        "never_settles": counts.never_settles > 0,
        "corrupt": counts.corrupt > counts.accepted_wrong,
        "hit": counts.hit > max(counts.corrupt, counts.accepted_wrong),
    }
    missing = {kind for kind, there in wanted.items() if there}
    found: dict[str, FetchCase] = {}
    worst = counts.counterexample
    if worst is not None and worst.kind in missing - {"corrupt"}:
        found[worst.kind] = FetchCase(_SAYS[worst.kind], worst.held, worst.phase)
        missing.discard(worst.kind)
    steps = Steps(routine)
    for held, phase in _stopped(routine, console, period, limit, steps) if missing else ():
        fetch = SampleFetch(period, phase)
        kind = _kind(run_case(routine, console, held, fetch=fetch, limit=limit, steps=steps), held)
        if kind in missing:
            found[kind] = FetchCase(_SAYS[kind], held, phase)
            missing.discard(kind)
            if not missing:
                break
    return tuple(found[kind] for kind in _SAYS if kind in found)


def _stopped(
    routine: Routine, console: Console, period: int, limit: int, steps: Steps
) -> Iterator[tuple[int, int]]:
    """(held, phase) of every case in which a fetch can stop a read of a port."""
    for held in (*_FIRST, *(state for state in range(STATES) if state not in _FIRST)):
        calm = undisturbed(routine, console, held, limit, steps)
        for phase in touched_phases(calm, period, limit):
            yield held, phase


def _kind(run: Run, held: int) -> str:
    if not run.finished:
        return "never_settles"
    if any(got != held_by(port, held) for port, got in enumerate(run.results)):
        return "accepted_wrong"
    if run.wrong_pass(held) is not None:
        return "corrupt"
    return "hit" if run.hit else ""
