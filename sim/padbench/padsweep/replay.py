"""A case of a pad again, on the MyHDL model, as a scenario: its reads, its wave, its verdict.

    scenario = pad_case(case_from_text("held=A then=A+B at=5 stopped-bit=3 serial-input=supply"))
    run_scenario(sheet, scenario, port, "fast")

The sweep knows the order of edges and no times, so the read is so slow that a change fits between
any two events with every limit of the part kept.
"""

from dataclasses import fields, replace
from functools import partial

from padbench.core.buttons import BUTTONS, byte_of, pressed_in, spelled
from padbench.core.limits import Limit, Limits
from padbench.core.stimulus import PollTiming, ScriptedRead
from padbench.core.units import found_text
from padbench.padsweep.counting import moments
from padbench.padsweep.tally import TIES, PadCase, PadPart
from padbench.scenarios import Scenario, Script, Setting
from padbench.scenarios.timetable import Timetable

_US = 1_000_000

_EXAMPLE = "held=A+Up then=Up at=5 stopped-bit=3 extra-clocks=1 serial-input=ground"
_DEFAULTS = {"at": "0", "stopped-bit": "0", "extra-clocks": "1", "serial-input": "ground"}
_KEYS = ("held", "then", *_DEFAULTS)
_MOST = 64
"""Bits of a poll, as a sheet may have them, and so of a case."""


def case_text(case: PadCase) -> str:
    """A case in the words of `case_from_text`."""
    part = case.part
    words = [f"held={_state(case.held)}", f"then={_state(case.then)}", f"at={part.moment}"]
    if part.stopped_bit:
        words += [f"stopped-bit={part.stopped_bit}", f"extra-clocks={part.extra}"]
    return " ".join([*words, f"serial-input={TIES[part.tie]}"])


def case_from_text(text: str) -> PadCase:
    """A case from words like ``held=A+Up``; only ``held`` has to be there.

    ``held`` and ``then`` are buttons joined by +, ``nothing``, or a byte from 0 to 255; ``at`` is
    the event of the read before which the contacts change (see `moments`). Raises ``ValueError``
    that says what is wrong and what would do.
    """
    given: dict[str, str] = {}
    for word in text.split():
        key, equals, value = word.partition("=")
        if key not in _KEYS or not equals:
            raise ValueError(f"{found_text(word)} is none of {', '.join(_KEYS)}; as in {_EXAMPLE}")
        if key in given:
            raise ValueError(f"{key} is there twice; say it once")
        given[key] = value
    if "held" not in given:
        raise ValueError(f"held is missing; as in {_EXAMPLE}")
    known = _DEFAULTS | given
    ties = {TIES[level]: level for level in (0, 1)}
    if known["serial-input"] not in ties:
        raise ValueError(f"serial-input={known['serial-input'][:20]}: write ground or supply")
    stopped = _number("stopped-bit", known["stopped-bit"], 0, 8)
    extra = _number("extra-clocks", known["extra-clocks"], 1, 3) if stopped else 0
    moment = _number("at", known["at"], 0, moments(_MOST, stopped, extra) - 1)
    part = PadPart(ties[known["serial-input"]], stopped, extra, moment)
    held = _byte("held", given["held"])
    return PadCase(held, _byte("then", given["then"]) if "then" in given else held, part)


def _state(byte: int) -> str:
    return "+".join(pressed_in(byte)) or "nothing"


def _byte(key: str, text: str) -> int:
    if text == "nothing":
        return 0
    if text.isascii() and text.isdigit():
        return _number(key, text, 0, 255)
    try:
        return byte_of(text.split("+"))
    except KeyError as error:
        name = found_text(error.args[0])
        raise ValueError(
            f"{key}: {name} is no button; join {', '.join(BUTTONS)} by +, or write nothing"
        ) from None


def _number(key: str, text: str, least: int, most: int) -> int:
    if not (text.isascii() and text.isdigit() and least <= int(text[:9]) <= most):
        raise ValueError(f"{key}={text[:20]}: write a number from {least} to {most}")
    return int(text)


def says_case(case: PadCase) -> str:
    """A case in words, for people."""
    part = case.part
    stop = f", bit {part.stopped_bit} stopped by {part.extra}" if part.stopped_bit else ""
    return (
        f"held {spelled(case.held)}, then {spelled(case.then)} from event {part.moment} of the "
        f"read on{stop}, serial input at {TIES[part.tie]}"
    )


def pad_case(case: PadCase) -> Scenario:
    """The case as a scenario: an undisturbed read, then the read of the case.

    The script raises ``ValueError`` for a bit or a moment that the poll's reads do not have.
    """
    part = case.part
    stop = f"-bit-{part.stopped_bit}-by-{part.extra}" if part.stopped_bit else ""
    name = f"case-{case.held:02x}-{case.then:02x}-at-{part.moment}{stop}-{TIES[part.tie]}"
    says = says_case(case)
    return Scenario(name, f"{says[0].upper()}{says[1:]}.", partial(_build, case))


def _build(case: PadCase, setting: Setting) -> Script:
    part, clocks = case.part, setting.timing.clocks
    if part.stopped_bit > clocks:
        raise ValueError(f"stopped-bit={part.stopped_bit}: the poll reads {clocks} bits")
    last = moments(clocks, part.stopped_bit, part.extra) - 1
    if part.moment > last:
        raise ValueError(f"at={part.moment}: this read has the moments 0 to {last}")
    timing = case_timing(setting.pad.limits, clocks)
    slow = replace(setting.typed, timing=timing, period=4 * timing.length, passes=1)
    plan = Timetable(slow)
    plan.hold(case.held)
    plan.poll(serial=part.tie)
    plan.poll(stopped=[(part.stopped_bit, part.extra)], serial=part.tie)
    plan.hold(case.then, at=moment_ps(plan.reads[-1], part.moment))
    return plan.script()


def case_timing(limits: Limits, clocks: int = 8) -> PollTiming:
    """A read of so many bits, slow enough for a part with these limits: each time is 2 of the
    longest of them, and 2 microseconds, at the least.
    """
    figures = (getattr(limits, one.name) for one in fields(limits))
    unit = max(_US, *(figure.ps for figure in figures if isinstance(figure, Limit)))
    return PollTiming(
        12 * unit, 12 * unit, 4 * unit, 8 * unit, 2 * unit, clocks, 4 * unit, 8 * unit
    )


def moment_ps(read: ScriptedRead, moment: int) -> int:
    """When in a read the change of a case comes: half-way before event ``moment``."""
    t = read.timing
    start = read.start + t.latch_width + t.latch_to_clock
    events = [read.start, read.start + t.latch_width]
    for bit in range(1, t.clocks + 1):
        if bit == read.stopped_bit:
            for _ in range(read.extra_clocks):
                events.append(start + t.extra_low)
                start += t.extra_low + t.extra_high
        events += [start + t.sample, start + t.clock_low]
        start += t.clock_low + t.clock_high
    before = events[moment - 1] if moment else read.start - t.latch_width
    after = events[moment] if moment < len(events) else before + t.clock_high
    return (before + after) // 2
