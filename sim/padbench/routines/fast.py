"""The fast engine: every case whose reads are stopped, in lock-step; see `padbench.routines.lanes`.

    counts = sweep(routine, console, 432)

A case without a stopped read ends as the undisturbed run with the same held state does (the proof
stands at the top of `padbench.routines.stops`). All others are run as lanes, and those lanes that
lock-step leaves out by `run_case`. So nothing is assumed of any case.

For work in parts (several rates, other processes, other machines) there is `survey` once, and
`count` for any `Part`; `SweepCounts.add` joins what comes back, in any order:

    known = survey(routine, console)
    for counts in spread(count, known, parts(known, [432, 576])): ...
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from padbench.routines.console import (
    COPY_CYCLES,
    Console,
    PadPort,
    SampleFetch,
    can_occur,
)
from padbench.routines.counts import STATES, Counterexample, Kind, SweepCounts
from padbench.routines.judge import Baseline
from padbench.routines.lanes import Lanes
from padbench.routines.routine import DEFAULT_LIMIT, Routine
from padbench.routines.run import (
    Carried,
    InstructionCache,
    RoutineRun,
    held_by,
    run_case,
    undisturbed,
)
from padbench.routines.stops import COPY, touched_phases

BATCH = 1 << 15
"""Lanes at a time; more are no quicker, and this many keep within some megabytes."""

_WHOLE = 1 << 63
"""Of `Lanes.levels`, what has lost none."""

_ROWS = 1 << 26
"""Bytes for the rows of undisturbed cycles that are recorded at a time."""


class _Outcomes(NamedTuple):
    """How cases ended, an array element each; see `RoutineRun`. ``results``: (places, cases)."""

    finished: npt.NDArray[np.bool_]
    hit: npt.NDArray[np.bool_]
    corrupt: npt.NDArray[np.bool_]
    pass_got: npt.NDArray[np.uint8]
    pass_port: npt.NDArray[np.uint8]
    results: npt.NDArray[np.uint8]

    @classmethod
    def of(cls, lanes: Lanes) -> "_Outcomes":
        passes = lanes.pass_got, lanes.pass_port
        results = np.array(lanes.results())
        return cls(lanes.finished, lanes.hit, lanes.corrupt, *passes, results)

    def of_states(self, states: Sequence[int]) -> "_Outcomes":
        """Those of these held states, if there is one for each."""
        parts: tuple[Any, ...] = tuple(one[..., states] for one in self)
        return _Outcomes(*parts)

    def handed(self) -> list[tuple[int, ...] | None]:
        """What each case handed on, port by port; None for one that has not come back."""
        return [
            tuple(got) if finished else None
            for got, finished in zip(self.results.T.tolist(), self.finished.tolist(), strict=True)
        ]

    def put(self, place: int, run: RoutineRun, held: int) -> None:
        """A case that was run by itself."""
        wrong = run.wrong_pass(held)
        self.finished[place], self.hit[place] = run.finished, run.hit
        self.corrupt[place] = wrong is not None
        if wrong is not None:
            self.pass_port[place], self.pass_got[place] = wrong
        self.results[:, place] = run.results

    def wrong(self, held: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
        """1 for a finished case that hands on what is not held, 2 for the second pad, else 0."""
        wrong_pad = np.zeros(len(held), np.uint8)
        for port in reversed(range(len(self.results))):
            wrong_pad[self.results[port] != held_array(port, held)] = port + 1
        wrong_pad[~self.finished] = 0
        return wrong_pad


def held_array(port: int, held: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """`held_by` for an array."""
    return held ^ np.uint8(held_by(port, 0))


@dataclass(frozen=True)
class Survey:
    """A routine on a console, run undisturbed with every held state.

    ``rows`` are the rows of cycles that differ in these or in what is written to the latch,
    ``row_of`` says which one each held state has.
    """

    routine: Routine
    console: Console
    limit: int
    rows: tuple[bytes, ...]
    row_of: tuple[int, ...]
    outcomes: _Outcomes
    others: _Outcomes
    """The same runs with the opposite in the result places."""


def survey(
    routine: Routine, console: Console, limit: int = DEFAULT_LIMIT, states: int = STATES
) -> Survey:
    """Run the first ``states`` held states undisturbed.

    Raises `RoutineError` for a routine that cannot be run or does not end within the limit.
    """
    cache = InstructionCache(routine)
    # One that never ends mostly does so in every state; a single run finds that out soonest.
    undisturbed(routine, console, 0, limit, cache)
    calm = _lanes(routine, console, limit, range(states))
    outcomes = _Outcomes.of(calm)
    rows: dict[tuple[bytes, int], int] = {}
    row_of = [-1] * states
    for held in range(states):
        if calm.left[held] or not outcomes.finished[held]:
            run = undisturbed(routine, console, held, limit, cache)
            outcomes.put(held, run, held)
            row_of[held] = rows.setdefault((run.kinds, -1 - held), len(rows))
    longest = max(int(np.where(calm.left, 0, calm.now).max()), 1)
    part = max(1, _ROWS // longest)
    lanes = [held for held in range(states) if row_of[held] < 0]
    for start in range(0, len(lanes), part):
        some = lanes[start : start + part]
        recorded = _lanes(routine, console, limit, some, record=longest)
        assert recorded.kinds is not None
        lengths = recorded.now - recorded.copying
        levels = recorded.levels.tolist()
        for held, length, kinds, wrote in zip(some, lengths, recorded.kinds, levels, strict=True):
            # What does not fit into 64 bits may be anything.
            row = kinds[:length].tobytes(), wrote if wrote < _WHOLE else -1 - held
            row_of[held] = rows.setdefault(row, len(rows))
    everything = np.arange(states, dtype=np.uint8)
    others = _run(routine, console, limit, 0, everything, np.zeros(states, np.int64), 0xFF)
    kinds_of = tuple(kinds for kinds, _ in rows)
    return Survey(routine, console, limit, kinds_of, tuple(row_of), outcomes, others)


def _lanes(
    routine: Routine, console: Console, limit: int, held: Sequence[int], record: int = 0
) -> Lanes:
    """Undisturbed lanes, run."""
    nothing = np.zeros(len(held), np.int64)
    lanes = Lanes(
        routine, console, np.array(held, np.uint8), nothing, nothing, limit, record=record
    )
    lanes.run()
    return lanes


def baseline_of_survey(known: Survey) -> Baseline:
    """What a survey of all held states says of the routine undisturbed."""
    rows = [known.rows[row] for row in known.row_of]
    lengths = [len(row) + COPY_CYCLES * row.count(COPY) for row in rows]
    longest = lengths.index(max(lengths))
    return Baseline.of(
        min(lengths),
        undisturbed(known.routine, known.console, longest, known.limit),
        known.outcomes.handed(),
        known.others.handed(),
        idle=len(known.routine.results) > 1
        and not all(_with_nothing(known, preset=byte)[1] for byte in (0, 0xFF)),
    )


def lost_presses(known: Survey, period: int) -> Fraction:
    """The chance that a fetch keeps a poll from handing on a press of one button, nothing before.

    Over all buttons and phases, each as likely as any other.
    """
    # As in `SweepCounts.chance`.
    lost, whole = 0, len(_possible(known, period)) == period
    for held in (1 << bit for bit in range(8)):
        phases = _touched(known, known.rows[known.row_of[held]], period)
        case = np.full(len(phases), held, np.uint8)
        # From nothing in the result: the held state is exclusive-ored with itself.
        after = _run(known.routine, known.console, known.limit, period, case, phases, held)
        lost += int(np.count_nonzero(~after.finished | (after.results[0] & held == 0)))
    return min(Fraction(1), Fraction(lost * (1 if whole else 2), 8 * period))


def sweep(
    routine: Routine, console: Console, period: int, limit: int = DEFAULT_LIMIT
) -> SweepCounts:
    """Count over 256 held states and ``period`` phases.

    Raises `RoutineError` for a routine that cannot be run, ``ValueError`` for a period that no
    fetch has.
    """
    SampleFetch(period, 0)  # refuses a period that no fetch has
    return count(survey(routine, console, limit), Part(period))


class Part(NamedTuple):
    """Held states ``first`` to ``end`` - 1 in all phases of a fetch period."""

    period: int
    first: int = 0
    end: int = STATES


def parts(known: Survey, periods: Sequence[int], workers: int = 1) -> list[Part]:
    """All cases of these periods: a period a part, or a quarter of one for several ``workers``.

    A part is lanes in lock-step, so a whole period is quicker than its quarters.
    """
    held = len(known.row_of)
    step = held if workers == 1 else max(1, held // 4)
    return [
        Part(period, first, min(first + step, held))
        for period in periods
        for first in range(0, held, step)
    ]


def count(known: Survey, part: Part, *, old: bool = True) -> SweepCounts:
    """Count over all phases of a part's held states; without ``old`` not ``kept_old``, in less
    time.

    Raises `RoutineError` for a routine that cannot be run, ``ValueError`` for a period that no
    fetch has.
    """
    period, first, end = part
    SampleFetch(period, 0)  # refuses a period that no fetch has
    counts = SweepCounts(period)
    possible = _possible(known, period)
    counts.impossible = (end - first) * (period - len(possible))
    counts.cases = counts.impossible
    touched = {
        row: _touched(known, known.rows[row], period)
        for row in {known.row_of[held] for held in range(first, end)}
    }
    calm = {
        row: np.setdiff1d(possible, phases, assume_unique=True) for row, phases in touched.items()
    }
    _add_calm(counts, known, part, calm)
    held_parts, phase_parts, waiting = [], [], 0
    for held in range(first, end):
        phases = touched[known.row_of[held]]
        for start in range(0, len(phases), BATCH):
            some = phases[start : start + BATCH]
            held_parts.append(np.full(len(some), held, np.uint8))
            phase_parts.append(some)
            waiting += len(some)
            if waiting >= BATCH:
                case = np.concatenate(held_parts), np.concatenate(phase_parts)
                _add_cases(counts, known, *case, old=old)
                held_parts, phase_parts, waiting = [], [], 0
    if waiting:
        case = np.concatenate(held_parts), np.concatenate(phase_parts)
        _add_cases(counts, known, *case, old=old)
    if first == 0 and len(known.routine.results) > 1:
        counts.nothing = _wrong_with_nothing(known, period)
    return counts


def _possible(known: Survey, period: int) -> npt.NDArray[np.int64]:
    """The phases that can occur, rising."""
    after = known.console.after_copy
    return np.array([phase for phase in range(period) if can_occur(phase, period, after)], np.int64)


def _touched(known: Survey, row: bytes, period: int) -> npt.NDArray[np.int64]:
    """`touched_phases` of a row, as far as they can occur."""
    touched = touched_phases(row, period, known.limit)
    return np.intersect1d(touched, _possible(known, period), assume_unique=True)


def _with_nothing(
    known: Survey, fetch: SampleFetch | None = None, preset: int = 0
) -> tuple[RoutineRun, bool]:
    """A run with nothing held on either pad, and whether it hands that on."""
    code, console, limit = known.routine, known.console, known.limit
    pads = PadPort(0), PadPort(0)
    begins = Carried.fresh(code, (preset, preset))
    run = run_case(code, console, 0, fetch=fetch, limit=limit, pads=pads, carried=begins)
    return run, run.finished and not any(run.results)


def _wrong_with_nothing(known: Survey, period: int) -> int:
    """Phases in which a poll goes wrong with nothing held on either pad."""
    code, console, limit = known.routine, known.console, known.limit
    calm, right = _with_nothing(known)
    phases = _touched(known, calm.kinds, period)
    quiet = len(_possible(known, period)) - len(phases)
    if not len(phases):
        return 0 if right else quiet
    lanes = Lanes(
        code,
        console,
        np.zeros(len(phases), np.uint8),
        np.full(len(phases), period, np.int64),
        phases,
        limit,
        other=0,
    )
    lanes.run()
    wrong = ~lanes.finished | np.array(lanes.results()).any(axis=0)
    for place in np.flatnonzero(lanes.left).tolist():
        wrong[place] = not _with_nothing(known, SampleFetch(period, int(phases[place])))[1]
    return int(wrong.sum()) + (0 if right else quiet)


def _add_calm(
    counts: SweepCounts, known: Survey, part: Part, calm: dict[int, npt.NDArray[np.int64]]
) -> None:
    """The cases that end as the undisturbed run; ``calm`` has the phases of these by row."""
    states = [held for held in range(part.first, part.end) if len(calm[known.row_of[held]])]
    if not states:
        return
    held, rows = np.array(states, np.uint8), [known.row_of[one] for one in states]
    ends = known.outcomes.of_states(states)
    first = np.array([calm[row][0] for row in rows])
    wrong = _add(counts, ends, held, first, np.array([len(calm[row]) for row in rows]))
    by_phase = np.frombuffer(counts.by_phase, np.uint8)
    # Each outcome of a row once: its phases are the same for all states.
    for row, code in {*zip(rows, _codes(ends, wrong).tolist(), strict=True)}:
        by_phase[calm[row]] = np.maximum(by_phase[calm[row]], code)


def _add_cases(
    counts: SweepCounts,
    known: Survey,
    held: npt.NDArray[np.uint8],
    phase: npt.NDArray[np.int64],
    *,
    old: bool,
) -> None:
    routine, console, limit = known.routine, known.console, known.limit
    outcomes = _run(routine, console, limit, counts.period, held, phase, 0)
    wrong = _add(counts, outcomes, held, phase, np.ones(len(held), np.int64))
    np.maximum.at(np.frombuffer(counts.by_phase, np.uint8), phase, _codes(outcomes, wrong))
    maybe = outcomes.finished & outcomes.corrupt & (wrong == 0)
    if not old or not maybe.any():
        return
    # Whether it is right because it kept what was there: begin with the opposite in its place.
    held, phase = held[maybe], phase[maybe]
    again = _run(routine, console, limit, counts.period, held, phase, 0xFF)
    kept = again.finished.copy()
    for port, got in enumerate(again.results):
        kept &= got == ~held_array(port, held)
    counts.kept_old += int(kept.sum())


def _run(
    routine: Routine,
    console: Console,
    limit: int,
    period: int,
    held: npt.NDArray[np.uint8],
    phase: npt.NDArray[np.int64],
    preset: int,
) -> _Outcomes:
    """Run cases as lanes, and those that lanes leave out one by one; period 0 is no fetch."""
    lanes = Lanes(
        routine,
        console,
        held,
        np.full(len(held), period, np.int64),
        phase,
        limit,
        preset=preset,
    )
    lanes.run()
    outcomes = _Outcomes.of(lanes)
    cache = InstructionCache(routine)
    for place in np.flatnonzero(lanes.left).tolist():
        run = run_case(
            routine,
            console,
            int(held[place]),
            fetch=SampleFetch(period, int(phase[place])) if period else None,
            limit=limit,
            preset=preset,
            cache=cache,
        )
        outcomes.put(place, run, int(held[place]))
    return outcomes


def _codes(outcomes: _Outcomes, wrong: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """Places in `OUTCOMES`."""
    codes = outcomes.hit.astype(np.uint8)
    codes[outcomes.corrupt] = 2
    codes[~outcomes.finished] = 3
    codes[wrong > 0] = 4
    return codes


def _add(
    counts: SweepCounts,
    outcomes: _Outcomes,
    held: npt.NDArray[np.uint8],
    phase: npt.NDArray[np.int64],
    times: npt.NDArray[np.int64],
) -> npt.NDArray[np.uint8]:
    """Count cases, each so many ``times`` over; they stand in order of held state, then phase."""
    wrong = outcomes.wrong(held)
    never = ~outcomes.finished
    counts.cases += int(times.sum())
    counts.hit += int(times[outcomes.hit].sum())
    counts.corrupt += int(times[outcomes.corrupt].sum())
    counts.accepted_wrong += int(times[wrong > 0].sum())
    counts.never_settles += int(times[never].sum())
    bad = never | (wrong > 0)
    if bad.any():
        by_held = np.array(counts.by_held, np.int64)
        np.add.at(by_held, held[bad], times[bad])
        counts.by_held = by_held.tolist()
    kinds: tuple[tuple[Kind, Any], ...] = (
        ("corrupt", outcomes.corrupt),
        ("never_settles", never),
        ("accepted_wrong", wrong > 0),
    )
    for kind, met in kinds:
        if not met.any():
            continue
        place = int(np.argmax(met))
        state = int(held[place])
        if kind == "accepted_wrong":
            pad = int(wrong[place])
            got = int(outcomes.results[pad - 1, place])
        elif outcomes.corrupt[place]:
            pad, got = int(outcomes.pass_port[place]) + 1, int(outcomes.pass_got[place])
        else:
            pad, got = 1, state
        counts.note(Counterexample(kind, state, int(phase[place]), got, pad))
    return wrong
