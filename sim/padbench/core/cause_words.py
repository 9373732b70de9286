"""What a design or a pad looks like that has a fault, in words; one name for both.

SAYS["pad"]["no-shift"]         # "it does not shift at all: the clock does nothing"

What breaks in a soldered pad stands in ``parts/faults.toml``; which of that reads just like a cause
here is found by reading both (`padbench.cosim.physical`).
"""

from collections.abc import Mapping
from typing import Literal

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
