"""What every fault reads like: for each of the 256 held states the bytes that may come, and how
often.

    known = Dictionary.of(sheet, "push-pull")
    known.faults[0]                      # None: nothing is broken
    known.chance(0x80, 0x80)             # of each row: how often A held reads as A alone

A *row* is one variant of one fault (`padbench.circuit.defects`). It is worked out step by step like
the simulation, but without times, for all held states at once; a test plays every row through the
simulator. Delays change no byte of a pad that keeps its limits, so both corners read the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.defects import Surroundings, Variant, every_fault, variants
from padbench.circuit.pad_model import pad_model
from padbench.core.buttons import OPPOSITES, byte_of
from padbench.core.pad import SOUND, Defect, PadModel
from padbench.parts.fault_kinds import fault_kinds
from padbench.sheet import Sheet
from padbench.sheet.model import Fault

Bytes = NDArray[np.int64]

EVERY_STATE: Bytes = np.arange(256)


@dataclass(frozen=True, slots=True)
class Row:
    """One variant of one fault; ``fault`` is its place in `Dictionary.faults`."""

    fault: int
    variant: Variant


@dataclass(frozen=True)
class Dictionary:
    """Every single fault of a pad on one kind of port.

    ``faults`` begins with None, the sound pad. Of each part of each row's mix, ``fixed`` and
    ``random`` (parts, 256) are the bits that are sure, and the mask of those that are not;
    ``share`` is how often it comes and ``row_of`` whose it is; ``after`` is the level of the
    register's output between two reads, 2 for chance; ``stays`` (rows) says whether a first read
    surely has what the register powered up with.
    """

    sheet: Sheet
    port: str
    pad: PadModel
    faults: tuple[Fault | None, ...]
    rows: tuple[Row, ...]
    fixed: Bytes
    random: Bytes
    share: NDArray[np.float64]
    row_of: Bytes
    after: Bytes
    stays: NDArray[np.bool_]
    fault_of: Bytes = field(repr=False)

    @classmethod
    def of(cls, sheet: Sheet, port: str) -> "Dictionary":
        """All of a sheet's pad; what is broken in the sheet itself counts for nothing here."""
        sound = sheet.model_copy(update={"fault": ()})
        pad, around = pad_model(sound, port, "fast"), Surroundings.of(sound, port)
        faults = (None, *every_fault(sound))
        nothing = Variant("", 1.0, ((1.0, SOUND),))
        rows = tuple(
            Row(place, variant)
            for place, fault in enumerate(faults)
            for variant in ((nothing,) if fault is None else variants(fault, around))
        )
        parts = [(place, *part) for place, row in enumerate(rows) for part in row.variant.mix]
        codes = coded([defect for _, _, defect in parts], pad)
        codes, same = np.unique(codes, axis=0, return_inverse=True)
        clocks, row_of = sound.poll.clocks, np.array([place for place, _, _ in parts])
        fixed, loose, after, stays = (
            one[same] for one in predicted(pad, codes, EVERY_STATE, clocks)
        )
        return cls(
            sound,
            port,
            pad,
            faults,
            rows,
            fixed,
            loose,
            np.array([share for _, share, _ in parts]),
            row_of,
            after,
            np.array([stays[row_of == place].any(axis=1).all() for place in range(len(rows))]),
            np.array([row.fault for row in rows]),
        )

    @cached_property
    def weight(self) -> NDArray[np.float64]:
        """How often a fault shows as each of its rows."""
        return np.array([row.variant.weight for row in self.rows])

    @cached_property
    def mended_as(self) -> Bytes:
        """Of each row its fault, or the one in the same place that is mended like it."""
        place = {fault: number for number, fault in enumerate(self.faults)}
        same = np.arange(len(self.faults))
        for number, fault in enumerate(self.faults):
            like = fault and fault_kinds()[fault.kind].like
            if fault and like:
                same[number] = place[fault.model_copy(update={"kind": like, "ohms": None})]
        return same[self.fault_of]

    @cached_property
    def _starts(self) -> Bytes:
        return np.flatnonzero(np.diff(self.row_of, prepend=-1))

    def chance(self, held: int, byte: int) -> NDArray[np.float64]:
        """Of each row, how often that state reads as that byte."""
        loose = self.random[:, held]
        fits = (byte & ~loose) == self.fixed[:, held]
        each = self.share * fits / (1 << np.bitwise_count(loose).astype(np.int64))
        return np.asarray(np.add.reduceat(each, self._starts), np.float64)

    @cached_property
    def labels(self) -> Bytes:
        """Of each row and each held state, a small number; the same for the same outcomes."""
        # Shares in eighths: nobody tells nearer ones apart.
        eighths = np.maximum(1, np.rint(self.share * 8)).astype(np.uint64)
        key = (self.fixed << 8 | self.random).astype(np.uint64) + np.uint64(1)
        key = key * np.uint64(0x9E3779B97F4A7C15)  # the golden ratio: spreads what is near
        key = (key ^ key >> np.uint64(29)) * eighths[:, None]
        whole = np.add.reduceat(key, self._starts)
        return np.stack([np.unique(one, return_inverse=True)[1] for one in whole.T], axis=1)

    def first_part(self, row: int) -> int:
        """The first part of a row's mix: what is broken, while it is."""
        return int(self._starts[row])


