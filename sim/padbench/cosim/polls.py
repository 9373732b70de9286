"""Plays a job's runs against a reader: asks for polls, and is the pad that answers them."""

from collections.abc import Callable, Sequence
from typing import Any

import cocotb
from cocotb.triggers import Event, First, ReadOnly, RisingEdge, Timer

from padbench.cosim.grid import GRID
from padbench.cosim.job import Job, Poll, ReaderRun
from padbench.cosim.levels import HIGH, level_of, word_of
from padbench.cosim.monitor import WireMonitor
from padbench.cosim.ports import Ports, power_up
from padbench.cosim.responder import PadResponder
from padbench.cosim.timed import now_ps, steps, wait_until

__all__ = ["play_polls"]

_WIRES = ("latch", "clock", "data", "valid")
_FRAME = 50_000_000_000
"""Picoseconds that a reader may pause which reads by itself: more than two frames."""
_PATIENCE = 4
"""A reader may take so many times as long for a poll as the sheet's, until it took longer."""


async def play_polls(job: Job, ports: Ports, write: Callable[[dict[str, Any]], None]) -> None:
    """All runs of the job, one after the other; ``write`` gets a record of each."""
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
    for run in job.reader_runs:
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
        self.ports, self.pad = ports, pad
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
