"""From a press to the first picture that can show it: the exact distribution.

    delays = press_to_picture(setup)
    delays.mean, delays.percentile(99), delays.largest        # CPU cycles, exact fractions

A press comes at any moment with equal chance and is held. The contact chatters for a while; a
pass that looks during that time finds it closed with a given chance, each pass anew. Whether a poll
acts on what its passes saw is the routine's own doing (see `padbench.routines.looks`). What is read
in one frame is worked on in that frame, and the earliest picture that shows it is the next one
(common practice). A frame is counted from the start of vertical blanking, where programs do their
reading.

What a fetch does to a poll is one chance, that a press which is there is not handed on, the same
for each poll (every phase is equally likely, anew for each); that stops move looks by some cycles
is left out.

Between two moments at which a pass looks or chatter ends, the chance for each poll to be the one
that acts is constant, so the delay is a mixture of uniform stretches: no sampling, no rounding.
"""

from bisect import bisect_left
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import count, pairwise

from padbench.parts import ConsoleTiming
from padbench.routines.looks import RoutineLooks, Seen, reachable

_CYCLE_OF_FRAMES = 2
"""Frames after which long and short ones repeat."""
_LEFT = Fraction(1, 10**9)
"""So few presses, lost in one poll after another, are shown by the last poll that is looked at."""


@dataclass(frozen=True, slots=True)
class LatencySetup:
    """What the delay depends on.

    A poll starts in each of ``lines`` of every ``every``-th frame; ``looks`` is what the routine
    makes of what it sees. ``processing``: pictures from the frame of the read to the one that
    shows it, at least 1. ``screen_line``: where on the screen one looks, 0 is the top.
    ``bounce``: CPU cycles of chatter after the press. ``closed``: the chance that a pass that
    looks during the chatter finds the contact closed. ``lost``: the chance, below 1, that a fetch
    keeps a poll from handing on a press.
    """

    timing: ConsoleTiming
    lines: tuple[int, ...]
    looks: RoutineLooks
    every: int = 1
    processing: int = 1
    screen_line: int = 120
    bounce: Fraction = Fraction(0)
    closed: Fraction = Fraction(1, 2)
    lost: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class Stretch:
    """Delays from ``low`` to ``high`` CPU cycles, spread evenly, with a share of all presses.

    The presses come from ``press`` on, in CPU cycles from the start of frame 0; the first picture
    that shows them is that of ``frame``.
    """

    low: Fraction
    high: Fraction
    share: Fraction
    press: Fraction
    frame: int


@dataclass(frozen=True)
class Delays:
    """A distribution of delays in CPU cycles; the shares of the stretches add up to 1."""

    stretches: tuple[Stretch, ...]

    @property
    def smallest(self) -> Fraction:
        """The shortest delay that can come up."""
        return min(stretch.low for stretch in self.stretches)

    @property
    def largest(self) -> Fraction:
        """The longest delay that can come up."""
        return max(stretch.high for stretch in self.stretches)

    @property
    def mean(self) -> Fraction:
        """The mean delay."""
        halves = (s.share * (s.low + s.high) / 2 for s in self.stretches)
        return sum(halves, Fraction(0))

    @cached_property
    def corners(self) -> tuple[tuple[Fraction, Fraction], ...]:
        """(delay, share of presses that are no slower): straight lines between these points."""
        bends: dict[Fraction, Fraction] = {}
        for s in self.stretches:
            slope = s.share / (s.high - s.low)
            bends[s.low] = bends.get(s.low, Fraction(0)) + slope
            bends[s.high] = bends.get(s.high, Fraction(0)) - slope
        total = slope = Fraction(0)
        points = []
        before = self.smallest
        for edge in sorted(bends):
            total += slope * (edge - before)
            slope += bends[edge]
            before = edge
            points.append((edge, total))
        return tuple(points)

    def percentile(self, percent: Fraction | int) -> Fraction:
        """The smallest delay within which so many percent of all presses lie.

        ``ValueError`` for a percentage outside 0..100.
        """
        if not 0 <= percent <= 100:
            raise ValueError(f"{percent} % is outside 0..100")
        wanted = Fraction(percent) / 100
        before = self.corners[0]
        for corner in self.corners:
            if corner[1] >= wanted:
                rise = corner[1] - before[1]
                if not rise:
                    return corner[0]
                return before[0] + (corner[0] - before[0]) * (wanted - before[1]) / rise
            before = corner
        return self.corners[-1][0]


