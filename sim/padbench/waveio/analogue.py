"""Digital wires and voltages in one Value Change Dump (IEEE Std 1364-2005, clause 18, real)."""

from collections.abc import Mapping
from math import nan
from operator import itemgetter
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from vcd import VCDWriter
from vcd.writer import RealVariable

from padbench import __version__
from padbench.core.timeline import Timeline
from padbench.files import whole_file

__all__ = ["write_analogue"]

_WIRES = ("console.latch", "console.clock", "cable.latch", "cable.clock", "cable.data")
_LEVELS = "01xz"


def write_analogue(
    timeline: Timeline,
    waves: Mapping[str, tuple[NDArray[np.int64], NDArray[np.float64]]],
    path: Path,
    *,
    comment: str = "",
) -> None:
    """Write voltages (V) as real variables beside the digital lines, times in picoseconds.

    A point that repeats the voltage before it is written too: joined by lines, it is where a flat
    piece ends.

    Raises ``OSError`` if the file cannot be written.
    """
    with whole_file(path) as out:
        plain = comment.encode("ascii", "backslashreplace").decode("ascii")
        writer = VCDWriter(
            out, timescale="1 ps", date="", comment=plain, version=f"padbench {__version__}"
        )
        changes = []
        for name in _WIRES:
            wire = timeline.wires[name]
            scope, own = name.split(".")
            levels = [_LEVELS[level] for level in wire.levels.tolist()]
            variable = writer.register_var(scope, own, "wire", 1, init=levels[0])
            changes += [
                (when, variable, level)
                for when, level in zip(wire.times.tolist()[1:], levels[1:], strict=True)
            ]
        for name, (times, volts) in waves.items():
            scope, own = name.split(".")
            real = writer.register_var(scope, own, "real", 64, init=float(volts[0]))
            changes += [
                (when, real, level)
                for when, level in zip(times.tolist()[1:], volts.tolist()[1:], strict=True)
            ]
        writer.flush()  # the head, so that what follows cannot change the first values
        for when, variable, level in sorted(changes, key=itemgetter(0)):
            if isinstance(variable, RealVariable):
                variable.value = nan  # the writer leaves out what equals the value before
            writer.change(variable, when, level)
        writer.close(timeline.end_ps)
