"""The values of a sheet that can be changed, and the numbers of the calculation behind each.

    for dial in dials_of(sheet, ("push-pull",)): dial.key, dial.now

A value with a spread keeps it in parts of itself: twice the cable, twice its tolerance in metres.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from padbench.circuit.design import USUAL_SUPPLY, Array, Design, changed, feeding
from padbench.core.remedies import RemedyKind
from padbench.core.units import Value
from padbench.parts import E24, PortKind, preferred
from padbench.sheet import Sheet

End = Literal["low", "high"]

_INSIDE = 1 - 1e-6
"""Of a bound that another value of the sheet sets and that must not be reached."""

_A_DECADE = 24

_LEAST_COUPLING = 1.0
"""Per cent that are left between cores which lie apart or are twisted with ground (assumed)."""


@dataclass(frozen=True)
class Dial:
    """One value of a sheet.

    ``scales`` has the fields of `Design` that are so many times the value. ``now`` is what the
    sheet says, None where it says that there is none. The sheet takes ``least`` to ``most``;
    where ``bounded`` it is another value of the sheet that says so. ``name`` is what people call
    it, if not its key. ``port`` is set where it belongs to one kind of port only, ``instead`` where
    the value stands under another key: the times of a routine under ``poll.routine``. It means
    nothing on the ports ``apart``.
    """

    key: str
    unit: str
    scales: tuple[tuple[str, float], ...]
    now: float | None
    least: float
    most: float
    kind: RemedyKind = "plain"
    bounded: tuple[bool, bool] = (False, False)
    name: str = ""
    port: str | None = None
    instead: str = ""
    apart: tuple[str, ...] = ()

    def turned(self, design: Design, values: Array, port: str) -> Design:
        """One design, on the port of that name, with each of the values."""
        if self.port not in (None, port) or port in self.apart:
            return changed(design, supply_low=np.repeat(design.supply_low, len(values)))
        return changed(design, **{field: values * scale for field, scale in self.scales})

    def grid(self) -> Array:
        """Values to begin with, rising: all preferred ones of a resistor, else evenly spread."""
        if self.kind == "count":
            return np.arange(self.least, self.most + 1)
        if self.kind == "temperature":
            values = np.linspace(self.least, self.most, 97)
        else:
            decades = np.log10(self.most / self.least)
            values = np.geomspace(self.least, self.most, max(8, int(decades * _A_DECADE)))
        if self.kind == "resistor":
            e24 = np.asarray(preferred(E24, self.least, self.most))
            values = np.concatenate([values[(values < e24[0]) | (values > e24[-1])], e24])
        if self.now is not None and self.least <= self.now <= self.most:
            values = np.append(values, self.now)
        return np.unique(values)

    def between(self, bad: float, good: float, count: int) -> Array:
        """Values from one to the other, both included."""
        spread = np.linspace if self.kind == "temperature" else np.geomspace
        return np.asarray(spread(bad, good, count), np.float64)


def dials_of(sheet: Sheet, ports: Sequence[str]) -> tuple[Dial, ...]:
    """Every value of the sheet, and of the named ports, on which a calculation hangs."""
    return (
        *_resistors(sheet),
        *_contacts(sheet),
        *_cable(sheet),
        *_poll(sheet),
        *_program(sheet),
        *(dial for name in ports for dial in _port(sheet.port(name))),
        *_surroundings(sheet, [sheet.port(name) for name in ports]),
    )


def _ratio(value: Value, end: End) -> float:
    """An end as so many times the nominal; never quite nothing, as none can be divided by."""
    return max(float(getattr(value, end)) / value.nominal, 1e-9) if value.nominal else 1.0


def _dial(
    key: str,
    unit: str,
    value: Value,
    fields: dict[str, End],
    least: float,
    most: float,
    *,
    kind: RemedyKind = "plain",
    bounded: tuple[bool, bool] = (False, False),
) -> Dial:
    """Bounds are those of the value's own ends, and become those of its nominal."""
    scales = tuple((field, _ratio(value, end)) for field, end in fields.items())
    least, most = least / _ratio(value, "low"), most / _ratio(value, "high")
    return Dial(key, unit, scales, value.nominal, least, most, kind, bounded)


