"""Reads of a capture as observations: what was held while each of them was made.

    seen = observed_in(known, [0x00, 0x00, 0x80, 0x00], [0x80])       # only A was pressed
    seen = observed_in(known, bytes_read, None)                       # nobody knows

With the order of the presses, reads are shared out among "nothing, the first press, nothing, the
second, …" so that the fault that explains them best does so (Viterbi's path, for every row of the
dictionary at once). Without, each stretch of equal reads is taken for the state that explains it
best, and nothing held for ten times as likely as a certain button (assumed).
"""

import math
from collections.abc import Callable, Iterator, Sequence
from functools import partial, reduce
from itertools import groupby, pairwise
from operator import and_

import numpy as np
from numpy.typing import NDArray

from padbench.core.buttons import OPPOSITES, button_bit, byte_of, pressed_in
from padbench.repair.dictionary import Dictionary
from padbench.repair.observed import Meter, Observed
from padbench.repair.ranking import as_noted

_MOST_RUNS = 4000
"""Stretches of equal reads; in what has more, the first are looked at."""

_STEADY = 5
"""Equal reads that are a press rather than something that comes and goes (assumed)."""

_ALONE = 3
"""Buttons that no fault shows one after the other, each alone (assumed)."""

_HELD, _TWO_HELD = math.log(0.1), math.log(0.005)
"""Logarithm of how likely one button, and two, are beside nothing held (assumed)."""

_FLIPS, _RARER, _BEAT, _NO_BEAT = 6, 15, 0.8, 0.5
"""Flips, and reads of the rarer level, below which nothing is said of a beat; how much of that
level one stretch of the mains has right in a beat, and in none (assumed)."""

Floats = NDArray[np.float64]
Bytes = tuple[int, ...]
"""What a read may be: one byte, or with a bit that nobody can tell both."""

Run = tuple[Bytes, int, bool]
"""A read, how often it came in a row, and whether it may be what the register powered up with."""

Chance = Callable[[int, Bytes, bool], Floats]


def observed_in(
    known: Dictionary,
    read: Sequence[int | Bytes],
    presses: Sequence[int] | None,
    times: Sequence[float] = (),
    early: int = 0,
) -> Observed:
    """The reads by what was held; several bytes are one read that may be each of them.

    ``times`` (s) are when each was made: then buttons that flip are held against the mains. The
    first ``early`` reads may have what the register powered up with, and are no evidence where the
    likeliest fault leaves that in it. Raises ``ValueError`` for fewer reads than presses, and for
    presses of buttons that are not named.
    """
    reads = [one if isinstance(one, tuple) else (one,) for one in read]
    runs = [(bytes_, 1, True) for bytes_ in reads[:early]]
    runs += [(bytes_, len([*same]), False) for bytes_, same in groupby(reads[early:])]
    chances: dict[tuple[int, Bytes, bool], Floats] = {}

    def chance(held: int, bytes_: Bytes, first: bool) -> Floats:
        key = (held, bytes_, first)
        if key not in chances:
            each = [np.log(as_noted(known.chance(held, byte))) for byte in bytes_]
            here = np.asarray(np.sum(each, axis=0), np.float64)
            chances[key] = np.where(known.stays, 0.0, here) if first else here
        return chances[key]

    if presses is not None:
        _all_named(runs, presses)
    find = _unknown_presses if presses is None else partial(_in_order, presses=presses)
    held, row = find(known, runs[:_MOST_RUNS], chance)
    seen, kept = Observed(guessed=presses is None), []
    for number, (bytes_, state) in enumerate(zip(reads, held, strict=False)):
        if not (number < early and known.stays[row]):
            kept += [(number, byte) for byte in bytes_]
            for byte in bytes_:
                seen.add(state, byte)
    if times:
        seen.meter += _beats(known, [(times[n], held[n], byte) for n, byte in kept])
    return seen


def _all_named(runs: Sequence[Run], presses: Sequence[int]) -> None:
    """Refuse what a faulty pad does not make of the presses named.

    That is more stretches with something down than presses, and among them steady ones of several
    other buttons, between two without any, or short ones of so many, each alone. One may be a
    contact that hums or flickers by itself.
    """
    named = 0
    for press in presses:
        named |= press
    # Of a read that may be several bytes only what all of them have is down.
    bytes_ = [reduce(and_, each) for each, _, _ in runs]
    down = sum(one > 0 and before == 0 for before, one in pairwise([0, *bytes_]))
    others = alone = 0
    for before, (_, count, _), byte, after in zip(
        bytes_, runs[1:], bytes_[1:], bytes_[2:], strict=False
    ):
        between = before == after == 0 and not byte & named
        others |= byte if between and count >= _STEADY else 0
        alone |= byte if between and byte.bit_count() == 1 else 0
    others |= alone if alone.bit_count() >= _ALONE else 0
    if down > len(presses) > 0 and others.bit_count() > 1:
        names = ", ".join(pressed_in(others))
        raise ValueError(f"has presses of {names}, which are not named; name all in their order")


