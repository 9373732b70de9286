"""What parts that no sheet has do to a pad: transistors, zener diodes, indicators.

for kind, part, at, meant in transistor_faults(drawn, sheet):
    NAMES["faults"][kind].format(part=part, at=at, meant=meant)

Figures of small parts are from memory: base to emitter 0.8 V saturated, 0.45 V where a warm one
lets go; a collector or drain takes 100 mA; 10 pF at a collector, 50 pF at a gate, 10 pF of track;
a red LED has 1.6 V and takes 20 mA. A base takes a twentieth of the collector's current (common
practice), a gate has nine tenths of a high (assumed). An edge at the load pin may take half of the
latch's time (assumed).
"""

import math
import re
from collections.abc import Iterator, Sequence

import numpy as np

from padbench.circuit.circuits import Circuits
from padbench.circuit.design import ABSENT, Design, design_of, least, most, stacked
from padbench.circuit.worst_case import worst_case
from padbench.core.findings import Source
from padbench.core.units import Value, show
from padbench.sheet import Sheet
from padbench.wiring.netlists.board import NAMES
from padbench.wiring.netlists.recognise import Drawn, Link, by_name

FIGURES = (Source("figures and numbers of small transistors", "from memory"),
           Source("a twentieth of the collector's current at the base", "common practice"),
           Source("half of the latch's time for an edge at the load pin", "assumed"),
           Source("nine tenths of a high at a gate", "assumed"))  # fmt: skip
"""What the findings of a transistor rest on."""

DIODES = (Source("a zener diode conducts from 5 % below its volts on", "common practice"),
          Source("volts by the number of a zener diode; a small LED", "from memory"))  # fmt: skip
"""What those of zener diodes and indicators do."""

GATES = (Source("levels, supplies and pins of families of gates and arrays", "from memory"),)
"""What those of gates rest on."""

_SATURATED, _LETS_GO = 0.8, 0.45
_FORCED_GAIN, _MOST_AMPERES = 20, 0.1
_COLLECTOR, _GATE, TRACK = 10e-12, 50e-12, 10e-12
_RED, _LED_AMPERES = 1.6, 0.02
_MOST_OF_A_HIGH = 0.9

_P_TYPE = re.compile(
    r"PNP|P-?MOS|P-?CH|PFET|\b(?:BC(?:32[78]|55[6-9]|80[78]|85[6-9]|640)|(?:2N|PN|MMBT|PZT)(?:2907|3906|4403|5401)"
    r"|S(?:8550|9012|9015)|(?:2S)?A(?:1015|733)|BSS84|BS250|AO3401|SI2301|IRLML640[12]|FDN340|NDS33)"
)
"""A transistor that no low-side switch can be: its kind, or a common one's number (from memory)."""


def in_parallel(links: Sequence[Link]) -> Value:
    """Resistors of known value side by side: 1/R is the sum of each 1/R."""
    values = [link.value for link in links if link.value is not None]
    ends = [(value.nominal, value.low, value.high) for value in values]
    return Value(*(1 / sum(1 / end for end in each) for each in zip(*ends, strict=True)))


def indicator_fault(drawn: Drawn, link: Link, supply: Value) -> tuple[str, str]:
    """What it draws from the supply, and its kind of fault if any; empty if no value tells."""
    inner = next((net for net in link.nets if net not in drawn.rails), "")
    ties = drawn.across(inner, "tie")
    if (
        ties
        and link.role == "indicator"
        and (link.nets[0] == drawn.rails[1] or link.nets[1] == drawn.rails[0])
    ):
        return "", "dark"
    rail = link.beyond(inner)
    if link.role == "indicator" and ties and all(tie.beyond(inner) == rail for tie in ties):
        return "", "one-rail"
    ties = [tie for tie in ties if tie.beyond(inner) != rail]
    if not ties or any(tie.value is None for tie in ties):
        return "", ""
    amperes = (supply.high - _RED) / in_parallel(ties).low
    return show(amperes, "A"), "too-bright" if amperes > _LED_AMPERES else ""


