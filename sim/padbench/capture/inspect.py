"""The whole inspection of a stream: reads, statistics, and what the rules say.

    inspection = inspect(capture.pieces(), usual_settings())
    inspection.reads(), inspection.timing

The pieces may come from any reader; nothing in here opens a file.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from padbench.capture.edges import Edges, Ends, LineEdges
from padbench.capture.frame_seen import FrameSync, Place, SyncWatch
from padbench.capture.measures import Measure, Statistics
from padbench.capture.reads import ROW, Press, SeenRead, press_times, presses
from padbench.capture.rows import Rhythm, WindowReads, rows_of
from padbench.capture.windows import windows
from padbench.circuit.circuits import Circuits
from padbench.circuit.design import design_of
from padbench.circuit.pad_model import limits_of, pad_model
from padbench.core.buttons import BUTTONS
from padbench.core.decode import Names
from padbench.core.findings import Finding, Met, Rule, worst_of_each
from padbench.core.levels import HIGH, LOW
from padbench.core.limits import Limit, Limits, unjudged
from padbench.core.quality import CLOCK_EDGE, DATA_DELAY, held_to_most
from padbench.core.timeline import Timeline, Times
from padbench.core.timing import PinNames, judge_timing
from padbench.core.units import to_ps
from padbench.parts import RegisterPart, register_part
from padbench.sheet import Sheet
from padbench.waveio import THRESHOLDS, Piece, Thresholds

LINES = ("latch", "clock", "data")

_USUAL_PART = "CD4021B"
"""Held to where no sheet says otherwise (common practice: the register is of the 4021 family)."""

_WIRES = {"latch": "console.latch", "clock": "console.clock", "data": "cable.data"}
_SAMPLE = "console.sample"

COARSE = Rule(
    "capture.coarse",
    "s",
    {"not-judged": "samples {apart:s} apart cannot tell whether {limit:4} are kept"},
)
"""In place of a rule whose limit is below the time from one sample to the next, under its id."""

_SWING = 0.2
"""A line that moves by less of its level than this hums, and is no clock (assumed)."""

_NOISES = 1000
"""So many runts are remembered one by one; a noisy capture has millions and they say the same."""

_GRID = 64
"""So many changes that are all multiples of one time are no chance."""

_FINE_PS = 1000
"""Samples so close hide nothing of a pad."""

_FRAME_PS = 16 * 10**9
"""From poll to poll at most consoles, nearly."""

_AT_ONCE = 4096
"""Rows that become objects together: quicker than one by one, and never all of them."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What a capture is held to.

    ``wanted`` is the number of bits the program reads, ``passes`` how many reads make a poll (0:
    found from the capture), ``edge`` the slowest edge the clock input takes, 10 to 90 %, None if
    any will do; ``delay`` the longest time from a clock's rise to its data at the console;
    ``sync_from`` the line of the frame in which vertical sync begins, None as the console has it;
    ``lines`` are those whose edges are measured in volts, the clock among them.
    """

    limits: Limits
    wanted: int = 8
    passes: int = 0
    edge: Limit | None = None
    delay: Limit | None = None
    sync_from: int | None = None
    lines: tuple[str, ...] = ("clock",)
    pins: PinNames = field(default_factory=lambda: PinNames("latch", "clock", "none"))


def usual_settings(*, wanted: int = 8, passes: int = 0) -> Settings:
    """The CD4021B at 5 V by itself: what a cable adds to its answer only a sheet can say."""
    part = register_part(_USUAL_PART)
    assert part.clock_to_output.max is not None
    answer = part.clock_to_output.max
    limits = limits_of(part, part.stages, (answer, answer), 0.0, 0.0)
    return Settings(limits, wanted, passes, _edge(part), None)


def settings_of_sheet(
    sheet: Sheet, port: str, *, wanted: int | None = None, passes: int = 0
) -> Settings:
    """The sheet's pad at its slow corner on one kind of port. ``KeyError`` for an unknown port."""
    limits = pad_model(sheet, port, "slow").limits
    return Settings(
        limits,
        sheet.poll.clocks if wanted is None else wanted,
        passes or sheet.poll.passes,
        _edge(sheet.part),
        limits.answer,
    )


class Needs(NamedTuple):
    """Volts by a sheet: the least and the most ``supply``, and of each line the highest that its
    receiver surely takes for low and the lowest that it surely takes for high.
    """

    supply: tuple[float, float]
    lines: Mapping[str, tuple[float, float]]


def needs_of(sheet: Sheet, port: str) -> Needs:
    """Of latch and clock the pad's register is the receiver, of data the console."""
    circuits = Circuits(design_of(sheet, sheet.part, sheet.port(port)))
    ends = (
        (circuits.latch.low_at, circuits.latch.high_at),
        (circuits.clock.low_at, circuits.clock.high_at),
        circuits.data_thresholds,
    )
    supply = circuits.at_lines.supply
    levels = [(float(low.min()), float(high.max())) for low, high in ends]
    return Needs((float(supply.min()), float(supply.max())), dict(zip(LINES, levels, strict=True)))


