"""A read routine as the poll of a design sheet: its own cycles at the console's true clock.

    poll = routine_poll("read-twice", "60hz")
    poll.timing                      # the shortest times it has
    session = poll.begin()           # calls of the routine, each answered by a pad
    sheet = with_timings(sheet)      # those times in the place of typed ones

The pad is on the first port, or on the second if the routine reads only that one or the sheet says
so with ``poll.pad``; a pad on the
other port holds the opposite, as in a sweep. From one poll to the next memory stays as it is, and a
result that is handed on in A comes back in A. A poll is made once a frame.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property, lru_cache
from itertools import pairwise
from typing import Literal

from padbench.core.findings import Finding, Met, Source
from padbench.core.stimulus import DrivenLines, PollTiming
from padbench.core.units import Value
from padbench.parts import console_timing
from padbench.routines.bus import BusCycle
from padbench.routines.console import Clocks, Console, PadPort, Pass, SampleFetch
from padbench.routines.counts import SweepCounts
from padbench.routines.cross import Assembler
from padbench.routines.fast import Part, Survey, baseline_of_survey, count, survey
from padbench.routines.judge import Baseline, judge_routine, on_its_port
from padbench.routines.places import with_places_found
from padbench.routines.routine import DEFAULT_LIMIT, PORTS, Routine, RoutineError
from padbench.routines.run import Carried, InstructionCache, RoutineRun, run_case, undisturbed
from padbench.routines.source import load_routine, number
from padbench.routines.stops import first_stops
from padbench.routines.wave import LineEdges
from padbench.routines.worst import worst_cases
from padbench.scenarios.polled_routine import AnsweringPad, FetchCase
from padbench.sheet import Sheet
from padbench.sheet.model import Poll

_PAD_READ = 2
"""The kind of a cycle that reads the pad's port, see `RoutineRun`."""

_MOST_CALLS = 8192
"""Beginnings of calls that are remembered."""

_EVERY_STATE = Source("every held state, run without a fetch", "calculated")
_EVERY_CASE = Source("every held state and phase", "calculated")
_FETCH_RULES = Source("rules and rates of the fetch", "from memory")

_FEWEST_BETWEEN = 3
"""CPU cycles: what lies between the reads of two LDA absolute, the quickest two single reads."""


