"""What to change: the range of a value with which a finding holds, and preferred values in it.

The range is found by judging some hundred values in one call, then ever closer ones at both ends;
so it needs no formula of its own, and what it says is what `judge` says.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

import numpy as np
from numpy.typing import NDArray

from padbench.electric.design import Array, Design, changed
from padbench.electric.judge import GROUPS, judge
from padbench.parts import E12, E24, preferred
from padbench.rules import Remedy
from padbench.units import show

__all__ = ["KNOBS", "Knob", "keeping", "knobs_for", "passing_range", "remedy_for"]


@dataclass(frozen=True)
class Knob:
    """A value of the sheet that can be changed, and the findings that it is the first to mend."""

    key: str
    field: str
    unit: str
    least: float
    most: float
    mends: tuple[str, ...]


_R = ("Ω", 0.1, 1e9)
KNOBS = (
    Knob(
        "pull-up.value",
        "pull_up",
        *_R,
        (
            *GROUPS["contacts"],
            "supply.all-held",
        ),
    ),
    Knob(
        "resistors.latch-to-supply",
        "latch_r",
        *_R,
        (
            *GROUPS["latch"],
            "supply.idle",
        ),
    ),
    Knob(
        "resistors.clock-to-supply",
        "clock_r",
        *_R,
        GROUPS["clock"],
    ),
    # The sheet takes cables up to 1 km.
    Knob(
        "cable.length",
        "cable_length",
        "m",
        1e-3,
        1e3,
        ("data.rise", "data.fall", "data.first-bit", "data.later-bits"),
    ),
)
_LATCH, _CLOCK, _CABLE = KNOBS[1:]
CABLE_FINDINGS = (
    *(f"{line}.{edge}" for line in ("latch", "clock") for edge in ("rise", "fall")),
    "latch.pulse",
    "clock.low-pulse",
    "clock.high-pulse",
    *_CABLE.mends,
)
"""What grows worse with the length of the cable."""

_SHOWN = 6


def knobs_for(id_: str) -> tuple[Knob, ...]:
    """What could mend a finding, the first to try first."""
    knobs = [knob for knob in KNOBS if id_ in knob.mends]
    if id_ in CABLE_FINDINGS and _CABLE not in knobs:
        knobs.append(_CABLE)
    if id_ == "data.first-bit":
        knobs.append(_LATCH)
    if id_ == "data.later-bits":
        knobs.append(_CLOCK)
    return tuple(knobs)


def keeping(design: Design, ids: Collection[str]) -> NDArray[np.bool_]:
    """Which of n designs keep all the findings named; bool, shape (n,)."""
    kept = np.ones(len(design), np.bool_)
    for judged in judge(design, ids):
        kept &= judged.holds
    return kept


def passing_range(
    designs: Sequence[Design], knob: Knob, ids: Collection[str]
) -> tuple[float | None, float | None] | None:
    """Lowest and highest value with which every design keeps the findings; None for no value.

    Each design has one item. An end is None where the least or the most that is tried still does:
    0.1 Ω to 1 GΩ, 1 mm to 1 km. Ends are good to a part in 10^7 and lie on the passing side.
    """

    def kept(values: Array) -> NDArray[np.bool_]:
        good = np.ones(len(values), np.bool_)
        for design in designs:
            good &= keeping(changed(design, **{knob.field: values}), ids)
        return good

    grid = np.geomspace(knob.least, knob.most, 250)
    good = kept(grid)
    if not good.any():
        return None
    # The upper run, should there be two: a larger resistor warms less than a smaller one.
    last = int(np.flatnonzero(good)[-1])
    broken = np.flatnonzero(~good[:last])
    first = int(broken[-1]) + 1 if len(broken) else 0
    # A hair further in, so that the rounding of a sheet's own arithmetic cannot undo it.
    low = None if first == 0 else _edge(kept, grid[first - 1], grid[first]) * (1 + 1e-9)
    high = None if last == len(grid) - 1 else _edge(kept, grid[last + 1], grid[last]) * (1 - 1e-9)
    return low, high


def _edge(kept: Callable[[Array], NDArray[np.bool_]], bad: float, good: float) -> float:
    """The passing value nearest to a failing one."""
    for _ in range(5):
        between = np.geomspace(bad, good, 22)
        holds = kept(between)
        holds[0], holds[-1] = False, True
        place = int(np.argmax(holds))
        bad, good = float(between[place - 1]), float(between[place])
    return good


def remedy_for(
    id_: str, designs: Sequence[Design], others: Sequence[Design], *, stretch: float = 1.0
) -> Remedy | None:
    """What would mend one finding on all of ``designs``; None where no value bears on it.

    ``others`` are the same pad on further ports: a preferred value must keep what the knob is
    there for on all of them. ``stretch`` is the cable's longest to its nominal length.
    """
    knobs = knobs_for(id_)
    for knob in knobs:
        found = passing_range(designs, knob, (id_,))
        if found is not None:
            return _remedy(knob, found, [*designs, *others], stretch)
    if not knobs:
        return None
    knob = knobs[0]
    names = " and no ".join(one.key for one in knobs)
    says = f"no {names} alone would mend this"
    return Remedy(knob.key, None, None, knob.unit, (), (), says)


def _remedy(
    knob: Knob,
    found: tuple[float | None, float | None],
    designs: Sequence[Design],
    stretch: float,
) -> Remedy:
    low, high = found
    if knob.unit == "m":
        low, high = (None if x is None else x / stretch for x in found)
        return Remedy(
            knob.key, low, high, "m", (), (), f"{knob.key} {_between(low, high, 'm')} would do"
        )
    values = preferred(E24, low or 0.0, knob.most if high is None else high)
    good = np.ones(len(values), np.bool_)
    for design in designs:
        good &= keeping(changed(design, **{knob.field: values}), knob.mends) if values else good
    e24 = tuple(value for value, fine in zip(values, good, strict=True) if fine)
    e12 = tuple(value for value in preferred(E12, low or 0.0, high or knob.most) if value in e24)
    says = f"{knob.key} {_between(low, high, 'Ω')} would do; "
    if e24:
        says += f"preferred: E12 {_listed(e12)}; E24 {_listed(e24)}"
    else:
        says += "no preferred value in it suits everything else"
    return Remedy(knob.key, low, high, "Ω", e12, e24, says)


def _between(low: float | None, high: float | None, unit: str) -> str:
    if low is None:
        return "of any value" if high is None else f"up to {_rounded(high, floor, unit)}"
    if high is None:
        return f"from {_rounded(low, ceil, unit)} up"
    return f"from {_rounded(low, ceil, unit)} to {_rounded(high, floor, unit)}"


def _rounded(value: float, towards: Callable[[float], int], unit: str) -> str:
    """Four digits, rounded so that what is shown would still do."""
    step = 10.0 ** (floor(log10(value)) - 3)
    return show(towards(value / step) * step, unit, 4)


def _listed(values: Sequence[float]) -> str:
    if not values:
        return "none"
    shown = [show(value, "Ω") for value in values[:_SHOWN]]
    if len(values) > _SHOWN:
        return f"{', '.join(shown)} … {show(values[-1], 'Ω')}"
    return ", ".join(shown)
