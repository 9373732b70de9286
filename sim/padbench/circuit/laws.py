"""Small circuits in closed form, for arrays of any one shape: ohms, volts, amperes, farads, °C.

Nothing in here knows of pads. What is not closed (a diode) is solved to the last digits.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Number = Array | float

_BOLTZMANN_PER_CHARGE = 1.380649e-23 / 1.602176634e-19
"""V/K: exact since the SI of 2019."""
_ZERO_CELSIUS = 273.15
_NOMINAL = 25.0
"""°C at which a parts table gives a diode's saturation current."""
_GAP = 1.11
"""eV, band gap of silicon (published: the default of circuit simulators, SPICE2 onwards)."""
_GAP_EXPONENT = 3.0
"""How the saturation current grows with temperature beside the gap (same source)."""

_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(16)


def node(*branches: tuple[Number, Number], into: Number = 0.0) -> Array:
    """Volts of a node: (volts, ohms) branches and a current into it (Millman's theorem)."""
    top, bottom = np.asarray(into, np.float64), np.asarray(0.0)
    for volts, ohms in branches:
        conductance = 1.0 / np.asarray(ohms, np.float64)
        top = top + np.asarray(volts) * conductance
        bottom = bottom + conductance
    return np.asarray(top / bottom, np.float64)


def rc_times(tau: Number, start: Number, final: Number, to: Number) -> Array:
    """Seconds from ``start`` on the way to ``final`` until ``to`` is passed; infinite if never.

    t = tau ln((final - start) / (final - to)), first-order RC; 0 where ``to`` lies behind already.
    """
    tau, start, final, to = (np.asarray(x, np.float64) for x in (tau, start, final, to))
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = (final - start) / (final - to)
        up = final >= start
        reached = np.where(up, to < final, to > final)
        behind = np.where(up, to <= start, to >= start)
        time = tau * np.log(ratio)
    return np.asarray(np.where(behind, 0.0, np.where(reached, time, np.inf)), np.float64)


def stretch(
    supply: Number,
    celsius: Number,
    volts: Number,
    threshold: Number,
    exponent: Number,
    per_degree: Number,
) -> Array:
    """How many times as long a CMOS part's times are as at ``volts`` and 25 °C.

    V/V0 ((V0 - Vt)/(V - Vt))^a, the alpha-power law of MOS delay (Sakurai and Newton, IEEE J.
    Solid-State Circuits 25, 1990; from memory), infinite at the threshold and below; and above
    25 °C ``per_degree`` more for each °C. Below 25 °C nothing less, though parts are quicker there.
    """
    supply, celsius = np.asarray(supply, np.float64), np.asarray(celsius, np.float64)
    volts, threshold = np.asarray(volts, np.float64), np.asarray(threshold, np.float64)
    beyond = np.where(supply > threshold, supply - threshold, 1.0)
    law = supply / volts * ((volts - threshold) / beyond) ** exponent
    warm = 1 + np.asarray(per_degree) * np.maximum(celsius - 25.0, 0.0)
    return np.asarray(np.where(supply > threshold, law * warm, np.inf), np.float64)


def thermal_voltage(celsius: Number) -> Array:
    """kT/q in volts."""
    return np.asarray(
        _BOLTZMANN_PER_CHARGE * (np.asarray(celsius, np.float64) + _ZERO_CELSIUS), np.float64
    )


def diode_saturation(at_25: Number, emission: Number, celsius: Number) -> Array:
    """Saturation current at a temperature.

    IS(T) = IS (T/T0)^(XTI/N) exp((T/T0 - 1) EG / (N kT/q)), the diode equation of SPICE. Where
    ``emission`` is 0 there is no diode, and the current is handed back as it is.
    """
    emission = np.asarray(emission, np.float64)
    ratio = (np.asarray(celsius, np.float64) + _ZERO_CELSIUS) / (_NOMINAL + _ZERO_CELSIUS)
    n = np.where(emission > 0, emission, 1.0)
    grown = np.exp(
        np.log(ratio) * _GAP_EXPONENT / n + (ratio - 1) * _GAP / (n * thermal_voltage(celsius))
    )
    return np.asarray(np.asarray(at_25) * np.where(emission > 0, grown, 1.0), np.float64)


