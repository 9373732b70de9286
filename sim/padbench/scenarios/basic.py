"""Held states: what any pad must read right before anything else is asked."""

from padbench.core.buttons import BUTTONS
from padbench.scenarios.plan import Plan
from padbench.scenarios.script import Script, Setting

__all__ = ["all_states", "each_button", "held", "idle", "opposite_directions", "stuck_contact"]


def idle(setting: Setting) -> Script:
    """Nothing held."""
    plan = Plan(setting)
    for _ in range(2):
        plan.poll()
    return plan.script()


def each_button(setting: Setting) -> Script:
    """Each button alone, in serial order."""
    plan = Plan(setting)
    for name in BUTTONS:
        plan.hold([name])
        plan.poll()
    return plan.script()


def all_states(setting: Setting) -> Script:
    """All 256 held states; neighbours differ in many bits, so that no stage can lag unseen."""
    plan = Plan(setting)
    for count in range(256):
        plan.hold(count * 77 & 0xFF)  # 77 is odd: every byte comes once
        plan.poll()
    return plan.script()


def held(setting: Setting) -> Script:
    """One button held over 60 polls, a second on a 60 Hz console, without one wrong read."""
    plan = Plan(setting)
    plan.hold(["B"])
    for _ in range(60):
        plan.poll()
    plan.hold([])
    plan.poll()
    return plan.script()


def opposite_directions(setting: Setting) -> Script:
    """Up with Down, Left with Right, all four; pressed one after the other and at once."""
    plan = Plan(setting)
    for first, second in (("Up", "Down"), ("Down", "Up"), ("Left", "Right"), ("Right", "Left")):
        for buttons in ([first], [first, second], [second], [first, second], []):
            plan.hold(buttons)
            plan.poll()
    for buttons in (["Up", "Down"], [], ["Left", "Right"], [], ["Up", "Down", "Left", "Right"]):
        plan.hold(buttons)
        plan.poll()
    return plan.script()


def stuck_contact(setting: Setting) -> Script:
    """Select never lets go: it reads as pressed for ever, and no other button suffers."""
    plan = Plan(setting)
    plan.hold(["Select"], at=1)
    plan.poll()
    for name in BUTTONS:
        plan.hold({name, "Select"})
        plan.poll()
    return plan.script()