@dataclass(frozen=True)
class RoutinePoll:
    """A poll that a routine makes; times in picoseconds.

    ``latch``: from the start of a poll to the rise and the fall of its first latch, when nothing
    disturbs it. ``passes``: latches with reads behind them in an undisturbed poll. ``timing`` has
    the shortest of each time that any held state makes the routine drive, and the
    most clocks that a pass has. ``period`` is a frame of the console. All rates of the fetch are
    judged; ``fetch_period`` is the one whose cases are played, the worst. ``calls`` are remembered
    by what they began with.
    """

    routine: Routine
    console: Console
    base: Baseline
    timing: PollTiming
    latch: tuple[int, int]
    passes: int
    known: Survey = field(repr=False)
    cache: InstructionCache = field(repr=False)
    calls: dict[tuple[object, ...], "_Turn"] = field(
        default_factory=dict, repr=False, compare=False
    )

    @property
    def period(self) -> int:
        """From one poll to the next."""
        return self.console.timing.to_ps(self.console.timing.frame_cycles)

    @property
    def longest(self) -> int:
        """How long an undisturbed poll can take."""
        return self.console.timing.to_ps(self.base.most)

    @property
    def fetch_period(self) -> int:
        """CPU cycles from one fetch request to the next."""
        return self._worst.period

    def timed(self, sheet: Sheet) -> Sheet:
        """The sheet with the shortest times of the routine in the place of typed ones."""
        times = {
            "latch_width": self.timing.latch_width,
            "latch_to_clock": self.timing.latch_to_clock,
            "clock_low": self.timing.clock_low,
            "clock_high": self.timing.clock_high,
            "sample": self.timing.sample,
            "period": self.period,
        }
        exact: dict[str, object] = {key: Value.exact(ps * 1e-12) for key, ps in times.items()}
        counts = {"clocks": self.timing.clocks, "passes": self.passes}
        return sheet.model_copy(update={"poll": sheet.poll.model_copy(update=exact | counts)})

    def begin(self) -> "RoutineSession":
        """A machine that has just been switched on."""
        return RoutineSession(self)

    def fetch_stopping(self, held: int, number: int, bit: int) -> tuple[int, int] | None:
        """Period and phase of a fetch that first stops the read of this bit of pass ``number``.

        Bits count from 1. Of all that do the fastest, which stops most reads behind it; None if
        there is none. Found on a run that goes as the one with this held state, without a sweep.
        """
        row = self.known.row_of[held]
        passes = self._passes_of[row]
        if number >= len(passes) or bit > len(passes[number]):
            return None
        kinds, at = self.known.rows[row], passes[number][bit - 1]
        fetches = (
            (period, self._first_stops(kinds, period).get(at))
            for period in sorted(self.console.timing.fetch_periods)
        )
        return next(((period, phase) for period, phase in fetches if phase is not None), None)

    def cases(self) -> tuple[FetchCase, ...]:
        """The worst cases of a sweep over all phases and held states, one of each kind."""
        return self._cases

    @property
    def swept(self) -> bool:
        """Whether all rates have been counted."""
        return "sweeps" in vars(self)

    def counted(self, sweeps: Sequence[SweepCounts]) -> None:
        """Take the counts of all rates, in their order, from another process."""
        vars(self)["sweeps"] = [*sweeps]

    def findings(self, *, fail: bool = False) -> tuple[Finding, ...]:
        """What the routine does by itself. No pad is to blame for it, so nothing is judged unless
        the sheet's policy wants it to ``fail``.
        """
        met = Met(other=f"{self.routine.name}, {self.console.timing.name} console")
        judgement = judge_routine(self.routine, self.console, self.base, self.sweeps)
        failed = fail and self.base.fault
        result = self.base.finding("fail" if failed else "not-judged", self.routine.found)
        exposed = fail and judgement.fails and not self.base.fault
        fetch = judgement.finding(
            "fail" if exposed else "not-judged", fetch_period=self.fetch_period
        )
        return (
            replace(result, met=met, sources=(_EVERY_STATE,)),
            replace(fetch, met=met, sources=(_EVERY_CASE, _FETCH_RULES)),
        )

    @cached_property
    def sweeps(self) -> list[SweepCounts]:
        """All rates of the console, counted when first asked for."""
        return [count(self.known, Part(period)) for period in self.console.timing.fetch_periods]

    @cached_property
    def _worst(self) -> SweepCounts:
        def badness(counts: SweepCounts) -> tuple[float, ...]:
            kinds = (counts.accepted_wrong, counts.never_settles, counts.corrupt, counts.hit)
            return (*(kind / counts.cases for kind in kinds), -counts.period)

        return max(self.sweeps, key=badness)

    @cached_property
    def _cases(self) -> tuple[FetchCase, ...]:
        return worst_cases(self.routine, self.console, self._worst)

    @cached_property
    def _passes_of(self) -> list[list[list[int]]]:
        """The passes with reads of a run of each row of the survey."""
        runs = _one_of_each(self.known, self.cache)
        return [[one for one in _passes(run) if one] for run in runs]

    @cached_property
    def _known(self) -> dict[tuple[bytes, int], dict[int, int]]:
        return {}

    def _first_stops(self, kinds: bytes, period: int) -> dict[int, int]:
        """For each read of the pad the first phase whose first stop of the pad is there."""
        if (kinds, period) not in self._known:
            stops = first_stops(kinds, period, DEFAULT_LIMIT, (_PAD_READ,))
            # Of several phases the first stays.
            backwards = reversed([*enumerate(stops.tolist())])
            self._known[kinds, period] = {at: phase for phase, at in backwards}
        return self._known[kinds, period]


