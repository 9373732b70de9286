"""The test that runs inside the simulator: plays a job's runs and writes what the wires did.

A record a line: ``{"fault": ...}`` for a design that does not fit, ``{"system-clock": ...}`` for
the system clock's phase, then one for each run as soon as it is over, so that a run that never
ends takes nothing from those before it. A pad is driven; a reader is asked for polls, and answered.
"""

import json
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import cocotb
from cocotb.triggers import Event, First, ReadOnly, RisingEdge, Timer

from padbench.core.levels import HIGH
from padbench.cosim.job import GRID, RECORDS, Job, Poll, ReaderRun
from padbench.cosim.monitor import WireMonitor
from padbench.cosim.ports import Misfit, Ports, power_up
from padbench.cosim.responder import PadResponder
from padbench.cosim.signals import (
    PrecisionError,
    level_of,
    now_ps,
    play,
    steps,
    wait_until,
    word_of,
)

Write = Callable[[dict[str, Any]], None]

_WIRES = ("latch", "clock", "data", "valid")
_FRAME = 50_000_000_000
"""Picoseconds that a reader may pause which reads by itself: more than two frames."""
_PATIENCE = 4
"""A reader may take so many times as long for a poll as the sheet's, until it took longer."""


@cocotb.test()
async def bench(dut: Any) -> None:
    """Everything, in one simulation."""
    folder = Path(os.environ["PADBENCH_JOB"])
    job = Job.read(folder)
    with (folder / RECORDS).open("a") as out:

        def write(record: dict[str, Any]) -> None:
            out.write(json.dumps(record) + "\n")
            out.flush()

        try:
            steps(GRID)
            ports = Ports(dut, job, job.directions(folder))
        except Misfit as misfit:
            write(misfit.record)
            return
        except PrecisionError as error:
            says = f"{error}; it should be 1 ns or finer: see the `timescale of the sources"
            write({"fault": {"key": "sources", "says": says, "instead": ""}})
            return
        write({"unlisted": ports.unlisted})
        await (_play_pad if job.role == "pad" else _play_reader)(job, folder, ports, write)
        write({"done": True})