def _resistors(sheet: Sheet) -> Iterator[Dial]:
    for key, field, value in (
        ("pull-up.value", "pull_up", sheet.pull_up.value),
        ("resistors.latch-to-supply", "latch_r", sheet.resistors.latch_to_supply),
        ("resistors.clock-to-supply", "clock_r", sheet.resistors.clock_to_supply),
    ):
        now = None if value is None else value.nominal
        yield Dial(key, "Ω", ((field, 1.0),), now, 0.1, 1e9, "resistor")
    for key, field, size in (
        ("pull-up.rating", "pull_up_rating", sheet.pull_up.rating),
        ("resistors.rating", "line_rating", sheet.resistors.rating),
    ):
        yield _dial(key, "W", size, {field: "low"}, 1e-6, 1e3, kind="size")


def _contacts(sheet: Sheet) -> Iterator[Dial]:
    contacts = sheet.contacts
    closed, worn, opened = (x.nominal for x in (contacts.closed, contacts.worn, contacts.open))
    # What stands between two others in the sheet is held to them by its nominal value.
    least_open = worn / _INSIDE if worn else 1e-3
    for name, field, end, least, most, bounded in (
        ("worn", "worn", "high", max(closed, 1e-3), opened * _INSIDE, (closed > 1e-3, True)),
        ("open", "dirt", "low", least_open, 1e15, (worn > 0, False)),
        ("closed", "closed", "low", 1e-3, max(worn, 2e-3), (False, True)),
    ):
        value: Value = getattr(contacts, name)
        scales = ((field, _ratio(value, "high" if end == "high" else "low")),)
        yield Dial(f"contacts.{name}", "Ω", scales, value.nominal, least, most, bounded=bounded)


def _cable(sheet: Sheet) -> Iterator[Dial]:
    length, farads = sheet.cable.length, sheet.cable.capacitance
    yield _dial("cable.length", "m", length, {"cable_length": "high"}, 1e-3, 1e3)
    yield _dial("cable.capacitance", "F/m", farads, {"cable_per_metre": "high"}, 1e-13, 1e-6)
    share = sheet.cable.coupling
    scales = (("coupling", _ratio(share, "high") / 100),)
    most = 100 / _ratio(share, "high")
    yield Dial("cable.coupling", "%", scales, share.nominal, _LEAST_COUPLING, most)


def _poll(sheet: Sheet) -> Iterator[Dial]:
    """Times of the poll, as far as they leave it one that a sheet may have; and its clocks."""
    poll = sheet.poll
    typed = poll.routine is None

    def called(dial: Dial) -> Dial:
        if typed:
            return dial
        time = dial.key.removeprefix("poll.")
        name = f"a poll.routine with a {time}" if dial.unit else "the port reads of poll.routine"
        return replace(dial, name=name, instead="poll.routine")

    spare = poll.period.low / poll.passes - poll.read_time
    cycle = poll.clock_low.low + poll.clock_high.low
    rest = {"clock-low": poll.sample.high - poll.clock_high.low}
    rest["clock-high"] = poll.sample.high - poll.clock_low.low
    for key, times in (
        ("latch-width", 1),
        ("latch-to-clock", 1),
        ("clock-low", poll.clocks),
        ("clock-high", poll.clocks),
    ):
        field = key.replace("-", "_")
        value: Value = getattr(poll, field)
        low, high = _ratio(value, "low"), _ratio(value, "high")
        # The sheet compares nominal read times with the period.
        most = min((value.nominal + spare / times) * _INSIDE, 1 / high)
        least = max(rest.get(key, 0.0) / low / _INSIDE, 1e-9)
        scales = ((field, low), (f"{field}_high", high))
        bounded = (least > 1e-9, True)
        yield called(Dial(f"poll.{key}", "s", scales, value.nominal, least, most, bounded=bounded))
    fields: dict[str, End] = {"sample": "low", "sample_high": "high"}
    most = cycle * _INSIDE
    yield called(_dial("poll.sample", "s", poll.sample, fields, 1e-9, most, bounded=(False, True)))
    least = poll.passes * poll.read_time / _INSIDE
    fields = {"period": "low"}
    yield called(_dial("poll.period", "s", poll.period, fields, least, 1.0, bounded=(True, False)))
    clocks = (("clocks", 1.0),)
    yield called(Dial("poll.clocks", "", clocks, float(poll.clocks), 1.0, 64.0, "count"))


