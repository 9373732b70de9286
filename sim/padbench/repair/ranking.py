"""Which fault explains what was seen, and what to try next.

    found = rank(known, bench, seen)
    found.candidates[0].faults, found.candidates[0].explains      # a group that nothing tells apart
    next_tests(known, bench, found, seen)[0]

**The model.** A fault shows in one of its variants, which stays for as long as anybody looks, with
the weights of `padbench.circuit.defects`. A read of a held state then gives the bits that the
dictionary has; each bit that floats is 0 or 1 with even chance, and of what comes and goes each
state has its share. Whatever the pad sends, with probability ``Observed.wrong`` a byte is noted
wrongly and may then be any of the 256; a capture's hardly ever are. Reads do not depend on one
another. A meter reading falls into the volts of the circuit in 9 of 10 cases where these are known,
and tells little where they are not (`padbench.repair.metering`). The likelihood of a fault is the
product over all observations, summed over its variants; every single fault is as likely as any
other beforehand, a given pair of faults ``PAIR`` times as likely as a single one. What is equally
likely is ordered by how common that kind of fault is (`padbench.parts.fault_kinds`), and by nothing
else. A clock that is lost, or doubled, in the same place at every read is no fault of the
dictionary; beforehand it is as likely as a pair, and where it explains more than what comes and
goes, nothing here explains it.

Faults form a group where their likeliest variants say the same of every state and every reading
seen so far.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from padbench.core.buttons import OPPOSITES, pressed_in
from padbench.core.pad import SOUND, Defect
from padbench.core.units import Value
from padbench.parts.fault_kinds import fault_kinds
from padbench.repair.dictionary import EVERY_STATE, Dictionary, coded, predicted
from padbench.repair.metering import WRONG, MeterBench
from padbench.repair.observed import (
    EVERY,
    WRONG_READ,
    Meter,
    Observed,
    Read,
    each_place,
    kind_of,
)
from padbench.sheet.model import Fault

PAIR = 0.01
"""How likely a given pair of faults is beside a single one (assumed)."""

_PARTNERS, _BEST_PAIRS = 14, 12
"""Faults that are tried with every other, and pairs that are told of."""

_RULED_OUT = 1e-2
"""A row so much less likely than the likeliest is ruled out; one wrong note is a fiftieth of it."""

_BY_CHANCE = 1 / 50
"""A read that comes more seldom is explained by chance: six bits that float (assumed)."""

_UNLIKELY = 0.02
"""So unlikely many wrong notes are not taken for such (assumed)."""

_KNOWN, _NEVER = 0.9, 1e-12
"""A fault so likely needs no test; a likelihood beside which nothing is less."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Candidate:
    """Faults that nothing seen so far tells apart; ``beside`` is the second one of a pair.

    ``likelihood`` is a logarithm. ``explains`` of ``reads`` reads are such as it gives; ``against``
    are the others, and the readings of a meter that it does not give.
    ``row`` is the likeliest variant; ``often`` says of each read, as `Observed.pairs` has them, how
    often it comes of that.
    """

    faults: tuple[Fault | None, ...]
    likelihood: float
    explains: int
    reads: int
    against: tuple[Read | Meter, ...]
    row: int
    often: tuple[float, ...]
    beside: tuple[Fault | None, ...] = ()
    share: float = 0.0

    @property
    def healthy(self) -> bool:
        """Whether the sound pad is among them."""
        return None in self.faults and not self.beside


@dataclass(frozen=True)
class Ranking:
    """Candidates, the likeliest first; ``by_row`` has the logarithm of each row's likelihood, of
    a pair that of its being one of the two.

    ``unexplained``: even the best leaves over more reads than wrong notes would, or a reading of
    the meter; or it has most reads by chance only, or comes and goes where all was read alike.
    """

    candidates: tuple[Candidate, ...]
    by_row: Floats
    unexplained: bool

    @property
    def suspects(self) -> tuple[Fault, ...]:
        """Faults of all groups that are not as good as ruled out."""
        likely = [one for one in self.candidates if one.share > _RULED_OUT and not one.healthy]
        return tuple(fault for one in likely for fault in (*one.faults, *one.beside) if fault)

    @property
    def weight(self) -> Floats:
        """Of each row, its part of the likelihood of all."""
        return np.asarray(np.exp(self.by_row - np.logaddexp.reduce(self.by_row)), np.float64)


