"""What somebody saw of a broken pad: reads while buttons were held, and readings of a meter.

    seen = read_lines(["idle=00000000", "A+B=A, A, none", "pin 9=0.1V", "core latch=open"], "…")
    seen.reads[0x80]                     # {0x80: 3}: bytes and how often, by what was held

Bits stand in the order of the wire: A, B, Select, Start, Up, Down, Left, Right.
"""

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import NamedTuple

from padbench.core.buttons import BUTTONS, byte_of, spelled
from padbench.core.units import UnitError, found_text, read_value, show
from padbench.parts.fault_kinds import CORES

MOST_READS = 100_000
"""Of one held state; more say nothing more."""

WRONG_READ, WRONG_IN_CAPTURE = 0.05, 1e-6
"""How often a person, and a machine, notes a byte wrongly (assumed)."""

MOST_VOLTS = 30.0
"""Beyond it a reading is a slip (assumed): the registers end at 20 V or below."""

_NOTHING = ("idle", "none", "nothing", "released")
_EXAMPLE = 'write for example "A=10000000", "A+B=A", "idle=none" or "pin 9=0.1V"'


class UnclearError(ValueError):
    """What was written cannot be read: place, what is wrong, what would do."""


class Read(NamedTuple):
    """A byte that came so many times while ``held`` was held."""

    held: int
    byte: int
    times: int

    def __str__(self) -> str:
        """In words."""
        often = f" {self.times} times" if self.times > 1 else ""
        return f"{spelled(self.held)} held read {spelled(self.byte)}{often}"


def is_volts(where: str) -> bool:
    """Whether volts are measured there, and not ohms."""
    return where.startswith("pin ") and " to " not in where


@dataclass(frozen=True, slots=True)
class Meter:
    """One reading.

    ``where`` is "pin 9" (V against ground, supply on), or unplugged and in ohms "pin 9 to supply",
    "core latch" (from plug to pin) or "latch to clock" (between cores); ``held`` is what was held,
    ``value`` infinite for no contact.
    """

    where: str
    held: int
    value: float

    def __str__(self) -> str:
        """In words."""
        unit = "V" if is_volts(self.where) else "Ω"
        amount = "no contact" if self.value == float("inf") else show(self.value, unit)
        held = f" with {spelled(self.held)} held" if self.held else ""
        return f"{self.where}{held}: {amount}"


@dataclass
class Observed:
    """Bytes by what was held, with how often, in the order in which they came; and readings.

    ``wrong`` is how often a byte was noted wrongly.
    """

    reads: dict[int, Counter[int]] = field(default_factory=dict)
    meter: list[Meter] = field(default_factory=list)
    wrong: float = WRONG_READ

    def add(self, held: int, byte: int, times: int = 1) -> None:
        """A read, or the same one several times."""
        self.reads.setdefault(held, Counter())[byte] += times

    @property
    def count(self) -> int:
        """Reads in all."""
        return sum(counter.total() for counter in self.reads.values())

    @property
    def unsteady(self) -> list[int]:
        """Held states that read as more than one byte."""
        return [held for held, counter in self.reads.items() if len(counter) > 1]

    def pairs(self) -> Iterator[Read]:
        """What was read, in the order in which it first came."""
        for held, counter in self.reads.items():
            for byte, times in counter.items():
                yield Read(held, byte, times)


def read_lines(lines: Iterable[str], place: str, into: Observed | None = None) -> Observed:
    """Observations, one a line; empty ones and what follows a # are left out.

    ``place`` says where they stand, with ``{}`` for the number of the line. Raises `UnclearError`.
    """
    seen = Observed() if into is None else into
    for number, whole in enumerate(lines, 1):
        line = whole.split("#")[0].strip()
        if not line:
            continue
        try:
            _take(line, seen)
        except UnclearError as error:
            raise UnclearError(f"{place.format(number)}: {error}") from None
    return seen


