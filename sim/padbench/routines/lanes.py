"""Many cases of a read routine in lock-step: one lane is one case.

    lanes = Lanes(routine, console, held, period, phase, limit)
    lanes.run()
    lanes.finished, lanes.corrupt, ...

All lanes that stand at the same instruction take it together; where the next instruction, or any
cycle on the bus, would differ from lane to lane they split, and where they meet again they go on
together. Which lanes go first changes nothing in the result, as no lane can see another.

A group therefore shares its bus cycles, which come from `padbench.routines.bus` as they do in a
single run; values, the time, the fetch and the pads are arrays. What is rare is not done here
(interrupts, an instruction that strobes twice, anything that a single run would
refuse): such lanes are marked ``left`` and have to be run one by one, from the start.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from padbench.routines.bus import (
    BRANCHES,
    INSTRUCTIONS,
    LENGTHS,
    BusCycle,
    Instruction,
    bus_cycles,
)
from padbench.routines.console import Console
from padbench.routines.effects import (
    COMPARES,
    FLAGS,
    LOADS,
    MODIFIES,
    MOVES,
    READS,
    STORES,
    compare,
    with_nz,
)
from padbench.routines.routine import Routine, RoutineError
from padbench.routines.run import starts_copy
from padbench.routines.stops import COPY, copies_end

Bytes = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]
Places = npt.NDArray[np.intp]
Counts = npt.NDArray[np.int64]

NEVER = 1 << 62
"""A request that never comes."""

_STACK, _RETURN, _INTERRUPTS_OFF = 0xFD, 0xFFF0, 0x34
"""As in `padbench.routines.run`: how the routine is entered."""

_MOST_CELLS = 1 << 28
"""Bytes for the memory that a batch has written to: 8192 addresses, in a batch of `fast`."""

_LEFT_OUT = {"BRK", "RTI"}
_BREAK_AND_UNUSED = 0x30


@dataclass(slots=True)
class _Pad:
    """One pad in all lanes; see `PadPort`, which this follows."""

    held: Bytes
    content: Bytes
    whole: Flags
    count: Bytes
    byte: Bytes


@dataclass(slots=True)
class _One:
    """One lane as `bus_cycles` wants it: the one that stands for a group."""

    pc: int
    sp: int
    x: int
    y: int
    p: int
    memory: Any


@dataclass(frozen=True, slots=True)
class _Memory:
    """Memory of one lane, to read."""

    lanes: "Lanes"
    lane: int

    def __getitem__(self, address: int) -> int:
        cell = self.lanes.cells.get(address)
        return self.lanes.image[address] if cell is None else int(cell[self.lane])


class Lanes:
    """A batch of cases.

    ``held`` (uint8), ``period`` and ``phase`` (int64, CPU cycles; period 0 is no fetch) have one
    element a lane; ``preset`` is exclusive-ored into the held state that the results start from,
    ``other`` into ``held`` for what the second pad holds.
    After `run`: ``finished``, ``hit`` and ``corrupt`` as in `RoutineRun`, ``now`` the cycles taken,
    ``copying`` those of them in sprite copies,
    ``pass_got`` and ``pass_port`` of the first wrong pass, ``left`` lanes that were not run to
    their end and whose other values mean nothing. ``levels`` are those that each lane wrote to the
    latch, as bits behind a first 1, of which 64 are kept. ``kinds`` is filled if ``record`` is
    given: the row of cycles of each lane, at most ``record`` of them.
    """

    def __init__(
        self,
        routine: Routine,
        console: Console,
        held: Bytes,
        period: Counts,
        phase: Counts,
        limit: int,
        *,
        preset: int = 0,
        other: int = 0xFF,
        record: int = 0,
    ) -> None:
        count = len(held)
        self.routine, self.console, self.limit = routine, console, limit
        self.count = count
        self.image = routine.image
        self.cells: dict[int, Bytes] = {}
        self.registers = {name: np.zeros(count, np.uint8) for name in "axy"}
        self.p = np.full(count, _INTERRUPTS_OFF, np.uint8)
        self.now, self.copying = np.zeros(count, np.int64), np.zeros(count, np.int64)
        self.period = period
        self.requested = np.where(period > 0, phase, NEVER)
        self.ports = {address: port for port, address in enumerate(routine.ports)}
        self.strobe = routine.strobe
        self.latched = np.zeros(count, np.bool_)
        self.levels = np.ones(count, np.uint64)
        self.pads = [
            _Pad(
                held ^ np.uint8(other if port else 0),
                np.full(count, 0xFF, np.uint8),
                np.ones(count, np.bool_),
                np.zeros(count, np.uint8),
                np.zeros(count, np.uint8),
            )
            for port in range(2)
        ]
        self.finished, self.hit, self.corrupt, self.left = (
            np.zeros(count, np.bool_) for _ in range(4)
        )
        self.pass_got = np.zeros(count, np.uint8)
        self.pass_port = np.zeros(count, np.uint8)
        self.kinds = np.zeros((count, record), np.uint8) if record else None
        everyone = np.arange(count)
        self._poke(0x100 + _STACK + 1, everyone, np.uint8(_RETURN & 0xFF))
        self._poke(0x100 + _STACK + 2, everyone, np.uint8(_RETURN >> 8))
        starts = (
            *((at, port) for at, port in routine.kept),
            *zip(routine.results, (0, 1), strict=False),
        )
        for place, port in starts:
            start = self.pads[port].held ^ np.uint8(preset)
            if place == "A":
                self.registers["a"][:] = start
            else:
                self._poke(place, everyone, start)
        # Deepest call first, then lowest address: callers wait for callees, the end of a loop for
        # its last round, so that lanes meet again.
        self._waiting: dict[tuple[int, int], list[Places]] = {(_STACK, routine.entry): [everyone]}

    def results(self) -> list[Bytes]:
        """What the routine has left in its result places, an array for each."""
        everyone = np.arange(self.count)
        return [
            self.registers["a"]
            if place == "A"
            else np.broadcast_to(self._peek(place, everyone), (self.count,))
            for place in self.routine.results
        ]

    def run(self) -> None:
        """Run every lane to its end, to the cycle limit, or until it is left.

        Raises `RoutineError` for one that fills memory.
        """
        while self._waiting:
            at = min(self._waiting)
            parts = self._waiting.pop(at)
            lanes = parts[0] if len(parts) == 1 else np.concatenate(parts)
            for group in self._alike(lanes, at[1], at[0]):
                self._take(group, at[1], at[0])

    # Splitting

    def _alike(self, lanes: Places, pc: int, sp: int) -> Iterator[Places]:
        """The lanes in groups that share instruction and bus cycles."""
        for same in self._split(lanes, [pc, pc + 1, pc + 2]):
            instruction = INSTRUCTIONS.get(self._first(pc, same))
            if instruction is None:
                yield same
                continue
            yield from self._same_cycles(same, instruction, pc, sp)

    def _same_cycles(
        self, lanes: Places, instruction: Instruction, pc: int, sp: int
    ) -> Iterator[Places]:
        mode, name = instruction.mode, instruction.mnemonic
        operand = self._first(pc + 1, lanes)
        if mode == "relative":
            flag, _ = BRANCHES[name]
            yield from self._by(lanes, self.p[lanes] & np.uint8(flag))
        elif mode in ("zero page,X", "absolute,X") or name == "TXS":
            yield from self._by(lanes, self.registers["x"][lanes])
        elif mode in ("zero page,Y", "absolute,Y"):
            yield from self._by(lanes, self.registers["y"][lanes])
        elif mode == "(zero page),Y":
            for part in self._by(lanes, self.registers["y"][lanes]):
                yield from self._split(part, [operand, (operand + 1) & 0xFF])
        elif mode == "(zero page,X)":
            for part in self._by(lanes, self.registers["x"][lanes]):
                pointer = operand + int(self.registers["x"][part[0]])
                yield from self._split(part, [pointer & 0xFF, (pointer + 1) & 0xFF])
        elif mode == "(absolute)":
            pointer = operand | self._first(pc + 2, lanes) << 8
            yield from self._split(lanes, [pointer, pointer & 0xFF00 | (pointer + 1) & 0xFF])
        elif name == "RTS":
            yield from self._split(lanes, [0x100 + ((sp + n) & 0xFF) for n in (1, 2)])
        else:
            yield lanes

    def _split(self, lanes: Places, addresses: list[int]) -> Iterator[Places]:
        """In groups that have the same bytes at these addresses."""
        cells = [self.cells[at & 0xFFFF] for at in addresses if at & 0xFFFF in self.cells]
        if not cells:
            yield lanes
            return
        for part in self._by(lanes, cells[0][lanes]):
            groups = [part]
            for cell in cells[1:]:
                groups = [g for group in groups for g in self._by(group, cell[group])]
            yield from groups

    @staticmethod
    def _by(lanes: Places, values: Bytes) -> Iterator[Places]:
        if (values == values[0]).all():
            yield lanes
            return
        for value in np.unique(values):
            yield lanes[values == value]

    # Memory

    def _first(self, address: int, lanes: Places) -> int:
        return _Memory(self, int(lanes[0]))[address & 0xFFFF]

    def _peek(self, address: int, lanes: Places) -> Bytes:
        cell = self.cells.get(address)
        if cell is None:
            return np.full(len(lanes), self.image[address], np.uint8)
        return cell[lanes]

    def _poke(self, address: int, lanes: Places, value: Any) -> None:
        cell = self.cells.get(address)
        if cell is None:
            if (len(self.cells) + 1) * self.count > _MOST_CELLS:
                raise self.routine.error(
                    None,
                    "the routine",
                    f"writes to more than {len(self.cells)} addresses",
                    "give the read alone, without what fills memory",
                )
            cell = self.cells[address] = np.full(self.count, self.image[address], np.uint8)
        cell[lanes] = value

    # Taking an instruction

    def _take(self, lanes: Places, pc: int, sp: int) -> None:
        one = int(lanes[0])
        registers = (int(self.registers["x"][one]), int(self.registers["y"][one]))
        memory = _Memory(self, one)
        try:
            self.routine.check_instruction(pc, memory)  # type: ignore[arg-type]
        except RoutineError:
            self.left[lanes] = True
            return
        instruction = INSTRUCTIONS[memory[pc]]
        cycles = tuple(bus_cycles(_One(pc, sp, *registers, int(self.p[one]), memory)))
        strobes = sum(write and address == self.strobe for write, address, _ in cycles)
        # Where a jump's pointer lies at a port, the read itself changes it.
        moving = instruction.mode == "(absolute)" and any(at in self.ports for _, at, _ in cycles)
        if strobes > 1 or moving or instruction.mnemonic in _LEFT_OUT:
            self.left[lanes] = True
            return
        self._pass_time(lanes, cycles)
        if instruction.mnemonic == "RTS" and sp == _STACK:
            self.finished[lanes] = self.now[lanes] <= self.limit
            return
        to, stack = self._execute(lanes, instruction, pc, sp, cycles)
        if strobes:
            self._strobe(lanes)
        if starts_copy(cycles):
            now = self.now[lanes]
            end, self.requested[lanes] = copies_end(now, self.requested[lanes], self.period[lanes])
            self.copying[lanes] += end - now
            self.now[lanes] = end
        lanes = lanes[self.now[lanes] <= self.limit]
        if len(lanes):
            self._waiting.setdefault((stack, to), []).append(lanes)

    def _pass_time(self, lanes: Places, cycles: tuple[BusCycle, ...]) -> None:
        """The cycles on the bus: time goes on, the fetch stops reads, pads are clocked."""
        length = len(cycles)
        touches = [self.ports.get(address) for _, address, _ in cycles]
        if self.kinds is not None:
            row = [
                0 if write else 1 if port is None else 2 + port
                for (write, _, _), port in zip(cycles, touches, strict=True)
            ]
            if starts_copy(cycles):
                row[-1] = COPY
            # Past what is recorded there is nothing to write to: an index may repeat its end.
            ends = self.kinds.shape[1] - 1
            own = self.now[lanes] - self.copying[lanes]
            for place, kind in enumerate(row):
                self.kinds[lanes, np.minimum(own + place, ends)] = kind
        if not any(
            port is not None and not write
            for (write, _, _), port in zip(cycles, touches, strict=True)
        ):
            before = self.now[lanes]
            stopped = self.requested[lanes] < before + length
            self.now[lanes] = before + length
            if not stopped.any():
                return
            lanes, before = lanes[stopped], before[stopped]
            self.now[lanes] = before
        for (write, address, _), port in zip(cycles, touches, strict=True):
            if not write:
                stolen = self._stop(lanes)
                if port is not None:
                    self._read(lanes, address, port, stolen)
            self.now[lanes] += 1

    def _stop(self, lanes: Places) -> Counts | None:
        """A read cycle: cycles stolen from each lane, None if from none."""
        late = self.now[lanes] - self.requested[lanes]
        stopped = late >= 0
        if not stopped.any():
            return None
        # Three if the stop was put off by an odd number of cycles: see `stolen_cycles`.
        stolen = np.where(stopped, 4 - (late & 1), 0)
        self.now[lanes] += stolen
        self.requested[lanes] += np.where(stopped, self.period[lanes], 0)
        return stolen

    def _read(self, lanes: Places, address: int, port: int, stolen: Counts | None) -> None:
        pad = self.pads[port]
        content, latched = pad.content[lanes], self.latched[lanes]
        if stolen is not None:
            self.hit[lanes] |= stolen > 0
            extra = np.zeros(5, np.uint8)
            extra[3], extra[4] = (self.console.extra_clocks(n) for n in (3, 4))
            clocks = extra[stolen]
            ones = (np.uint8(1) << clocks) - np.uint8(1)
            content = np.where(latched, content, (content << clocks) | ones)
        bit = content >> np.uint8(7)
        pad.content[lanes] = np.where(latched, content, (content << np.uint8(1)) | np.uint8(1))
        self._poke(address, lanes, bit | np.uint8(address >> 8 & 0xE0))
        counted = ~(latched | pad.whole[lanes])
        if not counted.any():
            return
        lanes, bit = (lanes, bit) if counted.all() else (lanes[counted], bit[counted])
        pad.byte[lanes] = byte = (pad.byte[lanes] << np.uint8(1)) | bit
        pad.count[lanes] = number = pad.count[lanes] + np.uint8(1)
        full = number == 8
        if full.any():
            pad.whole[lanes] = full
            wrong = full & (byte != pad.held[lanes]) & ~self.corrupt[lanes]
            bad = lanes[wrong]
            self.corrupt[bad] = True
            self.pass_got[bad] = byte[wrong]
            self.pass_port[bad] = port

    def _strobe(self, lanes: Places) -> None:
        """The latch bit was written: both pads load while it is 1; its fall begins a pass."""
        level = (self.cells[self.strobe][lanes] & np.uint8(1)).astype(np.bool_)
        fell = lanes[self.latched[lanes] & ~level]
        rose = lanes[level]
        self.latched[lanes] = level
        self.levels[lanes] = self.levels[lanes] << np.uint64(1) | level
        for pad in self.pads:
            pad.count[fell] = 0
            pad.byte[fell] = 0
            pad.whole[fell] = False
            pad.content[rose] = pad.held[rose]

    def _execute(
        self,
        lanes: Places,
        instruction: Instruction,
        pc: int,
        sp: int,
        cycles: tuple[BusCycle, ...],
    ) -> tuple[int, int]:
        """Change registers and memory; where the program counter and the stack pointer go."""
        name, mode = instruction.mnemonic, instruction.mode
        after = (pc + LENGTHS[mode]) & 0xFFFF
        registers = self.registers
        address = next((at for _, at, data in cycles if data), (pc + 1) & 0xFFFF)
        if name in LOADS:
            value = self._peek(address, lanes)
            registers[LOADS[name]][lanes] = value
            self.p[lanes] = with_nz(self.p[lanes], value)
        elif name in STORES:
            self._poke(address, lanes, registers[STORES[name]][lanes])
        elif name in READS:
            a, p = READS[name](registers["a"][lanes], self._peek(address, lanes), self.p[lanes])
            registers["a"][lanes], self.p[lanes] = a, p
        elif name in COMPARES:
            register = registers[COMPARES[name]][lanes]
            self.p[lanes] = compare(register, self._peek(address, lanes), self.p[lanes])
        elif name in MODIFIES and mode == "accumulator":
            a, p = MODIFIES[name](registers["a"][lanes], self.p[lanes])
            registers["a"][lanes], self.p[lanes] = a, p
        elif name in MODIFIES:
            value, p = MODIFIES[name](self._peek(address, lanes), self.p[lanes])
            self._poke(address, lanes, value)
            self.p[lanes] = p
        elif name in MOVES:
            source, target, more = MOVES[name]
            value = registers[source][lanes] + np.uint8(more & 0xFF)
            registers[target][lanes] = value
            self.p[lanes] = with_nz(self.p[lanes], value)
        elif name in FLAGS:
            flag, level = FLAGS[name]
            kept = self.p[lanes] & np.uint8(0xFF & ~flag)
            self.p[lanes] = kept | np.uint8(flag * level)
        else:
            return self._go(lanes, instruction, pc, sp, after)
        return after, sp

    def _go(
        self, lanes: Places, instruction: Instruction, pc: int, sp: int, after: int
    ) -> tuple[int, int]:
        """Branches, jumps and the stack."""
        name = instruction.mnemonic
        low, high = self._first(pc + 1, lanes), self._first(pc + 2, lanes)
        if name in BRANCHES:
            flag, wanted = BRANCHES[name]
            if bool(int(self.p[lanes[0]]) & flag) == bool(wanted):
                after = (after + low - (low & 0x80) * 2) & 0xFFFF
        elif name == "JMP" and instruction.mode == "absolute":
            after = low | high << 8
        elif name == "JMP":
            after = self._first(low | high << 8, lanes)
            after |= self._first(high << 8 | (low + 1) & 0xFF, lanes) << 8
        elif name == "JSR":
            back = (pc + 2) & 0xFFFF
            sp = self._push(lanes, sp, np.uint8(back >> 8))
            sp = self._push(lanes, sp, np.uint8(back & 0xFF))
            # Read again, as py65 does: code in the stack's page may have been pushed over.
            after = self._first(pc + 1, lanes) | self._first(pc + 2, lanes) << 8
        elif name == "RTS":
            low, high = (self._first(0x100 + ((sp + n) & 0xFF), lanes) for n in (1, 2))
            after, sp = ((low | high << 8) + 1) & 0xFFFF, (sp + 2) & 0xFF
        else:
            sp = self._stack(lanes, name, sp)
        return after, sp

    def _stack(self, lanes: Places, name: str, sp: int) -> int:
        """What only moves something to or from the stack; the new stack pointer."""
        if name == "PHA":
            sp = self._push(lanes, sp, self.registers["a"][lanes])
        elif name == "PHP":
            sp = self._push(lanes, sp, self.p[lanes] | np.uint8(_BREAK_AND_UNUSED))
        elif name == "PLA":
            sp = (sp + 1) & 0xFF
            value = self._peek(0x100 + sp, lanes)
            self.registers["a"][lanes] = value
            self.p[lanes] = with_nz(self.p[lanes], value)
        elif name == "PLP":
            sp = (sp + 1) & 0xFF
            self.p[lanes] = self._peek(0x100 + sp, lanes) | np.uint8(_BREAK_AND_UNUSED)
        elif name == "TSX":
            self.registers["x"][lanes] = sp
            self.p[lanes] = with_nz(self.p[lanes], np.full(len(lanes), sp, np.uint8))
        elif name == "TXS":
            sp = int(self.registers["x"][lanes[0]])
        else:
            assert name == "NOP", name
        return sp

    def _push(self, lanes: Places, sp: int, value: Any) -> int:
        self._poke(0x100 + sp, lanes, value)
        return (sp - 1) & 0xFF
