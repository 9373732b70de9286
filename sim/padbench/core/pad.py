"""What the simulation needs to know of one pad on one port at one corner: numbers only.

PadModel(limits, serial=0, answer=320_000)                    # a register, eight buttons, as usual
replace(pad, clock_line=LineDelays(rise=900_000, fall=20_000))  # on a line that rises slowly
"""

from dataclasses import dataclass
from typing import Literal

from padbench.core.limits import Limits

Policy = Literal["both", "neither", "newer", "older"]


@dataclass(frozen=True, slots=True)
class LineDelays:
    """How late an edge of a line reaches the register, in picoseconds; None: it never does."""

    rise: int | None = 0
    fall: int | None = 0


@dataclass(frozen=True, slots=True)
class PadModel:
    """One pad in its place.

    ``stage_of`` holds (button bit as in `padbench.core.buttons`, stage) pairs; stage ``stages`` is
    the output and is read first. ``serial`` is the level of the serial input, None if left open.
    ``load_inverted``: the register loads while the latch line is low. ``floating``: no pull-ups,
    an open contact leaves its input at no level. ``stuck``: contacts that are always closed.
    ``answer``: from an edge at the register to the data line at the console, in picoseconds, at
    the longest; ``soonest``: before that the line stays as it was. ``first_answer`` and
    ``first_soonest`` are the same while the register loads; a ``first_answer`` of None: as the
    others.
    """

    limits: Limits
    stages: int = 8
    stage_of: tuple[tuple[int, int], ...] = tuple((1 << bit, bit + 1) for bit in range(8))
    serial: int | None = 0
    load: Literal["transparent", "synchronous"] = "transparent"
    load_inverted: bool = False
    floating: bool = False
    policy: Policy = "both"
    stuck: int = 0
    answer: int = 0
    soonest: int = 0
    first_answer: int | None = None
    first_soonest: int = 0
    latch_line: LineDelays = LineDelays()
    clock_line: LineDelays = LineDelays()

    def answers(self, loading: bool) -> tuple[int, int]:
        """Soonest and longest answer, to the load or to a clock."""
        if loading and self.first_answer is not None:
            return self.first_soonest, self.first_answer
        return self.soonest, self.answer
