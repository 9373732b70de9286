"""The register with the times of its data sheet: what the bench simulates.

Two forms of one behaviour. `steady_register` takes for granted that every limit is kept and
costs as little as a register can. `watched_register` measures every pulse while it runs; where a
limit is broken it marks the stages that can no longer be trusted, and the data line goes to no
level for as long as such a stage stands on it. `padbench.model.bench` picks the second whenever
anything in the run could break a limit; a property test holds the two to the same result where
both apply.
"""

from typing import Any

from myhdl import always, block

from padbench.model.pad import PadModel
from padbench.model.record import Log, now

__all__ = ["NO_LEVEL", "steady_register", "watched_register"]

NO_LEVEL = 2
"""Value of the ``data`` signal while the last stage cannot be trusted, and of an open input."""

_LONG_AGO = -(10**15)


@block
def steady_register(
    pad: PadModel, load: Any, clock: Any, serial: Any, inputs: Any, data: Any, stages: Log
) -> Any:
    """Transparent load while ``load`` is high, else one stage on at each rising clock edge.

    ``data`` carries its delay itself. ``stages`` receives (picoseconds, content) at each change.
    """
    last = pad.stages - 1
    full = (1 << pad.stages) - 1
    content = 0
    append = stages.append

    @always(clock.posedge)
    def shift() -> None:
        nonlocal content
        if not load._val:
            content = (content << 1 | serial._val) & full
            append((now(), content))
            data.next = content >> last

    @always(load, inputs)
    def transparent() -> None:
        nonlocal content
        if load._val:
            content = int(inputs._val)
            append((now(), content))
            data.next = content >> last

    return shift, transparent


@block
def watched_register(
    pad: PadModel,
    load: Any,
    clock: Any,
    serial: Any,
    inputs: Any,
    data: Any,
    stages: Log,
    doubts: Log,
) -> Any:
    """As `steady_register`, for any part and any timing.

    ``doubts`` receives (picoseconds, mask of stages that cannot be trusted). Nothing can be
    trusted before the first load. The limits are those of ``pad.limits``.
    """
    last = pad.stages - 1
    full = (1 << pad.stages) - 1
    limits = pad.limits
    floats = sum(1 << (stage - 1) for _, stage in pad.stage_of) if pad.floating else 0
    synchronous = pad.load == "synchronous"

    content, doubt = 0, full
    load_rose = load_fell = clock_rose = clock_fell = _LONG_AGO
    moved_at = [_LONG_AGO] * pad.stages
    seen_inputs = int(inputs._val)

    def show() -> None:
        stages.append((now(), content))
        doubts.append((now(), doubt))
        data.next = NO_LEVEL if doubt >> last else content >> last

    def take_inputs() -> None:
        nonlocal content, doubt
        content = int(inputs._val)
        # An open contact without a pull-up stands high in ``inputs`` but is at no level at all.
        doubt = content & floats

    @always(clock.negedge)
    def clock_falls() -> None:
        nonlocal doubt, clock_fell
        clock_fell = now()
        # While loading, and between the load and the first edge, no shift depends on this width.
        if not load._val and clock_rose > load_fell and _short(clock_rose, limits.clock_width.ps):
            doubt = full
            show()

    @always(clock.posedge)
    def clock_rises() -> None:
        nonlocal content, doubt, clock_rose
        broken = (
            _short(clock_fell, limits.clock_width.ps)
            or (clock_rose > load_fell and _short(clock_rose, limits.clock_period.ps))
            or (not synchronous and _short(load_fell, limits.removal.ps))
        )
        clock_rose = now()
        if load._val:
            if not synchronous:
                return
            take_inputs()
        else:
            level = serial._val
            content = (content << 1 | (level & 1)) & full
            doubt = (doubt << 1 | (level == NO_LEVEL)) & full
        if broken:
            doubt = full
        show()

    @always(load, inputs)
    def loading() -> None:
        nonlocal doubt, load_rose, load_fell, seen_inputs
        level, word = int(inputs._val), load._val
        changed, seen_inputs = seen_inputs ^ level, level
        for place in range(pad.stages):
            if changed >> place & 1:
                moved_at[place] = now()
        if word and load_rose <= load_fell:
            load_rose = now()
        if synchronous:
            if not word and load_rose > load_fell:
                load_fell = now()
            return
        if word:
            take_inputs()
            show()
        elif load_rose > load_fell:
            load_fell = now()
            late = sum(
                1 << place
                for place, moved in enumerate(moved_at)
                if moved > load_rose and _short(moved, limits.setup_parallel.ps)
            )
            doubt |= full if _short(load_rose, limits.load_width.ps) else late
            show()

    return clock_falls, clock_rises, loading


def _short(since: int, limit: int) -> bool:
    """Whether less than ``limit`` picoseconds have passed since then."""
    return now() - since < limit
