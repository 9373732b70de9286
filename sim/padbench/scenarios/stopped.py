"""Stopped reads: the sound unit halts the CPU inside a read and the pad is clocked once too often.

One bit is lost, all later ones move up, and the serial input's level takes the last place; with
the input at ground the last button reads as pressed when nobody pressed it (common practice).
That is the console's fault, and no pad can prevent it. These scenarios hold the pad to doing
exactly this and nothing worse, so that the program's cure can be trusted.
"""

from padbench.scenarios.plan import Plan
from padbench.scenarios.script import Script, Setting

__all__ = ["read_twice_rejects", "stopped_any_bit", "stopped_last_bit"]


def _last(setting: Setting) -> int:
    """The last button's bit, or the last bit there is in a shorter read."""
    return min(8, setting.timing.clocks)


def stopped_last_bit(setting: Setting) -> Script:
    """Nothing is held, the read of the eighth bit is stopped: a press that never happened."""
    plan = Plan(setting, passes=1)
    plan.poll(note="undisturbed")
    stop = _last(setting), setting.extra_clocks[0]
    plan.poll(stopped=[stop], note="stopped in the read of the last bit")
    plan.poll(note="undisturbed")
    return plan.script()


def stopped_any_bit(setting: Setting) -> Script:
    """Each of the eight bits, one to three extra clocks, each tie of the serial input.

    With a read routine as the poll, only the extra clocks that its console makes.
    """
    plan = Plan(setting, passes=1)
    for serial in (0, 1, None):
        for bit in range(1, _last(setting) + 1):
            for extra in setting.extra_clocks:
                for held in (0x00, 0xAA, 0x55):
                    plan.hold(held)
                    plan.poll(stopped=[(bit, extra)], serial=serial)
    return plan.script()


def read_twice_rejects(setting: Setting) -> Script:
    """Two passes that disagree are dropped, and the next poll that agrees is taken."""
    plan = Plan(setting, passes=2)
    stop = _last(setting), setting.extra_clocks[0]
    plan.poll(note="both passes undisturbed")
    plan.poll(stopped=[stop], note="first pass stopped")
    plan.poll(stopped=[(0, 0), stop], note="second pass stopped")
    plan.hold(["A"])
    plan.poll(stopped=[stop], note="first pass stopped, A held")
    plan.poll(note="both passes undisturbed")
    return plan.script()
