"""What the wires tell about a fault beyond the bits: which edge moves the line, what idles how."""

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from padbench.core.timeline import HIGH, LOW, Wire
from padbench.cosim.causes import Cause, offer_causes
from padbench.trials import ScenarioRun

__all__ = ["reader_causes", "told_by_edges"]


def told_by_edges(causes: tuple[Cause, ...], results: Sequence[ScenarioRun]) -> tuple[Cause, ...]:
    """Tells apart what gives the same bits.

    A register that shifts on the wrong edge moves the line when the clock falls; one that takes
    the latch the other way up moves it while the latch is low, without any clock.
    """
    ids = {cause.id for cause in causes}
    drop: set[str] = set()
    if {"wrong-edge", "one-bit-early"} <= ids:
        low = _moves(results, "pad.clock", LOW) > _moves(results, "pad.clock", HIGH)
        drop.add("one-bit-early" if low else "wrong-edge")
    if {"latch-inverted", "no-shift"} <= ids:
        low = _moves(results, "pad.load", LOW) > 0
        drop.add("no-shift" if low else "latch-inverted")
    return tuple(cause for cause in causes if cause.id not in drop)


def _moves(results: Sequence[ScenarioRun], wire: str, level: int) -> int:
    """How often the data line moves while another wire is at a level, outside the latch if clock's.

    Moves before the first latch come from power-up and say nothing.
    """
    count = 0
    for result in results:
        wires = result.timeline.wires
        load, moves = wires["pad.load"], wires["cable.data"].times[1:]
        moves = moves[moves >= load.rises()[0]] if len(load.rises()) else moves[:0]
        if wire == "pad.clock":
            moves = moves[load.at(moves) != HIGH]
        count += int(np.count_nonzero(wires[wire].at(moves) == level))
    return count


def reader_causes(
    results: Sequence[ScenarioRun], records: Sequence[dict[str, Any]]
) -> tuple[Cause, ...]:
    """Likely causes for a design that plays the console: of its wires first, then of its bytes."""
    found = list(_of_the_wires(results))
    if found:
        return tuple(found)
    strobes = sum(len(record["strobes"]) for record in records)
    if not strobes:
        return (Cause("no-strobe", "it never offers a byte: valid does not rise", 1.0),)
    pairs: list[tuple[int, int | None]] = []
    differ = 0
    for result, record in zip(results, records, strict=False):
        starts = [pair.read.start_ps + record["base"] for pair in result.reads]
        for at, byte in record["strobes"]:
            last = int(np.searchsorted(starts, at)) - 1
            if last >= 0:
                pairs.append((result.reads[last].read.byte, byte))
        differ += sum("its reads differ" in problem.says for problem in result.problems)
    offered = offer_causes(pairs)
    if not offered and differ:
        return (Cause("no-compare", "it offers a byte although its reads differ", 1.0),)
    if not offered and any(
        "the byte offered before" in problem.says for one in results for problem in one.problems
    ):
        return (Cause("byte-not-kept", "the byte does not stand until the next is offered", 1.0),)
    return offered


def _of_the_wires(results: Sequence[ScenarioRun]) -> Iterator[Cause]:
    timelines = [result.timeline for result in results]
    high = sum(_share(t.wires["pad.load"], HIGH, t.end_ps) for t in timelines)
    low = sum(_share(t.wires["pad.clock"], LOW, t.end_ps) for t in timelines)
    reads = [pair for result in results for pair in result.reads]
    if not reads:
        yield Cause("no-latch", "it makes no latch", 1.0)
        return
    if 2 * high > len(timelines):
        yield Cause("latch-inverted", "its latch stands the other way up: it idles high", 1.0)
    if 2 * low > len(timelines):
        yield Cause("clock-inverted", "its clock stands the other way up: it idles low", 1.0)
    valid = sum(_share(t.wires["reader.valid"], HIGH, t.end_ps) for t in timelines)
    if 2 * valid > len(timelines):
        yield Cause("valid-inverted", "its valid stands the other way up: it idles high", 1.0)
    counts = {len(pair.read.clock_rises) for pair in reads}
    if len(counts) == 1 and counts != {8}:
        yield Cause("clock-count", f"it makes {counts.pop()} clocks in a read, not 8", 1.0)


def _share(wire: Wire, level: int, end: int) -> float:
    """The part of the whole time at a level."""
    times = np.append(wire.times, end)
    return float(np.diff(times)[wire.levels == level].sum()) / max(1, end)
