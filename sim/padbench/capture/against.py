"""Two captures read by read, aligned by what was read and not by when.

Nobody holds a button for equally many polls twice, so a state that lasts longer in one of the two
is no difference. What is left is: reads that the other has not, and reads that differ.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from padbench.capture.reads import SeenRead
from padbench.core.buttons import spelled
from padbench.core.findings import Fact, Finding, Met, Rule, Source, Verdict

__all__ = ["AGAINST", "Difference", "TooDifferent", "compare", "judge_against"]

_MOST = 1500
"""Reads added or left out; beyond, two captures have nothing to do with each other."""

_BESIDE = "{number} of {count}, beside {source}: "
AGAINST = Rule(
    "against.reads",
    "reads",
    {
        "pass": "{reads} reads here and {others} of {source} tell the same story",
        "too-different": "the two differ in more than {most} reads; they do not show the same "
        "presses",
        "missing": _BESIDE + "the other has a read of {there} that is missing here",
        "added": _BESIDE + "a read of {here} that the other has not",
        "fail": _BESIDE + "{here} here, {there} there",
    },
)


class TooDifferent(ValueError):
    """The captures have too little in common to be aligned."""


@dataclass(frozen=True, slots=True)
class Difference:
    """``one`` or ``other`` is None where the read has no partner."""

    one: SeenRead | None
    other: SeenRead | None


Step = Literal["same", "one", "other"]


def compare(here: Sequence[SeenRead], there: Sequence[SeenRead]) -> tuple[Difference, ...]:
    """Reads that differ or have no partner, but for states that only last longer.

    Raises `TooDifferent`.
    """
    a, b = [read.byte for read in here], [read.byte for read in there]
    differences: list[Difference] = []
    left: list[SeenRead] = []
    right: list[SeenRead] = []
    before: int | None = None

    def settle(after: int | None) -> None:
        pairs = min(len(left), len(right))
        differences.extend(
            Difference(*pair) for pair in zip(left[:pairs], right[:pairs], strict=True)
        )
        differences.extend(
            Difference(read, None) for read in left[pairs:] if read.byte not in (before, after)
        )
        differences.extend(
            Difference(None, read) for read in right[pairs:] if read.byte not in (before, after)
        )
        left.clear()
        right.clear()

    i = j = 0
    for step in _script(a, b):
        if step == "same":
            settle(a[i])
            before = a[i]
            i, j = i + 1, j + 1
        elif step == "one":
            left.append(here[i])
            i += 1
        else:
            right.append(there[j])
            j += 1
    settle(None)
    return tuple(differences)


def judge_against(
    reads: Iterable[SeenRead], others: Iterable[SeenRead], source: Source
) -> tuple[Finding, ...]:
    """``against.reads``: one finding for each difference up to ten, or one that there is none.

    ``source`` says what the other is, "the capture bench.vcd". A read that was not recorded to its
    end says nothing and is left out.
    """
    here, there = (
        [read for read in some if not (read.open_ended or read.in_gap)] for some in (reads, others)
    )
    try:
        differences = compare(here, there)
    except TooDifferent:
        return (_finding("fail", None, source, case="too-different", most=_MOST),)
    if not differences:
        return (_finding("pass", 0, source, reads=len(here), others=len(there)),)
    count = len(differences)
    return tuple(
        _different(difference, number, count, source)
        for number, difference in enumerate(differences[:10], 1)
    )


def _finding(
    verdict: Verdict,
    count: int | None,
    source: Source,
    met: Met | None = None,
    case: str = "",
    **facts: Fact,
) -> Finding:
    facts |= {"count": count, "source": source.title}
    return Finding(
        AGAINST,
        verdict,
        None if count is None else float(count),
        None if count is None else 0.0,
        None if count is None else -float(count),
        met or Met(),
        (source,),
        case,
        facts,
    )


def _different(difference: Difference, number: int, count: int, source: Source) -> Finding:
    here, there = difference.one, difference.other
    case = "missing" if here is None else "added" if there is None else ""
    return _finding(
        "fail",
        count,
        source,
        Met(
            read=None if here is None else here.number,
            at_ps=None if here is None else here.start_ps,
            other="" if there is None else f"read {there.number} of the other",
        ),
        case,
        number=number,
        here=None if here is None else _spelled(here),
        there=None if there is None else _spelled(there),
        there_read=None if there is None else there.number,
        there_ps=None if there is None else there.start_ps,
    )


def _spelled(read: SeenRead) -> str:
    unsure = f" ({spelled(read.undecided)} undecided)" if read.undecided else ""
    return spelled(read.byte) + unsure


def _script(a: Sequence[int], b: Sequence[int]) -> Iterator[Step]:
    """The shortest way from one sequence to the other (Myers, An O(ND) Difference Algorithm, 1986).

    Time and memory grow with the number of differences, not with the product of the lengths.
    """
    start = 0
    while start < min(len(a), len(b)) and a[start] == b[start]:
        start += 1
    for _ in range(start):
        yield "same"
    yield from _middle(a[start:], b[start:])


def _middle(a: Sequence[int], b: Sequence[int]) -> list[Step]:
    furthest = {1: 0}
    trace: list[dict[int, int]] = []
    for distance in range(min(len(a) + len(b), _MOST) + 1):
        trace.append(dict(furthest))
        for k in range(-distance, distance + 1, 2):
            down = k == -distance or (k != distance and furthest[k - 1] < furthest[k + 1])
            x = furthest[k + 1] if down else furthest[k - 1] + 1
            y = x - k
            while x < len(a) and y < len(b) and a[x] == b[y]:
                x, y = x + 1, y + 1
            furthest[k] = x
            if x >= len(a) and y >= len(b):
                return _walk_back(trace, len(a), len(b))
    raise TooDifferent(
        f"the two differ in more than {_MOST} reads; they do not show the same presses"
    )


def _walk_back(trace: list[dict[int, int]], x: int, y: int) -> list[Step]:
    steps: list[Step] = []
    for distance in range(len(trace) - 1, -1, -1):
        furthest = trace[distance]
        k = x - y
        down = k == -distance or (
            k != distance and furthest.get(k - 1, -1) < furthest.get(k + 1, -1)
        )
        before = k + 1 if down else k - 1
        px = furthest.get(before, 0)
        py = px - before
        while x > max(px, 0) and y > max(py, 0):
            steps.append("same")
            x, y = x - 1, y - 1
        if distance:
            steps.append("other" if down else "one")
            x, y = px, py
    return steps[::-1]