def _unknown_presses(
    known: Dictionary, runs: Sequence[Run], chance: Chance
) -> tuple[list[int], int]:
    """Of each read what was held, and the likeliest row, where nobody knows the presses."""
    states = [held for held in range(256) if held.bit_count() <= 2 and not _opposed(held)]
    prior = np.array([(0.0, _HELD, _TWO_HELD)[held.bit_count()] for held in states])
    choice, weights = [], np.log(known.weight)
    for bytes_, count, first in runs:
        one = np.stack([chance(held, bytes_, first) for held in states])
        each = prior[:, None] + count * one
        choice.append(each.argmax(axis=0))
        weights = weights + each.max(axis=0)
    row = int(weights.argmax())
    return [
        states[int(chosen[row])]
        for (_, count, _), chosen in zip(runs, choice, strict=True)
        for _ in range(count)
    ], row


def _in_order(
    known: Dictionary, runs: Sequence[Run], chance: Chance, presses: Sequence[int]
) -> tuple[list[int], int]:
    """The same by Viterbi's path through nothing, the first press, nothing, the second, …"""
    segments = [0, *(held for press in presses for held in (press, 0))]
    pieces = [piece for run in runs for piece in _pieces(*run, len(segments))]
    if len(pieces) < len(presses):
        reads = sum(count for _, count, _ in runs)
        raise ValueError(
            f"has {reads} reads, fewer than the {len(presses)} presses named; name fewer, or"
            " record longer"
        )
    score = np.full((len(segments), len(known.rows)), -np.inf)
    came = []
    for number, (bytes_, count, first) in enumerate(pieces):
        if number == 0:
            start = np.arange(len(segments))[:, None] < 2
            moved = np.where(start, np.log(known.weight), -np.inf)
            back = np.zeros(score.shape, np.int64)
        else:
            one = np.vstack([score[:1] * 0 - np.inf, score[:-1]])
            two = np.vstack([score[:2] * 0 - np.inf, score[:-2]])
            two[::2] = -np.inf  # only a time with nothing held may be left out
            ways = np.stack([score, one, two])
            back = ways.argmax(axis=0)
            moved = ways.max(axis=0)
        came.append(back)
        score = moved + count * np.stack([chance(held, bytes_, first) for held in segments])
    ends = score[-2:]
    row = int(ends.max(axis=0).argmax())
    place = len(segments) - 2 + int(ends[:, row].argmax())
    held: list[int] = []
    for (_, count, _), back in zip(reversed(pieces), reversed(came), strict=True):
        held += [segments[place]] * count
        place -= int(back[place, row])
    return held[::-1], row


def _beats(known: Dictionary, reads: Sequence[tuple[float, int, int]]) -> Iterator[Meter]:
    """Of each button that flips while it is up, whether it does so with the mains.

    A line that floats is low for a part of each period of the mains, and each read looks at
    another phase of it: so the phases at which it is pressed are one stretch of the circle. Where
    one such stretch has eight in ten of the rarer level right it is a beat, where it has not half
    of them it is none (assumed); between the two, and with few flips, nothing is said.
    """
    for name in known.sheet.buttons:
        bit = button_bit(name)
        up = [(when, bool(byte & bit)) for when, held, byte in reads if not held & bit]
        when, down = np.array([one for one, _ in up]), np.array([one for _, one in up], bool)
        rarer = min(int(down.sum()), int((~down).sum()))
        if rarer < _RARER or (down[1:] != down[:-1]).sum() < _FLIPS:
            continue
        right = max(_stretch(when * hertz % 1.0, down) for hertz in _mains(when[-1] - when[0]))
        share = (right - (len(down) - rarer)) / rarer
        if share >= _BEAT or share < _NO_BEAT:
            yield Meter(f"beat {name}", 0, float(share >= _BEAT))


def _mains(span: float) -> Iterator[float]:
    """Frequencies to try: half a per mille off 50 and 60 Hz, so near each other that no period is
    lost over the span (s)."""
    for nominal in (50.0, 60.0):
        wide = 5e-4 * nominal
        steps = min(int(np.ceil(wide * span * 10)) + 1, 400)
        yield from np.linspace(nominal - wide, nominal + wide, 2 * steps + 1).tolist()


def _stretch(phase: Floats, down: NDArray[np.bool_]) -> int:
    """The most reads that one stretch of the circle has right: down in it, and up out of it."""
    signs = np.where(down[np.argsort(phase, kind="stable")], 1, -1)
    sums = np.concatenate([[0], np.cumsum(signs)])
    most = (sums - np.minimum.accumulate(sums)).max()
    least = (sums - np.maximum.accumulate(sums)).min()
    # A stretch over the end is all that one within leaves.
    return int((~down).sum() + max(most, sums[-1] - least))


def _pieces(bytes_: Bytes, count: int, first: bool, most: int) -> list[Run]:
    """A stretch in parts, so that a press may begin and end within it."""
    parts = min(count, most)
    return [
        (bytes_, count * (number + 1) // parts - count * number // parts, first)
        for number in range(parts)
    ]


def _opposed(held: int) -> bool:
    return any(held & byte_of(pair) == byte_of(pair) for pair in OPPOSITES)
