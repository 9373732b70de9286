"""At which poll timings a pad or adapter that is a program works."""

from collections.abc import Iterator, Sequence

import numpy as np

from padbench.circuit.design import Design, changed, design_of, stacked
from padbench.circuit.mending import Mender
from padbench.circuit.quantities import followed_by_a_program
from padbench.circuit.quantity import WorstCase
from padbench.circuit.worst_case import keeping, worst_case
from padbench.core.findings import Fact, Finding, Met, Place, Rule, Source
from padbench.core.remedies import spelled_range
from padbench.core.stimulus import POLL_TIMES
from padbench.core.units import show
from padbench.parts import PortKind, poll_names
from padbench.sheet import Poll, Sheet

_TOLD = {
    "poll.latch-width": "latch",
    "poll.clock-low": "clock low",
    "poll.clock-high": "clock high",
    "poll.sample": "sample",
}
"""Times of a poll whose ranges are told, and how they are called."""


def _says(finding: Finding) -> str:
    facts = finding.facts
    ranges = [_range(finding, key) for key in _TOLD if f"{key} works" in facts]
    polls = facts["polls"]
    assert isinstance(polls, tuple)
    return (
        f"it needs {_time(finding, 'first bit')} from the latch to the first sample,"
        f" {_time(finding, 'later bits')} from a clock to the next sample and pulses of"
        f" {_time(finding, 'pulse')}; of the named polls it works with "
        + (", ".join(map(str, polls)) or "none")
        + (f"; each alone, the rest as it is: {', '.join(ranges)}" if ranges else "")
    )


def _time(finding: Finding, fact: str) -> str:
    seconds = _number(finding, fact)
    return "for ever" if seconds is None else show(seconds, "s")


def _range(finding: Finding, key: str) -> str:
    """The range of one time of the poll, and of the clock's period, in which a program works."""
    if not finding.facts[f"{key} works"]:
        return f"{_TOLD[key]} never"
    low, high = _number(finding, f"{key} from"), _number(finding, f"{key} to")
    words = f"{_TOLD[key]} {spelled_range(low, high, 's')}"
    if key == "poll.clock-high":
        rest = _number(finding, "clock low") or 0.0
        shortest, longest = (None if end is None else end + rest for end in (low, high))
        words += f" (a period {spelled_range(shortest, longest, 's')})"
    return f"{words} after the clock's fall" if key == "poll.sample" else words


def _number(finding: Finding, fact: str) -> float | None:
    value = finding.facts[fact]
    return value if isinstance(value, float) else None


_RULE = Rule(
    "firmware.poll",
    "",
    {"pass": _says, "fail": _says},
    (
        *("register.next-bit", "register.first-bit", "register.shortest-pulse"),
        *("poll.clock-high", "poll.clock-low", "poll.latch-width", "poll.sample"),
        *("cable.length", "cable.capacitance"),
    ),
)


def judge_program(sheet: Sheet, ports: Sequence[PortKind], remedies: bool) -> Iterator[Finding]:
    """At which poll timings a program works: its own needs, and the named polls that keep them.

    What is said of the poll is true for one of its times at once, the others as they are. The
    sample may come after the clock's rise by the program's shortest answer. Nothing for a register.
    """
    chip = sheet.chip
    if chip.kind != "firmware" or chip.shortest_pulse is None:
        return
    designs = stacked([design_of(sheet, sheet.part, port) for port in ports])
    first, later = worst_case(designs, ("data.first-bit", "data.later-bits"))
    polls = {name: Poll.model_validate({"use": name}) for name in poll_names()}
    holds = _follows(designs, sheet.poll)
    facts: dict[str, Fact] = {
        "first bit": _longest(first),
        "later bits": _longest(later),
        "pulse": chip.shortest_pulse.high,
        "clock low": sheet.poll.clock_low.nominal,
        "polls": tuple(name for name, poll in polls.items() if _follows(designs, poll)),
    }
    remedy = None
    if remedies:
        mender = Mender(sheet)
        dials = {dial.key: dial for dial in mender.dials}
        for key in _TOLD:
            between = mender.range(dials[key], followed_by_a_program(key))
            facts[f"{key} works"] = between is not None
            if between is not None:
                facts[f"{key} from"], facts[f"{key} to"] = between
        if not holds:
            remedy = mender.remedy(_RULE.mends or (), followed_by_a_program())
    yield Finding(
        _RULE,
        "pass" if holds else "fail",
        met=Met(other="the sheet's poll"),
        sources=(Source("the sheet says so", "given"),),
        facts=facts,
        place=Place("poll"),
        remedy=remedy,
    )


def _follows(designs: Design, poll: Poll) -> bool:
    ends = {name: getattr(poll, name).low for name in POLL_TIMES}
    ends |= {f"{name}_high": getattr(poll, name).high for name in POLL_TIMES}
    return bool(keeping(changed(designs, **ends), followed_by_a_program()).all())


def _longest(worst: WorstCase) -> float | None:
    seconds = float(worst.measured.max())
    return seconds if np.isfinite(seconds) else None
