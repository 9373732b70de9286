"""The bench: contacts, register, port and poller joined, run, and recorded as a timeline.

    timeline = simulate(pad, stimulus)

MyHDL allows one simulation at a time in a process; so does this. The processes are plain
generators, started by one of them: for a block or a decorated process MyHDL reads the whole call
stack and parses the source whenever one is made, which takes longer than most scenarios run, and
only what is converted has to be one.
"""

from collections.abc import Iterator
from operator import itemgetter
from typing import Any

import numpy as np
from myhdl import Signal, Simulation, _simulator, delay, intbv, join

from padbench.core import wire_names
from padbench.core.buttons import BUTTONS
from padbench.core.pad import SOUND, PadModel
from padbench.core.stimulus import Stimulus
from padbench.core.timeline import Timeline, Wire, Word
from padbench.model.contacts import contacts, first_inputs
from padbench.model.driven import (
    broken_lines,
    console_edges,
    driven_edges,
    far_end,
    within_limits,
)
from padbench.model.part import NO_LEVEL, steady_register, watched_register
from padbench.model.record import Log, now, on_change, record

_INVERTED = (1, 0, 2)


def simulate(pad: PadModel, stimulus: Stimulus, *, watch: bool = False) -> Timeline:
    """Run one stimulus on one pad and return what every wire did, names as in `core.wire_names`.

    ``watch`` asks for the watched register even where no limit can be broken.

    Raises ``ValueError`` for reads or edges out of order or a latch that begins inside another one.
    """
    known_signals = len(_simulator._signals)
    bench = _Bench(pad.as_broken(), stimulus, watch)
    simulation = Simulation(_started(bench.processes()))
    try:
        simulation.run(stimulus.end, quiet=1)
    finally:
        simulation.quit()
        # MyHDL keeps every signal ever made and clears them all after each run.
        del _simulator._signals[known_signals:]
    return bench.timeline()


def _started(processes: tuple[Iterator[Any], ...]) -> Iterator[Any]:
    yield join(*processes)


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


