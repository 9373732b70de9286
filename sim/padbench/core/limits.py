"""What a register needs of latch, clock and its inputs, and what it takes to answer."""

from dataclasses import dataclass

from padbench.core.findings import Source

__all__ = ["Limit", "Limits"]


@dataclass(frozen=True, slots=True)
class Limit:
    """A time in picoseconds and what it rests on."""

    ps: int
    sources: tuple[Source, ...]


@dataclass(frozen=True, slots=True)
class Limits:
    """The guaranteed figures of one register in its place, all in picoseconds.

    ``load_width``: shortest load pulse. ``clock_width``: shortest clock pulse, low or high.
    ``clock_period``: shortest time from one rising clock edge to the next. ``removal``: from the
    end of the load to the first rising clock edge. ``setup_parallel``: the inputs stand still
    before the load ends. ``answer``: the longest time from the console's clock edge until the
    data line stands at the console, both ways through the cable; ``first_answer`` the same from
    the latch's edge, None: as ``answer``. ``hold``: after a clock the bit before it stands so long;
    None where nobody promises that.
    """

    load_width: Limit
    clock_width: Limit
    clock_period: Limit
    removal: Limit
    setup_parallel: Limit
    answer: Limit
    first_answer: Limit | None = None
    hold: Limit | None = None