def _program(sheet: Sheet) -> Iterator[Dial]:
    """A program's times: what counts is the longest answer, and the shortest pulse it notices."""
    chip = sheet.chip
    if chip.kind != "firmware":
        return
    for key, value, fields in (
        ("first-bit", chip.first_bit, ("load_to_output",)),
        ("next-bit", chip.next_bit, ("clock_to_output", "clock_period")),
        ("shortest-pulse", chip.shortest_pulse, ("load_min", "clock_min", "removal")),
    ):
        if value is not None:
            full = f"register.{key}"
            scales = tuple((field, 1.0) for field in fields)
            least = max(value.low, 1e-12)
            name = f"{full} at its longest"
            yield Dial(full, "s", scales, value.high, least, 1.0, bounded=(True, False), name=name)


def _port(port: PortKind) -> Iterator[Dial]:
    """What a kind of port does to the data line; its keys stand in a parts file."""
    for key, field, figure in (
        ("data-pull-up", "data_up", port.data_pull_up),
        ("data-pull-down", "data_down", port.data_pull_down),
    ):
        now = None if figure is None else figure.min
        full, scales = f"port.{port.name}.{key}", ((field, 1.0),)
        yield Dial(full, "Ω", scales, now, 1.0, 1e9, "resistor", port=port.name)
    full, scales = f"port.{port.name}.input-capacitance", (("console_c", 1.0),)
    yield Dial(full, "F", scales, port.input_capacitance.max, 1e-13, 1e-6, port=port.name)


def _surroundings(sheet: Sheet, ports: Sequence[PortKind]) -> Iterator[Dial]:
    """Supply and temperature, as far as the part takes them, and the supply as far as it is fed so.

    Up to where the pad would be fed in another way on one of the ports (see `feeding`).
    """
    part, used = sheet.part, sheet.pad.temperature
    fields: dict[str, End] = {"supply_low": "low", "supply_high": "high"}
    least, most = max(part.supply.min or 0.5, 0.5), min(part.supply.max or 50.0, 50.0)
    supply = sheet.pad.supply
    by = {port.name: feeding(supply, port) for port in ports}
    for port in ports:
        if port.supply is not None:
            own = port.supply.min or 0.0, port.supply.max or np.inf
            low, high = own if by[port.name] == "sheet" else USUAL_SUPPLY
            least = max(least, low * _ratio(supply, "low") / _ratio(supply, "high"))
            most = min(most, high * _ratio(supply, "high") / _ratio(supply, "low"))
    # A pad that makes its own supply is for another port: no value a little further on mends it.
    if "itself" not in by.values():
        dial = _dial("pad.supply", "V", supply, fields, least, most, bounded=(True, True))
        yield replace(dial, apart=tuple(name for name, who in by.items() if who == "port"))
    for end, field, now, coldest, hottest in (
        ("hottest", "hottest_used", used.high, used.low, part.temperature.max),
        ("coldest", "coldest_used", used.low, part.temperature.min, used.high),
    ):
        if coldest is not None and hottest is not None and coldest < hottest:
            name = f"pad.temperature with its {end} end"
            yield Dial(
                *("pad.temperature", "°C", ((field, 1.0),), now, coldest, hottest),
                *("temperature", (True, True), name),
            )
