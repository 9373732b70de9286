"""Stopped reads: the sound unit halts the CPU inside a read and the pad is clocked once too often.

One bit is lost, all later ones move up, and the serial input's level takes the last place; with
the input at ground the last button reads as pressed when nobody pressed it (common practice).
That is the console's fault, and no pad can prevent it. These scenarios hold the pad to doing
exactly this and nothing worse, so that the program's cure can be trusted. With a read routine as
the poll its console's fetch makes the stops, and what comes of them is the routine's own doing.
"""

from padbench.scenarios.plan import Plan
from padbench.scenarios.script import Script, Setting

__all__ = ["fetch_cases", "read_twice_rejects", "stopped_any_bit", "stopped_last_bit"]

_EXTRA_CLOCKS = (1, 2, 3)
"""What a stopped read may bring where no program says which console it runs on."""


def _last(setting: Setting) -> int:
    """The last button's bit, or the last bit there is in a shorter read."""
    return min(8, setting.timing.clocks)


def stopped_last_bit(setting: Setting) -> Script:
    """Nothing is held, the read of the eighth bit is stopped: a press that never happened."""
    plan = Plan(setting, passes=1)
    plan.poll(note="undisturbed")
    stop = _last(setting), _EXTRA_CLOCKS[0]
    plan.poll(stopped=[stop], note="stopped in the read of the last bit")
    plan.poll(note="undisturbed")
    return plan.script()


def stopped_any_bit(setting: Setting) -> Script:
    """Each of the eight bits, one to three extra clocks, each tie of the serial input.

    With a read routine as the poll, each bit of each pass, and the clocks that its console makes.
    """
    plan = Plan(setting, passes=1)
    program = setting.program
    counts = _EXTRA_CLOCKS if program is None else _EXTRA_CLOCKS[:1]
    for serial in (0, 1, None):
        for passed in range(1 if program is None else program.passes):
            for bit in range(1, _last(setting) + 1):
                for extra in counts:
                    for held in (0x00, 0xAA, 0x55):
                        plan.hold(held)
                        plan.poll(stopped=[*[(0, 0)] * passed, (bit, extra)], serial=serial)
    return plan.script()


def read_twice_rejects(setting: Setting) -> Script:
    """Two passes that disagree are dropped, and the next poll that agrees is taken.

    With a read routine as the poll, what the routine itself makes of them.
    """
    plan = Plan(setting, passes=2)
    stop = _last(setting), _EXTRA_CLOCKS[0]
    plan.poll(note="both passes undisturbed")
    plan.poll(stopped=[stop], note="first pass stopped")
    plan.poll(stopped=[(0, 0), stop], note="second pass stopped")
    plan.hold(["A"])
    plan.poll(stopped=[stop], note="first pass stopped, A held")
    plan.poll(note="both passes undisturbed")
    return plan.script()


def fetch_cases(setting: Setting) -> Script:
    """The worst cases of a sweep over every fetch phase and held state, at the fastest rate."""
    plan = Plan(setting)
    plan.poll(note="undisturbed")
    for case in () if setting.program is None else setting.program.cases():
        plan.play_case(case)
    return plan.script()
