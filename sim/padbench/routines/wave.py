"""One case as a wave: the MyHDL pad, driven by the routine's own accesses of the port.

    timeline = case_wave(routine, console, pad, held=0, period=432, phase=18)

Latch and clock are what the bus does, at the console's true clock: see `padbench.routines.edges`.
"""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import numpy as np

from padbench.core.buttons import spelled
from padbench.core.pad import PadModel
from padbench.core.stimulus import Stimulus
from padbench.core.timeline import Timeline, Wire, Word
from padbench.model.bench import simulate
from padbench.routines.edges import LineEdges
from padbench.routines.fetch import Console, SampleFetch
from padbench.routines.routine import DEFAULT_LIMIT, Routine
from padbench.routines.run import Run, held_by, run_case

__all__ = ["STOPPED", "case_wave"]

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

    lines = LineEdges(timing, port)
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
