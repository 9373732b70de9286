"""The bench: contacts, register, port and poller joined, run, and recorded as a timeline.

    timeline = simulate(pad, stimulus)

MyHDL allows one simulation at a time in a process; so does this. The parts are functions that
return processes rather than MyHDL blocks: a block looks through the whole call stack whenever it is
made, which takes longer than most scenarios run, and only what is converted has to be one.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from myhdl import Signal, Simulation, _simulator, delay, instance, intbv

from padbench.core.pad import SOUND, PadModel
from padbench.core.stimulus import Stimulus
from padbench.core.timeline import Timeline
from padbench.model.contacts import contacts, first_inputs
from padbench.model.edges import (
    Line,
    broken_lines,
    console_edges,
    driven_edges,
    far_end,
    within_limits,
)
from padbench.model.part import NO_LEVEL, steady_register, watched_register
from padbench.model.port import data_input, late_data
from padbench.model.record import Log, record
from padbench.model.traces import Traces, assemble

__all__ = ["simulate"]


def simulate(pad: PadModel, stimulus: Stimulus, *, watch: bool = False) -> Timeline:
    """Run one stimulus on one pad and return what every wire did, names as in `core.wires`.

    ``watch`` asks for the watched register even where no limit can be broken.

    Raises ``ValueError`` for reads or edges out of order or a latch that begins inside another one.
    """
    pad, driven = pad.as_broken(), stimulus.driven
    console = console_edges(stimulus.reads) if driven is None else driven_edges(driven)
    latch, clock = broken_lines(
        far_end(console.latch, pad.latch_line), far_end(console.clock, pad.clock_line), pad.defect
    )
    serial = _serial_levels(pad, stimulus)
    steady = (
        not watch
        and pad.load == "transparent"
        and not pad.load_inverted
        and not pad.floating
        and pad.defect == SOUND
        and pad.first_answer is None
        and NO_LEVEL not in [level for _, level in serial]
        and within_limits(
            pad, console, latch, clock, [when for when, _ in stimulus.contacts if when]
        )
    )
    known_signals = len(_simulator._signals)
    load = latch.inverted() if pad.load_inverted else latch
    pins = _Pins.of(pad, load, clock, serial[0][1], steady)
    traces = Traces(
        console=console,
        latch=latch,
        clock=clock,
        load=load,
        serial=serial,
        contacts=record(pins.closed),
        inputs=record(pins.inputs),
        data=record(pins.data),
        inside=record(pins.inside),
        stages=Log(),
        doubts=Log(),
    )
    # MyHDL looks through the whole call stack for each process that is made; in a thread of its own
    # that stack is short, whoever calls.
    with ThreadPoolExecutor(1) as shallow:
        processes = shallow.submit(_processes, pad, stimulus, pins, traces, steady).result()
    simulation = Simulation(*processes)
    try:
        simulation.run(stimulus.end, quiet=1)
    finally:
        simulation.quit()
        # MyHDL keeps every signal ever made and clears them all after each run.
        del _simulator._signals[known_signals:]
    return assemble(pad, stimulus, traces)


def _serial_levels(pad: PadModel, stimulus: Stimulus) -> list[tuple[int, int]]:
    """(picoseconds, level) of the serial input; NO_LEVEL is left open."""
    wanted = [
        (read.start, pad.serial if isinstance(read.serial, str) else read.serial)
        for read in stimulus.reads
    ]
    if stimulus.driven is not None:
        wanted += stimulus.driven.serial
    levels = [(0, NO_LEVEL if pad.serial is None else pad.serial)]
    for start, wish in wanted:
        level = NO_LEVEL if wish is None else wish
        if level != levels[-1][1]:
            levels.append((start, level))
    return levels


@dataclass(frozen=True, slots=True)
class _Pins:
    """The signals of one simulation."""

    load: Any
    clock: Any
    serial: Any
    closed: Any
    inputs: Any
    output: Any
    data: Any
    inside: Any

    @classmethod
    def of(cls, pad: PadModel, load: Line, clock: Line, serial: int, steady: bool) -> "_Pins":
        prompt = pad.answer == 0
        # Where every bit comes in time, MyHDL's delayed signal does; elsewhere see `late_data`.
        line = Signal(NO_LEVEL, delay=pad.answer) if steady and not prompt else Signal(NO_LEVEL)
        return cls(
            load=Signal(bool(load.start)),
            clock=Signal(bool(clock.start)),
            serial=Signal(serial),
            closed=Signal(intbv(pad.stuck)[8:]),
            inputs=Signal(intbv(first_inputs(pad))[pad.stages :]),
            output=line if steady or prompt else Signal(NO_LEVEL),
            data=line,
            inside=Signal(NO_LEVEL),
        )


def _processes(
    pad: PadModel, stimulus: Stimulus, pins: _Pins, traces: Traces, steady: bool
) -> tuple[Any, ...]:
    chip_pins = (pins.load, pins.clock, pins.serial, pins.inputs, pins.output)
    way: tuple[Any, ...] = ()
    if pins.output is not pins.data:
        way = (late_data(pad, pins.load, pins.output, pins.data, NO_LEVEL),)
    if steady:
        chip = steady_register(pad, *chip_pins, traces.stages)
    else:
        chip = watched_register(pad, *chip_pins, traces.stages, traces.doubts)
    fingers = contacts(pad, stimulus.contacts, pins.closed, pins.inputs)
    port = data_input(pins.data, pins.inside)
    console = _poller(pins, traces)
    return (chip, fingers, port, console, *way)


def _poller(pins: _Pins, traces: Traces) -> Any:
    """The console as timed actions: at each time a line gets a new level."""
    serial = traces.serial[1:]
    times = np.asarray([*traces.load.times, *traces.clock.times, *(at for at, _ in serial)])
    counts = len(traces.load.times), len(traces.clock.times), len(serial)
    lines = [pins.load] * counts[0] + [pins.clock] * counts[1] + [pins.serial] * counts[2]
    levels = [
        *((traces.load.start + n) % 2 == 0 for n in range(counts[0])),
        *((traces.clock.start + n) % 2 == 0 for n in range(counts[1])),
        *(level for _, level in serial),
    ]
    order = np.argsort(times, kind="stable").tolist()
    when_each = times.tolist()

    @instance
    def play() -> Any:
        at = 0
        for place in order:
            when = when_each[place]
            if when > at:
                yield delay(when - at)
                at = when
            lines[place].next = levels[place]

    return play