def _edge(part: RegisterPart) -> Limit | None:
    figure = part.clock_edge_max
    return None if figure.max is None else Limit(to_ps(figure.max), (figure.cited,))


Moments = tuple[int, tuple[int, ...]]
"""How many there were, and the first of them."""


@dataclass
class Inspection:
    """What came out. ``rows`` has one entry a read; `reads` gives them one by one.

    ``timing`` are the findings of the rules of the wires; ``edges`` has the lines that were looked
    at in volts, ``levels`` at which a line ever stood. ``pulses`` are rises of the latch, of the
    clock, of the clock with the latch high, and of the latch with the clock low; ``whole`` has
    whole reads and all, were one line the latch and another the clock. ``ringing`` is as
    ``runts``, right beside an edge; ``unlatched`` is where the clocks of a read without a latch
    begin. ``apart_ps`` is from one sample to the next, 0 where nobody knows; ``same_time``,
    ``left_out`` and ``anew`` as in a `Piece`. ``inputs`` are the buttons whose
    contacts were recorded. ``ends`` has the lines that were recorded at the pad too, ``spans`` the
    least and the greatest voltage of each line in volts.
    """

    wanted: int = 8
    rows: NDArray[np.void] = field(default_factory=lambda: np.zeros(0, ROW))
    end_ps: int = 0
    measures: dict[str, Statistics] = field(default_factory=dict)
    timing: tuple[Finding, ...] = ()
    runts: dict[str, Moments] = field(default_factory=dict)
    ringing: dict[str, Moments] = field(default_factory=dict)
    glitches: Moments = (0, ())
    unlatched: Moments = (0, ())
    gaps: tuple[tuple[int, int], ...] = ()
    broken_off: str | None = None
    volts: dict[str, tuple[float, float]] = field(default_factory=dict)
    passes: int = 1
    frame: FrameSync | None = None
    edges: Mapping[str, LineEdges] = field(default_factory=dict)
    ends: Mapping[str, Ends] = field(default_factory=dict)
    spans: dict[str, tuple[float, float]] = field(default_factory=dict)
    levels: dict[str, set[int]] = field(default_factory=dict)
    pulses: NDArray[np.int64] = field(default_factory=lambda: np.zeros(4, np.int64))
    whole: dict[tuple[str, str], tuple[int, int]] = field(default_factory=dict)
    apart_ps: int = 0
    same_time: tuple[int, int] = (0, 0)
    left_out: tuple[int, str] = (0, "")
    anew: tuple[int, ...] = ()

    def watched(self, pieces: Iterable[Piece], edges: Edges) -> Iterator[Piece]:
        """The pieces, and what a stream leaves behind as it passes."""
        by_rows = grid = count = 0
        for piece in pieces:
            self.end_ps = piece.end_ps
            by_rows = by_rows or piece.apart_ps
            if not (
                by_rows or piece.events
            ):  # a sample is known in simulations only, which are exact
                grid = _grid(piece, grid)
                count += sum(len(times) for times, _ in piece.changes.values())
            self.apart_ps = by_rows or (grid if count >= _GRID else 0)
            self.same_time = max(self.same_time, piece.same_time)
            self.left_out = max(self.left_out, piece.left_out)
            self.broken_off = piece.broken_off or self.broken_off
            self.gaps += piece.gaps
            self.anew += piece.anew
            edges.take(piece)
            for name, (_, levels) in piece.changes.items():
                stood = self.levels.setdefault(name, set())
                stood |= {level for level in {LOW, HIGH} - stood if (levels == level).any()}
            drawn = {n: (v.min(), v.max()) for n, (_, v) in piece.analogue.items() if len(v)}
            for spans, some in ((self.volts, piece.volts), (self.spans, drawn)):
                for name, (least, most) in some.items():
                    known = spans.get(name, (least, most))
                    spans[name] = min(known[0], float(least)), max(known[1], float(most))
            yield piece

    @property
    def unreached(self) -> tuple[str, ...]:
        """The lines that were never at a level."""
        return tuple(name for name in LINES if not self.levels.get(name))

    @property
    def still(self) -> dict[str, int]:
        """The level of each line that kept one."""
        return {
            line: min(self.levels[line]) for line in LINES if len(self.levels.get(line, ())) == 1
        }

    @property
    def inputs(self) -> tuple[str, ...]:
        """The buttons whose contacts were recorded."""
        return tuple(name for name in BUTTONS if name in self.levels)

    def tuples(self) -> Iterator[tuple[int, ...]]:
        """All rows in time order as they are, quicker than `reads`."""
        for first in range(0, len(self.rows), _AT_ONCE):
            yield from self.rows[first : first + _AT_ONCE].tolist()

    def reads(self) -> Iterator[SeenRead]:
        """All reads in time order."""
        return (SeenRead.of(row, number) for number, row in enumerate(self.tuples(), 1))

    @cached_property
    def press_times(self) -> dict[str, tuple[Times, Times]]:
        """When each button that was pressed went down and up, `UNSEEN` where nobody saw it."""
        return press_times(self.rows)

    @cached_property
    def presses(self) -> tuple[Press, ...]:
        """When each button went down and up."""
        return presses(self.press_times)

    def met(self, at_ps: int, other: str = "") -> Met:
        """A moment, with the read in which it lies, if any."""
        number = int(np.searchsorted(self.rows["start"], at_ps, side="right"))
        return Met(read=number or None, at_ps=at_ps, other=other)

    def read(self, place: int) -> SeenRead:
        """The read at that place, from 0."""
        return SeenRead.of(self.rows[place], place + 1)

    def place(self, read: SeenRead) -> Place | None:
        """Where in the frame a read falls; None where no video sync was recorded near it."""
        return None if self.frame is None else self.frame.place(read.start_ps, read.end_ps)


