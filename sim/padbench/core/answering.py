"""How a design answers on the data line: once for each reason, soon enough, and not too soon.

    findings = judge_answers(timeline, window=limits.answer.ps, answer=limits.answer)

For HDL designs, whose every change is recorded. The rules see a timeline only.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from padbench.core.findings import Fact, Finding, Rule, Source
from padbench.core.levels import HIGH, UNKNOWN
from padbench.core.limits import Limit, judge_count, judge_times
from padbench.core.timeline import Timeline, Times, Wire, Word
from padbench.core.timing import PinNames
from padbench.core.wire_names import CABLE_DATA

_UNSEEN = {"unseen": "the timeline does not show {names:list}"}
_GLITCH = Rule(
    "data.glitch",
    "changes",
    {
        "pass": "every change of the data line follows a latch, a clock or a button",
        "fail": "the data line changes {measured:time|times} more than latch, clock and buttons "
        "ask",
        "none": "no latch asks for an answer, or the data line is never at a level",
        **_UNSEEN,
    },
)
_TRANSPARENT = Rule(
    "data.transparent",
    "latches",
    {
        "pass": "while the latch is high the data line follows the first button",
        "fail": "in {wrong} of {looks} latches the data line does not show the first button "
        "while the latch is high: not transparent while latched",
        "none": "no latch is high for long enough to show the first button",
        **_UNSEEN,
    },
)
_ANSWER = Rule(
    "data.answer",
    "s",
    {
        **dict.fromkeys(
            ("pass", "fail"),
            "the slowest answer on the data line takes {measured:4}; {limit:4} are promised",
        ),
        "room": "the slowest answer on the data line takes {measured:4}; none is promised, "
        "and the poll leaves {limit:4}",
        "unpromised": "no answer time is promised",
        "unmoved": "the data line never changes",
        **_UNSEEN,
    },
)
_SYNCHRONISER = Rule(
    "data.synchroniser",
    "edges",
    {
        **dict.fromkeys(
            ("pass", "fail"),
            "the quickest answer to a clock comes with edge {edge} of the system clock; behind "
            "{flip_flops} flip-flops it cannot come before edge {needed}",
        ),
        "unclocked": "there is no system clock to come into",
        "unmoved": "the data line follows no clock edge",
        **_UNSEEN,
    },
)
RULES = {rule.id: rule for rule in (_GLITCH, _TRANSPARENT, _ANSWER, _SYNCHRONISER)}
"""Every rule of the answers by its id: unit and sentences."""

_PRACTICE = Source("each change of the data line has one reason", "common practice")
_AS_LATCHED = Source("A stands on the line as soon as the latch is given", "common practice")
_TWO_FLIP_FLOPS = Source("two flip-flops against metastability", "common practice")


@dataclass(frozen=True, slots=True)
class SystemClock:
    """A free-running clock: one of its rising edges, and its period, in picoseconds."""

    rise: int
    period: int

    def edges(self, first: int, last: int) -> int:
        """Rising edges from ``first`` to ``last``, both included."""
        return (last - self.rise) // self.period - (first - 1 - self.rise) // self.period


def judge_answers(
    timeline: Timeline,
    *,
    window: int,
    answer: Limit | None = None,
    promised: bool = True,
    latency: int = 0,
    clock: SystemClock | None = None,
    flip_flops: int = 0,
    pins: PinNames | None = None,
    data_name: str = CABLE_DATA,
) -> tuple[Finding, ...]:
    """Findings ``data.glitch``, ``.transparent``, ``.answer``, ``.synchroniser`` of one timeline.

    A reason is a rise of the load, a rising clock edge while the load is off, or an input of the
    last stage that moves during the load. Each may change the data line once, within ``window``
    picoseconds or so; a second change is a glitch. That long into a load, and after each move of
    that input in it, the data line shows the input. ``answer`` is the longest time promised, or
    that there is room for (``promised`` is false). An input may count up to ``latency`` after its
    move (picoseconds, of a design that debounces): what such a move may explain is not timed.
    ``clock``: the design's own; latch and clock then have to pass ``flip_flops``, so that no
    change may come before the edge after that. A rule whose wires the timeline lacks, or that has
    nothing to go by, is "not-judged".
    """
    pins = pins or PinNames()
    missing = {pins.load, pins.clock, data_name} - timeline.wires.keys()
    if missing:
        return tuple(_unseen(rule, *sorted(missing)) for rule in RULES.values())
    load, data = timeline.wires[pins.load], timeline.wires[data_name]
    word = timeline.words.get(pins.inputs)
    rises = timeline.wires[pins.clock].rises()
    shifts = rises[load.at(rises) != HIGH]
    first_bit = _last_input(word)
    every_move = first_bit.times[1:]
    moves = _during_load(every_move, load) if not latency else every_move[:0]
    reasons = np.sort(np.concatenate([load.rises(), shifts, moves]))
    first = int(load.rises()[0]) if len(load.rises()) else timeline.end_ps
    changes = data.times[data.times >= first]
    looks = _looks(load, moves, timeline.end_ps, window)
    if latency:
        loading = (load.at(changes) == HIGH) | (load.before(changes - window) == HIGH)
        changes = changes[~(loading & _follows(changes, every_move, latency + window))]
        looks = looks[~_follows(looks, every_move, latency + window)]
    # Those rises of the load at which the data line shows the last stage's input already.
    idle = set(_showing(first_bit.at(load.rises()), load.rises(), data)[0].tolist())
    glitches, waits = _matched(reasons.tolist(), changes.tolist(), window, idle)
    asked = len(load.rises()) > 0 and not data.silent
    return (
        _no_more_than_none(_GLITCH, glitches, _PRACTICE)
        if asked
        else Finding(_GLITCH, "not-judged", case="none"),
        _unseen(_TRANSPARENT, pins.inputs)
        if word is None
        else _transparent(first_bit, looks, data),
        _answer(waits, answer, promised=promised),
        _synchroniser(waits, set(shifts.tolist()), clock, flip_flops),
    )


def _unseen(rule: Rule, *names: str) -> Finding:
    return Finding(rule, "not-judged", case="unseen", facts={"names": names})


def _last_input(word: Word | None) -> Wire:
    """The input of the last stage, which is read first; at no level where it is not known."""
    if word is None or not word.times:
        return Wire.of([(0, UNKNOWN)])
    last = word.width - 1
    levels = [UNKNOWN if value is None else value >> last & 1 for value in word.values]
    return Wire.from_arrays(word.times, levels)


def _showing(levels: NDArray[np.uint8], at: Times, data: Wire) -> tuple[Times, Times]:
    """The times just before which the data line shows these levels, and those at which not."""
    known = levels <= HIGH
    same = data.before(at) == levels
    return at[known & same], at[known & ~same]


def _during_load(at: Times, load: Wire) -> Times:
    during: Times = at[(load.at(at) == HIGH) | (load.before(at) == HIGH)]
    return during


def _follows(times: Times, moves: Times, within: int) -> NDArray[np.bool_]:
    """Which of some times come no later than so long after a move."""
    if not len(moves):
        return np.zeros(len(times), np.bool_)
    place = np.searchsorted(moves, times, side="right") - 1
    follows: NDArray[np.bool_] = (place >= 0) & (times - moves[place] <= within)
    return follows


def _matched(
    reasons: list[int], changes: list[int], window: int, idle: Collection[int] = ()
) -> tuple[list[int], list[tuple[int, int]]]:
    """Changes without a reason of their own, and (reason, change) for the others.

    Of several reasons one that is ``idle``, for nothing had to change, is not the one.
    """
    glitches: list[int] = []
    waits: list[tuple[int, int]] = []
    open_: list[int] = []
    place = 0
    for change in changes:
        while place < len(reasons) and reasons[place] <= change:
            open_.append(reasons[place])
            place += 1
        if not open_:
            glitches.append(change)
            continue
        # What lies further back than the window had its chance; the last one is still better
        # than none, since a late answer is not a glitch.
        recent = [reason for reason in open_ if change - reason <= window] or open_[-1:]
        if len(recent) > 1 and recent[0] in idle:
            del recent[0]
        waits.append((recent[0], change))
        open_ = recent[1:]
    return glitches, waits


def _looks(load: Wire, moves: Times, end: int, window: int) -> Times:
    """When to look at the data line: just before a load ends or the input moves in it.

    Only if the answer has had its time since the load began or the input last moved.
    """
    starts = np.sort(np.concatenate([load.rises(), moves[load.at(moves) == HIGH]]))
    falls = np.append(load.falls(), end)
    ends = np.minimum(falls[np.searchsorted(falls, starts)], np.append(starts[1:], end))
    looks: Times = ends[ends - starts > window]
    return looks


def _transparent(first_bit: Wire, looks: Times, data: Wire) -> Finding:
    """A stands on the data line as soon as the latch has been given, before any clock."""
    right, wrong = _showing(first_bit.before(looks), looks, data)
    if not len(right) + len(wrong):
        return Finding(_TRANSPARENT, "not-judged", case="none")
    facts = {"wrong": len(wrong), "looks": len(right) + len(wrong)}
    return _no_more_than_none(_TRANSPARENT, wrong, _AS_LATCHED, facts)


def _no_more_than_none(
    rule: Rule, met: Sequence[int] | Times, source: Source, facts: Mapping[str, Fact] | None = None
) -> Finding:
    return judge_count(rule, len(met), 0, -len(met), met, (source,), facts)


def _answer(waits: list[tuple[int, int]], answer: Limit | None, *, promised: bool) -> Finding:
    if answer is None or not waits:
        case = "unpromised" if answer is None else "unmoved"
        return Finding(_ANSWER, "not-judged", case=case)
    reasons, changes = np.asarray(waits, np.int64).T
    found = judge_times(_ANSWER, reasons, changes - reasons, answer, most=True)
    return found if promised else replace(found, case="room")


def _synchroniser(
    waits: list[tuple[int, int]], shifts: set[int], clock: SystemClock | None, flip_flops: int
) -> Finding:
    if clock is None or not flip_flops:
        return Finding(_SYNCHRONISER, "not-judged", case="unclocked")
    shown = [pair for pair in waits if pair[0] in shifts]
    if not shown:
        return Finding(_SYNCHRONISER, "not-judged", case="unmoved")
    edges, (reason, _) = min((clock.edges(*pair), pair) for pair in shown)
    needed = flip_flops + 1
    facts = {"edge": edges, "flip_flops": flip_flops, "needed": needed}
    sources = (_TWO_FLIP_FLOPS,)
    return judge_count(_SYNCHRONISER, edges, needed, edges - needed, reason, sources, facts)
