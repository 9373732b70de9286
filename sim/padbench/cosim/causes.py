"""Likely causes of wrong reads: the faults that would have given just these reads.

Every fault of the table is played on the same scripts; those that predict every bit that was read
are named. If none does, the one that comes far closer than a sound register is named, as partly.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from padbench.core.buttons import BUTTONS
from padbench.core.decode import Read
from padbench.core.pad import PadModel
from padbench.cosim.faulty import Fault, predict
from padbench.scenarios import Script

__all__ = ["Cause", "faults_for", "likely_causes", "offer_causes"]

_MOST = 3
_SURE_ENOUGH = 0.5
"""A partly matching fault must explain this part of what a sound register does not."""


@dataclass(frozen=True, slots=True)
class Cause:
    """A cause by id, in a sentence, and the part of all reads that it explains (0 to 1)."""

    id: str
    says: str
    explains: float


def likely_causes(
    runs: Sequence[tuple[Script, Sequence[Read]]], pad: PadModel
) -> tuple[Cause, ...]:
    """At most three causes for a pad, the likeliest first; none if a sound pad explains it all."""
    sound = _explained(Fault("sound", ""), runs, pad, 0.0)
    if sound == 1.0:
        return ()
    no_level = _no_level(runs, pad)
    if no_level is not None:
        return (no_level,)
    found: list[Cause] = []
    for fault in faults_for(pad):
        needed = 1.0 if any(one.explains == 1.0 for one in found) else _SURE_ENOUGH
        share = _explained(fault, runs, pad, needed)
        if share > sound:
            found.append(Cause(fault.id, fault.says, round(share, 4)))
    exact = [cause for cause in found if cause.explains == 1.0]
    if exact:
        return tuple(exact[:_MOST])
    floor = sound + _SURE_ENOUGH * (1 - sound)
    partly = sorted(
        (cause for cause in found if cause.explains > floor), key=lambda one: -one.explains
    )
    return tuple(partly[:_MOST])


def _no_level(runs: Sequence[tuple[Script, Sequence[Read]]], pad: PadModel) -> Cause | None:
    """The data line at no level in half of the wrong reads: that is the fault, not the order."""
    wrong, without, early = 0, 0, False
    for script, reads in runs:
        for read, bits, expected in zip(
            reads, predict(Fault("sound", ""), script, pad), script.expected, strict=False
        ):
            if _agree(read.bits, bits, expected.bits):
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
    share = round(without / wrong, 4)
    if early:
        return Cause("unknown-level", "the data line is at no level (x or z) when sampled", share)
    return Cause(
        "serial-open", "the serial input is at no level, and so is what follows the buttons", share
    )


def _explained(
    fault: Fault, runs: Sequence[tuple[Script, Sequence[Read]]], pad: PadModel, needed: float
) -> float:
    """Part of all reads that a fault predicts; 0 as soon as it cannot reach ``needed``."""
    total = sum(len(reads) for _, reads in runs)
    most_misses = (1 - needed) * total
    hits = misses = 0
    for script, reads in runs:
        predicted = predict(fault, script, pad)
        for read, bits, expected in zip(reads, predicted, script.expected, strict=False):
            if _agree(read.bits, bits, expected.bits):
                hits += 1
            else:
                misses += 1
                if misses > most_misses:
                    return 0.0
    return hits / total if total else 0.0


def _agree(
    got: Sequence[bool | None], predicted: Sequence[bool | None], expected: Sequence[bool | None]
) -> bool:
    """Bits that are open in the prediction, or in the script, may be anything."""
    return len(got) == len(predicted) and all(
        want is None or asked is None or bit == want
        for bit, want, asked in zip(got, predicted, expected, strict=False)
    )


def faults_for(pad: PadModel) -> Iterable[Fault]:
    """The table, the commonest first."""
    n = pad.stages
    places = tuple(range(n))
    yield Fault("order-reversed", "the order of the bits is reversed", swap=places[::-1])
    yield Fault(
        "data-inverted", "the data line stands the other way up: pressed is low", data_inverted=True
    )
    yield Fault(
        "buttons-inverted",
        "the buttons are taken the other way up: pressed is low at the inputs",
        inputs_inverted=True,
    )
    yield Fault(
        "latch-inverted",
        "the latch is taken the other way up: it loads while the latch is low",
        load_inverted=True,
    )
    yield Fault("wrong-edge", "it shifts on the falling clock edge, not on the rising", edge="fall")
    yield Fault("both-edges", "it shifts on both edges of the clock", edge="both")
    yield Fault(
        "synchronous-load",
        "it loads on a clock edge; the load must not need the clock",
        load="synchronous",
    )
    yield Fault(
        "load-on-rise",
        "it is not transparent while latched: it loads when the latch rises, and not after",
        load="rise",
    )
    yield Fault(
        "one-bit-late",
        "the output comes one bit late: the first bit needs a clock to appear",
        late=True,
    )
    yield Fault("one-bit-early", "the output comes one bit early: the first is missing", output=1)
    yield Fault(
        "first-clock-lost", "the first clock after the latch does not shift", skip_first=True
    )
    yield Fault("no-shift", "it does not shift at all: the clock does nothing", edge="never")
    yield Fault("no-load", "it does not load at all: the latch does nothing", load="never")
    every = (1 << n) - 1
    yield Fault("data-low", "the data line is always low", force_stages=(every, 0))
    yield Fault("data-high", "the data line is always high", force_stages=(every, every))
    yield Fault("stages-missing", f"it has {n - 1} stages: the last button is missing", drop=True)
    for level in (1, 0):
        yield Fault(
            "stages-extra",
            f"it has {n + 1} stages: one too many before the first bit",
            last=level,
        )
        yield Fault(
            "stages-extra", f"it has {n + 1} stages: one too many after the last bit", first=level
        )
    yield Fault("serial-high", "the serial input is high: past the end reads not pressed", serial=1)
    yield Fault("serial-low", "the serial input is low: past the end reads pressed", serial=0)
    yield Fault("serial-ring", "the serial input gets the register's own output", serial="ring")
    yield from _one_bit_faults(pad)


def _one_bit_faults(pad: PadModel) -> Iterable[Fault]:
    n = pad.stages
    names = {stage - 1: BUTTONS[7 - bit.bit_length() + 1] for bit, stage in pad.stage_of}
    for one, other in combinations(range(n), 2):
        swap = list(range(n))
        swap[one], swap[other] = other, one
        named = " and ".join(names.get(place, f"input {place + 1}") for place in (other, one))
        yield Fault("order-swapped", f"{named} are swapped", swap=tuple(swap))
    for place in range(n):
        for level, word in ((0, "pressed"), (1, "not pressed")):
            force = (1 << place, level << place)
            name = names.get(place, f"input {place + 1}")
            yield Fault("input-stuck", f"{name} always reads as {word}", force_inputs=force)
            yield Fault(
                "stage-stuck",
                f"stage {place + 1} is stuck {'high' if level else 'low'}",
                force_stages=force,
            )


def offer_causes(pairs: Sequence[tuple[int, int | None]]) -> tuple[Cause, ...]:
    """Likely causes from (byte that was on the wire, byte that the reader offered)."""
    known = [(wire, got) for wire, got in pairs if got is not None]
    if not known or all(wire == got for wire, got in known):
        return ()
    if len({got for _, got in known}) == 1 and len({wire for wire, _ in known}) > 1:
        return (Cause("held-stuck", "the byte offered never changes", 1.0),)
    found = [
        Cause(id_, says, 1.0)
        for id_, says, change in _READER_FAULTS
        if all(change(wire) == got for wire, got in known)
    ]
    earlier = [(wire, got) for (wire, _), (_, got) in pairwise(known)]
    if earlier and not found and all(wire == got for wire, got in earlier):
        found.append(Cause("one-poll-late", "it offers the byte of the poll before", 1.0))
    return tuple(found[:_MOST])


def _shifted(byte: int, shift: int, level: int) -> int:
    if shift > 0:
        return byte << 1 & 0xFF | level
    return byte >> 1 | level << 7


def _reversed(byte: int) -> int:
    return int(f"{byte:08b}"[::-1], 2)


_READER_FAULTS: list[tuple[str, str, Callable[[int], int]]] = [
    ("order-reversed", "the order of the bits is reversed", _reversed),
    ("data-inverted", "the data line is taken the other way up", lambda byte: ~byte & 0xFF),
    *(
        (id_, says, lambda byte, shift=shift, level=level: _shifted(byte, shift, level))
        for shift, id_, says in (
            (1, "one-bit-late", "it samples one bit late: the first bit is lost"),
            (-1, "one-bit-early", "it samples one bit early: the last bit is lost"),
        )
        for level in (1, 0)
    ),
    *(
        (
            "bit-stuck",
            f"{name} always reads as {'pressed' if level else 'not pressed'}",
            lambda byte, bit=128 >> place, level=level: byte | bit if level else byte & ~bit,
        )
        for place, name in enumerate(BUTTONS)
        for level in (0, 1)
    ),
    *(
        (
            "order-swapped",
            f"{BUTTONS[one]} and {BUTTONS[other]} are swapped",
            lambda byte, one=7 - one, other=7 - other: (
                byte ^ ((byte >> one ^ byte >> other) & 1) * (1 << one | 1 << other)
            ),
        )
        for one, other in combinations(range(8), 2)
    ),
]
"""(id, sentence, byte on the wire to byte offered)."""
