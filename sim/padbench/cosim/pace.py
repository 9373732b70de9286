"""Whether a reader keeps to the sheet's poll: latch, pause and both parts of every clock."""

from collections.abc import Iterable, Iterator

from padbench.core.decode import Read
from padbench.core.findings import Finding, Met, Rule
from padbench.core.limits import Limit
from padbench.core.stimulus import PollTiming

__all__ = ["judge_pace"]

_TEXT = "what differs most from the sheet's poll is {what}, by {measured:4}"
_PACE = Rule("reader.pace", "s", dict.fromkeys(("pass", "fail"), _TEXT))


def judge_pace(reads: Iterable[Read], timing: PollTiming, within: Limit) -> Finding:
    """``reader.pace``: no width in a whole read is further from ``timing`` than ``within``."""
    off, where, what = max(
        (one for read in reads if len(read.clock_rises) == 8 for one in _off(read, timing)),
        default=(0, 0, "no whole read"),
    )
    return Finding(
        _PACE,
        "fail" if off > within.ps else "pass",
        measured=off * 1e-12,
        limit=within.ps * 1e-12,
        margin=(within.ps - off) * 1e-12,
        met=Met(at_ps=where),
        sources=within.sources,
        facts={"what": what},
    )


def _off(read: Read, timing: PollTiming) -> Iterator[tuple[int, int, str]]:
    """How far each width is from the sheet's: (picoseconds, when, which)."""
    falls, rises = read.clock_falls, read.clock_rises
    widths = [
        (read.start_ps, read.latch_end_ps, timing.latch_width, "the latch"),
        (read.latch_end_ps, falls[0], timing.latch_to_clock, "the pause before the first clock"),
        *(
            (fall, rise, timing.clock_low, "the low part of a clock")
            for fall, rise in zip(falls, rises, strict=False)
        ),
        *(
            (rise, fall, timing.clock_high, "the high part of a clock")
            for rise, fall in zip(rises, falls[1:], strict=False)
        ),
    ]
    for start, end, wanted, what in widths:
        yield abs(end - start - wanted), start, what
