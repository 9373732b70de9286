"""Running scenarios at every corner and on every port, and judging what the wires did.

trial = try_sheet(load_sheet(Path("pad.toml")))
trial.findings, trial.runs, trial.ports
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeVar

import numpy as np

from padbench.circuit.electric import PortRow, judge_electric
from padbench.circuit.mending import with_remedies
from padbench.circuit.pad_model import CORNERS, Corner, pad_model
from padbench.core.buttons import spelled
from padbench.core.decode import Names, Read, decode
from padbench.core.findings import Fact, Finding, overall, worst_of_each
from padbench.core.levels import HIGH, LOW
from padbench.core.limits import Limits
from padbench.core.pad import Beside
from padbench.core.remedies import joined
from padbench.core.stimulus import POLL_TIMES, PollTiming
from padbench.core.timeline import Timeline, Word
from padbench.core.timing import judge_timing
from padbench.core.units import Value, to_ps
from padbench.model.simulation import simulate
from padbench.routines.poll import poll_of
from padbench.scenarios import ROUTINE_SCENARIOS, SCENARIOS, Scenario, Script, Setting
from padbench.scenarios.expect import accepted_states, fits
from padbench.sheet import Sheet
from padbench.trials.scenario_run import Played, Problem, ReadResult, ScenarioRun
from padbench.wiring.mistakes import judge_family, judge_wiring

T = TypeVar("T")


def setting_of(sheet: Sheet, port: str, corner: Corner) -> Setting:
    """The sheet as scenarios want it, on one kind of port and at one corner.

    Raises `RoutineError` if the poll is a routine that cannot be used.
    """
    poll, pad = sheet.poll, pad_model(sheet, port, corner)
    bounce = to_ps(sheet.contacts.bounce.high)
    made = poll_of(sheet.poll)
    if made is not None:
        return Setting(pad, made.timing, made.period, bounce, made.passes, routine=made)

    def time(name: str) -> int:
        # A quick console is hardest on a slow pad, and the other way round.
        value: Value = getattr(poll, name)
        return to_ps(value.low if corner == "slow" else value.high)

    timing = PollTiming(**{name: time(name) for name in POLL_TIMES}, clocks=poll.clocks)
    return Setting(pad, timing, time("period"), bounce, poll.passes)


def scenarios_of(sheet: Sheet) -> dict[str, Scenario]:
    """The shipped scenarios that this sheet's poll can play, by name."""
    return SCENARIOS if sheet.poll.routine is None else SCENARIOS | ROUTINE_SCENARIOS


@dataclass(frozen=True)
class Trial:
    """All that a sheet was put to.

    ``runs`` has one run a scenario: the first that failed, else the one at the slow corner on the
    first port of the sheet, and ``scenarios`` are what was played. ``ports`` says which variants of
    the pad work on which kinds of port; it is no part of the verdict. ``every`` has all runs, at
    each corner on each port.
    """

    findings: tuple[Finding, ...]
    runs: tuple[ScenarioRun, ...]
    ports: tuple[PortRow, ...]
    every: tuple[ScenarioRun, ...] = ()
    scenarios: tuple[Scenario, ...] = ()

    @property
    def verdict(self) -> Literal["pass", "fail"]:
        """``fail`` if any finding or any scenario fails."""
        return overall([*(f.verdict for f in self.findings), *(r.verdict for r in self.runs)])