def settled(known: Dictionary, found: Ranking) -> bool:
    """Whether no fault is left that a press would surely show and the likeliest would not.

    What comes and goes, or floats, may stay hidden for as long as one cares to watch.
    """
    states = [*practical(known)]
    steady = np.zeros(len(known.rows), bool)
    for row, entry in enumerate(known.rows):
        steady[row] = len(entry.variant.mix) == 1 and not known.random[known.first_part(row)].any()
    best = found.candidates[0]
    if best.beside:
        return True
    other = (known.labels[:, states] != known.labels[best.row, states]).any(axis=1)
    return not (steady & other & (found.weight > _RULED_OUT * found.weight.max())).any()


def watched(known: Dictionary, found: Ranking) -> bool:
    """Whether reads are so many that also what seldom comes and goes is ruled out."""
    loose = np.array([len(row.variant.mix) > 1 for row in known.rows])
    return not (found.weight[loose] > _RULED_OUT * found.weight.max()).any()


def rank(known: Dictionary, bench: MeterBench, seen: Observed) -> Ranking:
    """All faults by how well they explain what was seen."""
    by_row = np.log(known.weight)
    pairs = [*seen.pairs()]
    chances = np.array([known.chance(held, byte) for held, byte, _ in pairs])
    if pairs:
        times = np.array([times for _, _, times in pairs])
        by_row = by_row + times @ np.log(as_noted(chances, seen.wrong))
    metered = np.array([bench.chance(reading) for reading in seen.meter])
    if seen.meter:
        by_row = by_row + np.log(metered).sum(axis=0)
    groups = list(_groups(known, seen, by_row, chances, metered))
    groups.sort(key=lambda group: (-round(group.likelihood, 6), -common(group.faults)))
    # A pair that explains everything may be likelier than what explains it by chance.
    if groups[0].likelihood < math.log(PAIR) + seen.count * math.log(1 - seen.wrong):
        groups += _pairs(known, seen, metered)
        groups.sort(key=lambda group: (-round(group.likelihood, 6), -common(group.faults)))
    total = np.logaddexp.reduce([group.likelihood for group in groups])
    shared = tuple(
        replace(group, share=float(np.exp(group.likelihood - total))) for group in groups
    )
    best = shared[0]
    chance = not seen.unsteady and (
        _by_chance(best) or _too_steady(best, pairs) or _always(known, best, seen, metered)
    )
    if best.beside:
        by_row = _one_of_two(known, shared)
    contradicted = any(isinstance(one, Meter) for one in best.against)
    measured = tuple(
        replace(
            group,
            faults=tuple(_measured(fault, bench, seen) for fault in group.faults),
            beside=tuple(_measured(fault, bench, seen) for fault in group.beside),
        )
        for group in shared
    )
    return Ranking(measured, by_row, chance or contradicted or _too_many(best, seen))


def _one_of_two(known: Dictionary, candidates: Sequence[Candidate]) -> Floats:
    """Of each row, the logarithm of how likely it is one of two; what every pair has is known."""
    share = np.zeros(len(known.faults))
    for candidate in candidates:
        for faults in (candidate.faults, candidate.beside) if candidate.beside else ():
            for fault in faults:
                share[known.faults.index(fault)] += candidate.share / len(faults)
    share = np.where(share > _KNOWN, 0.0, share)
    return np.asarray(np.log(share[known.fault_of] * known.weight + _NEVER), np.float64)


