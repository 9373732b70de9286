"""From the signals of an HDL simulation to a timeline."""

from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING, Any

import cocotb

from padbench.core.levels import FLOATING, HIGH
from padbench.cosim.signals import level_of, now_ps, turned, width_of, word_of

if TYPE_CHECKING:
    from padbench.core.timeline import Timeline


class WireMonitor:
    """Records 1-bit handles as wires and vectors as words, from now on.

        monitor = WireMonitor({"latch": dut.latch, "clock": dut.clock, "data": dut.data})
        ...
        reads = decode(monitor.timeline(), Names("latch", "clock", "data", sample=None))

    The keys are the names in the timeline; ``inverted`` are those that stand the other way up,
    ``pulled_up`` those of one bit that are high where nothing drives them.
    An edge at the very moment at which it is made is no edge to it: make it before wires move.
    Raises ``ValueError`` for a handle of no signal.
    """

    def __init__(
        self,
        handles: Mapping[str, Any],
        *,
        inverted: Collection[str] = (),
        pulled_up: Collection[str] = (),
    ) -> None:
        self._records: dict[str, tuple[int, list[int], list[Any]]] = {}
        self._tasks = []
        for name, handle in handles.items():
            width = width_of(handle)
            if not width:
                raise ValueError(f"{name} is {handle!r:.60}; pass the handle of a signal")
            width = 0 if width == 1 else width
            record: tuple[int, list[int], list[Any]] = (width, [], [])
            self._records[name] = record
            ways = name in inverted, name in pulled_up
            _note(handle, width, ways, record)
            watch = self._watch(handle, width, ways, record)
            self._tasks.append(cocotb.start_soon(watch))

    @staticmethod
    async def _watch(
        handle: Any, width: int, ways: tuple[bool, bool], record: tuple[int, list[int], list[Any]]
    ) -> None:
        change = handle.value_change
        while True:
            await change
            _note(handle, width, ways, record)

    def stop(self) -> None:
        """Record no more."""
        for task in self._tasks:
            task.cancel()

    def take(self) -> dict[str, tuple[list[int], list[Any]]]:
        """Times (picoseconds of the simulation) and values since the last `take`, by name.

        The value that stood when it was called begins the next record, at that time.
        """
        taken = {}
        now = now_ps()
        for name, (_, times, values) in self._records.items():
            taken[name] = (times[:], values[:])
            if values:
                times[:], values[:] = [now], [values[-1]]
        return taken

    def timeline(self) -> "Timeline":
        """Everything recorded, from the start of the simulation to now."""
        from padbench.core.timeline import Timeline, Wire, Word  # noqa: PLC0415 - arrays load late

        wires, words = {}, {}
        for name, (width, times, values) in self._records.items():
            if width:
                words[name] = Word.of(width, zip(times, values, strict=True))
            elif times:
                wires[name] = Wire.from_arrays(times, values)
        return Timeline(now_ps(), wires, words)


def _note(
    handle: Any, width: int, ways: tuple[bool, bool], record: tuple[int, list[int], list[Any]]
) -> None:
    _, times, values = record
    inverted, pulled_up = ways
    value = handle.value
    times.append(now_ps())
    if width:
        word = word_of(value)
        values.append(word ^ (1 << width) - 1 if inverted and word is not None else word)
    else:
        level = level_of(value)
        level = HIGH if pulled_up and level == FLOATING else level
        values.append(turned(level) if inverted else level)
