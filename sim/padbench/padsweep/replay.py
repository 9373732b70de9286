"""A case of a pad again, on the MyHDL model, as a scenario: its reads, its wave, its verdict.

    scenario = pad_case(case_from_text("held=A+B stopped-bit=3 serial-input=supply"))
    run_scenario(sheet, scenario, port, "fast")

The sweep knows the order of edges and no times, so the read is so slow that every limit of the
part is kept.
"""

from dataclasses import fields, replace
from functools import partial

from padbench.core.buttons import BUTTONS, byte_of, pressed_in, spelled
from padbench.core.limits import Limit, Limits
from padbench.core.stimulus import PollTiming
from padbench.core.units import found_text
from padbench.padsweep.counting import TIES, PadCase, PadPart
from padbench.scenarios import Scenario, Script, Setting
from padbench.scenarios.timetable import Timetable

_US = 1_000_000

_EXAMPLE = "held=A+Up stopped-bit=3 extra-clocks=1 serial-input=ground"
_DEFAULTS = {"stopped-bit": "0", "extra-clocks": "1", "serial-input": "ground"}


def case_text(case: PadCase) -> str:
    """A case in the words of `case_from_text`."""
    part = case.part
    words = [f"held={'+'.join(pressed_in(case.held)) or 'nothing'}"]
    if part.stopped_bit:
        words += [f"stopped-bit={part.stopped_bit}", f"extra-clocks={part.extra}"]
    return " ".join([*words, f"serial-input={TIES[part.tie]}"])


def case_from_text(text: str) -> PadCase:
    """A case from words like ``held=A+Up``; only ``held`` has to be there.

    It is buttons joined by +, ``nothing``, or a byte from 0 to 255. Raises ``ValueError`` that says
    what is wrong and what would do.
    """
    given = case_words(text, ("held", *_DEFAULTS), _EXAMPLE)
    known = _DEFAULTS | given
    ties = {TIES[level]: level for level in (0, 1)}
    if known["serial-input"] not in ties:
        raise ValueError(f"serial-input={known['serial-input'][:20]}: write ground or supply")
    stopped = case_number("stopped-bit", known["stopped-bit"], 0, 8)
    extra = case_number("extra-clocks", known["extra-clocks"], 1, 3) if stopped else 0
    return PadCase(_held(given["held"]), PadPart(ties[known["serial-input"]], stopped, extra))


def case_words(text: str, keys: tuple[str, ...], example: str) -> dict[str, str]:
    """The words of a case by key; the first key has to be there. Raises ``ValueError``."""
    given: dict[str, str] = {}
    for word in text.split():
        key, equals, value = word.partition("=")
        if key not in keys or not equals:
            raise ValueError(f"{found_text(word)} is none of {', '.join(keys)}; as in {example}")
        if key in given:
            raise ValueError(f"{key} is there twice; say it once")
        given[key] = value
    if keys[0] not in given:
        raise ValueError(f"{keys[0]} is missing; as in {example}")
    return given


def case_number(key: str, text: str, least: int, most: int) -> int:
    """The number of a word. Raises ``ValueError``."""
    if not (text.isascii() and text.isdigit() and least <= int(text[:9]) <= most):
        raise ValueError(f"{key}={text[:20]}: write a number from {least} to {most}")
    return int(text)


def _held(text: str) -> int:
    if text == "nothing":
        return 0
    if text.isascii() and text.isdigit():
        return case_number("held", text, 0, 255)
    try:
        return byte_of(text.split("+"))
    except KeyError as error:
        name = found_text(error.args[0])
        raise ValueError(
            f"held: {name} is no button; join {', '.join(BUTTONS)} by +, or write nothing"
        ) from None


def says_case(case: PadCase) -> str:
    """A case in words, for people."""
    part = case.part
    stop = f", bit {part.stopped_bit} stopped by {part.extra}" if part.stopped_bit else ""
    return f"held {spelled(case.held)}{stop}, serial input at {TIES[part.tie]}"


def pad_case(case: PadCase) -> Scenario:
    """The case as a scenario: an undisturbed read, then the read of the case.

    The script raises ``ValueError`` for a bit that the poll's reads do not have.
    """
    part = case.part
    stop = f"-bit-{part.stopped_bit}-by-{part.extra}" if part.stopped_bit else ""
    says = says_case(case)
    name = f"case-{case.held:02x}{stop}-{TIES[part.tie]}"
    return Scenario(name, f"{says[0].upper()}{says[1:]}.", partial(_build, case))


def _build(case: PadCase, setting: Setting) -> Script:
    part, clocks = case.part, setting.timing.clocks
    if part.stopped_bit > clocks:
        raise ValueError(f"stopped-bit={part.stopped_bit}: the poll reads {clocks} bits")
    timing = case_timing(setting.pad.limits, clocks)
    slow = replace(setting.typed, timing=timing, period=4 * timing.length, passes=1)
    plan = Timetable(slow)
    plan.hold(case.held)
    plan.poll(serial=part.tie)
    plan.poll(stopped=[(part.stopped_bit, part.extra)], serial=part.tie)
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