def _take(line: str, seen: Observed) -> None:
    key, equals, value = (part.strip() for part in line.partition("="))
    if not equals or not key or not value:
        raise UnclearError(f"{found_text(line)} is no pair; {_EXAMPLE}")
    words = key.lower().split()
    if words[0] in ("pin", "core") or "to" in words:
        seen.meter.append(_reading(key, value))
        return
    held = held_named(key)
    for part in value.split(","):
        byte, times = _byte(part.strip())
        if seen.reads.get(held, Counter()).total() + times > MOST_READS:
            raise UnclearError(f"has more than {MOST_READS} reads of one press; give fewer")
        seen.add(held, byte, times)


def held_named(text: str) -> int:
    """The byte of buttons joined by plus signs; "idle" or "none" for nothing."""
    if text.strip().lower() in _NOTHING:
        return 0
    return byte_of(_button(word.strip()) for word in text.split("+"))


def _button(word: str) -> str:
    for name in BUTTONS:
        if word.lower() == name.lower():
            return name
    near = get_close_matches(word.title(), [*BUTTONS, *_NOTHING], 1)
    raise UnclearError(
        f"{found_text(word)} is no button; "
        + (f"try {near[0]}" if near else f"use {', '.join(BUTTONS)}")
    )


def _byte(text: str) -> tuple[int, int]:
    """A byte and how often it came: ``10000000``, ``0x80``, ``A+B``, ``none``, ``A x3``."""
    body, times = text, 1
    counted = re.fullmatch(r"(.*\S)\s*[x×*]\s*([0-9]{1,6})", text)
    if counted and not re.fullmatch(r"0x[0-9a-fA-F]+", text):
        body, times = counted[1], int(counted[2])
    if times < 1:
        raise UnclearError(f"{found_text(text)} came no time; leave it out")
    if re.fullmatch("[01]{8}", body):
        return int(body, 2), times
    if re.fullmatch("0[xX][0-9a-fA-F]{2}", body):
        return int(body, 16), times
    if body and body[0].isdigit():
        raise UnclearError(
            f"{found_text(body)} is no byte; write eight bits, A first, for example 10000000"
        )
    if body.lower() in ("all", "all eight"):
        return 0xFF, times
    return held_named(body), times


def _reading(key: str, value: str) -> Meter:
    words = key.split()
    if across := re.fullmatch(r"(?i)pin ([0-9]{1,2}) to (supply|ground)", " ".join(words)):
        where = f"pin {int(across[1])} to {across[2].lower()}"
        return Meter(where, 0, _amount(value, "Ω", "39k"))
    if pin := re.fullmatch(r"(?i)pin ([0-9]{1,2})(?: (\S.*))?", " ".join(words)):
        held = held_named(re.sub(r"(?i)^with | held$", "", pin[2])) if pin[2] else 0
        volts = _amount(value, "V", "0.1 V")
        if abs(volts) > MOST_VOLTS:
            raise UnclearError(
                f"{found_text(value)} is no voltage of a pad; write at most {MOST_VOLTS:g} V"
            )
        return Meter(f"pin {int(pin[1])}", held, volts)
    words = [word.lower() for word in words]
    if len(words) == 2 and words[0] == "core" and words[1] in CORES:
        return Meter(f"core {words[1]}", 0, _amount(value, "Ω", "0.5 Ω"))
    if len(words) == 3 and words[1] == "to" and words[0] != words[2] and {*words[::2]} <= {*CORES}:
        one, other = sorted({words[0], words[2]}, key=CORES.index)
        return Meter(f"{one} to {other}", 0, _amount(value, "Ω", "0.5 Ω"))
    raise UnclearError(
        f"{found_text(key)} is nothing to measure; write for example pin 9=0.1V, core latch=open"
        " or latch to clock=0.5"
    )


def _amount(value: str, unit: str, example: str) -> float:
    if unit == "Ω" and value.lower() in ("open", "none", "no contact"):
        return float("inf")
    try:
        return read_value(re.sub("[Oo]hm", "Ω", value), unit, example=example).nominal
    except UnitError as error:
        raise UnclearError(f"{found_text(value)} {error.wrong}; {error.instead}") from None


def presses_named(text: str) -> list[int]:
    """ "A, B, Select": what was held, one after the other. Raises `UnclearError`."""
    return [held_named(word) for word in re.split("[,;]", text) if word.strip()]
