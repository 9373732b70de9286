"""What the rules of the wires will measure in a run, foretold without one: ``timing.*``.

A run has two corners (see `padbench.circuit.pad_model`): a fast one without delays, with the poll's
longest times, and a slow one with the lines' latest edges, with its shortest. The worse of the two
counts. This is what a remedy for such a finding is looked for with; the tests hold it to runs, rule
by rule.
"""

from collections.abc import Callable, Iterator
from typing import Literal

import numpy as np

from padbench.circuit.circuits import Circuits, each
from padbench.circuit.design import Array, Design
from padbench.circuit.quantity import Quantity
from padbench.core.stimulus import CUT_AFTER, POLL_TIMES, cut_away, until_cut
from padbench.core.timing import RULES

NOT_FORETOLD = {
    "timing.setup-parallel": "the bench itself presses that near to the end of the load, whatever"
    " the sheet says",
}
"""Rules of `padbench.core.timing` without a forecast, and why."""


class _Moments:
    """What is measured at one corner of a run, in picoseconds, shape (n,).

    The poll's times are at one of their ends, the edges at their latest, or none is late. An edge
    that never comes is infinitely late. ``wide``, ``low`` and ``high`` are pulses at the register,
    ``period`` and ``apart`` lie between clocks and between latches, ``removal`` and ``at_load_end``
    between the end of the load and the clock; the samples are counted from what brings their bit.
    """

    def __init__(self, design: Design, end: Literal["", "_high"], late: Circuits | None) -> None:
        latch_width, latch_to_clock, clock_low, clock_high, sample = (
            _ps(getattr(design, name + end)) for name in POLL_TIMES
        )
        edges = [np.zeros(len(design))] * 4
        if late is not None:
            lines = (late.latch, late.clock)
            edges = [_latest(way) for one in lines for way in (one.rise_high, one.fall_low)]
        self.latch_rise, self.latch_fall, self.clock_rise, self.clock_fall = edges
        self.period = clock_low + clock_high
        self.wide = latch_width - self.latch_rise + self.latch_fall
        # A read cut off, or one as short as the poll's.
        cut = until_cut(latch_to_clock, clock_low, clock_high)
        whole = latch_to_clock + design.clocks * self.period
        self.apart = np.minimum(cut, whole) - self.latch_fall + self.latch_rise
        self.low = clock_low - self.clock_fall + self.clock_rise
        # The high part of a read that is cut off ends with the first clock of the next one.
        left = clock_high - cut_away(clock_high) + latch_width
        cut = np.where(design.clocks >= CUT_AFTER, left + latch_to_clock, np.inf)
        self.high = np.minimum(clock_high, cut) - self.clock_rise + self.clock_fall
        # To the clock's fall, or from its last rise.
        self.at_load_end = np.minimum(
            latch_to_clock + self.clock_fall - self.latch_fall,
            left + self.latch_fall - self.clock_rise,
        )
        self.removal = latch_to_clock + clock_low - self.latch_fall + self.clock_rise
        self.before_rise = clock_low - sample
        # One after the rise of its clock takes the next bit, if any, unless a bit is held.
        after = (sample > clock_low) & (design.hold <= 0)
        self.first_sample = np.where(after, np.inf, latch_width + latch_to_clock + sample)
        self.next_sample = sample + np.where(after, -clock_low, clock_high)


def forecasts() -> Iterator[Quantity]:
    """A row for each rule: seconds, and a number for clocks; each has to be the limit at least.

    Whether all edges arrive is foretold by the narrowest gap between two, of a picosecond or more.
    """

    def stretched(field: str) -> Callable[[Circuits], Array]:
        return lambda c: _ps(getattr(c.design, field) * np.max(c.stretched, axis=1))

    def one(c: Circuits) -> Array:
        return np.ones(len(c.design))

    def width(m: _Moments) -> Array:
        return np.minimum(m.wide, m.apart)

    # A sample at the very moment still sees the old level; a second is for ever, as in a run.
    def first_answer(c: Circuits) -> Array:
        return _latest(np.minimum(c.answers[0], 1.0)) + _latest(c.latch.rise_high) + 1

    def answer(c: Circuits) -> Array:
        return _latest(np.minimum(c.answers[1], 1.0)) + _latest(c.clock.rise_high) + 1

    yield _row("latch-arrives", "latch", width, one)
    yield _row("clock-arrives", "clock", lambda m: np.minimum(m.low, m.high), one)
    yield _row("latch-width", "latch", lambda m: m.wide, stretched("load_min"))
    yield _row("clock-low", "clock", lambda m: m.low, stretched("clock_min"))
    yield _row("clock-high", "clock", lambda m: m.high, stretched("clock_min"))
    yield _row("clock-period", "clock", lambda m: m.period, stretched("clock_period"))
    yield _row("removal", "latch", lambda m: m.removal, stretched("removal"))
    yield _row(
        *("clock-at-load-end", "latch", lambda m: m.at_load_end),
        lambda c: np.where(c.design.clock_at_load_end > 0, 1.0, -np.inf),
    )
    yield _row("first-bit", "latch", lambda m: m.first_sample, first_answer)
    yield _row("later-bits", "clock", lambda m: m.next_sample, answer)
    # How long the old bit stands is the soonest answer of a program.
    yield _row(
        *("sample-point", "clock", lambda m: m.before_rise, lambda c: -_ps(c.design.hold)),
        ("register.next-bit",),
    )
    clocks = RULES["timing.clocks"]
    eight = 8.0  # as in the rule
    yield Quantity(
        clocks, "run", "at least", lambda c: (each(c.design.clocks), np.full((1, 1), eight)), ()
    )


def _row(
    name: str,
    line: Literal["latch", "clock"],
    width: Callable[[_Moments], Array],
    need: Callable[[Circuits], Array],
    also_on: tuple[str, ...] = (),
) -> Quantity:
    """``width`` is measured at both corners; nothing is where ``line`` never rises or falls."""

    def values(c: Circuits) -> tuple[Array, Array]:
        # An edge that never comes makes inf - inf; its row is overruled.
        with np.errstate(invalid="ignore"):
            fast, slow = _Moments(c.design, "_high", None), _Moments(c.design, "", c)
            worse = np.minimum(width(fast), width(slow))
        never = np.isinf(getattr(slow, f"{line}_rise")) | np.isinf(getattr(slow, f"{line}_fall"))
        return each(np.where(never, -np.inf, worse) * 1e-12), each(need(c) * 1e-12)

    return Quantity(RULES[f"timing.{name}"], "run", "at least", values, (), also_on)


def _latest(seconds: Array) -> Array:
    """Of all corners together, in whole picoseconds, as in a run."""
    return _ps(np.max(seconds, axis=1))


def _ps(seconds: Array) -> Array:
    return np.rint(seconds * 1e12)