def press_to_picture(setup: LatencySetup) -> Delays:
    """The distribution of the delay over all moments of a press, in CPU cycles."""
    timing = setup.timing
    span = _frame_start(timing, _CYCLE_OF_FRAMES * setup.every)
    # Presses of one whole turn of long and short frames, the turn that ends with a poll; polls go
    # on until one has seen even the last of them after its chatter.
    moments = reachable(setup.looks, setup.bounce)
    lines = sorted(setup.lines, key=lambda line: _after_blanking(timing, line))
    end = _begins(setup, (_CYCLE_OF_FRAMES - 1) * setup.every, lines[0]) + moments[0]
    start = end - span
    polls, begins = list[int](), list[Fraction]()
    left = Fraction(1)
    for number in count(-_CYCLE_OF_FRAMES):
        frame = number * setup.every
        for begin in (_begins(setup, frame, line) for line in lines):
            if begin + moments[-1] > start and left > _LEFT:
                polls.append(frame)
                begins.append(begin)
                left *= setup.lost if begin + moments[0] >= end + setup.bounce else 1
        if left <= _LEFT:
            break
    edges = {start, end}
    for begin in begins:
        for look in moments:
            moment = begin + look
            edges |= {at for at in (moment, moment - setup.bounce) if start < at < end}
    known: dict[tuple[int, int], Fraction] = {}

    def chance_of(press: Fraction, begin: Fraction) -> Fraction | int:
        """Hangs on nothing but which looks come before the press, and which in the chatter."""
        since = press - begin
        key = bisect_left(moments, since), bisect_left(moments, since + setup.bounce)
        if key not in known:
            known[key] = _chance(setup, press, begin) * (1 - setup.lost)
        return 1 if begin == begins[-1] else known[key]

    ordered = sorted(edges)
    stretches = []
    for low, high in pairwise(ordered):
        left = Fraction(1)
        for frame, begin in zip(polls, begins, strict=True):
            chance = chance_of((low + high) / 2, begin)
            if chance:
                shown = _shown(setup, frame)
                share = left * chance * (high - low) / span
                picture = frame + setup.processing
                stretches.append(Stretch(shown - high, shown - low, share, low, picture))
                left *= 1 - chance
            if not left:
                break
    return Delays(tuple(stretches))


def _chance(setup: LatencySetup, press: Fraction, begin: Fraction, seen: Seen = ()) -> Fraction:
    """That the poll that starts at ``begin`` hands on a press, given what its looks saw so far."""
    look = setup.looks.after(seen)
    if isinstance(look, bool):
        return Fraction(look)
    moment = begin + look
    closed = setup.closed
    if moment < press:
        closed = Fraction(0)
    elif moment >= press + setup.bounce:
        closed = Fraction(1)
    chance = Fraction(0)
    if closed:
        chance += closed * _chance(setup, press, begin, (*seen, True))
    if closed != 1:
        chance += (1 - closed) * _chance(setup, press, begin, (*seen, False))
    return chance


def pictures_by_line(delays: Delays, timing: ConsoleTiming) -> list[dict[int, float]]:
    """For presses in each line the shares that each picture is the first to show.

    The picture of the frame in which the press comes is 1; a frame begins with vertical blanking.
    """
    shares: list[dict[int, float]] = [{} for _ in range(timing.lines)]
    for stretch in delays.stretches:
        at, end = stretch.press, stretch.press + stretch.high - stretch.low
        while at < end:
            pair = at // _frame_start(timing, _CYCLE_OF_FRAMES)
            frame = next(n for n in count(2 * pair + 1, -1) if _frame_start(timing, n) <= at)
            begin = _frame_start(timing, frame)
            line = (at - begin) // timing.cycles_per_line
            after = min(end, begin + (line + 1) * timing.cycles_per_line)
            after = min(after, _frame_start(timing, frame + 1))
            picture = stretch.frame - frame + 1
            share = float(stretch.share * (after - at) / (stretch.high - stretch.low))
            there = shares[(line + timing.blanking_from) % timing.lines]
            there[picture] = there.get(picture, 0.0) + share
            at = after
    totals = [sum(there.values()) for there in shares]
    return [
        {picture: there[picture] / total for picture in sorted(there)}
        for there, total in zip(shares, totals, strict=True)
    ]


def _after_blanking(timing: ConsoleTiming, line: int) -> int:
    return (line - timing.blanking_from) % timing.lines


def _begins(setup: LatencySetup, frame: int, line: int) -> Fraction:
    """When the poll in a line of a frame starts."""
    timing = setup.timing
    return _frame_start(timing, frame) + _after_blanking(timing, line) * timing.cycles_per_line


def _shown(setup: LatencySetup, frame: int) -> Fraction:
    """When the line one looks at is drawn in the first picture that can show what was read."""
    timing = setup.timing
    lines = timing.lines - timing.blanking_from + setup.screen_line
    return _frame_start(timing, frame + setup.processing) + lines * timing.cycles_per_line


def _frame_start(timing: ConsoleTiming, frame: int) -> Fraction:
    """CPU cycles from the start of frame 0 to that of another one; every odd one is shorter."""
    pairs, odd = divmod(frame, 2)
    whole = timing.lines * timing.cycles_per_line
    return pairs * (2 * whole - timing.shortened_by) + odd * whole
