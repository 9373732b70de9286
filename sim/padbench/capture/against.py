"""Two captures read by read, aligned by what was read and not by when.

Nobody holds a button for equally many polls twice, so a state that lasts longer in one of the two
is no difference. What is left is: reads that the other has not, and reads that differ.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from padbench.capture.reads import SeenRead
from padbench.core.bridge import told
from padbench.core.buttons import spelled
from padbench.core.findings import Finding

__all__ = ["Difference", "TooDifferent", "compare", "judge_against"]

_MOST = 1500
"""Reads added or left out; beyond, two captures have nothing to do with each other."""


class TooDifferent(ValueError):
    """The captures have too little in common to be aligned."""


@dataclass(frozen=True, slots=True)
class Difference:
    """``one`` or ``other`` is None where the read has no partner."""

    one: SeenRead | None
    other: SeenRead | None


Step = Literal["same", "one", "other"]


def compare(one: Sequence[SeenRead], other: Sequence[SeenRead]) -> tuple[Difference, ...]:
    """Reads that differ or have no partner, but for states that only last longer.

    Raises `TooDifferent`.
    """
    a, b = [read.byte for read in one], [read.byte for read in other]
    found: list[Difference] = []
    left: list[SeenRead] = []
    right: list[SeenRead] = []
    before: int | None = None

    def settle(after: int | None) -> None:
        pairs = min(len(left), len(right))
        found.extend(Difference(*pair) for pair in zip(left[:pairs], right[:pairs], strict=True))
        found.extend(
            Difference(read, None) for read in left[pairs:] if read.byte not in (before, after)
        )
        found.extend(
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
            left.append(one[i])
            i += 1
        else:
            right.append(other[j])
            j += 1
    settle(None)
    return tuple(found)


def judge_against(
    one: Sequence[SeenRead], other: Sequence[SeenRead], source: str
) -> tuple[Finding, ...]:
    """``against.reads``: one finding for each difference up to ten, or one that there is none.

    ``source`` says what the other is, "the capture bench.vcd". A read that was not recorded to its
    end says nothing and is left out.
    """
    one, other = ([r for r in reads if not (r.open_ended or r.in_gap)] for reads in (one, other))
    try:
        differences = compare(one, other)
    except TooDifferent as error:
        says = str(error)
        return (told("against.reads", "fail", None, None, None, "", "whole capture", source, says),)
    if not differences:
        says = f"{len(one)} reads here and {len(other)} of {source} tell the same story"
        return (told("against.reads", "pass", 0, 0, 0, "", "whole capture", source, says),)
    count = len(differences)
    return tuple(
        told(
            "against.reads",
            "fail",
            count,
            0,
            -count,
            "",
            _where(difference),
            source,
            f"{number} of {count}, beside {source}: {_says(difference)}",
        )
        for number, difference in enumerate(differences[:10], 1)
    )


def _where(difference: Difference) -> str:
    return ", ".join(
        f"read {read.number} at {read.start_ps / 1e9:.4f} ms{place}"
        for read, place in ((difference.one, ""), (difference.other, " of the other"))
        if read is not None
    )


def _says(difference: Difference) -> str:
    one, other = difference.one, difference.other
    if one is None:
        assert other is not None
        return f"the other has a read of {spelled(other.byte)} that is missing here"
    if other is None:
        return f"a read of {spelled(one.byte)} that the other has not"
    return f"{_spelled(one)} here, {_spelled(other)} there"


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
