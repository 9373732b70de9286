"""Scenarios that only a design in HDL can be put to: its reset, a clock's phase, all there is.

Presses close to the end of the latch try the design's promise of a set-up time at many phases of
its system clock; a reset in the middle of a read tries what it makes of its own state. The
exhaustive ones leave nothing out: every transition between held states, every stopped read.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from padbench.cosim.job import GRID, on_grid
from padbench.scenarios import Scenario, Script, Setting
from padbench.scenarios.expect import expected_bits
from padbench.scenarios.timetable import Timetable

__all__ = ["ResetScript", "all_transitions", "exhaustive_scenarios", "hdl_scenarios"]

_STEPS = 16
_SHOWN = 3
"""Bits read before the reset that comes inside a read."""

_CHUNK = 512
"""Reads in one scenario: working out what must come takes the square of it."""


@dataclass(frozen=True)
class ResetScript(Script):
    """A script with resets of the design, (start, length) in picoseconds."""

    resets: tuple[tuple[int, int], ...] = ()


def hdl_scenarios(
    *, reset: int = 1_000_000, hold: int = 0, released: bool = False
) -> dict[str, Scenario]:
    """By name. ``reset`` is the length of one, in picoseconds.

    A press ``hold`` picoseconds after the latch's fall, or later, has to wait for the next poll.
    ``released``: the design promises to show nothing pressed after a reset, up to the next latch;
    otherwise it may show anything.
    """
    builders: dict[str, tuple[str, Callable[[Setting], Script]]] = {
        "press-sweep": (
            "Presses closer and closer to the latch's fall are seen, just after it they wait.",
            partial(_press_sweep, hold=hold),
        ),
        "reset-in-read": (
            "A reset in the middle of a read: it is given up, and the next poll is right.",
            partial(_reset_in_read, reset=reset, released=released),
        ),
    }
    return {name: Scenario(name, says, build) for name, (says, build) in builders.items()}


def _press_sweep(setting: Setting, *, hold: int) -> Script:
    timetable = Timetable(setting, passes=1)
    timetable.tolerates.add("timing.setup-parallel")
    setup = setting.pad.limits.setup_parallel.ps
    step = max(setup // _STEPS // 2, GRID)
    # Two steps of the grid, since the latch's fall is rounded to it as well.
    for side, nearest in ((-1, setup + 2 * GRID), (1, hold + 2 * GRID)):
        for count in range(_STEPS):
            _, fall = timetable.latch_at_pad
            at = on_grid(fall + side * (nearest + count * step))
            timetable.hold(128 >> count % 8, at=max(at, timetable.next_start + GRID))
            timetable.poll()
            timetable.hold(0)
            timetable.poll()
    return timetable.script()


def _reset_in_read(setting: Setting, *, reset: int, released: bool) -> Script:
    timetable = Timetable(setting, passes=1)
    timing = setting.timing
    stages = setting.pad.stages
    many = timing.with_clocks(stages + 8)
    length = on_grid(min(reset, timing.clock_high // 2, timing.latch_to_clock // 2))
    resets = []
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
        shown = expected_bits(held | setting.pad.stuck, clocks=many.clocks, stages=stages)[:bits]
        left = many.clocks - bits
        cleared = expected_bits(0, clocks=left, stages=stages, serial=setting.pad.serial)
        timetable.poll(timing=many, expect=shown + (cleared if released else (None,) * left))
        timetable.hold(held ^ 0xFF)
        timetable.poll()
    return ResetScript(**{**vars(timetable.script()), "resets": tuple(resets)})


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
