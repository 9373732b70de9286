"""The bench: contacts, register, port and poller joined, run, and recorded as a timeline.

    timeline = simulate(pad, stimulus)

MyHDL allows one simulation at a time in a process; so does this.
"""

from collections.abc import Iterable, Sequence
from itertools import groupby
from operator import itemgetter
from typing import Any

import numpy as np
from myhdl import Signal, Simulation, block, delay, instance, intbv

from padbench.buttons import BUTTONS
from padbench.model.contacts import contacts, inputs_word
from padbench.model.part import NO_LEVEL, steady_register, watched_register
from padbench.model.port import data_input
from padbench.model.program import Edges, LineEdges, console_edges, pad_edges, within_limits
from padbench.model.record import Log, record
from padbench.pad import PadModel
from padbench.stimulus import ScriptedRead, Stimulus
from padbench.timeline import UNKNOWN, Timeline, Wire, Word

__all__ = ["simulate"]

Actions = list[tuple[int, list[tuple[Any, int]]]]


def simulate(pad: PadModel, stimulus: Stimulus, *, watch: bool = False) -> Timeline:
    """Run one stimulus on one pad and return what every wire did.

    ``watch`` asks for the watched register even where no limit can be broken.

    Raises ``ValueError`` for reads out of order or a latch that begins inside another one.
    """
    console = console_edges(stimulus.reads)
    latch, clock = pad_edges(pad, console)
    serials = _serial_levels(pad, stimulus.reads)
    steady = (
        not watch
        and pad.load == "transparent"
        and not pad.load_inverted
        and not pad.floating
        and all(level is not None for _, level in serials)
        and stimulus.contacts[:1] == tuple((0, byte) for _, byte in stimulus.contacts[:1])
        and within_limits(pad, latch, clock, [when for when, _ in stimulus.contacts[1:]])
    )
    return _Run(pad, stimulus, console, latch, clock, serials).timeline(steady=steady)


def _serial_levels(pad: PadModel, reads: Sequence[ScriptedRead]) -> list[tuple[int, int | None]]:
    """(picoseconds, level) of the serial input; None is left open."""
    levels: list[tuple[int, int | None]] = [(0, pad.serial)]
    for read in reads:
        level = pad.serial if isinstance(read.serial, str) else read.serial
        if level != levels[-1][1]:
            levels.append((read.start, level))
    return levels


class _Run:
    """Signals of one simulation and the timeline that is made of their records."""

    def __init__(
        self,
        pad: PadModel,
        stimulus: Stimulus,
        console: Edges,
        latch: LineEdges,
        clock: LineEdges,
        serials: list[tuple[int, int | None]],
    ) -> None:
        self.pad, self.stimulus, self.console, self.serials = pad, stimulus, console, serials
        self.latch, self.clock = latch, clock
        load_edges = latch
        if pad.load_inverted:
            load_edges = LineEdges(1 - latch.start, [(at, 1 - level) for at, level in latch.edges])
        self.load = Signal(bool(load_edges.start))
        self.clock_pin = Signal(bool(clock.start))
        self.serial = Signal(_signal_level(serials[0][1]))
        self.closed = Signal(intbv(pad.stuck)[8:])
        self.inputs = Signal(intbv(inputs_word(pad, pad.stuck))[pad.stages :])
        self.data = Signal(NO_LEVEL, delay=pad.answer) if pad.answer else Signal(NO_LEVEL)
        self.inside = Signal(NO_LEVEL)
        self.stages: Log = []
        self.doubts: Log = []
        self.program = _merge(
            (load_edges.edges, self.load),
            (clock.edges, self.clock_pin),
            ([(at, _signal_level(level)) for at, level in serials[1:]], self.serial),
        )

    def timeline(self, *, steady: bool) -> Timeline:
        logs = {
            "data": record(self.data),
            "inside": record(self.inside),
            "closed": record(self.closed),
            "inputs": record(self.inputs),
        }
        simulation = Simulation(_bench(self, steady))
        try:
            simulation.run(self.stimulus.end, quiet=1)
        finally:
            simulation.quit()
        return self._assemble(logs)

    def _assemble(self, logs: dict[str, Log]) -> Timeline:
        pad, end = self.pad, self.stimulus.end
        closed = logs["closed"]
        full = (1 << pad.stages) - 1
        doubts = dict(self.doubts)
        content = [(0, None), *((t, None if doubts.get(t) else v) for t, v in self.stages)]
        wires = {
            f"contacts.{name}": Wire.of((t, value >> (7 - place) & 1) for t, value in closed)
            for place, name in enumerate(BUTTONS)
        }
        latch, clock = _wire(self.latch, end), _wire(self.clock, end)
        load = Wire(latch.times, 1 - latch.levels) if pad.load_inverted else latch
        wires |= {
            "pad.load": load,
            "pad.clock": clock,
            "pad.serial": Wire.of((t, _timeline_level(level)) for t, level in self.serials),
            "cable.latch": latch,
            "cable.clock": clock,
            "cable.data": Wire.of(logs["data"]),
            "console.latch": _wire(self.console.latch, end),
            "console.clock": _wire(self.console.clock, end),
            "console.data": Wire.of(logs["inside"]),
        }
        words = {
            "contacts.held": Word.of(8, closed),
            "pad.inputs": Word.of(pad.stages, logs["inputs"]),
            "pad.stages": Word.of(
                pad.stages, ((t, None if v is None else v & full) for t, v in content)
            ),
        }
        samples = np.asarray([t for t in self.console.samples if t <= end], np.int64)
        return Timeline(end, wires, words, {"console.sample": samples}, self.stimulus.notes)


@block
def _bench(run: _Run, steady: bool) -> Any:
    pins = (run.load, run.clock_pin, run.serial, run.inputs, run.data)
    if steady:
        chip = steady_register(run.pad, *pins, run.stages)
    else:
        chip = watched_register(run.pad, *pins, run.stages, run.doubts)
    fingers = contacts(run.pad, run.stimulus.contacts, run.closed, run.inputs)
    port = data_input(run.data, run.inside)
    console = _poller(run.program)
    return chip, fingers, port, console


@block
def _poller(program: Actions) -> Any:
    """The console as timed actions: at each time some lines get new levels."""

    @instance
    def play() -> Any:
        at = 0
        for when, actions in program:
            if when > at:
                yield delay(when - at)
                at = when
            for line, level in actions:
                line.next = level
        # A process that ends would let MyHDL stop early; the run's length is set from outside.

    return play


def _merge(*lines: tuple[Iterable[tuple[int, int]], Any]) -> Actions:
    """All edges of several lines in time order, those at one time together."""
    edges = [(at, level, line) for changes, line in lines for at, level in changes]
    edges.sort(key=itemgetter(0))
    return [
        (at, [(line, level) for _, level, line in together])
        for at, together in groupby(edges, key=itemgetter(0))
    ]


def _wire(line: LineEdges, end: int) -> Wire:
    return Wire.of([(0, line.start), *(edge for edge in line.edges if edge[0] <= end)])


def _signal_level(level: int | None) -> int:
    return NO_LEVEL if level is None else level


def _timeline_level(level: int | None) -> int:
    return UNKNOWN if level is None else level
