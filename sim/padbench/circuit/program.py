"""At which poll timings a pad or adapter that is a program works."""

from collections.abc import Iterator, Sequence

import numpy as np

from padbench.circuit.design import Design, changed, design_of, stacked
from padbench.circuit.judge import judge
from padbench.circuit.mends import FOLLOWED, POLLED
from padbench.circuit.remedy import Mender, keeping, spelled_range
from padbench.core.bridge import told
from padbench.core.findings import Finding, Verdict
from padbench.core.units import show
from padbench.parts import PortKind, poll_names
from padbench.sheet import Poll, Sheet

__all__ = ["judge_program"]

_TURNED = {
    "poll.latch-width": (
        "latch",
        *("latch.pulse", "data.first-bit"),
        *("timing.latch-arrives", "timing.latch-width", "timing.first-bit"),
    ),
    "poll.clock-low": (
        "clock low",
        *("clock.low-pulse", "timing.clock-low", "timing.clock-period"),
        *("timing.removal", "timing.sample-point"),
    ),
    "poll.clock-high": (
        "clock high",
        *("clock.high-pulse", "data.later-bits"),
        *("timing.clock-high", "timing.clock-period", "timing.later-bits"),
    ),
    "poll.sample": (
        "sample",
        *("data.first-bit", "data.later-bits"),
        *("timing.first-bit", "timing.later-bits", "timing.sample-point"),
    ),
}
"""What of a poll is told for a program, how it is called, and the findings that it decides."""


def judge_program(sheet: Sheet, ports: Sequence[PortKind], remedies: bool) -> Iterator[Finding]:
    """At which poll timings a program works: its own needs, and the named polls that keep them.

    What is said of the poll is true for one of its times at once, the others as they are. The
    sample may come after the clock's rise by the program's shortest answer.
    """
    chip = sheet.chip
    if chip.kind != "firmware" or chip.shortest_pulse is None:
        return
    single = [design_of(sheet, sheet.part, port) for port in ports]
    designs = stacked(single)
    worst = {one.id: one.measured.max() for one in judge(designs, POLLED)}
    polls = {name: Poll.model_validate({"use": name}) for name in poll_names()}
    good = [name for name, poll in polls.items() if _follows(designs, poll)]
    holds = _follows(designs, sheet.poll)
    says = (
        f"it needs {_or_never(worst['data.first-bit'])} from the latch to the first sample,"
        f" {_or_never(worst['data.later-bits'])} from a clock to the next sample and pulses of"
        f" {show(chip.shortest_pulse.high, 's')}; of the named polls it works with "
        + (", ".join(good) or "none")
    )
    verdict: Verdict = "pass" if holds else "fail"
    remedy = None
    if remedies:
        mender = Mender(sheet, [port.name for port in ports], single, ())
        says += "; each alone, the rest as it is: " + _timings(mender, range(len(ports)))
        if not holds:
            remedy = mender.remedy("firmware.poll", range(len(ports)), ids=FOLLOWED, thin=False)
    yield told(
        "firmware.poll",
        verdict,
        None,
        None,
        None,
        "",
        "the sheet's poll",
        "the sheet says so",
        says,
        remedy,
    )


def _timings(mender: Mender, rows: Sequence[int]) -> str:
    """The range of each time of the poll, and of the clock's period, in which a program works."""
    said = []
    dials = {dial.key: dial for dial in mender.dials}
    for key, (words, *ids) in _TURNED.items():
        between = mender.range(dials[key], ids, rows)
        said.append(f"{words} {'never' if between is None else spelled_range(*between, 's')}")
        if between is not None and key == "poll.clock-high":
            low = dials["poll.clock-low"].now or 0.0
            whole = [None if end is None else end + low for end in between]
            said[-1] += f" (a period {spelled_range(whole[0], whole[1], 's')})"
        if between is not None and key == "poll.sample":
            said[-1] += " after the clock's fall"
    return ", ".join(said)


def _follows(designs: Design, poll: Poll) -> bool:
    timed = changed(
        designs,
        latch_width=poll.latch_width.low,
        latch_width_high=poll.latch_width.high,
        latch_to_clock=poll.latch_to_clock.low,
        latch_to_clock_high=poll.latch_to_clock.high,
        clock_low=poll.clock_low.low,
        clock_low_high=poll.clock_low.high,
        clock_high=poll.clock_high.low,
        clock_high_high=poll.clock_high.high,
        sample=poll.sample.low,
        sample_high=poll.sample.high,
    )
    return bool(keeping(timed, FOLLOWED).all())


def _or_never(seconds: float) -> str:
    return show(float(seconds), "s") if np.isfinite(seconds) else "for ever"
