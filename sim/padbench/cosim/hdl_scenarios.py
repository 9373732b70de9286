"""Scenarios that only a design in HDL can be put to: its reset, a clock's phase, all there is.

Presses close to the end of the latch try the design's promise of a set-up time at many phases of
its system clock; a reset in the middle of a read tries what it makes of its own state; a frame
without a latch, many reads and many clocks what it counts. The exhaustive ones leave nothing out:
every transition between held states, every stopped read.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

from padbench.cosim.job import GRID, on_grid
from padbench.model.driven import Edges, Line, console_edges, driven_edges
from padbench.scenarios import SCENARIOS, Scenario, Script, Setting
from padbench.scenarios.expect import expected_bits, held_state
from padbench.scenarios.odd_reads import stop_each_bit
from padbench.scenarios.timetable import Timetable, built

_STEPS = 16
_SHOWN = 3
"""Bits read before the reset that comes inside a read."""

_CHUNK = 512
"""Reads in one scenario: working out what must come takes the square of it."""

_CLOCKS = 300
"""More than a counter of eight bits can tell apart; what it counts after that it shows here."""

_READS = 70
"""More than a counter of six bits can tell apart."""

_TURNS = 4
"""Frames from read to read of one of four players' pads (common practice, no source)."""

_COPY = 310_000_000
"""Picoseconds of the longest copy, of 514 cycles (from memory)."""

_IN_LATCH = 2
"""Clocks inside a latch."""


@dataclass(frozen=True)
class HdlScript(Script):
    """A script with more than reads.

    ``resets`` of the design are (start, length) in picoseconds, ``latch_clocks`` (fall, rise) of
    clocks inside a latch, which no read has. ``quick``: the pad of a reader answers at once.
    """

    resets: tuple[tuple[int, int], ...] = ()
    latch_clocks: tuple[tuple[int, int], ...] = ()
    quick: bool = False


def edges_of(script: Script) -> Edges:
    """What the console drives in a script."""
    stimulus = script.stimulus
    if stimulus.driven is not None:
        return driven_edges(stimulus.driven)
    edges = console_edges(stimulus.reads)
    more = script.latch_clocks if isinstance(script, HdlScript) else ()
    if not more:
        return edges
    times = sorted([*edges.clock.times, *(when for pulse in more for when in pulse)])
    return replace(edges, clock=Line(edges.clock.start, times))


def hdl_scenarios(
    *,
    reset: int = 1_000_000,
    hold: int = 0,
    released: bool = False,
    frame: int = 16_700_000_000,
    serial: bool = True,
    resettable: bool = False,
) -> dict[str, Scenario]:
    """By name, those of the model that are others here among them.

    ``reset`` is the length of one, in picoseconds. A press ``hold`` picoseconds after the latch's
    fall, or later, has to wait for the next poll. ``released``: the design promises to show nothing
    pressed after a reset, up to the next latch; otherwise it may show anything. ``frame``: from
    one poll to the next in the sheet. ``serial`` and ``resettable``: it has a port for the
    serial input, and for a reset.
    """
    builders: dict[str, tuple[str, Callable[[Setting], Script]]] = {
        "held": (
            "One button held over 60 polls in quick succession, without one wrong read.",
            SCENARIOS["held"].build,
        ),
        "press-sweep": (
            "Presses closer and closer to the latch's fall are seen, just after it they wait.",
            partial(_press_sweep, hold=hold),
        ),
        "reset-in-read": (
            "A reset in the middle of a read: it is given up, and the next poll is right.",
            partial(_reset_in_read, reset=reset, released=released),
        ),
        "idle-frame": (
            "A whole frame without a latch, and a press in it: the next polls are right.",
            partial(_idle_frame, frame=frame),
        ),
        "many-reads": (
            f"{_READS} reads at once one after the other are right.",
            partial(_many_reads, resettable=resettable),
        ),
        "many-clocks": (
            f"{_CLOCKS} clocks after one latch: past the end nothing comes round again.",
            _many_clocks,
        ),
        "slow-read": (
            "A console that is stopped after each bit for as long as it copies its sprites.",
            _slow_read,
        ),
        "clock-in-latch": (
            "Clocks while the latch is high shift nothing: the load goes before.",
            _clock_in_latch,
        ),
        "quick-pad": (
            "A pad that answers at once: a reader has taken its sample before the next bit comes.",
            _quick_pad,
        ),
    }
    if not serial:
        says = "Each of the eight bits, one to three extra clocks, the serial input as built."
        stop = partial(stop_each_bit, serials=("as built",))
        build = partial(built, stop, passes=1)
        builders["stopped-any-bit"] = (says, build)
    return {name: Scenario(name, says, build) for name, (says, build) in builders.items()}