class _Bench:
    """What one run drives, its signals, and the records of them.

    ``sent`` is what the console drives, ``latch`` and ``clock`` are the lines at the pad's end,
    ``load_line`` the register's load, active high.
    """

    def __init__(self, pad: PadModel, stimulus: Stimulus, watch: bool) -> None:
        self.pad, self.stimulus = pad, stimulus
        driven, moves = stimulus.driven, [when for when, _ in stimulus.contacts if when]
        self.sent = sent = console_edges(stimulus.reads) if driven is None else driven_edges(driven)
        self.latch, self.clock_line = broken_lines(
            far_end(sent.latch, pad.latch_line), far_end(sent.clock, pad.clock_line), pad.defect
        )
        self.load_line = self.latch.inverted() if pad.load_inverted else self.latch
        self.levels = _serial_levels(pad, stimulus)
        self.steady = (
            not watch
            and pad.load == "transparent"
            and not pad.load_inverted
            and not pad.floating
            and pad.defect == SOUND
            and pad.first_answer is None
            and NO_LEVEL not in [level for _, level in self.levels]
            and within_limits(pad, sent, self.latch, self.clock_line, moves)
        )
        prompt = pad.answer == 0
        # Where every bit comes in time, MyHDL's delayed signal does; elsewhere see `_late_data`.
        delayed = {"delay": pad.answer} if self.steady and not prompt else {}
        self.load = Signal(bool(self.load_line.start))
        self.clock = Signal(bool(self.clock_line.start))
        self.serial = Signal(self.levels[0][1])
        self.closed = Signal(intbv(pad.stuck)[8:])
        self.inputs = Signal(intbv(first_inputs(pad))[pad.stages :])
        self.data = Signal(NO_LEVEL, **delayed)
        self.output = self.data if self.steady or prompt else Signal(NO_LEVEL)
        self.inside = Signal(NO_LEVEL)
        self.logs = {
            name: record(getattr(self, name)) for name in ("closed", "inputs", "data", "inside")
        }
        self.stages, self.doubts = Log(), Log()

    def processes(self) -> tuple[Iterator[Any], ...]:
        """Register, contacts, port and console."""
        pins = (self.load, self.clock, self.serial, self.inputs, self.output, self.stages)
        if self.steady:
            chip = steady_register(self.pad, *pins)
        else:
            chip = watched_register(self.pad, *pins, self.doubts)
        fingers = contacts(self.pad, self.stimulus.contacts, self.closed, self.inputs)
        way = () if self.output is self.data else (self._late_data(),)
        return (*chip, *fingers, self._data_input(), self._poller(), *way)

    def _data_input(self) -> Iterator[Any]:
        """Pressed is low on the line and arrives as 1 (from memory); 2, no level, stays 2."""
        line, inside = self.data, self.inside

        def inverter() -> None:
            inside.next = _INVERTED[line._val]

        return on_change(inverter, line)

    def _late_data(self) -> Iterator[Any]:
        """The line follows the register's output, as soon and as late as ``pad.answers`` says.

        A sample in between may find the old level, the new one, or neither; so from the soonest
        answer to a change until the longest the line is at no level, and a sample then is never
        taken as right.
        """
        pad, load, output, line = self.pad, self.load, self.output, self.data

        while True:
            yield output
            soonest, longest = pad.answers(bool(load._val))
            begins, settles = now() + soonest, now() + longest
            moving = False
            while now() < settles:
                if not moving and now() >= begins:
                    line.next, moving = NO_LEVEL, True
                level = output._val
                yield output, delay((settles if moving else begins) - now())
                if output._val != level:
                    settles = now() + pad.answers(bool(load._val))[1]
            line.next = output._val

    def _poller(self) -> Iterator[Any]:
        """The console as timed actions: at each time a line gets a new level."""
        moves = [
            *(
                (at, signal, (line.start + number) % 2 == 0)
                for signal, line in ((self.load, self.load_line), (self.clock, self.clock_line))
                for number, at in enumerate(line.times)
            ),
            *((at, self.serial, level) for at, level in self.levels[1:]),
        ]
        moves.sort(key=itemgetter(0))

        at = 0
        for when, line, level in moves:
            if when > at:
                yield delay(when - at)
                at = when
            line.next = level

    def timeline(self) -> Timeline:
        """All wires, words and sample moments of the run."""
        end, stages, held = self.stimulus.end, self.pad.stages, self.logs["closed"]
        closed = np.asarray(held.values)
        clock, samples = self.clock_line.wire(end), np.asarray(self.sent.samples, np.int64)
        data, inside, level = (
            _wire(self.logs["data"]),
            _wire(self.logs["inside"]),
            self.pad.defect.data,
        )
        if self.pad.dragging:
            pulled = Wire.from_arrays(held.times, (closed & self.pad.dragging) > 0)
            data, inside = (
                _held_at(wire, pulled, line) for wire, line in ((data, 0), (inside, _INVERTED[0]))
            )
        if level is not None:
            data, inside = Wire.of([(0, level)]), Wire.of([(0, _INVERTED[level])])
        return Timeline(
            end_ps=end,
            wires={
                **{
                    wire_names.contact(name): Wire.from_arrays(
                        held.times, closed >> (7 - place) & 1
                    )
                    for place, name in enumerate(BUTTONS)
                },
                wire_names.PAD_LOAD: self.load_line.wire(end),
                wire_names.PAD_CLOCK: clock,
                wire_names.PAD_SERIAL: Wire.of(self.levels),
                wire_names.CABLE_LATCH: self.latch.wire(end),
                wire_names.CABLE_CLOCK: clock,
                wire_names.CABLE_DATA: data,
                wire_names.CONSOLE_LATCH: self.sent.latch.wire(end),
                wire_names.CONSOLE_CLOCK: self.sent.clock.wire(end),
                wire_names.CONSOLE_DATA: inside,
            },
            words={
                wire_names.CONTACTS_HELD: _word(8, held),
                wire_names.PAD_INPUTS: _word(stages, self.logs["inputs"]),
                wire_names.PAD_STAGES: self._stages(),
            },
            events={wire_names.CONSOLE_SAMPLE: samples[samples <= end]},
            notes=self.stimulus.notes,
        )

    def _stages(self) -> Word:
        """The register's content; unknown before the first load and where a stage is in doubt."""
        values: list[int | None] = list(self.stages.values)
        if self.doubts.values:
            doubts = zip(values, self.doubts.values, strict=True)
            values = [None if doubt else value for value, doubt in doubts]
        times = [0, *self.stages.times]
        return Word.of(self.pad.stages, zip(times, [None, *values], strict=True))


def _wire(log: Log) -> Wire:
    return Wire.from_arrays(log.times, log.values)


def _held_at(wire: Wire, pulled: Wire, level: int) -> Wire:
    """The same, at a level for as long as something pulls it there."""
    times = np.union1d(wire.times, pulled.times)
    return Wire.from_arrays(times, np.where(pulled.at(times), level, wire.at(times)))


def _word(width: int, log: Log) -> Word:
    return Word.of(width, zip(log.times, log.values, strict=True))
