"""One case, cycle by cycle: a routine on a console with held pads and, if asked for, the fetch.

    run = run_case(routine, console, held=0x80, fetch=SampleFetch(period=432, phase=17))
    run.results, run.passes, run.stops

py65 executes, decimal mode apart; which address stands on the bus in each cycle comes from
`padbench.routines.bus`, and the fetch hooks in there. Two pads are always plugged in. The first
holds ``held``; the second holds the opposite of each button, so that a routine that mixes the two
up is noticed.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from py65.devices.mpu6502 import MPU

from padbench.routines.bus import INSTRUCTIONS, BusCycle, Registers, bus_cycles
from padbench.routines.console import (
    COPY_CYCLES,
    SPRITE_COPY,
    Console,
    PadPort,
    Pass,
    Plugged,
    SampleFetch,
    Stop,
)
from padbench.routines.routine import DEFAULT_LIMIT, Routine
from padbench.routines.stops import COPY

_STACK = 0xFD
_RETURN = 0xFFF0
"""Where the caller's JSR would go on; any address outside ports and routine will do."""
_RTS = 0x60
_INTERRUPTS_OFF = 0x34


@dataclass(frozen=True, slots=True)
class Access:
    """One cycle that touches a port: a read of ``port`` (0 or 1), or a write of the latch.

    ``dummy`` marks a read whose value the CPU throws away, that of a store with an index for one.
    ``cycle`` counts from the first cycle of the routine, stolen ones included. ``own`` is the same
    without the stolen ones. ``value`` is the bit read or written. ``stolen`` cycles came just
    before a read that was stopped, with ``extra`` clocks in them.
    """

    kind: Literal["read", "latch"]
    cycle: int
    own: int
    port: int
    value: int
    stolen: int = 0
    extra: int = 0
    dummy: bool = False


@dataclass(frozen=True)
class RoutineRun:
    """What one case did.

    ``finished``: the last RTS came within the limit. ``cycles`` from the first cycle to the last
    of RTS, stolen ones included. ``results`` as left in the routine's result places. ``passes`` by
    port. ``kinds`` has one number a cycle of the CPU's own (stolen ones left out): 0 a write, 1 a
    read, 2 and 3 a read of the first and second port, `COPY` the write that starts a sprite copy.
    """

    finished: bool
    cycles: int
    results: tuple[int, ...]
    passes: tuple[tuple[Pass, ...], ...]
    accesses: tuple[Access, ...]
    stops: tuple[Stop, ...]
    kinds: bytes

    @property
    def hit(self) -> bool:
        """Whether a fetch stopped a read of a port."""
        return any(access.stolen for access in self.accesses)

    @property
    def ports_read(self) -> set[int]:
        """The ports that values were taken from."""
        return {one.port for one in self.accesses if one.kind == "read" and not one.dummy}

    def wrong_pass(self, held: int) -> tuple[int, int] | None:
        """(port, byte) of the first pass that read what was not held; None if all are right."""
        wrong = [
            (one.reads[-1], port, one.byte)
            for port, passes in enumerate(self.passes)
            for one in passes
            if one.byte != held_by(port, held)
        ]
        return min(wrong)[1:] if wrong else None


class _Cpu(MPU):  # type: ignore[misc]  # py65 has no types
    """This console's CPU has no decimal mode: its flag changes nothing (from memory)."""

    def opADC(self, x: object) -> None:
        self._binary(MPU.opADC, x)

    def opSBC(self, x: object) -> None:
        self._binary(MPU.opSBC, x)

    def _binary(self, does: Callable[["_Cpu", object], None], x: object) -> None:
        decimal = self.p & self.DECIMAL
        self.p -= decimal
        does(self, x)
        self.p |= decimal


def starts_copy(cycles: Sequence[BusCycle]) -> bool:
    """Whether an instruction ends with the write that starts a sprite copy."""
    return cycles[-1].write and cycles[-1].address == SPRITE_COPY


_FIXED_MODES = {"immediate", "zero page", "absolute", "accumulator", "relative"}
_FIXED_INSIDE = {i.mnemonic for i in INSTRUCTIONS.values() if i.pattern == ("opcode", "next")}


@dataclass(frozen=True, slots=True)
class InstructionCycles:
    """One instruction: its cycles, their kinds (see `RoutineRun`), whether none touches a port."""

    cycles: tuple[BusCycle, ...]
    kinds: bytes
    quiet: bool


