"""The values of a sheet that can be changed, and the numbers of the calculation that hang on each.

    for dial in dials_of(sheet, ("push-pull",)): dial.key, dial.now

A value with a spread keeps it in parts of itself: twice the cable, twice its tolerance in metres.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from padbench.circuit.design import Array, Design, changed
from padbench.core.units import Value
from padbench.parts import E24, PortKind, preferred
from padbench.sheet import Sheet

__all__ = ["Dial", "dials_of"]

Kind = Literal["resistor", "size", "plain", "temperature"]
End = Literal["low", "high"]

_INSIDE = 1 - 1e-6
"""Of a bound that another value of the sheet sets and that must not be reached."""

_A_DECADE = 24


@dataclass(frozen=True)
class Dial:
    """One value of a sheet.

    ``scales`` has the fields of `Design` that are so many times the value. ``now`` is what the
    sheet says, None where it says that there is none. The sheet takes ``least`` to ``most``;
    where ``bounded`` it is another value of the sheet that says so. ``name`` is what people call
    it. ``port`` is set where it belongs to one kind of port only, ``instead`` where the value
    stands under another key: the times of a routine under ``poll.routine``.
    """

    key: str
    unit: str
    scales: tuple[tuple[str, float], ...]
    now: float | None
    least: float
    most: float
    name: str
    kind: Kind = "plain"
    bounded: tuple[bool, bool] = (False, False)
    port: str | None = None
    instead: str = ""

    def turned(self, design: Design, values: Array, port: str) -> Design:
        """One design, on the port of that name, with each of the values."""
        if self.port not in (None, port):
            return changed(design, supply_low=np.broadcast_to(design.supply_low, values.shape))
        return changed(design, **{field: values * scale for field, scale in self.scales})

    def grid(self) -> Array:
        """Values to begin with, rising: all preferred ones of a resistor, else evenly spread."""
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
        *_surroundings(sheet),
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
    kind: Kind = "plain",
    bounded: tuple[bool, bool] = (False, False),
    name: str = "",
    instead: str = "",
) -> Dial:
    """Bounds are those of the value's own ends, and become those of its nominal."""
    scales = {field: _ratio(value, end) for field, end in fields.items()}
    low, high = _ratio(value, "low"), _ratio(value, "high")
    return Dial(
        key,
        unit,
        tuple(scales.items()),
        value.nominal,
        least / low,
        most / high,
        name or key,
        kind,
        bounded,
        instead=instead,
    )


def _resistors(sheet: Sheet) -> Iterator[Dial]:
    resistors = {
        "pull-up.value": ("pull_up", sheet.pull_up.value),
        "resistors.latch-to-supply": ("latch_r", sheet.resistors.latch_to_supply),
        "resistors.clock-to-supply": ("clock_r", sheet.resistors.clock_to_supply),
    }
    for key, (field, value) in resistors.items():
        now = None if value is None else value.nominal
        yield Dial(key, "Ω", ((field, 1.0),), now, 0.1, 1e9, key, "resistor")
    for key, field, size in (
        ("pull-up.rating", "pull_up_rating", sheet.pull_up.rating),
        ("resistors.rating", "line_rating", sheet.resistors.rating),
    ):
        yield _dial(key, "W", size, {field: "low"}, 1e-6, 1e3, kind="size")


def _contacts(sheet: Sheet) -> Iterator[Dial]:
    contacts = sheet.contacts
    closed, worn, opened = (x.nominal for x in (contacts.closed, contacts.worn, contacts.open))
    # What stands between two others in the sheet is held to them by its nominal value.
    yield Dial(
        "contacts.worn",
        "Ω",
        (("worn", _ratio(contacts.worn, "high")),),
        worn,
        max(closed, 1e-3),
        opened * _INSIDE,
        "contacts.worn",
        bounded=(closed > 1e-3, True),
    )
    yield Dial(
        "contacts.open",
        "Ω",
        (("dirt", _ratio(contacts.open, "low")),),
        opened,
        worn / _INSIDE if worn else 1e-3,
        1e15,
        "contacts.open",
        bounded=(worn > 0, False),
    )
    yield Dial(
        "contacts.closed",
        "Ω",
        (("closed", _ratio(contacts.closed, "low")),),
        closed,
        1e-3,
        max(worn, 2e-3),
        "contacts.closed",
        bounded=(False, True),
    )


