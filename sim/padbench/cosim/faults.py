"""Faults that designs have: an id, a sentence, and the reads that a design with one of them gives.

    for fault in pad_faults(pad):
        fault.id, fault.says, fault.reads(script, pad)

`SAYS` has the sentences of all causes that are ever named; its fields are filled with a fault's
facts, as in `padbench.core.sentences`.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from itertools import combinations, permutations
from operator import and_, or_

from padbench.core.buttons import BUTTONS
from padbench.core.findings import Fact
from padbench.core.looks import SAYS, Role
from padbench.core.pad import PadModel
from padbench.core.sentences import filled
from padbench.cosim.faulty import FaultyRegister
from padbench.scenarios import Script
from padbench.scenarios.script import Bits


def sentence(role: Role, id_: str, facts: Mapping[str, Fact]) -> str:
    """The cause for people; ``KeyError`` for an id without a sentence, or a missing fact."""
    return filled(SAYS[role][id_], facts)


@dataclass(frozen=True)
class Fault:
    """A fault of a pad; ``reads(script, pad)`` are the bits of each read, None is not known."""

    id: str
    reads: Callable[[Script, PadModel], Iterator[Bits]]
    facts: Mapping[str, Fact] = field(default_factory=dict)

    @property
    def says(self) -> str:
        """The fault in a sentence."""
        return sentence("pad", self.id, self.facts)


@dataclass(frozen=True)
class OfferFault:
    """A fault of a reader; ``offers(byte)`` is what it offers of a byte on the wire."""

    id: str
    offers: Callable[[int], int]
    facts: Mapping[str, Fact] = field(default_factory=dict)

    @property
    def says(self) -> str:
        """The fault in a sentence."""
        return sentence("reader", self.id, self.facts)


def pad_faults(pad: PadModel) -> Iterable[Fault]:
    """Those of a pad, the commonest first."""
    n = pad.stages
    every = (1 << n) - 1
    names = {stage - 1: BUTTONS[7 - bit.bit_length() + 1] for bit, stage in pad.stage_of}
    named = [names.get(place, f"input {place + 1}") for place in range(n)]
    for id_, register in {
        "order-reversed": FaultyRegister(swap=tuple(range(n))[::-1]),
        "data-inverted": FaultyRegister(data_inverted=True),
        "buttons-inverted": FaultyRegister(inputs_inverted=True),
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
        "data-low": FaultyRegister(force_stages=(every, 0)),
        "data-high": FaultyRegister(force_stages=(every, every)),
    }.items():
        yield Fault(id_, register.reads)
    yield Fault("stages-missing", FaultyRegister(drop=True).reads, {"stages": n - 1})
    for level in (1, 0):
        for end, register in (
            ("before the first", FaultyRegister(last=level)),
            ("after the last", FaultyRegister(first=level)),
        ):
            yield Fault("stages-extra", register.reads, {"stages": n + 1, "place": end})
    for id_, serial in (("serial-high", 1), ("serial-low", 0), ("serial-ring", "ring")):
        yield Fault(id_, FaultyRegister(serial=serial).reads)
    yield Fault("extra-clocks-lost", FaultyRegister(no_extra=True).reads)
    yield Fault("remembers", FaultyRegister(remembers=True).reads)
    for low, high in combinations(range(n), 2):
        swap = list(range(n))
        swap[low], swap[high] = high, low
        register = FaultyRegister(swap=tuple(swap))
        yield Fault("order-swapped", register.reads, {"names": (named[high], named[low])})
    for place in range(n):
        for level, state, word in ((0, "pressed", "low"), (1, "not pressed", "high")):
            force = (1 << place, level << place)
            inputs, stages = FaultyRegister(force_inputs=force), FaultyRegister(force_stages=force)
            yield Fault("input-stuck", inputs.reads, {"name": named[place], "state": state})
            yield Fault("stage-stuck", stages.reads, {"stage": place + 1, "level": word})


def masking_faults(pad: PadModel) -> Iterable[Fault]:
    """One button masks another: many, and each of them is wrong in few reads only."""
    names = {stage - 1: BUTTONS[7 - bit.bit_length() + 1] for bit, stage in pad.stage_of}
    for pair in permutations(sorted(names, reverse=True), 2):
        register = FaultyRegister(masks=pair)
        yield Fault("masked", register.reads, {"names": tuple(names[place] for place in pair)})


def offer_faults() -> Iterable[OfferFault]:
    """Those of a reader, the commonest first."""
    yield OfferFault("order-reversed", lambda byte: int(f"{byte:08b}"[::-1], 2))
    yield OfferFault("data-inverted", lambda byte: ~byte & 0xFF)
    for level in (1, 0):
        yield OfferFault("one-bit-late", partial(_late, level))
    for level in (1, 0):
        yield OfferFault("one-bit-early", partial(_early, level))
    for place, name in enumerate(BUTTONS):
        for change, state in ((and_, "not pressed"), (or_, "pressed")):
            bit = 128 >> place
            stuck = partial(change, ~bit if change is and_ else bit)
            yield OfferFault("bit-stuck", stuck, {"name": name, "state": state})
    for high, low in combinations(range(7, -1, -1), 2):
        names = (BUTTONS[7 - high], BUTTONS[7 - low])
        yield OfferFault("order-swapped", partial(_swapped, high, low), {"names": names})


def _late(level: int, byte: int) -> int:
    return byte << 1 & 0xFF | level


def _early(level: int, byte: int) -> int:
    return byte >> 1 | level << 7


def _swapped(high: int, low: int, byte: int) -> int:
    return byte ^ ((byte >> high ^ byte >> low) & 1) * (1 << high | 1 << low)