def try_sheet(
    sheet: Sheet,
    scenarios: Sequence[Scenario] | None = None,
    *,
    step: Callable[[], None] = lambda: None,
    keep: Callable[[ScenarioRun], None] = lambda _: None,
    remedies: bool = True,
) -> Trial:
    """Judge a design: wiring, levels and edges, then every scenario on every port at both corners.

    ``step`` is called after each run (for a progress bar), ``keep`` with the one run of each
    scenario that stands for it, as soon as it is known (to write its wave). Without ``remedies``
    nobody looks for what would mend it. Raises `RoutineError` as `setting_of` does.
    """
    poll = poll_of(sheet.poll)
    design = sheet if poll is None else poll.timed(sheet)
    electric = judge_electric(design, remedies=remedies)
    findings = [*judge_wiring(sheet), *judge_family(design), *electric.findings]
    if poll is not None:
        findings += poll.findings(fail=sheet.policy.exposed_routine == "fail")
    timing: list[Finding] = []
    chosen, every = [], []
    settings = {
        (port, corner): setting_of(sheet, port, corner)
        for port in sheet.works_with.ports
        for corner in CORNERS
    }
    played = tuple(scenarios_of(sheet).values() if scenarios is None else scenarios)
    for scenario in played:
        runs = []
        for (port, corner), setting in settings.items():
            runs.append(run_at(setting, scenario, port, corner))
            # The worst of each rule is all that is wanted, however many runs there are.
            timing = list(worst_of_each([*timing, *runs[-1].findings]))
            step()
        shown = standing_for_all(runs)
        every += runs
        for run in runs:
            if run is not shown:
                run.let_go()
        keep(shown)
        chosen.append(shown)
    seen = with_remedies(design, timing) if remedies else timing
    # A pad that its own wiring keeps from working works on no port.
    dead = tuple(f.id for f in findings if f.id in _DEAD and f.verdict == "fail")
    ports = tuple(replace(row, fails=(*dead, *row.fails)) for row in electric.ports)
    return Trial((*findings, *seen), tuple(chosen), ports, tuple(every), played)


_DEAD = ("wiring.pull-up", "wiring.load", "wiring.stages")
"""What keeps a pad from working on any port."""


def standing_for_all(runs: Sequence[ScenarioRun]) -> ScenarioRun:
    """Of several runs of a scenario the one to show.

    The first with a wrong read, else the first that broke a rule, else the slow one on the first
    port.
    """
    wrong = [run for run in runs if run.problems] or [run for run in runs if run.broken]
    slow = [run for run in runs if run.port == runs[0].port and run.corner == "slow"]
    return (wrong or slow or list(runs))[0]


def run_scenario(sheet: Sheet, scenario: Scenario, port: str, corner: Corner) -> ScenarioRun:
    """One scenario at one corner on one port."""
    return run_at(setting_of(sheet, port, corner), scenario, port, corner)


def run_at(setting: Setting, scenario: Scenario, port: str, corner: Corner) -> ScenarioRun:
    """As `run_scenario`, where the setting of that port and corner is known already."""
    script, timeline, at_one = _played(setting, scenario.build(setting))

    def again() -> Played:
        script, timeline, _ = _played(setting, scenario.build(setting))
        return read_back(script, timeline)

    run = judge(
        scenario, script, timeline, setting.pad.limits, port=port, corner=corner, play=again
    )
    if at_one:
        return run
    problem = Problem(_UNSTEADY, {"runs": _MOST_REPEATS})
    return replace(run, problems=(*run.problems, problem))


def _played(setting: Setting, script: Script) -> tuple[Script, Timeline, bool]:
    """A script, what the wires did, and whether the two are at one.

    Only a program's can be at odds, and it is repeated until it is not, or too often.
    """
    timeline = simulate(setting.pad, script.stimulus)
    for _ in range(_MOST_REPEATS):
        if script.replay is None or script.stimulus.driven is None:
            return script, timeline, True
        driven = script.stimulus.driven
        levels = timeline.wires["cable.data"].before(np.asarray(driven.samples, np.int64))
        again = script.replay([_BITS.get(level) for level in levels.tolist()])
        if again.stimulus.driven == driven:
            return again, replace(timeline, notes=again.stimulus.notes), True
        script = again
        timeline = simulate(setting.pad, script.stimulus)
    return script, timeline, False


_MOST_REPEATS = 60
"""Two or three do for any routine whose reads do not depend on what each single read finds."""

_BITS = {LOW: True, HIGH: False}
"""Pressed is low on the wire; any other level is none."""


