"""Stopped reads: the sound unit halts the CPU inside a read and the pad is clocked once too often.

One bit is lost, all later ones move up, and the serial input's level takes the last place; with
the input at ground the last button reads as pressed when nobody pressed it (common practice).
That is the console's fault, and no pad can prevent it. These scenarios hold the pad to doing
exactly this and nothing worse, so that the program's cure can be trusted.
"""

from padbench.scenarios.plan import Plan
from padbench.scenarios.script import Script, Setting

__all__ = ["EXTRA_MAY_BREAK", "read_twice_rejects", "stopped_any_bit", "stopped_last_bit"]

EXTRA_MAY_BREAK = {
    "timing.clock-low",
    "timing.clock-high",
    "timing.clock-period",
    "timing.later-bits",
}
"""Extra clocks are shorter than any the program makes; that is no fault of the pad."""


def _plan(setting: Setting, passes: int) -> Plan:
    plan = Plan(setting, passes=passes)
    plan.tolerates |= EXTRA_MAY_BREAK
    return plan


def stopped_last_bit(setting: Setting) -> Script:
    """Nothing is held, the read of the eighth bit is stopped: a press that never happened."""
    plan = _plan(setting, passes=1)
    plan.poll(note="undisturbed")
    plan.poll(stopped=[(8, 1)], note="stopped in the read of the last bit")
    plan.poll(note="undisturbed")
    return plan.script()


def stopped_any_bit(setting: Setting) -> Script:
    """Each of the eight bits, one to three extra clocks, each tie of the serial input."""
    plan = _plan(setting, passes=1)
    for serial in (0, 1, None):
        for bit in range(1, 9):
            for extra in (1, 2, 3):
                for held in (0x00, 0xAA, 0x55):
                    plan.hold(held)
                    plan.poll(stopped=[(bit, extra)], serial=serial)
    return plan.script()


def read_twice_rejects(setting: Setting) -> Script:
    """Two passes that disagree are dropped, and the next poll that agrees is taken."""
    plan = _plan(setting, passes=2)
    plan.poll(note="both passes undisturbed")
    plan.poll(stopped=[(8, 1)], note="first pass stopped")
    plan.poll(stopped=[(0, 0), (8, 1)], note="second pass stopped")
    plan.hold(["A"])
    plan.poll(stopped=[(8, 1)], note="first pass stopped, A held")
    plan.poll(note="both passes undisturbed")
    return plan.script()
