"""Which values of a sheet to try for which finding, the first to try first."""

from padbench.circuit.judge import GROUPS
from padbench.circuit.wires import WIRES

__all__ = ["CABLE_FINDINGS", "FOLLOWED", "KEEPS", "POLLED", "tried_first"]

_LATCH, _CLOCK, _UP = "resistors.latch-to-supply", "resistors.clock-to-supply", "pull-up.value"
_CABLE = ("cable.length", "cable.capacitance")
_LATCH_TIMES = (_LATCH, *_CABLE, "poll.latch-width", "register.shortest-pulse")
_CLOCK_TIMES = (_CLOCK, *_CABLE, "poll.clock-low", "poll.clock-high", "register.shortest-pulse")

_MENDS: dict[str, tuple[str, ...]] = {
    "levels.pressed": (_UP, "contacts.worn"),
    "levels.contact": (_UP, "contacts.worn"),
    "levels.released": (_UP, "contacts.open"),
    "edges.press": (_UP, "contacts.worn", "poll.period"),
    "edges.release": (_UP, "contacts.open", "poll.period"),
    "power.pull-up": (_UP, "pull-up.rating"),
    "latch.high": (_LATCH,),
    "latch.low": (_LATCH,),
    "latch.rise": (_LATCH, *_CABLE),
    "latch.fall": (_LATCH, *_CABLE),
    "latch.pulse": _LATCH_TIMES,
    "power.latch-resistor": (_LATCH, "resistors.rating"),
    "clock.high": (_CLOCK,),
    "clock.low": (_CLOCK,),
    "clock.rise": (_CLOCK, *_CABLE),
    "clock.fall": (_CLOCK, *_CABLE),
    "clock.low-pulse": (_CLOCK, *_CABLE, "poll.clock-low", "register.shortest-pulse"),
    "clock.high-pulse": (_CLOCK, *_CABLE, "poll.clock-high", "register.shortest-pulse"),
    "power.clock-resistor": (_CLOCK, "resistors.rating"),
    "data.low": ("port.*.data-pull-up", "port.*.data-pull-down"),
    "data.high": ("port.*.data-pull-down", "port.*.data-pull-up"),
    "data.rise": (*_CABLE, "poll.clock-high", "poll.sample", "port.*.input-capacitance"),
    "data.fall": (*_CABLE, "poll.clock-high", "poll.sample", "port.*.input-capacitance"),
    "data.first-bit": (
        *(*_CABLE, _LATCH, "register.first-bit"),
        *("poll.latch-width", "poll.latch-to-clock", "poll.sample"),
    ),
    "data.later-bits": (*_CABLE, _CLOCK, "register.next-bit", "poll.clock-high", "poll.sample"),
    "supply.idle": (_LATCH, _UP, "contacts.open", "port.*.data-pull-down"),
    "supply.all-held": (_UP, _LATCH, _CLOCK, "port.*.data-pull-down"),
    "cable.length": ("cable.length",),
    "firmware.poll": (
        *("register.next-bit", "register.first-bit", "register.shortest-pulse"),
        *("poll.clock-high", "poll.clock-low", "poll.latch-width", "poll.sample", *_CABLE),
    ),
    "timing.latch-arrives": _LATCH_TIMES,
    "timing.clock-arrives": _CLOCK_TIMES,
    "timing.latch-width": _LATCH_TIMES,
    "timing.clock-low": (_CLOCK, *_CABLE, "poll.clock-low", "register.shortest-pulse"),
    "timing.clock-high": (_CLOCK, *_CABLE, "poll.clock-high", "register.shortest-pulse"),
    "timing.clock-period": ("poll.clock-high", "poll.clock-low", "register.next-bit"),
    "timing.removal": (
        *(_LATCH, _CLOCK, *_CABLE, "poll.latch-to-clock", "poll.clock-low"),
        "register.shortest-pulse",
    ),
    "timing.sample-point": ("poll.sample", "poll.clock-low"),
}
_MENDS["timing.first-bit"] = _MENDS["data.first-bit"]
_MENDS["timing.later-bits"] = _MENDS["data.later-bits"]

KEEPS: dict[str, tuple[str, ...]] = {
    _UP: (*GROUPS["contacts"], *GROUPS["supply"]),
    _LATCH: (*GROUPS["latch"], "data.first-bit", *GROUPS["supply"]),
    _CLOCK: (*GROUPS["clock"], "data.later-bits", *GROUPS["supply"]),
    "port.*.data-pull-up": GROUPS["data"],
    "port.*.data-pull-down": (*GROUPS["data"], *GROUPS["supply"]),
}
"""What a preferred value of a resistor must not break."""

CABLE_FINDINGS = (
    *(f"{line}.{edge}" for line in ("latch", "clock") for edge in ("rise", "fall")),
    *("latch.pulse", "clock.low-pulse", "clock.high-pulse"),
    *("data.rise", "data.fall", "data.first-bit", "data.later-bits"),
)
"""What grows worse with the length of the cable."""

POLLED = (
    *("latch.pulse", "clock.low-pulse", "clock.high-pulse"),
    *("data.first-bit", "data.later-bits"),
)
"""What a program needs of a poll."""


FOLLOWED = (*POLLED, *WIRES)
"""What it takes for a program to follow a poll in every run."""


def tried_first(id_: str) -> tuple[str, ...]:
    """Keys in their order; a star stands for any kind of port."""
    return _MENDS.get(id_, ())
