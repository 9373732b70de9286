"""What every fault reads like: for each of the 256 held states the bytes that may come, and how
often.

    known = Dictionary.of(sheet, "push-pull")
    known.faults[0]                      # None: nothing is broken
    known.chance(0x80, 0x80)             # of each row: how often A held reads as A alone

A *row* is one variant of one fault (`padbench.circuit.defects`). It is worked out step by step like
the simulation, but without times, for all held states at once; a test plays every row through the
simulator. Delays change no byte of a pad that keeps its limits, so both corners read the same.
"""

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.defects import Surroundings, Variant, every_fault, variants
from padbench.circuit.pad_model import pad_model
from padbench.core.pad import SOUND, Defect, PadModel
from padbench.sheet import Sheet
from padbench.sheet.model import Fault

__all__ = ["Bytes", "Dictionary", "Row", "predicted"]

Bytes = NDArray[np.int64]

EVERY_STATE: Bytes = np.arange(256)
_CLOCKS = 8


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
    ``share`` is how often it comes and ``row_of`` whose it is.
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
        made: dict[Defect, tuple[Bytes, Bytes]] = {}
        for _, _, defect in parts:
            if defect not in made:
                made[defect] = predicted(pad, defect, EVERY_STATE)
        return cls(
            sound,
            port,
            pad,
            faults,
            rows,
            np.array([made[defect][0] for _, _, defect in parts]),
            np.array([made[defect][1] for _, _, defect in parts]),
            np.array([share for _, share, _ in parts]),
            np.array([place for place, _, _ in parts]),
            np.array([row.fault for row in rows]),
        )

    @cached_property
    def weight(self) -> NDArray[np.float64]:
        """How often a fault shows as each of its rows."""
        return np.array([row.variant.weight for row in self.rows])

    @cached_property
    def _starts(self) -> Bytes:
        return np.flatnonzero(np.diff(self.row_of, prepend=-1))

    def chance(self, held: int, byte: int) -> NDArray[np.float64]:
        """Of each row, how often that state reads as that byte."""
        loose = self.random[:, held]
        fits = (byte & ~loose) == self.fixed[:, held]
        each = self.share * fits / (1 << np.bitwise_count(loose).astype(np.int64))
        return np.asarray(np.add.reduceat(each, self._starts), np.float64)

    def label(self, held: int) -> tuple[bytes, ...]:
        """Of each row, what that state reads as, in a form that can be compared."""
        ends = [*self._starts[1:].tolist(), len(self.share)]
        columns = np.stack(
            [self.fixed[:, held], self.random[:, held], np.rint(self.share * 1e6).astype(np.int64)]
        )
        return tuple(
            _distinct(columns[:, start:end])
            for start, end in zip(self._starts.tolist(), ends, strict=True)
        )

    def fault_named(self, kind: str, at: str | None = None, to: str | None = None) -> int:
        """The place of a fault; ``KeyError`` if the pad cannot have it."""
        for place, fault in enumerate(self.faults):
            if fault is not None and (fault.kind, fault.at, fault.to) == (kind, at, to):
                return place
        raise KeyError((kind, at, to))


def _distinct(columns: Bytes) -> bytes:
    """Equal outcomes of a mix as one, in an order that does not matter."""
    merged: dict[tuple[int, int], int] = {}
    for fixed, loose, share in columns.T.tolist():
        merged[fixed, loose] = merged.get((fixed, loose), 0) + share
    return repr(sorted((*key, round(share / 1e3)) for key, share in merged.items())).encode()


def predicted(pad: PadModel, defect: Defect, held: Bytes) -> tuple[Bytes, Bytes]:
    """The bits that are sure, and the mask of those that are not, of a read of each held state.

    The last of several reads, so that nothing depends on how the register powered up.
    """
    chip = _Register(pad, defect, held)
    for _ in range(2 + pad.stages // 8):
        bits = chip.read()
    fixed, loose = np.zeros_like(held), np.zeros_like(held)
    for place, (level, unknown) in enumerate(bits):
        fixed |= (1 - level) * (1 - unknown) << 7 - place
        loose |= unknown << 7 - place
    return fixed, loose


class _Register:
    """All stages as one word a held state: what they hold, and which of them nobody knows."""

    def __init__(self, pad: PadModel, defect: Defect, held: Bytes) -> None:
        broken = replace(pad, defect=defect).as_broken()
        self.pad, self.defect = broken, defect
        self.full, self.last = (1 << pad.stages) - 1, pad.stages - 1
        low = np.zeros_like(held)
        for bit, stage in broken.stage_of:
            low |= ((held & bit) > 0).astype(np.int64) << stage - 1
        mask, levels = defect.inputs
        self.word = self.full & ~low & ~mask | levels
        loose, pulled = broken.no_level
        self.doubtful = self.word & loose | ~self.word & pulled
        self.content, self.unknown = np.zeros_like(held), np.full_like(held, self.full)
        self.latch, self.clock = 0, 1
        self.clock_seen = self._seen("clock")

    def read(self) -> list[tuple[Bytes, Bytes]]:
        """One latch and its clocks; a sample stands before each clock's rise."""
        self._drive(1, 1)
        self._drive(0, 1)
        bits = []
        for number in range(1, _CLOCKS + 1):
            arrives = number != self.defect.lost
            self._drive(0, 0 if arrives else 1)
            bits.append(self._data())
            self._drive(0, 1)
            if number == self.defect.extra:
                self._drive(0, 0)
                self._drive(0, 1)
        return bits

    def _seen(self, pin: str) -> int:
        what = getattr(self.defect, pin)
        if what == "own":
            what = pin
        lines = {"latch": self.latch, "clock": self.clock, "low": 0, "high": 1}
        return min(self.latch, self.clock) if what == "wired" else lines[what]

    def _drive(self, latch: int, clock: int) -> None:
        self.latch, self.clock = latch, clock
        before, self.clock_seen = self.clock_seen, self._seen("clock")
        rises = self.clock_seen > before
        loads = self._seen("latch") != int(self.pad.load_inverted)
        if loads and (rises or self.pad.load == "transparent"):
            self.content, self.unknown = self.word, self.doubtful
        elif rises and not loads:
            serial, open_ = self.pad.serial, int(self.pad.serial is None)
            self.content = (self.content << 1 | (serial or 0)) & self.full
            self.unknown = (self.unknown << 1 | open_) & self.full
        mask, levels = self.defect.stages
        self.content = self.content & ~mask | levels
        self.unknown = self.unknown & ~mask

    def _data(self) -> tuple[Bytes, Bytes]:
        level = self.defect.data
        if level is not None:
            ones = np.ones_like(self.word)
            return ones * (level & 1), ones * (level == 2)
        return self.content >> self.last & 1, self.unknown >> self.last & 1
