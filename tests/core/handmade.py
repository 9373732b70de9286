"""One read drawn by hand, to the picosecond, as a simulation, an HDL run or a capture shows it.

The pad holds every other button, so the data line changes with the latch and with every clock.
"""

from dataclasses import dataclass, replace

import numpy as np

from padbench.core.decode import Names
from padbench.core.levels import HIGH, LOW, UNKNOWN
from padbench.core.timeline import Timeline, Wire, Word
from padbench.core.timing import PinNames

NS = 1_000
START = 1_000 * NS
INPUTS = 0b01010101
"""Stage 8 is low, so the first button is pressed; then they take turns."""


@dataclass(frozen=True)
class Style:
    """What a kind of timeline calls its wires; HDL and captures do not tell when one sampled."""

    names: Names
    pins: PinNames

    def line(self, line: str) -> str:
        """The name of latch, clock, data (the console's), load, pad-clock, inputs or sample."""
        return {
            **{name: getattr(self.names, name) for name in ("latch", "clock", "data")},
            "sample": self.names.sample or self.names.clock,
            "load": self.pins.load,
            "pad-clock": self.pins.clock,
            "inputs": self.pins.inputs,
        }[line]


STYLES = {
    "simulation": Style(Names(), PinNames()),
    "hdl": Style(
        Names("tb.latch", "tb.clock", "tb.data", None),
        PinNames("tb.dut.load", "tb.dut.clk", "tb.dut.buttons"),
    ),
    # One probe a line, and none inside the pad.
    "capture": Style(Names("latch", "clock", "data", None), PinNames("latch", "clock", "none")),
}
LINES = ("latch", "clock", "data", "sample", "load", "pad-clock", "inputs")


def wave(
    style: Style = STYLES["simulation"],
    *,
    latch: int = 1_000 * NS,
    gap: int = 1_000 * NS,
    low: int = 500 * NS,
    high: int = 500 * NS,
    sample: int | None = None,
    clocks: int = 8,
    answer: int = 100 * NS,
    moved: int | None = 500 * NS,
    lost: tuple[int, int] = (0, 0),
    glitch: int | None = None,
) -> Timeline:
    """All times in picoseconds; as given everything holds.

    The latch rises at `START`. ``sample``: behind each fall of the clock, None: at its rise.
    ``answer``: from latch and clock to the data line. ``moved``: the input of stage 1 changes so
    long before the load ends. ``lost``: so many of the last edges of latch and clock never arrive.
    ``glitch``: the data line goes high so long after the latch, for no reason.
    """
    fall = START + latch
    falls = [fall + gap + n * (low + high) for n in range(clocks)]
    rises = [at + low for at in falls]
    sent = {
        "latch": [(0, LOW), (START, HIGH), (fall, LOW)],
        "clock": [(0, HIGH), *sorted([(t, LOW) for t in falls] + [(t, HIGH) for t in rises])],
    }
    levels = [(at + answer, number % 2) for number, at in enumerate([START, *rises])]
    if glitch is not None:
        levels = sorted([*levels, (START + glitch, HIGH)])
    end = (rises[-1] if rises else fall) + 10_000 * NS
    wires = {
        style.names.latch: Wire.of(sent["latch"]),
        style.names.clock: Wire.of(sent["clock"]),
        style.names.data: Wire.of([(0, HIGH), *levels]),
    }
    for pin, line, gone in zip(
        (style.pins.load, style.pins.clock), ("latch", "clock"), lost, strict=True
    ):
        if pin not in wires:
            wires[pin] = Wire.of(sent[line][: len(sent[line]) - gone])
    words = {}
    if style.pins.inputs != "none":
        moves = [] if moved is None else [(fall - moved, INPUTS ^ 1)]
        words[style.pins.inputs] = Word.of(8, [(0, INPUTS), *moves])
    events = {}
    if style.names.sample is not None:
        behind = low if sample is None else sample
        events[style.names.sample] = np.asarray([at + behind for at in falls], np.int64)
    return Timeline(end, wires, words, events)


def without(timeline: Timeline, name: str) -> Timeline:
    """As if nobody had looked at that wire."""
    kept = [
        {key: value for key, value in group.items() if key != name}
        for group in (timeline.wires, timeline.words, timeline.events)
    ]
    return Timeline(timeline.end_ps, *kept)


def silenced(timeline: Timeline, name: str) -> Timeline:
    """As if that wire were never at a level."""
    changed = {
        "wires": {name: Wire.of([(0, UNKNOWN)])},
        "words": {name: Word.of(8, [(0, None)])},
        "events": {name: np.zeros(0, np.int64)},
    }
    return replace(
        timeline,
        **{
            group: {**getattr(timeline, group), **new}
            for group, new in changed.items()
            if name in getattr(timeline, group)
        },
    )


def ps(seconds: float) -> int:
    """Seconds of a finding in picoseconds, to the very one."""
    return round(seconds * 1e12)
