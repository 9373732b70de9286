"""The plain engine: exact, and quick where nothing can have happened.

Every case in which a fetch stops a read of a port is run cycle by cycle on py65. The others need
no run of their own, and this is the proof. The CPU is a function of the values it reads. A stop
repeats one read and changes no value, except that a pad takes a step for each read of its port.
So up to the first stop in a port read a case has exactly the cycles of the undisturbed run with
the same held state, moved back by the stolen ones; where the stops fall follows by arithmetic from
which cycles are reads. A case whose stops all miss the ports therefore ends as the undisturbed
run did, if that leaves it within the cycle limit; if not, it is run like the rest. On which phases
that is depends only on the row of reads and writes of the undisturbed run, so held states that
share the row share the arithmetic.

The tests run cases of all kinds the long way and compare.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from padbench.routines.engine import STATES, Counterexample, Kind, SweepCounts
from padbench.routines.fetch import Console, SampleFetch, stolen_cycles
from padbench.routines.routine import DEFAULT_LIMIT, Routine
from padbench.routines.run import Run, held_by, run_case
from padbench.routines.steps import Steps

__all__ = ["PlainEngine", "reads_ahead", "stops_of", "touched_phases", "undisturbed"]

_READ, _PORT = 1, 2
_WORST: tuple[Kind, ...] = ("accepted_wrong", "never_settles", "corrupt")


def undisturbed(
    routine: Routine,
    console: Console,
    held: int,
    limit: int = DEFAULT_LIMIT,
    steps: Steps | None = None,
) -> Run:
    """The run without any fetch. Raises `RoutineError` if it does not end within the limit."""
    run = run_case(routine, console, held, limit=limit, steps=steps)
    if not run.finished:
        raise routine.error(
            routine.entry,
            "the routine",
            f"has not come back after {limit} cycles (buttons held: {held:08b})",
            "end it with RTS, or raise --limit if it is meant to take so long",
        )
    return run


def reads_ahead(kinds: bytes) -> list[int]:
    """For each cycle the place of the first read at or after it; the length if there is none."""
    ahead = [len(kinds)] * (len(kinds) + 1)
    for place in range(len(kinds) - 1, -1, -1):
        ahead[place] = place if kinds[place] >= _READ else ahead[place + 1]
    return ahead


def stops_of(ahead: list[int], period: int, phase: int) -> list[tuple[int, int]]:
    """Where the fetches stop a run with these reads: (own cycle, cycles stolen), in order.

    True up to the first stop in a port read, and for a routine whose cycles depend on nothing
    that it reads, to the end.
    """
    last = len(ahead) - 1
    stops: list[tuple[int, int]] = []
    stolen, behind, requested = 0, 0, phase
    while True:
        place = max(requested - stolen, behind)
        if place >= last or (place := ahead[place]) >= last:
            return stops
        taken = stolen_cycles(place + stolen - requested)
        stops.append((place, taken))
        stolen += taken
        behind = place + 1
        requested += period


@dataclass
class _Tally:
    """Counts as they grow."""

    hit: int = 0
    corrupt: int = 0
    accepted_wrong: int = 0
    never_settles: int = 0
    kept_old: int = 0
    first: dict[Kind, Counterexample] = field(default_factory=dict)

    def add(self, run: Run, held: int, phase: int, times: int = 1) -> None:
        """Count a case, ``times`` over if as many ended alike; ``phase`` is the first of them."""
        if run.hit:
            self.hit += times
        port, got = run.wrong_pass(held) or (0, held)
        if got != held_by(port, held):
            self.corrupt += times
            self._note(Counterexample("corrupt", held, phase, got, port + 1))
        if not run.finished:
            self.never_settles += times
            self._note(Counterexample("never_settles", held, phase, got, port + 1))
            return
        for port, got in enumerate(run.results):
            if got != held_by(port, held):
                self.accepted_wrong += times
                self._note(Counterexample("accepted_wrong", held, phase, got, port + 1))
                return

    def _note(self, found: Counterexample) -> None:
        known = self.first.get(found.kind)
        if known is None or (found.held, found.phase) < (known.held, known.phase):
            self.first[found.kind] = found


@dataclass(frozen=True, slots=True)
class PlainEngine:
    """A `RoutineEngine`; see the top of this file for what it does and why that is exact."""

    def sweep(
        self,
        routine: Routine,
        console: Console,
        period: int,
        *,
        limit: int = DEFAULT_LIMIT,
        step: Callable[[], None] = lambda: None,
    ) -> SweepCounts:
        """Count over 256 held states and ``period`` phases; see `RoutineEngine.sweep`."""
        SampleFetch(period, 0)  # refuses a period that no fetch has
        tally = _Tally()
        known: dict[bytes, list[int]] = {}
        steps = Steps(routine)

        def run(held: int, phase: int, preset: int = 0) -> Run:
            fetch = SampleFetch(period, phase)
            return run_case(
                routine, console, held, fetch=fetch, limit=limit, preset=preset, steps=steps
            )

        for held in range(STATES):
            calm = undisturbed(routine, console, held, limit, steps)
            if calm.kinds not in known:
                known[calm.kinds] = touched_phases(calm, period, limit)
            touched = known[calm.kinds]
            if len(touched) < period:
                first = next(n for n in range(period) if n >= len(touched) or touched[n] != n)
                tally.add(calm, held, first, times=period - len(touched))
            for phase in touched:
                one = run(held, phase)
                tally.add(one, held, phase)
                if _may_have_kept(one, held) and _follows(run(held, phase, preset=0xFF), held):
                    tally.kept_old += 1
            step()
        return SweepCounts(
            period=period,
            cases=STATES * period,
            hit=tally.hit,
            corrupt=tally.corrupt,
            accepted_wrong=tally.accepted_wrong,
            never_settles=tally.never_settles,
            kept_old=tally.kept_old,
            counterexample=next((tally.first[k] for k in _WORST if k in tally.first), None),
            examples=tuple(tally.first[k] for k in _WORST if k in tally.first),
        )


def touched_phases(calm: Run, period: int, limit: int) -> list[int]:
    """Phases with a stop in a port read, or with so many stops that the limit is passed."""
    ahead = reads_ahead(calm.kinds)
    touched = []
    for phase in range(period):
        stops = stops_of(ahead, period, phase)
        late = calm.cycles + sum(taken for _, taken in stops) > limit
        if late or any(calm.kinds[place] >= _PORT for place, _ in stops):
            touched.append(phase)
    return touched


def _may_have_kept(run: Run, held: int) -> bool:
    """Whether a pass was corrupt and yet the results are what is held, as they were before."""
    return run.finished and run.wrong_pass(held) is not None and not _wrong(run, held)


def _follows(run: Run, held: int) -> bool:
    """Whether a run that began with the opposite in the result places left it there."""
    return run.finished and all(
        got == held_by(port, held) ^ 0xFF for port, got in enumerate(run.results)
    )


def _wrong(run: Run, held: int) -> bool:
    return any(got != held_by(port, held) for port, got in enumerate(run.results))