def judge(
    scenario: Scenario,
    script: Script,
    timeline: Timeline,
    limits: Limits,
    *,
    play: Callable[[], Played],
    port: str = "",
    corner: str = "",
    simulator: str = "",
    top: str = "",
    part: Literal["", "exhaustive"] = "",
    names: Names | None = None,
    reads: Sequence[Read] | None = None,
) -> ScenarioRun:
    """Hold a timeline to its script and to the law, wherever it came from.

    ``port`` and ``corner``, or ``simulator`` and ``top``, say in the result what was run, ``part``
    of what it is a part; ``names`` are the wires to decode, ``reads`` what `decode` gives, if that
    is known already.
    ``play`` makes the same timeline and reads again, when somebody asks for them later.
    """
    if reads is None:
        reads = decode(timeline, names)
    judged = judge_timing(timeline, reads, limits, names=names)
    played = read_back(script, timeline, names, reads)
    accepted = _accepted(played.reads, script)
    run = ScenarioRun(
        name=scenario.name,
        says=scenario.says,
        corner=corner,
        port=port,
        accepted=accepted,
        problems=(
            *_wrong_reads(played.reads, len(reads), script),
            *_wrong_states(played.reads, accepted, script),
            *_wrong_outcomes(script),
            *_unbroken(judged, script),
        ),
        findings=(),
        count=len(played.reads),
        play=play,
        simulator=simulator,
        top=top,
        part=part,
    )
    wanted = (found for found in judged if found.id not in script.breaks | script.tolerates)
    run = replace(run, findings=met_in(run, wanted))
    run.keep(played)
    return run


