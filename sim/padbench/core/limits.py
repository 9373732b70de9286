"""What a register needs of latch, clock and its inputs, and what it takes to answer.

limit = Limit(160_000, (Source("CD4021B data sheet", "from memory"),))
judge_times(rule, at, widths, limit)               # the shortest of them against a least one
judge_times(rule, at, delays, limit, most=True)    # the longest of them against a greatest one
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from padbench.core.findings import Fact, Finding, Met, Rule, Source

_PICO = 1e-12


@dataclass(frozen=True, slots=True)
class Limit:
    """A time in picoseconds and what it rests on."""

    ps: int
    sources: tuple[Source, ...]


@dataclass(frozen=True, slots=True)
class Limits:
    """The guaranteed figures of one register in its place, all in picoseconds.

    ``load_width``: shortest load pulse. ``clock_width``: shortest clock pulse, low or high.
    ``clock_period``: shortest time from one rising clock edge to the next. ``removal``: from the
    end of the load to the first rising clock edge. ``setup_parallel``: the inputs stand still
    before the load ends. ``answer``: the longest time from the console's clock edge until the
    data line stands at the console, both ways through the cable; ``first_answer`` the same from
    the latch's edge, None: as ``answer``. ``hold``: after a clock the bit before it stands so long;
    None where nobody promises that. ``clock_at_load_end``: where it is said that the clock must
    stand high when the load ends; empty if it need not.
    """

    load_width: Limit
    clock_width: Limit
    clock_period: Limit
    removal: Limit
    setup_parallel: Limit
    answer: Limit
    first_answer: Limit | None = None
    hold: Limit | None = None
    clock_at_load_end: tuple[Source, ...] = ()


def judge_times(
    rule: Rule,
    at: ArrayLike,
    times: ArrayLike,
    limit: Limit,
    *,
    most: bool = False,
    case: str = "",
    facts: Mapping[str, Fact] | None = None,
) -> Finding:
    """The worst of some times against a limit that each has to reach, or with ``most`` not pass.

    ``at`` says when each was met; both in picoseconds, of the same shape (n,). What just meets the
    limit holds. Without any the case is ``none``, not judged. The finding is in seconds.
    """
    times = np.asarray(times, np.int64)
    if not len(times):
        return unjudged(rule, limit, "none", facts)
    margins = limit.ps - times if most else times - limit.ps
    worst = int(np.argmin(margins))
    margin = int(margins[worst])
    return Finding(
        rule,
        "fail" if margin < 0 else "pass",
        measured=int(times[worst]) * _PICO,
        limit=limit.ps * _PICO,
        margin=margin * _PICO,
        met=Met(at_ps=int(np.asarray(at)[worst])),
        sources=limit.sources,
        case=case,
        facts=facts or {},
    )


def judge_count(
    rule: Rule,
    measured: float,
    limit: float,
    margin: float,
    at: ArrayLike | None,
    sources: tuple[Source, ...],
    facts: Mapping[str, Fact] | None = None,
) -> Finding:
    """A count that fails with a ``margin`` below 0; ``at`` is when that was met, in picoseconds."""
    when = np.atleast_1d(np.asarray([] if at is None else at, np.int64))
    return Finding(
        rule,
        "fail" if margin < 0 else "pass",
        measured,
        limit,
        margin,
        Met(at_ps=int(when[0])) if len(when) else Met(),
        sources,
        facts=facts or {},
    )


def unjudged(
    rule: Rule, limit: Limit, case: str = "", facts: Mapping[str, Fact] | None = None
) -> Finding:
    """A finding of what was not met, or cannot be told from this timeline."""
    return Finding(
        rule,
        "not-judged",
        limit=limit.ps * _PICO,
        sources=limit.sources,
        case=case,
        facts=facts or {},
    )
