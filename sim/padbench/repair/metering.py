"""What meter, scope and swap find in a pad with each fault, at a pin, at the plug, in its place.

    bench = MeterBench(known)
    bench.expected("pin 9", 0)           # of each row: (least, most) volts, nan where it is chance

Volts come from the circuits that `padbench wiring` uses; a fault changes those of its own place.
What a scope shows while the console polls comes from the bits that the dictionary has and from what
a pin of the register sees; a good part in place of another cures what is broken in that part
(`padbench.parts.fault_kinds`). A line that floats takes up the hum of the mains, so that its bit
flips in a steady beat of the poll with it; dirt and loose contacts have none (from memory).
"""

from collections.abc import Iterable, Iterator
from functools import cache
from itertools import combinations, pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.circuits import Circuits
from padbench.circuit.defects import Surroundings
from padbench.core.buttons import BUTTONS, button_bit, pressed_in, spelled
from padbench.core.units import Value, show
from padbench.parts.fault_kinds import CORES, fault_kinds
from padbench.repair.dictionary import Dictionary
from padbench.repair.observed import EVERY, PARTS, WORDS, Meter, each_place, kind_of, pin_named
from padbench.sheet.model import Fault
from padbench.wiring.plan import Pin, wiring_plan

_POLLED = ("latch", "clock", "data")

CONTACT = 10.0
"""Ω up to which two ends have contact: a core and its two joints (common practice)."""

_OPEN = 1e7
"""Ω above which nothing joins two ends (common practice, no source)."""

_SHORT = 100.0
"""Ω below which a pin is shorted to a rail (assumed): the parts of a pad leave far more."""

_LEAKS = 1e3
"""Ω that an unplugged register's diodes leave between cores at the least (assumed)."""

_SPREAD = 0.05
"""Of the supply: what a reading may be off (common practice, no source)."""

Span = tuple[float, float]
_CHANCE = (float("nan"), float("nan"))
_JOINED = (0.0, CONTACT)
_DIODE = (0.3, 1.0)
"""V across a protection diode that feeds a chip (from memory)."""

_RIGHT, WRONG = 0.95, 0.005
"""How often a reading is noted rightly, and a wrong one falls into a given tenth of the scale
(assumed: as often as a read is noted wrongly)."""