def met_in(run: ScenarioRun, findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings of a run's wires, each with that run beside its own moment."""
    return tuple(
        replace(found, met=replace(run.met, read=found.met.read, at_ps=found.met.at_ps))
        for found in findings
    )


def read_back(
    script: Script,
    timeline: Timeline,
    names: Names | None = None,
    reads: Sequence[Read] | None = None,
) -> Played:
    """The reads of a timeline beside what they should have been, and the console's byte.

    ``reads`` are those of `decode`, if they are known already.
    """
    if reads is None:
        reads = decode(timeline, names)
    pairs = tuple(ReadResult(r, e) for r, e in zip(reads, script.expected, strict=False))
    if script.replay is not None:
        pairs = tuple(map(_behind_the_latch, pairs))
    if script.beside or script.first:
        pairs = tuple(_own_first(pair, script.first, script.beside) for pair in pairs)
    return Played(_annotated(timeline, pairs), pairs)


def _behind_the_latch(pair: ReadResult) -> ReadResult:
    """Without the samples that a program takes while its latch is high, if it takes others.

    They show the first button and belong to no byte: an indexed store to the port reads it too.
    """
    read, bits = pair.read, pair.expected.bits
    lead = sum(at <= read.latch_end_ps for at in read.samples)
    if not 0 < lead < min(len(read.bits), len(bits)) or None in bits[:lead]:
        return pair
    if read.bits[:lead] != bits[:lead]:
        return pair
    return ReadResult(
        replace(read, samples=read.samples[lead:], bits=read.bits[lead:]),
        replace(pair.expected, bits=bits[lead:]),
    )


def _own_first(pair: ReadResult, first: int, beside: Sequence[Beside]) -> ReadResult:
    """A read of a chain with the bits of this pad before those of the others.

    Of a read that is cut off before this pad's are complete, these alone are left.
    """
    read, end = pair.read, first + 8
    whole = len(read.bits) >= end

    def turned(row: tuple[T, ...]) -> tuple[T, ...]:
        return row[first:end] + (row[:first] + row[end:]) * whole

    others = []
    for one in beside if whole else ():
        bits = read.bits[one.first : one.first + 8]
        got = sum(128 >> place for place, bit in enumerate(bits) if bit)
        others.append((one.name, got, one.byte >> 8 - len(bits) << 8 - len(bits)))
    return ReadResult(
        replace(read, bits=turned(read.bits), samples=turned(read.samples)),
        replace(pair.expected, bits=turned(pair.expected.bits)),
        tuple(others),
    )


def _accepted(pairs: Sequence[ReadResult], script: Script) -> tuple[int | None, ...]:
    if script.outcomes:
        return tuple(outcome.got for outcome in script.outcomes)
    if script.passes < 2:
        return ()
    return accepted_states((pair.byte for pair in pairs), script.passes)


_COUNT = "{seen} reads were seen, {made} were made"
_READ = "read {read} of {reads}: "
_STATE = "poll {poll}: the console acts on {got:buttons}, expected {want}"
_OUTCOME = "poll {poll}: the routine {got}, expected: {want}"
_UNBROKEN = "{rule} was to be broken and was not seen to be"
_UNSTEADY = "what the routine reads was another thing in each of {runs} runs"


def _wrong_reads(pairs: Sequence[ReadResult], seen: int, script: Script) -> Iterator[Problem]:
    if seen != len(script.expected):
        yield Problem(_COUNT, {"seen": seen, "made": len(script.expected)})
    for number, pair in enumerate(pairs, 1):
        if not pair.as_expected:
            text, facts = _what_is_wrong(pair)
            facts["reads"] = len(pairs)
            yield Problem(_READ + text, facts, pair.read.start_ps, number)


def _what_is_wrong(pair: ReadResult) -> tuple[str, dict[str, Fact]]:
    read, expected = pair.read, pair.expected
    clocks, wanted = len(read.clock_rises), len(expected.bits)
    if clocks != expected.clocks:
        return "{clocks} clocks instead of {wanted}", {"clocks": clocks, "wanted": expected.clocks}
    if len(read.bits) != wanted:
        return "{bits} bits instead of {wanted}", {"bits": len(read.bits), "wanted": wanted}
    past = [
        place + 1
        for place, (want, bit) in enumerate(zip(expected.bits, read.bits, strict=True))
        if place >= 8 and want is not None and want != bit
    ]
    text = "held {held:buttons}, "
    if read.undecided == 0xFF:
        text += "all eight bits undecided"
    else:
        # A bit at no level counts as the wrong one; that is not what was read.
        sure = pair.byte & ~read.undecided
        parts = ["{sure:buttons}"] * bool(sure or not read.undecided)
        parts += ["{undecided:buttons} undecided"] * bool(read.undecided)
        text += f"read {', '.join(parts)}"
    if expected.byte != expected.held:
        text += ", expected {expected:buttons}"
    wrong = [f"{name}'s {spelled(got ^ want)}" for name, got, want in pair.beside if got != want]
    if wrong:
        text += "; wrong as well: {wrong}"
    elif past:
        text += "; past the end, bit {past} is wrong"
    return text, {
        "held": expected.held,
        "got": pair.byte,
        "sure": pair.byte & ~read.undecided,
        "undecided": read.undecided,
        "expected": expected.byte,
        "past": past[0] if past else None,
        "wrong": joined(wrong),
    }


def _wrong_states(
    pairs: Sequence[ReadResult], accepted: tuple[int | None, ...], script: Script
) -> Iterator[Problem]:
    """Each at the last pass of its poll, after which the console acts."""
    for number, (got, want) in enumerate(zip(accepted, script.accepted, strict=False), 1):
        if got is not None and not any(fits(got, pattern) for pattern in want):
            states = " or ".join(
                dict.fromkeys(spelled(sum(128 >> n for n, b in enumerate(p) if b)) for p in want)
            )
            last = number * script.passes
            facts: dict[str, Fact] = {"poll": number, "got": got, "want": states}
            yield Problem(_STATE, facts, pairs[last - 1].read.start_ps, last)


def _wrong_outcomes(script: Script) -> Iterator[Problem]:
    """What a program hands on against what it would have handed on had it read what it must."""
    for number, outcome in enumerate(script.outcomes, 1):
        if outcome.got != outcome.want:
            got, want = (
                "does not come back" if byte is None else f"hands on {spelled(byte)}"
                for byte in (outcome.got, outcome.want)
            )
            yield Problem(_OUTCOME, {"poll": number, "got": got, "want": want}, outcome.at)


def _unbroken(judged: Sequence[Finding], script: Script) -> Iterator[Problem]:
    """A script that breaks a rule on purpose must be caught at it."""
    failed = {found.id for found in judged if found.verdict == "fail"}
    for id_ in sorted(script.breaks - failed):
        yield Problem(_UNBROKEN, {"rule": id_})


def _annotated(timeline: Timeline, pairs: Sequence[ReadResult]) -> Timeline:
    """The timeline with the byte that the console holds after each read."""
    # With no bit at a level there is no byte to show.
    bytes_ = [(p.read, None if p.read.undecided == 0xFF else p.byte) for p in pairs]
    known = [(0, None), *((max(read.samples), byte) for read, byte in bytes_ if read.samples)]
    return replace(timeline, words={**timeline.words, "console.byte": Word.of(8, known)})