def _measured(fault: Fault | None, bench: MeterBench, seen: Observed) -> Fault | None:
    """A wrong pull-up with the ohms that somebody measured."""
    if fault is not None and fault.kind == "pull-up-wrong":
        where = f"{bench.pin_of.get(fault.at or '')} to supply"
        for reading in seen.meter:
            if reading.where == where and math.isfinite(reading.value):
                return fault.model_copy(update={"ohms": Value.exact(reading.value)})
    return fault


def as_noted(chances: Floats, wrong: float = WRONG_READ) -> Floats:
    """How often bytes are noted that come so often: a wrong note may be any of the 256."""
    return (1 - wrong) * chances + wrong / 256


def _by_chance(best: Candidate) -> bool:
    """Whether it leaves most reads to chance, and so explains whatever may come."""
    explained = [often for often in best.often if often]
    return 2 * sum(often < _BY_CHANCE for often in explained) > len(explained)


def _too_steady(best: Candidate, pairs: Sequence[Read]) -> bool:
    """Whether what comes and goes would hardly repeat each read as often as it was repeated."""
    each = zip(pairs, best.often, strict=True)
    return math.prod(often ** (pair.times - 1) for pair, often in each if often) < _UNLIKELY


def _always(known: Dictionary, best: Candidate, seen: Observed, metered: Floats) -> bool:
    """Whether a part of what comes and goes explains it better if it were so at every read, as
    no fault is: a clock that is lost, or doubled, always in the same place."""
    if best.healthy or best.beside:
        return False
    first = known.first_part(best.row)
    parts = np.arange(first, first + len(known.rows[best.row].variant.mix))
    held, sent, times = np.array([*seen.pairs()], np.int64).reshape(-1, 3).T
    fits = _fits(sent, known.fixed[parts][:, held], known.random[parts][:, held])
    likelihood = np.log(as_noted(fits, seen.wrong)) @ times + math.log(PAIR)
    if seen.meter:
        likelihood += np.log(metered[:, best.row]).sum()
    return bool(likelihood.max() > best.likelihood)


def _too_many(best: Candidate, seen: Observed) -> bool:
    """More reads left over than wrong notes would be (the binomial tail), or the same byte left
    over more often than wrong notes repeat one (on average, of any byte)."""
    wrong, left, n = seen.wrong, best.reads - best.explains, best.reads
    if 2 * left > n:
        return True
    for held, _, times in (one for one in best.against if isinstance(one, Read)):
        rate = seen.reads[held].total() * wrong / 256
        if times > 1 and 256 * rate ** min(times, 9) / math.factorial(min(times, 9)) < _UNLIKELY:
            return True
    fewer, term = 0.0, n * math.log1p(-wrong)  # as logarithms: numbers of many reads are large
    for k in range(left):
        fewer += math.exp(term)
        term += math.log((n - k) / (k + 1)) + math.log(wrong / (1 - wrong))
    return left > 0 and 1 - fewer < _UNLIKELY


def common(faults: Sequence[Fault | None]) -> int:
    """How common the commonest of them is; a sound pad is more so than any fault."""
    return max(4 if fault is None else fault_kinds()[fault.kind].common for fault in faults)


def _groups(
    known: Dictionary, seen: Observed, by_row: Floats, chances: Floats, metered: Floats
) -> Iterator[Candidate]:
    """``chances`` (pairs of held and byte, rows), ``metered`` (readings, rows): what rows say."""
    starts = np.flatnonzero(np.diff(known.fault_of, prepend=-1))
    likelihood = np.logaddexp.reduceat(by_row, starts)
    ends = [*starts[1:].tolist(), len(by_row)]
    best = [s + int(np.argmax(by_row[s:e])) for s, e in zip(starts.tolist(), ends, strict=True)]
    states, pairs = list(seen.reads), list(seen.pairs())
    keys = known.labels[:, states][best]
    grouped: dict[bytes, list[int]] = {}
    for fault, key in enumerate(keys):
        readings = metered[:, best[fault]].tobytes() if len(metered) else b""
        grouped.setdefault(key.tobytes() + readings, []).append(fault)
    for faults in grouped.values():
        faults.sort(key=lambda place: (-common([known.faults[place]]), -likelihood[place]))
        head = max(faults, key=lambda place: likelihood[place])
        row = best[head]
        often = tuple(float(chance[row]) for chance in chances)
        missed = [pair for pair, some in zip(pairs, often, strict=True) if not some]
        off = [
            reading
            for reading, chance in zip(seen.meter, metered, strict=True)
            if chance[row] == WRONG
        ]
        yield Candidate(
            tuple(known.faults[place] for place in faults),
            float(likelihood[head]),
            seen.count - sum(pair.times for pair in missed),
            seen.count,
            (*missed, *off),
            row,
            often,
        )


