"""How a design answers on the data line: once for each reason, soon enough, and not too soon.

For HDL designs, whose every change is recorded. The rules see a timeline only.
"""

from dataclasses import dataclass

import numpy as np

from padbench.core.findings import Finding
from padbench.core.limits import Limit
from padbench.core.timeline import HIGH, Timeline, Times

__all__ = ["SystemClock", "judge_answers"]


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
    clock: SystemClock | None = None,
    flip_flops: int = 0,
) -> tuple[Finding, ...]:
    """Findings ``data.glitch``, ``.transparent``, ``.answer``, ``.synchroniser`` of one timeline.

    A reason is a rise of the load, a rising clock edge while the load is off, or an input of the
    last stage that moves during the load. Each may change the data line once, within ``window``
    picoseconds or so; a second change is a glitch. That long into a load, and after each move of
    that input in it, the data line shows the input. ``answer`` is the longest time promised.
    ``clock``: the design's own; latch and clock then have to pass ``flip_flops``, so that no
    change may come before the edge after that. Raises ``KeyError`` for a timeline without
    ``pad.load``, ``pad.clock`` or ``cable.data``.
    """
    load, data = timeline.wires["pad.load"], timeline.wires["cable.data"]
    rises = timeline.wires["pad.clock"].rises()
    shifts = rises[load.at(rises) != HIGH]
    reasons = np.sort(np.concatenate([load.rises(), shifts, _moves_during_load(timeline)]))
    first = int(load.rises()[0]) if len(load.rises()) else timeline.end_ps
    changes = [when for when in data.times.tolist() if when >= first]
    glitches, waits = _matched(reasons.tolist(), changes, window)
    return (
        _glitch(glitches),
        _transparent(timeline, window),
        _answer(waits, answer),
        _synchroniser(waits, set(shifts.tolist()), clock, flip_flops),
    )


def _moves_during_load(timeline: Timeline) -> Times:
    word = timeline.words.get("pad.inputs")
    if word is None:
        return np.zeros(0, np.int64)
    last = word.width - 1
    levels = [None if value is None else value >> last & 1 for value in word.values]
    moved = [
        when
        for when, now, before in zip(word.times[1:], levels[1:], levels[:-1], strict=True)
        if now != before
    ]
    at = np.asarray(moved, np.int64)
    load = timeline.wires["pad.load"]
    return at[(load.at(at) == HIGH) | (load.before(at) == HIGH)] if len(at) else at


def _matched(
    reasons: list[int], changes: list[int], window: int
) -> tuple[list[int], list[tuple[int, int]]]:
    """Changes without a reason of their own, and (reason, change) for the others."""
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
        waits.append((recent[0], change))
        open_ = recent[1:]
    return glitches, waits


def _glitch(glitches: list[int]) -> Finding:
    fails = bool(glitches)
    return Finding(
        id="data.glitch",
        verdict="fail" if fails else "pass",
        measured=len(glitches),
        limit=0,
        margin=-len(glitches),
        unit="changes",
        where=f"at {glitches[0] / 1e6:.3f} µs" if fails else "whole run",
        source="common practice, no source",
        says=(
            f"the data line changes {len(glitches)} times more than latch, clock and buttons ask"
            if fails
            else "every change of the data line follows a latch, a clock or a button"
        ),
    )


def _transparent(timeline: Timeline, window: int) -> Finding:
    """A stands on the data line as soon as the latch has been given, before any clock."""
    id_ = "data.transparent"
    word = timeline.words.get("pad.inputs")
    if word is None:
        return _not_judged(id_, "reads", "the timeline does not show the inputs")
    load, data = timeline.wires["pad.load"], timeline.wires["cable.data"]
    moves = _moves_during_load(timeline)
    starts = np.sort(np.concatenate([load.rises(), moves[load.at(moves) == HIGH]]))
    falls = np.append(load.falls(), timeline.end_ps)
    ends = np.minimum(
        falls[np.searchsorted(falls, starts, side="right").clip(max=len(falls) - 1)],
        np.append(starts[1:], timeline.end_ps),
    )
    # Looked at just before the load ends or the input moves, if the answer had its time.
    looks = ends[ends - starts > window]
    shown = data.before(looks)
    place = np.searchsorted(np.asarray(word.times, np.int64), looks, side="left") - 1
    held = [word.values[index] for index in place.tolist()]
    wrong = [
        when
        for when, level, inputs in zip(looks.tolist(), shown.tolist(), held, strict=True)
        if inputs is None or level != inputs >> word.width - 1 & 1
    ]
    fails = bool(wrong)
    return Finding(
        id=id_,
        verdict="fail" if fails else "pass",
        measured=len(wrong),
        limit=0,
        margin=-len(wrong),
        unit="latches",
        where=f"at {wrong[0] / 1e6:.3f} µs" if fails else "whole run",
        source="A stands on the line as soon as the latch is given: common practice, no source",
        says=(
            f"in {len(wrong)} of {len(looks)} latches the data line does not show the first "
            "button while the latch is high: not transparent while latched"
            if fails
            else "while the latch is high the data line follows the first button"
        ),
    )


def _answer(waits: list[tuple[int, int]], answer: Limit | None) -> Finding:
    id_ = "data.answer"
    if answer is None or not waits:
        says = "no answer time is promised" if answer is None else "the data line never changes"
        return _not_judged(id_, "ns", says)
    reason, change = max(waits, key=lambda pair: pair[1] - pair[0])
    took = change - reason
    fails = took > answer.ps
    return Finding(
        id=id_,
        verdict="fail" if fails else "pass",
        measured=took / 1000,
        limit=answer.ps / 1000,
        margin=(answer.ps - took) / 1000,
        unit="ns",
        where=f"at {reason / 1e6:.3f} µs",
        source=answer.source,
        says=f"the slowest answer on the data line takes {took / 1000:g} ns; "
        f"{answer.ps / 1000:g} ns are promised",
    )


def _synchroniser(
    waits: list[tuple[int, int]], shifts: set[int], clock: SystemClock | None, flip_flops: int
) -> Finding:
    id_ = "data.synchroniser"
    if clock is None or not flip_flops:
        return _not_judged(id_, "edges", "there is no system clock to come into")
    shown = [pair for pair in waits if pair[0] in shifts]
    if not shown:
        return _not_judged(id_, "edges", "the data line follows no clock edge")
    edges, (reason, _) = min((clock.edges(*pair), pair) for pair in shown)
    needed = flip_flops + 1
    fails = edges < needed
    return Finding(
        id=id_,
        verdict="fail" if fails else "pass",
        measured=edges,
        limit=needed,
        margin=edges - needed,
        unit="edges",
        where=f"at {reason / 1e6:.3f} µs",
        source="two flip-flops against metastability: common practice, no source",
        says=f"the quickest answer to a clock comes with edge {edges} of the system clock; "
        f"behind {flip_flops} flip-flops it cannot come before edge {needed}",
    )


def _not_judged(id_: str, unit: str, why: str) -> Finding:
    return Finding(id_, "not-judged", None, None, None, unit, "whole run", "", why)