def _cable(sheet: Sheet) -> Iterator[Dial]:
    cable = sheet.cable
    yield _dial("cable.length", "m", cable.length, {"cable_length": "high"}, 1e-3, 1e3)
    yield _dial(
        "cable.capacitance", "F/m", cable.capacitance, {"cable_per_metre": "high"}, 1e-13, 1e-6
    )


def _poll(sheet: Sheet) -> Iterator[Dial]:
    """Times of the poll, as far as they leave it one that a sheet may have."""
    poll = sheet.poll
    instead = "" if poll.routine is None else "poll.routine"
    spare = poll.period.low / poll.passes - poll.read_time
    cycle = poll.clock_low.low + poll.clock_high.low
    rest = {"clock-low": poll.sample.high - poll.clock_high.low}
    rest["clock-high"] = poll.sample.high - poll.clock_low.low
    for key, each in (
        ("latch-width", 1),
        ("latch-to-clock", 1),
        ("clock-low", poll.clocks),
        ("clock-high", poll.clocks),
    ):
        field = key.replace("-", "_")
        value: Value = getattr(poll, field)
        # The sheet compares nominal read times with the period.
        most = (value.nominal + spare / each) * _INSIDE
        least = max(rest.get(key, 0.0) / _ratio(value, "low") / _INSIDE, 1e-9)
        yield Dial(
            f"poll.{key}",
            "s",
            ((field, _ratio(value, "low")), (f"{field}_high", _ratio(value, "high"))),
            value.nominal,
            least,
            min(most, 1 / _ratio(value, "high")),
            _called(sheet, key),
            bounded=(least > 1e-9, True),
            instead=instead,
        )
    fields: dict[str, End] = {"sample": "low", "sample_high": "high"}
    yield _dial(
        "poll.sample",
        "s",
        poll.sample,
        fields,
        1e-9,
        cycle * _INSIDE,
        bounded=(False, True),
        name=_called(sheet, "sample"),
        instead=instead,
    )
    yield _dial(
        "poll.period",
        "s",
        poll.period,
        {"period": "low"},
        poll.passes * poll.read_time / _INSIDE,
        1.0,
        bounded=(True, False),
        name=_called(sheet, "period"),
        instead=instead,
    )


def _called(sheet: Sheet, key: str) -> str:
    return f"poll.{key}" if sheet.poll.routine is None else f"a poll.routine with a {key}"


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
            least = max(value.low, 1e-12)
            scales = tuple((field, 1.0) for field in fields)
            yield Dial(
                f"register.{key}",
                "s",
                scales,
                value.high,
                least,
                1.0,
                f"register.{key} at its longest",
                bounded=(True, False),
            )


def _port(port: PortKind) -> Iterator[Dial]:
    """What a kind of port does to the data line; its keys stand in a parts file."""
    for key, field, figure in (
        ("data-pull-up", "data_up", port.data_pull_up),
        ("data-pull-down", "data_down", port.data_pull_down),
    ):
        now = None if figure is None else figure.min
        full = f"port.{port.name}.{key}"
        yield Dial(full, "Ω", ((field, 1.0),), now, 1.0, 1e9, full, "resistor", port=port.name)
    full = f"port.{port.name}.input-capacitance"
    now = port.input_capacitance.max
    yield Dial(full, "F", (("console_c", 1.0),), now, 1e-13, 1e-6, full, port=port.name)


def _surroundings(sheet: Sheet) -> Iterator[Dial]:
    """Supply and temperature, as far as the part takes them."""
    part, used = sheet.part, sheet.pad.temperature
    yield _dial(
        "pad.supply",
        "V",
        sheet.pad.supply,
        {"supply_low": "low", "supply_high": "high"},
        max(part.supply.min or 0.5, 0.5),
        min(part.supply.max or 50.0, 50.0),
        bounded=(True, True),
    )
    coldest, hottest = part.temperature.min, part.temperature.max
    for name, field, now, least, most in (
        ("hottest", "hottest_used", used.high, used.low, hottest),
        ("coldest", "coldest_used", used.low, coldest, used.high),
    ):
        if least is not None and most is not None and least < most:
            yield Dial(
                "pad.temperature",
                "°C",
                ((field, 1.0),),
                now,
                least,
                most,
                f"pad.temperature with its {name} end",
                "temperature",
                (True, True),
            )