def _pairs(known: Dictionary, seen: Observed, readings: Floats) -> Iterator[Candidate]:
    """Pairs of faults: those that come nearest alone, each with every other."""
    pairs, states = list(seen.pairs()), list(seen.reads)
    at = [states.index(held) for held, _, _ in pairs]
    held, sent, times = (np.array([pair[n] for pair in pairs], np.int64) for n in range(3))
    metered = np.log(readings).sum(axis=0) if len(readings) else np.zeros(len(known.rows))
    # One fault for all that break the same as often; it is there always, or else comes and goes.
    alike: dict[tuple[Defect, float], list[int]] = {}
    for row, entry in enumerate(known.rows):
        share, defect = entry.variant.mix[0]
        if entry.fault and (len(entry.variant.mix) == 1 or entry.variant.mix[1][1] == SOUND):
            alike.setdefault((defect, share), []).append(row)
    groups = [*alike.values()]
    shares = np.array([share for _, share in alike])
    parts = [known.first_part(rows[0]) for rows in groups]
    sure, loose = known.fixed[parts][:, held], known.random[parts][:, held]
    # Bit by bit, as a second fault leaves most bits alone; a bit of chance is half wrong.
    off = np.bitwise_count((sent ^ sure) & ~loose) + 0.3 * np.bitwise_count(loose)
    sound = np.bitwise_count(sent ^ known.fixed[0, held])
    off = np.where(shares[:, None] < 1, np.minimum(off, sound), off)
    nearest = np.argsort(off @ times, kind="stable")[:_PARTNERS].tolist()
    one, other = np.array(
        [
            (first, second)
            for first in nearest
            for second in range(len(groups))
            if second != first and not (second in nearest and second < first)
        ]
    ).T
    defects = [defect for defect, _ in alike]
    two = [defects[a] | defects[b] for a, b in zip(one.tolist(), other.tolist(), strict=True)]
    mixed, clocks = coded(two, known.pad), known.sheet.poll.clocks
    fixed, random, *_ = predicted(known.pad, mixed, np.array(states), clocks)
    alone = _fits(sent, sure, loose)
    s, t = shares[one][:, None], shares[other][:, None]
    chance = s * t * _fits(sent, fixed[:, at], random[:, at])
    chance += s * (1 - t) * alone[one] + (1 - s) * t * alone[other]
    chance += (1 - s) * (1 - t) * (sound == 0)
    likelihood: Floats = np.log(as_noted(chance, seen.wrong)) @ times
    measured = np.array([max(metered[row] for row in rows) for rows in groups])
    likelihood += np.maximum(measured[one], measured[other])
    weighed = np.log([max(known.weight[row] for row in rows) for rows in groups])
    likelihood += weighed[one] + weighed[other]
    single = shares[:, None] * alone + (1 - shares[:, None]) * (sound == 0)
    each = np.log(as_noted(single, seen.wrong)) @ times + measured + weighed
    # A second fault that explains nothing more is no finding: nobody tried what it would change.
    more = likelihood > np.maximum(each[one], each[other]) + 1e-6
    likelihood += math.log(PAIR)
    ranked = np.array([common(_faults_of(known, rows)) for rows in groups])
    order = np.lexsort((-ranked[one] - ranked[other], -likelihood.round(6)))
    for best in order[more[order]][:_BEST_PAIRS].tolist():
        fits = chance[best] > 0
        yield Candidate(
            _faults_of(known, groups[one[best]]),
            float(likelihood[best]),
            int(times[fits].sum()),
            seen.count,
            (
                *(pair for pair, fit in zip(pairs, fits, strict=True) if not fit),
                *(
                    reading
                    for reading, chance_of in zip(seen.meter, readings, strict=True)
                    if chance_of[groups[one[best]] + groups[other[best]]].max() == WRONG
                ),
            ),
            groups[one[best]][0],
            tuple(chance[best].tolist()),
            _faults_of(known, groups[other[best]]),
        )


