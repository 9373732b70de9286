"""How clean the wires of a capture are: runts, glitches, slow edges, and how late data come.

    apart(runts_in(zones), edges, shortest)        # those that belong to no edge
    held_to_most(CLOCK_EDGE, at, durations, limit, "edge of the clock")

Simulated wires have two levels and instant edges; those of a breadboard have not. Here a wire's
*zones* are its levels before hysteresis: UNKNOWN is the time between the thresholds. Times are in
picoseconds, in arrays of shape (n,). In a wire that is never at a level nothing is found.
"""

import numpy as np
from numpy.typing import NDArray

from padbench.core.findings import Finding, Rule
from padbench.core.levels import HIGH
from padbench.core.limits import Limit, judge_times
from padbench.core.timeline import Times, Wire


def steady(zones: Wire) -> Wire | None:
    """The wire with hysteresis: a level holds until the other one is reached; None if it has none.

    The way is found from the zones, so an edge stands where the far threshold is crossed.
    """
    if zones.silent:
        return None
    known = zones.levels <= HIGH
    return Wire.from_arrays(zones.times[known], zones.levels[known])


def runts_in(zones: Wire) -> Times:
    """When a stay between the thresholds begins that ends where it came from."""
    inside = np.flatnonzero(zones.levels > HIGH)
    inside = inside[(inside > 0) & (inside + 1 < len(zones.levels))]
    # Unknown and floating may follow each other; only a stay with a level on both sides counts.
    before, after = zones.levels[inside - 1], zones.levels[inside + 1]
    begins: Times = zones.times[inside[(before == after) & (before <= HIGH)]]
    return begins


def apart(times: Times, edges: Times, distance: int) -> Times:
    """Those times that lie at least ``distance`` from every edge."""
    if not len(edges):
        return times
    after = np.minimum(np.searchsorted(edges, times), len(edges) - 1)
    before = np.maximum(after - 1, 0)
    near = np.minimum(np.abs(edges[after] - times), np.abs(edges[before] - times))
    chosen: Times = times[near >= distance]
    return chosen


def short_pulses(clock: Wire, shortest: int) -> Times:
    """Where pulses of a clock, high or low, begin that are shorter than ``shortest``."""
    widths = np.diff(clock.times)
    place = np.flatnonzero(widths < shortest)
    chosen: Times = clock.times[place[place > 0]]
    return chosen


def data_delays(data: Wire, rises: Times, latches: Times) -> tuple[Times, Times]:
    """For each rise of the clock after which data changed before the next: the rise, the delay.

    The delay runs to the last change before the next rise: only then does the line stand. Changes
    to no level are the beginning of one. Where a latch comes between, it may be the cause, and
    nothing is measured.
    """
    settled = data.times[data.levels <= HIGH]
    if not len(rises) or not len(settled):
        return rises[:0], rises[:0]
    place = np.searchsorted(settled, rises[1:], side="left") - 1
    last = settled[np.maximum(place, 0)]
    own = np.searchsorted(latches, rises[:-1]) == np.searchsorted(latches, rises[1:])
    changed = own & (place >= 0) & (last > rises[:-1])
    return rises[:-1][changed], (last - rises[:-1])[changed]


_LONGEST = {
    "pass": "the longest {what} is {measured:4}; at most {limit:4} may pass",
    "fail": "the longest {what} is {measured:4}; at most {limit:4} should pass",
    "none": "the capture shows no {what}",
}
DATA_DELAY = Rule("timing.data-delay", "s", _LONGEST)
CLOCK_EDGE = Rule("levels.clock-edge", "s", _LONGEST)


def held_to_most(rule: Rule, at: Times, measured: Times, limit: Limit, what: str) -> Finding:
    """The longest of ``measured`` (picoseconds, same shape as ``at``) against a maximum."""
    return judge_times(rule, at, measured, limit, most=True, facts={"what": what})


def stands_still(data: Wire, begin: Times, end: Times) -> NDArray[np.bool_]:
    """For each stretch of time, whether the data keep one level, LOW or HIGH, all through it."""
    first = np.searchsorted(data.times, begin, side="right")
    last = np.searchsorted(data.times, end, side="left")
    level = data.at(begin)
    still: NDArray[np.bool_] = (first >= last) & (level <= HIGH)
    return still
