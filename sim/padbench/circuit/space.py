"""The corners: every combination of worst-case ends, as index tables.

A quantity is worked out at all corners at once, in arrays of shape (n designs, corners).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.design import ABSENT, Array, Design

__all__ = ["Space", "corner_name", "space"]

Axis = str
AXES = ("supply", "resistors", "temperature", "leakage", "contact", "diode")


@dataclass(frozen=True)
class Space:
    """The corners over some axes for n designs; arrays of shape (n, corners), the sign (corners).

    ``sign`` is +1 where leakage flows into a node and -1 where it flows out of it.
    """

    axes: tuple[Axis, ...]
    index: NDArray[np.int64]
    supply: Array
    celsius: Array
    sign: Array
    pull_up: Array
    latch_r: Array
    clock_r: Array
    contact: Array
    saturation: Array


def space(design: Design, axes: tuple[Axis, ...]) -> Space:
    """All corners over ``axes``; what is not among them stands at its first end."""
    index = np.array(list(product((0, 1), repeat=len(axes))), np.int64)

    def along(axis: Axis) -> NDArray[np.int64]:
        if axis in axes:
            return np.asarray(index[:, axes.index(axis)], np.int64)
        return np.zeros(len(index), np.int64)

    def pick(axis: Axis, first: Array, second: Array) -> Array:
        return np.where(along(axis) == 0, first[:, None], second[:, None])

    def spread(ohms: Array, tolerance: Array) -> Array:
        # A resistor that is absent has no tolerance.
        part = np.where(ohms >= ABSENT, 0.0, tolerance)
        return pick("resistors", ohms * (1 - part), ohms * (1 + part))

    return Space(
        axes=axes,
        index=index,
        supply=pick("supply", design.supply_low, design.supply_high),
        celsius=pick("temperature", design.coldest_used, design.hottest_used),
        sign=np.where(along("leakage") == 0, 1.0, -1.0),
        pull_up=np.maximum(spread(design.pull_up, design.pull_up_tol), 1e-6),
        latch_r=np.maximum(spread(design.latch_r, design.latch_tol), 1e-6),
        clock_r=np.maximum(spread(design.clock_r, design.clock_tol), 1e-6),
        contact=pick("contact", design.closed, design.worn),
        saturation=pick("diode", design.saturation_low, design.saturation_high),
    )


def corner_name(
    design: Design, number: int, axes: tuple[Axis, ...], corner: int, matters: Sequence[bool]
) -> str:
    """One corner of one design in words: ``supply 5.25 V, resistors at their least, 40 °C, …``.

    Only the axes that matter are named.
    """
    ends = list(product((0, 1), repeat=len(axes)))[corner]
    said = [
        _end(design, number, axis, end)
        for axis, end, counts in zip(axes, ends, matters, strict=True)
        if counts
    ]
    return ", ".join(said) or "every corner"


def _end(design: Design, number: int, axis: Axis, end: int) -> str:
    if axis == "supply":
        return f"supply {(design.supply_low, design.supply_high)[end][number]:.4g} V"
    if axis == "temperature":
        return f"{(design.coldest_used, design.hottest_used)[end][number]:g} °C"
    return {
        "resistors": ("resistors at their least", "resistors at their most"),
        "leakage": ("leakage into the line", "leakage out of the line"),
        "contact": ("fresh contact", "worn contact"),
        "diode": ("diode with the higher drop", "diode with the lower drop"),
    }[axis][end]