class InstructionCache:
    """Bus cycles of a routine's instructions, checked and remembered: only for speed.

    Ask `next` before each instruction; one object serves any number of runs of a routine.

    Cycles that depend on nothing but the instruction's own bytes and the flags are worked out
    once, and again should the code have changed itself.
    """

    def __init__(self, routine: Routine) -> None:
        self.routine = routine
        self.last: int | None = None
        self.known: dict[tuple[int, int], tuple[list[int], InstructionCycles]] = {}

    def next(self, cpu: Registers) -> InstructionCycles:
        """The cycles of the instruction that stands next.

        Raises `RoutineError` for an undocumented opcode or a place outside the routine.
        """
        pc, memory = cpu.pc, cpu.memory
        key = pc, cpu.p & 0xC3 if memory[pc] & 0x1F == 0x10 else 0  # flags matter to a branch
        remembered = self.known.get(key)
        came_from, self.last = self.last, pc
        if remembered is not None and memory[pc : pc + 3] == remembered[0]:
            return remembered[1]
        self.routine.check_instruction(pc, memory, came_from)
        bus = self._bus(cpu)
        instruction = INSTRUCTIONS[memory[pc]]
        if instruction.mnemonic in _FIXED_INSIDE or (
            instruction.mode in _FIXED_MODES and instruction.mnemonic != "JSR"
        ):
            self.known[key] = list(memory[pc : pc + 3]), bus
        return bus

    def _bus(self, cpu: Registers) -> InstructionCycles:
        cycles = tuple(bus_cycles(cpu))
        ports = self.routine.ports
        kinds = [
            0 if write else 2 + ports.index(address) if address in ports else 1
            for write, address, _ in cycles
        ]
        if starts_copy(cycles):
            kinds[-1] = COPY
        return InstructionCycles(
            cycles,
            bytes(kinds),
            not any(address in ports for _, address, _ in cycles),
        )


@dataclass(slots=True)
class Carried:
    """What a call of a routine leaves for the next: memory, and what its caller keeps in A."""

    memory: list[int]
    a: int = 0

    @classmethod
    def fresh(cls, routine: Routine, states: Sequence[int]) -> "Carried":
        """Memory as loaded, and a state, port by port, where each pad's byte stands."""
        carried = cls(list(routine.image))
        for address, port in routine.kept:
            carried.memory[address] = states[port]
        for state, place in zip(states, routine.results, strict=False):
            if place == "A":
                carried.a = state
            else:
                carried.memory[place] = state
        return carried


def held_by(port: int, held: int) -> int:
    """The state of the pad on a port when the first one holds ``held``."""
    return held ^ 0xFF if port else held


def run_case(
    routine: Routine,
    console: Console,
    held: int,
    *,
    fetch: SampleFetch | None = None,
    limit: int = DEFAULT_LIMIT,
    preset: int = 0,
    cache: InstructionCache | None = None,
    pads: Sequence[Plugged] = (),
    carried: Carried | None = None,
    trace: list[tuple[int, int, tuple[BusCycle, ...]]] | None = None,
) -> RoutineRun:
    """Run one case; ``preset`` is exclusive-ored into the held state that the results start from.

    ``cache`` is what runs of the same routine can share, to be quicker. ``pads``, one for each
    port, take the place of those that hold ``held``. With ``carried`` the routine goes on from what
    an earlier call left, which is brought up to date, and ``held`` presets nothing. ``trace`` takes
    of each instruction the first of its own cycles, its address and its cycles on the bus.

    Raises `RoutineError` for an undocumented opcode or a jump out of the routine.
    """
    begins = carried or Carried.fresh(routine, [held_by(port, held ^ preset) for port in range(2)])
    case = _Case(routine, console, held, fetch, pads, begins)
    cache = cache or InstructionCache(routine)
    finished = False
    while not finished and case.now <= limit:
        if trace is not None:
            trace.append((len(case.kinds), case.cpu.pc, cache.next(case.cpu).cycles))
        finished = case.step(cache)
    run = case.run(finished and case.now <= limit)
    if carried is not None and run.finished and "A" in routine.results:
        carried.a = run.results[routine.results.index("A")]
    return run


