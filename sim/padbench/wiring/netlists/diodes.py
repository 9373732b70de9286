"""Diodes by their names: at which volts they conduct, and which are in an array.

breakdown("BZX84C2V7")                        # 2.565, in V; None of what is no zener diode
within(part)                                  # [("2", "1"), ("2", "5"), ("1", "5")]
"""

import math
import re
from collections.abc import Mapping
from typing import Any

from padbench.wiring.netlists.board import NAMES, Part

_LIMITS_VOLTS = re.compile(
    r"ZEN|^BZ|^MM[35BS]Z|^[TDP]D?Z|^ZM|^ZP|^1N(?:46[12][0-9]|47[2-6]|52[2-8]|7[45][0-9]|4370)|TVS|ESD|^SM[ABCF]J"
    r"|^P[46]KE"
)
_STANDS_OFF = re.compile("TVS|ESD|^SM[ABCF]J")
_VOLTS = re.compile(
    r"(?<![0-9.])([0-9]+)V([0-9]*)|([0-9]+\.[0-9]+) ?V|(?:J|KE|ZMM|ZP[DY])([0-9]+\.?[0-9]*)"
)
_PLAIN_VOLTS = re.compile(r"(?<![0-9.])([0-9]{1,2}\.[0-9]+)(?![0-9]| ?M?W)")
"""As in ESD5Z2.5T1G: of a part that is known to limit volts alone."""
_FROM_2V4 = "2.4 2.5 2.7 2.8 3.0 3.3 3.6 3.9 4.3 4.7 5.1 5.6 6.0 6.2 6.8 7.5"
_REGISTERED = {
    ("1N", 746, 759): "3.3 3.6 3.9 4.3 4.7 5.1 5.6 6.2 6.8 7.5",
    ("1N", 4370, 4372): "2.4 2.7 3.0",
    ("1N", 4614, 4627): "1.8 2.0 2.2 2.4 2.7 3.0 3.3 3.6 3.9 4.3 4.7 5.1 5.6 6.2",
    ("1N", 4728, 4764): "3.3 3.6 3.9 4.3 4.7 5.1 5.6 6.2 6.8 7.5",
    **dict.fromkeys((("1N", 5221, 5281), ("MMSZ", 5221, 5281), ("MMBZ", 5221, 5281)), _FROM_2V4),
}
"""Volts of zener diodes that are numbered from the first to the last; those left out have more
(from memory)."""


def _array(text: str) -> Mapping[str, Any]:
    """The row of an array of diodes; empty if it is none that is known."""
    value = re.sub("[^A-Z0-9]", "", text.upper())
    return next((row for row in NAMES["arrays"] if re.search(row["value"], value)), {})


def breakdown(text: str) -> float | None:
    """Least volts at which a zener or protection diode conducts; nan if its name does not tell.

    5 % below what the name says, 10 % above it where that is what it stands off (common practice).
    None of any other diode.
    """
    upper, row = text.upper().replace(",", "."), _array(text)
    if "stands-off" in row:
        return 1.1 * float(row["stands-off"])
    for (family, first, last), counted in _REGISTERED.items():
        number = re.match(f"{family}([0-9]+)", upper)
        if number and first <= int(number[1]) <= last:
            each = counted.split()
            return 0.95 * float(each[min(int(number[1]) - first, len(each) - 1)])
    found, limits = _VOLTS.search(upper), _LIMITS_VOLTS.search(upper)
    if "LED" in upper or not (found or limits):
        return None
    if not found:
        number = _PLAIN_VOLTS.search(upper)
        return _least(upper, float(number[1])) if number else math.nan
    whole, part, plain, family = found.groups()
    volts = float(f"{whole}.{part or 0}" if whole else plain or family)
    return _least(upper, volts)


def _least(upper: str, volts: float) -> float:
    return volts * (1.1 if _STANDS_OFF.search(upper) else 0.95)


def nameless_zener(text: str) -> bool:
    """Whether it is a zener diode whose name tells no volts; what stands off a line's is none."""
    volts = breakdown(text)
    return volts is not None and math.isnan(volts) and not _STANDS_OFF.search(text.upper())


def inside_joins(part: Part) -> list[tuple[str, str]]:
    """Pins of an array that are one line, which goes in at one and out at the other."""
    return [(one, other) for one, other in _array(part.value).get("joined", ())]


def within(part: Part) -> list[tuple[str, str]]:
    """Pins of anode and cathode of each diode in an array, by its value or names of pins.

    Empty if neither tells.
    """
    row = _array(part.value)
    if "pairs" in row:
        return [(anode, cathode) for anode, cathode in row["pairs"]]
    if row:
        kinds = {pin: kind for kind in ("lines", "ground", "supply") for pin in row.get(kind, ())}
    else:
        kinds = {
            pin: next((kind for kind, name in NAMES["array-pins"].items()
                       if re.fullmatch(name, part.functions.get(pin, "").upper())), "")
            for pin in part.pins
        }  # fmt: skip
    ends = {kind: [pin for pin in kinds if kinds[pin] == kind] for kind in {*kinds.values()}}
    if "" in ends or "ground" not in ends or "lines" not in ends:
        return []
    ups = [(pin, supply) for supply in ends.get("supply", []) for pin in ends["lines"]]
    downs = [*ends["lines"], *ends.get("supply", [])]
    return [*((ground, pin) for ground in ends["ground"] for pin in downs), *ups]
