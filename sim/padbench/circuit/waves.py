"""Voltages over time of latch, clock and data at the far end, at the worst corner.

    port = worst_port(sheet)
    for name, (times, volts) in line_waves(sheet, port, timeline).items(): ...

The digital timeline says when a line is driven or crosses; the circuits of
`padbench.circuit.judge` say how it gets there.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.design import Array, Design, design_of, stacked
from padbench.circuit.judge import (
    GROUPS,
    DrivenLine,
    data_levels,
    data_taus,
    driven_line,
    judge,
    register_levels,
)
from padbench.circuit.space import Space, space
from padbench.core.timeline import HIGH, LOW, Timeline, Wire
from padbench.core.units import to_ps
from padbench.sheet import Sheet

__all__ = ["Wave", "line_waves", "worst_port"]

Wave = tuple[NDArray[np.int64], Array]
"""Picoseconds, rising, and the volts from each on; a viewer joins them by lines."""

_POINTS = 16
_SETTLED = 7.0
"""Time constants after which a line is within a thousandth of its end."""


@dataclass(frozen=True)
class _Curve:
    """Seconds after the edge and volts on the way from one level to the other."""

    seconds: Array
    volts: Array

    def when(self, volts: float) -> float:
        """Seconds after the edge at which the curve is at ``volts``."""
        up = self.volts[-1] >= self.volts[0]
        way = 1 if up else -1
        return float(np.interp(way * volts, way * self.volts, self.seconds))

    def at(self, seconds: float) -> float:
        return float(np.interp(seconds, self.seconds, self.volts))


def worst_port(sheet: Sheet) -> str:
    """The port of the sheet on which latch, clock and data have the least margin to spare.

    Margins are compared in parts of their limits; where two ports share the least, the next decide.
    """
    names = sheet.works_with.ports
    designs = stacked([design_of(sheet, sheet.part, sheet.port(name)) for name in names])
    judged = judge(designs, [id_ for group in ("latch", "clock", "data") for id_ in GROUPS[group]])
    # A resistor's heat is no voltage of a line.
    lines = [one for one in judged if not one.id.startswith("power.")]
    spare = [np.where(np.isinf(one.limit), np.inf, one.margin / np.abs(one.limit)) for one in lines]
    return min(names, key=lambda name: sorted(row[names.index(name)] for row in spare))


def line_waves(sheet: Sheet, port: str, timeline: Timeline) -> dict[str, Wave]:
    """``analogue.latch``, ``.clock`` (at the register) and ``.data`` (at the console), in volts.

    Latch and clock stand at the corner where they rise last, data at the one where it does.
    ``KeyError`` if the timeline lacks a wire.
    """
    design = design_of(sheet, sheet.part, sheet.port(port))
    over = space(design, ("supply", "resistors", "temperature", "leakage", "diode"))
    made = {}
    for name in ("latch", "clock"):
        rise, fall = _line_curves(design, over, name)
        made[f"analogue.{name}"] = _follow(
            timeline.wires[f"console.{name}"], rise, fall, timeline.end_ps
        )
    rise, fall, late = _data_curves(design, over)
    wire = timeline.wires["cable.data"]
    made["analogue.data"] = _follow(_earlier(wire, late), rise, fall, timeline.end_ps)
    return made


def _line_curves(design: Design, over: Space, name: str) -> tuple[_Curve, _Curve]:
    every = driven_line(design, over, name)
    _, high_at = register_levels(design, over)
    corner = int(np.argmax(every.rise(high_at)[0]))
    one = DrivenLine(
        **{
            field: np.broadcast_to(getattr(every, field), over.supply.shape)[:, corner]
            for field in DrivenLine.__dataclass_fields__
        }
    )
    high = float(one.high[0])
    low = min(float(one.low[0]), high)  # a line that nothing lifts stays where it is
    part = 1 - np.exp(-np.linspace(0, _SETTLED, _POINTS))
    up, down = low + (high - low) * part, high - (high - low) * part
    return _curve(one.rise(up), up), _curve(one.fall(down), down)


def _curve(seconds: Array, volts: Array) -> _Curve:
    fine = np.isfinite(seconds)
    fine[0] = True
    return _Curve(np.where(fine, seconds, 0.0)[fine], volts[fine])


def _data_curves(design: Design, over: Space) -> tuple[_Curve, _Curve, tuple[int, int]]:
    """Both curves, and how long (ps) each takes to the console's threshold."""
    low, high = data_levels(design, over)
    taus = data_taus(design, over)
    corner = int(np.argmax((taus[0] + taus[1])[0]))
    down, up = float(low[0, corner]), float(high[0, corner])
    unit = 1.0 if design.input_fixed[0] else float(over.supply[0, corner])
    x = np.linspace(0, _SETTLED, _POINTS)
    part = (up - down) * (1 - np.exp(-x))
    rise = _Curve(x * float(taus[0][0, corner]), down + part)
    fall = _Curve(x * float(taus[1][0, corner]), up - part)
    late = (
        to_ps(rise.when(float(design.input_high_part[0]) * unit)),
        to_ps(fall.when(float(design.input_low_part[0]) * unit)),
    )
    return rise, fall, late


def _earlier(wire: Wire, late: tuple[int, int]) -> Wire:
    """The edges of a wire moved to where the line begins to move; ``late`` is (rise, fall)."""
    shift = np.where(wire.levels == HIGH, late[0], late[1])
    shift[0] = 0
    times = np.maximum(wire.times - shift, 0)
    return Wire.from_arrays(np.maximum.accumulate(times), wire.levels)


def _follow(wire: Wire, rise: _Curve, fall: _Curve, end: int) -> Wave:
    """The voltage of a line that is sent to the levels of a wire; at no level it stays put."""
    times: list[int] = [0]
    volts: list[float] = [
        float(rise.volts[-1]) if wire.levels[0] == HIGH else float(fall.volts[-1])
    ]
    edges = [*wire.times.tolist()[1:], end]
    for place, (edge, level) in enumerate(zip(edges[:-1], wire.levels.tolist()[1:], strict=True)):
        if level not in (HIGH, LOW):
            continue
        curve = rise if level == HIGH else fall
        _draw(curve, edge, edges[place + 1], times, volts)
    return np.asarray(times, np.int64), np.asarray(volts)


def _draw(curve: _Curve, edge: int, until: int, times: list[int], volts: list[float]) -> None:
    """The curve from where the line stands at ``edge``, cut off at ``until``."""
    here = volts[-1]
    begun = curve.when(here)
    points: Sequence[tuple[int, float]] = [
        (edge, here),
        *(
            (edge + to_ps(at - begun), float(level))
            for at, level in zip(curve.seconds, curve.volts, strict=True)
            if at > begun
        ),
    ]
    for when, level in points:
        if when >= until:
            times.append(until)
            volts.append(curve.at(begun + (until - edge) * 1e-12))
            return
        if when > times[-1]:
            times.append(when)
            volts.append(level)
