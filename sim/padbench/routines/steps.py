"""The bus cycles of a routine's instructions, checked and remembered: only for speed."""

from dataclasses import dataclass

from padbench.routines.bus import INSTRUCTIONS, BusCycle, Registers, bus_cycles
from padbench.routines.routine import Routine

__all__ = ["Bus", "Steps"]

_FIXED_MODES = {"immediate", "zero page", "absolute", "accumulator", "relative"}
_FIXED_INSIDE = {i.mnemonic for i in INSTRUCTIONS.values() if i.pattern == ("opcode", "next")}


@dataclass(frozen=True, slots=True)
class Bus:
    """One instruction: its cycles, their kinds (see `Run`), whether none touches a port."""

    cycles: tuple[BusCycle, ...]
    kinds: bytes
    quiet: bool


class Steps:
    """Ask `next` before each instruction; one object serves any number of runs of a routine.

    Cycles that depend on nothing but the instruction's own bytes and the flags are worked out
    once, and again should the code have changed itself.
    """

    def __init__(self, routine: Routine) -> None:
        self.routine = routine
        self.last: int | None = None
        self.known: dict[tuple[int, int], tuple[list[int], Bus]] = {}

    def next(self, cpu: Registers) -> Bus:
        """The cycles of the instruction that stands next.

        Raises `RoutineError` for an undocumented opcode or a place outside the routine.
        """
        pc, memory = cpu.pc, cpu.memory
        key = pc, cpu.p & 0xC3 if memory[pc] & 0x1F == 0x10 else 0  # flags matter to a branch
        found = self.known.get(key)
        came_from, self.last = self.last, pc
        if found is not None and memory[pc : pc + 3] == found[0]:
            return found[1]
        self.routine.check_instruction(pc, memory, came_from)
        bus = self._bus(cpu)
        instruction = INSTRUCTIONS[memory[pc]]
        if instruction.mnemonic in _FIXED_INSIDE or (
            instruction.mode in _FIXED_MODES and instruction.mnemonic != "JSR"
        ):
            self.known[key] = list(memory[pc : pc + 3]), bus
        return bus

    def _bus(self, cpu: Registers) -> Bus:
        cycles = tuple(bus_cycles(cpu))
        ports = self.routine.ports
        return Bus(
            cycles,
            bytes(
                0 if write else 2 + ports.index(address) if address in ports else 1
                for write, address, _ in cycles
            ),
            not any(address in ports for _, address, _ in cycles),
        )
