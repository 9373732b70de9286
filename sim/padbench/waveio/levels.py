"""Volts to levels."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padbench.core.timeline import HIGH, LOW, UNKNOWN

__all__ = ["THRESHOLDS", "Thresholds"]


@dataclass(frozen=True, slots=True)
class Thresholds:
    """In volts. At or below ``low`` a line is low, at or above ``high`` it is high."""

    low: float
    high: float

    def zones(self, volts: NDArray[np.float64]) -> NDArray[np.uint8]:
        """LOW, HIGH, or UNKNOWN for a voltage between the thresholds; same shape."""
        zones = np.full(volts.shape, UNKNOWN, np.uint8)
        zones[volts <= self.low] = LOW
        zones[volts >= self.high] = HIGH
        return zones


THRESHOLDS = Thresholds(1.5, 3.5)
"""B-series inputs at 5 V: low at most 1.5 V, high at least 3.5 V (JEDEC JESD13-B)."""
