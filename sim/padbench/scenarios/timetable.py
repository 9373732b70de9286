"""A timetable: scenarios say what happens poll by poll, and it works out when.

@scenario("two-held")
def two_held(timetable: Timetable) -> None:
    '''A and Right are held.'''
    timetable.hold(["A", "Right"])
    timetable.poll()
"""

from collections.abc import Callable, Iterable, Sequence
from functools import partial

from padbench.core.buttons import byte_of, spelled
from padbench.core.pad import PadModel, Policy
from padbench.core.stimulus import PollTiming, ScriptedRead, Stimulus
from padbench.scenarios.expect import allowed_states, closed_contacts, expected_bits, held_state
from padbench.scenarios.polled_routine import FetchCase, Unsettled, extra_clocks_arriving
from padbench.scenarios.routine_script import Call, routine_script
from padbench.scenarios.script import Bits, Expected, Scenario, Script, Setting

_EXTRA_MAY_BREAK = frozenset(
    f"timing.{rule}"
    for rule in ("clock-arrives", "clock-low", "clock-high", "clock-period", "later-bits")
)
"""Extra clocks are shorter than any the routine makes; that is no fault of the pad."""


class Timetable:
    """Builds a `Script`. Each poll takes the next slot; contacts move half-way between polls.

    Where the setting has a routine, the routine makes the polls, and how many passes a poll has is
    its own affair; give it ``setting.typed`` for reads that no routine makes.
    """

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
        self._calls: list[Call] = []
        self._free = max(setting.period // 2, setting.settles + 1_000_000)
        self._slot = self._free
        self._settled = 0

    @property
    def next_start(self) -> int:
        """When the next poll begins, in picoseconds."""
        return max(self._slot, self._free)

    @property
    def between(self) -> int:
        """A moment well before the next poll and after the last one."""
        return (self.last_end + self.next_start) // 2

    @property
    def last_end(self) -> int:
        """When the last poll surely is over."""
        return self._free if self.reads or self._calls else 0

    @property
    def latch_at_pad(self) -> tuple[int, int]:
        """Rise and fall of the next poll's latch at the pad's end of the cable."""
        line, routine = self.setting.pad.latch_line, self.setting.routine
        rise, fall = routine.latch if routine else (0, self.setting.timing.latch_width)
        start = self.next_start
        return start + rise + (line.rise or 0), start + fall + (line.fall or 0)

    def hold(self, buttons: Iterable[str] | int, at: int | None = None) -> None:
        """From now on (or ``at`` picoseconds) exactly these contacts are closed, and stuck ones."""
        byte = buttons if isinstance(buttons, int) else byte_of(buttons)
        moves = self.between if at is None else at
        self.moves.append((moves, byte | self.setting.pad.stuck))
        if self.setting.settles:
            self._settled = max(self._settled, moves + self.setting.settles)
        if at is None:
            self.settle()

    def settle(self) -> None:
        """Make no poll before every move so far counts."""
        self.wait_until(self._settled)

    def note(self, text: str, at: int | None = None) -> None:
        """A comment in the wave, at the next poll unless ``at`` says otherwise."""
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

        ``stopped`` gives, pass by pass, (bit, extra clocks); (0, 0) is an undisturbed one. A
        routine is stopped by its console's fetch, at the first bit named.
        """
        first = start = self.next_start
        if note is not None:
            self.note(note)
        if self.setting.routine is not None:
            passes = enumerate(stopped)
            stop = next(((number, bit) for number, (bit, _) in passes if bit), None)
            self._call(Call(first, stop=stop, serial=self._serial(serial), expect=expect))
            return
        for number in range(self.passes):
            bit, extra = stopped[number] if number < len(stopped) else (0, 0)
            read = ScriptedRead(start, timing or self.setting.timing, bit, extra, serial)
            if extra:
                self.tolerates |= _EXTRA_MAY_BREAK
            if expect is not None:
                self._overridden[len(self.reads)] = expect
            self.reads.append(read)
            self._free = start + read.length
            start = self._free + self._pause(read)
        self._slot = first + self.setting.period

    def play_case(self, case: FetchCase) -> None:
        """A case of a sweep as the next poll of the routine, which begins anew for it."""
        self.hold(case.held)
        self.note(f"{case.says}; first request in cycle {case.fetch[1]} of the poll")
        serial = self._serial("as built")
        self._call(Call(self.next_start, fetch=case.fetch, preset=case.held, serial=serial))

    def _call(self, call: Call) -> None:
        routine = self.setting.routine
        assert routine is not None
        if call.stop is not None or call.fetch is not None:
            self.tolerates |= _EXTRA_MAY_BREAK
        self._calls.append(call)
        self._free = call.start + routine.longest
        self._slot = call.start + self.setting.period

    def _serial(self, wish: int | str | None) -> int | None:
        return self.setting.pad.serial if isinstance(wish, str) else wish

    def _pause(self, read: ScriptedRead) -> int:
        """Between two passes: as between latch and clock, if the period leaves so much."""
        spare = self.setting.period - self.passes * read.length
        return max(0, min(read.timing.latch_to_clock, spare // self.passes))

    def wait_until(self, at: int) -> None:
        """Make no poll before this time, in picoseconds."""
        self._slot = max(self._slot, at)

    def poll_now(self, at: int, **options: object) -> None:
        """As `poll`, but beginning at ``at`` even if that cuts the read before it short."""
        self._slot = self._free = at
        self.poll(**options)  # type: ignore[arg-type]

    def script(self) -> Script:
        """The finished script, with what must come out worked out from the setting."""
        moves = sorted(self.moves, key=lambda move: move[0])
        notes = self.notes or [(when, "held: " + spelled(byte)) for when, byte in moves]
        if self.setting.routine is not None:
            end = max(self._free + self.setting.period // 4, moves[-1][0] + 1)
            base = Script(
                Stimulus(tuple(moves), (), end, tuple(sorted(notes))),
                (),
                breaks=frozenset(self.breaks),
                tolerates=frozenset(self.tolerates),
            )
            return routine_script(self.setting, self._calls, self.unsettled, base)
        policy = self.setting.pad.policy
        expected = tuple(
            self._expect(index, read, moves, policy) for index, read in enumerate(self.reads)
        )
        last = self.reads[-1]
        end = last.start + last.length + max(self.setting.period // 4, last.timing.latch_to_clock)
        end = max(end, moves[-1][0] + 1)
        return Script(
            Stimulus(tuple(moves), tuple(self.reads), end, tuple(sorted(notes))),
            expected,
            self.passes,
            allowed_states([e.bits[self.setting.pad.first :] for e in expected], self.passes)
            if self.passes > 1
            else (),
            frozenset(self.breaks),
            frozenset(self.tolerates),
            first=self.setting.pad.first,
            beside=self.setting.pad.beside,
        )

    def _expect(
        self, index: int, read: ScriptedRead, moves: Sequence[tuple[int, int]], policy: Policy
    ) -> Expected:
        pad = self.setting.pad
        loaded = read.start + read.timing.latch_width + (pad.latch_line.fall or 0)
        passed_on = held_state(moves, loaded, policy)
        clocks = self._clocks_before_cut(index, read)
        arriving = extra_clocks_at_pad(pad, read)
        bits = expected_bits(
            passed_on,
            clocks=clocks,
            stages=pad.stages,
            serial=pad.serial if isinstance(read.serial, str) else read.serial,
            stopped_bit=read.stopped_bit,
            extra_clocks=arriving or 0,
            first=pad.first,
            beside=pad.beside,
        )
        if arriving is None:
            sure = read.stopped_bit - 1
            bits = bits[:sure] + (None,) * (len(bits) - sure)
        for unsettled in self.unsettled:
            if unsettled.start <= loaded <= unsettled.end:
                bits = tuple(
                    None if 0 <= place < 8 and unsettled.buttons & 128 >> place else bit
                    for place, bit in enumerate(bits, -pad.first)
                )
        bits = self._overridden.get(index, bits)
        extra = read.extra_clocks if read.stopped_bit <= clocks else 0
        return Expected(bits, clocks + extra, closed_contacts(moves, loaded), passed_on)

    def _clocks_before_cut(self, index: int, read: ScriptedRead) -> int:
        """How many clocks fall before the next read begins."""
        t = read.timing
        if index + 1 == len(self.reads):
            return t.clocks
        room = self.reads[index + 1].start - read.start - t.latch_width - t.latch_to_clock
        return max(0, min(t.clocks, -(-room // (t.clock_low + t.clock_high))))


def extra_clocks_at_pad(pad: PadModel, read: ScriptedRead) -> int | None:
    """How many of a read's extra clocks the pad gets; None if that cannot be told."""
    low, pause = read.timing.extra_pulse
    return extra_clocks_arriving(pad, read.extra_clocks, low, pause, pause + read.timing.sample)


def scenario(
    name: str, *, typed: bool = False, passes: int | None = None
) -> Callable[[Callable[[Timetable], None]], Scenario]:
    """Make a `Scenario` of a function; the first sentence of its docstring is what people read.

    ``typed``: with reads at the given times, even where a routine makes the polls. ``passes`` as
    in `Timetable`.
    """

    def made(play: Callable[[Timetable], None]) -> Scenario:
        first = (play.__doc__ or "").strip().split("\n\n")[0]
        build = partial(built, play, typed=typed, passes=passes)
        return Scenario(name, " ".join(first.split()), build)

    return made


def built(
    play: Callable[[Timetable], None],
    setting: Setting,
    *,
    typed: bool = False,
    passes: int | None = None,
) -> Script:
    """The script of what a function does with a timetable; see `scenario`."""
    timetable = Timetable(setting.typed if typed else setting, passes=passes)
    play(timetable)
    return timetable.script()
