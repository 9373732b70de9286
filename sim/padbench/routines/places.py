"""Where a routine leaves its results, found by running it.

    routine = with_places_found(on_its_port(routine, console), console)
    routine.results, routine.found      # ("A",), "A; $02 (buttons) holds the byte too"
    routine.kept                        # ((0x02, 0),): what stood there may be the byte from before

A place counts if it holds a pad's byte after an undisturbed run, whatever is held (states with
opposite directions apart: a program may make something else of them).
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from padbench.core.remedies import joined
from padbench.routines.console import Console
from padbench.routines.counts import STATES
from padbench.routines.fast import sweep
from padbench.routines.judge import PATTERNS, opposed
from padbench.routines.lanes import Lanes
from padbench.routines.routine import DEFAULT_LIMIT, Place, Routine

_STACK_PAGE = 1
_MOST = 8
"""Places that are compared."""
_OTHER = 0x5A
"""The second pad holds the first one's state exclusive-ored with this: no pattern of it."""


@lru_cache(maxsize=32)
def with_places_found(
    routine: Routine,
    console: Console,
    limit: int = DEFAULT_LIMIT,
    *,
    sheet: bool = False,
) -> Routine:
    """The routine with the places that its pads' bytes are kept in, and its results unless they
    are named: one for each port that it reads (for a ``sheet`` the first), as it is if there is
    none.

    A is taken where it holds the byte and no other place would fare better (for a sheet whatever
    the others do), another place where it is the only one. Raises `RoutineError` that asks
    where several come into question.
    """
    first, second, patterns = _places(routine, console, limit)
    kept = [(place, port) for port, held in enumerate((first, second)) for place in held]
    routine = replace(routine, kept=tuple((at, port) for at, port in kept if at != "A"))
    if routine.named:
        return routine
    if not first:
        found = patterns[:1]
        return routine.with_results(*found, found=_named(routine, *found)) if found else routine
    taken, says = _best(routine, first, (), console, limit, sheet=sheet)
    if second and not sheet:
        rest = [place for place in second if place != taken]
        if rest:
            other, more = _best(routine, rest, (taken,), console, limit, sheet=False)
            return routine.with_results(taken, other, found=f"{says}; of the second pad in {more}")
    return routine.with_results(taken, found=says)


def _best(
    routine: Routine,
    places: Sequence[Place],
    before: tuple[Place, ...],
    console: Console,
    limit: int,
    *,
    sheet: bool,
) -> tuple[Place, str]:
    """The place of the next result, and what is said of it."""
    bad = {}
    if len(places) > 1 and not (sheet and places[0] == "A"):
        quickest = min(console.timing.fetch_periods)
        for place in places[:_MOST]:
            counts = sweep(routine.with_results(*before, place), console, quickest, limit)
            bad[place] = counts.failing
        if places[0] != "A" or bad["A"] > min(bad.values()):
            sound = joined([_named(routine, one) for one in bad if not bad[one]])
            more = f"; only in {sound} is it never wrong" if sound and any(bad.values()) else ""
            whose = " of the second pad" if before else ""
            raise routine.error(
                None,
                f"the held byte{whose}",
                f"stands in {joined([_named(routine, one) for one in places])} after a run{more}",
                "name the place that your program reads: --result, in a sheet poll.result",
            )
    others = [_named(routine, one) for one in places[1:]]
    holds = f"; {joined(others)} {'hold' if len(others) > 1 else 'holds'} the byte too"
    return places[0], _named(routine, places[0]) + holds * bool(others)


def _places(
    routine: Routine, console: Console, limit: int
) -> tuple[list[Place], list[Place], list[Place]]:
    """Places with the byte of the first pad, of the second, and of the first in some pattern."""
    held = np.arange(STATES, dtype=np.uint8)
    none = np.zeros(STATES, np.int64)
    code = routine.with_results("A")
    lanes = Lanes(code, console, held, none, none, limit, preset=0xFF, other=_OTHER)
    lanes.run()
    plain = np.array([not (opposed(one) or opposed(one ^ _OTHER)) for one in range(STATES)])
    if not (lanes.finished & ~lanes.left)[plain].all():
        return [], [], []
    cells: dict[Place, Any] = {"A": lanes.registers["a"], **dict(sorted(lanes.cells.items()))}

    def holding(*wanted: Any) -> list[Place]:
        return [
            place
            for place, values in cells.items()
            if any((values == one)[plain].all() for one in wanted)
            and (place == "A" or (place >> 8 != _STACK_PAGE and place not in routine.ports))
        ]

    patterns = (np.array([turned(one) for one in range(STATES)]) for turned in PATTERNS.values())
    return holding(held), holding(held ^ np.uint8(_OTHER)), holding(*patterns)


def _named(routine: Routine, place: Place) -> str:
    if place == "A":
        return "A"
    label = next((name for name, value in routine.labels.items() if value == place), "")
    address = f"${place:04X}" if place > 0xFF else f"${place:02X}"
    return f"{address} ({label})" if label else address