@dataclass
class _OnPort:
    """The answering pad as a run's bus sees it: cycles on one side, picoseconds on the other."""

    pad: AnsweringPad
    console: Console
    start: int
    passes: list[Pass] = field(default_factory=list)

    def _ps(self, cycle: Fraction | int) -> int:
        return self.start + self.console.timing.to_ps(cycle)

    def strobe(self, level: int, now: int) -> None:
        self.pad.strobe(level, self._ps(now + 1))

    def stopped(self, extra: int, stolen: int, now: int) -> None:
        ps = self.console.timing.to_ps
        low, pause = (
            (ps(stolen - 1), ps(1)) if extra == 1 else (ps(Fraction(1, 2)), ps(Fraction(1, 2)))
        )
        self.pad.stopped(extra, low, pause, ps(2))

    def read(self, now: int) -> int:
        return self.pad.read(self._ps(now + 1))


@dataclass
class _Turn:
    """What a call does from one answer of the pad to the next, or to its end.

    ``does`` are calls of `Plugged`, ``asks`` the cycle of the read that ends it, ``after`` what
    comes of each answer. Of the last one ``run`` is the whole run; ``cells``, ``a`` and ``other``
    are what it left in memory, in A and in the pad on the other port.
    """

    does: list[tuple[str, tuple[int, ...]]] = field(default_factory=list)
    asks: int = 0
    after: dict[int, "_Turn"] = field(default_factory=dict)
    run: RoutineRun | None = None
    cells: dict[int, int] = field(default_factory=dict)
    a: int = 0
    other: tuple[bool, int] = (False, 0xFF)


@dataclass
class _Remembered(_OnPort):
    """A pad to which the same call was made before: it goes through that up to a new answer."""

    turn: _Turn = field(default_factory=_Turn)
    known: list[int] = field(default_factory=list)

    def again(self) -> bool:
        """Make the calls that were made before; whether they led to the end."""
        turn = self.turn
        while True:
            for name, words in turn.does:
                getattr(_OnPort, name)(self, *words)
            if turn.run is not None or not turn.after:
                break
            self.known.append(super().read(turn.asks))
            if self.known[-1] not in turn.after:
                break
            turn = turn.after[self.known[-1]]
        if turn.run is not None:
            self.turn = turn
        return turn.run is not None

    def strobe(self, level: int, now: int) -> None:
        self._do("strobe", level, now)

    def stopped(self, extra: int, stolen: int, now: int) -> None:
        self._do("stopped", extra, stolen, now)

    def _do(self, name: str, *words: int) -> None:
        if not self.known:
            self.turn.does.append((name, words))
            getattr(_OnPort, name)(self, *words)

    def read(self, now: int) -> int:
        self.turn.asks = now
        answer = self.known.pop(0) if self.known else super().read(now)
        self.turn = self.turn.after.setdefault(answer, _Turn())
        return answer


