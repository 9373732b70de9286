"""The law of the wires: pulse widths, removal, set-up, and data that stands when it is sampled.

    findings = judge_timing(timeline, decode(timeline), limits)

Each rule measures every read and yields one finding with the worst value met, whether it holds or
not. The rules see a timeline only, so a simulation, an HDL run and a capture are judged alike.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from padbench.core.decode import Names, Read, ReadArrays, inside
from padbench.core.findings import Fact, Finding, Rule, Source
from padbench.core.levels import HIGH, LOW
from padbench.core.limits import Limit, Limits, judge_count, judge_times, unjudged
from padbench.core.timeline import Timeline, Times, Wire, Word
from padbench.core.wire_names import PAD_CLOCK, PAD_INPUTS, PAD_LOAD

_CABLE = ("cable.length", "cable.capacitance")
_LATCH = ("resistors.latch-to-supply", *_CABLE, "poll.latch-width", "register.shortest-pulse")
_CLOCK = ("resistors.clock-to-supply", *_CABLE)
_PULSE = "register.shortest-pulse"


def _shortest(
    id_: str,
    what: str,
    mends: tuple[str, ...] | None,
    needs: str = "the register needs",
    **more: str,
) -> Rule:
    """A rule of times that must be long enough: what they are, and who needs them to be."""
    texts = {
        "pass": f"shortest {what}: {{measured:4}}; needs {{limit:4}}",
        "fail": f"shortest {what}: {{measured:4}}, less than the {{limit:4}} that {needs}",
        "none": f"the run has no {what}",
    }
    return Rule(f"timing.{id_}", "s", {**texts, **more}, mends)


def _arrives(line: str, mends: tuple[str, ...]) -> Rule:
    return Rule(
        f"timing.{line}-arrives",
        "edges",
        {
            "pass": f"every {line} edge that the console sends reaches the register",
            "fail": f"{{lost}} of {{sent}} {line} edges never reach the register: the line gets"
            " there too slowly, or not at all",
            "not-judged": f"the timeline does not show the {line} at both ends of the cable",
            "none": f"the console sends no {line} edge",
        },
        mends,
    )


_FIRST_BIT = (
    *(*_CABLE, "resistors.latch-to-supply", "register.first-bit"),
    *("poll.latch-width", "poll.latch-to-clock", "poll.sample"),
)
_LATER_BITS = (
    *(*_CABLE, "resistors.clock-to-supply"),
    *("register.next-bit", "poll.clock-high", "poll.sample"),
)
_UNSAMPLED = {
    "needs": "register and cable need",
    "none": "no bit is sampled before the clock moves on from it",
    "silent": "the data line is at no level whenever it is sampled",
}

RULES = {
    rule.id: rule
    for rule in (
        _arrives("latch", _LATCH),
        _arrives("clock", (*_CLOCK, "poll.clock-low", "poll.clock-high", _PULSE)),
        _shortest("latch-width", "load pulse", _LATCH),
        _shortest("clock-low", "low part of the clock", (*_CLOCK, "poll.clock-low", _PULSE)),
        _shortest("clock-high", "high part of the clock", (*_CLOCK, "poll.clock-high", _PULSE)),
        _shortest(
            "clock-period",
            "time between two rising clock edges",
            ("poll.clock-high", "poll.clock-low", "register.next-bit"),
        ),
        _shortest(
            "removal",
            "time from the end of the load to the first rising clock edge",
            (
                *("resistors.latch-to-supply", *_CLOCK),
                *("poll.latch-to-clock", "poll.clock-low", _PULSE),
            ),
            overtaken="a rising clock edge sent before the load ends reaches the register {late:s4}"
            " after it: the line rises more slowly than the latch falls, and a bit is shifted away",
        ),
        Rule(
            "timing.clock-at-load-end",
            "edges",
            {
                "pass": "the clock stands high whenever the load ends",
                "fail": "{low} of {ends:end|ends} of a load come while the clock is low: this part"
                " may shift then",
                "none": "no load ends while the clock is at a level",
            },
            ("poll.latch-to-clock", *_CLOCK),
        ),
        _shortest(
            "setup-parallel",
            "steady time of the inputs before load end",
            None,
            **{"not-judged": "the timeline does not show the register's inputs"},
        ),
        _shortest("first-bit", "time from the latch to the first sample", _FIRST_BIT, **_UNSAMPLED),
        _shortest("later-bits", "time from a clock to its sample", _LATER_BITS, **_UNSAMPLED),
        Rule(
            "timing.clocks",
            "clocks",
            {
                "pass": "every whole read has a clock for each of the eight buttons",
                "fail": "a read has {measured}; eight buttons take eight",
                "not-judged": "no whole read",
            },
            ("poll.clocks", "poll.routine"),
        ),
        Rule(
            "timing.sample-point",
            "s",
            {
                "pass": "every sample comes no later than the edge that ends its clock pulse",
                "fail": "a sample comes {late:s4} after the edge that ends its clock pulse",
                "pass-held": "every sample comes while its bit stands, {held:s4} after its clock "
                "pulse",
                "fail-held": "a sample comes {late:s4} after the edge that ends its clock pulse; "
                "the bit is held for {held:s4}",
                "not-judged": "the timeline does not show when the console sampled",
                "none": "the run has no sample with a clock",
            },
            ("poll.sample", "poll.clock-low"),
        ),
    )
}
"""Every rule of the wires by its id: unit, sentences, and what would mend it."""

_LINE = Source("first-order RC of the line; a line that nothing lifts never rises", "calculated")
_EIGHT_CLOCKS = Source("one latch pulse and eight clock pulses", "common practice")
_READ_CYCLE = Source("read cycle of the port", "from memory")
_NEVER = np.iinfo(np.int64).max


@dataclass(frozen=True, slots=True)
class PinNames:
    """Wires at the register's own pins, after cable and inverter; the load is active high here."""

    load: str = PAD_LOAD
    clock: str = PAD_CLOCK
    inputs: str = PAD_INPUTS


