"""Findings of a sheet's electrical side, each at the worst corner of the worst port.

electric = judge_electric(sheet)
electric.findings          # levels, edges, lines, data, supply, power, with remedies
electric.ports             # pad variant by port kind
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.corners import worst_ends
from padbench.circuit.design import ABSENT, Design, changed, design_of, feeding, stacked
from padbench.circuit.mending import Mender, needs_remedy
from padbench.circuit.program import judge_program
from padbench.circuit.quantities import QUANTITIES, growing_with_cable, of_circuits
from padbench.circuit.quantity import WorstCase
from padbench.circuit.worst_case import every_corner, worst_case
from padbench.core.findings import THIN, Finding, Met, Place, Rule, Source, Verdict
from padbench.core.remedies import Remedy
from padbench.core.sentences import COUNTED
from padbench.core.units import Value, show, to_ps
from padbench.parts import PortKind
from padbench.sheet import Sheet

_USUAL_LINE_R = 3.6e3
"""Ω from latch and clock to supply (from memory)."""

_LONGEST = Rule(
    "cable.length",
    "m",
    {
        **dict.fromkeys(
            ("pass", "fail"),
            "the longest cable that works is {measured}; this one is up to {limit}",
        ),
        "no-cable": "the longest cable that works is {measured}",
        "endless": "latch, clock and data hold with a kilometre of cable",
        "not-judged": "with no length of cable do latch, clock and data hold on every port",
    },
    ("cable.length",),
)
_SHIFTED = ("latch.over-voltage", "data.over-voltage")
"""What no value of the sheet mends, but parts between port and pad."""

_BOUNCED = "at most {measured:poll|polls} can fall into the {bounce:s} of a bounce"
_BOUNCE = Rule(
    "bounce.polls",
    "polls",
    {
        "pass": _BOUNCED,
        "ridden-over": _BOUNCED + ", which a debouncing of {waits:s} rides over",
        "fail": _BOUNCED + ": one press can read as several, as nobody waits until it is over",
    },
    ("poll.period", "contacts.bounce", "policy.debounce"),
)


AS_DRAWN = "as drawn"
"""The variant of the pad as its sheet has it."""


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


@dataclass(frozen=True)
class Spread:
    """One finding: ``margins`` at all corners of the ports it speaks for, in parts of its limit.

    Below 0 the limit is broken; minus infinity where a line never gets there. ``worst`` names the
    corner with the least of them, as the finding does.
    """

    id: str
    margins: NDArray[np.float64]
    worst: str


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
        _port_table(sheet),
    )


def _port_table(sheet: Sheet) -> tuple[PortRow, ...]:
    """The pad as drawn, without and with resistors on latch and clock, on every kind of port.

    Whatever keeps it from working there is asked, its inputs as well.
    """
    kinds = [sheet.port(name) for name in sheet.known_ports]
    usual = {"latch_r": _USUAL_LINE_R, "clock_r": _USUAL_LINE_R}
    variants: dict[str, dict[str, float]] = {
        AS_DRAWN: {},
        "without resistors on latch and clock": {"latch_r": ABSENT, "clock_r": ABSENT},
        f"with {show(_USUAL_LINE_R, 'Ω')} on latch and clock": usual,
    }
    places = [(variant, kind) for variant in variants for kind in kinds]
    designs = [
        changed(design_of(sheet, sheet.part, kind), **variants[name]) for name, kind in places
    ]
    asked = [
        id_
        for id_ in of_circuits("inputs", "latch", "clock", "data", "supply")
        if not id_.startswith("power.")  # no voltage or current of the port
    ]
    judged = worst_case(stacked(designs), asked)
    return tuple(
        PortRow(
            variant,
            kind.name,
            tuple(QUANTITIES[w.id].name_on(kind) for w in judged if not w.holds[row]),
        )
        for row, (variant, kind) in enumerate(places)
    )


def _findings(sheet: Sheet, ports: Sequence[PortKind], remedies: bool) -> Iterator[Finding]:
    many = stacked([design_of(sheet, sheet.part, port) for port in ports])
    # What stands for all ports must be mended on all of them.
    judged: list[tuple[Sequence[int] | None, Finding]] = []
    for worst in worst_case(many):
        apart = bool(QUANTITIES[worst.id].of_port)
        for row in range(len(ports)) if apart else [int(np.argmin(worst.margin))]:
            finding = _finding(worst, row, many, sheet, ports[row])
            judged.append(([row] if apart else None, finding))
    if not remedies:
        yield from (finding for _, finding in judged)
        return
    wanted = [finding.rule.id for _, finding in judged if needs_remedy(finding)]
    mender = Mender(sheet, wanted)
    for rows, finding in judged:
        yield _mended(mender, finding, (finding.rule.id,), rows)
    yield _longest_cable(sheet, mender, ports)


def _mended(
    mender: Mender, finding: Finding, ids: Sequence[str], rows: Sequence[int] | None = None
) -> Finding:
    if not needs_remedy(finding):
        return finding
    if finding.rule.id in _SHIFTED:
        return replace(finding, remedy=Remedy("", advice="level-shifter"))
    remedy = mender.remedy(finding.rule.mends or (), ids, rows, thin=finding.thin)
    return replace(finding, remedy=remedy)


def _finding(worst: WorstCase, row: int, many: Design, sheet: Sheet, port: PortKind) -> Finding:
    quantity = QUANTITIES[worst.id]
    measured, limit = float(worst.measured[row]), float(worst.limit[row])
    holds = bool(worst.holds[row])
    verdict: Verdict = "pass" if holds else "fail"
    corner, matters = int(worst.corner[row]), worst.matters[row].tolist()
    ends = worst_ends(many, row, worst.axes, corner, matters)
    key = next((key for key in quantity.mends if not key.startswith("port.")), "")
    if quantity.resistor and getattr(many, quantity.resistor)[row] >= ABSENT:
        return Finding(
            quantity.rule,
            "not-judged",
            met=Met(other=key),
            sources=(Source("the sheet", "given"),),
            case="absent",
            place=Place(key),
        )
    return Finding(
        quantity.rule,
        verdict,
        _finite(measured),
        _finite(limit),
        _finite(float(worst.margin[row])),
        Met(
            port="" if quantity.circuit == "inputs" else port.name,
            ends=ends,
            other="" if ends else "every corner",
        ),
        quantity.sources(sheet.part, port),
        quantity.case(measured, limit, port, holds=holds),
        {
            "port": port.name,
            "fed": _fed(sheet, port),
            "latch_end": "inverter" if sheet.chip.latch_inverted else "register",
            "clock_end": "register",
        },
        quantity.name_on(port),
        Place(key) if key else None,
    )


def _fed(sheet: Sheet, port: PortKind) -> str:
    """Where the pad's supply comes from on that port."""
    by = feeding(sheet.pad.supply, port)
    if by == "itself":
        return "a supply of its own, as the port's is another"
    words = "as the sheet says" if by == "sheet" else "which is the port's own and not the sheet's"
    return f"{words}, behind a diode" if port.supply_diode else words


