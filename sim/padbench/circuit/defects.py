"""From a physical fault to what the circuit makes of it: which pin sees what, at which volts.

    for broken in every_fault(sheet):            # some two hundred
        for variant in variants(broken, Surroundings.of(sheet, "push-pull")):
            variant.weight, variant.mix, variant.volts

A *variant* is one way in which a fault may show: an open input rests high, or low, or wavers. It
stays that for as long as anybody looks. Its ``mix`` are the defects that come and go from read to
read, with how often. Weights of what floats, and of what comes and goes, are assumed.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations, product
from typing import Any, Literal

import numpy as np

from padbench.circuit.circuits import Circuits
from padbench.circuit.design import Array, Design, changed, design_of
from padbench.core.buttons import BUTTONS, button_bit
from padbench.core.pad import SOUND, Defect
from padbench.core.units import Value
from padbench.parts import PortKind
from padbench.parts.faults import CORES, fault_kinds
from padbench.sheet import Sheet
from padbench.sheet.model import Fault

Level = Literal["low", "high", "wavers"]

FLOATS: Mapping[str, float] = {"wavers": 0.4, "high": 0.35, "low": 0.25}
"""How an open CMOS input behaves, and how often (assumed)."""

OFTEN, SELDOM = 0.5, 0.15
"""Shares of the reads that a loose contact spoils (assumed)."""

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
        if row.to:
            pairs = combinations(named if row.at == "button" else CORES, 2)
            yield from (Fault(kind=kind, at=one, to=other) for one, other in pairs)
            continue
        if row.at == "button":
            places = [*named]
        elif row.at == "core":
            places = [*CORES]
        elif row.at == "line":
            fitted = {"latch": sheet.resistors.latch_to_supply}
            fitted |= {"clock": sheet.resistors.clock_to_supply}
            places = [line for line, value in fitted.items() if value is not None]
        elif row.at == "stage":
            places = [str(number + 1) for number in range(sheet.chip.stages)]
        if kind.startswith("pull-up") and sheet.pull_up.value is None:
            continue
        if kind == "serial-open" and sheet.chip.serial_input == "open":
            continue
        values: tuple[Value | None, ...] = (None,)
        if kind == "pull-up-wrong":
            nominal = sheet.pull_up.value.nominal if sheet.pull_up.value else 0.0
            values = (Value.exact(nominal / _MULTIPLIER), Value.exact(nominal * _MULTIPLIER))
        for at, level, ohms in product(places, levels, values):
            yield Fault(kind=kind, at=at, level=level, ohms=ohms)  # type: ignore[arg-type]


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
    if group in ("contact", "pull", "input", "inputs"):
        return tuple(_of_input(fault, around))
    if group in ("core", "cores", "joint", "resistor"):
        return tuple(_of_cable(fault, around))
    return tuple(_of_register(fault, around))


def _one(defect: Defect, **more: object) -> Iterator[Variant]:
    yield Variant("", 1.0, ((1.0, defect),), **more)  # type: ignore[arg-type]


def _floating(
    stage: int, base: Defect, volts: Mapping[object, object], ohms: Mapping[tuple[str, str], float]
) -> Iterator[Variant]:
    """An input that is at no level while it is not pulled; ``base`` says if a contact pulls it."""
    for name, weight in FLOATS.items():
        defect = {
            "wavers": Defect(no_level=(stage, 0)),
            "low": Defect(inputs=(stage, 0)),
            "high": Defect(inputs=(stage, stage)) if base.dead else SOUND,
        }[name]
        yield Variant(name, weight, ((1.0, base | defect),), volts, ohms=ohms)


def _of_input(fault: Fault, around: Surroundings) -> Iterator[Variant]:
    at, kind = fault.at or "", fault.kind
    stage, bit = around.stage(at), button_bit(at)
    sound, low = around.input(), Defect(inputs=(stage, 0))
    gone = {(at, "supply"): np.inf}
    if kind == "contact-flickers":
        yield Variant("wavers", 0.5, ((1.0, Defect(no_level=(stage, 0))),), {at: "any"})
        yield Variant("seldom", 0.5, ((SELDOM, low), (1 - SELDOM, SOUND)), {at: "any"})
    elif kind == "pull-up-missing":
        yield from _floating(stage, SOUND, {at: "any", (at, "held"): "ground"}, gone)
    elif kind == "input-open":
        yield from _floating(stage, Defect(dead=bit), {at: "any", (at, "held"): "any"}, gone)
    elif kind in ("contact-worn", "pull-up-wrong"):
        yield from _other_ohms(fault, around)
    elif kind == "inputs-shorted":
        to = fault.to or ""
        pairs = ((bit, around.sheet.buttons[to]), (button_bit(to), around.sheet.buttons[at]))
        volts = {(at, to): sound.pressed_volts, (to, at): sound.pressed_volts}
        yield Variant("", 0.7, ((1.0, Defect(also=pairs)),), volts)
        # Damp joins them now and then.
        damp = ((OFTEN, Defect(also=pairs)), (1 - OFTEN, SOUND))
        yield Variant("often", 0.3, damp, {(at, to): "any", (to, at): "any"})
    else:
        defect, more = {
            "contact-dead": (Defect(dead=bit), {(at, "held"): sound.released_volts}),
            "contact-stuck": (low, {at: sound.pressed_volts}),
            "input-grounded": (low, {at: "ground"}),
            "input-at-supply": (Defect(inputs=(stage, stage)), {(at, "held"): "supply"}),
        }[kind]
        short = {"input-at-supply": {(at, "supply"): 0.0}, "input-grounded": {(at, "ground"): 0.0}}
        yield from _one(defect, volts=more, ohms=short.get(kind, {}))


def _other_ohms(fault: Fault, around: Surroundings) -> Iterator[Variant]:
    """A contact that is worn, or a pull-up of another value: what its volts come to."""
    at = fault.at or ""
    stage, dead = around.stage(at), Defect(dead=button_bit(at))
    ohms = around.fading if fault.ohms is None else fault.ohms.nominal
    worn = fault.kind == "contact-worn"
    now = around.input(contact=ohms) if worn else around.input(pull_up=ohms)
    volts: dict[object, object] = {(at, "held"): now.pressed_volts}
    fitted = {} if worn else {(at, "supply"): ohms}
    if not worn:
        volts[at] = now.released_volts
    if now.released == "wavers":
        yield from _floating(stage, SOUND, volts, fitted)
    elif now.pressed == "wavers":
        yield Variant("wavers", 0.4, ((1.0, Defect(no_level=(0, stage))),), volts, ohms=fitted)
        yield Variant("high", 0.2, ((1.0, dead),), volts, ohms=fitted)
        if worn:
            yield Variant("seldom", 0.4, ((SELDOM, dead), (1 - SELDOM, SOUND)), volts)
        else:
            yield Variant("works", 0.4, ((1.0, SOUND),), volts, ohms=fitted)
    else:
        yield from _one(dead if now.pressed == "high" else SOUND, volts=volts, ohms=fitted)


_NEVER_LOADS, _LOADS = Defect(latch="low"), Defect(latch="high")
_STILL = Defect(clock="high")
_LOW, _HIGH, _CHANCE = Defect(data=0), Defect(data=1), Defect(data=2)


def _data_open(around: Surroundings) -> tuple[tuple[str, float, Defect], ...]:
    """The console's end of a data line that goes nowhere: its own resistor, or chance."""
    if around.port.data_pull_up is not None:
        return (("high", 1.0, _HIGH),)
    if around.port.data_pull_down is not None:
        return (("low", 1.0, _LOW),)
    return (("high", 0.6, _HIGH), ("low", 0.2, _LOW), ("wavers", 0.2, _CHANCE))


