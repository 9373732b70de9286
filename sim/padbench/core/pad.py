"""What the simulation needs to know of one pad on one port at one corner: numbers only.

PadModel(limits, serial=0, answer=320_000)                    # a register, eight buttons, as usual
replace(pad, clock_line=LineDelays(rise=900_000, fall=20_000))  # on a line that rises slowly
"""

from dataclasses import dataclass, replace
from typing import Literal

from padbench.core.limits import Limits

Policy = Literal["both", "neither", "newer", "older"]


@dataclass(frozen=True, slots=True)
class LineDelays:
    """How late an edge of a line reaches the register, in picoseconds; None: it never does."""

    rise: int | None = 0
    fall: int | None = 0


Seen = Literal["own", "low", "high", "latch", "clock", "wired"]
"""What a pin sees: its own line, a level, another one, or latch and clock joined (low wins)."""


@dataclass(frozen=True, slots=True)
class Defect:
    """What is broken, as the circuit shows it; the defaults are a sound pad.

    Masks of stages have stage 1 in bit 0; NO_LEVEL is 2, as everywhere. ``dead`` are buttons
    (byte) whose contacts pull nothing, ``moved`` (button bit, stage) pairs that pull that stage and
    not their own. ``joined`` are (stage, stage) pairs: what pulls the one pulls the other, and so
    on; ``drags`` are the inputs (mask) that pull the data line while they are pulled. ``inputs``
    and ``stages`` are (mask, levels) of inputs and stages that never change. ``no_level`` are the
    inputs without a level while not pulled, and while pulled. ``early``: data comes from the stage
    before the last. ``latch`` and ``clock`` say what the
    load pin and the clock pin see; ``lost`` and ``extra`` are the clock of each read, from 1, that
    does not arrive, or arrives twice. ``data`` is the level of the data line at the console,
    ``serial`` that of the serial input. ``synchronous`` and ``inverted`` are the load of a part
    that does not belong there. ``links`` are the stages (mask) behind an open link of a chain,
    those of them that take in a high, and those that take in no level.
    """

    dead: int = 0
    moved: tuple[tuple[int, int], ...] = ()
    joined: tuple[tuple[int, int], ...] = ()
    drags: int = 0
    early: bool = False
    inputs: tuple[int, int] = (0, 0)
    no_level: tuple[int, int] = (0, 0)
    stages: tuple[int, int] = (0, 0)
    latch: Seen = "own"
    clock: Seen = "own"
    lost: int = 0
    extra: int = 0
    data: int | None = None
    serial: int | None = None
    synchronous: bool = False
    inverted: bool = False
    links: tuple[int, int, int] = (0, 0, 0)

    def __or__(self, other: "Defect") -> "Defect":
        """Both at once; where both set a level, the first has the say."""
        mask, levels = self.inputs
        stuck, held = self.stages
        open_, high, loose = self.links
        return Defect(
            self.dead | other.dead,
            (*self.moved, *other.moved),
            (*self.joined, *other.joined),
            self.drags | other.drags,
            self.early or other.early,
            (mask | other.inputs[0], levels | other.inputs[1] & ~mask),
            (self.no_level[0] | other.no_level[0], self.no_level[1] | other.no_level[1]),
            (stuck | other.stages[0], held | other.stages[1] & ~stuck),
            other.latch if self.latch == "own" else self.latch,
            other.clock if self.clock == "own" else self.clock,
            self.lost or other.lost,
            self.extra or other.extra,
            other.data if self.data is None else self.data,
            other.serial if self.serial is None else self.serial,
            self.synchronous or other.synchronous,
            self.inverted or other.inverted,
            (open_ | other.links[0], high | other.links[1], loose | other.links[2]),
        )


SOUND = Defect()


