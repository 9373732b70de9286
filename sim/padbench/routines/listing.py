"""Where a run touches a port, line by line, and what a fetch that stops it there costs.

for touch in listing(routine, console, held=0): touch.line, touch.cycle, touch.bus, touch.stop
"""

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from padbench.core.buttons import BUTTONS
from padbench.routines.bus import INSTRUCTIONS, BusCycle
from padbench.routines.console import Console
from padbench.routines.routine import DEFAULT_LIMIT, Routine
from padbench.routines.run import run_case


@dataclass(frozen=True, slots=True)
class Touch:
    """One cycle on the bus: ``line`` of ``file`` is None without a source.

    ``loses`` are the bits (1 is read first) of pass ``pass_number`` that a stop here can lose.
    ``fault`` is what of the instruction does more to the pad than people who write it mean: it
    ``writes-back`` what it has read to the latch, or its ``dummy-read`` clocks the pad in a pass.
    """

    cycle: int
    address: int
    file: str
    line: int | None
    source: str
    bus: str
    pass_number: int
    loses: tuple[int, ...]
    fault: Literal["", "writes-back", "dummy-read"] = ""

    @property
    def stop(self) -> str:
        """What a stop here does, for people."""
        if not self.loses:
            return "–"
        first, last = self.loses[0], self.loses[-1]
        bits = f"bit {first} ({BUTTONS[first - 1]})"
        if last > first:
            bits = f"bits {first} to {last} ({BUTTONS[first - 1]} to {BUTTONS[last - 1]})"
        return f"a stop here loses {bits} of pass {self.pass_number}"


def listing(
    routine: Routine, console: Console, held: int, limit: int = DEFAULT_LIMIT
) -> Iterator[Touch]:
    """The cycles of an undisturbed run that touch a port. Raises `RoutineError`."""
    trace: list[tuple[int, int, tuple[BusCycle, ...]]] = []
    run = run_case(routine, console, held, limit=limit, trace=trace)
    starts = [own for own, _, _ in trace]
    level, number, reads = 0, 0, [0, 0]
    # Where each repeated read clocks, a stop of four cycles has three clocks too many.
    most = console.extra_clocks(4)
    for access in run.accesses:
        _, pc, cycles = trace[bisect_right(starts, access.own) - 1]
        file, line = routine.lines.get(pc, (routine.name, None))
        lines = routine.sources.get(file, "").splitlines()
        source = INSTRUCTIONS[routine.image[pc]].mnemonic
        if line is not None and line <= len(lines):
            source = lines[line - 1].split(";")[0].strip()
        loses: range | tuple[int, ...] = ()
        fault: Literal["", "writes-back", "dummy-read"] = ""
        if any(write and at == routine.strobe for write, at, _ in cycles) and any(
            not write and data and at in routine.ports for write, at, data in cycles
        ):
            fault = "writes-back"
        port = routine.ports[access.port]
        if access.kind == "latch":
            if level and not access.value:
                number, reads = number + 1, [0, 0]
            level, bus = access.value, f"writes {access.value} to ${routine.strobe:04X}"
        else:
            bus = f"reads ${port:04X}" + " and throws it away" * access.dummy
            if not level and number:
                reads[access.port] += 1
                first = reads[access.port]
                loses = range(first, min(first + most, 9))
                if access.dummy and first <= 8:
                    fault = "dummy-read"
        yield Touch(access.cycle, pc, file, line, source, bus, number, tuple(loses), fault)
