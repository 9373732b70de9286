"""What is done by the console: reads that are too long, cut off, in quick succession, or stopped.

A read routine as the poll makes no reads of odd lengths; they are made at its shortest times.

Stopped reads: the sound unit halts the CPU inside a read and the pad is clocked once too often.
One bit is lost, all later ones move up, and the serial input's level takes the last place; with
the input at ground the last button reads as pressed when nobody pressed it (common practice).
That is the console's fault, and no pad can prevent it. These scenarios hold the pad to doing
exactly this and nothing worse, so that the program's cure can be trusted. With a read routine as
the poll its console's fetch makes the stops, and what comes of them is the routine's own doing.
"""

from collections.abc import Sequence
from dataclasses import replace

from padbench.core.buttons import byte_of
from padbench.core.stimulus import until_cut
from padbench.scenarios.expect import expected_bits
from padbench.scenarios.timetable import Timetable, scenario

_EXTRA_CLOCKS = (1, 2, 3)
"""What a stopped read may bring where no routine says which console it runs on."""


@scenario("past-the-end", typed=True)
def past_the_end(timetable: Timetable) -> None:
    """Reading on after the last stage shows the level of the serial input.

    With the usual tie to ground that is "pressed" (common practice); a pad that leaves the input
    open is held to the same, and cannot keep it.
    """
    setting, pad = timetable.setting, timetable.setting.pad
    clocks = pad.stages + 8
    for buttons in ([], ["A", "Right"]):
        timetable.hold(buttons)
        timetable.poll(
            timing=setting.timing.with_clocks(clocks),
            expect=expected_bits(
                byte_of(buttons) | pad.stuck,
                clocks=clocks,
                stages=pad.stages,
                serial=0 if pad.serial is None else pad.serial,
                first=pad.first,
                beside=pad.beside,
            ),
        )


@scenario("cut-short", typed=True, passes=1)
def cut_short(timetable: Timetable) -> None:
    """A new latch after three clocks: the read is given up and the next one is whole."""
    setting = timetable.setting
    timetable.hold(["A", "Select", "Left"])
    timetable.poll()
    timetable.poll(note="will be cut short")
    t = setting.timing
    cut = timetable.reads[-1]
    after = t.latch_width + until_cut(t.latch_to_clock, t.clock_low, t.clock_high)
    timetable.poll_now(cut.start + after, note="a new latch, before the eighth bit")
    timetable.poll()


@scenario("long-latch", typed=True, passes=1)
def long_latch(timetable: Timetable) -> None:
    """The latch stays high for long: the pad goes on loading until it falls."""
    setting = timetable.setting
    timetable.poll()
    wide = max(20 * setting.timing.latch_width, 1_000_000_000, 3 * setting.settles)
    timetable.hold(["Down"], at=timetable.next_start + wide // 3)
    timetable.hold(["Down", "B"], at=timetable.next_start + wide // 2)
    timetable.poll(
        timing=replace(setting.timing, latch_width=wide), note="latch held high for long"
    )
    timetable.poll()


@scenario("back-to-back", typed=True, passes=1)
def back_to_back(timetable: Timetable) -> None:
    """Two polls with nothing but one clock's pause between them."""
    timetable.hold(["Select", "Right"])
    timetable.poll()
    first = timetable.reads[-1]
    timetable.poll_now(first.start + first.length, note="at once again")
    timetable.hold(["B"])
    timetable.poll()


@scenario("open-serial-input", typed=True)
def open_serial_input(timetable: Timetable) -> None:
    """The serial input torn off: the eight buttons still read right, what follows does not."""
    setting = timetable.setting
    timetable.hold(["B", "Right"])
    timetable.poll(serial=None)
    timetable.poll(serial=None, timing=setting.timing.with_clocks(setting.pad.stages + 8))


def _last(timetable: Timetable) -> int:
    """The last button's bit, or the last bit there is in a shorter read."""
    return min(timetable.setting.pad.first + 8, timetable.setting.timing.clocks)


@scenario("stopped-last-bit", passes=1)
def stopped_last_bit(timetable: Timetable) -> None:
    """Nothing is held, the read of the eighth bit is stopped: a press that never happened."""
    timetable.poll(note="undisturbed")
    stop = _last(timetable), _EXTRA_CLOCKS[0]
    timetable.poll(stopped=[stop], note="stopped in the read of the last bit")
    timetable.poll(note="undisturbed")


@scenario("stopped-any-bit", passes=1)
def stopped_any_bit(timetable: Timetable) -> None:
    """Each of the eight bits, one to three extra clocks, each tie of the serial input.

    With a read routine as the poll, each bit of each pass, and the clocks that its console makes.
    """
    stop_each_bit(timetable, (0, 1, None))


def stop_each_bit(timetable: Timetable, serials: Sequence[int | str | None]) -> None:
    """As `stopped_any_bit`, with these ties of the serial input."""
    routine = timetable.setting.routine
    counts = _EXTRA_CLOCKS if routine is None else _EXTRA_CLOCKS[:1]
    for serial in serials:
        for passed in range(1 if routine is None else routine.passes):
            for bit in range(timetable.setting.pad.first + 1, _last(timetable) + 1):
                for extra in counts:
                    for held in (0x00, 0xAA, 0x55):
                        timetable.hold(held)
                        timetable.poll(stopped=[*[(0, 0)] * passed, (bit, extra)], serial=serial)


@scenario("read-twice-rejects", passes=2)
def read_twice_rejects(timetable: Timetable) -> None:
    """Two passes that disagree are dropped, and the next poll that agrees is taken.

    With a read routine as the poll, what the routine itself makes of them.
    """
    stop = _last(timetable), _EXTRA_CLOCKS[0]
    timetable.poll(note="both passes undisturbed")
    timetable.poll(stopped=[stop], note="first pass stopped")
    timetable.poll(stopped=[(0, 0), stop], note="second pass stopped")
    timetable.hold(["A"])
    timetable.poll(stopped=[stop], note="first pass stopped, A held")
    timetable.poll(note="both passes undisturbed")


@scenario("fetch-cases")
def fetch_cases(timetable: Timetable) -> None:
    """The worst cases of a sweep over every fetch phase and held state, at the fastest rate."""
    routine = timetable.setting.routine
    timetable.poll(note="undisturbed")
    for case in () if routine is None else routine.cases():
        timetable.play_case(case)
