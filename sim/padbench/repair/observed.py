"""What somebody saw of a broken pad: reads while buttons were held, and readings of a meter.

    seen = read_lines(["idle=00000000", "A+B=A, A, none", "pin 9=0.1V", "core latch=open"], "…")
    seen.reads[0x80]                     # {0x80: 3}: bytes and how often, by what was held

Bits stand in the order of the wire: A, B, Select, Start, Up, Down, Left, Right. A scope, the swap
of a part and the beat of a flipping bit with the mains have words for readings: `WORDS`.
"""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import cache
from itertools import combinations
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

WORDS: Mapping[str, tuple[str, ...]] = {
    "scope": ("low", "high", "pulses", "wavers"),
    "swap": ("same", "cured"),
    "beat": ("no", "yes"),
}
"""What is seen where no number is read; the place of a word is the value of its `Meter`."""

PARTS = ("cable", "register")
"""What may be swapped for a good one."""

_NOTHING = ("idle", "none", "nothing", "released")
_PIN, _CORE = "pin [0-9]{1,2}(?: of register [1-9])?", f"(?:{'|'.join(CORES)})"
_PLACES = (
    rf"(?P<where>{_PIN}(?: to (?:supply|ground))?|scope (?:{_PIN}|latch|clock|data)|core {_CORE}"
    rf"|{_CORE} to {_CORE}|swap (?:{'|'.join(PARTS)})|beat \S+)"
    r"(?: (?:with )?(?P<held>\S+)(?: held)?)?"
)
_END = f"(?:[0-9]{{1,2}}|{_CORE}-{_CORE}|{_CORE})"
_SERIES = (
    r"(?P<head>(?:scope )?pins |cores |core pairs |scope )"
    rf"(?P<ends>{_END}(?:[ ,]+{_END})+)(?P<tail> .*)?"
)
"""Several places of one kind: one test, with a reading of each."""

EVERY = {"cores": CORES, "core pairs": tuple("-".join(two) for two in combinations(CORES, 2))}
"""Series that need no list of their ends where they have all."""

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


def kind_of(where: str) -> str:
    """How it is found out: "press", "volts", "ohms", or one of `WORDS`."""
    first = where.split(" ", 1)[0]
    if first in WORDS:
        return first
    volts = first.startswith("pin") and " to " not in where
    return "volts" if volts else "ohms" if where else "press"


@cache
def each_place(key: str) -> tuple[tuple[str, int], ...]:
    """Where, and what is held meanwhile: "pins 1 4 to supply" is "pin 1 to supply" and
    "pin 4 to supply". Raises `UnclearError`."""
    plain = " ".join(key.split())
    if plain.lower() in EVERY:
        plain += " " + " ".join(EVERY[plain.lower()])
    found = re.fullmatch(_SERIES, plain, re.IGNORECASE)
    if not found:
        return (_place(key),)
    head = re.sub("core pairs ", "", found["head"].lower()).replace("s ", " ")
    ends = (end.replace("-", " to ") for end in re.split("[ ,]+", found["ends"]))
    return tuple(_place(f"{head}{end}{found['tail'] or ''}") for end in ends)


@dataclass(frozen=True, slots=True)
class Meter:
    """One reading.

    ``where`` is "pin 9" (V against ground, supply on; "pin 9 of register 2" in a chain), or
    unplugged and in ohms "pin 9 to supply", "core latch" (from plug to pin) or "latch to clock"
    (between cores); or "scope data" (at the plug), "scope pin 9", "swap cable", "beat A".
    ``held`` is what was held, ``value`` infinite for no contact, a place in `WORDS` for a word.
    """

    where: str
    held: int
    value: float

    def __str__(self) -> str:
        """In words."""
        kind = kind_of(self.where)
        if kind in WORDS:
            amount = WORDS[kind][int(self.value)]
        elif self.value == float("inf"):
            amount = "no contact"
        else:
            amount = show(self.value, "V" if kind == "volts" else "Ω")
        held = f" with {spelled(self.held)} held" if self.held else ""
        return f"{self.where}{held}: {amount}"


