"""The test that runs inside the simulator: plays a job's runs and writes what the wires did.

A record a line: ``{"fault": ...}`` for a design that does not fit, ``{"system-clock": ...}`` for
the system clock's phase, then one for each run as soon as it is over, so that a run that never
ends takes nothing from those before it.
"""

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cocotb
from cocotb.clock import Clock
from cocotb.handle import ValueObjectBase
from cocotb.triggers import First, ReadOnly, RisingEdge, Timer
from cocotb.types import Logic

from padbench.cosim.grid import GRID
from padbench.cosim.job import RECORDS, Job, PadRun
from padbench.cosim.levels import HIGH, level_of, word_of
from padbench.cosim.monitor import WireMonitor
from padbench.cosim.responder import PadResponder
from padbench.cosim.timed import PrecisionError, now_ps, play, steps, wait_until

FOLDER = "PADBENCH_JOB"
"""Environment variable that says where job and records lie."""

_RESET_CYCLES = 8
_UNCLOCKED_RESET = 1_000_000
"""Picoseconds; a reset without a clock lasts this long. Invented: long for any logic."""


class _Misfit(Exception):
    """The design does not fit the job."""

    def __init__(self, key: str, says: str, instead: str) -> None:
        super().__init__(says)
        self.record = {"fault": {"key": key, "says": says, "instead": instead}}


def _width(handle: Any) -> int:
    """Bits of a signal; 0 for what is none, or has no bits."""
    countable = isinstance(handle, ValueObjectBase) and hasattr(handle, "__len__")
    return len(handle) if countable else 0


class _Ports:
    """The design's ports by role, checked for being there and for their width."""

    def __init__(self, dut: Any, job: Job) -> None:
        self.dut, self.job = dut, job
        self.vhdl = job.engine == "ghdl"
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

    def _find(self, role: str, name: str) -> Any:
        handle = getattr(self.dut, name.lower() if self.vhdl else name, None)
        if handle is None:
            there = sorted(one._name for one in self.dut if isinstance(one, ValueObjectBase))
            raise _Misfit(
                role, f"{name} is no port of {self.job.top}", "it has " + ", ".join(there)
            )
        return handle

    def _bit(self, role: str, name: str) -> Any:
        handle = self._find(role, name)
        width = _width(handle)
        if width != 1:
            raise _Misfit(role, f"{name} has {width} bits", "name a port of one bit")
        return handle

    def _word(self, role: str, name: str) -> Any:
        handle = self._find(role, name)
        width = self.job.widths[role]
        found = _width(handle)
        if found != width:
            raise _Misfit(role, f"{name} has {found} bits", f"name a port of {width} bits")
        return handle

    def get(self, role: str) -> Any:
        return self.by_role.get(role)

    def turned(self, role: str) -> bool:
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
                value = 1 if self.job.engine == "verilator" else Logic("Z")
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


@cocotb.test()
async def bench(dut: Any) -> None:
    """Everything, in one simulation."""
    folder = Path(os.environ[FOLDER])
    job = Job.read(folder)
    with (folder / RECORDS).open("a") as out:

        def write(record: dict[str, Any]) -> None:
            out.write(json.dumps(record) + "\n")
            out.flush()

        try:
            steps(GRID)
            ports = _Ports(dut, job)
        except _Misfit as misfit:
            write(misfit.record)
            return
        except PrecisionError as error:
            says = f"{error}; it should be 1 ns or finer: see the `timescale of the sources"
            write({"fault": {"key": "sources", "says": says, "instead": ""}})
            return
        await (_pad if job.role == "pad" else _reader)(job, ports, write)
        write({"done": True})


async def _start(job: Job, ports: _Ports, write: Callable[[dict[str, Any]], None]) -> None:
    """System clock and reset."""
    clock = ports.get("system-clock")
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


async def _pad(job: Job, ports: _Ports, write: Callable[[dict[str, Any]], None]) -> None:
    first = [("latch", 0), ("clock", 1), ("serial", job.serial)]
    for role, level in first:
        for _, handle, value in ports.setters((0, role, level)):
            handle.value = value
    for _, handle, value in ports.setters((0, "buttons", (1 << job.widths["buttons"]) - 1)):
        handle.value = value
    await _start(job, ports, write)
    monitor = WireMonitor(
        {"data": ports.get("data")}, inverted=["data"] if ports.turned("data") else []
    )
    for run in job.pad_runs:
        base = -(-now_ps() // GRID) * GRID + GRID
        await wait_until(base)
        monitor.take()
        await _play_pad(run, ports)
        await wait_until(base + run.end)
        times, levels = monitor.take()["data"]
        write({"run": run.name, "base": base, "data": [times, levels]})


async def _play_pad(run: PadRun, ports: _Ports) -> None:
    await play(setter for action in run.actions for setter in ports.setters(tuple(action)))


async def _reader(job: Job, ports: _Ports, write: Callable[[dict[str, Any]], None]) -> None:
    ports.drive("start", 0)
    pad = PadResponder(
        ports.get("latch"),
        ports.get("clock"),
        ports.get("data"),
        answer=job.answer,
        serial=job.serial or 0,
        latch_inverted=ports.turned("latch"),
        clock_inverted=ports.turned("clock"),
        data_inverted=ports.turned("data"),
    )
    await _start(job, ports, write)
    monitor = WireMonitor(
        {role: ports.get(role) for role in ("latch", "clock", "data", "valid")},
        inverted=[role for role in job.inverted if role in ("latch", "clock", "data", "valid")],
    )
    strobes: list[tuple[int, int | None]] = []
    cocotb.start_soon(_strobes(ports, strobes))
    for run in job.reader_runs:
        base = -(-now_ps() // GRID) * GRID + GRID
        await wait_until(base)
        monitor.take()
        strobes.clear()
        begun: list[int] = []
        for poll in run.polls:
            begun.append(now_ps())
            pad.hold(poll.held)
            pad.lose([(bit, count) for bit, count in poll.lost])
            await _one_poll(job, ports, run.wait)
        write(
            {
                "run": run.name,
                "base": base,
                "end": now_ps(),
                "polls": begun,
                "strobes": strobes[:],
                **monitor.take(),
            }
        )


async def _one_poll(job: Job, ports: _Ports, wait: int) -> None:
    begin = now_ps()
    if ports.get("start") is not None:
        for level in (1, 0):
            await RisingEdge(ports.get("system-clock"))
            ports.drive("start", level)
    else:
        # It reads when it likes: wait for its latch, and give up if none comes.
        latch = ports.get("latch")
        await First(latch.value_change, Timer(steps(2 * wait), "step"))
        begin = now_ps()
    await wait_until(begin + wait)


async def _strobes(ports: _Ports, strobes: list[tuple[int, int | None]]) -> None:
    valid, held = ports.get("valid"), ports.get("held")
    was = False
    while True:
        await valid.value_change
        await ReadOnly()
        strobed = (level_of(valid.value) == HIGH) != ports.turned("valid")
        if strobed and not was:
            word = word_of(held.value)
            if word is not None and ports.turned("held"):
                word ^= 0xFF
            strobes.append((now_ps(), word))
        was = strobed