def parting(seen: Inspection) -> Thresholds | None:
    """Thresholds at 30 and 70 % of the clock's levels, where the usual ones do not part them.

    Those of a CMOS input, as parts of the supply (JEDEC JESD13-B at 5 V). None for levels that the
    usual ones part, and where no levels were found. Within a tenth of a level they part badly: an
    edge gets there long after the register has taken it.
    """
    levels = seen.edges["clock"].levels if "clock" in seen.edges else None
    if levels is None:
        return None
    low, high = levels
    if high - low < _SWING * max(abs(low), abs(high)):
        return None
    tenth = (high - low) / 10
    if low + tenth <= THRESHOLDS.low and THRESHOLDS.high <= high - tenth:
        return None
    return Thresholds(low + 3 * tenth, high - 3 * tenth)


def _grid(piece: Piece, known: int) -> int:
    """Picoseconds of which all changes are a multiple, as those of a logger that samples are.

    Of those before it is ``known``, 0 at first; as soon as it is fine nobody looks on.
    """
    for times, _ in piece.changes.values():
        if known == 0 or known > _FINE_PS:
            known = int(np.gcd.reduce(times[:_GRID], initial=known))
            off = times[times % known != 0] if known else times[:0]
            known = int(np.gcd.reduce(off, initial=known))
    return known


Watcher = Callable[[NDArray[np.void], Sequence[Finding]], None]
"""Is told the rows of each window, and what was found in the wires so far."""


def inspect(
    pieces: Iterable[Piece], settings: Settings, watcher: Watcher = lambda *_: None
) -> Inspection:
    """Read a stream to its end. Raises `windows.TooMuch` where no latch comes."""
    seen, edges = Inspection(settings.wanted), Edges(settings.lines)
    measure, rhythm = Measure(), Rhythm()
    rows = [seen.rows]
    timing: tuple[Finding, ...] = ()
    runts, ringing = ({"latch": _Moments(), "clock": _Moments()} for _ in range(2))
    glitches, unlatched = _Moments(), _Moments()
    syncs = SyncWatch(settings.sync_from)
    for window in windows(seen.watched(pieces, edges)):
        part = rows_of(window, rhythm, settings.wanted, measure)
        rows.append(part.rows)
        timing = worst_of_each([*timing, *_judge(part, settings)])
        watcher(part.rows, [_told_by(finding, seen.apart_ps) for finding in timing])
        for every, own in ((runts, part.runts), (ringing, part.ringing)):
            for name, times in own.items():
                every[name].add(times)
        glitches.add(part.glitches)
        unlatched.add(part.unlatched)
        seen.pulses = seen.pulses + part.pulses
        for pair, (whole, reads) in part.whole.items():
            known = seen.whole.get(pair, (0, 0))
            seen.whole[pair] = known[0] + whole, known[1] + reads
        sync = window.timeline.wires.get("sync")
        if sync is not None:
            measure["line period"].add(syncs.add(sync))
    measure["line period"].add(syncs.rest())
    edges.measured(measure)
    seen.edges, seen.ends, seen.rows = edges.lines, edges.ends, np.concatenate(rows)
    starts = seen.rows["start"]
    seen.passes = settings.passes or _passes(_waits(starts, seen.anew, _FRAME_PS))
    waits = _waits(starts[:: seen.passes], seen.anew)
    measure["poll period"].add(waits)
    if len(waits) > 2:
        measure["poll jitter"].add(np.abs(waits - np.median(waits)))
    line = measure["line period"].statistics()
    seen.frame = syncs.frames(None if line is None else line.median)
    if seen.frame is not None:
        measure["frame period"].add(np.diff(seen.frame.starts))
    seen.measures = measure.statistics()
    if settings.edge is not None:
        # What never was a pulse is noise, whatever levels it has.
        # The register is at the pad's end of the cable, where its clock rises slower.
        name, end = (
            ("far-clock", " at the pad's end") if "far-clock" in seen.spans else ("clock", "")
        )
        clock = edges.lines[name] if "clock low" in seen.measures else LineEdges()
        timing = (*timing, _clock_edge(clock, settings.edge, end))
    seen.runts, seen.ringing = (
        {name: moments.counted() for name, moments in some.items()} for some in (runts, ringing)
    )
    seen.glitches, seen.unlatched = glitches.counted(), unlatched.counted()
    told = [_told_by(finding, seen.apart_ps) for finding in timing]
    seen.timing = tuple(
        finding if finding.met.at_ps is None else replace(finding, met=seen.met(finding.met.at_ps))
        for finding in told
    )
    return seen


