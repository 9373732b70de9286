"""How single values of a sheet are checked: quantities, buttons, names from the tables."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

from pydantic import AfterValidator, Field
from pydantic_core import CoreSchema, core_schema

from padbench.core.buttons import BUTTONS
from padbench.core.units import Value, read_value, says_tolerance
from padbench.parts import console_names, poll_names
from padbench.parts.own import known_parts, known_ports
from padbench.sheet.firmware import Firmware
from padbench.sheet.simulators import SIMULATORS
from padbench.toml import Refused, nearest, wanted

ABSENT = "absent"
"""What a sheet says where a resistor is not fitted."""

LONGEST_NAME = 200


class _Marker:
    """Takes over the whole validation of the field that it marks; ``example`` is for messages."""

    def __get_pydantic_core_schema__(
        self, source: object, handler: Callable[[object], CoreSchema]
    ) -> CoreSchema:
        """Read the field by `_read`, whatever its type is."""
        return core_schema.no_info_plain_validator_function(self._read)

    def _read(self, raw: object) -> object:
        raise NotImplementedError


RESISTOR_TOLERANCE = 0.05
"""Of a resistor whose sheet says none: that of the series E24, after IEC 60063."""


@dataclass(frozen=True)
class Quantity(_Marker):
    """Marks a field as a quantity: ``Annotated[Value, Quantity("V", "5 V ± 5 %")]``.

    ``least`` and ``most`` bound the whole spread, both included; ``within`` is how people are told
    about them. With ``absent`` the sheet may say "absent", and the value is then None. A value
    written without a spread has ``tolerance``, a part of it: nobody sells an exact resistor.
    """

    unit: str
    example: str
    least: float = 0.0
    most: float = 1e15
    within: str = ""
    absent: bool = False
    tolerance: float = 0.0

    def _read(self, raw: object) -> Value | None:
        if isinstance(raw, Value) or (self.absent and raw is None):
            return raw
        if self.absent and raw == ABSENT:
            return None
        value = read_value(raw, self.unit, example=self.example)
        if self.tolerance and not says_tolerance(str(raw)):
            spread = value.nominal * self.tolerance
            value = Value(value.nominal, value.nominal - spread, value.nominal + spread)
        if not (self.least <= value.low and value.high <= self.most):
            raise Refused(f"is not {self.within}", f'write for example "{self.example}"')
        return value


_DEGREES = r"([+-]?[0-9]{1,3}(?:\.[0-9]+)?) ?°?C?"
_RANGE = re.compile(rf"{_DEGREES} ?(?:to|\.\.\.?|…|–) ?{_DEGREES}")
_ONE = re.compile(_DEGREES)


@dataclass(frozen=True)
class Temperatures(_Marker):
    """Marks a field as a range of temperatures in °C: ``"0 °C to 40 °C"``, or a single one."""

    example = "0 °C to 40 °C"

    def _read(self, raw: object) -> Value:
        if isinstance(raw, Value):
            return raw
        instead = f'write for example "{self.example}"'
        if not isinstance(raw, str):
            raise Refused("is not a range of temperatures, in quotes", instead)
        text = " ".join(raw.replace("\u2212", "-").split())
        one = _ONE.fullmatch(text)
        both = _RANGE.fullmatch(text)
        if len(text) > 60 or not (one or both):
            raise Refused("is not a range of temperatures", instead)
        low, high = (float(one[1]),) * 2 if one else map(float, both.groups())  # type: ignore[union-attr]
        if low > high:
            raise Refused("ends below its start", instead)
        if low < -100 or high > 200:
            raise Refused("is not between -100 °C and 200 °C", instead)
        return Value((low + high) / 2, low, high)


@dataclass(frozen=True)
class TimeRange(_Marker):
    """Marks a field as a time with a least and a most (s): ``"1 us to 3 us"``, or a single one."""

    example: str

    def _read(self, raw: object) -> Value | None:
        if raw is None or isinstance(raw, Value):
            return raw
        parts = raw.split(" to ") if isinstance(raw, str) else [raw]
        ends = [read_value(part, "s", example=self.example) for part in parts]
        low, high = ends[0].low, ends[-1].high
        instead = f'write for example "{self.example}"'
        if len(ends) > 2 or low > high:
            raise Refused("is not a time and a longer one", instead)
        if not 1e-12 <= high <= 1:
            raise Refused("is not between 1 ps and 1 s", instead)
        return Value((low + high) / 2, low, high)


@dataclass(frozen=True)
class OneOf(_Marker):
    """Marks a text field as a name out of a table; ``table`` says which."""

    table: str

    def _read(self, raw: object) -> str:
        if isinstance(raw, Firmware):
            return raw
        known = _TABLES[self.table]()
        if not isinstance(raw, str):
            raise Refused(f"is not the name of a {self.table}", f'write for example "{known[0]}"')
        if raw not in known:
            raise Refused(f"is no known {self.table}", nearest(raw, known))
        return raw


_TABLES: dict[str, Callable[[], tuple[str, ...]]] = {
    "register part": known_parts,
    "kind of port": known_ports,
    "poll": poll_names,
    "console": console_names,
    "simulator": lambda: tuple(SIMULATORS),
}


def count(least: int, most: int) -> Callable[[object], object]:
    """A check of how many items a list or table has, whether or not the items are good.

    Pydantic's own counts only the good ones, and would complain twice about one bad item.
    """

    def check(raw: object) -> object:
        if isinstance(raw, list | tuple | dict):
            if len(raw) < least:
                raise Refused("is not enough", f"name at least {least}")
            if len(raw) > most:
                raise Refused("is too many", f"name at most {most}")
        return raw

    return check


Whole = Annotated[int, Field(strict=True)]
Text = Annotated[str, Field(strict=True)]
Button = Annotated[
    Text, wanted(BUTTONS.__contains__, "is no known button", lambda name: nearest(name, BUTTONS))
]
"""A button's name; refused with the nearest one."""