@dataclass(frozen=True, slots=True)
class Beside:
    """Another pad in the same chain: its name, its first bit of a read (from 0), what it holds."""

    name: str
    first: int
    byte: int


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
    others. ``defect`` is what is broken; it reaches what the wires do, never what is expected.
    ``dragging`` are buttons (byte) that pull the data line low while they are down.
    Where several pads are one chain, ``first`` is the place (from 0) of this one's first bit in a
    read, and ``beside`` are the others.
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
    defect: Defect = SOUND
    first: int = 0
    beside: tuple[Beside, ...] = ()
    dragging: int = 0

    def as_broken(self) -> "PadModel":
        """The same with as much of the defect as the other fields can say, and only the rest of
        it in ``defect``."""
        broken = self.defect
        if broken == SOUND:
            return self
        serial = self.serial if broken.serial is None else broken.serial
        pad = replace(
            self,
            stage_of=_pulled(self.stage_of, broken),
            serial=None if serial == 2 else serial,
            load="synchronous" if broken.synchronous else self.load,
            load_inverted=self.load_inverted != broken.inverted,
            dragging=self._dragging(),
            defect=Defect(
                inputs=broken.inputs,
                no_level=broken.no_level,
                stages=broken.stages,
                latch=broken.latch,
                clock=broken.clock,
                lost=broken.lost,
                extra=broken.extra,
                data=broken.data,
                links=broken.links,
            ),
        )
        return pad._a_stage_on() if broken.early else pad

    def _dragging(self) -> int:
        """What pulls an input that is joined to the output: not what only the output does."""
        broken = self.defect
        own = tuple(one for one in broken.joined if one[0] != self.stages)
        pairs = _pulled(self.stage_of, replace(broken, joined=own)) if broken.drags else ()
        return sum({bit for bit, stage in pairs if broken.drags >> stage - 1 & 1})

    def _a_stage_on(self) -> "PadModel":
        """As if each stage were the next, and stage 1 what the serial input has: so reads a
        register whose data comes from the stage before the last."""
        full, rest = (1 << self.stages) - 1, self.defect
        (mask, levels), (loose, pulled) = rest.inputs, rest.no_level
        (stuck, at), links = rest.stages, rest.links
        tied = self.serial is not None
        return replace(
            self,
            stage_of=tuple((bit, stage + 1) for bit, stage in self.stage_of if stage < self.stages),
            beside=tuple(replace(one, first=one.first - 1) for one in self.beside),
            dragging=0,  # the last output is joined to nothing then
            defect=replace(
                rest,
                inputs=((mask << 1 | tied) & full, (levels << 1 | bool(self.serial)) & full),
                no_level=((loose << 1 | (not tied)) & full, pulled << 1 & full),
                stages=(stuck << 1 & full, at << 1 & full),
                links=(links[0] << 1 & full, links[1] << 1 & full, links[2] << 1 & full),
            ),
        )

    @property
    def no_level(self) -> tuple[int, int]:
        """Inputs (mask of stages) without a level while not pulled, and while pulled."""
        loose, pulled = self.defect.no_level
        if self.floating:
            loose |= sum(1 << stage - 1 for stage in {stage for _, stage in self.stage_of})
        fixed = self.defect.inputs[0]
        return loose & ~fixed, pulled & ~fixed

    def answers(self, loading: bool) -> tuple[int, int]:
        """Soonest and longest answer, to the load or to a clock."""
        if loading and self.first_answer is not None:
            return self.first_soonest, self.first_answer
        return self.soonest, self.answer


def _pulled(stage_of: tuple[tuple[int, int], ...], broken: Defect) -> tuple[tuple[int, int], ...]:
    """Pairs of a button's bit and a stage that it pulls, through all that is joined."""
    gone = broken.dead | sum({bit for bit, _ in broken.moved})
    pairs = [pair for pair in stage_of if not pair[0] & gone]
    pairs += [pair for pair in broken.moved if not pair[0] & broken.dead]
    for bit, stage in pairs:  # grows as it goes
        pairs += [(bit, to) for at, to in broken.joined if at == stage and (bit, to) not in pairs]
    return tuple(pairs)
