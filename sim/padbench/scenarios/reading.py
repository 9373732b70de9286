"""Reads that are not plain: too long, cut off, in quick succession, or of an open input.

A program as the poll makes no such reads; they are made at its shortest times.
"""

from dataclasses import replace

from padbench.core.buttons import byte_of
from padbench.core.stimulus import until_cut
from padbench.scenarios.expect import expected_bits
from padbench.scenarios.plan import Plan
from padbench.scenarios.script import Script, Setting

__all__ = ["back_to_back", "cut_short", "long_latch", "open_serial_input", "past_the_end"]


def past_the_end(setting: Setting) -> Script:
    """Reading on after the last stage shows the level of the serial input.

    With the usual tie to ground that is "pressed" (common practice); a pad that leaves the input
    open is held to the same, and cannot keep it.
    """
    plan = Plan(setting.typed)
    pad = setting.pad
    clocks = pad.stages + 8
    for buttons in ([], ["A", "Right"]):
        plan.hold(buttons)
        plan.poll(
            timing=setting.timing.with_clocks(clocks),
            expect=expected_bits(
                byte_of(buttons) | pad.stuck,
                clocks=clocks,
                stages=pad.stages,
                serial=0 if pad.serial is None else pad.serial,
            ),
        )
    return plan.script()


def cut_short(setting: Setting) -> Script:
    """A new latch after three clocks: the read is given up and the next one is whole."""
    plan = Plan(setting.typed, passes=1)
    plan.hold(["A", "Select", "Left"])
    plan.poll()
    plan.poll(note="will be cut short")
    t = setting.timing
    cut = plan.reads[-1]
    after = t.latch_width + until_cut(t.latch_to_clock, t.clock_low, t.clock_high)
    plan.poll_now(cut.start + after, note="a new latch, before the eighth bit")
    plan.poll()
    return plan.script()


def long_latch(setting: Setting) -> Script:
    """The latch stays high for long: the pad goes on loading until it falls."""
    plan = Plan(setting.typed, passes=1)
    plan.poll()
    wide = max(20 * setting.timing.latch_width, 1_000_000_000)
    plan.hold(["Down"], at=plan.next_start + wide // 3)
    plan.hold(["Down", "B"], at=plan.next_start + wide // 2)
    plan.poll(timing=replace(setting.timing, latch_width=wide), note="latch held high for long")
    plan.poll()
    return plan.script()


def back_to_back(setting: Setting) -> Script:
    """Two polls with nothing but one clock's pause between them."""
    plan = Plan(setting.typed, passes=1)
    plan.hold(["Select", "Right"])
    plan.poll()
    first = plan.reads[-1]
    plan.poll_now(first.start + first.length, note="at once again")
    plan.hold(["B"])
    plan.poll()
    return plan.script()


def open_serial_input(setting: Setting) -> Script:
    """The serial input torn off: the eight buttons still read right, what follows does not."""
    plan = Plan(setting.typed)
    plan.hold(["B", "Right"])
    plan.poll(serial=None)
    plan.poll(serial=None, timing=setting.timing.with_clocks(setting.pad.stages + 8))
    return plan.script()
