"""First-order charging of a line."""

from math import log

__all__ = ["rc_time"]


def rc_time(resistance: float, capacitance: float, start: float, final: float, to: float) -> float:
    """Seconds until a line at ``start`` volts, charged towards ``final``, reaches ``to``.

    t = R C ln((final - start) / (final - to)), the step response of a first-order RC. Ohms, farads,
    volts. Raises ``ValueError`` if ``to`` is not passed on the way.
    """
    if start == to:
        return 0.0
    ratio = (final - start) / (final - to) if final != to else 0.0
    if ratio < 1.0:
        raise ValueError(f"a line from {start} V towards {final} V never passes {to} V")
    return resistance * capacitance * log(ratio)