def judge_timing(
    timeline: Timeline,
    reads: Sequence[Read] | ReadArrays,
    limits: Limits,
    *,
    short: NDArray[np.bool_] | None = None,
    pins: PinNames | None = None,
    names: Names | None = None,
) -> tuple[Finding, ...]:
    """Findings ``timing.*`` for one timeline, in the order of `RULES`.

    ``reads`` are those of the same timeline and ``names``; where they are arrays ``short`` says
    which of them were cut short. A rule whose wires the timeline lacks,
    or whose edges never come, is "not-judged". The clock at the load's end is judged only for a
    register that asks for it.
    """
    pins = pins or PinNames()
    names = names or Names()
    load, clock = timeline.wire(pins.load), timeline.wire(pins.clock)
    rises = _while_shifting(clock.rises(), load)
    if not isinstance(reads, ReadArrays):
        short = np.asarray([read.cut_short for read in reads], bool)
        reads = ReadArrays.of(reads)
    elif short is None:
        short = reads.short()
    samples = _Samples(reads)
    silent = not (reads.levels[inside(reads.sample_cuts)] <= HIGH).any()

    def least(id_: str, times: tuple[Times, Times], limit: Limit) -> Finding:
        return judge_times(RULES[f"timing.{id_}"], *times, limit)

    return (
        _every_edge(timeline, "timing.latch-arrives", names.latch, pins.load),
        _every_edge(timeline, "timing.clock-arrives", names.clock, pins.clock),
        least("latch-width", _pulses(load, HIGH, timeline.end_ps), limits.load_width),
        least("clock-low", _low_pulses(clock.falls(), rises), limits.clock_width),
        least("clock-high", _high_pulses(clock.falls(), rises), limits.clock_width),
        least("clock-period", _periods(rises, load), limits.clock_period),
        _overtaken(timeline, names, load, clock, limits.removal)
        or least("removal", _removals(load.falls(), load.rises(), rises), limits.removal),
        *_clock_at_load_end(load.falls(), clock, limits.clock_at_load_end),
        _setup(timeline.words.get(pins.inputs), load, limits.setup_parallel),
        *_arrivals(samples, limits, silent=silent),
        _clocks(reads, short, timeline.end_ps),
        _sampled_before_shift(samples, limits.hold, sampled=names.sample in timeline.events),
    )


def _first_lost(sent: Wire, arrived: Wire) -> int:
    """When the first edge was sent that had not arrived two edges later; else the last edge."""
    edges = sent.times[1:]
    come = np.searchsorted(arrived.times[1:], edges[2:], side="right")
    late = np.flatnonzero(come < np.arange(1, len(edges) - 1))
    return int(edges[late[0]] if len(late) else edges[-1])


def _every_edge(timeline: Timeline, id_: str, sent_name: str, arrived_name: str) -> Finding:
    """As many edges at the register as the console sent; a slow line may swallow some.

    Edges are counted, not pulses, so that an inverted load counts alike. One may still be on its
    way when the timeline ends.
    """
    rule, sources = RULES[id_], (_LINE,)
    sent_wire, arrived = timeline.wires.get(sent_name), timeline.wires.get(arrived_name)
    if sent_wire is None or arrived is None or sent_wire is arrived:
        return Finding(rule, "not-judged", sources=sources)
    sent, got = len(sent_wire.times) - 1, len(arrived.times) - 1
    if not sent:
        return Finding(rule, "not-judged", sources=sources, case="none")
    lost = sent - got if sent - got > 1 else 0
    at = _first_lost(sent_wire, arrived) if lost else None
    facts = {"lost": sent - got, "sent": sent}
    return judge_count(rule, float(got), float(sent), float(-lost), at, sources, facts)


