"""A simulation as if it were a capture, to lay it beside one."""

from padbench.capture.inspect import Inspection, Settings, inspect
from padbench.core.timeline import Timeline
from padbench.waveio import Piece

__all__ = ["inspect_timeline"]

_WIRES = {"latch": "console.latch", "clock": "console.clock", "data": "cable.data"}
_SAMPLE = "console.sample"


def inspect_timeline(timeline: Timeline, settings: Settings) -> Inspection:
    """What `inspect` makes of a simulated timeline. ``KeyError`` if a wire is missing."""
    wires = {role: timeline.wires[name] for role, name in _WIRES.items()}
    changes = {role: (wire.times, wire.levels) for role, wire in wires.items()}
    events = {"sample": timeline.events[_SAMPLE]} if _SAMPLE in timeline.events else {}
    return inspect([Piece(timeline.end_ps, changes, events)], settings)
