"""Faults that designs have, and the reads that a design with one of them gives.

    for fault in pad_faults(pad):
        fault.id, [*fault.gives(script, pad)]

What people really get wrong with a register is a few words of data here; a script is played on it
bit by bit, without delays. Comparing what was read with what each fault gives is how a likely cause
is found. `SAYS` has the sentences of all causes that are ever named; its fields are filled with a
fault's facts, as in `padbench.core.sentences`.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from itertools import combinations, permutations
from operator import and_, or_
from typing import Generic, Literal, TypeVar

from padbench.core.buttons import BUTTONS
from padbench.core.findings import Fact
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

        FaultyRegister(edge="fall").reads(script, pad)

    ``loads``: what it makes of the inputs' word; ``longer``: so many stages more. ``stuck`` is
    (mask, value) of stages that never change. ``output`` counts back from the last stage.
    ``serial``: a level, or "ring" for the register's own output. ``no_extra``: a clock that comes
    too soon after another is lost. ``remembers``: what was low in the load before is low again.
    """

    load: Literal["transparent", "synchronous", "rise", "fall", "never"] = "transparent"
    load_inverted: bool = False
    edge: Literal["rise", "fall", "both", "never"] = "rise"
    skip_first: bool = False
    loads: Callable[[int], int] | None = None
    longer: int = 0
    stuck: tuple[int, int] = (0, 0)
    output: int = 0
    late: bool = False
    data_inverted: bool = False
    serial: int | str = "as built"
    no_extra: bool = False
    remembers: bool = False

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
        self.width = pad.stages + fault.longer
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
        word = self.loaded = self.word
        if self.fault.remembers:
            word &= self.past
        loads = self.fault.loads
        self.content, self.known = word if loads is None else loads(word), self.full

    def _shift(self) -> None:
        serial: int | None = self.serial
        if isinstance(self.fault.serial, int):
            serial = self.fault.serial
        elif self.fault.serial == "ring":
            serial = None if self.out is None else int(self.out)
        self.content = (self.content << 1 | (serial or 0)) & self.full
        self.known = (self.known << 1 | (serial is not None)) & self.full

    def _show(self) -> None:
        mask, value = self.fault.stuck
        self.content = self.content & ~mask | value
        self.known |= mask
        place = self.width - 1 - self.fault.output
        self.out = bool(self.content >> place & 1) if self.known >> place & 1 else None


Gives = TypeVar("Gives", bound=Callable[..., object])


@dataclass(frozen=True)
class Fault(Generic[Gives]):
    """A fault by its id; what it ``gives``, and the facts for its sentence.

    Of a pad ``gives(script, pad)`` are the bits of each read, None is not known; of a reader
    ``gives(byte)`` is what it offers of a byte on the wire.
    """

    id: str
    gives: Gives
    facts: Mapping[str, Fact] = field(default_factory=dict)


PadFault = Fault[Callable[[Script, PadModel], Iterator[Bits]]]
OfferFault = Fault[Callable[[int], int]]


