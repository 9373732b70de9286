"""A register with something wrong: what a console would read from it, bit by bit, without delays.

    FaultyRegister(edge="fall").reads(script, pad)

What people really get wrong is a few words of data here; `reads` plays a script on it. Comparing
what was read with what each fault gives is how a likely cause is found.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from padbench.core.pad import PadModel
from padbench.cosim.hdl_scenarios import edges_of
from padbench.cosim.wires import passed_words, serial_levels
from padbench.scenarios import Script
from padbench.scenarios.script import Bits

_SAMPLE, _SERIAL, _INPUTS, _LATCH, _CLOCK = range(5)
"""Order of what happens at one time: a sample at the moment of an edge comes before it."""


@dataclass(frozen=True, slots=True)
class FaultyRegister:
    """What is wrong with a register; the defaults are one that has no fault.

    ``swap``: bits of the inputs in another order (entry n is where stage n + 1 loads from).
    ``force_inputs`` and ``force_stages`` are (mask, value) of bits that never change.
    ``first`` and ``last`` add a stage there that loads this level; ``drop`` takes the first one
    away. ``output`` counts back from the last stage. ``serial``: a level, or "ring" for the
    register's own output. ``no_extra``: a clock that comes too
    soon after another is lost. ``remembers``: what was
    low in the load before is low again. ``masks``: while the first of two inputs is low, the other
    is high.
    """

    load: Literal["transparent", "synchronous", "rise", "fall", "never"] = "transparent"
    load_inverted: bool = False
    edge: Literal["rise", "fall", "both", "never"] = "rise"
    skip_first: bool = False
    swap: tuple[int, ...] = ()
    inputs_inverted: bool = False
    force_inputs: tuple[int, int] = (0, 0)
    force_stages: tuple[int, int] = (0, 0)
    first: int | None = None
    last: int | None = None
    drop: bool = False
    output: int = 0
    late: bool = False
    data_inverted: bool = False
    serial: int | str = "as built"
    no_extra: bool = False
    remembers: bool = False
    masks: tuple[int, int] | None = None

    def reads(self, script: Script, pad: PadModel) -> Iterator[Bits]:
        """The bits of each read of a script, in order: True is pressed, None is not known."""
        chip = _Chip(self, pad)
        if self.no_extra:
            timing = script.stimulus.reads[0].timing
            # Extra clocks come in less than 0.6 of the usual time, see `core.decode`.
            chip.soonest = (timing.clock_low + timing.clock_high) * 6 // 10
        starts = [read.start for read in script.stimulus.reads]
        bits: list[bool | None] = []
        place = 0
        for when, kind, value in _events(script, pad):
            # A sample belongs to the last latch that rose before it, as in the decoder.
            while place + 1 < len(starts) and when > starts[place + 1]:
                yield tuple(bits)
                bits = []
                place += 1
            if kind == _SAMPLE:
                bits.append(chip.sampled())
            else:
                chip.now = when
                chip.sees(kind, value)
        yield tuple(bits)
        for _ in starts[place + 1 :]:
            yield ()


def _events(script: Script, pad: PadModel) -> list[tuple[int, int, int | None]]:
    stimulus = script.stimulus
    edges = edges_of(script)
    events: list[tuple[int, int, int | None]] = [
        *((when, _SAMPLE, None) for when in edges.samples),
        *((when, _SERIAL, level) for when, level in serial_levels(pad, stimulus.reads)),
        *((when, _INPUTS, word) for when, word in passed_words(pad, stimulus)),
        *((when, _LATCH, (count + 1) % 2) for count, when in enumerate(edges.latch.times)),
        *((when, _CLOCK, count % 2) for count, when in enumerate(edges.clock.times)),
    ]
    events.sort(key=lambda event: event[:2])
    return [event for event in events if event[0] <= stimulus.end]


class _Chip:
    """The register; ``known`` has a bit for each stage whose content is known."""

    def __init__(self, fault: FaultyRegister, pad: PadModel) -> None:
        self.fault = fault
        self.inputs = pad.stages
        self.width = (
            pad.stages + (fault.first is not None) + (fault.last is not None) - int(fault.drop)
        )
        self.full = (1 << self.width) - 1
        self.content, self.known = 0, 0
        self.word = (1 << pad.stages) - 1
        self.serial: int | None = pad.serial
        self.latch, self.clock, self.skip = 0, 1, False
        self.before: bool | None = None
        self.out: bool | None = None
        self.loaded = self.past = self.word
        self.now = self.soonest = 0
        self.rose = -(2**61)

    def sampled(self) -> bool | None:
        level = self.before if self.fault.late else self.out
        return None if level is None else (not level) != self.fault.data_inverted

    def sees(self, kind: int, value: int | None) -> None:
        if kind == _SERIAL:
            self.serial = value
        elif kind == _INPUTS:
            assert value is not None
            self.word = value
            if self.fault.load == "transparent" and self._loading():
                self._load()
        elif kind == _LATCH:
            assert value is not None
            was = self._loading()
            self.latch = value
            self._latch_moves(was)
        else:
            assert value is not None
            self.clock = value
            self._clock_moves()
        self._show()

    def _loading(self) -> bool:
        return bool(self.latch) != self.fault.load_inverted

    def _latch_moves(self, was: bool) -> None:
        loading, load = self._loading(), self.fault.load
        if loading and not was:
            self.skip = self.fault.skip_first
            self.past = self.loaded
        if (load == "transparent" and loading) or (load == "rise" and loading and not was):
            self._load()
        if load == "fall" and was and not loading:
            self._load()

    def _clock_moves(self) -> None:
        edge = self.fault.edge
        if edge == "never" or (edge != "both" and (edge == "rise") != bool(self.clock)):
            return
        since, self.rose = self.now - self.rose, self.now
        if since < self.soonest:
            return
        self.before = self.out
        if self._loading() and self.fault.load == "synchronous":
            self._load()
        elif not self._loading():
            if self.skip:
                self.skip = False
                return
            self._shift()

    def _load(self) -> None:
        fault, word = self.fault, self.word
        self.loaded = word
        if fault.remembers:
            word &= self.past
        if fault.masks and not word >> fault.masks[0] & 1:
            word |= 1 << fault.masks[1]
        if fault.swap:
            word = sum((word >> come & 1) << place for place, come in enumerate(fault.swap))
        if fault.inputs_inverted:
            word ^= (1 << self.inputs) - 1
        mask, value = fault.force_inputs
        word = word & ~mask | value
        if fault.drop:
            word >>= 1
        if fault.first is not None:
            word = word << 1 | fault.first
        if fault.last is not None:
            word |= fault.last << self.width - 1
        self.content, self.known = word, self.full

    def _shift(self) -> None:
        serial: int | None = self.serial
        if isinstance(self.fault.serial, int):
            serial = self.fault.serial
        elif self.fault.serial == "ring":
            serial = None if self.out is None else int(self.out)
        self.content = (self.content << 1 | (serial or 0)) & self.full
        self.known = (self.known << 1 | (serial is not None)) & self.full

    def _show(self) -> None:
        mask, value = self.fault.force_stages
        self.content = self.content & ~mask | value
        self.known |= mask
        place = self.width - 1 - self.fault.output
        self.out = bool(self.content >> place & 1) if self.known >> place & 1 else None