class RoutineSession:
    """Calls one after the other; what one leaves in memory the next one finds.

    What a call does hangs on memory, A, fetch and the answers that it gets. Calls that had all of
    these alike, of this session or an earlier one, are not run again.
    """

    def __init__(self, poll: RoutinePoll) -> None:
        self._poll = poll
        self._lines = LineEdges(poll.console, 0)
        self._begin(0)

    def _begin(self, preset: int) -> None:
        routine = self._poll.routine
        self._carried = Carried.fresh(routine, (preset, preset ^ 0xFF))
        self._other = _Turn.other
        # All of memory that is not as it was loaded.
        self._cells = {at for at in routine.results if at != "A"} | {at for at, _ in routine.kept}

    @property
    def lines(self) -> DrivenLines:
        """What the calls so far drove."""
        return self._lines.driven

    def call(
        self,
        at: int,
        pad: AnsweringPad,
        *,
        fetch: tuple[int, int] | None,
        other: int,
        preset: int | None,
    ) -> tuple[int | None, int]:
        """One poll that starts at ``at``: the byte it hands on, and when (picoseconds).

        ``fetch``: its period and the cycle of its first request, None for none. ``other`` is the
        state of a pad on the other port. ``preset``: begin anew, with this byte where the result
        stands. None if the routine has not come back within its limit.
        """
        if preset is not None:
            self._begin(preset)
        poll, carried = self._poll, self._carried
        cells = tuple((cell, carried.memory[cell]) for cell in sorted(self._cells))
        if len(poll.calls) > _MOST_CALLS:
            poll.calls.clear()
        first = poll.calls.setdefault((fetch, other, self._other, carried.a, cells), _Turn())
        port = _Remembered(pad, poll.console, at, turn=first)
        if port.again():
            end = port.turn
            carried.a = end.a
            for cell, value in end.cells.items():
                carried.memory[cell] = value
        else:
            end = self._run(port, fetch, PadPort(other, *self._other))
        run = end.run
        assert run is not None
        self._other = end.other
        self._cells |= end.cells.keys()
        self._lines.add(run.accesses, at)
        result = run.results[0] if run.finished else None
        return result, at + poll.console.timing.to_ps(run.cycles)

    def _run(self, port: _Remembered, fetch: tuple[int, int] | None, other: PadPort) -> _Turn:
        poll, carried = self._poll, self._carried
        trace: list[tuple[int, int, tuple[BusCycle, ...]]] = []
        try:
            run = run_case(
                poll.routine,
                poll.console,
                0,
                fetch=None if fetch is None else SampleFetch(*fetch),
                cache=poll.cache,
                pads=(port, other),
                carried=carried,
                trace=trace,
            )
        except BaseException:
            poll.calls.clear()  # what has not ended is nothing to go by
            raise
        end = port.turn
        written = {at for *_, cycles in trace for write, at, _ in cycles if write}
        end.run, end.a, end.other = run, carried.a, (other.latched, other.content)
        end.cells = {at: carried.memory[at] for at in written.union(poll.routine.ports)}
        return end


def poll_of(poll: Poll) -> RoutinePoll | None:
    """The routine of a sheet's poll, None if it has none. Raises `RoutineError`."""
    if poll.routine is None:
        return None
    return routine_poll(
        poll.routine,
        poll.console,
        clocks=poll.repeated_reads,
        entry=poll.entry,
        origin=poll.origin,
        result=poll.result,
        ports=poll.ports,
        assembler=poll.assembler,
        pad=poll.pad,
    )


def routine_poll(
    what: str,
    console_name: str,
    *,
    clocks: Clocks = "joined",
    entry: str | None = None,
    origin: str | None = None,
    result: str | None = None,
    ports: str | None = None,
    assembler: Assembler | None = None,
    pad: Literal[1, 2] | None = None,
) -> RoutinePoll:
    """The poll that a routine (a shipped one or a file) makes once a frame on a console.

    The rest is as in `load_routine`, addresses as text; ``pad`` says which of the console's pads is
    meant where it reads both. Whoever asks again for the same code on the
    same console gets the same object: it is run through all held states once.

    Raises `RoutineError` for a routine that cannot be run, or in which there is nothing to judge:
    that never latches, or reads no port.
    """
    first, second = PORTS if ports is None else (_address(what, one) for one in _two(what, ports))
    routine = load_routine(
        what,
        entry=entry,
        origin=None if origin is None else _address(what, origin),
        result=result,
        ports=(first, second),
        assembler=assembler,
    )
    console = Console(console_timing(console_name), clocks)
    routine = on_its_port(routine, console)
    if pad == 2 and not routine.second_only:
        both, turned = routine.results[::-1], routine.ports[::-1]
        routine = replace(routine, results=both, ports=turned, second_only=True)
    elif pad == 1 and routine.second_only:
        raise _nothing(what, "reads the second port only", "leave out poll.pad, or write pad = 2")
    routine = with_places_found(routine, console, sheet=True)
    return _surveyed(routine, console)


