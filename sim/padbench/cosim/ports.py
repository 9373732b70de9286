"""A design's ports by role, inside a simulation: found, checked, driven by what they mean."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from cocotb.clock import Clock
from cocotb.handle import ValueObjectBase
from cocotb.triggers import RisingEdge, Timer
from cocotb.types import Logic, LogicArray

from padbench.cosim.job import Job
from padbench.cosim.port_list import port_of
from padbench.cosim.signals import BitOf, now_ps, steps, width_of

_RESET_CYCLES = 8
_UNCLOCKED_RESET = 1_000_000
"""Picoseconds; a reset without a clock lasts this long. Invented: long for any logic."""


class Misfit(Exception):
    """The design does not fit the job."""

    def __init__(self, key: str, says: str, instead: str) -> None:
        super().__init__(says)
        self.record = {"fault": {"key": key, "says": says, "instead": instead}}


_OUTPUTS = {"pad": {"data"}, "reader": {"latch", "clock", "held", "valid"}}


class Ports:
    """The design's ports by role, checked for being there, for their direction and width.

    ``directions`` is what the simulator built, empty where that is not known. ``unlisted`` are
    inputs that the sheet does not name.
    """

    def __init__(self, dut: Any, job: Job, directions: Mapping[str, str]) -> None:
        self.dut, self.job, self.directions = dut, job, directions
        self.shadows: dict[str, LogicArray] = {}
        self.named = set[str]()
        self.by_role = {
            role: self._bit(role, name) if role not in job.widths else self._word(role, name)
            for role, name in job.ports.items()
            if role != "buttons"
        }
        self.buttons: list[Any] = []
        buttons = job.ports.get("buttons")
        if isinstance(buttons, list):
            self.buttons = [
                None if name is None else self._bit("buttons", name) for name in buttons
            ]
        elif buttons is not None:
            self.by_role["buttons"] = self._word("buttons", buttons)
        self.ties = [(self._tie(name, level), level) for name, level in job.ties.items()]
        self.unlisted = self._as_written(
            name for name, way in directions.items() if way == "input" and name not in self.named
        )

    def _as_written(self, ports: Iterable[str]) -> list[str]:
        return sorted(self.job.fields.get(name, name) for name in ports)

    def _find(self, role: str, name: str) -> Any:
        base, steps = port_of(self.job, name)
        handle: Any = getattr(self.dut, base, None)
        if handle is None or (self.directions and base not in self.directions):
            there = self._as_written(self.directions) or sorted(
                port._name for port in self.dut if isinstance(port, ValueObjectBase)
            )
            raise Misfit(role, f"{name} is no port of {self.job.top}", "it has " + ", ".join(there))
        self.named.add(base)
        way = self.directions.get(base, "inout")
        wanted = "output" if role in _OUTPUTS[self.job.role] else "input"
        if way not in (wanted, "inout"):
            says = f"{name} is an {way} of {self.job.top}"
            raise Misfit(role, says, f"name an {wanted}")
        for step in steps:
            if isinstance(step, str):
                handle = getattr(handle, step, None)
            elif width_of(handle) and step in handle.range:
                every = LogicArray("X" * len(handle), handle.range)
                handle = BitOf(handle, step, self.shadows.setdefault(base, every))
            else:
                handle = None
            if handle is None:
                says = f"{name} is no part of a port of {self.job.top}"
                raise Misfit(role, says, f"see how {base} is declared")
        return handle

    def _bit(self, role: str, name: str) -> Any:
        handle = self._find(role, name)
        if width_of(handle) != 1:
            raise Misfit(role, f"{name} has {width_of(handle)} bits", "name a port of one bit")
        return handle

    def _tie(self, name: str, level: int) -> Any:
        handle = self._find(f"ties.{name}", name)
        bits = width_of(handle)
        if level >= 1 << bits:
            says = f"{name} has {bits} bit{'s' * (bits != 1)}, and {level} needs more"
            raise Misfit(f"ties.{name}", says, f"give 0 to {(1 << bits) - 1}")
        return handle

    def _word(self, role: str, name: str) -> Any:
        handle = self._find(role, name)
        width = self.job.widths[role]
        bits = width_of(handle)
        if bits != width:
            raise Misfit(role, f"{name} has {bits} bits", f"name a port of {width} bits")
        return handle

    def get(self, role: str) -> Any:
        """The handle of a role; None if the design has none."""
        return self.by_role.get(role)

    def turned(self, role: str) -> bool:
        """Whether the sheet says that it stands the other way up."""
        return role in self.job.inverted

    def drive(self, role: str, level: int) -> None:
        """Set an input by what it means rather than by its level."""
        handle = self.get(role)
        if handle is not None:
            handle.value = level ^ self.turned(role)

    def setters(self, action: tuple[int, str, Any]) -> list[tuple[int, Any, Any]]:
        """One action on a role as actions on handles."""
        when, role, value = action
        turned = self.turned(role)
        if role == "serial":
            handle = self.get("serial")
            if value is None:  # left open; where a simulator knows only two levels it must be one
                value = 1 if self.job.two_valued else Logic("Z")
            return [] if handle is None else [(when, handle, value)]
        if role != "buttons":
            return [(when, self.by_role[role], value ^ turned)]
        if self.buttons:
            return [
                (when, handle, (value >> place & 1) ^ turned)
                for place, handle in enumerate(self.buttons)
                if handle is not None
            ]
        width = self.job.widths["buttons"]
        return [(when, self.by_role["buttons"], value ^ ((1 << width) - 1 if turned else 0))]


async def power_up(job: Job, ports: Ports, write: Callable[[dict[str, Any]], None]) -> None:
    """Start the system clock, and reset; writes down the phase of that clock."""
    clock = ports.get("system-clock")
    for handle, level in ports.ties:
        handle.value = level
    ports.drive("reset", 1)
    if clock is None or job.period is None:
        await Timer(steps(_UNCLOCKED_RESET), "step")
        ports.drive("reset", 0)
        await Timer(steps(_UNCLOCKED_RESET), "step")
        return
    period = max(2, steps(job.period))
    Clock(clock, period, "step", impl="gpi", period_high=period // 2).start(start_high=False)
    for _ in range(_RESET_CYCLES):
        await RisingEdge(clock)
    rise = now_ps()
    ports.drive("reset", 0)
    for _ in range(_RESET_CYCLES):
        await RisingEdge(clock)
    write({"system-clock": {"rise": rise, "period": (now_ps() - rise) // _RESET_CYCLES}})