def diode_current(volts: Number, ohms: Number, saturation: Number, slope: Number) -> Array:
    """Current through a diode and a resistor in series at a voltage across both.

    Solves slope ln(1 + I/IS) + R I = V (Shockley), ``slope`` being N kT/q; 0 where V is not
    positive. Newton's method in u = ln(I/IS): the function is convex there and the start lies on
    its right, so every step comes nearer and none overshoots.
    """
    volts, ohms, saturation, slope = np.broadcast_arrays(
        *(np.asarray(x, np.float64) for x in (volts, ohms, saturation, slope))
    )
    current = np.where(volts > 0, volts / ohms, 0.0)
    # Without a diode that is all, and many a design has none.
    on = (volts > 0) & (slope > 0)
    v, r, n = volts[on], ohms[on] * saturation[on], slope[on]
    # Where the diode takes nearly all of it, its own bound V = slope u is the nearer start.
    u = np.minimum(np.log(v / r), v / n)
    for _ in range(60):
        grown = np.exp(u)
        step = (n * np.log1p(grown) + r * grown - v) / (n * grown / (1 + grown) + r * grown)
        u = u - step
        if np.all(np.abs(step) < 1e-12 * (1 + np.abs(u))):
            break
    current[on] = saturation[on] * np.exp(u)
    return current


def diode_fall(
    start: Number,
    to: Number,
    charge_r: Number,
    charge_v: Number,
    pull_r: Number,
    saturation: Number,
    slope: Number,
    capacitance: Number,
) -> Array:
    """Seconds for a line to fall from ``start`` to ``to``; infinite if it never gets there.

    A diode and ``pull_r`` pull the line's ``capacitance`` down while ``charge_r`` from
    ``charge_v`` holds against them: t = C ∫ dV / (I_diode - I_charge). With the diode's current
    as the variable of integration V is explicit, so 16 Gauss-Legendre points on ln I do.
    """
    start, to, charge_r, charge_v, pull_r, saturation, slope, capacitance = np.broadcast_arrays(
        *(
            np.asarray(x, np.float64)
            for x in (start, to, charge_r, charge_v, pull_r, saturation, slope, capacitance)
        )
    )
    # Through a mere resistor first-order RC is all.
    tau = capacitance / (1 / charge_r + 1 / pull_r)
    final = charge_v * pull_r / (charge_r + pull_r)
    falls = (to < start) & (final < to)
    time = np.asarray(np.where(falls, rc_times(tau, start, final, to), np.inf))
    time = np.asarray(np.where(to >= start, 0.0, time), np.float64)
    on = slope > 0
    arrays = (start, to, charge_r, charge_v, pull_r, saturation, slope, capacitance)
    time[on] = _through_a_diode(*(array[on].tobytes() for array in arrays))
    return time


@lru_cache(maxsize=16)
def _through_a_diode(*columns: bytes) -> Array:
    """A search that turns one value asks for most lines as they were the time before."""
    start, to, charge_r, charge_v, pull_r, saturation, slope, capacitance = map(
        np.frombuffer, columns
    )
    first = diode_current(start, pull_r, saturation, slope)
    last = diode_current(to, pull_r, saturation, slope)
    reached = last > (charge_v - to) / charge_r
    behind = to >= start
    fine = reached & ~behind & (last > 0)
    low = np.log(np.where(fine, last, 1.0))
    high = np.log(np.where(fine, first, 2.0))
    half = (high - low) / 2
    # One point after the other: no array with an axis more has to be filled.
    time = np.zeros_like(half)
    with np.errstate(divide="ignore", invalid="ignore"):
        for point, weight in zip(_POINTS.tolist(), _WEIGHTS.tolist(), strict=True):
            current = np.exp(low + half * (1 + point))
            through = slope * current / (current + saturation) + pull_r * current
            volts = slope * np.log1p(current / saturation) + pull_r * current
            time += weight * through / (current - (charge_v - volts) / charge_r)
        time *= capacitance * half
    return np.asarray(np.where(behind, 0.0, np.where(fine, time, np.inf)), np.float64)


