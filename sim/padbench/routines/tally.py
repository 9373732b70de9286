"""Counts of a sweep as they grow, part by part, in any order."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from padbench.routines.engine import Counterexample, Kind, SweepCounts

__all__ = ["OUTCOMES", "Tally", "merged"]

WORST: tuple[Kind, ...] = ("accepted_wrong", "never_settles", "corrupt")
"""Kinds of counterexamples, the worst first, as in `padbench.routines.engine`."""

OUTCOMES = ("no read stopped", "stopped, no harm", "pass spoilt", "never settles", "wrong byte")
"""What can come of a phase, the worst last."""


@dataclass
class Tally:
    """Counts of some of the cases of one fetch period; the keys of `SweepCounts`.

    ``first`` has of each kind the counterexample with the smallest held state, then phase;
    ``by_phase`` for each phase the worst place in `OUTCOMES` that any held state came to.
    """

    period: int
    cases: int = 0
    hit: int = 0
    corrupt: int = 0
    accepted_wrong: int = 0
    never_settles: int = 0
    kept_old: int = 0
    first: dict[Kind, Counterexample] = field(default_factory=dict)
    by_phase: bytearray = field(default_factory=bytearray)

    def __post_init__(self) -> None:
        """No phase has been stopped yet."""
        self.by_phase = self.by_phase or bytearray(self.period)

    def note(self, found: Counterexample) -> None:
        """Keep a counterexample if it comes before the one that is known."""
        known = self.first.get(found.kind)
        if known is None or (found.held, found.phase) < (known.held, known.phase):
            self.first[found.kind] = found

    def add(self, other: "Tally") -> None:
        """Take in the counts of other cases of the same period; ``ValueError`` for another one."""
        if other.period != self.period:
            raise ValueError(f"counts of period {other.period} added to those of {self.period}")
        self.cases += other.cases
        self.hit += other.hit
        self.corrupt += other.corrupt
        self.accepted_wrong += other.accepted_wrong
        self.never_settles += other.never_settles
        self.kept_old += other.kept_old
        self.by_phase = bytearray(map(max, self.by_phase, other.by_phase))
        for found in other.first.values():
            self.note(found)

    def counts(self) -> SweepCounts:
        """As every engine gives them."""
        return SweepCounts(
            period=self.period,
            cases=self.cases,
            hit=self.hit,
            corrupt=self.corrupt,
            accepted_wrong=self.accepted_wrong,
            never_settles=self.never_settles,
            kept_old=self.kept_old,
            counterexample=next((self.first[k] for k in WORST if k in self.first), None),
            examples=tuple(self.first[k] for k in WORST if k in self.first),
        )


def merged(period: int, parts: Iterable[Tally]) -> Tally:
    """All parts of a period together; the order does not matter."""
    whole = Tally(period)
    for part in parts:
        whole.add(part)
    return whole