@dataclass
class Observed:
    """Bytes by what was held, with how often, in the order in which they came; and readings.

    ``wrong`` is how often a byte was noted wrongly, ``serial`` the bit that a read has past the
    last stage. ``guessed``: nobody said what was held, it was taken from the reads themselves.
    """

    reads: dict[int, Counter[int]] = field(default_factory=dict)
    meter: list[Meter] = field(default_factory=list)
    wrong: float = WRONG_READ
    serial: int = 1
    guessed: bool = False

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
    if words[0] in ("pin", "pins", "core", "cores", *WORDS) or "to" in words:
        seen.meter += _readings(key, value)
        return
    if counted := re.fullmatch(r"(?i)(\S+) (drops|ghosts|skips|repeats)(?: ([1-7]))?", key):
        _add_counts(counted, value, seen)
        return
    held = held_named(key)
    for part in value.split(","):
        byte, times = _byte(part.strip())
        if seen.reads.get(held, Counter()).total() + times > MOST_READS:
            raise UnclearError(f"has more than {MOST_READS} reads of one press; give fewer")
        seen.add(held, byte, times)


def _add_counts(named: re.Match[str], value: str, seen: Observed) -> None:
    """ "A drops=3/60", "A ghosts=1/60", "A skips 3=2/60": reads that went wrong, of so many."""
    button, what, clock = held_named(named[1]), named[2].lower(), int(named[3] or 0)
    counts = re.fullmatch(r"([0-9]{1,6}) ?/ ?([0-9]{1,6})", value)
    if not counts or not 0 < int(counts[2]) <= MOST_READS or int(counts[1]) > int(counts[2]):
        raise UnclearError(f"{found_text(value)} is no share of reads; write for example 3/60")
    if (what in ("skips", "repeats")) != bool(clock) or not button:
        raise UnclearError(
            f'{found_text(named[0])} is no count; write for example "A drops=3/60" (held, not'
            ' read), "A ghosts=3/60" (read, not held), "A skips 2=3/60" or "A repeats 2=3/60"'
            " (the bits after clock 2 come too soon, or too late)"
        )
    held = 0 if what == "ghosts" else button
    after = (1 << 8 - clock) - 1
    wrong = {
        "drops": 0,
        "ghosts": button,
        "skips": button & ~after | button << 1 & after | seen.serial,
        "repeats": button & ~after | button >> 1 & after,
    }[what]
    times, whole = int(counts[1]), int(counts[2])
    for byte, count in ((wrong, times), (held, whole - times)):
        if count:
            seen.add(held, byte, count)


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


def _readings(key: str, value: str) -> Iterator[Meter]:
    """Of each place in turn; a dash is a place that was not measured."""
    places = each_place(key)
    values = [value]
    if len(places) > 1:
        values = [one.strip() for one in value.split("," if "," in value else None)]
    if len(values) != len(places):
        raise UnclearError(
            f"{found_text(key)} is {len(places)} places, and has {len(values)} readings; give one"
            " of each, in that order, - for none"
        )
    for (where, held), one in zip(places, values, strict=True):
        if one != "-" or len(places) == 1:
            yield _reading(where, held, one)


def _reading(where: str, held: int, value: str) -> Meter:
    kind = kind_of(where)
    if kind in WORDS:
        if value.lower() not in WORDS[kind]:
            raise UnclearError(f"{found_text(value)} is no outcome; use {', '.join(WORDS[kind])}")
        return Meter(where, held, float(WORDS[kind].index(value.lower())))
    if kind == "ohms":
        return Meter(where, held, _amount(value, "Ω", "0.5 Ω"))
    volts = _amount(value, "V", "0.1 V")
    if abs(volts) > MOST_VOLTS:
        raise UnclearError(
            f"{found_text(value)} is no voltage of a pad; write at most {MOST_VOLTS:g} V"
        )
    return Meter(where, held, volts)


def _place(key: str) -> tuple[str, int]:
    """Where something is found out, and what is held meanwhile."""
    found = re.fullmatch(_PLACES, " ".join(key.split()), re.IGNORECASE)
    where = found["where"].lower() if found else ""
    where = re.sub("pin 0?", "pin ", where.removesuffix(" of register 1"))
    where = where.replace(" of register 1 to", " to")
    if where.startswith("beat "):
        where = f"beat {_button(where[5:])}"
    elif not where.startswith("pin ") and " to " in where:
        where = " to ".join(sorted({*where.split(" to ")}, key=CORES.index))
    held = found["held"] if found else None
    if where in ("", *CORES) or (held and kind_of(where) not in ("volts", "scope")):
        raise UnclearError(
            f"{found_text(key)} is nothing to measure; write for example pin 9=0.1V, core"
            " latch=open, latch to clock=0.5, scope data=low, swap cable=cured or beat A=no"
        )
    return where, held_named(held) if held else 0


def pin_named(number: int, chip: int) -> str:
    """ "pin 9", of a chain's further registers "pin 9 of register 2"."""
    return f"pin {number}" + (f" of register {chip}" if chip > 1 else "")


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