def mos_gain(amperes: Number, drop: Number, overdrive: Number) -> Array:
    """A/V² of the MOS transistor that takes ``amperes`` at ``drop`` volts across it.

    I = β ((V_GS - V_T) V - V²/2) below saturation, β (V_GS - V_T)²/2 in it: the square law
    (Shichman and Hodges, 1968; level 1 of circuit simulators; from memory). ``overdrive`` is
    V_GS - V_T.
    """
    volts = np.minimum(drop, overdrive)
    return np.asarray(amperes / (np.asarray(overdrive) * volts - volts**2 / 2), np.float64)


def _discharge(gain: Array, overdrive: Array, conductance: Array, held: Array) -> tuple[Array, ...]:
    """What the square law and a resistor draw, less ``held``: at pinch-off, and where it is none.

    Below pinch-off it is β/2 (V - low) (high - V), whose two roots come out; nan if it has none.
    """
    slope = gain * overdrive + conductance
    pinched = gain * overdrive**2 / 2 + conductance * overdrive - held
    with np.errstate(divide="ignore", invalid="ignore"):
        root = slope + np.sqrt(slope**2 - 2 * gain * held)
        return pinched, 2 * held / root, root / gain


def mos_level(gain: Number, overdrive: Number, conductance: Number, held: Number) -> Array:
    """Volts across a MOS output that a source of ``held`` A beside ``conductance`` S holds up.

    Closed form of the square law (`mos_gain`), in saturation as well.
    """
    gain, overdrive, conductance, held = (
        np.asarray(x, np.float64) for x in (gain, overdrive, conductance, held)
    )
    pinched, low, _ = _discharge(gain, overdrive, conductance, held)
    saturated = (held - gain * overdrive**2 / 2) / conductance
    return np.asarray(np.where(pinched > 0, low, saturated), np.float64)


def mos_time(
    farads: Number,
    start: Number,
    to: Number,
    gain: Number,
    overdrive: Number,
    conductance: Number,
    held: Number,
) -> Array:
    """Seconds for a MOS output to bring ``farads`` from ``start`` to ``to`` volts across it.

    t = C ∫ dV / I, in closed form: the transistor's square law (`mos_gain`) and ``conductance`` S
    draw, ``held`` A hold against them. Infinite if it never gets there, 0 if it is there.
    """
    farads, start, to, gain, overdrive, conductance, held = np.broadcast_arrays(
        *(
            np.asarray(x, np.float64)
            for x in (farads, start, to, gain, overdrive, conductance, held)
        )
    )
    pinched, low, high = _discharge(gain, overdrive, conductance, held)
    # In saturation the transistor's share is constant: first-order RC.
    top, end = np.maximum(start, overdrive), np.maximum(to, overdrive)
    with np.errstate(divide="ignore", invalid="ignore"):
        left = pinched + conductance * (end - overdrive)
        flat = np.log1p(conductance * (top - end) / left) / conductance
        top, end = np.minimum(start, overdrive), np.minimum(to, overdrive)
        ratio = (top - low) * (high - end) / ((high - top) * (end - low))
        bent = 2 / (gain * (high - low)) * np.log(ratio)
    bends = end < top
    reached = (left > 0) & (~bends | ((pinched > 0) & (end > low)))
    time = farads * (np.where(start > overdrive, flat, 0.0) + np.where(bends, bent, 0.0))
    return np.asarray(np.where(to >= start, 0.0, np.where(reached, time, np.inf)), np.float64)
