"""What to change, as data; its sentences are made from it last, here.

remedy = Remedy("pull-up.value", 24.4e3, 1.2e6, "Ω", e12=(27e3, 33e3), kind="resistor")
remedy.says            # "pull-up.value from 24.4 kΩ to 1.2 MΩ would do; preferred: …"
Remedy("contacts.stuck", advice="clean", facts={"buttons": ("A",)}).says
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil, floor, log10
from typing import Literal

from padbench.core.units import show

RemedyKind = Literal["resistor", "size", "temperature", "count", "plain"]
"""What sort of value it is: a resistor and a size are sold in steps, a count is a whole number."""

NOTHING = "no single value of the sheet would mend this"
"""Said only where values were tried."""

WHICH_TIE = (
    "ground is what programs expect that read past the eighth bit; supply, where none does, makes a"
    " stopped read miss a press instead of showing one too many"
)
"""When which tie of the serial input is right (common practice; the sweep counts the second)."""

_SHOWN = 6


@dataclass(frozen=True, slots=True)
class Remedy:
    """A value of the sheet that would mend a finding, or what to do where it is no value.

    ``key`` is the sheet's, ``low`` and ``high`` bound the nominal values (in ``unit``) with which
    the finding holds, None for no bound; of a range, such as a temperature or the answer of a
    program, they bound the end that counts. ``e12`` and ``e24`` are the preferred values
    (IEC 60063) in it that break nothing else, ``sizes`` (W) the usual ones that are large enough.
    ``name`` is what people call the value (default: its key). Where it is no range, ``advice`` is
    one of `ADVICE`, and ``facts`` are what its text says. ``also`` are other values, each of which
    would mend the same alone.
    """

    key: str
    low: float | None = None
    high: float | None = None
    unit: str = ""
    e12: tuple[float, ...] = ()
    e24: tuple[float, ...] = ()
    sizes: tuple[float, ...] = ()
    kind: RemedyKind = "plain"
    name: str = ""
    advice: str = ""
    facts: Mapping[str, tuple[str | int, ...]] = field(default_factory=dict)
    also: tuple["Remedy", ...] = ()

    @property
    def says(self) -> str:
        """This one in words. Raises ``KeyError`` for an advice that `ADVICE` has not."""
        if self.advice:
            text = ADVICE[self.advice]
            return text if isinstance(text, str) else text(self)
        words = f"{self.name or self.key} {spelled_range(self.low, self.high, self.unit)} would do"
        if self.kind == "resistor":
            if not self.e24:
                return f"{words}; no preferred value in it suits everything else"
            return f"{words}; preferred: E12 {_some(self.e12)}; E24 {_some(self.e24)}"
        if self.kind == "size":
            sizes = ", ".join(show(size, "W") for size in self.sizes)
            return (
                f"{words}; usual sizes: {sizes}" if sizes else f"{words}; no usual size is so large"
            )
        return words

    @property
    def whole(self) -> str:
        """What this and each of the others say, in one text."""
        return "; or ".join([self.says, *(other.says for other in self.also)])


def _pin(remedy: Remedy) -> str:
    """Which pin of the package that is; a program has none."""
    return "".join(f", pin {number}" for number in remedy.facts["pin"])


def _places(remedy: Remedy) -> str:
    pairs = zip(remedy.facts["buttons"], remedy.facts["stages"], strict=True)
    return "connect " + joined([f"{button} to stage {stage}" for button, stage in pairs])


def _names(remedy: Remedy) -> str:
    return joined([str(name) for name in remedy.facts["buttons"]])


ADVICE: Mapping[str, str | Callable[[Remedy], str]] = {
    # Where values were tried, or none was.
    "none": NOTHING,
    "none-wider": "no single value of the sheet would give this more room",
    "none-tried": "no value of the sheet bears on this, so none was looked for",
    "none-of-reads": "with the sheet's own values it holds: it is the reads of that scenario which"
    " break it",
    "none-miswired": "no value was looked for: mend wiring.load first",
    "no-read-in-latch": "a routine that reads no port while its latch is high would do: store"
    " without index",
    # What to connect or to fit.
    "connect-buttons": _places,
    "stages": lambda remedy: "take {} or {} stages".format(
        ", ".join(map(str, remedy.facts["stages"][:-1])), remedy.facts["stages"][-1]
    ),
    "ground-serial": lambda remedy: f"ground the serial input{_pin(remedy)}",
    "fit-pull-up": "fit a resistor from each input to supply, 39 kΩ for example, and no wire",
    "inverter": lambda remedy: f"put an inverter between latch and the load pin{_pin(remedy)}",
    "no-inverter": lambda remedy: (
        f"connect latch without an inverter to the load pin{_pin(remedy)}"
    ),
    "other-register": "take the 4014 out and fit a 4021, which has the same pins",
    "own-figures": "write the part's own figures, from its maker's data sheet, in a parts file"
    " ([parts] file), or fit a part whose figures are known, or poll more slowly",
    "level-shifter": "put a level shifter between port and pad, or feed the pad with what"
    " the port's own chips run on",
    "clean": lambda remedy: f"clean or replace what closes {_names(remedy)}",
}
"""What is said where it is no range of a value, by its code."""


def joined(names: Sequence[str]) -> str:
    """``"A"``, ``"A and B"``, ``"A, B and C"``."""
    return " and ".join(names) if len(names) < 3 else f"{', '.join(names[:-1])} and {names[-1]}"


def spelled_range(low: float | None, high: float | None, unit: str) -> str:
    """A range in words, its ends rounded to the passing side: ``"from 24.4 kΩ up"``."""
    if low is None:
        return "of any value" if high is None else f"up to {_rounded(high, floor, unit)}"
    if high is None:
        return f"from {_rounded(low, ceil, unit)} up"
    return f"from {_rounded(low, ceil, unit)} to {_rounded(high, floor, unit)}"


def _rounded(value: float, towards: Callable[[float], int], unit: str) -> str:
    """Four digits, rounded so that what is shown would still do."""
    if unit == "°C":
        return f"{towards(value * 10) / 10:g} °C"
    if not unit:
        return f"{value:g}"
    step = 10.0 ** (floor(log10(value)) - 3)
    return show(towards(value / step) * step, unit, 4)


def _some(ohms: Sequence[float]) -> str:
    if not ohms:
        return "none"
    shown = ", ".join(show(value, "Ω") for value in ohms[:_SHOWN])
    return f"{shown} … {show(ohms[-1], 'Ω')}" if len(ohms) > _SHOWN else shown