@lru_cache(maxsize=32)
def _surveyed(routine: Routine, console: Console) -> RoutinePoll:
    what = routine.name
    routine = on_its_port(routine, console)
    cache = InstructionCache(routine)
    known = survey(routine, console)
    runs = _one_of_each(known, cache)
    timing = _shortest(runs, console)
    calm = runs[known.row_of[0]]
    edges = _edges(calm, console)
    if len(edges.latch) < 2:
        raise _nothing(what, "never raises and drops the latch", "write 1 and then 0 to bit 0")
    if not edges.samples:
        raise _nothing(what, "never reads a port", "read the port once for each button")
    base = baseline_of_survey(known)
    if base.untouched:
        raise _nothing(what, "never writes the place of its result", "name it with poll.result")
    return RoutinePoll(
        routine=routine,
        console=console,
        base=base,
        timing=timing,
        latch=(edges.latch[0], edges.latch[1]),
        passes=sum(bool(one) for one in _passes(calm)),
        known=known,
        cache=cache,
    )


def with_timings(sheet: Sheet) -> Sheet:
    """The sheet with the shortest times of its routine in the place of typed ones, if it has one.

    Raises `RoutineError`.
    """
    poll = poll_of(sheet.poll)
    return sheet if poll is None else poll.timed(sheet)


def _two(what: str, ports: str) -> Sequence[str]:
    parts = ports.split(",")
    if len(parts) != 2:
        raise _nothing(what, f"has ports {ports[:60]!r}", 'write two, such as "$4016,$4017"')
    return parts


def _address(what: str, text: str) -> int:
    value = number(text)
    if value is None:
        raise _nothing(what, f"is given {text[:60]!r} for an address", 'write such as "$8000"')
    return value


def _nothing(what: str, wrong: str, instead: str) -> RoutineError:
    return RoutineError.at(what, None, "", wrong, instead)


def _edges(run: RoutineRun, console: Console) -> LineEdges:
    edges = LineEdges(console, 0)
    edges.add(run.accesses, 0)
    return edges


def _passes(run: RoutineRun) -> list[list[int]]:
    """For each rise of the latch the own cycles of the pad's reads from then on."""
    passes: list[list[int]] = []
    level = 0
    for access in run.accesses:
        if access.kind == "latch":
            if access.value and not level:
                passes.append([])
            level = access.value
        elif access.port == 0 and passes:
            passes[-1].append(access.own)
    return passes


def _one_of_each(known: Survey, cache: InstructionCache) -> list[RoutineRun]:
    """Runs that drive the lines as every held state does: one for each row of the survey."""
    states = map(known.row_of.index, range(len(known.rows)))
    return [undisturbed(known.routine, known.console, held, cache=cache) for held in states]


def _shortest(runs: Sequence[RoutineRun], console: Console) -> PollTiming:
    """The shortest of each time on the wires over all runs, whatever pass it is in."""
    widths, waits, lows, highs, samples, counts = ({0} for _ in range(6))
    for run in {run.accesses: run for run in runs}.values():
        edges = _edges(run, console)
        counts |= {len(one) for one in _passes(run)}
        falls, rises = edges.clock[::2], edges.clock[1::2]
        drops = edges.latch[1::2]
        widths |= {drop - rise for rise, drop in zip(edges.latch[::2], drops, strict=False)}
        lows |= {rise - fall for fall, rise in zip(falls, rises, strict=True)}
        samples |= {at - fall for at, fall in zip(edges.samples, falls, strict=True)}
        between = sorted([*edges.latch, *falls])
        after = dict(pairwise(between))
        clocked = set(falls)
        waits |= {after[drop] - drop for drop in drops if after.get(drop) in clocked}
        latched = sorted(edges.latch)
        highs |= {
            fall - rise
            for rise, fall in zip(rises, falls[1:], strict=False)
            if not any(rise < at < fall for at in latched)
        }
    least = console.timing.to_ps(_FEWEST_BETWEEN)
    return PollTiming(
        latch_width=_least(widths, least),
        latch_to_clock=_least(waits, least),
        clock_low=_least(lows, least),
        clock_high=_least(highs, least),
        sample=_least(samples, least),
        clocks=max(1, *counts),
    )


def _least(times: set[int], otherwise: int) -> int:
    return min(times - {0}, default=otherwise)
