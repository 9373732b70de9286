"""Presses at awkward moments: between polls, around the latch, and with bounce."""

from padbench.core.buttons import byte_of
from padbench.scenarios.plan import Plan, Unsettled
from padbench.scenarios.script import Script, Setting

__all__ = [
    "bounce",
    "press_after_latch",
    "press_before_latch_ends",
    "press_between",
    "press_in_latch",
]

_MOST_WHILE_BOUNCING = 20

_BOUNCES = (0.0, 0.06, 0.13, 0.22, 0.3, 0.42, 0.55, 0.71, 0.8)
"""Moments, as parts of the bounce time, at which the contact changes; invented, but not even."""


def _free_button(setting: Setting) -> int:
    """A button that is on a stage of its own and not stuck, Start if possible."""
    pad = setting.pad
    stages = [stage for _, stage in pad.stage_of]
    free = [bit for bit, stage in pad.stage_of if stages.count(stage) == 1 and not bit & pad.stuck]
    start = byte_of(["Start"])
    return start if start in free or not free else free[0]


def press_between(setting: Setting) -> Script:
    """A press and a release between two polls leave no trace."""
    plan = Plan(setting)
    button = _free_button(setting)
    plan.poll()
    quiet = plan.next_start - plan.between
    plan.hold(button, at=plan.between)
    plan.hold(0, at=plan.between + quiet // 2)
    plan.poll(note="pressed and released before this poll")
    return plan.script()


def press_in_latch(setting: Setting) -> Script:
    """A press in the middle of the latch pulse is seen at once: the load is transparent."""
    plan = Plan(setting)
    button = _free_button(setting)
    plan.poll()
    rise, fall = plan.latch_at_pad
    setup = setting.pad.limits.setup_parallel.ps
    at = max(rise + 1, min((rise + fall) // 2, fall - setup))
    plan.hold(button, at=at)
    if fall - at < setup:
        # So short a latch leaves no moment inside it that keeps the set-up time.
        plan.unsettled.append(Unsettled(at, fall, button))
        plan.tolerates.add("timing.setup-parallel")
    plan.poll(note="pressed inside the latch pulse")
    plan.poll()
    return plan.script()


def press_before_latch_ends(setting: Setting) -> Script:
    """A press too late for the set-up time: that one bit may fall either way, no other may."""
    plan = Plan(setting)
    button = _free_button(setting)
    plan.poll()
    _, fall = plan.latch_at_pad
    setup = setting.pad.limits.setup_parallel.ps
    at = fall - max(1, min(setup, setting.timing.latch_width) // 2)
    plan.hold(button, at=at)
    plan.unsettled.append(Unsettled(at, at + setup, button))
    if not button & setting.pad.stuck:
        plan.breaks.add("timing.setup-parallel")
    plan.poll(note="pressed just before the latch falls")
    plan.poll()
    return plan.script()


def press_after_latch(setting: Setting) -> Script:
    """A press just after the latch has fallen waits for the next poll."""
    plan = Plan(setting)
    button = _free_button(setting)
    plan.poll()
    _, fall = plan.latch_at_pad
    plan.hold(button, at=fall + setting.pad.limits.setup_parallel.ps)
    plan.poll(note="pressed just after the latch fell")
    plan.poll()
    return plan.script()


def bounce(setting: Setting) -> Script:
    """A contact bounces across a poll, at the press and at the release.

    While it bounces that one button may read either way; every other bit, and every later poll,
    must be right.
    """
    plan = Plan(setting)
    button = _free_button(setting)
    plan.tolerates.add("timing.setup-parallel")
    plan.poll()
    for closing in (True, False):
        _, fall = plan.latch_at_pad
        start = max(plan.last_end, fall - setting.bounce // 2)
        for count, part in enumerate(_BOUNCES):
            down = (count % 2 == 0) == closing
            plan.hold(button if down else 0, at=start + int(setting.bounce * part))
        # The last change may fall into a set-up time, so the bit is left open a little longer.
        end = start + setting.bounce + setting.pad.limits.setup_parallel.ps
        plan.unsettled.append(Unsettled(start, end, button))
        plan.poll(note="the contact bounces")
        for _ in range(_MOST_WHILE_BOUNCING):
            if plan.next_start < end:
                plan.poll()
        plan.wait_until(end)
        plan.poll(note="settled")
    return plan.script()
