"""Which loop lengths and gaps between passes are safe for a routine, at all fetch periods.

    found = design_map(measured.run, console.timing.fetch_periods)

See `padbench.routines.lengths`, which does it for one of the two at a time, and its assumption.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from padbench.routines.lengths import plan_of
from padbench.routines.run import Run

__all__ = ["GAPS", "LOOPS", "DesignMap", "design_map"]

LOOPS = range(12, 73)
"""CPU cycles from one read of the port to the next; 14 is the quickest usual loop."""

GAPS = range(0, 97)
"""CPU cycles added between each pass and the next."""


@dataclass(frozen=True, slots=True)
class DesignMap:
    """``unsafe[i][j]``: the periods of which some phase stops two passes of a port.

    That is with ``loops[i]`` cycles a bit and ``gaps[j]`` more between each pass and the next.
    ``loop`` is the length now.
    """

    loop: int
    loops: tuple[int, ...]
    gaps: tuple[int, ...]
    unsafe: tuple[tuple[tuple[int, ...], ...], ...]

    @property
    def safe(self) -> tuple[tuple[bool, ...], ...]:
        """Where no phase of any period stops two passes."""
        return tuple(tuple(not at for at in row) for row in self.unsafe)


def design_map(
    run: Run,
    periods: Sequence[int],
    *,
    loops: Sequence[int] = LOOPS,
    gaps: Sequence[int] = GAPS,
    step: Callable[[], None] = lambda: None,
) -> DesignMap | None:
    """The map of a routine with an undisturbed ``run``; ``step`` is called after each loop length.

    None for a routine with fewer than two passes of the first port, or without an even loop.
    """
    plan = plan_of(run)
    if plan is None or plan.loop is None:
        return None
    loops = [length for length in loops if length >= plan.shortest]
    rows = []
    for length in loops:
        rows.append(tuple(plan.unsafe(length - plan.loop, gap, periods) for gap in gaps))
        step()
    return DesignMap(plan.loop, tuple(loops), tuple(gaps), tuple(rows))
