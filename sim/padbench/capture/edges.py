"""Edges as data sheets measure them: from 10 to 90 % of the levels that a line is found to have.

    edges = Edges(("clock",))
    for piece in pieces: edges.take(piece)
    edges.measured(measure)
    edges.lines["clock"].levels, edges.lines["clock"].longest

Thresholds have no part in it. Lines in volts only; what lies between two samples counts as
straight. Memory does not grow with the capture.
"""

from collections.abc import Collection
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from padbench.capture.measures import Measure, Sampler
from padbench.core.levels import HIGH, LOW
from padbench.core.quality import data_delays
from padbench.core.timeline import Times, Wire
from padbench.waveio import Piece, Points

Array = NDArray[np.float64]

ANSWERS = {
    rises: f"clock to a {'rise' if rises else 'fall'} of data, half to half"
    for rises in (True, False)
}
"""Names of the times from half-way up a clock's rise to half-way through a change of data."""

_KEPT = 1 << 10
"""Samples near each level by which it is found."""
_LONGEST = 1 << 18
"""Samples of one edge; a line that stands between its levels must not fill the memory."""
_CLEAR = 7
"""A line has two levels if they lie so many spreads apart; the two halves of noise lie 5 or 6."""
_PENDING = 1 << 12
_LONGEST_WAY_PS = 2 * 10**6
"""No edge takes longer through the cable of a pad (assumed)."""


def named(line: str, *, rises: bool) -> str:
    """What the durations of a line's edges are called among the statistics."""
    return f"{line} {'rise' if rises else 'fall'}, 10 to 90 %"


@dataclass
class _Near:
    """Some of the samples near one level, from all over the capture."""

    some: Array

    def add(self, samples: Array) -> None:
        self.some = np.sort(np.concatenate([self.some, samples]))
        while len(self.some) > 2 * _KEPT:
            self.some = self.some[::2]

    def at(self, part: float) -> float:
        return float(self.some[round(part * (len(self.some) - 1))])