def _states(fault: Fault, around: Surroundings) -> Iterator[tuple[str, float, Defect, dict]]:  # type: ignore[type-arg]
    """(name, weight, defect, volts) of a core or joint that is open."""
    at, joint = fault.at, fault.kind == "joint-open"
    if at in ("latch", "clock"):
        lifted = around.lifted(at) and not joint
        if at == "latch":
            levels = (("high", 0.5, _LOADS), ("low", 0.5, _NEVER_LOADS))
        else:
            levels = (("high", 0.5, _STILL), ("low", 0.5, Defect(clock="low")))
        for name, weight, defect in levels[:1] if lifted else levels:
            yield name, 1.0 if lifted else weight, defect, {at: "supply" if lifted else "any"}
    elif at == "data":
        for name, weight, defect in _data_open(around):
            yield name, weight, defect, {} if joint else {"data core": "any"}
    elif at == "supply":
        # An input that is high feeds the chip through the diode to its supply pin (from memory).
        fed = around.feeds or joint
        if fed:
            yield "works", 0.4, SOUND, {"supply": "below"}
        # Below its least supply it does not run.
        dead = {"supply": (0.0, float(around.design.part_least[0]))}
        yield "low", 0.4 if fed else 0.75, _LOW, dead
        yield "high", 0.1 if fed else 0.15, _HIGH, dead
        yield "wavers", 0.1, _CHANCE, dead
    else:
        # The console holds the latch low, and so the ground pin a diode above it (from memory).
        yield "works", 0.35, SOUND, {"ground": "above"}
        off = {"ground": (1.0, float(around.design.supply_high[0]))}
        yield "high", 0.4, _HIGH, off
        yield "low", 0.15, _LOW, off
        yield "wavers", 0.1, _CHANCE, off