def _designs(sheet: Sheet) -> list[Design]:
    return [design_of(sheet, sheet.part, sheet.port(name)) for name in sheet.works_with.ports]


def gate_supply_faults(drawn: Drawn, sheet: Sheet) -> Iterator[tuple[str, str, str, str]]:
    """Of each package of inverters: whether its family takes the supply of all ports."""
    supplies = [Circuits(design).at_lines.supply for design in _designs(sheet)]
    most_volts = max(float(np.max(volts)) for volts in supplies)
    least_volts = min(float(np.min(volts)) for volts in supplies)
    for name in drawn.chips:
        value = drawn.board.parts[name].value
        part, plain = f"{name} ({value})", _plain(value)
        for family, bound in NAMES["low-supply"].items():
            if re.search(family, plain) and most_volts > bound:
                yield "over-volts", part, show(bound, "V"), show(most_volts, "V")
        for family, bound in NAMES["least-supply"].items():
            if re.search(family, plain) and least_volts < bound:
                yield "under-volts", part, show(bound, "V"), show(least_volts, "V")


def _plain(value: str) -> str:
    return re.sub("[^A-Z0-9]", "", value.upper())


def gate_level_faults(drawn: Drawn, sheet: Sheet) -> Iterator[tuple[str, str, str, str]]:
    """Of each gate between latch and load: whether it reads the latch of all ports."""
    latches = [(one.latch, one.at_lines.supply) for one in map(Circuits, _designs(sheet))]
    figure, supply_high = sheet.part.input_high, sheet.pad.supply.high
    wanted = least(figure) * (supply_high if figure.unit == "fraction" else 1.0)
    for name, into, out in drawn.inverters:
        part = drawn.board.parts.get(name.partition(" pin ")[0])
        if part is None or name in drawn.board.parts or "latch" not in drawn.reach(into):
            continue
        value = _plain(part.value)
        lifted = any(drawn.rails[0] in link.nets for link in drawn.across(out, "tie"))
        highs = (v for family, v in NAMES["bipolar-high"].items() if re.search(family, value))
        if not lifted and (high := next(highs, wanted)) < wanted:
            yield "gate-out", f"{name} ({part.value})", show(high, "V"), show(wanted, "V")
        known = (one for one in NAMES["gate-levels"] if re.search(one["value"], value))
        row: dict[str, str] = next(known, {})
        for way, worst, beyond in (("low", np.max, 1), ("high", np.min, -1)):
            needed, _, unit = row.get(way, "").partition(" ")
            for line, supply in latches if needed else ():
                volts = getattr(line, way)
                is_part = unit == "%"
                seen = float(worst(100 * volts / supply if is_part else volts))
                if beyond * (seen - float(needed)) > 0:
                    at = f"{seen:.0f} %" if is_part else show(seen, "V")
                    rest = " of the supply" if is_part else ""
                    yield f"gate-{way}", f"{name} ({part.value})", row[way] + rest, at
                    break


