"""From a physical fault to what the circuit makes of it: which pin sees what, at which volts.

    for broken in every_fault(sheet):            # some two hundred
        for variant in variants(broken, Surroundings.of(sheet, "push-pull")):
            variant.weight, variant.mix, variant.volts

A *variant* is one way in which a fault may show: an open input rests high, or low, or wavers. It
stays that for as long as anybody looks. Its ``mix`` are the defects that come and go from read to
read, with how often. Weights of what floats, and of what comes and goes, are assumed.
"""

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from importlib.resources import files
from itertools import combinations, product
from typing import Any, Literal

import numpy as np

from padbench.circuit.circuits import Circuits
from padbench.circuit.design import Array, Design, changed, design_of
from padbench.core.buttons import BUTTONS, button_bit, byte_of
from padbench.core.pad import SOUND, Defect
from padbench.core.units import Value
from padbench.parts import PortKind
from padbench.parts.fault_kinds import BRANCHES, CORES, fault_kinds
from padbench.sheet import Sheet
from padbench.sheet.checks import beside_output, lacking
from padbench.sheet.model import Fault

Level = Literal["low", "high", "wavers"]

FLOATS: Mapping[str, float] = {"wavers": 0.4, "high": 0.35, "low": 0.25}
"""How an open CMOS input behaves, and how often (assumed)."""

OFTEN, SELDOM, RARELY = 0.5, 0.15, 0.01
"""Shares of the reads that a loose contact spoils (assumed)."""

_NEAR_SUPPLY = 0.9
"""Of the supply: above it a held contact passes for one that never closes (assumed)."""

_MULTIPLIER = 100
"""The band that is misread most makes a resistor ten or a hundred times another (common practice,
no source); a hundred times is what shows."""


@dataclass(frozen=True, slots=True)
class Variant:
    """One way in which a fault shows.

    ``mix`` are (share of the reads, defect). ``volts`` says what a meter finds other than in a
    sound pad, by net ("latch", a button): "ground", "supply", "below" (a diode below the supply),
    "above" (a diode above ground), "any", or a range of volts; by (button, "held") what it finds
    while that button is down. ``open`` are cores without contact from plug to pin, ``joined`` pairs
    of cores that have one. ``ohms`` are from a net to "supply" or "ground", where they differ.
    """

    name: str
    weight: float
    mix: tuple[tuple[float, Defect], ...]
    volts: Mapping[Any, object] = field(default_factory=dict)
    open: frozenset[str] = frozenset()
    joined: frozenset[frozenset[str]] = frozenset()
    ohms: Mapping[tuple[str, str], float] = field(default_factory=dict)


@dataclass(frozen=True)
class Surroundings:
    """What of sheet and port decides how a fault shows."""

    sheet: Sheet
    port: PortKind
    design: Design
    _known: dict[tuple[float | None, float | None], "InputLevels"] = field(default_factory=dict)

    @classmethod
    def of(cls, sheet: Sheet, port: str) -> "Surroundings":
        """A sheet on one kind of port."""
        kind = sheet.port(port)
        return cls(sheet, kind, design_of(sheet, sheet.part, kind))

    def stage(self, button: str) -> int:
        """Mask of the stage of a button."""
        return 1 << self.sheet.buttons[button] - 1

    def lifted(self, line: str) -> bool:
        """Whether a resistor of the pad lifts latch or clock."""
        return getattr(self.sheet.resistors, f"{line}_to_supply") is not None

    @property
    def feeds(self) -> bool:
        """Whether the clock, high between reads, feeds the register through its input's diode."""
        return self.port.output_high_resistance is not None

    def input(self, *, pull_up: float | None = None, contact: float | None = None) -> "InputLevels":
        """An input with another pull-up or another closed contact (Ω), over all corners."""
        wanted = (pull_up, contact)
        if wanted not in self._known:
            self._known[wanted] = self._input(*wanted)
        return self._known[wanted]

    def _input(self, pull_up: float | None, contact: float | None) -> "InputLevels":
        sound = self.sheet.contacts.closed
        low, high = (sound.low, sound.high) if contact is None else (contact, contact)
        values = {"closed": low, "worn": high}
        if pull_up is not None:
            values |= {"pull_up": pull_up}
        circuits = Circuits(changed(self.design, **values))
        at = circuits.input_thresholds
        pressed, released = circuits.inputs
        return InputLevels(
            _level(pressed, at), _level(released, at), _span(pressed), _span(released)
        )

    @cached_property
    def fading(self) -> float:
        """Ohms of a worn contact at which nobody knows the level: the middle of that band."""
        trial = np.geomspace(1e3, 1e7, 81)
        circuits = Circuits(changed(self.design, closed=trial, worn=trial))
        pressed, (low, high) = circuits.inputs[0], circuits.input_thresholds
        doubt = trial[~np.all(pressed <= low, axis=1) & ~np.all(pressed >= high, axis=1)]
        return float(np.sqrt(doubt[0] * doubt[-1])) if len(doubt) else 47e3


