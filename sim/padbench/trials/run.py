"""Running scenarios at every corner and on every port, and judging what the wires did.

result = verify(load_sheet(Path("pad.toml")))
result.verdict, result.findings, result.scenarios
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from padbench.circuit.corners import CORNERS, Corner, pad_model
from padbench.circuit.findings import judge_electric
from padbench.circuit.timed import with_remedies
from padbench.core.buttons import spelled
from padbench.core.decode import Names, Read, decode
from padbench.core.findings import Finding, worst_of_each
from padbench.core.limits import Limits
from padbench.core.stimulus import PollTiming
from padbench.core.timeline import HIGH, LOW, Timeline, Word
from padbench.core.timing import judge_timing
from padbench.core.units import Value, to_ps
from padbench.model.bench import simulate
from padbench.routines.engine import RoutineEngine
from padbench.routines.poll import poll_of, with_timings
from padbench.scenarios import ROUTINE_SCENARIOS, SCENARIOS, Scenario, Script, Setting
from padbench.scenarios.expect import accepted_states, fits
from padbench.sheet import Sheet
from padbench.trials.result import Problem, ReadResult, ScenarioResult, VerifyResult
from padbench.wiring.faults import judge_wiring

__all__ = ["judge", "run_scenario", "scenarios_of", "setting_of", "standing_for_all", "verify"]


def setting_of(
    sheet: Sheet, port: str, corner: Corner, engine: RoutineEngine | None = None
) -> Setting:
    """The sheet as scenarios want it, on one kind of port and at one corner.

    ``engine`` sweeps a read routine (default: the plain one). Raises `RoutineError` if the poll is
    a routine that cannot be used.
    """
    poll = sheet.poll
    made = poll_of(poll, engine)
    if made is not None:
        return Setting(
            pad=pad_model(sheet, port, corner),
            timing=made.timing,
            period=made.period,
            bounce=to_ps(sheet.contacts.bounce.high),
            passes=made.passes,
            routine=made,
        )

    def time(value: Value) -> int:
        # A quick console is hardest on a slow pad, and the other way round.
        return to_ps(value.low if corner == "slow" else value.high)

    return Setting(
        pad=pad_model(sheet, port, corner),
        timing=PollTiming(
            latch_width=time(poll.latch_width),
            latch_to_clock=time(poll.latch_to_clock),
            clock_low=time(poll.clock_low),
            clock_high=time(poll.clock_high),
            sample=time(poll.sample),
            clocks=poll.clocks,
        ),
        period=time(poll.period),
        bounce=to_ps(sheet.contacts.bounce.high),
        passes=poll.passes,
    )


def scenarios_of(sheet: Sheet) -> dict[str, Scenario]:
    """The shipped scenarios that this sheet's poll can play, by name."""
    return SCENARIOS if sheet.poll.routine is None else SCENARIOS | ROUTINE_SCENARIOS


def verify(
    sheet: Sheet,
    scenarios: Sequence[Scenario] | None = None,
    *,
    step: Callable[[], None] = lambda: None,
    keep: Callable[[ScenarioResult], None] = lambda _: None,
    engine: RoutineEngine | None = None,
) -> VerifyResult:
    """Judge a design: wiring, levels and edges, then every scenario on every port at both corners.

    ``step`` is called after each run (for a progress bar), ``keep`` with the one result of each
    scenario that stands for it, as soon as it is known (to write its wave). ``engine`` sweeps a
    read routine (default: the plain one). Raises `RoutineError` as `setting_of` does.
    """
    design = with_timings(sheet)
    electric = judge_electric(design)
    findings = [*judge_wiring(sheet), *electric.findings]
    made = poll_of(sheet.poll, engine)
    if made is not None:
        findings += made.findings()
    timing: list[Finding] = []
    results = []
    settings = {
        (port, corner): setting_of(sheet, port, corner, engine)
        for port in sheet.works_with.ports
        for corner in CORNERS
    }
    for scenario in scenarios_of(sheet).values() if scenarios is None else scenarios:
        runs = []
        for (port, corner), setting in settings.items():
            runs.append(_run(setting, scenario, port, corner))
            timing += runs[-1].findings
            step()
        chosen = standing_for_all(runs)
        keep(chosen)
        results.append(chosen)
    seen = with_remedies(design, worst_of_each(timing))
    return VerifyResult((*findings, *seen), tuple(results), electric.ports)


def standing_for_all(runs: Sequence[ScenarioResult]) -> ScenarioResult:
    """Of several runs of a scenario the one to show.

    The first with a wrong read, else the first that broke a rule, else the slow one on the first
    port.
    """
    wrong = [run for run in runs if run.problems] or [run for run in runs if run.broken]
    slow = [run for run in runs if run.port == runs[0].port and run.corner == "slow"]
    return (wrong or slow or list(runs))[0]


def run_scenario(
    sheet: Sheet,
    scenario: Scenario,
    port: str,
    corner: Corner,
    engine: RoutineEngine | None = None,
) -> ScenarioResult:
    """One scenario at one corner on one port."""
    return _run(setting_of(sheet, port, corner, engine), scenario, port, corner)


