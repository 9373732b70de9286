"""Likely causes of wrong reads: the faults that would have given just these reads.

Every fault of `padbench.cosim.faults` is played on the same scripts; those that predict every bit
that was read are named. If none does, the one that comes far closer than a sound register is named,
as partly. What gives the same bits is told apart by what the wires did besides.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain, pairwise

import numpy as np

from padbench.core.cause_words import SAYS, Role
from padbench.core.decode import Read
from padbench.core.findings import Fact
from padbench.core.levels import HIGH, LOW
from padbench.core.pad import PadModel
from padbench.core.sentences import filled
from padbench.core.timeline import Timeline
from padbench.core.units import show
from padbench.core.wire_names import CABLE_DATA, PAD_CLOCK, PAD_LOAD
from padbench.cosim.faults import FaultyRegister, masking_faults, offer_faults, pad_faults
from padbench.cosim.reader import StrobeProblem
from padbench.scenarios import Script
from padbench.scenarios.script import Bits
from padbench.trials.scenario_run import ScenarioRun

_MOST = 3
_SURE_ENOUGH = 0.5
"""A partly matching fault must explain this part of what a sound register does not."""

_FEW_WRONG = 0.6
"""One button masks another in a quarter of all states."""

_SOUND = FaultyRegister().reads


@dataclass(frozen=True, slots=True)
class Cause:
    """A cause by id, and the part of all reads that it explains (0 to 1); ``like`` are faults of a
    soldered pad that read the same, in words (`padbench.cosim.physical`)."""

    role: Role
    id: str
    explains: float = 1.0
    facts: Mapping[str, Fact] = field(default_factory=dict)
    like: tuple[str, ...] = ()

    @property
    def says(self) -> str:
        """The cause in a sentence; ``KeyError`` for an id without one, or a missing fact."""
        return filled(SAYS[self.role][self.id], self.facts)


Runs = Sequence[tuple[Script, Sequence[Read]]]
Given = Callable[[Script, PadModel], Iterator[Bits]]


def likely_causes(runs: Runs, pad: PadModel) -> tuple[Cause, ...]:
    """At most three causes for a pad, the likeliest first; none if a sound pad explains it all."""
    sound = _explained(_SOUND, runs, pad, 0.0)
    if sound == 1.0:
        return ()
    no_level = _no_level(runs, pad)
    if no_level is not None:
        return (no_level,)
    asleep = _asleep(runs, pad)
    if asleep is not None:
        return (asleep,)
    causes: list[Cause] = []
    for fault in chain(pad_faults(pad), masking_faults(pad) if sound > _FEW_WRONG else ()):
        needed = 1.0 if any(cause.explains == 1.0 for cause in causes) else _SURE_ENOUGH
        share = _explained(fault.gives, runs, pad, needed)
        if share > sound:
            causes.append(Cause("pad", fault.id, round(share, 4), fault.facts))
    exact = [cause for cause in causes if cause.explains == 1.0]
    if exact:
        return tuple(exact[:_MOST])
    floor = sound + _SURE_ENOUGH * (1 - sound)
    partly = [cause for cause in causes if cause.explains > floor]
    return tuple(sorted(partly, key=lambda cause: -cause.explains)[:_MOST])


def _no_level(runs: Runs, pad: PadModel) -> Cause | None:
    """The data line at no level in half of the wrong reads: that is the fault, not the order."""
    wrong, without, early = 0, 0, False
    for read, bits, asked in _beside(_SOUND, runs, pad):
        if _agree(read.bits, bits, asked):
            continue
        wrong += 1
        undecided = [
            place
            for place, (bit, want) in enumerate(zip(read.bits, bits, strict=False))
            if bit is None and want is not None
        ]
        without += bool(undecided)
        stopped = len(read.clock_rises) > len(read.samples)
        early = early or (not stopped and any(place < pad.stages for place in undecided))
    if 2 * without <= wrong:
        return None
    return Cause("pad", "unknown-level" if early else "serial-open", round(without / wrong, 4))


def _asleep(runs: Runs, pad: PadModel) -> Cause | None:
    """Every wrong read comes after a longer pause than any right one."""
    wrong, right = list[int](), list[int]()
    for script, reads in runs:
        rows = zip(reads, _SOUND(script, pad), script.expected, strict=False)
        before: int | None = None
        for read, bits, expected in rows:
            if before is not None:
                agrees = _agree(read.bits, bits, expected.bits)
                (right if agrees else wrong).append(read.start_ps - before)
            elif not _agree(read.bits, bits, expected.bits):
                return None
            before = read.latch_end_ps
    if not wrong or min(wrong) <= max(right, default=0):
        return None
    return Cause("pad", "sleeps", facts={"pause": show(min(wrong) * 1e-12, "s")})


def _beside(given: Given, runs: Runs, pad: PadModel) -> Iterator[tuple[Read, Bits, Bits]]:
    """Each read, what a fault would have given, and what the script asks for."""
    for script, reads in runs:
        for read, bits, expected in zip(reads, given(script, pad), script.expected, strict=False):
            yield read, bits, expected.bits


def _explained(given: Given, runs: Runs, pad: PadModel, needed: float) -> float:
    """Part of all reads that a fault predicts; 0 as soon as it cannot reach ``needed``."""
    total = sum(len(reads) for _, reads in runs)
    most_misses = (1 - needed) * total
    hits = misses = 0
    for read, bits, asked in _beside(given, runs, pad):
        if _agree(read.bits, bits, asked):
            hits += 1
        else:
            misses += 1
            if misses > most_misses:
                return 0.0
    return hits / total if total else 0.0


def _agree(got: Bits, predicted: Bits, asked: Bits) -> bool:
    """Bits that are open in the prediction, or in the script, may be anything."""
    return len(got) == len(predicted) and all(
        want is None or expected is None or bit == want
        for bit, want, expected in zip(got, predicted, asked, strict=False)
    )


def told_apart(causes: tuple[Cause, ...], runs: Sequence[ScenarioRun]) -> tuple[Cause, ...]:
    """Without those that give the same bits, but move the data line at another moment.

    A register that shifts on the wrong edge moves the line when the clock falls; one that takes
    the latch the other way up moves it while the latch is low, without any clock.
    """
    ids = {cause.id for cause in causes}
    drop: set[str] = set()
    if {"wrong-edge", "one-bit-early"} <= ids:
        low = _moves(runs, PAD_CLOCK, LOW) > _moves(runs, PAD_CLOCK, HIGH)
        drop.add("one-bit-early" if low else "wrong-edge")
    if {"latch-inverted", "no-shift"} <= ids:
        low = _moves(runs, PAD_LOAD, LOW) > 0
        drop.add("no-shift" if low else "latch-inverted")
    return tuple(cause for cause in causes if cause.id not in drop)


def _moves(runs: Sequence[ScenarioRun], wire: str, level: int) -> int:
    """How often the data line moves while another wire is at a level, outside the latch if clock's.

    Moves before the first latch come from power-up and say nothing.
    """
    count = 0
    for run in runs:
        wires = run.timeline.wires
        load, moves = wires[PAD_LOAD], wires[CABLE_DATA].times[1:]
        moves = moves[moves >= load.rises()[0]] if len(load.rises()) else moves[:0]
        if wire == PAD_CLOCK:
            moves = moves[load.at(moves) != HIGH]
        count += int(np.count_nonzero(wires[wire].at(moves) == level))
    return count


def reader_causes(
    runs: Sequence[ScenarioRun], offered: Iterable[Sequence[tuple[int, int | None]]]
) -> tuple[Cause, ...]:
    """Likely causes for a design that plays the console: of its wires first, then of its bytes.

    ``offered`` is, run by run, when it offered a byte (picoseconds), and which.
    """
    wires, pairs, strobes = _Wires(), list[tuple[int, int | None]](), 0
    for run, strobed in zip(runs, offered, strict=False):
        wires.add(run)
        strobes += len(strobed)
        starts = [pair.read.start_ps for pair in run.reads]
        for at, byte in strobed:
            last = int(np.searchsorted(starts, at)) - 1
            if last >= 0:
                pairs.append((run.reads[last].read.byte, byte))
    causes = tuple(wires.causes())
    if causes:
        return causes
    if not strobes:
        return (Cause("reader", "no-strobe"),)
    faults = {p.fault for run in runs for p in run.problems if isinstance(p, StrobeProblem)}
    causes = offer_causes(pairs)
    if {run.name for run in runs if run.problems} == {"quick-pad"}:
        return (Cause("reader", "sample-late"), *causes)[:_MOST]
    if not causes and "differ" in faults:
        return (Cause("reader", "no-compare"),)
    if not causes and "let-go" in faults:
        return (Cause("reader", "byte-not-kept"),)
    return causes


class _Wires:
    """What the wires of a reader tell, run by run: how long each stands at the unusual level."""

    _IDLE = (
        ("latch-inverted", PAD_LOAD, HIGH),
        ("clock-inverted", PAD_CLOCK, LOW),
        ("valid-inverted", "reader.valid", HIGH),
    )

    def __init__(self) -> None:
        self.runs, self.clocks = 0, set[int]()
        self.shares = dict.fromkeys((id_ for id_, _, _ in self._IDLE), 0.0)

    def add(self, run: ScenarioRun) -> None:
        self.runs += 1
        self.clocks |= {len(pair.read.clock_rises) for pair in run.reads}
        for id_, wire, level in self._IDLE:
            self.shares[id_] += _share(run.timeline, wire, level)

    def causes(self) -> Iterator[Cause]:
        if not self.clocks:
            yield Cause("reader", "no-latch")
            return
        for id_, share in self.shares.items():
            if 2 * share > self.runs:
                yield Cause("reader", id_)
        if len(self.clocks) == 1 and self.clocks != {8}:
            yield Cause("reader", "clock-count", facts={"clocks": next(iter(self.clocks))})


def _share(timeline: Timeline, name: str, level: int) -> float:
    """The part of the whole time that a wire is at a level."""
    wire, end = timeline.wires[name], timeline.end_ps
    times = np.append(wire.times, end)
    return float(np.diff(times)[wire.levels == level].sum()) / max(1, end)


def offer_causes(pairs: Sequence[tuple[int, int | None]]) -> tuple[Cause, ...]:
    """Likely causes from (byte that was on the wire, byte that the reader offered)."""
    known = [(wire, got) for wire, got in pairs if got is not None]
    if not known or all(wire == got for wire, got in known):
        return ()
    if len({got for _, got in known}) == 1 and len({wire for wire, _ in known}) > 1:
        return (Cause("reader", "held-stuck"),)
    causes = [
        Cause("reader", fault.id, facts=fault.facts)
        for fault in offer_faults()
        if all(fault.gives(wire) == got for wire, got in known)
    ]
    earlier = [(wire, got) for (wire, _), (_, got) in pairwise(known)]
    if earlier and not causes and all(wire == got for wire, got in earlier):
        causes.append(Cause("reader", "one-poll-late"))
    return tuple(causes[:_MOST])
