"""Where a routine leaves its result, found by running it.

    routine = with_result_found(on_its_port(routine, console), console)
    routine.results, routine.found      # ("A",), "A; $02 (buttons) holds the byte too"

A place counts if it holds the held byte after an undisturbed run, whatever is held (states with
opposite directions apart: a program may make something else of them).
"""

from functools import lru_cache
from typing import Any

import numpy as np

from padbench.core.remedies import joined
from padbench.routines.console import Console
from padbench.routines.counts import STATES
from padbench.routines.fast import sweep
from padbench.routines.judge import opposed
from padbench.routines.lanes import Lanes
from padbench.routines.routine import DEFAULT_LIMIT, Place, Routine

_STACK_PAGE = 1
_MOST = 8
"""Places that are compared."""


@lru_cache(maxsize=32)
def with_result_found(
    routine: Routine, console: Console, limit: int = DEFAULT_LIMIT, *, prefer_a: bool = False
) -> Routine:
    """The routine with the place of its only result found; as it is if there is none.

    A is taken where it holds the byte and no other place would fare better (with ``prefer_a``
    whatever the others do), another place where it is the only one. Raises `RoutineError` that asks
    where several come into question.
    """
    places = _places(routine, console, limit)
    if not places:
        return routine
    bad = {}
    if len(places) > 1 and not (prefer_a and places[0] == "A"):
        for place in places[:_MOST]:
            counts = sweep(
                routine.with_results(place), console, min(console.timing.fetch_periods), limit
            )
            bad[place] = counts.accepted_wrong + counts.never_settles
        if places[0] != "A" or bad["A"] > min(bad.values()):
            sound = joined([_named(routine, one) for one in bad if not bad[one]])
            more = f"; only in {sound} is it never wrong" if sound and any(bad.values()) else ""
            raise routine.error(
                None,
                "the held byte",
                f"stands in {joined([_named(routine, one) for one in places])} after a run{more}",
                "name the place that your program reads: --result, in a sheet poll.result",
            )
    taken, others = places[0], [_named(routine, one) for one in places[1:]]
    holds = f"; {joined(others)} {'hold' if len(others) > 1 else 'holds'} the byte too"
    return routine.with_results(taken, found=_named(routine, taken) + holds * bool(others))


def _places(routine: Routine, console: Console, limit: int) -> list[Place]:
    held = np.arange(STATES, dtype=np.uint8)
    none = np.zeros(STATES, np.int64)
    lanes = Lanes(routine.with_results("A"), console, held, none, none, limit, preset=0xFF)
    lanes.run()
    plain = np.array([not opposed(state) for state in range(STATES)])
    if not (lanes.finished & ~lanes.left)[plain].all():
        return []
    cells: dict[Place, Any] = {"A": lanes.registers["a"], **dict(sorted(lanes.cells.items()))}
    return [
        place
        for place, values in cells.items()
        if (values == held)[plain].all()
        and (place == "A" or (place >> 8 != _STACK_PAGE and place not in routine.ports))
    ]


def _named(routine: Routine, place: Place) -> str:
    if place == "A":
        return "A"
    label = next((name for name, value in routine.labels.items() if value == place), "")
    address = f"${place:04X}" if place > 0xFF else f"${place:02X}"
    return f"{address} ({label})" if label else address