def _run(setting: Setting, scenario: Scenario, port: str, corner: Corner) -> ScenarioResult:
    script, timeline, at_one = _played(setting, scenario.build(setting))
    result = judge(scenario, script, timeline, setting.pad.limits, port=port, corner=corner)
    if at_one:
        return result
    says = f"what the routine reads was another thing in each of {_MOST_REPEATS} runs"
    return replace(result, problems=(*result.problems, Problem(None, says)))


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
"""Two or three do for any routine whose reads do not hang on what each single read finds."""

_BITS = {LOW: True, HIGH: False}
"""Pressed is low on the wire; any other level is none."""


def judge(
    scenario: Scenario,
    script: Script,
    timeline: Timeline,
    limits: Limits,
    *,
    port: str,
    corner: str,
    names: Names | None = None,
) -> ScenarioResult:
    """Hold a timeline to its script and to the law, wherever it came from.

    ``port`` and ``corner`` say in the result what was run; ``names`` are the wires to decode.
    """
    reads = decode(timeline, names)
    judged = judge_timing(timeline, reads, limits, names=names)
    pairs = tuple(ReadResult(r, e) for r, e in zip(reads, script.expected, strict=False))
    if script.replay is not None:
        pairs = tuple(map(_behind_the_latch, pairs))
    accepted = _accepted(pairs, script)
    return ScenarioResult(
        name=scenario.name,
        says=scenario.says,
        corner=corner,
        port=port,
        reads=pairs,
        accepted=accepted,
        problems=(
            *_wrong_reads(pairs, reads, script),
            *_wrong_states(pairs, accepted, script),
            *_wrong_outcomes(script),
            *_unbroken(judged, script),
        ),
        findings=tuple(
            replace(found, met=replace(found.met, scenario=scenario.name, corner=corner, port=port))
            for found in judged
            if found.id not in script.breaks | script.tolerates
        ),
        timeline=_annotated(timeline, pairs),
    )


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


def _accepted(pairs: Sequence[ReadResult], script: Script) -> tuple[int | None, ...]:
    if script.outcomes:
        return tuple(outcome.got for outcome in script.outcomes)
    if script.passes < 2:
        return ()
    return accepted_states((pair.byte for pair in pairs), script.passes)


def _wrong_reads(
    pairs: Sequence[ReadResult], reads: Sequence[Read], script: Script
) -> Iterator[Problem]:
    if len(reads) != len(script.expected):
        yield Problem(None, f"{len(reads)} reads were seen, {len(script.expected)} were made")
    for number, pair in enumerate(pairs, 1):
        if not pair.as_expected:
            yield Problem(
                pair.read.start_ps, f"read {number} of {len(pairs)}: {_what_is_wrong(pair)}"
            )


def _what_is_wrong(pair: ReadResult) -> str:
    read, expected = pair.read, pair.expected
    clocks, wanted = len(read.clock_rises), len(expected.bits)
    if clocks != expected.clocks:
        return f"{clocks} clocks instead of {expected.clocks}"
    if len(read.bits) != wanted:
        return f"{len(read.bits)} bits instead of {wanted}"
    past = [
        place + 1
        for place, (want, bit) in enumerate(zip(expected.bits, read.bits, strict=True))
        if place >= 8 and want is not None and want != bit
    ]
    said = f"held {spelled(expected.held)}, "
    if read.undecided == 0xFF:
        said += "no bit at a level"
    else:
        said += f"read {spelled(pair.byte)}"
        said += f" ({spelled(read.undecided)} at no level)" if read.undecided else ""
    if expected.byte != expected.held:
        said += f", expected {spelled(expected.byte)}"
    if past:
        said += f"; past the end, bit {past[0]} is wrong"
    return said


def _wrong_states(
    pairs: Sequence[ReadResult], accepted: tuple[int | None, ...], script: Script
) -> Iterator[Problem]:
    """Each at the last pass of its poll, after which the console acts."""
    for number, (got, want) in enumerate(zip(accepted, script.accepted, strict=False), 1):
        if got is not None and not any(fits(got, pattern) for pattern in want):
            states = " or ".join(
                dict.fromkeys(spelled(sum(128 >> n for n, b in enumerate(p) if b)) for p in want)
            )
            last = pairs[number * script.passes - 1].read.start_ps
            yield Problem(
                last, f"poll {number}: the console acts on {spelled(got)}, expected {states}"
            )


def _wrong_outcomes(script: Script) -> Iterator[Problem]:
    """What a program hands on against what it would have handed on had it read what it must."""
    for number, outcome in enumerate(script.outcomes, 1):
        if outcome.got != outcome.want:
            got, want = (
                "does not come back" if byte is None else f"hands on {spelled(byte)}"
                for byte in (outcome.got, outcome.want)
            )
            yield Problem(outcome.at, f"poll {number}: the routine {got}, expected: {want}")


def _unbroken(judged: Sequence[Finding], script: Script) -> Iterator[Problem]:
    """A script that breaks a rule on purpose must be caught at it."""
    failed = {found.id for found in judged if found.verdict == "fail"}
    for id_ in sorted(script.breaks - failed):
        yield Problem(None, f"{id_} was to be broken and was not seen to be")


def _annotated(timeline: Timeline, pairs: Sequence[ReadResult]) -> Timeline:
    """The timeline with the byte that the console holds after each read."""
    known = [(0, None), *((p.read.samples[-1], p.byte) for p in pairs if p.read.samples)]
    return replace(timeline, words={**timeline.words, "console.byte": Word.of(8, known)})