def _press_sweep(setting: Setting, *, hold: int) -> Script:
    timetable = Timetable(setting, passes=1)
    timetable.tolerates.add("timing.setup-parallel")
    setup = setting.pad.limits.setup_parallel.ps
    step = max(setup // _STEPS // 2, GRID)
    # Two steps of the grid, since the latch's fall is rounded to it as well.
    for side, nearest in ((-1, setup + 2 * GRID), (1, hold + 2 * GRID)):
        for count in range(_STEPS):
            away = nearest + count * step
            if side < 0:
                timetable.wait_until(timetable.last_end + away)
            _, fall = timetable.latch_at_pad
            timetable.hold(128 >> count % 8, at=on_grid(fall + side * away))
            timetable.poll()
            timetable.settle()
            timetable.hold(0)
            timetable.poll()
    return timetable.script()


def _idle_frame(setting: Setting, *, frame: int) -> Script:
    """At true time the second pause is that of one of four players, read in turn."""
    timetable = Timetable(setting)
    longest = _TURNS * frame if setting.period == frame else frame
    for held, pause in ((0x80, frame), (0x5A, longest)):
        timetable.poll()
        quiet = timetable.last_end
        timetable.hold(held, at=quiet + pause // 2)
        timetable.settle()
        timetable.wait_until(quiet + pause)
        timetable.poll(note="after a whole frame without a latch")
    timetable.poll()
    return timetable.script()


def _state_at(number: int) -> int:
    """What is held in read ``number`` of a whole run, the first scenarios one after the other."""
    early = [0, 0, *(128 >> place for place in range(8))]
    return early[number] if number < len(early) else (number - len(early)) * 77 & 0xFF


def _many_reads(setting: Setting, *, resettable: bool) -> Script:
    """Begun with a reset where there is one: a bit changed in read 65 shows in one of two runs."""
    timetable = Timetable(setting, passes=1)
    start, limits = timetable.next_start, setting.pad.limits
    pause = on_grid(max(setting.timing.latch_to_clock, limits.setup_parallel.ps) + 2 * GRID)
    timetable.hold(~_state_at(0) & 0xFF, at=start // 2)
    timetable.settle()
    timetable.poll()
    for number in range(1, _READS):
        end = timetable.last_end
        timetable.hold(~_state_at(number) & 0xFF, at=end + GRID)
        timetable.poll_now(end + max(pause, setting.settles))
    if not resettable:
        return timetable.script()
    length = on_grid(min(start // 8, 1_000_000))
    return HdlScript(**vars(timetable.script()), resets=((on_grid(start // 8), length),))


def _many_clocks(setting: Setting) -> Script:
    timetable = Timetable(setting, passes=1)
    for held in (0x00, 0xFF, 0x5A):
        timetable.hold(held)
        timetable.poll(timing=setting.timing.with_clocks(_CLOCKS))
    return timetable.script()


def _slow_read(setting: Setting) -> Script:
    """A pad that gives up a read after some time shows it here; no proof counts so far."""
    timetable = Timetable(setting, passes=1)
    stopped = max(setting.timing.clock_high, _COPY)
    timetable.hold(0xA5)
    timetable.poll(timing=replace(setting.timing, clock_high=stopped))
    timetable.poll()
    return timetable.script()


def _clock_in_latch(setting: Setting) -> Script:
    timetable = Timetable(setting, passes=1)
    timing, pulses = setting.timing, list[tuple[int, int]]()
    part = timing.latch_width // (4 * _IN_LATCH)
    pulsed = _IN_LATCH if timing.latch_width // 2 > setting.pad.limits.removal.ps else 0
    for held in (0x95, 0x6A, 0x0F):
        timetable.hold(held)
        start = timetable.next_start
        pulses += [
            (on_grid(start + (2 * n + 1) * part), on_grid(start + (2 * n + 2) * part))
            for n in range(pulsed)
        ]
        timetable.poll(note="clocks inside the latch")
        timetable.poll()
    script = timetable.script()
    expected = tuple(
        one if number % 2 else replace(one, clocks=one.clocks + pulsed)
        for number, one in enumerate(script.expected)
    )
    # They are as short as it takes to have them there: what they break is no fault of the pad.
    tolerates = script.tolerates | _OF_CLOCKS
    return HdlScript(
        **{**vars(script), "expected": expected, "tolerates": tolerates},
        latch_clocks=tuple(pulses),
    )


_OF_CLOCKS = frozenset(f"timing.clock-{rule}" for rule in ("low", "high", "period"))


def _quick_pad(setting: Setting) -> Script:
    timetable = Timetable(setting)
    for held in (0xAA, 0x55, 0x80, 0x01, 0xF0, 0x33, 0x00, 0xFF):
        timetable.hold(held)
        timetable.poll()
    return HdlScript(**vars(timetable.script()), quick=True)


def _reset_in_read(setting: Setting, *, reset: int, released: bool) -> Script:
    timetable = Timetable(setting, passes=1)
    timing = setting.timing
    stages = setting.pad.stages
    many = timing.with_clocks(stages + 8)
    length = on_grid(min(reset, timing.clock_high // 2, timing.latch_to_clock // 2))
    resets = []
    policy = setting.pad.policy
    period = timing.clock_low + timing.clock_high
    for held, bits in ((0x90, 0), (0xFF, _SHOWN), (0x6F, stages)):
        timetable.hold(held)
        timetable.poll()
        start = timetable.next_start
        first = timing.latch_width + timing.latch_to_clock
        # In the latch's wake, or while the clock is high after so many bits.
        after = first - timing.latch_to_clock * 3 // 4 if not bits else first + bits * period
        after -= timing.clock_high * 3 // 4 if bits else 0
        resets.append((on_grid(start + after), length))
        passed = held_state(sorted(timetable.moves), start + timing.latch_width, policy)
        shown = expected_bits(passed, clocks=many.clocks, stages=stages)[:bits]
        left = many.clocks - bits
        cleared = expected_bits(0, clocks=left, stages=stages, serial=setting.pad.serial)
        timetable.poll(timing=many, expect=shown + (cleared if released else (None,) * left))
        timetable.hold(held ^ 0xFF)
        timetable.poll()
    return HdlScript(**vars(timetable.script()), resets=tuple(resets))


def all_transitions(count: int = 256) -> Iterator[int]:
    """A round trip on which every ordered pair of states stands next to each other once.

    A de Bruijn sequence of order 2: the Lyndon words of one and two letters, in order
    (Fredricksen and Maiorana 1978, from memory); the first state comes again at the end.
    """
    for state in range(count):
        yield state
        for other in range(state + 1, count):
            yield state
            yield other
    yield 0


def exhaustive_scenarios(passes: int = 1) -> Iterator[Scenario]:
    """Chunks of transitions, then of stopped reads: each bit, one to three clocks, all states.

    ``passes``: reads in one poll, each of which is stopped in its turn.
    """
    path = list(all_transitions())
    for number, first in enumerate(range(0, len(path) - 1, _CHUNK)):
        # One state of overlap, or the transition from chunk to chunk would be missing.
        part = path[first : first + _CHUNK + 1]
        yield Scenario(
            f"exhaustive-transitions-{number:03}",
            "All transitions between held states, in part.",
            partial(_transitions, part, passes),
        )
    cases = [
        (turn, bit, extra, held)
        for turn in range(passes)
        for bit in range(1, 9)
        for extra in (1, 2, 3)
        for held in range(256)
    ]
    for number, first in enumerate(range(0, len(cases), _CHUNK)):
        yield Scenario(
            f"exhaustive-stopped-{number:03}",
            "All stopped reads of all held states, in part.",
            partial(_stopped, cases[first : first + _CHUNK], passes),
        )


def _transitions(path: Sequence[int], passes: int, setting: Setting) -> Script:
    timetable = Timetable(setting, passes=passes)
    for held in path:
        timetable.hold(held)
        timetable.poll()
    timetable.note("all transitions", at=0)
    return timetable.script()


def _stopped(cases: Sequence[tuple[int, int, int, int]], passes: int, setting: Setting) -> Script:
    timetable = Timetable(setting, passes=passes)
    for turn, bit, extra, held in cases:
        timetable.hold(held)
        timetable.poll(stopped=[*[(0, 0)] * turn, (bit, extra)])
    timetable.note("all stopped reads", at=0)
    return timetable.script()