def _pulses(wire: Wire, level: int, end: int) -> tuple[Times, Times]:
    """Starts and widths of the whole pulses at ``level``; one still running at the end is not."""
    starts = wire.times[1:][wire.levels[1:] == level]
    stops = np.append(wire.times[1:], end)[np.searchsorted(wire.times, starts)]
    whole = stops < end
    return starts[whole], (stops - starts)[whole]


def _while_shifting(edges: Times, load: Wire) -> Times:
    """Those clock edges at which the load is off; while it is on the clock does nothing.

    An edge at the very moment at which the load ends counts: it has no removal time at all.
    """
    chosen: Times = edges[load.at(edges) != HIGH]
    return chosen


def _low_pulses(falls: Times, rises: Times) -> tuple[Times, Times]:
    """Starts and widths of the low pulses of a clock that end in the given rising edges."""
    place = np.searchsorted(falls, rises) - 1
    known = place >= 0
    starts = falls[place[known]]
    return starts, rises[known] - starts


def _high_pulses(falls: Times, rises: Times) -> tuple[Times, Times]:
    """High pulses between two shifting edges: from a rising edge to the fall that follows it."""
    place = np.searchsorted(falls, rises)
    known = place < len(falls)
    return rises[known], falls[place[known]] - rises[known]


def _removals(load_ends: Times, load_starts: Times, rises: Times) -> tuple[Times, Times]:
    """For each end of a load: the next rising clock edge, if it comes before the next load."""
    place = np.searchsorted(rises, load_ends, side="left")
    known = place < len(rises)
    ends, edges = load_ends[known], rises[place[known]]
    following = np.append(load_starts, _NEVER)[np.searchsorted(load_starts, ends)]
    own = edges < following
    return ends[own], (edges - ends)[own]


def _overtaken(
    timeline: Timeline, names: Names, load: Wire, clock: Wire, limit: Limit
) -> Finding | None:
    """A rising clock edge sent before the end of a load that arrives after it, None without one.

    A console that reads while its latch is high means no shift by it; a line that rises more slowly
    than the latch falls makes one of it. The edge comes too early for the removal by all the time
    by which it is late. An arrival belongs to the last edge sent until then, at the latest.
    """
    latch, sent = timeline.wires.get(names.latch), timeline.wires.get(names.clock)
    if latch is None or sent is None or latch is load or sent is clock:
        return None
    arrived = _while_shifting(clock.rises(), load)
    source, fall, end = (
        _last_until(arrived, times) for times in (sent.rises(), latch.falls(), load.falls())
    )
    late = (source >= 0) & (source <= fall) & (fall <= end)
    if not late.any():
        return None
    finding = judge_times(
        RULES["timing.removal"], arrived[late], (end - arrived)[late], limit, case="overtaken"
    )
    # Even where no time at all is asked for: the register shifts where the console meant none.
    return replace(finding, verdict="fail", facts={"late": -(finding.measured or 0.0)})


def _clock_at_load_end(
    load_ends: Times, clock: Wire, sources: tuple[Source, ...]
) -> Iterator[Finding]:
    """The clock's level when a load ends; an edge at that very moment has it low on one side.

    One at no level then says nothing.
    """
    rule = RULES["timing.clock-at-load-end"]
    if not sources:
        return
    before, after = clock.before(load_ends), clock.at(load_ends)
    is_low = (before == LOW) | (after == LOW)
    known = is_low | ((before == HIGH) & (after == HIGH))
    if not known.any():
        yield Finding(rule, "not-judged", sources=sources, case="none")
        return
    low, ends = load_ends[is_low], int(known.sum())
    facts = {"low": len(low), "ends": ends}
    numbers = float(ends - len(low)), float(ends), float(-len(low))
    yield judge_count(rule, *numbers, low, sources, facts)


def _last_until(moments: Times, times: Times) -> Times:
    """For each moment the last of the times that is no later; -1 if there is none."""
    return np.append(times, -1)[np.searchsorted(times, moments, side="right") - 1]


def _periods(rises: Times, load: Wire) -> tuple[Times, Times]:
    """Times between rising edges with no load between them."""
    starts = load.rises()
    same = np.searchsorted(starts, rises[:-1]) == np.searchsorted(starts, rises[1:])
    return rises[:-1][same], np.diff(rises)[same]


