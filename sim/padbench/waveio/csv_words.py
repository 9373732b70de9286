"""What the words of a CSV file say of units and of the sample rate, where they leave no doubt.

    name_and_unit("Time (usec)")                                        # ("Time", "us")
    SECONDS["us"]                                                       # 1e-6
    stated_rate(["Made on;bench", "Time step;100;ns"]).hertz        # 1e7

Instruments and people write "us", "usec", "µsec", "microseconds", and "Sampling rate = 24 MHz",
"Sample Interval,1E-06,s", "Increment (us);0,1" and the like (common practice, no source). A rate
without a unit is not taken: nobody knows what it counts.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "ps": 1e-12, "fs": 1e-15}
"""Factors, by the name that `unit_named` gives."""
VOLTS = {"V": 1.0, "mV": 1e-3, "uV": 1e-6, "kV": 1e3}

_PREFIX = {
    **{"": "", "m": "m", "milli": "m", "u": "u", "µ": "u", "μ": "u", "micro": "u", "n": "n"},
    **{"nano": "n", "p": "p", "pico": "p", "f": "f", "femto": "f", "k": "k", "kilo": "k"},
}
_WORD = re.compile(
    r"(milli|micro|nano|pico|femto|kilo|[munpfkµμ])?[ -]?(s(?:ecs?|econds?)?|v(?:olts?)?)\.?"
)
_BRACKETS = re.compile(r"(.*?)\s*[\[({<]\s*(?:in\s+)?([^\])}>]*?)\s*[\])}>]\s*")
_IN = re.compile(r"(.*?)[\s_,;:-]+in[\s_]+(.+)", re.IGNORECASE)
_ONE_WORD = r"((?:(?i:milli|micro|nano|pico|femto|kilo)[ -])?[^\W\d_]+\.?)\s*"
_SLASH = re.compile(r"(.*?\S)\s*/\s*" + _ONE_WORD)
_AFTER = re.compile(r"(.*?)[\s_,:;.-]+" + _ONE_WORD)
_JOINED = re.compile(r"(time(?:stamp)?)([munp]s)", re.IGNORECASE)
_STATED = re.compile(
    r"""["#%;\s]*(?:horizontal|horz|time|x)(?:[\s_-]*(?:axis|scale|base))?[\s_-]*units?\b
    [\s:=,;"\[(]*(?P<word>[A-Za-zµμ.-]{1,14}(?:\s+seconds?)?)""",
    re.IGNORECASE | re.VERBOSE,
)


@dataclass(frozen=True, slots=True)
class StatedUnit:
    """What the preamble says of the time: ``unit`` a key of `SECONDS`, or the word as it stands."""

    line: int
    unit: str


def unit_named(word: str) -> str | None:
    """The unit of time or voltage that a word means, a key of `SECONDS` or `VOLTS`, or None.

    Nobody measures megaseconds or a lonely "M": capitals do not count.
    """
    match = _WORD.fullmatch(word.strip().lower())
    if match is None:
        return None
    unit = _PREFIX[match[1] or ""] + match[2][0].replace("v", "V")
    return unit if unit in SECONDS or unit in VOLTS else None


def name_and_unit(text: str) -> tuple[str, str]:
    """The name of a column without its unit, and the unit.

    What stands where a unit stands but is none is given as it is, and stays in the name; an empty
    unit where there is no such thing.
    """
    for pattern in (_BRACKETS, _IN, _SLASH, _AFTER, _JOINED):
        match = pattern.fullmatch(text)
        unit = match and unit_named(match[2])
        if match and unit and match[1].lower() != "p":  # p_s and P/S are a register's input
            return match[1], unit
    for pattern in (_BRACKETS, _IN, _SLASH):
        match = pattern.fullmatch(text)
        if match and match[1].strip() and match[2]:
            return text, match[2]
    return text, unit_named(text) or "" if len(text) > 1 else ""


def stated_unit(lines: Sequence[str]) -> StatedUnit | None:
    """The unit of time that the lines of a preamble say, the first of them line 1."""
    for number, line in enumerate(lines, 1):
        match = _STATED.match(line[:500])
        if match is not None:
            word = match["word"].strip(" .-")
            return StatedUnit(number, unit_named(word) or word)
    return None


_RATE = re.compile(
    r"""(?:(?P<rate>sampl(?:e|es|ing)[\s_-]*(?:rate|freq(?:uency)?))
      |(?P<interval>(?:sampl(?:e|ing)|time|horizontal|x)[\s_-]*
                    (?:interval|period|incr(?:ement)?|step)|increment)\b)
    \s*(?:[\[(]\s*(?P<before>[A-Za-zµμ/]{1,8})\s*[\])])?
    [\s:=,;"]*(?P<number>\d+(?:[.,]\d+)?(?:e[+-]?\d{1,3})?)
    [\s,;"\[(]*(?P<after>[A-Za-zµμ/]{1,8})?""",
    re.IGNORECASE | re.VERBOSE,
)
_HERTZ = re.compile(r"\s*([0-9.eE+]+)\s*([kKMG]?)(Hz|S/s|Sa/s|sps|Sps|SPS|)\s*")
_FACTOR = {"": 1.0, "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9}
_SLOWEST, _FASTEST = 1e-3, 1e12


@dataclass(frozen=True, slots=True)
class StatedRate:
    """``hertz`` is None where the words are there but do not say it clearly; ``why`` says so.

    A ``line`` of 0 is that of a file without lines.
    """

    line: int
    text: str
    hertz: float | None
    why: str = ""

    @property
    def says(self) -> str:
        """Where it stands, and what."""
        return f"line {self.line} says {self.text}" if self.line else f"the file says {self.text}"


def stated_rate(lines: Sequence[str]) -> StatedRate | None:
    """What the lines of a preamble say, the first of them line 1; None if nothing."""
    found: StatedRate | None = None
    for number, line in enumerate(lines, 1):
        match = _RATE.search(line[:500])
        if match is None:
            continue
        text = " ".join(match[0].split()).rstrip(' ,;(["')
        hertz = _hertz(match)
        if hertz is None:
            found = found or StatedRate(number, text, None, "without a unit that fits")
        elif found is None or found.hertz is None:
            found = StatedRate(number, text, hertz)
        elif abs(hertz - found.hertz) > 1e-3 * found.hertz:
            return StatedRate(number, text, None, f"where line {found.line} says otherwise")
    return found


def hertz_named(text: str) -> float | None:
    """Samples a second of a text such as 10M or 10 MS/s, None if it is none."""
    match = _HERTZ.fullmatch(text)
    try:
        return float(match[1]) * _FACTOR[match[2]] if match else None
    except ValueError:
        return None


def _hertz(match: re.Match[str]) -> float | None:
    number = float(match["number"].replace(",", "."))
    unit = match["before"] or match["after"] or ""
    if match["rate"]:
        hertz = (unit and hertz_named(f"{number} {unit}")) or 0.0
    else:
        seconds = number * SECONDS.get(unit_named(unit) or "", 0.0)
        hertz = 1 / seconds if seconds else 0.0
    return hertz if _SLOWEST <= hertz <= _FASTEST else None