@dataclass(frozen=True, slots=True)
class InputLevels:
    """Levels and volts of an input."""

    pressed: Level
    released: Level
    pressed_volts: tuple[float, float]
    released_volts: tuple[float, float]


def _level(volts: Array, thresholds: tuple[Array, Array]) -> Level:
    low, high = thresholds
    if bool(np.all(volts <= low)):
        return "low"
    return "high" if bool(np.all(volts >= high)) else "wavers"


def _span(volts: Array) -> tuple[float, float]:
    return float(np.min(volts)), float(np.max(volts))


def every_fault(sheet: Sheet) -> Iterator[Fault]:
    """Every single fault of a sheet's pad."""
    named = [name for name in BUTTONS if name in sheet.buttons]
    for kind, row in fault_kinds().items():
        levels = ("low", "high") if row.level else (None,)
        places: list[str | None] = [None]
        if row.at == "branch":
            places = [name for name, on in BRANCHES.items() if {*on} <= {*named}]
        if row.to:
            pairs = combinations(named if row.at == "button" else CORES, 2)
            yield from (Fault(kind=kind, at=one, to=other) for one, other in pairs)
            continue
        if row.at == "button":
            places = [*named]
        elif row.at == "core":
            places = [*CORES]
        elif row.at == "line":
            places = ["latch", "clock"]
        elif row.at == "stage":
            places = [str(number + 1) for number in range(sheet.chip.stages)]
        elif row.at == "register":
            chips = -(-sheet.chip.stages // sheet.part.stages)
            places = [str(number + 1) for number in range(1, chips)]
        values: tuple[Value | None, ...] = (None,)
        if kind == "pull-up-wrong":
            nominal = sheet.pull_up.value.nominal if sheet.pull_up.value else 0.0
            values = (Value.exact(nominal / _MULTIPLIER), Value.exact(nominal * _MULTIPLIER))
        for at, level, ohms in product(places, levels, values):
            fault = Fault(kind=kind, at=at, level=level, ohms=ohms)  # type: ignore[arg-type]
            if not lacking(fault, sheet):
                yield fault


def defect_of(sheet: Sheet, port: str) -> Defect:
    """All faults of a sheet in one, each in the variant that it names, or the likeliest that shows.

    Of what comes and goes it is the broken state.
    """
    if not sheet.fault:
        return SOUND
    around, whole = Surroundings.of(sheet, port), SOUND
    for fault in sheet.fault:
        # Whoever writes a fault down wants to see it: one that works all the same comes last.
        order = [
            (one.name == fault.rests, one.mix[0][1] != SOUND, one.weight, one.mix[0][1])
            for one in variants(fault, around)
        ]
        whole |= max(order, key=lambda one: one[:3])[3]
    return whole


def variants(fault: Fault, around: Surroundings) -> tuple[Variant, ...]:
    """How a fault may show on this pad; weights add up to 1. The broken state of a mix is first."""
    group = fault.kind.split("-")[0]
    if group in ("contact", "contacts", "pull", "input", "inputs"):
        return tuple(_of_input(fault, around))
    if group == "link":
        return tuple(_of_link(int(fault.at or 2), around.sheet))
    if group in ("core", "cores", "joint", "resistor"):
        return tuple(_of_cable(fault, around))
    return tuple(_of_register(fault, around))


def _one(defect: Defect, **more: object) -> Iterator[Variant]:
    yield Variant("", 1.0, ((1.0, defect),), **more)  # type: ignore[arg-type]


def _floating(
    stage: int,
    volts: Mapping[object, object],
    ohms: Mapping[tuple[str, str], float],
    *,
    cut: bool = False,
) -> Iterator[Variant]:
    """An input that is at no level while no contact pulls it; ``cut``: none ever does."""
    for name, weight in FLOATS.items():
        defect = {
            "wavers": Defect(no_level=(stage, stage if cut else 0)),
            "low": Defect(inputs=(stage, 0)),
            "high": Defect(inputs=(stage, stage)) if cut else SOUND,
        }[name]
        yield Variant(name, weight, ((1.0, defect),), volts, ohms=ohms)


def _of_input(fault: Fault, around: Surroundings) -> Iterator[Variant]:
    at, kind = fault.at or "", fault.kind
    sound = around.input()
    if kind == "contacts-open":
        still = {(name, "held"): sound.released_volts for name in BRANCHES[at]}
        yield from _one(Defect(dead=byte_of(BRANCHES[at])), volts=still)
        return
    stage, bit = around.stage(at), button_bit(at)
    low = Defect(inputs=(stage, 0))
    gone = {(at, "supply"): np.inf}
    if kind == "contact-flickers":
        yield Variant("wavers", 0.5, ((1.0, Defect(no_level=(stage, 0))),), {at: "any"})
        yield Variant("seldom", 0.3, ((SELDOM, low), (1 - SELDOM, SOUND)), {at: "any"})
        yield Variant("rarely", 0.2, ((RARELY, low), (1 - RARELY, SOUND)), {at: "any"})
    elif kind == "pull-up-missing":
        yield from _floating(stage, {at: "any", (at, "held"): "ground"}, gone)
    elif kind == "input-open":
        yield from _floating(stage, {at: "any", (at, "held"): "any"}, gone, cut=True)
    elif kind in ("contact-worn", "pull-up-wrong"):
        yield from _other_ohms(fault, around)
    elif kind.startswith("inputs"):
        to = fault.to or ""
        stages = around.sheet.buttons[at], around.sheet.buttons[to]
        volts: dict[object, object] = {(at, to): sound.pressed_volts, (to, at): sound.pressed_volts}
        if kind == "inputs-swapped":
            volts |= {(end, "held"): sound.released_volts for end in (at, to)}
            moved = ((bit, stages[1]), (button_bit(to), stages[0]))
            yield from _one(Defect(moved=moved), volts=volts)
            return
        bridged = Defect(joined=(stages, stages[::-1]))
        yield Variant("", 0.7, ((1.0, bridged),), volts)
        # Damp joins them now and then.
        damp = ((OFTEN, bridged), (1 - OFTEN, SOUND))
        yield Variant("often", 0.3, damp, {(at, to): "any", (to, at): "any"})
    elif kind == "input-at-output":
        # The output is stronger than the pull-up, the contact stronger than the output (assumed).
        output, chip = beside_output(at, around.sheet) or 0, around.sheet.chip
        last, tied = output == chip.stages, chip.serial_input
        over = around.sheet.poll.clocks >= chip.stages and tied != "open"
        one = Defect(joined=((output, around.sheet.buttons[at]),), drags=stage if last else 0)
        yield from _one(one, volts={at: tied if over else "any", (at, "held"): "ground"})
    else:
        defect, more = {
            "contact-dead": (Defect(dead=bit), {(at, "held"): sound.released_volts}),
            "contact-stuck": (low, {at: sound.pressed_volts}),
            "input-grounded": (low, {at: "ground"}),
            "input-at-supply": (Defect(inputs=(stage, stage)), {(at, "held"): "supply"}),
        }[kind]
        ohms = {
            "input-at-supply": {(at, "supply"): 0.0},
            "input-grounded": {(at, "ground"): 0.0},
            "contact-stuck": {(at, "ground"): around.sheet.contacts.worn.nominal},
        }
        yield from _one(defect, volts=more, ohms=ohms.get(kind, {}))


def _other_ohms(fault: Fault, around: Surroundings) -> Iterator[Variant]:
    """A contact that is worn, or a pull-up of another value: what its volts come to."""
    at = fault.at or ""
    stage, dead = around.stage(at), Defect(dead=button_bit(at))
    ohms = around.fading if fault.ohms is None else fault.ohms.nominal
    worn = fault.kind == "contact-worn"
    now = around.input(contact=ohms) if worn else around.input(pull_up=ohms)
    # A contact wears from its sheet's ohms to none: a span of volts, unless the sheet has one.
    sound = around.input()
    span = (sound.pressed_volts[0], _NEAR_SUPPLY * sound.released_volts[0])
    volts: dict[object, object] = {
        (at, "held"): span if worn and fault.ohms is None else now.pressed_volts
    }
    fitted = {}
    if not worn:
        fitted[at, "supply"] = ohms
        volts[at] = now.released_volts
    if now.released == "wavers":
        yield from _floating(stage, volts, fitted)
    elif now.pressed == "wavers":
        yield Variant("wavers", 0.4, ((1.0, Defect(no_level=(0, stage))),), volts, ohms=fitted)
        yield Variant("high", 0.2, ((1.0, dead),), volts, ohms=fitted)
        if worn:
            yield Variant("seldom", 0.3, ((SELDOM, dead), (1 - SELDOM, SOUND)), volts)
            yield Variant("rarely", 0.1, ((RARELY, dead), (1 - RARELY, SOUND)), volts)
        else:
            yield Variant("works", 0.4, ((1.0, SOUND),), volts, ohms=fitted)
    else:
        yield from _one(dead if now.pressed == "high" else SOUND, volts=volts, ohms=fitted)


_TABLES: Mapping[str, Any] = tomllib.loads(
    (files(__package__) / "defects.toml").read_text(encoding="utf-8")
)
_CHANCE = Defect(data=2)


def _listed(table: str, fault: Fault, around: Surroundings) -> Iterator[Variant]:
    """The rows of ``defects.toml``, which says what they are, for a fault."""
    ends = {end for end in (fault.at, fault.to, fault.level) if end}
    line = next((one for one in ("latch", "clock") if one in ends), "")
    joint, port, poll = fault.kind.startswith("joint"), around.port, around.sheet.poll
    holds = {
        "lifted": bool(line) and around.lifted(line) and not joint,
        "fed": around.feeds or joint,
        "data-up": port.data_pull_up is not None,
        "data-down": port.data_pull_up is None and port.data_pull_down is not None,
        "early": poll.sample.nominal <= poll.clock_low.nominal,
    }
    holds |= {f"not {what}": not is_so for what, is_so in holds.items()}
    volts_of = {
        "dead": (0.0, float(around.design.part_least[0])),
        "off": (1.0, float(around.design.supply_high[0])),
    }
    for row in _TABLES[table]:
        of = [{*one.split("+")} for one in row.get("of", "").split()]
        if (of and ends not in of) or not all(
            holds[what] for what in row.get("when", "").split(", ") if what
        ):
            continue
        volts = {
            line if net == "line" else net: volts_of.get(volts, volts)
            for net, volts in row.get("volts", {}).items()
        }
        mix = ((1.0, Defect(**row["defect"])),)
        yield Variant(row.get("name", ""), row.get("weight", 1.0), mix, volts)


def _now_and_then(weight: float, broken: Sequence[tuple[float, Defect]]) -> Iterator[Variant]:
    """What comes often, seldom or rarely: defects with their shares of the broken reads."""
    for name, share, part_of in (
        ("often", OFTEN, 0.5),
        ("seldom", SELDOM, 0.4),
        ("rarely", RARELY, 0.1),
    ):
        mix = [(share * part, defect) for part, defect in broken]
        yield Variant(name, part_of * weight, (*mix, (1 - share, SOUND)))


def _of_cable(fault: Fault, around: Surroundings) -> Iterator[Variant]:
    at, kind = fault.at or "", fault.kind
    ends = frozenset(end for end in (fault.at, fault.to) if end)
    if kind.endswith("loose") and at == "clock":
        spoilt = [Defect(lost=number) for number in range(1, 8)]
        spoilt += [Defect(extra=number) for number in range(1, 8)]
        # As often a gap that outlasts a read as one within it (assumed).
        still = (0.5, Defect(clock="high"))
        for part in _now_and_then(1.0, [still, *((0.5 / len(spoilt), one) for one in spoilt)]):
            yield replace(part, open=ends)
    elif kind.endswith("loose"):
        # How it is while there is no contact; a capacitor at the register keeps supply and ground.
        ways = [
            one for one in _listed("open", fault, around) if one.mix[0][1] not in (SOUND, _CHANCE)
        ]
        total = sum(one.weight for one in ways)
        for one in ways:
            for part in _now_and_then(one.weight / total, one.mix):
                yield replace(part, open=ends)
    else:
        for one in _listed("open" if kind.endswith("open") else kind, fault, around):
            if kind == "cores-shorted":
                yield replace(one, joined=frozenset({ends}))
            elif kind == "resistor-missing":
                yield replace(one, ohms={(at, "supply"): np.inf})
            else:
                yield replace(one, open=ends)


def _of_link(chip: int, sheet: Sheet) -> Iterator[Variant]:
    """The first stage of a chain's further register takes in what its open input rests at."""
    stage = 1 << (chip - 1) * sheet.part.stages
    for name, weight in FLOATS.items():
        high, loose = (stage * (name == what) for what in ("high", "wavers"))
        defect = Defect(links=(stage, high, loose))
        yield Variant(name, weight, ((1.0, defect),), {f"link {chip}": "any"})


def _of_register(fault: Fault, around: Surroundings) -> Iterator[Variant]:
    if fault.kind == "clock-noisy":
        extra = [(1 / 7, Defect(extra=number)) for number in range(1, 8)]
        yield from _now_and_then(1.0, extra)
    elif fault.kind == "stage-stuck":
        number, high = int(fault.at or 1), fault.level == "high"
        stage = 1 << number - 1
        defect = Defect(stages=(stage, stage if high else 0))
        last = number == around.sheet.chip.stages
        yield from _one(defect, volts={"data": "supply" if high else "ground"} if last else {})
    elif fault.kind == "serial-wrong":
        tied = around.sheet.chip.serial_input
        other = "supply" if tied == "ground" else "ground"
        defect, volts = Defect(serial=int(other == "supply")), {"serial": other}
        ohms = {("serial", tied): np.inf, ("serial", other): 0.0}
        yield from _one(defect, volts=volts, ohms=ohms)
    elif fault.kind == "data-stage-before":
        defect = Defect(early=True)
        yield from _one(defect, open=frozenset({"data"}))
    elif fault.kind == "serial-open":
        open_: dict[tuple[str, str], float] = {("serial", around.sheet.chip.serial_input): np.inf}
        for name, weight in FLOATS.items():
            defect = Defect(serial={"low": 0, "high": 1}.get(name, 2))
            yield Variant(name, weight, ((1.0, defect),), {"serial": "any"}, ohms=open_)
    else:
        yield from _listed(fault.kind, fault, around)