def _of_cable(fault: Fault, around: Surroundings) -> Iterator[Variant]:
    at, kind = fault.at or "", fault.kind
    gone = frozenset({at})
    if kind in ("core-open", "joint-open"):
        for name, weight, defect, volts in _states(fault, around):
            yield Variant(name, weight, ((1.0, defect),), volts, gone)
    elif kind == "core-loose":
        # How it is while there is no contact; a capacitor at the register keeps supply and ground.
        ways = [
            (weight, [(1.0, defect)])
            for _, weight, defect, _ in _states(fault, around)
            if defect not in (SOUND, _CHANCE)
        ]
        if at == "clock":
            spoilt = [Defect(lost=number) for number in range(1, 8)]
            spoilt += [Defect(extra=number) for number in range(1, 8)]
            ways = [(1.0, [(0.125, _STILL), *((0.0625, one) for one in spoilt)])]
        total = sum(weight for weight, _ in ways)
        for weight, broken in ways:
            for name, share in (("often", OFTEN), ("seldom", SELDOM)):
                mix = [(share * part, defect) for part, defect in broken]
                yield Variant(name, 0.5 * weight / total, (*mix, (1 - share, SOUND)))
    elif kind == "resistor-missing":
        dead = _NEVER_LOADS if at == "latch" else Defect(clock="low")
        volts = {} if around.feeds else {at: "ground"}
        gone_too = {(at, "supply"): np.inf}
        yield from _one(SOUND if around.feeds else dead, volts=volts, ohms=gone_too)
    elif kind == "cores-shorted":
        yield from _shorted(fault, around)
    else:
        yield from _swapped(fault, around)


