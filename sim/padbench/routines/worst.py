"""Single cases of a sweep that show what went wrong, found by running them again.

worst_cases(routine, console, counts)          # one of each kind, to be played
disagreement(routine, console, sweeps)         # a wrong byte that no two passes read
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from padbench.routines.console import Console, SampleFetch, can_occur
from padbench.routines.counts import STATES, SweepCounts
from padbench.routines.routine import DEFAULT_LIMIT, Routine
from padbench.routines.run import InstructionCache, RoutineRun, held_by, run_case, undisturbed
from padbench.routines.stops import touched_phases
from padbench.scenarios.polled_routine import FetchCase

_SAYS = {
    "accepted_wrong": "a fetch makes it hand on a wrong byte",
    "never_settles": "a fetch keeps it from coming back",
    "corrupt": "a fetch makes a pass misread, and it hands on what is held",
    "hit": "a fetch stops a read, and no pass is misread",
}
"""Kinds of case as in `SweepCounts`, the worst first; of each only what is of no worse kind."""

_FIRST = (0x00, 0xFF, 0x55, 0xAA)
"""Held states that are tried first, since they show most kinds: a lost bit shows in some."""


def worst_cases(
    routine: Routine, console: Console, counts: SweepCounts, limit: int = DEFAULT_LIMIT
) -> tuple[FetchCase, ...]:
    """At the period of the sweep's ``counts``; a kind of which it counts no case is left out.

    Raises `RoutineError` for a routine that cannot be run.
    """
    met = {
        "accepted_wrong": counts.accepted_wrong > 0,
        "never_settles": counts.never_settles > 0,
        "corrupt": counts.corrupt > counts.accepted_wrong,
        "hit": counts.hit > max(counts.corrupt, counts.accepted_wrong),
    }
    missing = {kind for kind, there in met.items() if there}
    cases: dict[str, FetchCase] = {}
    worst = counts.counterexample
    if worst is not None and worst.kind in missing - {"corrupt"}:
        cases[worst.kind] = FetchCase(_SAYS[worst.kind], worst.held, (counts.period, worst.phase))
        missing.discard(worst.kind)
    states = (*_FIRST, *(state for state in range(STATES) if state not in _FIRST))
    tried = _stopped(routine, console, counts.period, states, limit)
    while missing and (case := next(tried, None)) is not None:
        held, phase, run = case
        kind = _kind(run, held)
        if kind in missing:
            cases[kind] = FetchCase(_SAYS[kind], held, (counts.period, phase))
            missing.discard(kind)
    return tuple(cases[kind] for kind in _SAYS if kind in cases)


def _kind(run: RoutineRun, held: int) -> str:
    if not run.finished:
        return "never_settles"
    if any(got != held_by(port, held) for port, got in enumerate(run.results)):
        return "accepted_wrong"
    if run.wrong_pass(held) is not None:
        return "corrupt"
    return "hit" if run.hit else ""


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A case that hands on ``got``, though no two ``passes`` of that pad read it and it is wrong.

    ``held`` is the state of that pad. So the routine is exposed in spite of its passes, not because
    they agree.
    """

    period: int
    phase: int
    held: int
    passes: tuple[int, ...]
    got: int


def disagreement(
    routine: Routine, console: Console, sweeps: Sequence[SweepCounts], limit: int = DEFAULT_LIMIT
) -> Disagreement | None:
    """The first such case at a period of which a wrong byte is counted; None if there is none.

    All phases are tried, of the counterexample's held state and of four more.
    """
    for sweep in sweeps:
        example = sweep.counterexample
        if not sweep.accepted_wrong or example is None:
            continue
        states = dict.fromkeys((example.held, *_FIRST))
        for held, phase, run in _stopped(routine, console, sweep.period, states, limit):
            for port, got in enumerate(run.results if run.finished else ()):
                passes = tuple(one.byte for one in run.passes[port])
                if got != held_by(port, held) and passes.count(got) < 2:
                    return Disagreement(sweep.period, phase, held_by(port, held), passes, got)
    return None


def _stopped(
    routine: Routine, console: Console, period: int, states: Iterable[int], limit: int
) -> Iterator[tuple[int, int, RoutineRun]]:
    """(held, phase, run) of every case of these states in which a fetch can stop a port's read."""
    cache = InstructionCache(routine)
    known: dict[bytes, list[int]] = {}
    for held in states:
        calm = undisturbed(routine, console, held, limit, cache)
        if calm.kinds not in known:
            known[calm.kinds] = touched_phases(calm.kinds, period, limit).tolist()
        for phase in known[calm.kinds]:
            if not can_occur(phase, period, console.after_copy):
                continue
            fetch = SampleFetch(period, phase)
            yield (
                held,
                phase,
                run_case(routine, console, held, fetch=fetch, limit=limit, cache=cache),
            )
