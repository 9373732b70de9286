"""What the rules of the wires measure in a run, foretold without one: ``timing.*`` as arithmetic.

A run has two corners (see `padbench.circuit.corners`): a fast one without delays, with the poll's
longest times, and a slow one with the lines' latest edges, with its shortest. The worse of the two
counts. This is what a remedy for such a finding is looked for with; the tests hold it to runs.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from padbench.circuit.design import Array, Design

__all__ = ["WIRES", "Edges", "wire_times"]

WIRES = (
    "timing.latch-arrives",
    "timing.clock-arrives",
    "timing.latch-width",
    "timing.clock-low",
    "timing.clock-high",
    "timing.clock-period",
    "timing.removal",
    "timing.first-bit",
    "timing.later-bits",
    "timing.sample-point",
)

_CUT = 2.5
"""Clocks of the read that is cut off soonest, in the scenario cut-short."""

Time = tuple[str, Array, Array]


@dataclass(frozen=True)
class Edges:
    """The latest edges of both lines at the register, and the slowest answers; s, shape (n,).

    Infinite where a line never gets there. ``stretch`` is by how much the part's times are longer
    than in its table.
    """

    latch_rise: Array
    latch_fall: Array
    clock_rise: Array
    clock_fall: Array
    first_answer: Array
    answer: Array
    stretch: Array


def wire_times(design: Design, edges: Edges) -> Iterator[Time]:
    """Id, measured and limit (s, shape (n,)) of each rule; measured has to be the limit at least.

    In whole picoseconds, as in a run.
    """
    late = _Late(
        _ps(edges.latch_rise), _ps(edges.latch_fall), _ps(edges.clock_rise), _ps(edges.clock_fall)
    )
    quick = _Poll.of(design, "high")
    brief = _Poll.of(design, "low")
    none = np.zeros(len(design))
    sharp = _Late(none, none, none, none)
    stretch = edges.stretch
    needs = {
        "latch-width": _ps(design.load_min * stretch),
        "clock-low": _ps(design.clock_min * stretch),
        "clock-high": _ps(design.clock_min * stretch),
        "clock-period": _ps(design.clock_period * stretch),
        "removal": _ps(design.removal * stretch),
        # A sample at the very moment still sees the old level.
        "first-bit": _ps(edges.first_answer) + late.latch_rise + 1,
        "later-bits": _ps(edges.answer) + late.clock_rise + 1,
        "sample-point": -_ps(design.hold),
        "latch-arrives": none + 1,
        "clock-arrives": none + 1,
    }
    fast, slow = dict(_measured(quick, sharp)), dict(_measured(brief, late))
    never = {
        "latch": np.isinf(late.latch_rise) | np.isinf(late.latch_fall),
        "clock": np.isinf(late.clock_rise) | np.isinf(late.clock_fall),
    }
    for id_ in WIRES:
        name = id_.removeprefix("timing.")
        worse = np.minimum(fast[name], slow[name])
        lost = never["latch" if "latch" in name or name in ("removal", "first-bit") else "clock"]
        yield id_, np.where(lost, -np.inf, worse) * 1e-12, needs[name] * 1e-12


@dataclass(frozen=True)
class _Late:
    """Edges in picoseconds."""

    latch_rise: Array
    latch_fall: Array
    clock_rise: Array
    clock_fall: Array


@dataclass(frozen=True)
class _Poll:
    """One end of the poll's times, in picoseconds."""

    latch_width: Array
    latch_to_clock: Array
    clock_low: Array
    clock_high: Array
    sample: Array

    @classmethod
    def of(cls, design: Design, end: Literal["low", "high"]) -> "_Poll":
        tail = "" if end == "low" else "_high"
        return cls(**{name: _ps(getattr(design, name + tail)) for name in cls.__dataclass_fields__})


def _ps(seconds: Array) -> Array:
    return np.rint(seconds * 1e12)


def _measured(poll: _Poll, late: _Late) -> Iterator[tuple[str, Array]]:
    # An edge that never comes makes inf - inf; its row is overruled where this is used.
    with np.errstate(invalid="ignore"):
        wide = poll.latch_width - late.latch_rise + late.latch_fall
        low = poll.clock_low - late.clock_fall + late.clock_rise
        high = poll.clock_high - late.clock_rise + late.clock_fall
        period = poll.clock_low + poll.clock_high
        apart = poll.latch_to_clock + np.floor(_CUT * period) - late.latch_fall + late.latch_rise
        removal = poll.latch_to_clock + poll.clock_low - late.latch_fall + late.clock_rise
    yield "latch-arrives", np.minimum(wide, apart)
    yield "clock-arrives", np.minimum(low, high)
    yield "latch-width", wide
    yield "clock-low", low
    yield "clock-high", high
    yield "clock-period", period
    yield "removal", removal
    yield "first-bit", poll.latch_width + poll.latch_to_clock + poll.sample
    yield "later-bits", poll.clock_high + poll.sample
    yield "sample-point", poll.clock_low - poll.sample
