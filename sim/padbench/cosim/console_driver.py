"""The console's side of the port: latch and clock, and the samples of the data line."""

import logging
from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields, replace
from typing import Any

import cocotb
from cocotb.task import Task

from padbench.core.buttons import spelled
from padbench.core.levels import HIGH, LOW
from padbench.core.stimulus import PollTiming, ScriptedRead
from padbench.cosim.signals import (
    Time,
    length_of,
    level_of,
    now_ps,
    play,
    single,
    wait_until,
    whole,
)
from padbench.model.driven import Edges, console_edges

PLAIN_POLL = PollTiming(8_900_000, 5_400_000, 560_000, 5_590_000, 560_000)
"""About one scan line, as ``plain-loop`` in parts/polls.toml (common practice, from memory)."""


class Bits(list[bool | None]):
    """What was sampled, A first: True is pressed (low), None is at no level."""

    @property
    def byte(self) -> int | None:
        """The first eight as `PadResponder.hold` takes them, A in bit 7; None if one is unknown."""
        eight = self[:8]
        return None if None in eight else sum(128 >> n for n, bit in enumerate(eight) if bit)


class ConsoleDriver:
    """Plays polls on two handles of any cocotb test.

        console = ConsoleDriver(dut.latch, dut.clock, dut.data, timing={"latch_width": (6, "us")})
        bits = await console.read()      # [True, False, ...]: A, B, Select, ...; True is pressed
        bits.byte                        # 0x80: A
        await console.read(stopped_bit=8, extra_clocks=1)           # as the sample fetch stops it
        first, second = console.queue(), console.queue()            # one after the other
        await console.wait()
        first.result().byte

    ``latch`` and ``clock`` are 1-bit inputs of the design, driven from now on: latch low, clock
    high. ``data`` is its 1-bit output. ``latch_inverted``, ``clock_inverted`` and
    ``data_inverted``: the design wants, or gives, the other way up. ``timing`` is a whole
    `PollTiming`, or some of its widths, as picoseconds or (value, unit), for others than those of
    the plain poll. Each read is told to ``log``, a logger below cocotb's. Raises ``ValueError``
    for a handle that has not one bit, and for a width or a count that cannot be.
    """

    def __init__(
        self,
        latch: Any,
        clock: Any,
        data: Any,
        *,
        timing: PollTiming | Mapping[str, Time] = PLAIN_POLL,
        latch_inverted: bool = False,
        clock_inverted: bool = False,
        data_inverted: bool = False,
    ) -> None:
        self.latch, self.clock = single("latch", latch), single("clock", clock)
        self.data = single("data", data)
        self.timing = _timing(timing)
        self.latch_inverted, self.clock_inverted = latch_inverted, clock_inverted
        self.data_inverted = data_inverted
        self.log = logging.getLogger("cocotb.padbench.console")
        self._last: Task[Bits] | None = None
        latch.value = int(latch_inverted)
        clock.value = int(not clock_inverted)

    def _actions(self, edges: Edges) -> list[tuple[int, Any, int]]:
        """Edges (picoseconds) as (picoseconds, handle, value), in time order."""
        latch, clock = edges.latch.times, edges.clock.times
        rise, idle = 1 - self.latch_inverted, int(self.clock_inverted)
        actions = [
            *((when, self.latch, (count + rise) % 2) for count, when in enumerate(latch)),
            *((when, self.clock, (count + idle) % 2) for count, when in enumerate(clock)),
        ]
        # Of two at one time the latch's comes first: sorting keeps the order of equals.
        return sorted(actions, key=lambda action: action[0])

    def queue(
        self,
        timing: PollTiming | Mapping[str, Time] | None = None,
        *,
        stopped_bit: int = 0,
        extra_clocks: int = 0,
    ) -> Task[Bits]:
        """A `read` after all that were asked for before; goes on at once, the task has its bits."""
        own = self.timing if timing is None else _timing(timing)
        whole("stopped_bit", stopped_bit, most=own.clocks)
        read = ScriptedRead(0, own, stopped_bit, whole("extra_clocks", extra_clocks))
        self._last = cocotb.start_soon(self._in_turn(self._last, read))
        return self._last

    async def wait(self) -> None:
        """Until every queued read is made."""
        if self._last is not None:
            await self._last

    async def read(
        self,
        timing: PollTiming | Mapping[str, Time] | None = None,
        *,
        stopped_bit: int = 0,
        extra_clocks: int = 0,
    ) -> Bits:
        """One read, sampled as a console does; one that is asked for meanwhile waits for its end.

        ``extra_clocks`` come just before the sample of ``stopped_bit`` (1 is the first), as when
        the CPU is stopped there. Returns after the last clock.
        """
        return await self.queue(timing, stopped_bit=stopped_bit, extra_clocks=extra_clocks)

    async def _in_turn(self, before: Task[Bits] | None, read: ScriptedRead) -> Bits:
        if before is not None:
            await before
        edges = console_edges([read])
        changes = self._actions(edges)
        begin, done = now_ps(), 0
        bits = Bits()
        for sample in edges.samples:
            # A sample at the very moment of an edge takes the level from before it.
            early = [change for change in changes[done:] if change[0] < sample]
            done += len(early)
            await self._from(begin, early)
            await wait_until(begin + sample)
            bits.append(self._bit())
        await self._from(begin, changes[done:])
        await wait_until(begin + read.length)
        byte = bits.byte
        self.log.info("read: %s", "a bit at no level" if byte is None else spelled(byte))
        return bits

    async def _from(self, begin: int, actions: Sequence[tuple[int, Any, int]]) -> None:
        shift = now_ps() - begin
        await play((when - shift, handle, value) for when, handle, value in actions)

    def _bit(self) -> bool | None:
        level = level_of(self.data.value)
        if level not in (LOW, HIGH):
            return None
        return (level == LOW) != self.data_inverted


_MAY_BE_NONE = ("sample", "extra_low", "extra_high")
"""Times that may be 0."""


def _timing(given: PollTiming | Mapping[str, Time]) -> PollTiming:
    """All of a `PollTiming`, tried; ``ValueError`` for what it does not know or cannot be."""
    some = asdict(given) if isinstance(given, PollTiming) else given
    known = [field.name for field in fields(PollTiming)]
    for name in some:
        if name not in known:
            raise ValueError(f"timing has no {name!r:.60}; it knows {', '.join(known)}")
    values = {
        name: whole(name, value, 1)
        if name == "clocks"
        else length_of(name, value, int(name not in _MAY_BE_NONE))
        for name, value in some.items()
    }
    return replace(PLAIN_POLL, **values)