_SEEN = {"latch": 0, "clock": 1, "low": 2, "high": 3, "wired": 4}

_CODE = (
    *("drags", "loose", "pulled", "synchronous", "inverted", "inputs", "levels", "stuck", "at"),
    *("link", "link_high", "link_loose", "lost", "extra", "data", "serial", "latch", "clock"),
)
"""Columns of a coded defect; a level is 2 for chance, of the data line 3 for the register's own.
One column a stage follows: the buttons that pull it."""


def coded(defects: Sequence[Defect], pad: PadModel) -> Bytes:
    """Defects of a pad as rows of numbers, for `predicted`."""
    rows = []
    for defect in defects:
        broken = replace(pad, defect=defect).as_broken()
        one, pulls = broken.defect, [0] * pad.stages
        for bit, stage in broken.stage_of:
            pulls[stage - 1] |= bit
        load = broken.load == "synchronous", broken.load_inverted
        bits = (broken.dragging, *broken.no_level, *load, *one.inputs, *one.stages, *one.links)
        levels = (
            3 if one.data is None else one.data,
            2 if broken.serial is None else broken.serial,
        )
        seen = [
            _SEEN[pin if what == "own" else what]
            for pin, what in (("latch", one.latch), ("clock", one.clock))
        ]
        rows.append([*bits, one.lost, one.extra, *levels, *seen, *pulls])
    return np.array(rows, np.int64)