class MeterBench:
    """The readings of every row of a dictionary."""

    def __init__(self, known: Dictionary) -> None:
        self.known = known
        plan = wiring_plan(known.sheet).pins
        self.pins = {pin_named(pin.number, pin.chip): pin for pin in plan}
        circuits = Circuits(Surroundings.of(known.sheet, known.port).design)
        self.supply = _span(circuits.at_lines.supply)
        self.data = [_span(levels) for levels in circuits.data_levels]
        self.pin_of = {self._net(pin): where for where, pin in reversed(self.pins.items())}
        self.resistance = dict(self._resistances())
        self.expected = cache(self._expected)
        self.alike = cache(self._alike)

    @staticmethod
    def _net(pin: Pin) -> str:
        if pin.name != "serial":
            return pin.net
        return f"link {pin.chip}" if pin.net == "chain" else "serial"

    def _resistances(self) -> Iterator[tuple[tuple[str, str], float]]:
        """Ω from a pin to a rail with the supply off: resistors of a sound pad, and its tie."""
        sheet = self.known.sheet
        fitted: dict[str, Value | None] = dict.fromkeys(sheet.buttons, sheet.pull_up.value)
        fitted["latch"] = sheet.resistors.latch_to_supply
        fitted["clock"] = sheet.resistors.clock_to_supply
        for net, value in fitted.items():
            if value is not None and net in self.pin_of:
                yield (net, "supply"), value.nominal
        for name in sheet.buttons:
            if name in self.pin_of:
                yield (name, "ground"), np.inf
        if sheet.chip.serial_input != "open":
            for rail in ("supply", "ground"):
                yield ("serial", rail), 0.0 if rail == sheet.chip.serial_input else np.inf

    def points(self) -> Iterator[tuple[str, int]]:
        """(where, what is held) of all that is worth finding out."""
        for where, pin in self.pins.items():
            if pin.net != "open" or pin.name == "serial":
                yield where, 0
                if pin.net in BUTTONS:
                    yield where, button_bit(pin.net)
                elif pin.net in _POLLED:
                    yield f"scope {where}", 0
        for net, rail in self.resistance:
            yield f"{self.pin_of[net]} to {rail}", 0
        for core in CORES:
            yield f"core {core}", 0
        for one, other in combinations(CORES, 2):
            yield f"{one} to {other}", 0
        yield from ((f"scope {core}", 0) for core in _POLLED)
        yield from ((f"swap {part}", 0) for part in PARTS)
        yield from ((f"beat {name}", 0) for name in self.known.sheet.buttons)

    def series(self) -> Iterator[tuple[str, list[str], str]]:
        """What is measured in one go: head, ends and tail of its name (see `each_place`)."""
        for chip in range(1, max(pin.chip for pin in self.pins.values()) + 1):
            tail = f" of register {chip}" if chip > 1 else ""
            here = [pin for pin in self.pins.values() if pin.chip == chip]
            inputs = [str(pin.number) for pin in here if pin.net in BUTTONS]
            yield "pins ", [str(pin.number) for pin in here if pin.net != "open"], tail
            for rail in ("supply", "ground") if len(inputs) > 1 else ():
                yield "pins ", inputs, f"{tail} to {rail}"
        yield from ((f"{what} ", [*ends], "") for what, ends in EVERY.items())
        yield "scope ", [*_POLLED], ""

    def outcome(self, row: int, where: str, held: int) -> str:
        """What a row shows in words: buttons, or what is found in one place; a read has no
        ``where``."""
        if where:
            least, most = self.expected(where, held)[row]
            return "any" if np.isnan(least) else self._said_of(kind_of(where), least, most)
        known = self.known
        first = known.first_part(row)
        parts = range(first, first + len(known.rows[row].variant.mix))
        part = max(parts, key=lambda one: known.share[one])
        loose, said = int(known.random[part, held]), spelled(int(known.fixed[part, held]))
        said += f", {spelled(loose)} unsteady" if loose else ""
        return f"{said}, not always" if len(parts) > 1 else said

    def outcomes(self, where: str, held: int, rows: Iterable[int]) -> dict[str, list[Fault | None]]:
        """What a test may show, and the faults of some rows that may show it, in their order.

        A reading that two faults may have stands for both. Of several places it is all as in a
        sound pad, or what is found in one of them.
        """
        rows, places = np.array([*rows]), each_place(where) if where else ()
        told: list[tuple[list[int], str]] = []
        for row in rows.tolist() if not where else ():
            told.append(([row], self.outcome(row, where, held)))
        left = np.ones(len(rows), bool)
        for place, down in places:
            several = f"{place} " if len(places) > 1 else ""
            as_sound = np.zeros(len(rows), bool)
            for said, sound, inside in self._bands(place, down or held, rows):
                if several and sound:
                    as_sound |= inside
                else:
                    told.append((rows[inside].tolist(), several + said))
            left &= as_sound
        if len(places) > 1:
            told.append((rows[left].tolist(), "all as in a sound pad"))
            told.sort(key=lambda one: _order(np.isin(rows, one[0])))
        shown: dict[str, dict[int, None]] = {}
        for some, said in told:
            shown.setdefault(said, {}).update((self.known.rows[row].fault, None) for row in some)
        return {
            outcome: [self.known.faults[place] for place in faults]
            for outcome, faults in shown.items()
        }

    def _bands(
        self, where: str, held: int, rows: NDArray[np.int64]
    ) -> Iterator[tuple[str, bool, NDArray[np.bool_]]]:
        """Stretches of the scale, or words: whether a sound pad may show it, and which rows may.

        The scale is cut where a reading may belong to other rows. What is chance falls everywhere;
        where nothing else falls is no stretch.
        """
        kind, slack = kind_of(where), self._slack(where)
        spans = self.expected(where, held)[[0, *rows]]
        chance = np.isnan(spans[:, 0])
        least = np.where(chance, -np.inf, spans[:, 0] - slack)
        most = np.where(chance, np.inf, spans[:, 1] + slack)
        ends = sorted({*least[~chance].tolist(), *most[~chance].tolist()})
        fault = self.known.fault_of[[0, *rows]]
        found: dict[bytes, tuple[list[tuple[float, float]], NDArray[np.bool_]]] = {}
        for low, high in pairwise(ends):
            inside = (least <= low) & (most >= high)
            stretches, whole = found.setdefault(
                np.unique(fault[inside]).tobytes(), ([], np.zeros(len(fault), bool))
            )
            whole |= inside
            on = stretches and stretches[-1][1] == low
            stretches.append((stretches.pop()[0] if on else low, high))
        there = [one for one in found.values() if (one[1] & ~chance)[1:].any()]
        for stretches, whole in sorted(there, key=lambda one: _order(one[1][1:])):
            said = [self._said_of(kind, low, high) for low, high in stretches]
            yield " or ".join(dict.fromkeys(said)), bool(whole[0]), whole[1:]

    @staticmethod
    def _said_of(kind: str, least: float, most: float) -> str:
        if kind in WORDS:
            return WORDS[kind][round((least + most) / 2)]
        if kind == "volts":
            return f"{max(least, 0.0):.1f} to {most:.1f} V"
        return _span_said(least, most)

    def _slack(self, where: str) -> float:
        """What a reading may be off; words stand one apart."""
        return {"volts": _SPREAD * self.supply[1], "ohms": 0.0}.get(kind_of(where), 0.25)

    def differs(self, where: str, held: int) -> NDArray[np.bool_]:
        """Of each row, whether a meter surely finds something else there than in a sound pad."""
        label, may = self.alike(where, held)
        return np.asarray(~may[label[0], label], bool)

    def chance(self, reading: Meter) -> NDArray[np.float64]:
        """Of each row, how often such a reading comes (see `padbench.repair.ranking`)."""
        spans = self.expected(reading.where, reading.held)
        slack = self._slack(reading.where)
        least, most = spans[:, 0] - slack, spans[:, 1] + slack
        inside = (reading.value >= least) & (reading.value <= most)
        return np.where(np.isnan(spans[:, 0]) | inside, _RIGHT, WRONG)

    def _expected(self, where: str, held: int) -> NDArray[np.float64]:
        kind, every = kind_of(where), range(len(self.known.rows))
        if kind == "volts":
            spans = [self._volts(row, self.pins[where], held) for row in every]
        elif kind == "ohms":
            spans = [self._ohms(row, where) for row in every]
        else:
            find = {"scope": self._scope, "swap": self._swap, "beat": self._beat}[kind]
            words = [find(row, where.split(" ", 1)[1], held) for row in every]
            spans = [
                _CHANCE if word is None else (float(WORDS[kind].index(word)),) * 2 for word in words
            ]
        return np.array(spans)

    def _alike(self, where: str, held: int) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Of each row the number of what it shows, and (shown, shown) whether some reading may be
        of both."""
        places = each_place(where)
        if len(places) > 1:
            each = [self.alike(one, held) for one, _ in places]
            shown, label = _distinct(np.stack([one for one, _ in each], axis=1))
            whole = [may[np.ix_(at, at)] for at, (_, may) in zip(shown, each, strict=True)]
            return label, np.asarray(np.logical_and.reduce(whole), bool)
        spans, slack = self.expected(where, held), self._slack(where)
        spans = np.where(np.isnan(spans), [-np.inf, np.inf], spans + np.array([-slack, slack]))
        (least, most), label = _distinct(spans)
        return label, (least[:, None] < most) & (least < most[:, None])

    def _swap(self, row: int, part: str, _held: int) -> str:
        fault = self.known.faults[self.known.rows[row].fault]
        return "cured" if fault and fault_kinds()[fault.kind].part == part else "same"

    def _beat(self, row: int, button: str, _held: int) -> str:
        """Of what floats; the flips of a mix and of a contact are irregular."""
        known = self.known
        entry = known.rows[row]
        fault = known.faults[entry.fault]
        loose = known.random[known.first_part(row), 0] & button_bit(button)
        steady = len(entry.variant.mix) == 1 and fault and "contact" not in fault.kind
        return "yes" if loose and steady else "no"

    def _scope(self, row: int, where: str, held: int) -> str | None:
        """What stands at the plug or at a pin while the console polls; None: now this, now that."""
        known, variant = self.known, self.known.rows[row].variant
        first = known.first_part(row)
        at_pin = where in self.pins
        net = self._net(self.pins[where]) if at_pin else where
        loose = len(variant.mix) > 1 and net in variant.open and (at_pin or net == "data")
        if net not in _POLLED or loose:
            return None
        if net == "data":
            if at_pin and "data" in variant.open:
                return self._bits(0, None, held)
            shown = {
                self._bits(first + place, defect.data, held)
                for place, (_, defect) in enumerate(variant.mix)
            }
            return shown.pop() if len(shown) == 1 else None
        if at_pin:  # A register that does not load has its latch all the same.
            seen = getattr(variant.mix[0][1], net) if net in variant.volts else "own"
            return seen if seen in ("low", "high") else "pulses"
        # The console drives it, but for what is shorted to a rail.
        ends = {end for pair in variant.joined if net in pair for end in pair}
        return "low" if "ground" in ends else "high" if "supply" in ends else "pulses"

    def _bits(self, part: int, level: int | None, held: int) -> str:
        """The data line: a level, or what a part of a mix sends."""
        rest = int(self.known.after[part, held]) if level is None else level
        if rest == 2 or self.known.random[part, held]:
            return "wavers"
        flat = {(0, 1): "high", (255, 0): "low"}
        return flat.get((int(self.known.fixed[part, held]), rest), "pulses")

    def _ohms(self, row: int, where: str) -> Span:
        variant = self.known.rows[row].variant
        if where.startswith("pin "):
            pin, rail = where.split(" to ")
            net = self._net(self.pins[pin])
            sound = self.resistance.get((net, rail))
            closed = variant.ohms.get((net, rail), 0.0)
            if rail == "ground" and net in self.known.sheet.buttons and closed:
                return (0.0, 1.2 * closed)  # a contact that stays closed, fresh or worn
            if sound is not None:
                return self._resistor(variant.ohms.get((net, rail), sound), sound)
            # A rail is the rail; anything else is no short of it.
            return _JOINED if net == rail else (_SHORT, np.inf)
        if not where.startswith("core "):
            return self._between(row, frozenset(where.split(" to ")))
        if where[5:] not in variant.open:
            return _JOINED
        return _CHANCE if len(variant.mix) > 1 else self._resistor(np.inf, np.inf)

    def _between(self, row: int, cores: frozenset[str]) -> Span:
        """From core to core: the resistors that lift latch and clock, one or both."""
        entry = self.known.rows[row]
        variant, fault = entry.variant, self.known.faults[entry.fault]
        if cores in variant.joined:
            return _JOINED
        cut = fault and fault.kind.startswith("core") and variant.open & cores
        if cut and len(variant.open) > 1:
            return (_SHORT, np.inf)  # swapped
        lifts = [(core, "supply") for core in cores - {"supply"}]
        sound = sum(self.resistance.get(lift, np.inf) for lift in lifts)
        ohms = sum(variant.ohms.get(lift, self.resistance.get(lift, np.inf)) for lift in lifts)
        if np.isinf(sound) or (cut and len(variant.mix) > 1):
            return (min(0.8 * sound, _LEAKS), np.inf)
        return self._resistor(np.inf if cut else ohms, sound)

    @staticmethod
    def _resistor(ohms: float, sound: float) -> Span:
        if 0 < ohms < np.inf and ohms != sound:  # any wrong value: far below, or far above
            return (CONTACT, 0.75 * sound) if ohms < sound else (1.3 * sound + CONTACT, _OPEN)
        # A resistor of 5 %, a meter, and what else hangs on the pin.
        return (_OPEN, np.inf) if np.isinf(ohms) else (0.8 * ohms, 1.2 * ohms + CONTACT)

    def _volts(self, row: int, pin: Pin, held: int) -> Span:
        variant = self.known.rows[row].variant
        down, net = pressed_in(held), self._net(pin)
        said: object = variant.volts.get(net)
        if net in down:
            said = variant.volts.get((net, "held"), said)
        for other in down:
            said = variant.volts.get((net, other), said)
        if said is not None:
            return self._said(said)
        if net == "data":
            return self._data(row, held)
        sound = pin.held[net] if net in down else pin.idle
        return _CHANCE if sound is None else sound

    def _said(self, what: object) -> Span:
        if isinstance(what, tuple):
            return what
        low, high = self.supply
        return {
            "ground": (0.0, 0.2),
            "supply": self.supply,
            "below": (low - _DIODE[1], high - _DIODE[0]),
            "above": _DIODE,
        }.get(str(what), _CHANCE)

    def _data(self, row: int, held: int) -> Span:
        """The output between two reads: what the register holds by then."""
        known, variant = self.known, self.known.rows[row].variant
        if len(variant.mix) > 1 or (variant.mix[0][1].data is not None and not variant.open):
            return _CHANCE
        level = int(known.after[known.first_part(row), held])
        return _CHANCE if level == 2 else self.data[level]


def _order(inside: NDArray[np.bool_]) -> tuple[int, int]:
    """What has the first of some rows comes first, and of that what has most."""
    return (int(np.argmax(inside)) if inside.any() else len(inside), -int(inside.sum()))


def _distinct(rows: NDArray[Any]) -> tuple[NDArray[Any], NDArray[np.int64]]:
    """Different rows, as columns, and the number of each row among them."""
    different, label = np.unique(rows, axis=0, return_inverse=True)
    return different.T, label.reshape(-1)


def _span(volts: NDArray[np.float64]) -> Span:
    return float(np.min(volts)), float(np.max(volts))


def _span_said(least: float, most: float) -> str:
    """Ohms in words."""
    if np.isinf(most):
        return "no contact" if least >= _OPEN else f"{show(least, 'Ω', 2)} or more"
    if least and most > 2 * least:
        return f"{show(least, 'Ω', 2)} to {show(most, 'Ω', 2)}"
    return "about " + show((least + most) / 2, "Ω", 2) if least else f"up to {show(most, 'Ω', 2)}"
