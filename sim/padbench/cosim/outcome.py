"""What comes out of a regression, and what the wires really showed in it.

Of coverage not what the scenarios meant to do counts, but this: a held state, where a latch fell on
it and all eight bits were sampled; a transition, two such states in a row; a stopped position, a
sample before which the clock rose more than once, or, where the bench is the pad, a bit before
which it lost others.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Literal

import numpy as np

from padbench.core.decode import Read
from padbench.core.findings import Finding, overall
from padbench.core.timeline import Timeline, Word
from padbench.core.wire_names import CONTACTS_HELD
from padbench.cosim.causes import Cause
from padbench.cosim.proof import Proof
from padbench.cosim.reader import StrobeProblem
from padbench.trials.scenario_run import ScenarioRun

_ALL_STATES = frozenset(range(256))
_POSITIONS = frozenset((bit, extra) for bit in range(1, 9) for extra in (1, 2, 3))


@dataclass
class Coverage:
    """Sets that grow as timelines are added with `add`."""

    states: set[int] = field(default_factory=set)
    transitions: set[tuple[int, int]] = field(default_factory=set)
    positions: set[tuple[int, int]] = field(default_factory=set)

    def add(self, timeline: Timeline, reads: Iterable[Read]) -> None:
        """Count one scenario's reads. ``KeyError`` for a timeline without ``contacts.held``."""
        word = timeline.words[CONTACTS_HELD]
        times = np.asarray(word.times, np.int64)
        lost = timeline.words.get("pad.lost")
        before: int | None = None
        for read in reads:
            place = int(np.searchsorted(times, read.latch_end_ps, side="right")) - 1
            held = word.values[place] if place >= 0 else None
            if held is None or len(read.samples) < 8:
                before = None
                continue
            self.states.add(held)
            if before is not None:
                self.transitions.add((before, held))
            before = held
            self._positions(read)
            if lost is not None:
                self._lost(read, lost)

    def _lost(self, read: Read, lost: Word) -> None:
        """The pad's count of bits lost, as it goes up inside a read."""
        times = np.asarray(lost.times, np.int64)
        first, last = np.searchsorted(times, [read.start_ps, read.samples[7]])
        for place in range(max(1, int(first)), int(last)):
            now, before = lost.values[place], lost.values[place - 1]
            bit = int(np.searchsorted(read.clock_rises, times[place], side="right")) + 1
            if now is not None and before is not None and now > before:
                self.positions.add((bit, now - before))

    def _positions(self, read: Read) -> None:
        rises = np.searchsorted(read.clock_rises, read.samples[:8], side="left")
        steps = np.diff(rises, prepend=0)
        for place, step in enumerate(steps.tolist()):
            extra = step - (1 if place else 0)
            if extra > 0:
                self.positions.add((place + 1, extra))

    @property
    def missing_states(self) -> list[int]:
        """Held states that no read was seen of."""
        return sorted(_ALL_STATES - self.states)

    @property
    def missing_positions(self) -> list[tuple[int, int]]:
        """(bit, extra clocks), one to three, at which no read was seen stopped."""
        return sorted(_POSITIONS - self.positions)

    @property
    def missing_transitions(self) -> list[tuple[int, int]]:
        """Pairs of held states that were not seen one after the other."""
        return sorted({*product(range(256), range(256))} - self.transitions)


@dataclass(frozen=True, slots=True)
class Failure:
    """The first wrong read of a scenario: number from 1, time, bytes, and what may be the cause.

    Of a reader that reads right and offers something else, the bytes are those offered, None for
    no byte or an unknown one.
    """

    scenario: str
    read: int
    at_ps: int
    expected: int | None
    got: int | None
    says: str
    causes: tuple[Cause, ...]


@dataclass(frozen=True)
class RegressResult:
    """A whole regression; ``skipped`` holds (scenario, why it does not apply).

    ``proof`` is None where none was asked for. ``internals``: name and content of the simulator's
    own record of all signals, up to and with the first scenario that fails, if it was asked for.
    """

    findings: tuple[Finding, ...]
    scenarios: tuple[ScenarioRun, ...]
    failures: tuple[Failure, ...]
    causes: tuple[Cause, ...]
    skipped: tuple[tuple[str, str], ...]
    coverage: Coverage
    reads: int
    seconds: float = field(compare=False)
    proof: Proof | None = None
    internals: tuple[str, bytes] | None = field(default=None, compare=False)

    @property
    def verdict(self) -> Literal["pass", "fail"]:
        """``fail`` if any finding or any scenario fails."""
        verdicts = [*(f.verdict for f in self.findings), *(s.verdict for s in self.scenarios)]
        return overall(verdicts)


def failures_in(runs: Sequence[ScenarioRun], causes: tuple[Cause, ...]) -> list[Failure]:
    """The first wrong read of every scenario that has one, or the first byte wrongly offered."""
    failures = []
    bytes_: tuple[int | None, int | None]
    for run in runs:
        if not run.problems:
            continue
        wrong = next((n for n, pair in enumerate(run.reads, 1) if not pair.as_expected), None)
        offers = [p for p in run.problems if isinstance(p, StrobeProblem) and p.offers]
        if wrong is not None:
            says = next((p.says for p in run.problems if p.read == wrong and p not in offers), "")
            pair = run.reads[wrong - 1]
            at, bytes_ = pair.read.start_ps, (pair.expected.byte, pair.byte)
        elif offers:
            wrong, at, says = offers[0].read or 0, offers[0].at or 0, offers[0].says
            bytes_ = offers[0].expected, offers[0].got
        else:
            continue
        failures.append(Failure(run.name, wrong, at, *bytes_, says, causes))
    return failures
