"""What is done to the contacts: states held, and presses at awkward moments.

Held states are what any pad must read right before anything else is asked.
"""

from padbench.core.buttons import BUTTONS, byte_of
from padbench.scenarios.polled_routine import Unsettled
from padbench.scenarios.script import Script, Setting
from padbench.scenarios.timetable import Timetable

_MOST_WHILE_BOUNCING = 20

_BOUNCES = (0.0, 0.06, 0.13, 0.22, 0.3, 0.42, 0.55, 0.71, 0.8)
"""Moments, as parts of the bounce time, at which the contact changes; invented, but not even."""


def idle(setting: Setting) -> Script:
    """Nothing held."""
    timetable = Timetable(setting)
    for _ in range(2):
        timetable.poll()
    return timetable.script()


def each_button(setting: Setting) -> Script:
    """Each button alone, in serial order."""
    timetable = Timetable(setting)
    for name in BUTTONS:
        timetable.hold([name])
        timetable.poll()
    return timetable.script()


def all_states(setting: Setting) -> Script:
    """All 256 held states; neighbours differ in many bits, so that no stage can lag unseen."""
    timetable = Timetable(setting)
    for count in range(256):
        timetable.hold(count * 77 & 0xFF)  # 77 is odd: every byte comes once
        timetable.poll()
    return timetable.script()


def held(setting: Setting) -> Script:
    """One button held over 60 polls, a second on a 60 Hz console, without one wrong read."""
    timetable = Timetable(setting)
    timetable.hold(["B"])
    for _ in range(60):
        timetable.poll()
    timetable.hold([])
    timetable.poll()
    return timetable.script()


def opposite_directions(setting: Setting) -> Script:
    """Up with Down, Left with Right, all four; pressed one after the other and at once."""
    timetable = Timetable(setting)
    for first, second in (("Up", "Down"), ("Down", "Up"), ("Left", "Right"), ("Right", "Left")):
        for buttons in ([first], [first, second], [second], [first, second], []):
            timetable.hold(buttons)
            timetable.poll()
    for buttons in (["Up", "Down"], [], ["Left", "Right"], [], ["Up", "Down", "Left", "Right"]):
        timetable.hold(buttons)
        timetable.poll()
    return timetable.script()


def stuck_contact(setting: Setting) -> Script:
    """Select never lets go: it reads as pressed for ever, and no other button suffers."""
    timetable = Timetable(setting)
    timetable.hold(["Select"], at=1)
    timetable.poll()
    for name in BUTTONS:
        timetable.hold({name, "Select"})
        timetable.poll()
    return timetable.script()


def _free_button(setting: Setting) -> int:
    """A button that is on a stage of its own and not stuck, Start if possible."""
    pad = setting.pad
    stages = [stage for _, stage in pad.stage_of]
    free = [bit for bit, stage in pad.stage_of if stages.count(stage) == 1 and not bit & pad.stuck]
    start = byte_of(["Start"])
    return start if start in free or not free else free[0]


def press_between(setting: Setting) -> Script:
    """A press and a release between two polls leave no trace."""
    timetable = Timetable(setting)
    button = _free_button(setting)
    timetable.poll()
    quiet = timetable.next_start - timetable.between
    timetable.hold(button, at=timetable.between)
    timetable.hold(0, at=timetable.between + quiet // 2)
    timetable.settle()
    timetable.poll(note="pressed and released before this poll")
    return timetable.script()


def press_in_latch(setting: Setting) -> Script:
    """A press in the middle of the latch pulse is seen at once: the load is transparent."""
    timetable = Timetable(setting)
    button = _free_button(setting)
    timetable.poll()
    rise, fall = timetable.latch_at_pad
    setup = setting.pad.limits.setup_parallel.ps
    at = max(rise + 1, min((rise + fall) // 2, fall - setup))
    timetable.hold(button, at=at)
    if fall - at < setup:
        # So short a latch leaves no moment inside it that keeps the set-up time.
        timetable.unsettled.append(Unsettled(at, fall, button))
        timetable.tolerates.add("timing.setup-parallel")
    timetable.poll(note="pressed inside the latch pulse")
    timetable.settle()
    timetable.poll()
    return timetable.script()


def press_before_latch_ends(setting: Setting) -> Script:
    """A press too late for the set-up time: that one bit may fall either way, no other may."""
    timetable = Timetable(setting)
    button = _free_button(setting)
    timetable.poll()
    _, fall = timetable.latch_at_pad
    setup = setting.pad.limits.setup_parallel.ps
    at = fall - max(1, min(setup, setting.timing.latch_width) // 2)
    timetable.hold(button, at=at)
    timetable.unsettled.append(Unsettled(at, at + setup, button))
    if not button & setting.pad.stuck:
        timetable.breaks.add("timing.setup-parallel")
    timetable.poll(note="pressed just before the latch falls")
    timetable.settle()
    timetable.poll()
    return timetable.script()


def press_after_latch(setting: Setting) -> Script:
    """A press just after the latch has fallen waits for the next poll."""
    timetable = Timetable(setting)
    button = _free_button(setting)
    timetable.poll()
    _, fall = timetable.latch_at_pad
    timetable.hold(button, at=fall + setting.pad.limits.setup_parallel.ps)
    timetable.poll(note="pressed just after the latch fell")
    timetable.settle()
    timetable.poll()
    return timetable.script()


def bounce(setting: Setting) -> Script:
    """A contact bounces across a poll, at the press and at the release.

    While it bounces that one button may read either way; every other bit, and every later poll,
    must be right.
    """
    timetable = Timetable(setting)
    button = _free_button(setting)
    timetable.tolerates.add("timing.setup-parallel")
    timetable.poll()
    for closing in (True, False):
        _, fall = timetable.latch_at_pad
        start = max(timetable.last_end, fall - setting.bounce // 2)
        for count, part in enumerate(_BOUNCES):
            down = (count % 2 == 0) == closing
            timetable.hold(button if down else 0, at=start + int(setting.bounce * part))
        # The last change may fall into a set-up time, so the bit is left open a little longer.
        end = start + setting.bounce + setting.pad.limits.setup_parallel.ps
        timetable.unsettled.append(Unsettled(start, end, button))
        timetable.poll(note="the contact bounces")
        for _ in range(_MOST_WHILE_BOUNCING):
            if timetable.next_start < end:
                timetable.poll()
        timetable.wait_until(end)
        timetable.poll(note="settled")
    return timetable.script()