def pad_faults(pad: PadModel) -> Iterable[PadFault]:
    """Those of a pad, the commonest first."""
    n = pad.stages
    every = (1 << n) - 1
    names = {stage - 1: BUTTONS[7 - bit.bit_length() + 1] for bit, stage in pad.stage_of}
    named = [names.get(place, f"input {place + 1}") for place in range(n)]
    for id_, register in {
        "order-reversed": FaultyRegister(loads=partial(_reordered, range(n)[::-1])),
        "data-inverted": FaultyRegister(data_inverted=True),
        "buttons-inverted": FaultyRegister(loads=every.__xor__),
        "latch-inverted": FaultyRegister(load_inverted=True),
        "wrong-edge": FaultyRegister(edge="fall"),
        "both-edges": FaultyRegister(edge="both"),
        "synchronous-load": FaultyRegister(load="synchronous"),
        "load-on-rise": FaultyRegister(load="rise"),
        "one-bit-late": FaultyRegister(late=True),
        "one-bit-early": FaultyRegister(output=1),
        "first-clock-lost": FaultyRegister(skip_first=True),
        "no-shift": FaultyRegister(edge="never"),
        "no-load": FaultyRegister(load="never"),
        "data-low": FaultyRegister(stuck=(every, 0)),
        "data-high": FaultyRegister(stuck=(every, every)),
    }.items():
        yield Fault(id_, register.reads)
    shorter = FaultyRegister(loads=lambda word: word >> 1, longer=-1)
    yield Fault("stages-missing", shorter.reads, {"stages": n - 1})
    for level in (1, 0):
        for end, loads in (
            ("before the first", (level << n).__or__),
            ("after the last", partial(_late, level)),
        ):
            register = FaultyRegister(loads=loads, longer=1)
            yield Fault("stages-extra", register.reads, {"stages": n + 1, "place": end})
    for id_, serial in (("serial-high", 1), ("serial-low", 0), ("serial-ring", "ring")):
        yield Fault(id_, FaultyRegister(serial=serial).reads)
    yield Fault("extra-clocks-lost", FaultyRegister(no_extra=True).reads)
    yield Fault("remembers", FaultyRegister(remembers=True).reads)
    for low, high in combinations(range(n), 2):
        register = FaultyRegister(loads=partial(_swapped, high, low))
        yield Fault("order-swapped", register.reads, {"names": (named[high], named[low])})
    for place in range(n):
        for level, state, word in ((0, "pressed", "low"), (1, "not pressed", "high")):
            bit = 1 << place
            inputs = FaultyRegister(loads=bit.__or__ if level else (~bit).__and__)
            stages = FaultyRegister(stuck=(bit, level << place))
            yield Fault("input-stuck", inputs.reads, {"name": named[place], "state": state})
            yield Fault("stage-stuck", stages.reads, {"stage": place + 1, "level": word})


def masking_faults(pad: PadModel) -> Iterable[PadFault]:
    """One button masks another: many, and each of them is wrong in few reads only."""
    names = {stage - 1: BUTTONS[7 - bit.bit_length() + 1] for bit, stage in pad.stage_of}
    for pair in permutations(sorted(names, reverse=True), 2):
        register = FaultyRegister(loads=partial(_masked, *pair))
        yield Fault("masked", register.reads, {"names": tuple(names[place] for place in pair)})


def offer_faults() -> Iterable[OfferFault]:
    """Those of a reader, the commonest first."""
    yield Fault("order-reversed", lambda byte: int(f"{byte:08b}"[::-1], 2))
    yield Fault("data-inverted", lambda byte: ~byte & 0xFF)
    for level in (1, 0):
        yield Fault("one-bit-late", partial(_lost, level))
    for level in (1, 0):
        yield Fault("one-bit-early", partial(_early, level))
    for place, name in enumerate(BUTTONS):
        for change, state in ((and_, "not pressed"), (or_, "pressed")):
            bit = 128 >> place
            stuck = partial(change, ~bit if change is and_ else bit)
            yield Fault("bit-stuck", stuck, {"name": name, "state": state})
    for high, low in combinations(range(7, -1, -1), 2):
        names = (BUTTONS[7 - high], BUTTONS[7 - low])
        yield Fault("order-swapped", partial(_swapped, high, low), {"names": names})


def _reordered(order: Iterable[int], word: int) -> int:
    return sum((word >> come & 1) << place for place, come in enumerate(order))


def _masked(one: int, other: int, word: int) -> int:
    """While the first of two inputs is low, the other is high."""
    return word | (~word >> one & 1) << other


def _late(level: int, word: int) -> int:
    return word << 1 | level


def _lost(level: int, byte: int) -> int:
    return byte << 1 & 0xFF | level


def _early(level: int, byte: int) -> int:
    return byte >> 1 | level << 7


def _swapped(high: int, low: int, byte: int) -> int:
    return byte ^ ((byte >> high ^ byte >> low) & 1) * (1 << high | 1 << low)