def _fits(sent: NDArray[np.int64], sure: NDArray[np.int64], loose: NDArray[np.int64]) -> Floats:
    """How often a byte comes out of bits that are sure and bits that are chance."""
    fits: Floats = ((sent & ~loose) == sure) / (1 << np.bitwise_count(loose).astype(np.int64))
    return fits


def _faults_of(known: Dictionary, rows: Sequence[int]) -> tuple[Fault | None, ...]:
    faults = dict.fromkeys(known.rows[row].fault for row in rows)
    return tuple(
        sorted((known.faults[place] for place in faults), key=lambda fault: -common([fault]))
    )


@dataclass(frozen=True)
class Test:
    """Something to try, with one answer: hold ``held`` and read the eight buttons, or look at
    ``where`` (see `Meter`), which may be several places of one kind measured in one go, the probe
    in hand (see `padbench.repair.observed.each_place`).

    ``bits`` is what it tells on average (Shannon, in bits), ``cost`` beside that of one press.
    """

    where: str
    held: int
    bits: float
    cost: float

    @property
    def press(self) -> bool:
        """Whether it is a read, of whatever is held."""
        return not self.where


_MORE_BUTTONS, _MORE_PLACES, _OPENING = 0.05, 0.1, 5.0
_COSTS = {"press": 1.0, "beat": 2.0, "ohms": 4.0, "volts": 5.0, "scope": 15.0}
_SWAPS = {"swap cable": 30.0, "swap register": 60.0}
"""Costs in presses (assumed): each further button held, each further place of a series, opening the
case (once), and what is done then; a swap is soldered. A look while nothing is held is a test like
a press, and costs the same."""

_FINGERS = 6
"""Two thumbs and a hand with the pad on a table: all but one of each pair of opposites."""

_SLIGHT = 0.3
"""Bits below which a test tells nothing: as many as are open where one of two is nineteen times as
likely as the other (assumed). Nobody swaps a part to be a little surer of that."""


def practical(known: Dictionary, fingers: int = _FINGERS) -> Iterator[int]:
    """States that hands can hold: so many buttons at most, opposite directions never together."""
    for held in range(256):
        names = pressed_in(held)
        if len(names) > fingers or any(name not in known.sheet.buttons for name in names):
            continue
        if not any(one in names and other in names for one, other in OPPOSITES):
            yield held


def _entropy(shares: Floats) -> float:
    """In bits (Shannon); what never comes has none."""
    some = shares[shares > 0]
    return float(-(some * np.log2(some)).sum())


def _inside(where: str) -> bool:
    """Whether it is measured with the case open."""
    return any("pin " in place or "core " in place for place, _ in each_place(where))


