"""One case as a wave: the MyHDL pad, driven by the routine's own accesses of the port.

    timeline = case_wave(routine, console, pad, held=0, period=432, phase=18)

Latch and clock are what the bus does, at the console's true clock: see `LineEdges`.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from fractions import Fraction

import numpy as np

from padbench.core.buttons import spelled
from padbench.core.pad import PadModel
from padbench.core.sentences import counted
from padbench.core.stimulus import DrivenLines, Stimulus
from padbench.core.timeline import Timeline, Wire, Word
from padbench.routines.console import Console, SampleFetch
from padbench.routines.routine import DEFAULT_LIMIT, Routine
from padbench.routines.run import Access, RoutineRun, held_by, run_case

_LEAD = 8
"""CPU cycles before the first and after the last of the routine."""


def case_wave(
    routine: Routine,
    console: Console,
    pad: PadModel,
    *,
    held: int,
    period: int | None = None,
    phase: int = 0,
    port: int = 0,
    limit: int = DEFAULT_LIMIT,
) -> Timeline:
    """The wires of one port (0 or 1) in one case; without a period, undisturbed.

    Beside the wires of every simulation there are ``cpu.request`` (the fetch requests),
    ``cpu.stopped`` (high while cycles are stolen), ``cpu.address`` (where it was stopped) and
    ``console.byte`` (each pass as the program made it).
    """
    from padbench.model.simulation import simulate  # noqa: PLC0415 - edges alone need no simulator

    fetch = None if period is None else SampleFetch(period, phase)
    run = run_case(routine, console, held, fetch=fetch, limit=limit)
    timing = console.timing

    def ps(cycle: Fraction | int) -> int:
        return timing.to_ps(cycle + _LEAD)

    lines = LineEdges(console, port)
    lines.add(run.accesses, 0, _LEAD)
    state = held_by(port, held) | pad.stuck
    stimulus = Stimulus(
        contacts=((0, state),),
        reads=(),
        end=ps(run.cycles + _LEAD),
        notes=_notes(run, ps, port, state),
        driven=lines.driven,
    )
    timeline = simulate(pad, stimulus)
    stopped = [(0, 0)]
    for stop in run.stops:
        stopped += [(ps(stop.at), 1), (ps(stop.at + stop.stolen), 0)]
    bytes_read = [(ps(one.reads[-1] + 1), one.byte) for one in run.passes[port]]
    requests = [ps(stop.requested) for stop in run.stops]
    return replace(
        timeline,
        wires={**timeline.wires, "cpu.stopped": Wire.of(stopped)},
        words={
            **timeline.words,
            "cpu.address": Word.of(
                16, [(0, None), *((ps(stop.at), stop.address) for stop in run.stops)]
            ),
            "console.byte": Word.of(8, [(0, None), *bytes_read]),
        },
        events={**timeline.events, **({"cpu.request": np.asarray(requests)} if requests else {})},
    )


def _notes(
    run: RoutineRun, ps: Callable[[Fraction | int], int], port: int, state: int
) -> tuple[tuple[int, str], ...]:
    notes = [(0, f"held: {spelled(state)}")]
    for access in run.accesses:
        if access.stolen and access.port == port:
            notes.append((ps(access.cycle - access.stolen), stop_says(access)))
    notes += [(ps(p.reads[-1] + 1), f"pass read: {spelled(p.byte)}") for p in run.passes[port]]
    if port < len(run.results):
        notes.append((ps(run.cycles), f"handed on: {spelled(run.results[port])}"))
    return tuple(sorted(notes))


def stop_says(access: Access) -> str:
    """The note of a stopped read."""
    extra = counted(access.extra, "clock")
    return f"read of the port stopped for {counted(access.stolen, 'cycle')}, {extra} too many"


_HALF = Fraction(1, 2)


@dataclass
class LineEdges:
    """Edges of latch and clock of ``port`` (0 or 1), run after run; times in picoseconds.

        lines = LineEdges(console, port=0)
        lines.add(run.accesses, start=0)
        lines.driven

    The latch follows the end of the write cycle; the clock is low during a read of the port and
    rises with its end, where the program also takes the data line as it stood before that edge
    (from memory). Repeated reads that join hold the clock low until the sample is fetched; where
    each counts, the clock is low in the second half of every read, repeated or not (from memory).
    """

    console: Console
    port: int
    latch: list[int] = field(default_factory=list)
    clock: list[int] = field(default_factory=list)
    samples: list[int] = field(default_factory=list)
    _start: int = 0
    _lead: int = 0

    @property
    def driven(self) -> DrivenLines:
        """What has been added so far."""
        return DrivenLines(tuple(self.latch), tuple(self.clock), tuple(self.samples))

    def add(self, accesses: Iterable[Access], start: int, lead: int = 0) -> None:
        """A run whose cycle 0 comes ``lead`` cycles after ``start``; the lines stay as it ends."""
        self._start, self._lead = start, lead
        for access in accesses:
            if access.kind == "latch":
                if access.value != len(self.latch) % 2:
                    self.latch.append(self._ps(access.cycle + 1))
            elif access.port == self.port:
                first = access.cycle - access.stolen
                if access.extra == 1:
                    self._low(first, access.cycle - 1)
                else:
                    for at in range(first, first + access.extra):
                        self._low(at + _HALF, at + 1)
                begin = _HALF if self.console.clocks == "each" else 0
                self._low(access.cycle + begin, access.cycle + 1)
                self.samples.append(self.clock[-1])

    def _ps(self, cycle: Fraction | int) -> int:
        return self._start + self.console.timing.to_ps(cycle + self._lead)

    def _low(self, begin: Fraction | int, end: int) -> None:
        """A low pulse; right behind another one it needs a moment of high before it."""
        fall = self._ps(begin)
        if self.clock and self.clock[-1] >= fall:
            fall = self._ps(begin + _HALF)
        self.clock += (fall, self._ps(end))