def undisturbed(
    routine: Routine,
    console: Console,
    held: int,
    limit: int = DEFAULT_LIMIT,
    cache: InstructionCache | None = None,
) -> RoutineRun:
    """The run without any fetch. Raises `RoutineError` if it does not end within the limit."""
    run = run_case(routine, console, held, limit=limit, cache=cache)
    if not run.finished:
        raise routine.error(
            routine.entry,
            "the routine",
            f"has not come back after {limit} cycles (buttons held: {held:08b})",
            "end it with RTS, or raise --limit if it is meant to take so long",
        )
    return run


class _Case:
    """A case under way: CPU, pads, and what has been seen so far."""

    def __init__(
        self,
        routine: Routine,
        console: Console,
        held: int,
        fetch: SampleFetch | None,
        pads: Sequence[Plugged],
        carried: Carried,
    ) -> None:
        self.routine, self.console, self.fetch = routine, console, fetch
        self.memory = memory = carried.memory
        self.cpu = cpu = _Cpu(memory, routine.entry)
        cpu.sp, cpu.p, cpu.a = _STACK, _INTERRUPTS_OFF, carried.a
        memory[0x100 + _STACK + 1], memory[0x100 + _STACK + 2] = _RETURN & 0xFF, _RETURN >> 8
        self.pads: Sequence[Plugged] = pads or [PadPort(held_by(port, held)) for port in range(2)]
        self.ports = {address: port for port, address in enumerate(routine.ports)}
        self.strobe = routine.strobe
        self.accesses: list[Access] = []
        self.kinds = bytearray()
        self.now = 0

    def step(self, cache: InstructionCache) -> bool:
        """One instruction; whether it was the RTS that ends the routine."""
        cpu, fetch = self.cpu, self.fetch
        last: bool = self.memory[cpu.pc] == _RTS and cpu.sp == _STACK
        bus = cache.next(cpu)
        if bus.quiet and (fetch is None or fetch.requested >= self.now + len(bus.kinds)):
            self.kinds += bus.kinds
            self.now += len(bus.kinds)
            if not last:
                cpu.step()
            self._copy(bus)
            return last
        written: list[tuple[int, int]] = []
        for (write, address, data), kind in zip(bus.cycles, bus.kinds, strict=True):
            if write:
                if address == self.strobe:
                    written.append((self.now, len(self.kinds)))
                self.kinds.append(kind)
            else:
                self._read(address, dummy=not data)
            self.now += 1
        if not last:
            # What an instruction that changes memory writes first is the value it has read.
            values = [self.memory[self.strobe]] * len(written)
            cpu.step()
            values[-1:] = [self.memory[self.strobe]] * bool(written)
            for (at, own), value in zip(written, values, strict=True):
                for pad in self.pads:
                    pad.strobe(value & 1, at)
                self.accesses.append(Access("latch", at, own, 0, value & 1))
        self._copy(bus)
        return last

    def _copy(self, bus: InstructionCycles) -> None:
        """The sprite copy, if the last cycle has started one."""
        if bus.kinds[-1] == COPY:
            fetch = self.fetch
            self.now = self.now + COPY_CYCLES if fetch is None else fetch.copied(self.now)

    def _read(self, address: int, *, dummy: bool) -> None:
        """A read cycle: the place where the CPU can be stopped."""
        stolen = self.fetch.stop(self.now, address) if self.fetch is not None else 0
        self.now += stolen
        port = self.ports.get(address)
        if port is None:
            self.kinds.append(1)
            return
        extra = self.console.extra_clocks(stolen) if stolen else 0
        if extra:
            self.pads[port].stopped(extra, stolen, self.now)
        bit = self.pads[port].read(self.now)
        # Data lines that no pad drives keep what was on the bus last, the high byte of the port's
        # address (from memory); the port drives the lowest five.
        self.memory[address] = address >> 8 & 0xE0 | bit
        self.accesses.append(
            Access("read", self.now, len(self.kinds), port, bit, stolen, extra, dummy)
        )
        self.kinds.append(2 + port)

    def run(self, finished: bool) -> RoutineRun:
        """What came of it."""
        memory, fetch = self.memory, self.fetch
        return RoutineRun(
            finished=finished,
            cycles=self.now,
            results=tuple(
                self.cpu.a if place == "A" else memory[place] for place in self.routine.results
            ),
            passes=tuple(tuple(pad.passes) for pad in self.pads),
            accesses=tuple(self.accesses),
            stops=tuple(fetch.stops) if fetch is not None else (),
            kinds=bytes(self.kinds),
        )
