"""The console's side of the port: latch and clock, and the samples of the data line."""

from collections.abc import Sequence
from typing import Any

from padbench.core.stimulus import PollTiming, ScriptedRead
from padbench.core.timeline import HIGH, LOW
from padbench.cosim.signals import level_of, now_ps, play, wait_until
from padbench.model.driven import Edges, console_edges

PLAIN_POLL = PollTiming(8_900_000, 5_400_000, 560_000, 5_590_000, 560_000)
"""About one scan line, as ``plain-loop`` in parts/polls.toml (common practice, from memory)."""


class ConsoleDriver:
    """Plays polls on two handles of any cocotb test.

        console = ConsoleDriver(dut.latch, dut.clock, dut.data)
        bits = await console.read()      # [True, False, ...]: A, B, Select, ...; True is pressed
        await console.read(stopped_bit=8, extra_clocks=1)           # as the sample fetch stops it

    ``latch`` and ``clock`` are 1-bit inputs of the design, driven from now on: latch low, clock
    high. ``data`` is its 1-bit output, needed only for `read`. ``latch_inverted``,
    ``clock_inverted`` and ``data_inverted``: the design wants, or gives, the other way up.
    """

    def __init__(
        self,
        latch: Any,
        clock: Any,
        data: Any = None,
        *,
        timing: PollTiming = PLAIN_POLL,
        latch_inverted: bool = False,
        clock_inverted: bool = False,
        data_inverted: bool = False,
    ) -> None:
        self.latch, self.clock, self.data = latch, clock, data
        self.timing = timing
        self.latch_inverted, self.clock_inverted = latch_inverted, clock_inverted
        self.data_inverted = data_inverted
        latch.value = int(latch_inverted)
        clock.value = int(not clock_inverted)

    def actions(self, edges: Edges) -> list[tuple[int, Any, int]]:
        """Edges (picoseconds) as (picoseconds, handle, value), in time order."""
        latch, clock = edges.latch.times, edges.clock.times
        rise, idle = 1 - self.latch_inverted, int(self.clock_inverted)
        actions = [
            *((when, self.latch, (count + rise) % 2) for count, when in enumerate(latch)),
            *((when, self.clock, (count + idle) % 2) for count, when in enumerate(clock)),
        ]
        # Of two at one time the latch's comes first: sorting keeps the order of equals.
        return sorted(actions, key=lambda action: action[0])

    async def play(self, reads: Sequence[ScriptedRead]) -> None:
        """Make these reads, their ``start`` counted from now; samples nothing."""
        await play(self.actions(console_edges(reads)))

    async def read(
        self, timing: PollTiming | None = None, *, stopped_bit: int = 0, extra_clocks: int = 0
    ) -> list[bool | None]:
        """One read, sampled as a console does: True is pressed (low), None is at no level.

        ``extra_clocks`` come just before the sample of ``stopped_bit`` (1 is the first), as when
        the CPU is stopped there. Returns after the last clock. Raises ``ValueError`` if the driver
        was made without a data handle.
        """
        if self.data is None:
            raise ValueError("the driver has no data handle; pass one to read with it")
        read = ScriptedRead(0, timing or self.timing, stopped_bit, extra_clocks)
        edges = console_edges([read])
        changes = self.actions(edges)
        begin, done = now_ps(), 0
        bits: list[bool | None] = []
        for sample in edges.samples:
            # A sample at the very moment of an edge takes the level from before it.
            early = [change for change in changes[done:] if change[0] < sample]
            done += len(early)
            await self._from(begin, early)
            await wait_until(begin + sample)
            bits.append(self._bit())
        await self._from(begin, changes[done:])
        await wait_until(begin + read.length)
        return bits

    async def _from(self, begin: int, actions: Sequence[tuple[int, Any, int]]) -> None:
        shift = now_ps() - begin
        await play((when - shift, handle, value) for when, handle, value in actions)

    def _bit(self) -> bool | None:
        level = level_of(self.data.value)
        if level not in (LOW, HIGH):
            return None
        return (level == LOW) != self.data_inverted
