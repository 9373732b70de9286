"""How many polls see the bounce of a contact, and what to do about it."""

from dataclasses import replace

from padbench.circuit.remedy import spelled_range
from padbench.core.bridge import told
from padbench.core.findings import Finding, Remedy
from padbench.core.units import Value, show, to_ps
from padbench.sheet import Sheet

__all__ = ["judge_bounce"]


def judge_bounce(sheet: Sheet) -> Finding:
    """How many polls can fall into the bounce of one press: floor(bounce / period) + 1.

    One may: it reads the press a poll late at worst. With two or more, one press can read as
    several, unless somebody waits until the contact has come to rest: the sheet's
    ``policy.debounce``.
    """
    bounce, period = sheet.contacts.bounce.high, sheet.poll.period.low
    waits = sheet.policy.debounce.low
    # In picoseconds, as in a run: in floats 9 ms hold 3 ms less than three times.
    polls = to_ps(bounce) // to_ps(period) + 1 if bounce > 0 else 0
    says = (
        f"at most {polls} poll{'' if polls == 1 else 's'} can fall into the"
        f" {show(bounce, 's')} of a bounce"
    )
    holds, remedy = polls <= 1 or to_ps(waits) >= to_ps(bounce), None
    if polls > 1 and holds:
        says += f", which a debouncing of {show(waits, 's')} rides over"
    elif not holds:
        says += ": one press can read as several, as nobody waits until it is over"
        remedy = _slower_poll(sheet)
    return told(
        "bounce.polls",
        "pass" if holds else "fail",
        float(polls),
        1.0,
        1.0 - polls,
        "",
        f"bounce {show(bounce, 's')}, a poll every {show(period, 's')}",
        "arithmetic; bounce of contacts from memory",
        says,
        remedy,
    )


def _slower_poll(sheet: Sheet) -> Remedy:
    """A period longer than the bounce, debouncing, or a bounce shorter than either of the two.

    A bounce of just the period fails, of just the debouncing it does not.
    """
    contact, poll, policy = sheet.contacts.bounce, sheet.poll.period, sheet.policy.debounce

    def ratio(value: Value, end: float) -> float:
        # Of one that may be nothing at all no value is enough.
        return max(end / value.nominal, 1e-9) if value.nominal else 1.0

    ends: dict[str, tuple[float | None, float | None]] = {}
    longer = (to_ps(contact.high) + 1) * 1e-12
    period = longer / ratio(poll, poll.low)
    # A routine is called once a frame. No value of the sheet is longer than a second.
    if sheet.poll.routine is None and period * ratio(poll, poll.high) <= 1:
        ends["poll.period"] = (period, None)
    shorter = max(to_ps(poll.low) - 1, to_ps(policy.low)) * 1e-12
    ends["contacts.bounce"] = (None, shorter / ratio(contact, contact.high))
    wait = contact.high / ratio(policy, policy.low)
    if wait * ratio(policy, policy.high) <= 1:
        ends["policy.debounce"] = (wait, None)
    made = [
        Remedy(key, low, high, "s", (), (), f"{key} {spelled_range(low, high, 's')} would do")
        for key, (low, high) in ends.items()
    ]
    return replace(made[0], also=tuple(made[1:]))
