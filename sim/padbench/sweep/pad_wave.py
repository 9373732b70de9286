"""A case of a pad again, on the MyHDL model, for its wave."""

from padbench.model.bench import simulate
from padbench.pad import PadModel
from padbench.stimulus import PollTiming, ScriptedRead, Stimulus
from padbench.sweep.pad_cases import PadPart, moments
from padbench.timeline import Timeline

__all__ = ["TIMING", "moment_ps", "pad_wave"]

_US = 1_000_000

TIMING = PollTiming(
    latch_width=12 * _US,
    latch_to_clock=12 * _US,
    clock_low=4 * _US,
    clock_high=8 * _US,
    sample=2 * _US,
    extra_low=4 * _US,
    extra_high=8 * _US,
)
"""A slow read, in which a change fits between any two events with every limit of a part kept."""


def moment_ps(read: ScriptedRead, moment: int) -> int:
    """When in a read the change of a case comes: half-way before event ``moment``."""
    t = read.timing
    start = read.start + t.latch_width + t.latch_to_clock
    events = [read.start, read.start + t.latch_width]
    for bit in range(1, t.clocks + 1):
        if bit == read.stopped_bit:
            for _ in range(read.extra_clocks):
                events.append(start + t.extra_low)
                start += t.extra_low + t.extra_high
        events += [start + t.sample, start + t.clock_low]
        start += t.clock_low + t.clock_high
    assert len(events) + 1 == moments(t.clocks, read.stopped_bit, read.extra_clocks)
    before = events[moment - 1] if moment else read.start - 2 * _US
    after = events[moment] if moment < len(events) else before + 2 * _US
    return (before + after) // 2


def pad_wave(pad: PadModel, held: int, then: int, part: PadPart, clocks: int = 8) -> Timeline:
    """The read before and the read of the case, as `padbench.sweep.pad_cases` describes it."""
    timing = TIMING.with_clocks(clocks)
    first = ScriptedRead(100 * _US, timing, serial=part.tie)
    start = first.start + first.length + 100 * _US
    second = ScriptedRead(start, timing, part.stopped_bit, part.extra, part.tie)
    change = moment_ps(second, part.moment)
    moves = ((0, pad.stuck), (10 * _US, held | pad.stuck), (change, then | pad.stuck))
    end = second.start + second.length + 50 * _US
    return simulate(pad, Stimulus(moves, (first, second), end))
