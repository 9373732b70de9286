"""Why an exposed routine hands on a wrong byte: because passes agree on it, or in spite of them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from padbench.routines.engine import SweepCounts
from padbench.routines.fetch import Console, SampleFetch
from padbench.routines.plain import touched_phases, undisturbed
from padbench.routines.routine import DEFAULT_LIMIT, Routine
from padbench.routines.run import held_by, run_case
from padbench.routines.steps import Steps

__all__ = ["Disagreement", "disagreement"]

_STATES = (0x00, 0xFF, 0x55, 0xAA)
"""Held states that are tried besides that of the counterexample: a lost bit shows in some."""


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A case that hands on ``got``, though no two ``passes`` of that pad read it and it is wrong.

    ``held`` is the state of that pad.
    """

    period: int
    phase: int
    held: int
    passes: tuple[int, ...]
    got: int


def disagreement(
    routine: Routine, console: Console, sweeps: Sequence[SweepCounts], limit: int = DEFAULT_LIMIT
) -> Disagreement | None:
    """The first such case at a period of which a wrong byte is counted; None if none was found.

    All phases are tried, of the counterexample's held state and of four more.
    """
    steps = Steps(routine)
    for sweep in sweeps:
        example = sweep.counterexample
        if not sweep.accepted_wrong or example is None:
            continue
        cases = _cases(routine, console, example.held, sweep.period, limit, steps)
        for held, phase in cases:
            fetch = SampleFetch(sweep.period, phase)
            run = run_case(routine, console, held, fetch=fetch, limit=limit, steps=steps)
            if not run.finished:
                continue
            for port, got in enumerate(run.results):
                passes = tuple(one.byte for one in run.passes[port])
                if got != held_by(port, held) and passes.count(got) < 2:
                    return Disagreement(sweep.period, phase, held_by(port, held), passes, got)
    return None


def _cases(
    routine: Routine, console: Console, first: int, period: int, limit: int, steps: Steps
) -> Iterator[tuple[int, int]]:
    """(held, phase) of the cases that are tried."""
    known: dict[bytes, list[int]] = {}
    for held in dict.fromkeys((first, *_STATES)):
        calm = undisturbed(routine, console, held, limit, steps)
        if calm.kinds not in known:
            known[calm.kinds] = touched_phases(calm, period, limit)
        for phase in known[calm.kinds]:
            yield held, phase
