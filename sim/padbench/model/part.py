"""The register with the times of its data sheet: what the bench simulates.

Two forms of one behaviour. `steady_register` takes for granted that every limit is kept and
costs as little as a register can. `watched_register` measures every pulse while it runs; where a
limit is broken it marks the stages that can no longer be trusted, and the data line goes to no
level for as long as such a stage stands on it. `padbench.model.simulation` picks the second
whenever anything in the run could break a limit; a property test holds the two to the same result
where both apply.
"""

from typing import Any

from myhdl import _simulator

from padbench.core.pad import PadModel
from padbench.model.record import Log, now, on_change

NO_LEVEL = 2
"""Value of the ``data`` signal while the last stage cannot be trusted, and of an open input."""

_LONG_AGO = -(10**15)


def steady_register(
    pad: PadModel, load: Any, clock: Any, serial: Any, inputs: Any, data: Any, stages: Log
) -> Any:
    """Transparent load while ``load`` is high, else one stage on at each rising clock edge.

    ``data`` carries its delay itself. ``stages`` receives the content at each change.
    """
    last = pad.stages - 1
    full = (1 << pad.stages) - 1
    content = 0
    shown = NO_LEVEL
    add_time, add_content = stages.times.append, stages.values.append

    def shift() -> None:
        nonlocal content, shown
        if not load._val:
            content = (content << 1 | serial._val) & full
            add_time(_simulator._time)
            add_content(content)
            # An assignment costs even where it changes nothing, so there is none.
            if content >> last != shown:
                shown = content >> last
                data.next = shown

    def transparent() -> None:
        nonlocal content, shown
        if load._val:
            content = int(inputs._val)
            stages.add(content)
            shown = content >> last
            data.next = shown

    return on_change(shift, clock.posedge), on_change(transparent, load, inputs)


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

    ``doubts`` receives the mask of stages that cannot be trusted. Nothing can be
    trusted before the first load. The limits are those of ``pad.limits``.
    """
    watch = _Watch(pad, serial, inputs, data, stages, doubts)
    synchronous = pad.load == "synchronous"

    def clock_falls() -> None:
        watch.clock_falls(load._val)

    def clock_rises() -> None:
        # The load may have fallen at this very moment, and its own process not have run yet.
        watch.load_is(load._val)
        if load._val and synchronous:
            watch.load_on_clock()
        elif not load._val:
            watch.shift()
        watch.clock_rose = now()

    def loading() -> None:
        watch.inputs_move()
        watch.load_is(load._val)
        if load._val and not synchronous:
            watch.take_inputs()
            watch.show()

    def from_the_start() -> Any:
        # A load that is high before anything happens is no event, and loads all the same.
        if load._val and not synchronous:
            watch.take_inputs()
            watch.show()
        yield load

    return (
        on_change(clock_falls, clock.negedge),
        on_change(clock_rises, clock.posedge),
        on_change(loading, load, inputs),
        from_the_start(),
    )


class _Watch:
    """State of a watched register: its content, what of it is in doubt, and when edges came."""

    def __init__(
        self, pad: PadModel, serial: Any, inputs: Any, data: Any, stages: Log, doubts: Log
    ) -> None:
        self.limits = pad.limits
        self.serial, self.inputs, self.data = serial, inputs, data
        self.stages, self.doubts = stages, doubts
        self.last = pad.stages - 1
        self.full = (1 << pad.stages) - 1
        self.loose, self.pulled = pad.no_level
        self.stuck, self.stuck_at = pad.defect.stages
        self.open_link, self.link_high, self.link_loose = pad.defect.links
        self.synchronous = pad.load == "synchronous"
        self.content, self.doubt = 0, self.full
        self.load_rose = self.load_fell = self.clock_rose = self.clock_fell = _LONG_AGO
        self.moved_at = [_LONG_AGO] * pad.stages
        self.seen = int(inputs._val)

    def show(self) -> None:
        """Record the stages and put the last one on the data line."""
        self.content = self.content & ~self.stuck | self.stuck_at
        self.doubt &= ~self.stuck
        self.stages.add(self.content)
        self.doubts.add(self.doubt)
        self.data.next = NO_LEVEL if self.doubt >> self.last else self.content >> self.last

    def take_inputs(self) -> None:
        self.content = int(self.inputs._val)
        # An open contact without a pull-up stands high in ``inputs`` but is at no level at all.
        self.doubt = self.content & self.loose | ~self.content & self.pulled

    def inputs_move(self) -> None:
        word = int(self.inputs._val)
        changed, self.seen = self.seen ^ word, word
        for place in range(self.last + 1):
            if changed >> place & 1:
                self.moved_at[place] = now()
        if changed and self.load_fell == now():
            # As good as no set-up time at all: which of the two came first nobody can say.
            self.doubt |= changed
            self.show()

    def load_is(self, level: int) -> None:
        """Note the edges of the load; at its end, judge its width and the inputs' set-up."""
        loading = self.load_rose > self.load_fell
        if level and not loading:
            self.load_rose = now()
        elif not level and loading:
            self.load_fell = now()
            if self.synchronous:
                return
            if _short(self.load_rose, self.limits.load_width.ps):
                self.doubt = self.full
            setup = self.limits.setup_parallel.ps
            for place, moved in enumerate(self.moved_at):
                if moved > self.load_rose and _short(moved, setup):
                    self.doubt |= 1 << place
            self.show()

    def clock_falls(self, loading: int) -> None:
        self.clock_fell = now()
        # A high part counts once a shift began it: before the first edge nothing depends on it.
        shifted = self.clock_rose > self.load_fell
        if not loading and shifted and _short(self.clock_rose, self.limits.clock_width.ps):
            self.doubt = self.full
            self.show()

    def shift(self) -> None:
        level = self.serial._val
        moved, doubt = self.content << 1 | (level & 1), self.doubt << 1 | (level == NO_LEVEL)
        self.content = moved & self.full & ~self.open_link | self.link_high
        self.doubt = doubt & self.full & ~self.open_link | self.link_loose
        self._judge_clock()
        self.show()

    def load_on_clock(self) -> None:
        self.take_inputs()
        self._judge_clock()
        self.show()

    def _judge_clock(self) -> None:
        limits = self.limits
        shifted = self.clock_rose > self.load_fell
        if (
            _short(self.clock_fell, limits.clock_width.ps)
            or (shifted and _short(self.clock_rose, limits.clock_period.ps))
            or (not self.synchronous and _short(self.load_fell, limits.removal.ps))
        ):
            self.doubt = self.full


def _short(since: int, limit: int) -> bool:
    """Whether less than ``limit`` picoseconds have passed since then."""
    return now() - since < limit
