"""The corners: every combination of worst-case ends, as index tables.

A quantity is worked out at all corners at once, in arrays of shape (n designs, corners).
"""

from collections.abc import Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.design import ABSENT, Array, Design
from padbench.circuit.laws import diode_current, diode_saturation, thermal_voltage

_WORDS = {
    "resistors": ("resistors at their least", "resistors at their most"),
    "leakage": ("leakage into the line", "leakage out of the line"),
    "contact": ("fresh contact", "worn contact"),
    "diode": ("diode with the higher drop", "diode with the lower drop"),
}


class Space:
    """The corners over some axes for n designs; arrays of shape (n, corners), the sign (corners).

    The axes there are: supply, temperature, and those whose ends have words above; what is not
    among ``axes`` stands at its first end. ``sign`` is +1 where leakage flows into a node and -1
    where it flows out of it. ``supply`` is the pad's, ``console`` that of the console's chips:
    where the port feeds the pad both go together; where the pad makes its own, one is at its least
    where the other is at its most.
    """

    def __init__(self, design: Design, axes: tuple[str, ...]) -> None:
        self.axes = axes
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

        self.sign = np.where(along("leakage") == 0, 1.0, -1.0)
        self.contact = pick("contact", design.closed, design.worn)
        self.saturation = pick("diode", design.saturation_low, design.saturation_high)
        self.celsius = pick("temperature", design.coldest_used, design.hottest_used)
        self.pull_up = spread(design.pull_up, design.pull_up_tol)
        self.latch_r = spread(design.latch_r, design.latch_tol)
        self.clock_r = spread(design.clock_r, design.clock_tol)
        plug = pick("supply", design.supply_low, design.supply_high)
        apart = pick("supply", design.console_high, design.console_low)
        self.console = np.where(design.fed[:, None] > 0, plug, apart)
        self.supply = plug
        if np.any(design.supply_emission > 0):
            emission = design.supply_emission[:, None]
            # The least supply is with everything held and both lines low, behind the diode with the
            # higher drop; the most between two polls: latch low, clock high, nothing held.
            inputs, held = design.inputs[:, None], pick("supply", design.closed, design.dirt)
            pulled = 1 / design.data_down + design.chips * design.quiescent_hot / 5
            busy = np.where(along("supply") == 0, 1 / self.clock_r + pulled[:, None], 0)
            siemens = inputs / (self.pull_up + held) + 1 / self.latch_r + busy
            at_25 = pick("supply", design.saturation_low, design.saturation_high)
            saturation = diode_saturation(at_25, emission, self.celsius)
            slope = emission * thermal_voltage(self.celsius)
            current = diode_current(plug, 1 / siemens, saturation, slope)
            self.supply = np.where(emission > 0, current / siemens, plug)


def worst_ends(
    design: Design, row: int, axes: tuple[str, ...], corner: int, matters: Sequence[bool]
) -> tuple[tuple[str, float | str], ...]:
    """One corner of one design as (axis, end) pairs, as `padbench.core.findings.Met` has them.

    Only the axes that matter are named: volts for the pad's supply, °C for the temperature, a word
    for the others.
    """
    over = Space(design, axes)
    numbers = {"supply": over.supply, "temperature": over.celsius}
    ends = list(product((0, 1), repeat=len(axes)))[corner]
    return tuple(
        (axis, float(numbers[axis][row, corner]) if axis in numbers else _WORDS[axis][end])
        for axis, end, counts in zip(axes, ends, matters, strict=True)
        if counts
    )
