"""What sweeps are held to: case by case and phase by phase; exact, and slow.

Every case in which a fetch stops a read of a port is run cycle by cycle on py65; why the others
need no run of their own is shown at the top of `padbench.routines.stops`.
"""

from padbench.routines.console import (
    Console,
    SampleFetch,
    can_occur,
    copy_ends,
    stolen_cycles,
)
from padbench.routines.counts import OUTCOMES, STATES, Counterexample, SweepCounts
from padbench.routines.judge import Baseline
from padbench.routines.routine import DEFAULT_LIMIT, Routine
from padbench.routines.run import InstructionCache, RoutineRun, held_by, run_case, undisturbed
from padbench.routines.stops import COPY

_READ, _PORT = 1, 2


def sweep(
    routine: Routine, console: Console, period: int, limit: int = DEFAULT_LIMIT
) -> SweepCounts:
    """Count over 256 held states and ``period`` phases.

    Raises `RoutineError` for a routine that cannot be run, ``ValueError`` for a period that no
    fetch has.
    """
    SampleFetch(period, 0)  # refuses a period that no fetch has
    counts = SweepCounts(period)
    known: dict[bytes, list[int]] = {}
    cache = InstructionCache(routine)

    def run(held: int, phase: int, preset: int = 0) -> RoutineRun:
        fetch = SampleFetch(period, phase)
        return run_case(
            routine, console, held, fetch=fetch, limit=limit, preset=preset, cache=cache
        )

    for held in range(STATES):
        calm = undisturbed(routine, console, held, limit, cache)
        if calm.kinds not in known:
            known[calm.kinds] = touched_one_by_one(calm, period, limit)
        there = [n for n in range(period) if can_occur(n, period, console.after_copy)]
        counts.impossible += period - len(there)
        counts.cases += period - len(there)
        touched = [phase for phase in known[calm.kinds] if phase in there]
        quiet = sorted(set(there) - set(touched))
        if quiet:
            _count(counts, calm, held, quiet)
        for phase in touched:
            case = run(held, phase)
            _count(counts, case, held, [phase])
            if _may_have_kept(case, held) and _follows(run(held, phase, preset=0xFF), held):
                counts.kept_old += 1
    return counts


def merged(period, parts):
    """All parts of a period together."""
    whole = SweepCounts(period)
    for part in parts:
        whole.add(part)
    return whole


def _count(counts: SweepCounts, run: RoutineRun, held: int, phases: list[int]) -> None:
    """Count a case, once for each phase in which it ends alike."""
    times, phase, outcome = len(phases), phases[0], int(run.hit)
    counts.cases += times
    counts.hit += times * run.hit
    spoilt = run.wrong_pass(held)
    port, got = spoilt or (0, held)
    if spoilt:
        outcome = OUTCOMES.index("pass misread")
        counts.corrupt += times
        counts.note(Counterexample("corrupt", held, phase, got, port + 1))
    wrong = [port for port, result in enumerate(run.results) if result != held_by(port, held)]
    if not run.finished:
        outcome = OUTCOMES.index("never settles")
        counts.never_settles += times
        counts.note(Counterexample("never_settles", held, phase, got, port + 1))
    elif wrong:
        outcome = OUTCOMES.index("wrong byte")
        counts.accepted_wrong += times
        result = run.results[wrong[0]]
        counts.note(Counterexample("accepted_wrong", held, phase, result, wrong[0] + 1))
    counts.by_held[held] += times * bool(wrong or not run.finished)
    for at in phases:
        counts.by_phase[at] = max(counts.by_phase[at], outcome)


def reads_ahead(kinds: bytes) -> list[int]:
    """For each cycle the place of the first read at or after it; the length if there is none."""
    ahead = [len(kinds)] * (len(kinds) + 1)
    for place in range(len(kinds) - 1, -1, -1):
        read = kinds[place] >= _READ and kinds[place] != COPY
        ahead[place] = place if read else ahead[place + 1]
    return ahead


def stops_of(kinds: bytes, ahead: list[int], period: int, phase: int) -> list[tuple[int, int]]:
    """Where the fetches stop a run with these cycles: (own cycle, cycles stolen), in order.

    ``ahead`` are its `reads_ahead`. True up to the first stop in a port read, and for a
    routine whose cycles depend on nothing that it reads, to the end.
    """
    return _stops_of(kinds, ahead, period, phase)[0]


def _stops_of(
    kinds: bytes, ahead: list[int], period: int, phase: int
) -> tuple[list[tuple[int, int]], int]:
    """The stops, and all cycles that they and sprite copies took."""
    last = len(ahead) - 1
    stops: list[tuple[int, int]] = []
    stolen, behind, copied, requested = 0, 0, 0, phase
    while True:
        place = ahead[min(max(requested - stolen, behind), last)]
        copy = kinds.find(COPY, copied)
        if 0 <= copy < place:
            now = copy + 1 + stolen
            end, requested = copy_ends(now, requested, period)
            stolen, behind, copied = stolen + end - now, copy + 1, copy + 1
            continue
        if place >= last:
            return stops, stolen
        taken = stolen_cycles(place + stolen - requested)
        stops.append((place, taken))
        stolen += taken
        behind = place + 1
        requested += period


def touched_one_by_one(calm: RoutineRun, period: int, limit: int) -> list[int]:
    """Phases with a stop in a port read, or with so many stops that the limit is passed."""
    ahead = reads_ahead(calm.kinds)
    touched = []
    for phase in range(period):
        stops, stolen = _stops_of(calm.kinds, ahead, period, phase)
        late = len(calm.kinds) + stolen > limit
        if late or any(calm.kinds[place] >= _PORT for place, _ in stops):
            touched.append(phase)
    return touched


def _may_have_kept(run: RoutineRun, held: int) -> bool:
    """Whether a pass was corrupt and yet the results are what is held, as they were before."""
    return (
        run.finished
        and run.wrong_pass(held) is not None
        and all(got == held_by(port, held) for port, got in enumerate(run.results))
    )


def _follows(run: RoutineRun, held: int) -> bool:
    """Whether a run that began with the opposite in the result places left it there."""
    return run.finished and all(
        got == held_by(port, held) ^ 0xFF for port, got in enumerate(run.results)
    )


def baseline_of(routine: Routine, console: Console, limit: int = DEFAULT_LIMIT) -> Baseline:
    """Run every held state undisturbed, one by one."""
    cache = InstructionCache(routine)
    runs = [undisturbed(routine, console, held, limit, cache) for held in range(STATES)]
    others = (
        run_case(routine, console, held, limit=limit, preset=0xFF, cache=cache)
        for held in range(STATES)
    )
    return Baseline.of(
        min(run.cycles for run in runs),
        max(runs, key=lambda run: run.cycles),
        [run.results for run in runs],
        [run.results if run.finished else None for run in others],
    )