class LineEdges:
    """The levels (V) of one line and its edges, as its samples come.

    ``levels`` is None until two levels were found; ``rises`` and ``falls`` collect durations.
    ``longest`` is the longest edge and when it ended, in picoseconds; ``inside`` how many samples
    lay in the edges, and ``count`` how many edges there were.
    """

    def __init__(self) -> None:
        self.levels: tuple[float, float] | None = None
        self._rest: Points = np.zeros(0), np.zeros(0)
        self._span: tuple[float, float] | None = None
        self._begin()

    def _begin(self) -> None:
        self.rises, self.falls = Sampler(), Sampler()
        self.longest: tuple[int, int] | None = None
        self.inside = self.count = 0
        self._full = 0
        self._low, self._high = _Near(np.zeros(0)), _Near(np.zeros(0))

    def take(self, points: Points) -> tuple[Times, NDArray[np.bool_]]:
        """When (ps) the edges that these points end were half-way, and which rise."""
        self._find_levels(points[1])
        seconds, volts = (np.concatenate(pair) for pair in zip(self._rest, points, strict=True))
        if self.levels is None:
            self._rest = seconds[-1:], volts[-1:]
            return np.zeros(0, np.int64), np.zeros(0, bool)
        low, high = self.levels
        tenth = (high - low) / 10
        # 0 at the low level, 1 between, 2 at the high one.
        zone = (volts > low + tenth).view(np.uint8) + (volts >= high - tenth).view(np.uint8)
        begins = np.append(0, np.flatnonzero(zone[1:] != zone[:-1]) + 1)
        at_level = np.flatnonzero(zone[begins] != 1)
        ends = np.append(begins[1:], len(zone)) - 1
        kinds = zone[begins[at_level]]
        turns = np.flatnonzero(kinds[1:] != kinds[:-1])
        first, last = ends[at_level[turns]], begins[at_level[turns + 1]]
        rises = kinds[turns + 1] == 2
        keep = int(ends[at_level[-1]]) if len(at_level) else 0
        keep = max(keep, len(zone) - _LONGEST)
        self._rest = seconds[keep:].copy(), volts[keep:].copy()
        if not len(first):
            return np.zeros(0, np.int64), rises
        near, far = low + tenth, high - tenth
        left = _crossed(seconds, volts, first, np.where(rises, near, far))
        reached = _crossed(seconds, volts, last - 1, np.where(rises, far, near))
        middle = (low + high) / 2
        above = volts >= middle
        crossings = np.flatnonzero(above[1:] != above[:-1])
        half = crossings[np.searchsorted(crossings, last, side="left") - 1]
        halves = _crossed(seconds, volts, half, np.full(len(half), middle))
        durations = np.rint((reached - left) * 1e12).astype(np.int64)
        self.rises.add(durations[rises])
        self.falls.add(durations[~rises])
        self.count += len(first)
        self.inside += int((last - first - 1).sum())
        worst = int(np.argmax(durations))
        if self.longest is None or durations[worst] > self.longest[0]:
            self.longest = int(durations[worst]), round(float(reached[worst]) * 1e12)
        return np.rint(halves * 1e12).astype(np.int64), rises

    def _find_levels(self, volts: Array) -> None:
        """Low and high where the line mostly stands, if that is clearly two levels.

        A quarter of the samples below the middle lies lower, a quarter of those above it higher:
        neither ringing nor an edge that is still under way counts.
        """
        if self.levels is not None and self._full % 16:
            # Enough is known; now and then a look at whether they have moved.
            self._full += 1
            return
        least, most = float(volts.min()), float(volts.max())
        if self._span is not None:
            known = self._span
            least, most = min(least, known[0]), max(most, known[1])
            if most - least > 1.25 * (known[1] - known[0]):
                self._span = None
        if self._span is None:
            # What was found in so small a span was noise.
            self._span = least, most
            self._begin()
        above = volts >= (self._span[0] + self._span[1]) / 2
        for near, own in ((self._low, ~above), (self._high, above)):
            every = max(1, int(np.count_nonzero(own)) // _KEPT)
            near.add(volts[np.flatnonzero(own)[::every]])
        if not len(self._low.some) or not len(self._high.some):
            return
        self._full += min(len(self._low.some), len(self._high.some)) >= _KEPT
        low, high = self._low.at(0.25), self._high.at(0.75)
        spread = max(self._low.at(0.5) - low, high - self._high.at(0.5))
        self.levels = (low, high) if high - low > max(_CLEAR * spread, 0.0) else None


def _crossed(seconds: Array, volts: Array, place: Times, at: Array) -> Array:
    """When the line passes ``at`` volts on its straight way from each place to the next."""
    begin, end = volts[place], volts[place + 1]
    part = np.divide(at - begin, end - begin, out=np.ones(len(at)), where=end != begin)
    when: Array = seconds[place] + part * (seconds[place + 1] - seconds[place])
    return when


@dataclass
class Ends:
    """A line that was recorded at both ends of its cable, the end that sends first.

    ``counts`` are the edges at each and ``last`` when the last was (ps), ``levels`` the levels that
    each reached. ``way`` is the sum (ps) of the times from each edge to that of the same number at
    the other end, of which there were ``pairs``.
    """

    counts: list[int] = field(default_factory=lambda: [0, 0])
    last: list[int] = field(default_factory=lambda: [0, 0])
    levels: tuple[set[int], set[int]] = field(default_factory=lambda: (set(), set()))
    way: int = 0
    pairs: int = 0
    waiting: list[Times] = field(default_factory=lambda: [np.zeros(0, np.int64)] * 2)

    def add(self, end: int, times: Times) -> None:
        """More edges of one end, of which those without a partner wait for it."""
        if len(times):
            self.counts[end] += len(times)
            self.last[end] = int(times[-1])
            self.waiting[end] = np.append(self.waiting[end], times)

    def pair(self) -> None:
        """What has come at both ends."""
        sent, got = self.waiting
        count = min(len(sent), len(got))
        self.way += int((got[:count] - sent[:count]).sum())
        self.pairs += count
        self.waiting = [times[count:][:_PENDING] for times in (sent, got)]

    def lost(self, end_ps: int) -> bool:
        """Whether one end has edges that the other has not; the last may be under way."""
        sent, got = self.counts
        under_way = sent - got == 1 and self.last[0] > end_ps - _LONGEST_WAY_PS
        return sent != got and not under_way


class Edges:
    """Those of some lines; where clock and data are among them, also how long data take.

    Of a line recorded at the pad's end of its cable too ("far-clock"), also how long it is under
    way: from threshold to threshold, so with its slower edge.
    """

    def __init__(self, lines: Collection[str]) -> None:
        self.lines = {name: LineEdges() for name in lines}
        self._answers = {rises: Sampler() for rises in ANSWERS}
        self._rises: dict[str, Times] = {}
        self._data: Times = np.zeros(0, np.int64)
        self._data_rises = np.zeros(0, bool)
        self._stood: dict[str, int] = {}
        self._sent: dict[tuple[str, bool], Times] = {}
        self._ways: dict[str, Sampler] = {}
        self.ends: dict[str, Ends] = {}

    def take(self, piece: Piece) -> None:
        """The next stretch of the capture."""
        here = [n.removeprefix("far-") for n in piece.changes if n.startswith("far-")]
        for near in dict.fromkeys([*self.ends, *here]):
            far = f"far-{near}"
            for name in (near, far):
                self.lines.setdefault(name, LineEdges())
            self._under_way(near, *((far, near) if near == "data" else (near, far)), piece)
        for name, line in self.lines.items():
            if name not in piece.analogue or not len(piece.analogue[name][0]):
                continue
            halves, rises = line.take(piece.analogue[name])
            if name == "data":
                self._data = np.append(self._data, halves)
                self._data_rises = np.append(self._data_rises, rises)
            else:
                known = self._rises.get(name, np.zeros(0, np.int64))
                self._rises[name] = np.append(known, halves[rises])
        if len(self._rises.get("clock", ())) > _PENDING:
            self._answer()

    def measured(self, measure: Measure) -> None:
        """All durations and answers, added to the other statistics of a capture."""
        self._answer()
        for name, line in self.lines.items():
            measure[named(name, rises=True)] = line.rises
            measure[named(name, rises=False)] = line.falls
        for up, answers in self._answers.items():
            measure[ANSWERS[up]] = answers
        measure.update(self._ways)

    def _under_way(self, line: str, first: str, last: str, piece: Piece) -> None:
        edges, ends = {}, self.ends.setdefault(line, Ends())
        for end, name in enumerate((first, last)):
            times, levels = piece.changes.get(name, (np.zeros(0, np.int64), np.zeros(0, np.uint8)))
            times, levels = times[levels <= HIGH], levels[levels <= HIGH]
            if len(levels):
                ends.levels[end].update(np.unique(levels).tolist())
                turns = np.append(
                    self._stood.get(name, levels[0]) != levels[0], np.diff(levels) != 0
                )
                self._stood[name] = int(levels[-1])
                times, levels = times[turns], levels[turns]
            edges[name] = times, levels == HIGH
            ends.add(end, times)
        ends.pair()
        for up in (True, False):
            sent, got = (times[rises == up] for times, rises in (edges[first], edges[last]))
            sent = np.append(self._sent.get((line, up), sent[:0]), sent)
            self._sent[line, up] = sent[-1:]
            place = np.searchsorted(sent, got, side="right") - 1
            ways = (got - np.append(sent, 0)[place])[place >= 0]
            sampler = self._ways.setdefault(
                f"{line} through the cable, {'rise' if up else 'fall'}", Sampler()
            )
            sampler.add(ways[ways <= _LONGEST_WAY_PS])

    def _answer(self) -> None:
        """From each clock but the last to the last change of data before the next clock."""
        clocks = self._rises.get("clock", np.zeros(0, np.int64))
        latches = self._rises.get("latch", np.zeros(0, np.int64))
        if not len(clocks):
            return
        wire = Wire(self._data, np.where(self._data_rises, np.uint8(HIGH), np.uint8(LOW)))
        at, delays = data_delays(wire, clocks, latches)
        rises = self._data_rises[np.searchsorted(self._data, at + delays)]
        for up, answers in self._answers.items():
            answers.add(delays[rises == up])
        self._rises["clock"] = clocks[-1:]
        self._rises["latch"] = latches[latches >= clocks[-1]]
        later = self._data >= clocks[-1]
        self._data, self._data_rises = self._data[later], self._data_rises[later]