def predicted(
    pad: PadModel, codes: Bytes, held: Bytes, clocks: int = 8
) -> tuple[Bytes, Bytes, Bytes, Bytes]:
    """Of a read of each held state: sure bits, mask of the others, level of the output after it,
    and what of the first read's bits only power-up leaves to chance.

    Shape (defects, states). The last of several reads, so that nothing depends on how the register
    powered up.
    """
    chip = _Registers(pad, codes, held)
    _, early = chip.read(clocks)
    for _ in range(1 + pad.stages // 8):
        fixed, loose = chip.read(clocks)
    return fixed, loose, chip.output(), early & ~loose


def _effective(pad: PadModel, held: Bytes) -> Bytes:
    """What contacts pull: stuck ones besides; of opposites that go down at once what goes on."""
    held = held | pad.stuck
    for pair in map(byte_of, OPPOSITES) if pad.policy != "both" else ():
        held = np.where(held & pair == pair, held & ~pair, held)
    return held


class _Registers:
    """All stages as one word a defect and a held state: what they hold, and what nobody knows."""

    def __init__(self, pad: PadModel, codes: Bytes, held: Bytes) -> None:
        held = _effective(pad, held)
        by_name = dict(zip(_CODE, codes.T[:, :, None], strict=False))
        self.stuck, self.stuck_at = by_name["stuck"], by_name["at"]
        self.lost, self.extra = by_name["lost"], by_name["extra"]
        self.links = [by_name[name] for name in ("link", "link_high", "link_loose")]
        self.full, self.last, self.first = (1 << pad.stages) - 1, pad.stages - 1, pad.first
        low = np.zeros((len(codes), len(held)), np.int64)
        for stage, pulls in enumerate(codes.T[len(_CODE) :, :, None]):
            low |= ((held & pulls) > 0).astype(np.int64) << stage
        mask = by_name["inputs"]
        self.word = self.full & ~low & ~mask | by_name["levels"]
        self.doubtful = self.word & by_name["loose"] | ~self.word & by_name["pulled"]
        self.doubtful &= ~mask
        self.data, self.dragged = by_name["data"], (held & by_name["drags"]) > 0
        self.serial, self.open = by_name["serial"] & 1, (by_name["serial"] == 2).astype(np.int64)
        self.transparent = by_name["synchronous"] == 0
        self.inverted = by_name["inverted"]
        self.sees = {pin: by_name[pin] for pin in ("latch", "clock")}
        self.content, self.unknown = np.zeros_like(low), np.full_like(low, self.full)
        self.clock_seen = self._seen("clock", 0, np.ones_like(self.lost))

    def read(self, clocks: int) -> tuple[Bytes, Bytes]:
        """One latch and its clocks; a sample stands before each clock's rise.

        Of several pads in a chain the others hold nothing, and their bits are left out.
        """
        high = np.ones_like(self.lost)
        fixed, loose = np.zeros_like(self.content), np.zeros_like(self.content)
        self._drive(1, high)
        self._drive(0, high)
        for number in range(1, clocks + 1):
            self._drive(0, (self.lost == number).astype(np.int64))
            level, unknown = self._line()
            place = 8 + self.first - number
            if 0 <= place < 8:
                fixed |= (1 - level) * (1 - unknown) << place
                loose |= unknown << place
            self._drive(0, high)
            again = self.extra == number
            if again.any():
                self._drive(0, 1 - again)
                self._drive(0, high)
        return fixed, loose

    def output(self) -> Bytes:
        """The last stage's level, 2 where nobody knows."""
        return np.where(self.unknown >> self.last & 1, 2, self.content >> self.last & 1)

    def _seen(self, pin: str, latch: int, clock: Bytes) -> Bytes:
        lines = (latch, clock, 0, 1, latch & clock)
        return np.asarray(np.choose(self.sees[pin], [np.asarray(line) for line in lines]))

    def _drive(self, latch: int, clock: Bytes) -> None:
        before, self.clock_seen = self.clock_seen, self._seen("clock", latch, clock)
        rises = self.clock_seen > before
        loading = self._seen("latch", latch, clock) != self.inverted
        loads, shifts = loading & (rises | self.transparent), rises & ~loading
        link, high, link_loose = self.links
        moved = (
            (self.content << 1 | self.serial) & ~link | high,
            (self.unknown << 1 | self.open) & ~link | link_loose,
        )
        self.content = np.where(loads, self.word, np.where(shifts, moved[0], self.content))
        self.unknown = np.where(loads, self.doubtful, np.where(shifts, moved[1], self.unknown))
        self.content = self.content & self.full & ~self.stuck | self.stuck_at
        self.unknown = self.unknown & self.full & ~self.stuck

    def _line(self) -> tuple[Bytes, Bytes]:
        out = np.where(self.dragged, 0, np.where(self.data > 2, self.output(), self.data))
        return out & 1, (out == 2).astype(np.int64)