def _setup(inputs: Word | None, load: Wire, limit: Limit) -> Finding:
    """How long the parallel inputs had stood when the load ended.

    A change before the load began has had the whole load pulse at least, so it says nothing new.
    One at the very moment of the end counts: it has had no time at all.
    """
    rule = RULES["timing.setup-parallel"]
    if inputs is None:
        return unjudged(rule, limit)
    load_ends, load_starts = load.falls(), load.rises()
    changes = np.asarray(inputs.times[1:], np.int64)
    place = np.searchsorted(changes, load_ends, side="right") - 1
    known = place >= 0
    ends, last = load_ends[known], changes[place[known]]
    # A load that is on from the start has begun before everything.
    begun = np.append(0, load_starts)[np.searchsorted(load_starts, ends)]
    inside = last > begun
    return judge_times(rule, ends[inside], (ends - last)[inside], limit)


class _Samples:
    """Every sample of some reads, in their order, and the clock edges of all of them.

    Of each: ``starts`` and ``ends``, the latch of its own read and the next; ``fall``, the last of
    the clock until then, in its own read if it is later than the start.
    """

    def __init__(self, reads: ReadArrays) -> None:
        self.at = reads.samples[inside(reads.sample_cuts)]
        self.rises = reads.rises[inside(reads.rise_cuts)]
        counts = reads.sample_cuts[1] - reads.sample_cuts[0]
        self.starts = np.repeat(reads.starts, counts)
        self.ends = np.repeat(np.append(reads.starts[1:], _NEVER)[: len(reads)], counts)
        self.first = np.diff(self.starts, prepend=-1) != 0
        self.fall = _last_until(self.at, reads.falls[inside(reads.fall_cuts)])


def _arrivals(samples: _Samples, limits: Limits, *, silent: bool) -> Iterator[Finding]:
    """Time from the edge that brings a bit to the sample that takes it.

    The first bit is brought by the latch's rise, each later one by the rising clock edge before
    the sample. The limit is the slowest answer at the console's end of the cable. Time enough says
    nothing where no bit ever came.
    """
    at, starts = samples.at, samples.starts
    # The edge that ends the sample's own pulse brings nothing yet, if a bit is held after it.
    held = (samples.fall > starts) & (limits.hold is not None)
    rise = _last_until(np.where(held, samples.fall, at) - 1, samples.rises)
    later = rise > starts
    for id_, these, since, limit in (
        ("timing.first-bit", samples.first & ~later, starts, limits.first_answer or limits.answer),
        ("timing.later-bits", later, rise, limits.answer),
    ):
        finding = judge_times(RULES[id_], at[these], (at - since)[these], limit)
        nothing_came = silent and finding.verdict == "pass"
        yield unjudged(RULES[id_], limit, "silent") if nothing_came else finding


def _clocks(reads: ReadArrays, short: NDArray[np.bool_], end: int) -> Finding:
    """A read has eight clock pulses at least.

    One that a new latch cut off is not counted, nor the last one where the timeline breaks off in
    the middle of it.
    """
    rule, sources = RULES["timing.clocks"], (_EIGHT_CLOCKS,)
    whole = np.flatnonzero(~short)
    if len(whole) and not short[-1] and _breaks_off(reads, end):
        whole = whole[:-1]
    if not len(whole):
        return Finding(rule, "not-judged", limit=8.0, sources=sources)
    counts = (reads.rise_cuts[1] - reads.rise_cuts[0])[whole]
    least = int(np.argmin(counts))
    count, start = int(counts[least]), int(reads.starts[whole[least]])
    return judge_count(rule, float(count), 8.0, float(count - 8), start, sources)


def _breaks_off(reads: ReadArrays, end: int) -> bool:
    """Whether the end comes before the last read could have had one more clock: within two of its
    widest steps."""
    rises = reads.rises[slice(*(int(cut[-1]) for cut in reads.rise_cuts))]
    edges = np.sort(np.concatenate([reads.starts[-1:], reads.latch_ends[-1:], rises]))
    return end - int(edges[-1]) <= 2 * int(np.diff(edges).max())


def _sampled_before_shift(samples: _Samples, hold: Limit | None, *, sampled: bool) -> Finding:
    """Each sample must come no later than the edge that ends its own clock pulse.

    The program sees the level that stood before the rising edge (from memory); a console that
    samples later may already see the next bit, since no shortest answer is published. Where one is
    promised, the sample may come so much later.
    """
    rule = RULES["timing.sample-point"]
    limit = Limit(0, (_READ_CYCLE,)) if hold is None else Limit(-hold.ps, hold.sources)
    if not sampled:
        return unjudged(rule, limit)
    begins = np.maximum(samples.fall, samples.starts)
    rise = np.append(samples.rises, _NEVER)[np.searchsorted(samples.rises, begins)]
    own = rise < samples.ends
    finding = judge_times(rule, samples.at[own], (rise - samples.at)[own], limit)
    if finding.measured is None:
        return finding
    facts: dict[str, Fact] = {"late": -finding.measured}
    if hold is None:
        return replace(finding, facts=facts)
    facts["held"] = hold.ps * 1e-12
    return replace(finding, case=f"{finding.verdict}-held", facts=facts)