def transistor_faults(drawn: Drawn, sheet: Sheet) -> Iterator[tuple[str, str, str, str]]:
    """Of each transistor between latch and load: does its base drive it, and its collector the pin.

    On the port that drives it least, or most; what no value tells is left out, and told elsewhere.
    """
    for name, into, out in drawn.inverters:
        if name not in drawn.board.parts or "latch" not in drawn.reach(into):
            continue
        value = drawn.board.parts[name].value
        if _P_TYPE.search(f"{value} {drawn.board.parts[name].given}".upper()):
            yield "p-type", f"{name} ({value})", "", ""
            continue
        bases = [link for link in drawn.across(into, "in-base") if link.value]
        pulls = drawn.across(into, "at-base")
        lifts = [link for link in drawn.across(out, "tie") if link.value]
        gate = "G" in by_name(drawn.board.parts[name])
        half = min(sheet.poll.latch_width.low, sheet.poll.latch_to_clock.low) / 2
        high = sheet.pad.supply.high
        collector = high / in_parallel(lifts).low if lifts else 0.0
        if collector > _MOST_AMPERES:
            yield (
                "hot-collector",
                lifts[0].reference,
                show(collector, "A"),
                show(_MOST_AMPERES, "A"),
            )
        if lifts:
            farads = len(drawn.chain) * most(sheet.part.input_capacitance) + _COLLECTOR + TRACK
            takes = 2.2 * in_parallel(lifts).high * farads
            if takes > half:
                yield "slow-collector", lifts[0].reference, show(takes, "s"), show(half, "s")
        if not bases:
            continue
        if gate:
            yield from _at_gate(bases, pulls, half)
            continue
        weakest, strongest, low, bound = _at_base(sheet, in_parallel(bases))
        weakest -= _SATURATED / in_parallel(pulls).low if pulls else 0.0
        needed = collector / _FORCED_GAIN
        if weakest < needed:
            yield "weak-base", bases[0].reference, show(max(weakest, 0.0), "A"), show(needed, "A")
        if strongest > bound:
            yield "strong-base", bases[0].reference, show(strongest, "A"), show(bound, "A")
        if pulls:
            low *= in_parallel(pulls).high / (in_parallel(pulls).high + in_parallel(bases).low)
        if low > _LETS_GO:
            yield "never-off", name, show(low, "V"), show(_LETS_GO, "V")


def _at_gate(
    series: Sequence[Link], pulls: Sequence[Link], half: float
) -> Iterator[tuple[str, str, str, str]]:
    """How quick it is, and how much of a high a resistor to ground leaves it."""
    ohms = in_parallel(series).high
    if (takes := 2.2 * ohms * (_GATE + TRACK)) > half:
        yield "slow-gate", series[0].reference, show(takes, "s"), show(half, "s")
    pull = in_parallel(pulls).low if pulls else math.inf
    if pulls and (share := pull / (pull + ohms)) < _MOST_OF_A_HIGH:
        reads = f"{100 * share:.0f} %", f"{100 * _MOST_OF_A_HIGH:.0f} %"
        yield "low-gate", pulls[0].reference, *reads


def _at_base(sheet: Sheet, ohms: Value) -> tuple[float, float, float, float]:
    """Behind so many ohms on all ports: least and most current, volts of a low, a port's most."""
    weakest, strongest, low, bound = math.inf, 0.0, 0.0, math.inf
    for design in _designs(sheet):
        circuits = Circuits(design)
        volts = float(np.min(circuits.at_lines.supply))
        low = max(low, float(np.max(circuits.latch.low)))
        port, pad = float(design.lift_r[0]), sheet.resistors.latch_to_supply
        ways = [(volts, pad.high)] if pad else []
        ways += [(float(design.lift_low[0]) or volts, port)] if port < ABSENT else []
        if ways:  # where nothing lifts the line, findings of the sheet say so
            weakest = min(weakest, max((v - _SATURATED) / (ohms.high + r) for v, r in ways))
        strongest = max(strongest, (sheet.pad.supply.high - _LETS_GO) / (ohms.low + port))
        bound = min(bound, float(design.sink_most[0]))
    return weakest, strongest, low, bound


def data_seconds(sheet: Sheet) -> tuple[float, float]:
    """What the data line has to spare on the worst port (s), and what that has at it (F)."""
    designs = stacked(_designs(sheet))
    rows = worst_case(designs, ("data.first-bit", "data.later-bits", "data.rise", "data.fall"))
    return min(float(np.min(one.margin)) for one in rows), float(np.max(designs.console_c))


def data_drop(sheet: Sheet, ohms: float) -> tuple[float, float]:
    """What a resistor in data drops by the port's resistors and leakage, and the room (V)."""
    designs = stacked(_designs(sheet))
    rows = worst_case(designs, ("data.low", "data.high"))
    amperes = sheet.pad.supply.high / np.minimum(designs.data_up, designs.data_down)
    drops = ohms * float(np.max(amperes + designs.input_leakage))
    return drops, min(float(np.min(one.margin)) for one in rows)
