"""The pad's side of the port, for designs that play the console."""

import logging
from collections.abc import Sequence
from typing import Any

import cocotb
from cocotb.triggers import Event, Lock, Timer

from padbench.core.buttons import spelled
from padbench.core.levels import HIGH, LOW
from padbench.cosim.signals import Time, length_of, level_of, now_ps, single, steps, whole

_OVER = 9
"""The bit that stands on the line after the last of eight clocks."""

_BOUNCES = (0.0, 0.06, 0.13, 0.22, 0.3, 0.42, 0.55, 0.71, 0.8)
"""Parts of the bounce time at which the contact changes; invented, but not even."""


class PadResponder:
    """A pad of eight stages on three handles: loads while latch is high, shifts on clock's rise.

        pad = PadResponder(dut.latch, dut.clock, dut.data, answer=(320, "ns"))
        pad.hold(0x80)                             # A is down
        await pad.press(0x00, bounce=(5, "ms"))    # released; the contact bounces for 5 ms
        pad.queue(0x80, 0x40)                      # in the next read A, in the one after it B
        assert await pad.wait() == 0x40            # both were read; the byte of the last read

    ``latch`` and ``clock`` are outputs of the design, ``data`` is its input and driven from now on
    (low is pressed). ``answer``: from an edge to the data line; times are picoseconds or (value,
    unit). ``serial``: level of the serial input. The ``..._inverted`` say which of the design's
    ports stand the other way up. Each read is told to ``log``, a logger below cocotb's. Raises
    ``ValueError`` for a handle that has not one bit, and for a byte, a level or a time that cannot
    be.

    Faults: ``stuck`` buttons never let go; ``dead`` is a pad that is not plugged in, its line high;
    `lose` makes it miss bits as if it had been clocked too often.

    What it saw and did: ``reads`` counts latches, ``latched`` is set at each, at ``latched_at``
    picoseconds, ``over`` at the eighth clock of each read; clear them before you wait for the next.
    ``contacts`` and ``lost`` are (picoseconds, byte held) and (picoseconds, bits lost), and grow.
    """

    def __init__(
        self,
        latch: Any,
        clock: Any,
        data: Any,
        *,
        answer: Time = 0,
        serial: int = 0,
        stuck: int = 0,
        dead: bool = False,
        latch_inverted: bool = False,
        clock_inverted: bool = False,
        data_inverted: bool = False,
    ) -> None:
        self.latch, self.clock = single("latch", latch), single("clock", clock)
        self.data, self.answer = single("data", data), length_of("answer", answer)
        self.serial, self.stuck = whole("serial", serial, most=1), whole("stuck", stuck, most=0xFF)
        self.dead = dead
        self.log = logging.getLogger("cocotb.padbench.pad")
        self._moving, self._queued, self._loaded = Lock(), list[int](), stuck
        self.reads = 0
        self.latched, self.over, self._done = Event(), Event(), Event()
        self.latched_at = 0
        self.contacts: list[tuple[int, int]] = [(now_ps(), stuck)]
        self.lost: list[tuple[int, int]] = []
        self._held = stuck
        self._inputs = ~stuck & 0xFF
        self._stages = 0xFF
        self._lost: list[tuple[int, int]] = []
        self._losing = (0, 0)
        self._bit = 0
        self._high = LOW if latch_inverted else HIGH, LOW if clock_inverted else HIGH
        self._turn = int(data_inverted)
        self._shown: int | None = None
        self._show()
        self._tasks = [cocotb.start_soon(self._loads()), cocotb.start_soon(self._shifts())]

    def hold(self, byte: int) -> None:
        """From now on exactly these buttons are down (A is bit 7, Right is bit 0)."""
        self._held = whole("held", byte, most=0xFF) | self.stuck
        self.contacts.append((now_ps(), self._held))
        self._inputs = ~self._held & 0xFF
        if self._loading():
            self._load()

    async def press(self, byte: int, *, bounce: Time = 0) -> None:
        """As `hold`, but the contacts that move chatter for as long as ``bounce`` first.

        A press that comes meanwhile waits for its end.
        """
        length = length_of("bounce", bounce)
        async with self._moving:
            before, at = self._held, 0.0
            for count, part in enumerate(_BOUNCES if length else ()):
                if part > at:
                    await Timer(max(1, steps(int(length * (part - at)))), "step")
                    at = part
                self.hold(before if count % 2 else byte)
            self.hold(byte)

    def queue(self, *held: int) -> None:
        """Hold each of these bytes from the latch of one read on, in the reads that come next."""
        self._queued += [whole("held", byte, most=0xFF) for byte in held]

    async def wait(self) -> int:
        """Until a read is over, and all that is queued has been read; the byte that it loaded.

        It waits for a read that ends after the call: of one that is over it knows nothing. Where
        none may come, wait with cocotb's ``with_timeout``; ``reads`` and ``over`` tell of one that
        was.
        """
        await self._done.wait()
        while self._queued:
            await self._done.wait()
        return self._loaded

    def lose(self, passes: Sequence[tuple[int, int]]) -> None:
        """In the next reads, one pair each, lose so many bits before bit number so-and-so.

        (8, 1): the eighth bit is lost and the serial input's level takes its place. (0, 0): none.
        """
        pairs = list[tuple[int, int]]()
        for number, pair in enumerate(passes, 1):
            if not isinstance(pair, tuple | list) or len(pair) != 2:
                raise ValueError(f"read {number}: {pair!r:.60} is no pair; give such as (8, 1)")
            count = whole(f"read {number}: bits lost", pair[1], most=8)
            bit = whole(f"read {number}: bit", pair[0], least=int(count > 0), most=8)
            pairs.append((bit, count))
        self._lost = pairs

    def stop(self) -> None:
        """Let go of the wires."""
        for task in self._tasks:
            task.cancel()

    def _loading(self) -> bool:
        return level_of(self.latch.value) == self._high[0]

    async def _loads(self) -> None:
        was = self._loading()
        while True:
            await self.latch.value_change
            loading = self._loading()
            if loading and not was:
                self.reads += 1
                self.latched_at = now_ps()
                self.latched.set()
                self._losing = self._lost.pop(0) if self._lost else (0, 0)
                self._bit = 1
                if self._queued:
                    self.hold(self._queued.pop(0))
            if loading:
                self._load()
            elif was:
                self._loaded = ~self._inputs & 0xFF
                self._lose_here()
            was = loading

    def _load(self) -> None:
        self._stages = self._inputs
        self._show()

    async def _shifts(self) -> None:
        while True:
            await self.clock.value_change
            if level_of(self.clock.value) == self._high[1] and not self._loading():
                self._shift()
                self._bit += 1
                self._lose_here()
                if self._bit == _OVER:
                    self.over.set()
                    self._done.set()
                    self._done.clear()
                    self.log.info("read %d: %s", self.reads, spelled(self._loaded))

    def _lose_here(self) -> None:
        bit, count = self._losing
        if not count or bit != self._bit:
            return
        self.lost.append((now_ps(), count))
        for _ in range(count):
            self._shift()

    def _shift(self) -> None:
        self._stages = (self._stages << 1 | self.serial) & 0xFF
        self._show()

    def _show(self) -> None:
        level = 1 if self.dead else self._stages >> 7
        if level != self._shown:
            self._shown = level
            if self.answer:
                cocotb.start_soon(self._later(level ^ self._turn))
            else:
                self.data.value = level ^ self._turn

    async def _later(self, level: int) -> None:
        await Timer(steps(self.answer), "step")
        self.data.value = level
