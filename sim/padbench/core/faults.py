"""Names and sentences of faults: what a core shows, and where a pad is broken.

    SAYS["pad"]["no-shift"]         # what a design or a pad shows that has it, in words
    KINDS["core-open"].says         # a place that is broken, with fields in braces
    KINDS["core-open"].mend         # what to do about it

`SAYS` are logical faults, as comparing reads shows them; `KINDS` are physical ones. What a physical
fault looks like from outside is said by `SAYS`, so that one fault has one name for both.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

__all__ = ["CORES", "KINDS", "SAYS", "Kind", "Role"]

Role = Literal["pad", "reader"]

SAYS: Mapping[Role, Mapping[str, str]] = {
    "pad": {
        "order-reversed": "the order of the bits is reversed",
        "data-inverted": "the data line stands the other way up: pressed is low",
        "buttons-inverted": "the buttons are taken the other way up: pressed is low at the inputs",
        "latch-inverted": "the latch is taken the other way up: it loads while the latch is low",
        "wrong-edge": "it shifts on the falling clock edge, not on the rising",
        "both-edges": "it shifts on both edges of the clock",
        "synchronous-load": "it loads on a clock edge; the load must not need the clock",
        "load-on-rise": "it is not transparent while latched: it loads when the latch rises, and "
        "not after",
        "one-bit-late": "the output comes one bit late: the first bit needs a clock to appear",
        "one-bit-early": "the output comes one bit early: the first is missing",
        "first-clock-lost": "the first clock after the latch does not shift",
        "no-shift": "it does not shift at all: the clock does nothing",
        "no-load": "it does not load at all: the latch does nothing",
        "data-low": "the data line is always low",
        "data-high": "the data line is always high",
        "stages-missing": "it has {stages} stages: the last button is missing",
        "stages-extra": "it has {stages} stages: one too many {place} bit",
        "serial-high": "the serial input is high: past the end reads not pressed",
        "serial-low": "the serial input is low: past the end reads pressed",
        "serial-ring": "the serial input gets the register's own output",
        "order-swapped": "{names[0]} and {names[1]} are swapped",
        "input-stuck": "{name} always reads as {state}",
        "stage-stuck": "stage {stage} is stuck {level}",
        "unknown-level": "the data line is at no level (x or z) when sampled",
        "extra-clocks-lost": "it loses clocks: one that comes soon after another does not shift",
        "remembers": "it remembers: a button that was down in the read before still reads as "
        "pressed",
        "masked": "{names[0]} masks {names[1]}: while the one is down, the other reads as not "
        "pressed",
        "sleeps": "it sleeps: only reads after {pause} or more without a latch are wrong",
        "slow-answer": "it answers too late: up to {answer} after the edge, longer than the poll "
        "leaves",
        "serial-open": "the serial input is at no level, and so is what follows the buttons",
    },
    "reader": {
        "order-reversed": "the order of the bits is reversed",
        "data-inverted": "the data line is taken the other way up",
        "one-bit-late": "it samples one bit late: the first bit is lost",
        "one-bit-early": "it samples one bit early: the last bit is lost",
        "bit-stuck": "{name} always reads as {state}",
        "order-swapped": "{names[0]} and {names[1]} are swapped",
        "held-stuck": "the byte offered never changes",
        "one-poll-late": "it offers the byte of the poll before",
        "no-strobe": "it never offers a byte: valid does not rise",
        "no-compare": "it offers a byte although its reads differ",
        "byte-not-kept": "the byte does not stand until the next is offered",
        "no-latch": "it makes no latch",
        "latch-inverted": "its latch stands the other way up: it idles high",
        "clock-inverted": "its clock stands the other way up: it idles low",
        "valid-inverted": "its valid stands the other way up: it idles high",
        "sample-late": "it takes its samples late: a pad that answers at once shows the next bit "
        "by then",
        "clock-count": "it makes {clocks} clocks in a read, not 8",
    },
}
"""Role of the design, id of the cause, sentence."""

CORES = ("supply", "ground", "latch", "clock", "data")
"""The five that a pad uses (common practice)."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of physical fault.

    ``says``, ``mend`` and ``check`` have fields: ``at`` and ``to`` (button, core or stage),
    ``level``, ``pin`` and ``other`` (pins of the register), ``ohms`` (what the sheet has there),
    ``part``. ``at`` and ``to`` say what those name: "button", "core", "line" (latch or clock),
    "stage" or "" for nothing. ``common`` orders what nothing tells apart: 3 wears and breaks, 2
    joints and solder, 1 the register itself and mistakes of a repair (common practice, no source).
    ``looks`` is the id in ``SAYS["pad"]`` of what it looks like, if that has one.
    """

    says: str
    mend: str
    check: str
    at: str = ""
    to: str = ""
    common: int = 2
    level: bool = False
    ohms: bool = False
    looks: str = ""


_HOLD = "hold {at}: only {at} reads as pressed"
_ALL = "hold each button alone: each reads as itself"
KINDS: Mapping[str, Kind] = {
    "contact-dead": Kind(
        "the contact of {at} never closes",
        "clean pad and rubber of {at} with alcohol; if its carbon is gone, renew it; look for a"
        " crack from there to pin {pin}",
        _HOLD,
        "button",
        common=3,
        looks="input-stuck",
    ),
    "contact-stuck": Kind(
        "the contact of {at} is always closed",
        "free the button, clean out what bridges the contact of {at}",
        "hold nothing: nothing reads as pressed",
        "button",
        common=3,
        looks="input-stuck",
    ),
    "contact-worn": Kind(
        "the contact of {at} is worn: it drops out, or closes with kilohms only",
        "clean pad and rubber of {at}; renew the carbon if more than a few kilohms are left",
        "hold {at} for a minute: it never drops out",
        "button",
        common=3,
        ohms=True,
    ),
    "contact-flickers": Kind(
        "the contact of {at} closes by itself now and then: dirt or damp in it",
        "wash the contact of {at} with alcohol and dry it",
        "hold nothing for a minute: {at} never reads as pressed",
        "button",
        common=3,
    ),
    "pull-up-missing": Kind(
        "the pull-up of {at} is missing or has a cold joint: nothing lifts pin {pin}",
        "fit {ohms} from pin {pin} to supply, or solder it again",
        "supply on, {at} up: pin {pin} stands at supply",
        "button",
    ),
    "pull-up-wrong": Kind(
        "the pull-up of {at} has a wrong value: {value} where {ohms} belongs",
        "fit {ohms} from pin {pin} to supply",
        "supply off: {ohms} from pin {pin} to supply",
        "button",
        ohms=True,
    ),
    "input-open": Kind(
        "pin {pin}, the input of {at}, is not connected",
        "solder pin {pin} again, and mend the track to it",
        _HOLD,
        "button",
    ),
    "input-grounded": Kind(
        "pin {pin}, the input of {at}, is shorted to ground",
        "find the solder or dirt between pin {pin} and ground, and remove it",
        "supply off, {at} up: pin {pin} to ground has at least the pull-up's ohms",
        "button",
        looks="input-stuck",
    ),
    "input-at-supply": Kind(
        "pin {pin}, the input of {at}, is shorted to supply; do not hold {at}, which would short"
        " the supply",
        "find the solder between pin {pin} and supply, and remove it",
        "supply off: {ohms} from pin {pin} to supply",
        "button",
        looks="input-stuck",
    ),
    "inputs-shorted": Kind(
        "the inputs of {at} and {to}, pins {pin} and {other}, are bridged",
        "remove what joins pins {pin} and {other}, or the contacts of {at} and {to}",
        "hold {at}, then {to}: each reads alone",
        "button",
        "button",
    ),
    "core-open": Kind(
        "the {at} core of the cable is broken, or loose at the plug",
        "mend the {at} core: cut the cable back behind the break, mostly at its ends, or renew it",
        _ALL,
        "core",
        common=3,
    ),
    "core-loose": Kind(
        "the {at} core makes contact only now and then",
        "bend the cable along its length while reading: cut it back where that matters; bend the"
        " plug's springs",
        _ALL + ", while the cable is bent",
        "core",
        common=3,
    ),
    "cores-shorted": Kind(
        "the {at} core is shorted to the {to} core",
        "part the cores at both ends of the cable; if they touch inside, renew it",
        "unplugged: no contact between the two cores",
        "core",
        "core",
    ),
    "cores-swapped": Kind(
        "the {at} and {to} cores are swapped",
        "find each core with the meter and swap {at} and {to}; never trust colours",
        "unplugged: each core goes to its own pin",
        "core",
        "core",
        1,
    ),
    "joint-open": Kind(
        "the joint of pin {pin} ({at}) is open",
        "solder pin {pin} again",
        _ALL,
        "core",
    ),
    "resistor-missing": Kind(
        "the resistor from {at} to supply is missing or has a cold joint",
        "fit {ohms} from {at} to supply, or solder it again",
        _ALL + ", on a port that only pulls down",
        "line",
    ),
    "clock-noisy": Kind(
        "the register sees clocks that are none: the clock line rings, or its edge is slow",
        "look at the clock's ground and joints; 100 nF from supply to ground at the register",
        _ALL,
    ),
    "stage-stuck": Kind(
        "stage {at} of the register is stuck {level}",
        "fit another {part}",
        _ALL,
        "stage",
        common=1,
        level=True,
        looks="stage-stuck",
    ),
    "output-stuck": Kind(
        "the register's output, pin {pin}, is stuck {level}",
        "fit another {part}, once no short of pin {pin} is left",
        _ALL,
        common=1,
        level=True,
    ),
    "register-no-load": Kind(
        "the register does not load, though the latch reaches pin {pin}",
        "fit another {part}",
        _ALL,
        common=1,
        looks="no-load",
    ),
    "register-no-shift": Kind(
        "the register does not shift, though the clock reaches pin {pin}",
        "fit another {part}",
        _ALL,
        common=1,
        looks="no-shift",
    ),
    "part-synchronous": Kind(
        "the register is of the wrong family: one that loads on a clock edge (4014)",
        "fit a {part}",
        _ALL,
        common=1,
        looks="synchronous-load",
    ),
    "part-inverted": Kind(
        "the register is of the wrong family: one that loads while the latch is low",
        "fit a {part}",
        _ALL,
        common=1,
        looks="latch-inverted",
    ),
    "serial-open": Kind(
        "the serial input, pin {pin}, is open",
        "tie pin {pin} to {part}",
        "supply on: pin {pin} stands at {part}",
        looks="serial-open",
    ),
}
"""Every kind of physical fault, by the word that a sheet uses."""
