"""The sample rate that the preamble of a CSV file may state, where its words leave no doubt.

    stated_rate(["Model;Bench", "Sample interval;100;ns"]).hertz        # 1e7

Instruments write "Samplerate: 24 MHz", "Sample Interval,1E-06,s", "Increment (us);0,1" and the like
(common practice, no source). A number without a unit is not taken: nobody knows what it counts.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["StatedRate", "stated_rate"]

_STATED = re.compile(
    r"""(?:(?P<rate>sampl(?:e|es|ing)[\s_-]*(?:rate|freq(?:uency)?))
      |(?P<interval>(?:sampl(?:e|ing)|time|horizontal|x)[\s_-]*
                    (?:interval|period|incr(?:ement)?|step)|increment)\b)
    \s*(?:[\[(]\s*(?P<before>[A-Za-zµμ/]{1,8})\s*[\])])?
    [\s:=,;"]*(?P<number>\d+(?:[.,]\d+)?(?:e[+-]?\d{1,3})?)
    [\s,;"\[(]*(?P<after>[A-Za-zµμ/]{1,8})?""",
    re.IGNORECASE | re.VERBOSE,
)
_RATE_UNIT = re.compile(r"([kKMG]?)(?:Hz|S/s|Sa/s|sps|Sps|SPS)")
_TIME_UNIT = re.compile(r"([munpµμ]?)(?:s|sec|seconds?)")
_FACTOR = {"": 1.0, "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9}
_PART = {"": 1.0, "m": 1e-3, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "n": 1e-9, "p": 1e-12}
_SLOWEST, _FASTEST = 1e-3, 1e12


@dataclass(frozen=True, slots=True)
class StatedRate:
    """``hertz`` is None where the words are there but do not say it clearly; ``why`` says so."""

    line: int
    text: str
    hertz: float | None
    why: str = ""


def stated_rate(lines: Sequence[str]) -> StatedRate | None:
    """What the lines of a preamble say, the first of them line 1; None if nothing."""
    found: StatedRate | None = None
    for number, line in enumerate(lines, 1):
        match = _STATED.search(line[:500])
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


def _hertz(match: re.Match[str]) -> float | None:
    number = float(match["number"].replace(",", "."))
    unit = match["before"] or match["after"] or ""
    if match["rate"]:
        fits = _RATE_UNIT.fullmatch(unit)
        hertz = number * _FACTOR[fits[1]] if fits else 0.0
    else:
        fits = _TIME_UNIT.fullmatch(unit)
        hertz = 1 / (number * _PART[fits[1]]) if fits and number else 0.0
    return hertz if _SLOWEST <= hertz <= _FASTEST else None