def inspect_timeline(timeline: Timeline, settings: Settings) -> Inspection:
    """What `inspect` makes of a simulated timeline. ``KeyError`` if a wire is missing."""
    wires = {role: timeline.wires[name] for role, name in _WIRES.items()}
    changes = {role: (wire.times, wire.levels) for role, wire in wires.items()}
    events = {"sample": timeline.events[_SAMPLE]} if _SAMPLE in timeline.events else {}
    return inspect([Piece(timeline.end_ps, changes, events)], settings)


class _Moments:
    """Counts moments and remembers the first of them."""

    def __init__(self) -> None:
        self._count = 0
        self._first: list[int] = []

    def add(self, times: Times) -> None:
        self._count += len(times)
        self._first += times[: _NOISES - len(self._first)].tolist()

    def counted(self) -> tuple[int, tuple[int, ...]]:
        return self._count, tuple(self._first)


def _judge(part: WindowReads, settings: Settings) -> Iterator[Finding]:
    names = Names("latch", "clock", "data", "sample")
    yield from judge_timing(
        part.timeline,
        part.reads,
        settings.limits,
        short=part.short,
        pins=settings.pins,
        names=names,
    )
    if settings.delay is not None and len(part.rows):
        at, delays = part.delays
        what = "time from a clock to its data"
        yield held_to_most(DATA_DELAY, at, delays, settings.delay, what)


def _told_by(finding: Finding, apart: int) -> Finding:
    """A finding, not judged where a sample more or less (ps) may decide it.

    Each end of what is measured lies up to a sample's distance later than it was, so a time is
    known to within one; a limit below that is out of reach altogether.
    """
    limit, measured, reach = finding.limit, finding.measured, apart * 1e-12
    if measured is None or limit is None or finding.unit != "s":
        return finding
    between = finding.rule is CLOCK_EDGE  # found by lines drawn from sample to sample
    if limit >= reach and (between or abs(measured - limit) >= reach):
        return finding
    facts = {"apart": apart * 1e-12}
    return Finding(
        COARSE,
        "not-judged",
        limit=limit,
        sources=finding.sources,
        facts=facts,
        name=finding.id,
    )


def _clock_edge(clock: LineEdges, limit: Limit, end: str) -> Finding:
    """As data sheets measure it, whatever the thresholds."""
    what = f"edge of the clock{end}"
    if clock.levels is None or clock.longest is None:
        return unjudged(CLOCK_EDGE, limit, "none", {"what": f"{what} in volts"})
    duration, at = (np.asarray([number]) for number in clock.longest)
    low, high = (f"{volts:.3g} V" for volts in clock.levels)
    what += f", 10 to 90 % of the way between {low} and {high} as found,"
    return held_to_most(CLOCK_EDGE, at, duration, limit, what)


def _waits(starts: Times, anew: Sequence[int], unknown: int | None = None) -> Times:
    """From read to read; ``unknown`` where nobody knows how long that was, else left out."""
    waits: Times = np.diff(starts)
    segments = np.searchsorted(np.asarray(anew, np.int64), starts, side="right")
    known = np.diff(segments) == 0
    return waits[known] if unknown is None else np.where(known, waits, unknown)


def _passes(waits: Times) -> int:
    """How many reads make a poll: as many as usually stand close together.

    A poll comes once a frame; what follows within a third of the longer waits is a pass of the
    same one.
    """
    if len(waits) < 3:
        return 1
    close = waits < np.percentile(waits, 90) / 3
    if not close.any():
        return 1
    ends = np.flatnonzero(~close)
    sizes = np.diff(np.concatenate([[-1], ends, [len(waits)]]))
    values, counts = np.unique(sizes, return_counts=True)
    usual = int(values[np.argmax(counts)])
    return usual if counts.max() * 10 >= 8 * counts.sum() else 1
