"""A read routine as the poll of a design sheet: its own cycles at the console's true clock.

poll = routine_poll("read-twice", "60hz")
poll.timing, poll.passes, poll.period
"""

from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import pairwise

from padbench.console.fetch import Console, stolen_cycles
from padbench.console.judge import measure
from padbench.console.routine import RoutineError
from padbench.console.run import Access
from padbench.console.source import load_routine
from padbench.parts import console_timing
from padbench.stimulus import PollTiming

__all__ = ["RoutinePoll", "routine_poll"]


@dataclass(frozen=True, slots=True)
class RoutinePoll:
    """What scenarios need to know of a routine, in picoseconds.

    ``gap`` runs from the end of a pass's last clock cycle to the next latch; it is negative where
    the loop is left early. ``period`` is a frame of the console. ``extra_clocks`` come when the
    sample fetch stops a read: 0 on a console without the fault.
    """

    timing: PollTiming
    passes: int
    gap: int
    period: int
    extra_clocks: int


@cache
def routine_poll(what: str, console_name: str) -> RoutinePoll:
    """The poll that a routine (a shipped one or a file) makes once a frame on a console.

    The clock is low in the cycle of a read; the repeated reads of a stop hold it low until the
    sample is fetched (from memory).

    Raises `RoutineError` for a routine that cannot be run, and for one whose reads of the first
    port are not evenly spaced or differ from pass to pass: scenarios know no such poll.
    """
    console = Console(console_timing(console_name))
    routine = load_routine(what)
    passes = _passes(measure(routine, console).run.accesses)
    shapes = {tuple(at - one[0] for at in one) for one in passes}
    uneven = RoutineError.at(
        what,
        None,
        "",
        "does not read the first port evenly spaced, in passes that are alike",
        "give its timings in [poll] instead",
    )
    if len(shapes) != 1:
        raise uneven
    (_, fall, *reads) = shapes.pop()
    steps = {b - a for a, b in pairwise(reads)}
    gaps = {b[0] - a[0] for a, b in pairwise(passes)}
    if len(reads) < 2 or len(steps) != 1 or len(gaps) > 1:
        raise uneven
    step = steps.pop()
    ps = console.timing.to_ps
    stolen = stolen_cycles(0)
    timing = PollTiming(
        latch_width=ps(fall),
        # A write ends with its cycle, a read pulls the clock low at the start of its own.
        latch_to_clock=ps(reads[0] - 1) - ps(fall),
        clock_low=ps(1),
        clock_high=ps(step) - ps(1),
        sample=ps(1),
        clocks=len(reads),
        extra_low=ps(stolen - 1),
        extra_high=ps(stolen) - ps(stolen - 1),
    )
    return RoutinePoll(
        timing=timing,
        passes=len(passes),
        gap=ps(gaps.pop()) - timing.length if gaps else timing.latch_to_clock,
        period=ps(Fraction(console.timing.frame_cycles)),
        extra_clocks=console.extra_clocks(stolen),
    )


def _passes(accesses: tuple[Access, ...]) -> list[list[int]]:
    """For each latch: the cycles in which it was raised and dropped, then of the reads after it."""
    passes: list[list[int]] = []
    level = 0
    for access in accesses:
        if access.kind == "latch" and access.value != level:
            level = access.value
            if level:
                passes.append([access.cycle])
            else:
                passes[-1].append(access.cycle)
        elif access.kind == "read" and access.port == 0 and passes and not level:
            passes[-1].append(access.cycle)
    return [one for one in passes if len(one) > 2]
