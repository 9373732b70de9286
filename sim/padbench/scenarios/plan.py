"""A timetable: scenarios say what happens poll by poll, the plan works out when.

plan = Plan(setting)
plan.hold("A", "Right")
plan.poll()
return plan.script()
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from padbench.buttons import byte_of, spelled
from padbench.pad import PadModel, Policy
from padbench.scenarios.expect import accepted_states, expected_bits, held_state
from padbench.scenarios.script import Bits, Expected, Script, Setting
from padbench.stimulus import PollTiming, ScriptedRead, Stimulus

__all__ = ["Plan", "Unsettled", "extra_clocks_at_pad"]


@dataclass(frozen=True, slots=True)
class Unsettled:
    """From ``start`` to ``end`` (picoseconds) these buttons may read either way."""

    start: int
    end: int
    buttons: int


class Plan:
    """Builds a `Script`. Each poll takes the next slot; contacts move half-way between polls."""

    def __init__(self, setting: Setting, *, passes: int | None = None) -> None:
        self.setting = setting
        self.passes = setting.passes if passes is None else passes
        self.moves: list[tuple[int, int]] = [(0, setting.pad.stuck)]
        self.reads: list[ScriptedRead] = []
        self.notes: list[tuple[int, str]] = []
        self.unsettled: list[Unsettled] = []
        self.breaks: set[str] = set()
        self.tolerates: set[str] = set()
        self._overridden: dict[int, Bits] = {}
        self._free = max(setting.period // 2, 1_000_000)
        self._slot = self._free

    @property
    def next_start(self) -> int:
        """When the next poll begins, in picoseconds."""
        return max(self._slot, self._free)

    @property
    def between(self) -> int:
        """A moment well before the next poll and after the last one."""
        last = self.reads[-1].start + self.reads[-1].length if self.reads else 0
        return (last + self.next_start) // 2

    @property
    def latch_at_pad(self) -> tuple[int, int]:
        """Rise and fall of the next poll's latch at the pad's end of the cable."""
        line = self.setting.pad.latch_line
        start = self.next_start
        return start + (line.rise or 0), start + self.setting.timing.latch_width + (line.fall or 0)

    def hold(self, buttons: Iterable[str] | int, at: int | None = None) -> None:
        """From now on (or ``at`` picoseconds) exactly these contacts are closed, and stuck ones."""
        byte = buttons if isinstance(buttons, int) else byte_of(buttons)
        self.moves.append((self.between if at is None else at, byte | self.setting.pad.stuck))

    def note(self, text: str, at: int | None = None) -> None:
        """A remark in the wave, at the next poll unless ``at`` says otherwise."""
        self.notes.append((self.next_start if at is None else at, text))

    def poll(
        self,
        *,
        timing: PollTiming | None = None,
        stopped: Sequence[tuple[int, int]] = (),
        serial: int | str | None = "as built",
        note: str | None = None,
        expect: Bits | None = None,
    ) -> None:
        """One poll: ``passes`` reads, one after the other.

        ``stopped`` gives, pass by pass, (bit, extra clocks); (0, 0) is an undisturbed one.
        """
        first = start = self.next_start
        if note is not None:
            self.note(note)
        for number in range(self.passes):
            bit, extra = stopped[number] if number < len(stopped) else (0, 0)
            read = ScriptedRead(start, timing or self.setting.timing, bit, extra, serial)
            if expect is not None:
                self._overridden[len(self.reads)] = expect
            self.reads.append(read)
            gap = self.setting.gap
            start += read.length + (read.timing.latch_to_clock if gap is None else gap)
        self._free = start
        self._slot = first + self.setting.period

    def poll_now(self, at: int, **options: object) -> None:
        """As `poll`, but beginning at ``at`` even if that cuts the read before it short."""
        self._slot = self._free = at
        self.poll(**options)  # type: ignore[arg-type]

    def script(self, *, accepted: bool | None = None) -> Script:
        """The finished script, with what must come out worked out from the setting."""
        moves = sorted(self.moves, key=lambda move: move[0])
        policy = self.setting.pad.policy
        expected = tuple(
            self._overridden_or(index, self._expect(index, read, moves, policy))
            for index, read in enumerate(self.reads)
        )
        last = self.reads[-1]
        end = last.start + last.length + max(self.setting.period // 4, last.timing.latch_to_clock)
        end = max(end, moves[-1][0] + 1)
        notes = self.notes or [(when, "held: " + spelled(byte)) for when, byte in moves]
        return Script(
            Stimulus(tuple(moves), tuple(self.reads), end, tuple(sorted(notes))),
            expected,
            self.passes,
            self._accepted(expected) if self.passes > 1 else (),
            frozenset(self.breaks),
            frozenset(self.tolerates),
        )

    def _accepted(self, expected: Sequence[Expected]) -> tuple[int | None, ...]:
        """What the console acts on after each poll; None from an unsettled one to a settled one."""
        late = self.setting.pad.latch_line.fall or 0
        loads = [read.start + read.timing.latch_width + late for read in self.reads]
        states: list[int | None] = []
        sure = accepted_states((_worst(one) for one in expected), self.passes)
        for number, state in enumerate(sure):
            group = range(number * self.passes, (number + 1) * self.passes)
            if any(u.start <= loads[n] <= u.end for n in group for u in self.unsettled):
                states.append(None)
                continue
            agree = len({_worst(expected[n]) for n in group}) == 1
            # A poll whose passes differ keeps what was there, settled or not.
            kept = states[-1] if states else 0
            states.append(state if agree else kept)
        return tuple(states)

    def _overridden_or(self, index: int, expected: Expected) -> Expected:
        bits = self._overridden.get(index)
        return expected if bits is None else Expected(bits, expected.clocks, expected.held)

    def _expect(
        self, index: int, read: ScriptedRead, moves: Sequence[tuple[int, int]], policy: Policy
    ) -> Expected:
        pad = self.setting.pad
        loaded = read.start + read.timing.latch_width + (pad.latch_line.fall or 0)
        held = held_state(moves, loaded, policy)
        clocks = self._clocks_before_cut(index, read)
        arriving = extra_clocks_at_pad(pad, read)
        bits = expected_bits(
            held,
            clocks=clocks,
            stages=pad.stages,
            serial=pad.serial if isinstance(read.serial, str) else read.serial,
            stopped_bit=read.stopped_bit,
            extra_clocks=arriving or 0,
        )
        if arriving is None:
            sure = read.stopped_bit - 1
            bits = bits[:sure] + (None,) * (len(bits) - sure)
        for unsettled in self.unsettled:
            if unsettled.start <= loaded <= unsettled.end:
                bits = tuple(
                    None if place < 8 and unsettled.buttons & 128 >> place else bit
                    for place, bit in enumerate(bits)
                )
        return Expected(bits, clocks + read.extra_clocks, held)

    def _clocks_before_cut(self, index: int, read: ScriptedRead) -> int:
        """How many clocks fall before the next read begins."""
        t = read.timing
        if index + 1 == len(self.reads):
            return t.clocks
        room = self.reads[index + 1].start - read.start - t.latch_width - t.latch_to_clock
        return max(0, min(t.clocks, -(-room // (t.clock_low + t.clock_high))))


def extra_clocks_at_pad(pad: PadModel, read: ScriptedRead) -> int | None:
    """How many of a read's extra clocks the pad gets; None if that cannot be told.

    The pauses between extra clocks are short. A port that leaves the rise of the line to a
    resistor may not get it high in time, and then the pulses run together into one; or only so
    briefly that the register need not notice.
    """
    if not read.extra_clocks or pad.clock_line.rise is None:
        return 0
    limits = pad.limits
    low, pause = read.timing.extra_pulse
    high = pause - pad.clock_line.rise
    if high <= 0:
        return 0
    kept = (
        high >= limits.clock_width.ps
        and low + pause >= limits.clock_period.ps
        and pause + read.timing.sample >= limits.answer.ps
    )
    return read.extra_clocks if kept else None


def _worst(expected: Expected) -> int:
    """The expected byte; where either will do, the one that is not the held state."""
    return sum(
        128 >> place
        for place, bit in enumerate(expected.bits[:8])
        if (bit if bit is not None else not expected.held & 128 >> place)
    )
