"""What scenarios are made for when an HDL design takes the register's place.

The port's levels and the cable are no matter of the HDL, so latch and clock arrive at once. Time
in which nothing happens costs a simulator with a system clock as much as any other: the pause
between polls is cut to a quarter of a read, and bounce to two polls. Every width in a read is the
sheet's, on a grid of 1 ns.
"""

from dataclasses import replace

from padbench.core.findings import Source
from padbench.core.limits import Limit, Limits
from padbench.core.pad import LineDelays
from padbench.core.stimulus import PollTiming, Stimulus
from padbench.core.units import to_ps
from padbench.cosim.grid import GRID, on_grid
from padbench.scenarios import Setting
from padbench.sheet import Sheet
from padbench.trials import setting_of

__all__ = ["brisk", "gridded", "hdl_setting", "system_period"]

_SYNCHRONISED = (
    Source(
        "two samples of the system clock, so that an edge cannot slip between them", "calculated"
    ),
)
_ANSWER_EDGES = 4
"""Periods in which a design behind two flip-flops answers, one more than it has to take."""


def system_period(sheet: Sheet) -> int | None:
    """Period of the design's own clock in picoseconds; None if it has none."""
    if sheet.hdl is None or sheet.hdl.frequency is None:
        return None
    return round(1e12 / sheet.hdl.frequency.nominal)


def hdl_setting(sheet: Sheet) -> Setting:
    """The sheet's pad and poll, with the design in place of the register."""
    base = setting_of(sheet, sheet.works_with.ports[0], "fast").typed
    timing = _timing(base.timing)
    reading = base.passes * (timing.length + timing.latch_to_clock)
    period = on_grid(reading + timing.length // 4)
    return replace(
        base,
        pad=replace(
            base.pad,
            limits=_limits(sheet, base.pad.limits),
            load="transparent",
            load_inverted=False,
            floating=False,
            answer=0,
            latch_line=LineDelays(),
            clock_line=LineDelays(),
        ),
        timing=timing,
        period=period,
        bounce=min(base.bounce, 2 * period),
    )


def _limits(sheet: Sheet, limits: Limits) -> Limits:
    """The part's limits, widened by what the system clock can see."""
    period = system_period(sheet)
    if period is None:
        return limits
    two = Limit(2 * period, _SYNCHRONISED)
    return Limits(
        load_width=_wider(limits.load_width, two),
        clock_width=_wider(limits.clock_width, two),
        clock_period=_wider(limits.clock_period, Limit(4 * period, _SYNCHRONISED)),
        removal=_wider(limits.removal, two),
        setup_parallel=_wider(limits.setup_parallel, _setup(sheet, two)),
        answer=Limit(_ANSWER_EDGES * period + 1, _SYNCHRONISED),
    )


def _setup(sheet: Sheet, otherwise: Limit) -> Limit:
    """How long before the latch's fall the buttons must stand, as the design promises."""
    promised = sheet.hdl.setup if sheet.hdl is not None else None
    if promised is None:
        return otherwise
    return Limit(to_ps(promised.nominal), (Source("the sheet, hdl.setup", "given"),))


def _wider(one: Limit, other: Limit) -> Limit:
    return one if one.ps >= other.ps else other


def _timing(timing: PollTiming) -> PollTiming:
    return PollTiming(
        latch_width=on_grid(timing.latch_width),
        latch_to_clock=on_grid(timing.latch_to_clock),
        clock_low=on_grid(timing.clock_low),
        clock_high=on_grid(timing.clock_high),
        sample=on_grid(timing.sample),
        clocks=timing.clocks,
    )


def brisk(setting: Setting) -> Setting:
    """The same with a poll about as quick as its limits allow, for runs of very many reads."""
    limits = setting.pad.limits
    low = on_grid(max(limits.clock_width.ps, limits.removal.ps, limits.clock_period.ps // 2) + GRID)
    high = on_grid(max(low, limits.answer.ps) + GRID)
    timing = PollTiming(on_grid(limits.load_width.ps + limits.answer.ps), low, low, high, low)
    gap = timing.length // 4 + 4 * limits.setup_parallel.ps
    return replace(setting, timing=timing, period=on_grid(timing.length + low + gap), passes=1)


def gridded(stimulus: Stimulus) -> Stimulus:
    """The same with every time on the grid."""
    return replace(
        stimulus,
        contacts=tuple((on_grid(when), byte) for when, byte in stimulus.contacts),
        reads=tuple(replace(read, start=on_grid(read.start)) for read in stimulus.reads),
        end=on_grid(stimulus.end) + GRID,
        notes=tuple((on_grid(when), text) for when, text in stimulus.notes),
    )
