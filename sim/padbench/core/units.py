"""Values as people write them ("47k", "2.5 m ± 5 %") turned into SI base units, and back.

Use::

    read_value("4k7 ± 5 %", "Ω", example="47k ± 5 %")   # Value(4700.0, 4465.0, 4935.0)
    show(280e-9, "s")                                   # "280 ns"
    to_ps(280e-9)                                       # 280000

quantiphy knows the scale factors. What it reads more generously than a design sheet should (a
lone "m" as milli, "R" as 10^27, a comma as a thousands mark) is settled here before it is asked.
"""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from quantiphy import Quantity

_Refuse = Callable[[str], "UnitError"]
"""Makes the error about one value of what is wrong with it."""

LONGEST_FOUND = 60
LARGEST = 1e15
SMALLEST = 1e-18

_UNIT_NAMES = {
    "Ω": "ohms",
    "V": "volts",
    "F": "farads",
    "F/m": "farads per metre",
    "s": "seconds",
    "m": "metres",
    "W": "watts",
    "Hz": "hertz",
    "A": "amperes",
    "H": "henries",
    "%": "per cent",
}
_SPELLINGS = {
    "\u2126": "Ω",  # the ohm sign; the Greek capital is what the rest of the code writes
    **dict.fromkeys(("R", "ohm", "ohms", "Ohm", "Ohms"), "Ω"),
    **dict.fromkeys(("volt", "volts"), "V"),
    **dict.fromkeys(("farad", "farads"), "F"),
    **dict.fromkeys(("sec", "second", "seconds"), "s"),
    **dict.fromkeys(("metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("watt", "watts"), "W"),
    "hertz": "Hz",
}
# IEC 60062 puts the multiplier where the point would stand: 4k7, R47, 3V3.
_RKM_LETTERS = {
    "Ω": {"R": "", "k": "k", "K": "k", "M": "M", "G": "G"},
    "V": {"V": ""},
    "F": {"p": "p", "n": "n", "u": "u", "µ": "u", "μ": "u"},
}
_RKM = re.compile(r"([0-9]*)([RkKMGVpnuµμ])([0-9]+) ?(.*)")
_NUMBER = re.compile(r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?) ?([^0-9.,+-].*)?")
_TOLERANCE = re.compile(r" ?(?:±|\+/?-) ?")
_NOT_FINITE = re.compile(r"[+-]? ?(?:nan|inf|infinity|∞)\b ?.*|[+-]?∞.*", re.IGNORECASE)
_COMMA = re.compile(r"[0-9],[0-9]")
_TIDY = str.maketrans({"\u00a0": " ", "\u2009": " ", "\u202f": " ", "\u2212": "-"})


@dataclass(frozen=True, slots=True)
class Value:
    """A quantity with its spread, in the SI base unit; ``low <= nominal <= high``."""

    nominal: float
    low: float
    high: float

    @classmethod
    def exact(cls, number: float) -> Self:
        """A value without tolerance."""
        return cls(number, number, number)


class UnitError(ValueError):
    """A value that could not be read: what was found, what is wrong with it, what would do."""

    def __init__(self, found: str, wrong: str, instead: str) -> None:
        """Take three pieces of one line: ``found wrong; instead``."""
        super().__init__(f"{found} {wrong}; {instead}")
        self.found = found
        self.wrong = wrong
        self.instead = instead


def found_text(raw: object) -> str:
    """A found value on one line of at most 60 characters, as it would stand in TOML."""
    if isinstance(raw, str):
        # Cut first: the escaping of a very long text would be thrown away anyhow.
        text = '"' + printable(raw[: LONGEST_FOUND + 1]) + '"'
    elif isinstance(raw, bool):
        text = str(raw).lower()
    elif isinstance(raw, dict):
        return "a table" if raw else "an empty table"
    elif isinstance(raw, list | tuple):
        return "an empty list" if not raw else f"a list of {len(raw)}"
    elif isinstance(raw, int) and raw.bit_length() > 200:
        return f"a number of {raw.bit_length()} bits"  # Python refuses to print the largest ones
    else:
        text = printable(str(raw))
    if len(text) <= LONGEST_FOUND:
        return text
    return text[: LONGEST_FOUND - 2] + ('…"' if isinstance(raw, str) else "…")


def printable(text: str) -> str:
    """The text on one line; signs that a terminal obeys or hides, as U+202E, are escaped."""
    if text.isprintable():
        return text
    return "".join(
        c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text
    )


def says_tolerance(text: str) -> bool:
    """Whether a value is written with its tolerance, be it 0 %."""
    return _TOLERANCE.search(text) is not None


def read_value(raw: object, unit: str, *, example: str) -> Value:
    """Read one value of a design sheet.

    Args:
        raw: what the sheet holds: text such as ``"4.7 kΩ ± 5 %"``; for ohms also a bare number.
        unit: the unit it must have: Ω, V, F, F/m, s, m, W or Hz. Only Ω may be left out.
        example: a value that would do, for the error message.

    Returns:
        The value in that unit. Without a tolerance, low and high equal the nominal.

    Raises:
        UnitError: not text, no number, another unit or none, negative, not finite, beyond
            1e15, nearer to zero than 1e-18 without being zero, or a tolerance outside 0 to 100 %.
    """

    def refuse(wrong: str, instead: str = f'write for example "{example}"') -> UnitError:
        return UnitError(found_text(raw), wrong, instead)

    if isinstance(raw, int | float) and not isinstance(raw, bool):
        if unit != "Ω":
            raise refuse("has no unit")
        # No float is larger, and Python refuses to make one of a longer number.
        return Value.exact(_within_reason(float(max(min(raw, 1e300), -1e300)), refuse))
    if not isinstance(raw, str):
        raise refuse("is not a value with a unit, in quotes")
    text = " ".join(raw.translate(_TIDY).split(" ")).strip()
    text = re.sub(" +", " ", text)
    if not text:
        raise refuse("is empty")
    if not text.isprintable():
        raise refuse("holds an invisible character")
    if _COMMA.search(text):
        raise refuse("has a comma", f"write a point: {found_text(text.replace(',', '.'))}")
    if len(text) > LONGEST_FOUND:
        raise refuse("is too long for a value")
    quantity, *tolerances = _TOLERANCE.split(text)
    nominal = _within_reason(_read_quantity(quantity, unit, refuse), refuse)
    if not tolerances:
        return Value.exact(nominal)
    if len(tolerances) > 1:
        raise refuse("has more than one tolerance")
    part = _read_tolerance(tolerances[0], refuse)
    return Value(nominal, nominal * (1 - part), nominal * (1 + part))


def to_ps(seconds: float) -> int:
    """Seconds to whole picoseconds, the time unit of every timeline."""
    return round(seconds * 1e12)


def show(value: float, unit: str, digits: int = 3) -> str:
    """A number for people, with a scale factor: ``show(4700, "Ω")`` is ``"4.7 kΩ"``.

    ``digits`` counts the significant digits; trailing zeros are left out.
    """
    return str(_quantity()(value, unit).render(prec=digits - 1))


@cache
def _quantity() -> "type[Quantity]":
    # Imported on first use: commands that read no sheet should not pay for it.
    from quantiphy import Quantity  # noqa: PLC0415

    class SheetQuantity(Quantity):  # type: ignore[misc,unused-ignore]
        """Own preferences, so that another user of quantiphy in the process keeps theirs."""

    SheetQuantity.set_prefs(
        known_units="m min",  # else "2.5 m" is 2.5 milli-nothing
        input_sf="TGMKkcmuµμnpf",
        map_sf=Quantity.map_sf_to_greek,
    )
    return SheetQuantity


def _within_reason(number: float, refuse: _Refuse) -> float:
    if math.isnan(number):
        raise refuse("is not a finite number")
    if number < 0:
        raise refuse("is negative")
    if number > LARGEST:
        raise refuse("is absurdly large")
    if 0 < number < SMALLEST:
        raise refuse("is absurdly small")
    return number


def _read_quantity(text: str, unit: str, refuse: _Refuse) -> float:
    if _NOT_FINITE.fullmatch(text):
        raise refuse("is not a finite number")
    number, suffix = _split(text, unit, refuse)
    try:
        quantity = _quantity()(f"{number} {suffix}")
    except ValueError:
        raise refuse(f"is not a number of {_UNIT_NAMES[unit]}") from None
    found = _SPELLINGS.get(quantity.units, quantity.units)
    if found == "" and unit == "Ω":
        found = unit
    if found == "":
        raise refuse("has no unit")
    if found != unit:
        wrong = "is not"
        if found in _UNIT_NAMES:
            wrong = f"is in {_UNIT_NAMES[found]} ({found}), not"
        raise refuse(f"{wrong} {'in ' if wrong == 'is not' else ''}{_UNIT_NAMES[unit]}")
    value = float(quantity)
    if value == 0 and re.search("[1-9]", re.split("[eE]", number)[0]):
        raise refuse("is absurdly small")  # too small for a float
    return value


def _split(text: str, unit: str, refuse: _Refuse) -> tuple[str, str]:
    """Number and suffix, the suffix with its scale factor and the unit in the usual spelling."""
    rkm = _RKM.fullmatch(text)
    if rkm and rkm[2] in _RKM_LETTERS.get(unit, {}):
        whole, letter, fraction, rest = rkm.groups()
        factor = _RKM_LETTERS[unit][letter]
        return f"{whole or '0'}.{fraction}", factor + (_SPELLINGS.get(rest, rest) or unit)
    plain = _NUMBER.fullmatch(text)
    if plain is None:
        raise refuse(f"is not a number of {_UNIT_NAMES[unit]}")
    suffix = plain[2] or ""
    return plain[1], _SPELLINGS.get(suffix, suffix)


def _read_tolerance(text: str, refuse: _Refuse) -> float:
    """A tolerance in per cent, as a part of one."""
    percent = re.fullmatch(r"([+-]?[0-9]+(?:\.[0-9]+)?) ?%", text.strip())
    if percent is None:
        raise refuse("has a tolerance that is not in per cent")
    part = float(percent[1]) / 100
    if not 0 <= part <= 1:
        raise refuse("has a tolerance outside 0 to 100 %")
    return part
