"""One case as a wave: the MyHDL pad, driven by the routine's own accesses of the port.

    timeline = case_wave(routine, console, pad, held=0, period=432, phase=18)

Latch and clock are what the bus does, at the console's true clock: the latch follows the end of
the write cycle; the clock is low during a read of the port and rises with its end, where the
program also takes the data line as it stood before that edge (from memory). Repeated reads that
join hold the clock low until the sample is fetched; where each counts, it is low in the second
half of each.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace
from fractions import Fraction

import numpy as np

from padbench.buttons import spelled
from padbench.console.fetch import Console, SampleFetch
from padbench.console.routine import DEFAULT_LIMIT, Routine
from padbench.console.run import Run, held_by, run_case
from padbench.model.bench import simulate
from padbench.pad import PadModel
from padbench.stimulus import DrivenLines, Stimulus
from padbench.timeline import Timeline, Wire, Word

__all__ = ["STOPPED", "case_wave", "driven_by"]

STOPPED = "read of the port stopped"
"""How the note of a stopped read begins."""

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
    fetch = None if period is None else SampleFetch(period, phase)
    run = run_case(routine, console, held, fetch=fetch, limit=limit)
    timing = console.timing

    def ps(cycle: Fraction | int) -> int:
        return timing.to_ps(cycle + _LEAD)

    state = held_by(port, held) | pad.stuck
    stimulus = Stimulus(
        contacts=((0, state),),
        reads=(),
        end=ps(run.cycles + _LEAD),
        notes=_notes(run, ps, port, state),
        driven=driven_by(run, console, port),
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


def driven_by(run: Run, console: Console, port: int) -> DrivenLines:
    """Latch and clock of one port as a run drove them, shifted by the lead-in of a wave."""
    latch: list[int] = []
    clock: list[int] = []
    samples: list[int] = []
    level = 0

    def ps(cycle: Fraction | int) -> int:
        return console.timing.to_ps(cycle + _LEAD)

    for access in run.accesses:
        if access.kind == "latch":
            if access.value != level:
                level = access.value
                latch.append(ps(access.cycle + 1))
        elif access.port == port:
            first = access.cycle - access.stolen
            if access.extra == 1:
                clock += (ps(first), ps(access.cycle - 1))
            else:
                clock += _halves(ps, range(first, first + access.extra))
            # A read right behind another one needs a moment of high before it.
            early = bool(clock) and clock[-1] >= ps(access.cycle)
            start = access.cycle + Fraction(1, 2) if early else Fraction(access.cycle)
            clock += (ps(start), ps(access.cycle + 1))
            samples.append(ps(access.cycle + 1))
    return DrivenLines(tuple(latch), tuple(clock), tuple(samples))


def _halves(ps: Callable[[Fraction | int], int], cycles: Iterable[int]) -> list[int]:
    return [ps(at) for cycle in cycles for at in (cycle + Fraction(1, 2), Fraction(cycle + 1))]


def _notes(
    run: Run, ps: Callable[[Fraction | int], int], port: int, state: int
) -> tuple[tuple[int, str], ...]:
    notes = [(0, f"held: {spelled(state)}")]
    for access in run.accesses:
        if access.stolen and access.port == port:
            said = f"{STOPPED} for {access.stolen} cycles, "
            said += f"{access.extra} clock(s) too many"
            notes.append((ps(access.cycle - access.stolen), said))
    notes += [(ps(p.reads[-1] + 1), f"pass read: {spelled(p.byte)}") for p in run.passes[port]]
    if port < len(run.results):
        notes.append((ps(run.cycles), f"handed on: {spelled(run.results[port])}"))
    return tuple(sorted(notes))
