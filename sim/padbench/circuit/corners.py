"""The corners: every combination of worst-case ends, as index tables.

A quantity is worked out at all corners at once, in arrays of shape (n designs, corners).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.design import ABSENT, Array, Design

__all__ = ["Space", "space", "worst_ends"]

_WORDS = {
    "resistors": ("resistors at their least", "resistors at their most"),
    "leakage": ("leakage into the line", "leakage out of the line"),
    "contact": ("fresh contact", "worn contact"),
    "diode": ("diode with the higher drop", "diode with the lower drop"),
}


@dataclass(frozen=True)
class Space:
    """The corners over some axes for n designs; arrays of shape (n, corners), the sign (corners).

    ``sign`` is +1 where leakage flows into a node and -1 where it flows out of it.
    """

    axes: tuple[str, ...]
    supply: Array
    celsius: Array
    sign: Array
    pull_up: Array
    latch_r: Array
    clock_r: Array
    contact: Array
    saturation: Array


def space(design: Design, axes: tuple[str, ...]) -> Space:
    """All corners over ``axes``; what is not among them stands at its first end.

    The axes there are: supply, temperature, and those whose ends have words above.
    """
    index = np.array(list(product((0, 1), repeat=len(axes))), np.int64)

    def along(axis: str) -> NDArray[np.int64]:
        if axis in axes:
            return np.asarray(index[:, axes.index(axis)], np.int64)
        return np.zeros(len(index), np.int64)

    def pick(axis: str, first: Array, second: Array) -> Array:
        return np.where(along(axis) == 0, first[:, None], second[:, None])

    def spread(ohms: Array, tolerance: Array) -> Array:
        # A resistor that is absent has no tolerance.
        part = np.where(ohms >= ABSENT, 0.0, tolerance)
        return np.maximum(pick("resistors", ohms * (1 - part), ohms * (1 + part)), 1e-6)

    return Space(
        axes=axes,
        supply=pick("supply", design.supply_low, design.supply_high),
        celsius=pick("temperature", design.coldest_used, design.hottest_used),
        sign=np.where(along("leakage") == 0, 1.0, -1.0),
        pull_up=spread(design.pull_up, design.pull_up_tol),
        latch_r=spread(design.latch_r, design.latch_tol),
        clock_r=spread(design.clock_r, design.clock_tol),
        contact=pick("contact", design.closed, design.worn),
        saturation=pick("diode", design.saturation_low, design.saturation_high),
    )


def worst_ends(
    design: Design, row: int, axes: tuple[str, ...], corner: int, matters: Sequence[bool]
) -> tuple[tuple[str, float | str], ...]:
    """One corner of one design as (axis, end) pairs, as `padbench.core.findings.Met` has them.

    Only the axes that matter are named: volts for the supply, °C for the temperature, a word for
    the others.
    """
    numbers = {
        "supply": (design.supply_low, design.supply_high),
        "temperature": (design.coldest_used, design.hottest_used),
    }
    ends = list(product((0, 1), repeat=len(axes)))[corner]
    return tuple(
        (axis, float(numbers[axis][end][row]) if axis in numbers else _WORDS[axis][end])
        for axis, end, counts in zip(axes, ends, matters, strict=True)
        if counts
    )