Line = Annotated[
    Text,
    wanted(str.strip, "is empty", f"use 1 to {LONGEST_NAME} characters"),
    wanted(
        lambda name: len(name) <= LONGEST_NAME,
        lambda name: f"is {len(name)} characters long",
        f"use at most {LONGEST_NAME} characters",
    ),
    wanted(str.isprintable, "holds a control character", "use letters, digits, signs and spaces"),
]
"""A name or the like: 1 to 200 characters that can be printed on one line."""


def serial_tie(raw: object) -> object:
    """Refuse the register's own output as the source of its serial input."""
    if isinstance(raw, str):
        name = raw.strip().casefold()
        own = {"data", "output", "out", "serial-out", "ring", *(f"q{n}" for n in range(1, 25))}
        if name in own:
            raise Refused(
                "closes a ring: the register would feed its own output back into itself",
                'write "ground", "supply" or "open"',
            )
    return raw


_IDENTIFIER = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,99}")


_NO_NAME = "is no name of a port or design"
Identifier = Annotated[
    Text, wanted(_IDENTIFIER.fullmatch, _NO_NAME, "use a letter, then letters, digits and _")
]
"""A name that both Verilog and VHDL can have, and that no command line can misread."""


_PORT = re.compile(_IDENTIFIER.pattern + r"(?:\[[0-9]{1,4}\]|\.[A-Za-z][A-Za-z0-9_]{0,99}){0,4}")


def _port_name(name: str) -> str:
    if not _PORT.fullmatch(name):
        use = "use a letter, then letters, digits and _; a bit is name[3], a field record.field"
        raise Refused(_NO_NAME, use)
    return name


PortName = Annotated[Text, AfterValidator(_port_name)]
"""A port, a bit of one, or a field of one."""

Folder = Annotated[
    Text,
    wanted(
        lambda name: name.isprintable() and 0 < len(name) <= 1000,
        "is no folder that can be used",
        'write for example "include"',
    ),
]

SourceFile = Annotated[
    Text,
    wanted(
        lambda name: name.isprintable() and len(name) <= 1000,
        "is no path that can be used",
        'write for example "my_pad.v"',
    ),
    wanted(
        lambda name: name.lower().endswith((".v", ".sv", ".vhd", ".vhdl")),
        "is no source file",
        "name a file that ends in .v, .sv, .vhd or .vhdl",
    ),
]
"""A source file by its ending: what a simulator takes for Verilog or VHDL."""


def button_ports(raw: object) -> object:
    """The port of all buttons, or a table that gives each button its own."""
    if isinstance(raw, str):
        return _port_name(raw)
    if isinstance(raw, dict) and raw:
        for name, port in raw.items():
            if name not in BUTTONS:
                raise Refused(f"gives a port to {name!r:.60}, no button", nearest(name, BUTTONS))
            if not isinstance(port, str):
                raise Refused(f"gives {name} no port", 'write for example { A = "btn_a" }')
            _port_name(port)
        return raw
    raise Refused("is neither a port nor a table of ports", 'write for example "buttons"')
