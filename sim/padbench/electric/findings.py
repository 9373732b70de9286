"""Findings of a sheet's electrical side, each at the worst corner of the worst port.

electric = judge_electric(sheet)
electric.findings          # levels, edges, lines, data, supply, power, with remedies
electric.ports             # pad variant by port kind
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from padbench.electric.design import ABSENT, Design, changed, design_of, stacked
from padbench.electric.judge import Judged, judge
from padbench.electric.remedy import CABLE_FINDINGS, KNOBS, keeping, passing_range, remedy_for
from padbench.electric.space import corner_name
from padbench.electric.texts import said, source_of
from padbench.parts import PortKind, RegisterPart, poll_names
from padbench.rules import Finding, Remedy, Verdict
from padbench.sheet import Poll, Sheet
from padbench.units import show

__all__ = [
    "HIDDEN",
    "HIGH_LINES",
    "Electric",
    "PortRow",
    "judge_electric",
    "name_on",
    "port_table",
]

THIN = 0.1
"""A margin below this part of the limit is thin (common practice, no source)."""

_USUAL_LINE_R = 3.6e3
"""Ω from latch and clock to supply (from memory)."""

HIDDEN = "data.answer"
"""Worked out on the way to others, and no finding."""

HIGH_LINES = ("latch.high", "clock.high")
"""Findings of one port each; all others speak for every port of the sheet."""


@dataclass(frozen=True, slots=True)
class PortRow:
    """One variant of the pad on one kind of port; ``fails`` names the findings that fail there."""

    variant: str
    port: str
    fails: tuple[str, ...]

    @property
    def verdict(self) -> str:
        """``pass`` or ``fail``."""
        return "fail" if self.fails else "pass"


@dataclass(frozen=True, slots=True)
class Electric:
    """The electrical side of a sheet."""

    findings: tuple[Finding, ...]
    ports: tuple[PortRow, ...]


def judge_electric(sheet: Sheet, *, remedies: bool = True) -> Electric:
    """Judge a sheet on every port that it names, and the port table on every kind there is.

    Without ``remedies`` it takes milliseconds; the longest cable is then left out as well.
    """
    part = sheet.part
    ports = [sheet.port(name) for name in sheet.works_with.ports]
    return Electric(
        (*_findings(sheet, part, ports, remedies), *_bounce(sheet), *_firmware(sheet, ports)),
        port_table(sheet),
    )


def port_table(sheet: Sheet) -> tuple[PortRow, ...]:
    """The pad as drawn, without and with resistors on latch and clock, on every kind of port.

    Only what depends on the port is asked: latch, clock, data and supply current.
    """
    part = sheet.part
    kinds = [sheet.port(name) for name in sheet.known_ports]
    variants: dict[str, dict[str, float]] = {
        "as drawn": {},
        "without resistors on latch and clock": {"latch_r": ABSENT, "clock_r": ABSENT},
        f"with {show(_USUAL_LINE_R, 'Ω')} on latch and clock": {
            "latch_r": _USUAL_LINE_R,
            "clock_r": _USUAL_LINE_R,
        },
    }
    places = [(variant, kind) for variant in variants for kind in kinds]
    found = judge(
        stacked(
            [changed(design_of(sheet, part, kind), **variants[variant]) for variant, kind in places]
        )
    )
    asked = [one for one in found if one.id.startswith(("latch.", "clock.", "data.", "supply."))]
    return tuple(
        PortRow(
            variant, kind.name, tuple(name_on(one.id, kind) for one in asked if not one.holds[row])
        )
        for row, (variant, kind) in enumerate(places)
    )


def name_on(id_: str, port: PortKind) -> str:
    """A level that is not reached is a fault of one port, and is named after it."""
    return f"port.{port.name}.{id_.split('.', maxsplit=1)[0]}" if id_ in HIGH_LINES else id_


def _findings(
    sheet: Sheet, part: RegisterPart, ports: Sequence[PortKind], remedies: bool
) -> Iterator[Finding]:
    designs = [design_of(sheet, part, port) for port in ports]
    many = stacked(designs)
    length = sheet.cable.length
    stretch = length.high / length.nominal if length.nominal else 1.0
    for judged in judge(many):
        if judged.id == HIDDEN:
            continue
        rows = range(len(ports)) if judged.id in HIGH_LINES else [int(np.argmin(judged.margin))]
        for row in rows:
            finding = _finding(judged, row, many, part, ports[row])
            if remedies and (finding.verdict == "fail" or _thin(finding)):
                # What stands for all ports must be mended on all of them.
                own = [designs[row]] if judged.id in HIGH_LINES else designs
                others = [
                    one for place, one in enumerate(designs) if len(own) == 1 and place != row
                ]
                remedy = remedy_for(judged.id, own, others, stretch=stretch)
                finding = replace(finding, remedy=remedy)
            yield finding
    if remedies:
        yield _cable(sheet, designs, ports, stretch)


def _thin(finding: Finding) -> bool:
    if finding.margin is None or finding.limit is None:
        return False
    return finding.margin < THIN * abs(finding.limit)


def _finding(judged: Judged, row: int, many: Design, part: RegisterPart, port: PortKind) -> Finding:
    measured, limit = float(judged.measured[row]), float(judged.limit[row])
    margin = float(judged.margin[row])
    holds = bool(judged.holds[row])
    corner = corner_name(
        many, row, judged.axes, int(judged.corner[row]), judged.matters[row].tolist()
    )
    of_port = not judged.id.startswith(("levels.", "edges.", "power.pull-up"))
    return Finding(
        id=name_on(judged.id, port),
        verdict="pass" if holds else "fail",
        measured=_finite(measured),
        limit=_finite(limit),
        margin=_finite(margin),
        unit=judged.unit,
        where=f"{port.name} port, {corner}" if of_port else corner,
        source=source_of(judged.id, part, port),
        says=said(judged.id, measured, limit, judged.unit, holds, port),
    )


def _finite(number: float) -> float | None:
    return number if np.isfinite(number) else None


def _cable(
    sheet: Sheet, designs: Sequence[Design], ports: Sequence[PortKind], stretch: float
) -> Finding:
    """The longest cable with which latch, clock and data still hold on every port."""
    found = passing_range(designs, KNOBS[-1], CABLE_FINDINGS)
    have = sheet.cable.length.high
    source = "first-order RC; " + source_of("data.later-bits", sheet.part, ports[0])
    if found is None:
        # Then it is not the cable: the findings that fail name what it is.
        says = "with no length of cable do latch, clock and data hold on every port"
        return Finding(
            "cable.length", "not-judged", None, have, None, "m", "every port", source, says
        )
    longest = found[1]
    if longest is None:
        says = "latch, clock and data hold with a kilometre of cable"
        return Finding("cable.length", "pass", None, have, None, "m", "every port", source, says)
    holds = have <= longest
    says = f"the longest cable that works is {show(longest, 'm')}" + (
        f"; this one is up to {show(have, 'm')}" if have else ""
    )
    nominal = longest / stretch
    remedy = None
    if not holds:
        text = f"cable.length up to {show(np.floor(nominal * 1000) / 1000, 'm', 4)} would do"
        remedy = Remedy("cable.length", None, nominal, "m", (), (), text)
    return Finding(
        "cable.length",
        "pass" if holds else "fail",
        longest,
        have,
        longest - have,
        "m",
        "the port that bears the least",
        source,
        says,
        remedy,
    )


_POLLED = (
    "latch.pulse",
    "clock.low-pulse",
    "clock.high-pulse",
    "data.first-bit",
    "data.later-bits",
)


def _firmware(sheet: Sheet, ports: Sequence[PortKind]) -> Iterator[Finding]:
    """At which poll timings a program works: its own needs, and the named polls that keep them."""
    chip = sheet.chip
    if chip.kind != "firmware" or chip.shortest_pulse is None:
        return
    designs = stacked([design_of(sheet, sheet.part, port) for port in ports])
    worst = {one.id: one.measured.max() for one in judge(designs, _POLLED)}
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
    yield Finding(
        "firmware.poll",
        verdict,
        None,
        None,
        None,
        "",
        "the sheet's poll",
        "the sheet says so",
        says,
    )


def _follows(designs: Design, poll: Poll) -> bool:
    timed = changed(
        designs,
        latch_width=poll.latch_width.low,
        latch_to_clock=poll.latch_to_clock.low,
        clock_low=poll.clock_low.low,
        clock_high=poll.clock_high.low,
        sample=poll.sample.low,
    )
    return bool(keeping(timed, _POLLED).all())


def _or_never(seconds: float) -> str:
    return show(float(seconds), "s") if np.isfinite(seconds) else "for ever"


def _bounce(sheet: Sheet) -> Iterator[Finding]:
    """How many polls can fall into the bounce of one press: floor(bounce / period) + 1.

    One may: it reads the press a poll late at worst. With more, one press can read as several, and
    it is for the reading program to ride over that; so it is said, not failed.
    """
    bounce, period = sheet.contacts.bounce.high, sheet.poll.period.low
    polls = int(bounce // period) + 1 if bounce > 0 else 0
    says = (
        f"at most {polls} poll{'' if polls == 1 else 's'} can fall into the"
        f" {show(bounce, 's')} of a bounce"
    )
    if polls > 1:
        says += ": one press can read as several unless the program waits for two equal reads"
    yield Finding(
        "bounce.polls",
        "pass" if polls <= 1 else "not-judged",
        float(polls),
        1.0,
        1.0 - polls,
        "",
        f"bounce {show(bounce, 's')}, a poll every {show(period, 's')}",
        "arithmetic; bounce of contacts from memory",
        says,
    )