def _shorted(fault: Fault, around: Surroundings) -> Iterator[Variant]:
    """Two cores that touch: the stronger of the two has the say."""
    pair = frozenset({fault.at or "", fault.to or ""})
    joined = frozenset({pair})
    poll = around.sheet.poll
    for rail, stuck in (
        ("ground", {"latch": _NEVER_LOADS, "clock": Defect(clock="low")}),
        ("supply", {"latch": _LOADS, "clock": _STILL}),
    ):
        if rail in pair:
            other = next(iter(pair - {rail}))
            last = _LOW if rail == "ground" else _HIGH
            yield from _one(stuck.get(other, last), volts={other: rail}, joined=joined)
            return
    if "latch" in pair and "clock" in pair:
        both = Defect(latch="wired", clock="wired")
        yield from _one(both, volts={"latch": "any", "clock": "any"}, joined=joined)
    elif "latch" in pair:
        yield from _one(_LOW, volts={"data": "ground"}, joined=joined)
    else:
        # The console's clock pulls the data line down with it while it looks, if it looks in time.
        pulled = _LOW if poll.sample.nominal <= poll.clock_low.nominal else SOUND
        yield from _one(pulled, volts={"data": "any"}, joined=joined)


def _swapped(fault: Fault, around: Surroundings) -> Iterator[Variant]:
    """Two cores swapped at the plug: which pin of the register gets what."""
    pair = frozenset({fault.at or "", fault.to or ""})
    line = next(iter(pair - {"data"}))
    if "data" in pair and line in ("latch", "clock"):
        # The console looks at a pin that it should drive: the pad's resistor there, or chance.
        lifted = around.lifted(line)
        ways = (("", 1.0, _HIGH),) if lifted else _data_open(around)
        volts: dict[object, object] = {line: "supply" if lifted else "any"}
    else:
        # Fed by a clock that is high between reads, a register runs; its clock pin is at supply.
        fed: tuple[Defect, dict[object, object]] = (_LOW, {"supply": "any"})
        if around.feeds:
            fed = (_STILL, {"clock": "supply"})
        swaps: dict[frozenset[str], tuple[Defect, dict[object, object]]] = {
            frozenset({"latch", "clock"}): (
                Defect(latch="clock", clock="latch"),
                {"latch": "supply", "clock": "ground"},
            ),
            frozenset({"supply", "data"}): (_HIGH, {"supply": "any"}),
            frozenset({"supply", "clock"}): fed,
            frozenset({"ground", "latch"}): (_NEVER_LOADS, {"latch": "ground"}),
            frozenset({"ground", "clock"}): (_HIGH, {"ground": "any"}),
        }
        defect, volts = swaps.get(pair, (_LOW, {"supply": "ground"}))
        ways = (("", 1.0, defect),)
    for name, weight, defect in ways:
        yield Variant(name, weight, ((1.0, defect),), volts, pair)


def _of_register(fault: Fault, around: Surroundings) -> Iterator[Variant]:
    kind, high = fault.kind, fault.level == "high"
    if kind == "clock-noisy":
        extra = [(1 / 7, Defect(extra=number)) for number in range(1, 8)]
        for name, share in (("often", OFTEN), ("seldom", SELDOM)):
            mix = [(share * part, defect) for part, defect in extra]
            yield Variant(name, 0.5, (*mix, (1 - share, SOUND)))
    elif kind == "stage-stuck":
        stage = 1 << int(fault.at or 1) - 1
        defect = Defect(stages=(stage, stage if high else 0))
        last = int(fault.at or 1) == around.sheet.chip.stages
        yield from _one(defect, volts={"data": "supply" if high else "ground"} if last else {})
    elif kind == "output-stuck":
        yield from _one(_HIGH if high else _LOW, volts={"data": "supply" if high else "ground"})
    elif kind == "serial-open":
        open_: dict[tuple[str, str], float] = {("serial", around.sheet.chip.serial_input): np.inf}
        for name, weight in FLOATS.items():
            level = {"low": 0, "high": 1}.get(name, 2)
            yield Variant(
                name, weight, ((1.0, Defect(serial=level)),), {"serial": "any"}, ohms=open_
            )
    else:
        yield from _one(
            {
                "register-no-load": _NEVER_LOADS,
                "register-no-shift": _STILL,
                "part-synchronous": Defect(synchronous=True),
                "part-inverted": Defect(inverted=True),
            }[kind]
        )