async def _play_pad(job: Job, folder: Path, ports: Ports, write: Write) -> None:
    first = [("latch", 0), ("clock", 1), ("serial", job.serial)]
    for role, level in first:
        for _, handle, value in ports.setters((0, role, level)):
            handle.value = value
    for _, handle, value in ports.setters((0, "buttons", (1 << job.widths["buttons"]) - 1)):
        handle.value = value
    await power_up(job, ports, write)
    monitor = WireMonitor(
        {"data": ports.get("data")},
        inverted=["data"] if ports.turned("data") else [],
        pulled_up=["data"] if job.pulled_up else [],
    )
    for run in Job.runs(folder):
        base = -(-now_ps() // GRID) * GRID + GRID
        await wait_until(base)
        monitor.take()
        await play(setter for action in run.actions for setter in ports.setters(tuple(action)))
        await wait_until(base + run.end)
        times, levels = monitor.take()["data"]
        write({"run": run.name, "base": base, "data": [times, levels]})


async def _play_reader(job: Job, folder: Path, ports: Ports, write: Write) -> None:
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
    console = _Console(ports, pad)
    await power_up(job, ports, write)
    monitor = WireMonitor(
        {role: ports.get(role) for role in _WIRES},
        inverted=[role for role in job.inverted if role in _WIRES],
    )
    for run in Job.runs(folder):
        await console.ready(run)
        base = -(-now_ps() // GRID) * GRID + GRID
        await wait_until(base)
        monitor.take()
        write(await console.play(run, base) | monitor.take())


class _Console:
    """The design, as what makes polls: when one is over, and what it offered.

    One that reads by itself is followed: a poll is its latch and all that comes up to the next
    poll's latch, and its pad's contacts move as soon as its last clock has risen.
    """

    def __init__(self, ports: Ports, pad: PadResponder) -> None:
        self.ports, self.pad, self.answer = ports, pad, pad.answer
        self.asked = ports.get("start") is not None
        self.strobes: list[tuple[int, int | None]] = []
        self.strobed = Event()
        self.patient = True
        self.first: int | None = None
        """Latches before a poll that it made by itself; None: not known yet."""
        self.done = 0
        """Latches up to the end of the last poll: one more, and the next has begun."""
        cocotb.start_soon(self._watch())

    async def _watch(self) -> None:
        ports = self.ports
        valid, was = ports.get("valid"), False
        while True:
            await valid.value_change
            await ReadOnly()
            strobed = (level_of(valid.value) == HIGH) != ports.turned("valid")
            if strobed and not was:
                self.strobes.append((now_ps(), self._offered()))
                self.strobed.set()
            was = strobed

    def _offered(self) -> int | None:
        word = word_of(self.ports.get("held").value)
        return word if word is None or not self.ports.turned("held") else word ^ 0xFF

    async def ready(self, run: ReaderRun) -> None:
        """Return between two polls."""
        if self.asked:
            return
        if self.first is None:
            # Both passes of a poll agree on what stands still, so with a byte offered it is over.
            self.strobed.clear()
            await self._wait(self.strobed, run)
            self.first = self.pad.reads
        self.pad.over.clear()
        while await self._over(run) and (self.pad.reads - self.first) % run.passes:
            pass
        self.done = self.pad.reads

    async def play(self, run: ReaderRun, base: int) -> dict[str, Any]:
        """One run; the record of what was done and offered, in picoseconds of the simulation."""
        pad = self.pad
        pad.contacts.clear()
        pad.lost.clear()
        pad.answer = self.answer if run.answer is None else run.answer
        self.strobes.clear()
        pad.hold(run.held)
        begun: list[int] = []
        cleared: list[int | None] = []
        kept: list[tuple[int, int | None]] = []
        for number, poll in enumerate(run.polls):
            last = number + 1 == len(run.polls)
            at_once = not last and run.polls[number + 1].at_once
            begun.append(await self._begin(poll, run, stay=at_once))
            latched = pad.latched_at if pad.latched.is_set() else now_ps()
            moves = cocotb.start_soon(self._move(poll.inside, latched))
            if poll.reset is None:
                for turn in range(run.passes):
                    await self._over(run)
                    if not turn:
                        kept.append((now_ps(), self._offered()))
                self.done = pad.reads
            else:
                cleared.append(await self._reset(latched, *poll.reset))
            if not moves.done():
                moves.cancel()
                pad.hold(poll.inside[-1][1])
            await self._rest(poll, run, now_ps(), at_once=at_once, last=last)
        end = now_ps()
        if pad.reads != self.done and not self.asked:
            end = min(end, pad.latched_at - 2 * GRID)  # the next poll is no part of this run
        return {
            "run": run.name,
            "base": base,
            "end": end,
            "polls": begun,
            "strobes": self.strobes[:],
            "contacts": pad.contacts[:],
            "lost": pad.lost[:],
            "cleared": cleared,
            "kept": kept,
        }

    async def _begin(self, poll: Poll, run: ReaderRun, *, stay: bool) -> int:
        """Up to the rise of the latch; when the poll began: asked for, or latched.

        ``stay``: the request stays high, since the next poll is to follow at once.
        """
        pad = self.pad
        pad.lose([(bit, count) for bit, count in poll.lost])
        pad.serial = poll.serial
        if self.asked or pad.reads == self.done:
            pad.latched.clear()
        pad.over.clear()
        begin, clock = now_ps(), self.ports.get("system-clock")
        if self.asked:
            await RisingEdge(clock)
            self.ports.drive("start", 1)
            if poll.at_once:
                await self._wait(pad.latched, run)
            await RisingEdge(clock)
            if not stay:
                self.ports.drive("start", 0)
        if not pad.latched.is_set():
            await self._wait(pad.latched, run)
        if self.asked and not poll.at_once:
            return begin
        return pad.latched_at if pad.latched.is_set() else now_ps()

    async def _over(self, run: ReaderRun) -> bool:
        """The end of one read; False if it does not come."""
        over = await self._wait(self.pad.over, run)
        self.pad.over.clear()
        return over

    async def _wait(self, event: Event, run: ReaderRun) -> bool:
        longest = run.wait
        if self.patient:
            longest = _PATIENCE * run.wait if self.asked else _FRAME
        await First(event.wait(), Timer(steps(longest), "step"))
        self.patient = self.patient and event.is_set()
        return event.is_set()

    async def _move(self, moves: Sequence[tuple[int, int]], start: int) -> None:
        for when, byte in moves:
            await wait_until(start + when)
            self.pad.hold(byte)

    async def _rest(
        self, poll: Poll, run: ReaderRun, since: int, *, at_once: bool, last: bool
    ) -> None:
        """From the last clock's rise to the next poll."""
        self.strobed.clear()
        if self.asked and not run.brisk:
            await self._move(poll.after, since)
            if not at_once:
                await wait_until(since + poll.pause)
            return
        if self.asked or last:
            if self.pad.reads == self.done:
                self.pad.latched.clear()
            pause = Timer(steps(poll.pause), "step")
            await First(self.strobed.wait(), self.pad.latched.wait(), pause)
        for _, byte in poll.after:
            self.pad.hold(byte)

    async def _reset(self, start: int, after: int, length: int) -> int | None:
        """A reset inside a poll; the byte that stands there when it is over."""
        clock = self.ports.get("system-clock")
        await wait_until(start + after)
        await RisingEdge(clock)
        self.ports.drive("reset", 1)
        await Timer(steps(length), "step")
        await RisingEdge(clock)
        self.ports.drive("reset", 0)
        self.first = self.done = self.pad.reads
        await RisingEdge(clock)
        await ReadOnly()
        offered = self._offered()
        await RisingEdge(clock)
        return offered
