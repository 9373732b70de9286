"""What a sweep of a routine counts, and the first case of each kind that it met.

    counts = sweep(routine, console, period, limit)
    counts.accepted_wrong, counts.counterexample

A *case* is one held state with one fetch phase, held steady, with the result places preset to the
held state. An engine is any such function ``sweep``: `padbench.routines.fast` has one.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from operator import add
from typing import Literal

from padbench.parts import ConsoleTiming

STATES = 256
"""Held states of eight buttons."""

Kind = Literal["accepted_wrong", "never_settles", "corrupt"]
"""What a counterexample shows."""

WORST: tuple[Kind, ...] = ("accepted_wrong", "never_settles", "corrupt")
"""Kinds of counterexamples, the worst first."""

OUTCOMES = ("no read stopped", "stopped, no harm", "pass misread", "never settles", "wrong byte")
"""What can come of a phase, the worst last."""

FAILING = (3, 4)
"""Those after which a poll has gone wrong."""


@dataclass(frozen=True, slots=True)
class Counterexample:
    """One case of a kind; of several the one with the smallest held state, then phase.

    ``got`` is the byte handed on (of the first pad whose result is wrong), for ``never_settles``
    and ``corrupt`` the first wrong byte that a pass read. ``pad`` is 1 or 2.
    """

    kind: Kind
    held: int
    phase: int
    got: int
    pad: int = 1


@dataclass
class SweepCounts:
    """Counts of some or all cases of one fetch period (CPU cycles), as they grow, in any order.

    ``impossible`` are those cases whose phase cannot occur: they are counted as nothing else.
    ``hit``: a fetch stopped a read of a port. ``corrupt``: some pass (the first eight reads of a
    port after a latch) read a byte that is not the held state. ``accepted_wrong``: what the
    routine hands on is not the held state. ``never_settles``: it had not finished after the cycle
    limit. ``kept_old``: with a corrupt pass, it handed on exactly what had stood in the result
    place before, whatever that was. ``first`` has a counterexample of each kind, ``by_phase`` for
    each phase the worst place in `OUTCOMES` that any held state came to, ``by_held`` for each held
    state in how many phases the poll goes wrong: a wrong byte, or no end. ``held`` is what the
    first pad holds; the second holds the complement, all others of the eight. With two results
    ``nothing`` counts these phases with nothing held on either pad, which is no case of the sweep.
    """

    period: int
    cases: int = 0
    impossible: int = 0
    hit: int = 0
    corrupt: int = 0
    accepted_wrong: int = 0
    never_settles: int = 0
    kept_old: int = 0
    first: dict[Kind, Counterexample] = field(default_factory=dict)
    by_phase: bytearray = field(default_factory=bytearray)
    by_held: list[int] = field(default_factory=lambda: [0] * STATES)
    nothing: int | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        """No phase has been stopped yet."""
        self.by_phase = self.by_phase or bytearray(self.period)

    @property
    def possible(self) -> int:
        """Cases whose phase can occur."""
        return self.cases - self.impossible

    @property
    def phases(self) -> int:
        """How many phases can occur."""
        return self.period * self.possible // self.cases if self.cases else self.period

    def chance(self, phases: int) -> float:
        """That a poll meets one of so many phases, at most.

        One that a sprite copy leaves possible comes for the one that it leaves out as well. Of
        those that a fetch between copy and routine brings about, both parities are tried and one
        comes, so the chance may be less.
        """
        return min(1.0, phases * (2 if self.impossible else 1) / self.period)

    @property
    def failing(self) -> int:
        """Cases that go wrong, and phases in which nothing held on either of two pads does."""
        return self.accepted_wrong + self.never_settles + (self.nothing or 0)

    @property
    def examples(self) -> tuple[Counterexample, ...]:
        """One of each kind that was met, the worst first."""
        return tuple(self.first[kind] for kind in WORST if kind in self.first)

    @property
    def counterexample(self) -> Counterexample | None:
        """The first of the worst kind."""
        return next(iter(self.examples), None)

    def note(self, example: Counterexample) -> None:
        """Keep a counterexample if it comes before the one that is known."""
        known = self.first.get(example.kind)
        if known is None or (example.held, example.phase) < (known.held, known.phase):
            self.first[example.kind] = example

    def add(self, other: "SweepCounts") -> None:
        """Take in the counts of other cases of the same period; ``ValueError`` for another one."""
        if other.period != self.period:
            raise ValueError(f"counts of period {other.period} added to those of {self.period}")
        for name in (
            "cases",
            "impossible",
            "hit",
            "corrupt",
            "accepted_wrong",
            "never_settles",
            "kept_old",
        ):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.by_phase = bytearray(map(max, self.by_phase, other.by_phase))
        self.by_held = [*map(add, self.by_held, other.by_held)]
        if self.nothing is None:
            self.nothing = other.nothing
        for example in other.first.values():
            self.note(example)


@dataclass(frozen=True, slots=True)
class Risk:
    """With ``held`` held, a poll goes wrong with ``chance`` at a fetch every ``period`` cycles.

    Of two ``pads`` ``held`` is the first one's state; the second holds nothing if that is nothing,
    else the complement. Every phase of the fetch is taken as equally likely (`SweepCounts.chance`);
    ``a_minute`` is at one poll a frame.
    """

    held: int
    period: int
    chance: float
    a_minute: float
    pads: int = 1


def with_nothing(sweep: SweepCounts) -> list[int]:
    """``by_held``, its first state that with nothing held on any pad."""
    first = sweep.by_held[0] if sweep.nothing is None else sweep.nothing
    return [first, *sweep.by_held[1:]]


def worst_risk(sweeps: Iterable[SweepCounts], timing: ConsoleTiming) -> Risk | None:
    """At the worst rate, with nothing held, or if that goes never wrong with the worst state."""
    risks = [
        Risk(
            held,
            sweep.period,
            chance,
            chance * float(60 * timing.frame_rate),
            1 if sweep.nothing is None else 2,
        )
        for sweep in sweeps
        for held, phases in enumerate(with_nothing(sweep))
        if (chance := sweep.chance(phases))
    ]
    calm = [risk for risk in risks if not risk.held]
    return max(calm or risks, key=lambda risk: risk.chance, default=None)