def next_tests(
    known: Dictionary, bench: MeterBench, found: Ranking, seen: Observed, *, meter: bool = True
) -> tuple[Test, ...]:
    """What tells most for its cost, the best first; nothing where nothing tells any more."""
    left = np.flatnonzero(found.weight > 1e-3 * found.weight.max())
    weight = found.weight[left] / found.weight[left].sum()
    faults, fault = np.unique(known.mended_as[left], return_inverse=True)
    before = np.asarray(np.bincount(fault, weight), np.float64)

    parts = np.flatnonzero(np.isin(known.row_of, left))
    of_part = np.searchsorted(left, known.row_of[parts])
    whose, often = fault[of_part], known.share[parts] * weight[of_part]

    def pressed(held: int) -> float:
        """What one read tells of which fault it is, in bits: I(F; L) = H(L) + H(F) - H(F, L)."""
        sure, loose = known.fixed[parts, held], known.random[parts, held]
        at, one = np.flatnonzero(loose), np.flatnonzero(loose == 0)
        part, byte = np.nonzero((EVERY_STATE & ~loose[at, None]) == sure[at, None])
        each = often[at] / (1 << np.bitwise_count(loose[at]).astype(np.int64))
        cells = np.concatenate([whose[one] * 256 + sure[one], whose[at][part] * 256 + byte])
        weights = np.concatenate([often[one], each[part]])
        joint = np.asarray(np.bincount(cells, weights, 256 * len(faults)), np.float64)
        return _entropy(joint.reshape(-1, 256).sum(axis=0)) + _entropy(before) - _entropy(joint)

    def found_at(labels: NDArray[np.int64], may: NDArray[np.bool_]) -> float:
        """The same of a reading, sum of P(f, l) log2 P(f | l) / P(f); ``may`` says which outcomes
        pass for each other."""
        shown, label = np.unique(labels[left], return_inverse=True)
        size = len(shown) * len(faults)
        joint = np.bincount(label * len(faults) + fault, weight, size).reshape(len(shown), -1)
        after = may[np.ix_(shown, shown)] @ joint
        there = joint > 0
        told = after / (after.sum(axis=1, keepdims=True) * before)
        return float((joint[there] * np.log2(told[there])).sum())

    tests = []
    # Ohms that no sound pad has are a fault, whatever a press would say; and what two faults make
    # of a press is not in the dictionary.
    best = found.candidates[0]
    measured_out = bool(best.beside) or any(
        kind_of(one.where) == "ohms" and bench.chance(one)[0] == WRONG and one not in best.against
        for one in seen.meter
    )
    for held in practical(known) if not measured_out else ():
        more = max(held.bit_count() - 1, 0) * _MORE_BUTTONS
        tests.append(Test("", held, pressed(held), _COSTS["press"] + more + (held in seen.reads)))
    measured = {(reading.where, reading.held) for reading in seen.meter}
    opened = any(_inside(where) for where, _ in measured)
    points = [*bench.points()] if meter else []
    for head, ends, tail in bench.series() if meter else ():
        places = each_place(f"{head}{' '.join(ends)}{tail}")
        new = [end for end, place in zip(ends, places, strict=True) if place not in measured]
        if len(new) > 1:
            whole = new == ends and head.strip() in EVERY
            points.append((head.strip() if whole else f"{head}{' '.join(new)}{tail}", 0))
    for where, held in points:
        if (where, held) not in measured:
            cost = _SWAPS.get(where, _COSTS.get(kind_of(where), 0.0))
            cost += _MORE_PLACES * (len(each_place(where)) - 1)
            cost += _OPENING * (not opened and _inside(where))
            tests.append(Test(where, held, found_at(*bench.alike(where, held)), cost))
    telling = [test for test in tests if test.bits > _SLIGHT]
    # A short of the supply is looked for before anybody plugs the pad in again.
    short = any({fault.at, fault.to} == {"supply", "ground"} for fault in found.suspects)
    unsafe = short and meter
    # What may short the supply, as something is held, comes after ohms, which need no supply.
    at_supply = {one.at for one in found.suspects if one.kind == "input-at-supply" and meter}

    def order(test: Test) -> tuple[bool, bool, float, int]:
        risky = not at_supply.isdisjoint(pressed_in(test.held))
        later = unsafe and ("supply to ground", 0) not in each_place(test.where)
        return later, risky, -test.bits / test.cost, test.held

    return tuple(sorted(telling, key=order))