def _finite(number: float) -> float | None:
    return number if np.isfinite(number) else None


def _longest_cable(sheet: Sheet, mender: Mender, ports: Sequence[PortKind]) -> Finding:
    """The longest cable with which latch, clock and data still hold on every port."""
    ids = growing_with_cable()
    dial = next(dial for dial in mender.dials if dial.key == "cable.length")
    works = mender.range(dial, ids)
    length = sheet.cable.length
    have = length.high
    sources = dict.fromkeys(
        source
        for id_ in ids
        for port in ports
        for source in QUANTITIES[id_].sources(sheet.part, port)
    )
    finding = Finding(
        _LONGEST,
        "not-judged",
        limit=have,
        met=Met(other="every port"),
        sources=tuple(sources),
        place=Place("cable.length"),
    )
    if works is None:
        # Then it is not the cable: the findings that fail name what it is.
        return finding
    if works[1] is None:
        return replace(finding, verdict="pass", case="endless")
    longest = works[1] * (have / length.nominal if length.nominal else 1.0)
    finding = replace(
        finding,
        verdict="pass" if have <= longest else "fail",
        measured=longest,
        margin=longest - have,
        met=Met(other="the port that bears the least"),
        case="" if have else "no-cable",
    )
    if finding.thin:
        # So long that the longest is longer by what makes a margin thin no more.
        most = works[1] / (1 + THIN) * (1 - 1e-9)
        return replace(finding, remedy=Remedy("cable.length", None, most, "m"))
    return _mended(mender, finding, ids)


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
    holds = polls <= 1 or to_ps(waits) >= to_ps(bounce)
    return Finding(
        _BOUNCE,
        "pass" if holds else "fail",
        float(polls),
        1.0,
        1.0 - polls,
        Met(other=f"bounce {show(bounce, 's')}, a poll every {show(period, 's')}"),
        (
            Source("floor(bounce / period) + 1", "calculated"),
            Source("bounce of contacts", "from memory"),
        ),
        "ridden-over" if holds and polls > 1 else "",
        {"bounce": bounce, "waits": waits, "period": period},
        place=Place("contacts.bounce"),
        remedy=None if holds else _slower_poll(sheet),
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
    first, *others = (Remedy(key, low, high, "s") for key, (low, high) in ends.items())
    return replace(first, also=tuple(others))


def spread_of(sheet: Sheet, findings: Sequence[Finding]) -> Iterator[Spread]:
    """The margin of each finding at every corner, not only at the worst, in their order.

    What a run measured (``timing.*``) has one margin, that of the worst moment. What has no limit,
    or one of nought, is left out, and so is a count that holds: just as many clocks as it takes are
    no near miss.
    """
    ports = [sheet.port(name) for name in sheet.works_with.ports]
    many = stacked([design_of(sheet, sheet.part, port) for port in ports])
    known: dict[str, NDArray[np.float64]] = {}
    for id_, margin in every_corner(many):
        quantity = QUANTITIES[id_]
        if quantity.of_port:
            rows = zip(ports, margin, strict=True)
            known |= {quantity.name_on(port): row for port, row in rows}
        else:
            known[id_] = margin.ravel()
    for finding in findings:
        own = np.zeros(0) if finding.margin is None else np.asarray([finding.margin])
        margins = known.get(finding.id, own)
        # Where a limit goes with the supply it is that of the worst corner, as in the finding.
        if finding.unit in COUNTED and finding.verdict == "pass":
            continue
        if finding.limit and len(margins := margins[margins < np.inf]):
            yield Spread(finding.id, margins / abs(finding.limit), finding.where)
