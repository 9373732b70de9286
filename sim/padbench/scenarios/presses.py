"""What is done to the contacts: states held, and presses at awkward moments.

Held states are what any pad must read right before anything else is asked.
"""

from padbench.core.buttons import BUTTONS, byte_of
from padbench.scenarios.polled_routine import Unsettled
from padbench.scenarios.timetable import Timetable, scenario

_MOST_WHILE_BOUNCING = 20

_BOUNCES = (0.0, 0.06, 0.13, 0.22, 0.3, 0.42, 0.55, 0.71, 0.8)
"""Moments, as parts of the bounce time, at which the contact changes; invented, but not even."""


@scenario("idle")
def idle(timetable: Timetable) -> None:
    """Nothing held."""
    for _ in range(2):
        timetable.poll()


@scenario("each-button")
def each_button(timetable: Timetable) -> None:
    """Each button alone, in serial order."""
    for name in BUTTONS:
        timetable.hold([name])
        timetable.poll()


@scenario("all-states")
def all_states(timetable: Timetable) -> None:
    """All 256 held states; neighbours differ in many bits, so that no stage can lag unseen."""
    for count in range(256):
        timetable.hold(count * 77 & 0xFF)  # 77 is odd: every byte comes once
        timetable.poll()


@scenario("held")
def held(timetable: Timetable) -> None:
    """One button held over 60 polls, a second on a 60 Hz console, without one wrong read."""
    timetable.hold(["B"])
    for _ in range(60):
        timetable.poll()
    timetable.hold([])
    timetable.poll()


@scenario("opposite-directions")
def opposite_directions(timetable: Timetable) -> None:
    """Up with Down, Left with Right, all four; pressed one after the other and at once."""
    for first, second in (("Up", "Down"), ("Down", "Up"), ("Left", "Right"), ("Right", "Left")):
        for buttons in ([first], [first, second], [second], [first, second], []):
            timetable.hold(buttons)
            timetable.poll()
    for buttons in (["Up", "Down"], [], ["Left", "Right"], [], ["Up", "Down", "Left", "Right"]):
        timetable.hold(buttons)
        timetable.poll()


@scenario("stuck-contact")
def stuck_contact(timetable: Timetable) -> None:
    """Select never lets go: it reads as pressed for ever, and no other button suffers."""
    timetable.hold(["Select"], at=1)
    timetable.poll()
    for name in BUTTONS:
        timetable.hold({name, "Select"})
        timetable.poll()


def _free_button(timetable: Timetable) -> int:
    """A button that is on a stage of its own and not stuck, Start if possible."""
    pad = timetable.setting.pad
    stages = [stage for _, stage in pad.stage_of]
    free = [bit for bit, stage in pad.stage_of if stages.count(stage) == 1 and not bit & pad.stuck]
    start = byte_of(["Start"])
    return start if start in free or not free else free[0]


@scenario("press-between-polls")
def press_between(timetable: Timetable) -> None:
    """A press and a release between two polls leave no trace."""
    button = _free_button(timetable)
    timetable.poll()
    quiet = timetable.next_start - timetable.between
    timetable.hold(button, at=timetable.between)
    timetable.hold(0, at=timetable.between + quiet // 2)
    timetable.settle()
    timetable.poll(note="pressed and released before this poll")


@scenario("press-in-latch")
def press_in_latch(timetable: Timetable) -> None:
    """A press in the middle of the latch pulse is seen at once: the load is transparent."""
    setting = timetable.setting
    button = _free_button(timetable)
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


@scenario("press-before-latch-ends")
def press_before_latch_ends(timetable: Timetable) -> None:
    """A press too late for the set-up time: that one bit may fall either way, no other may."""
    setting = timetable.setting
    button = _free_button(timetable)
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


@scenario("press-after-latch")
def press_after_latch(timetable: Timetable) -> None:
    """A press just after the latch has fallen waits for the next poll."""
    setting = timetable.setting
    button = _free_button(timetable)
    timetable.poll()
    _, fall = timetable.latch_at_pad
    timetable.hold(button, at=fall + setting.pad.limits.setup_parallel.ps)
    timetable.poll(note="pressed just after the latch fell")
    timetable.settle()
    timetable.poll()


@scenario("bounce")
def bounce(timetable: Timetable) -> None:
    """A contact bounces across a poll, at the press and at the release.

    While it bounces that one button may read either way; every other bit, and every later poll,
    must be right.
    """
    setting = timetable.setting
    button = _free_button(timetable)
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
