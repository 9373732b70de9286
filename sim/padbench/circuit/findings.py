"""Findings of a sheet's electrical side, each at the worst corner of the worst port.

electric = judge_electric(sheet)
electric.findings          # levels, edges, lines, data, supply, power, with remedies
electric.ports             # pad variant by port kind
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from padbench.circuit.bounce import judge_bounce
from padbench.circuit.design import ABSENT, Design, changed, design_of, stacked
from padbench.circuit.judge import Judged, judge
from padbench.circuit.mends import CABLE_FINDINGS
from padbench.circuit.program import judge_program
from padbench.circuit.remedy import Mender
from padbench.circuit.space import corner_name
from padbench.circuit.texts import said, source_of
from padbench.core.bridge import told
from padbench.core.findings import Finding
from padbench.core.units import show
from padbench.parts import PortKind
from padbench.sheet import Sheet

__all__ = [
    "HIGH_LINES",
    "Electric",
    "PortRow",
    "judge_electric",
    "name_on",
    "needs_remedy",
    "port_table",
]

_USUAL_LINE_R = 3.6e3
"""Ω from latch and clock to supply (from memory)."""

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
    ports = [sheet.port(name) for name in sheet.works_with.ports]
    return Electric(
        (
            *_findings(sheet, ports, remedies),
            judge_bounce(sheet),
            *judge_program(sheet, ports, remedies),
        ),
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


def _findings(sheet: Sheet, ports: Sequence[PortKind], remedies: bool) -> Iterator[Finding]:
    designs = [design_of(sheet, sheet.part, port) for port in ports]
    many = stacked(designs)
    every = range(len(ports))
    found: list[tuple[str, Sequence[int], Finding]] = []
    for judged in judge(many):
        apart = judged.id in HIGH_LINES
        for row in every if apart else [int(np.argmin(judged.margin))]:
            # What stands for all ports must be mended on all of them.
            rows: Sequence[int] = [row] if apart else every
            found.append((judged.id, rows, _finding(judged, row, many, sheet, ports[row])))
    if not remedies:
        yield from (finding for _, _, finding in found)
        return
    wanted = [id_ for id_, _, finding in found if needs_remedy(finding)]
    mender = Mender(sheet, [port.name for port in ports], designs, wanted)
    for id_, rows, finding in found:
        if needs_remedy(finding):
            thin = finding.verdict == "pass"
            yield replace(finding, remedy=mender.remedy(id_, rows, thin=thin))
        else:
            yield finding
    yield _cable(sheet, mender, ports)


def needs_remedy(finding: Finding) -> bool:
    """Whether it fails, or holds by a thin margin; what is counted is never thin."""
    return finding.verdict == "fail" or finding.thin


def _finding(judged: Judged, row: int, many: Design, sheet: Sheet, port: PortKind) -> Finding:
    measured, limit = float(judged.measured[row]), float(judged.limit[row])
    margin = float(judged.margin[row])
    holds = bool(judged.holds[row])
    corner = corner_name(
        many, row, judged.axes, int(judged.corner[row]), judged.matters[row].tolist()
    )
    of_port = not judged.id.startswith(("levels.", "edges.", "power.pull-up"))
    return told(
        name_on(judged.id, port),
        "pass" if holds else "fail",
        _finite(measured),
        _finite(limit),
        _finite(margin),
        judged.unit,
        f"{port.name} port, {corner}" if of_port else corner,
        source_of(judged.id, sheet.part, port),
        said(
            judged.id,
            measured,
            limit,
            judged.unit,
            holds,
            port,
            inverted=sheet.chip.latch_inverted,
        ),
    )


def _finite(number: float) -> float | None:
    return number if np.isfinite(number) else None


def _cable(sheet: Sheet, mender: Mender, ports: Sequence[PortKind]) -> Finding:
    """The longest cable with which latch, clock and data still hold on every port."""
    dial = next(dial for dial in mender.dials if dial.key == "cable.length")
    found = mender.range(dial, CABLE_FINDINGS, range(len(ports)))
    length = sheet.cable.length
    have = length.high
    source = "first-order RC; " + source_of("data.later-bits", sheet.part, ports[0])
    if found is None:
        # Then it is not the cable: the findings that fail name what it is.
        says = "with no length of cable do latch, clock and data hold on every port"
        return told("cable.length", "not-judged", None, have, None, "m", "every port", source, says)
    nominal = found[1]
    if nominal is None:
        says = "latch, clock and data hold with a kilometre of cable"
        return told("cable.length", "pass", None, have, None, "m", "every port", source, says)
    longest = nominal * (have / length.nominal if length.nominal else 1.0)
    says = f"the longest cable that works is {show(longest, 'm')}" + (
        f"; this one is up to {show(have, 'm')}" if have else ""
    )
    finding = told(
        "cable.length",
        "pass" if have <= longest else "fail",
        longest,
        have,
        longest - have,
        "m",
        "the port that bears the least",
        source,
        says,
    )
    if not needs_remedy(finding):
        return finding
    thin = finding.verdict == "pass"
    remedy = mender.remedy("cable.length", range(len(ports)), ids=CABLE_FINDINGS, thin=thin)
    return replace(finding, remedy=remedy)
