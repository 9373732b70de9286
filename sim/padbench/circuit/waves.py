"""Voltages over time of latch, clock and data at the far end, at the worst corner.

    port = worst_port(sheet)
    for name, (times, volts) in line_waves(sheet, port, timeline).items(): ...

The digital timeline says when a line is driven or crosses; the circuits of
`padbench.circuit.circuits` say how it gets there.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.circuits import Circuits, Line
from padbench.circuit.design import Array, design_of, stacked
from padbench.circuit.quantities import of_circuits
from padbench.circuit.worst_case import worst_case
from padbench.core.levels import HIGH, LOW
from padbench.core.timeline import Timeline, Wire
from padbench.core.units import to_ps
from padbench.sheet import Sheet

Wave = tuple[NDArray[np.int64], Array]
"""Picoseconds, rising, and the volts from each on; a viewer joins them by lines."""

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
    # A resistor's heat is no voltage of a line.
    ids = [id_ for id_ in of_circuits("latch", "clock", "data") if not id_.startswith("power.")]
    spare = [
        np.where(np.isinf(worst.limit), np.inf, worst.margin / np.abs(worst.limit))
        for worst in worst_case(designs, ids)
    ]
    return min(names, key=lambda name: sorted(row[names.index(name)] for row in spare))


def line_waves(
    sheet: Sheet, port: str, timeline: Timeline, *, corner: str = "slow", points: int = 16
) -> dict[str, Wave]:
    """``analogue.latch``, ``.clock`` (at the register) and ``.data`` (at the console), in volts.

    Latch and clock stand at the corner where they rise last, data at the one where it does.
    An edge has that many ``points``; of a timeline of the fast ``corner``, which has no delays, it
    is steep. ``KeyError`` if the timeline lacks a wire.
    """
    circuits = Circuits(design_of(sheet, sheet.part, sheet.port(port)))
    end = timeline.end_ps
    curves = {
        name: _line_curves(line, points)
        for name, line in (("latch", circuits.latch), ("clock", circuits.clock))
    }
    rise, fall, late = _data_curves(circuits, points)
    if corner == "fast":
        curves = {name: (_steep(up), _steep(down)) for name, (up, down) in curves.items()}
        rise, fall, late = _steep(rise), _steep(fall), (0, 0)
    waves = {
        f"analogue.{name}": _follow(timeline.wires[f"console.{name}"], *both, end)
        for name, both in curves.items()
    }
    wire = timeline.wires["cable.data"]
    return waves | {"analogue.data": _follow(_earlier(wire, late), rise, fall, end)}


def _steep(curve: _Curve) -> _Curve:
    """The same ends with the shortest time between them."""
    return _Curve(np.array([0.0, 1e-12]), curve.volts[[0, -1]])


def thresholds(sheet: Sheet, port: str) -> dict[str, tuple[float, float]]:
    """Highest low and lowest high level (V) of each of `line_waves`, at the corner of its wave.

    Latch and clock are the register's inputs, data is the console's.
    """
    circuits = Circuits(design_of(sheet, sheet.part, sheet.port(port)))
    levels = {
        "analogue.latch": (circuits.latch.low_at, circuits.latch.high_at, _latest(circuits.latch)),
        "analogue.clock": (circuits.clock.low_at, circuits.clock.high_at, _latest(circuits.clock)),
        "analogue.data": (*circuits.data_thresholds, _slowest_data(circuits)),
    }
    return {
        name: (float(low[0, at]), float(high[0, at])) for name, (low, high, at) in levels.items()
    }


def _latest(line: Line) -> int:
    """The corner at which a line rises last."""
    return int(np.argmax(line.rise_high[0]))


def _slowest_data(circuits: Circuits) -> int:
    low_at, high_at = circuits.data_thresholds
    slowest = circuits.data_time(high_at, rises=True) + circuits.data_time(low_at, rises=False)
    return int(np.argmax(slowest[0]))


def _line_curves(line: Line, points: int) -> tuple[_Curve, _Curve]:
    corner = _latest(line)
    high = float(line.high[0, corner])
    low = min(float(line.low[0, corner]), high)  # a line that nothing lifts stays where it is
    part = 1 - np.exp(-np.linspace(0, _SETTLED, points))
    up, down = low + (high - low) * part, high - (high - low) * part
    rise, fall = (
        np.array([to(np.full((1, 1), volts))[0, corner] for volts in way])
        for to, way in ((line.rise_to, up), (line.fall_to, down))
    )
    return _curve(rise, up), _curve(fall, down)


def _curve(seconds: Array, volts: Array) -> _Curve:
    fine = np.isfinite(seconds)
    fine[0] = True
    return _Curve(np.where(fine, seconds, 0.0)[fine], volts[fine])


def _data_curves(circuits: Circuits, points: int) -> tuple[_Curve, _Curve, tuple[int, int]]:
    """Both curves, and how long (ps) each takes to the console's threshold."""
    low_at, high_at = circuits.data_thresholds
    corner = _slowest_data(circuits)
    down, up = (float(level[0, corner]) for level in circuits.data_levels)
    # The way there in even steps but for its end, which a transistor nears as a resistor does.
    part = 1 - np.exp(-np.linspace(0, _SETTLED, points))
    curves = []
    for rises, start, end in ((True, down, up), (False, up, down)):
        volts = start + (end - start) * part
        seconds = [circuits.data_time(np.full((1, 1), to), rises=rises)[0, corner] for to in volts]
        curves.append(_curve(np.asarray(seconds), volts))
    rise, fall = curves
    late = (
        to_ps(rise.when(float(high_at[0, corner]))),
        to_ps(fall.when(float(low_at[0, corner]))),
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
