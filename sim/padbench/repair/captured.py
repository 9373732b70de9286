"""Reads of a capture as observations: what was held while each of them was made.

    seen = observed_in(known, [0x00, 0x00, 0x80, 0x00], [0x80])       # only A was pressed
    seen = observed_in(known, bytes_read, None)                       # nobody knows

With the order of the presses, reads are shared out among "nothing, the first press, nothing, the
second, …" so that the fault that explains them best does so (Viterbi's path, for every row of the
dictionary at once). Without, each stretch of equal reads is taken for the state that explains it
best, and nothing held for ten times as likely as a certain button (assumed).
"""

import math
from collections.abc import Sequence
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from padbench.core.buttons import OPPOSITES, byte_of
from padbench.repair.dictionary import Dictionary
from padbench.repair.observed import Observed
from padbench.repair.ranking import as_noted

_MOST_RUNS = 4000
"""Stretches of equal reads; in what has more, the first are looked at."""

_HELD, _TWO_HELD = math.log(0.1), math.log(0.005)
"""Logarithm of how likely one button, and two, are beside nothing held (assumed)."""

Floats = NDArray[np.float64]


def observed_in(
    known: Dictionary, read: Sequence[int | None], presses: Sequence[int] | None
) -> Observed:
    """The reads by what was held; None is a read that says nothing.

    Raises ``ValueError`` for fewer reads than presses.
    """
    runs = [(byte, len([*same])) for byte, same in groupby(read)][:_MOST_RUNS]
    chances: dict[tuple[int, int], Floats] = {}

    def chance(held: int, byte: int | None) -> Floats:
        if byte is None:
            return np.zeros(len(known.rows))
        if (held, byte) not in chances:
            chances[held, byte] = np.log(as_noted(known.chance(held, byte)))
        return chances[held, byte]

    seen = Observed()
    weights = np.log(known.weight)
    if presses is None:
        states = [held for held in range(256) if held.bit_count() <= 2 and not _opposed(held)]
        prior = np.array([(0.0, _HELD, _TWO_HELD)[held.bit_count()] for held in states])
        choice = []
        for byte, count in runs:
            each = prior[:, None] + count * np.stack([chance(held, byte) for held in states])
            choice.append(each.argmax(axis=0))
            weights = weights + each.max(axis=0)
        row = int(weights.argmax())
        for (byte, count), chosen in zip(runs, choice, strict=True):
            if byte is not None:
                seen.add(states[int(chosen[row])], byte, count)
        return seen
    segments = [0, *(held for press in presses for held in (press, 0))]
    pieces = [piece for run in runs for piece in _pieces(*run, len(segments))]
    if len(pieces) < len(presses):
        raise ValueError(f"has {len(read)} reads, fewer than the {len(presses)} presses named")
    score = np.full((len(segments), len(weights)), -np.inf)
    came = []
    for number, (byte, count) in enumerate(pieces):
        if number == 0:
            moved = np.where(np.arange(len(segments))[:, None] < 2, weights, -np.inf)
            back = np.zeros(score.shape, np.int64)
        else:
            one = np.vstack([score[:1] * 0 - np.inf, score[:-1]])
            two = np.vstack([score[:2] * 0 - np.inf, score[:-2]])
            two[::2] = -np.inf  # only a time with nothing held may be left out
            ways = np.stack([score, one, two])
            back = ways.argmax(axis=0)
            moved = ways.max(axis=0)
        came.append(back)
        score = moved + count * np.stack([chance(held, byte) for held in segments])
    ends = score[-2:]
    row = int(ends.max(axis=0).argmax())
    place = len(segments) - 2 + int(ends[:, row].argmax())
    for (byte, count), back in zip(reversed(pieces), reversed(came), strict=True):
        if byte is not None:
            seen.add(segments[place], byte, count)
        place -= int(back[place, row])
    return seen


def _pieces(byte: int | None, count: int, most: int) -> list[tuple[int | None, int]]:
    """A stretch in parts, so that a press may begin and end within it."""
    parts = min(count, most)
    return [
        (byte, count * (number + 1) // parts - count * number // parts) for number in range(parts)
    ]


def _opposed(held: int) -> bool:
    return any(held & byte_of(pair) == byte_of(pair) for pair in OPPOSITES)
