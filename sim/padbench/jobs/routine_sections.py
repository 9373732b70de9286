"""What a judged read routine has to show, as sections: cost, fetch, map, cases, changes."""

from collections.abc import Iterator, Sequence
from functools import partial

from padbench.core.buttons import spelled
from padbench.core.decode import decode
from padbench.core.sentences import grouped
from padbench.core.timeline import HIGH
from padbench.jobs.routine_question import JudgedRoutine
from padbench.parts import ConsoleTiming, console_names, console_timing
from padbench.results.blocks import (
    Article,
    Articles,
    Block,
    Cell,
    FrameStrip,
    Lines,
    Prose,
    Strip,
    Strips,
    Table,
    spans_of,
)
from padbench.results.frame import frame_at
from padbench.results.result import Section
from padbench.results.wave_data import ROWS, ShownRead, Wave
from padbench.routines.console import Pass, SampleFetch
from padbench.routines.counts import OUTCOMES, WORST, Counterexample, SweepCounts
from padbench.routines.cures import Cure
from padbench.routines.frames import Span, lines_of, microseconds_of
from padbench.routines.judge import per_cent, rounded
from padbench.routines.lengths import DesignMap, ranges
from padbench.routines.run import held_by, run_case
from padbench.routines.wave import stop_says

_MOST_CASES = 4
_NO_INSTRUCTION = 1
"""Cycles that no instruction takes: two and three make every other number."""

_SEE = "To see it,"
_NO_MAP = "it takes two passes of the first port, with reads evenly spaced"

_KINDS = {
    "accepted_wrong": "a wrong byte handed on",
    "never_settles": "a poll that never settles",
    "corrupt": "a pass misread",
}
_GOT = {
    "accepted_wrong": "handed on",
    "never_settles": "it never came back; a pass read",
    "corrupt": "a pass read",
}


def routine_sections(report: JudgedRoutine, chart: bool) -> Iterator[Section]:
    """All of them; ``chart`` says that a map was asked for."""
    change = [*_change(report)]
    yield Section("brief", "", [*_brief(report, change, chart)], ("brief",))
    yield Section("change", "What must change", change, ("page",))
    yield Section("cost", "What it costs", [*_cost(report)])
    if report.sweeps:
        title = "What the sample fetch does"
        counts = _counts_table(report.sweeps)
        phases = [pass_strips(report), phase_strips(report.sweeps)]
        risk = [*_risk_table(report)]
        yield Section("fetch", title, [counts, *risk, *phases], ("page",))
        yield Section("fetch-text", title, [counts, *risk, *_examples(report)], ("text",))
    if report.chart is not None:
        title = "Which loop lengths and gaps are safe"
        yield Section("map", title, [map_strips(report.chart), _map_table(report.chart)])
    elif chart and report.judgement is not None:
        yield Section("map", "", [Prose((f"No map: {_NO_MAP}.",))], ("text",))
    title = "Cases that show it" if len(report.worst) > 1 else "A case that shows it"
    if not any(_fails(case) for _, case in report.worst):
        title = "An undisturbed read" if not report.worst else "What a fetch does"
    yield Section("cases", title, [Articles([*_articles(report)])], ("page",))
    timing = report.console.timing
    frame = frame_at(timing, report.line, float(report.base.most * timing.cycle_ps))
    title = "Where in the frame the read falls"
    yield Section("frame", title, [FrameStrip(frame, "routine")], ("page",))
    if report.span is not None:
        yield Section("frame-text", "", [Prose((_place(report.span, timing),))], ("text",))
    if report.cures is not None:
        yield Section("cures", "Cures", [_cures_table(report.cures)])
    if report.judgement is not None and report.judgement.fails:
        yield Section("change-text", "What must change:", change, ("text",))


def _brief(report: JudgedRoutine, change: Sequence[Block], chart: bool) -> Iterator[Lines]:
    """The risk first, what to change, what it costs, how to see it."""
    timing, base = report.console.timing, report.base
    yield Lines("Risk", [*_risk(report.sweeps)])
    if report.judgement is not None and report.judgement.fails:
        lines = [line for block in change if isinstance(block, Prose) for line in block.lines]
        yield Lines("What must change", [("", line) for line in lines])
        if report.cures is None and report.routine.lines:
            yield Lines("", [("", "padbench routine --cures DIR writes patches that mend it")])
    cycles = str(base.most) if base.least == base.most else f"{base.least} to {base.most}"
    cost = (
        f"{cycles} CPU cycles, {lines_of(base.most, timing):.2f} scan lines, "
        f"{microseconds_of(base.most, timing):.1f} µs on the {timing.name} console"
    )
    at = [access.cycle for access in base.longest.accesses if access.kind == "read"]
    reads = f"{len(at)} reads of the port, the first in cycle {at[0]}, the last in {at[-1]}"
    rows = [("takes", cost), *([("reads", reads)] if at else [])]
    if report.routine.found:
        rows.append(("result", f"found in {report.routine.found}"))
    if report.span is not None:
        rows.append(("frame", _place(report.span, timing)))
    yield Lines("", rows)
    if report.cures is not None:
        cures = [f"{one.says}: {one.cycles} cycles, {one.lines} lines more" for one in report.cures]
        yield Lines("Patches, each swept at every rate", [("", one) for one in cures or ["none"]])
    if report.chart is not None:
        safe = sum(good for row in report.chart.safe for good in row)
        tried = sum(len(row) for row in report.chart.safe)
        says = f"{grouped(safe)} of {grouped(tried)} loop lengths and gaps are safe; --all lists"
        yield Lines("", [("map", f"{says} them, --picture draws them")])
    elif chart and report.judgement is not None:
        yield Lines("", [("map", _NO_MAP)])
    examples = [line for block in _examples(report) for line in block.lines]
    shown = [("", line) for line in examples if line.startswith(_SEE)]
    yield Lines("", shown[:1], whole=True)


def _risk(sweeps: Sequence[SweepCounts]) -> Iterator[tuple[str, str]]:
    """Over all rates of the fetch, and at the worst of them."""
    cases = sum(one.cases for one in sweeps)
    what = (("wrong byte handed on", "accepted_wrong"), ("never settles", "never_settles"),
            ("pass misread", "corrupt"), ("old byte kept", "kept_old"))  # fmt: skip
    for label, name in what:
        counts = [getattr(one, name) for one in sweeps]
        if not cases:
            return
        says = "in no case"
        if total := sum(counts):
            says = f"in {grouped(total)} of {grouped(cases)} cases ({per_cent(total, cases)})"
        if total and len(sweeps) > 1:
            worst = _worst(sweeps, name)
            share = per_cent(getattr(worst, name), worst.cases)
            says += f", at worst {share} with a fetch every {worst.period} cycles"
        yield label, says


def _worst(sweeps: Sequence[SweepCounts], kind: str) -> SweepCounts:
    """The rate at which most of its cases are of that kind."""
    return max(sweeps, key=lambda one: getattr(one, kind) / one.cases)


def _change(report: JudgedRoutine) -> Iterator[Block]:
    judgement, safe = report.judgement, report.safe
    if judgement is None or not judgement.fails:
        yield Prose(("Nothing.",))
    elif safe is not None:
        lines = []
        gaps = [gap for gap in safe.gaps if gap != _NO_INSTRUCTION]
        if gaps:
            lines.append(f"cycles to add between the passes: {ranges(gaps)}")
        if safe.loop is not None and safe.loops:
            lines.append(f"a loop of {ranges(safe.loops)} cycles a bit; it has {safe.loop} now")
        if not lines:
            lines.append("a quicker loop, or three passes: no gap or loop that was tried is safe")
        rates = f"at each of the {len(safe.periods)} rates tried"
        if len(safe.periods) == 1:
            rates = f"with a fetch every {safe.periods[0]} cycles"
        yield Prose((f"One of these keeps two passes from being stopped in one poll {rates}:",))
        yield Prose(lines, listed=True)
        more = "Sweep what you then write, to be sure."
        if not set(report.console.timing.fetch_periods) <= set(safe.periods):
            more = f"Other rates of the console were not tried; without --period all are. {more}"
        yield Prose((more,), small=True)
    elif judgement.verdict == "wrong":
        wrong = report.base.wrong or report.base.hangs
        some = ", ".join(spelled(held) for held in wrong[:6]) + " and more" * (len(wrong) > 6)
        yield Prose(
            (
                "The routine itself, or where its result is looked for: without any fetch it is "
                f"wrong, or depends on what stood there, with {some} held.",
            )
        )
    elif judgement.verdict == "never-settles":
        yield Prose(("The routine: it has to end whatever the fetch does.",))
    elif len(report.base.longest.passes[0]) > 1:
        yield Prose(
            (
                "The routine: what it hands on has to be what two of its passes agree on, else "
                "what stood there before.",
            )
        )
    else:
        yield Prose(
            (
                "The routine: with one pass nothing can tell it that a bit was lost. Read at "
                "least twice a poll, and act only on what two passes agree on.",
            )
        )


def _cures_table(found: Sequence[Cure]) -> Table:
    return Table(
        "Patches that mend it, each swept with every held state in every phase at every rate"
        if found
        else "No patch that was tried mends it",
        ("patch", "what it does", "verdict", "cycles more", "lines more"),
        [
            (f"{number}-{one.name}", one.says, one.verdict, str(one.cycles), str(one.lines))
            for number, one in enumerate(found, 1)
        ],
        frozenset((3, 4)),
    )


def _cost(report: JudgedRoutine) -> Iterator[Block]:
    base = report.base
    cycles = str(base.most) if base.least == base.most else f"{base.least} to {base.most}"
    timings = {name: console_timing(name) for name in console_names()}
    yield Table(
        "From the first cycle to the last of RTS, nothing stopped",
        ("console", "CPU cycles", "scan lines", "time"),
        [
            (
                name,
                cycles,
                f"{lines_of(base.most, timing):.2f}",
                f"{microseconds_of(base.most, timing):.1f} µs",
            )
            for name, timing in timings.items()
        ],
        frozenset((1, 2, 3)),
    )
    if report.routine.found:
        yield Prose((f"The result was looked for and found in {report.routine.found}.",))
    yield Table(
        "Cycles that touch the port, counted from 0, with nothing held",
        ("cycle", "line", "source", "on the bus", "a fetch"),
        [
            (
                str(one.cycle),
                f"${one.address:04X}" if one.line is None else str(one.line),
                one.source,
                one.bus,
                one.stop,
            )
            for one in report.listing
        ],
        frozenset((0,)),
    )


def _place(span: Span, timing: ConsoleTiming) -> str:
    parts_ = (("vertical blanking", span.blanking), ("the picture", span.picture))
    where = " and ".join(name for name, there in parts_ if there)
    next_frame = " of the next frame" if span.wraps else ""
    return (
        f"Started in line {span.first_line} of the {timing.name} console: "
        f"{f'in {where}' if where else 'between picture and blanking'}, until line "
        f"{span.last_line}{next_frame}."
    )


def _counts_table(sweeps: Sequence[SweepCounts]) -> Table:
    def bad(number: int) -> str | Cell:
        return Cell(grouped(number), bad=True) if number else "0"

    return Table(
        "Every held state in every phase of the fetch (its rules and rates from memory)",
        ("cycles from fetch to fetch", "cases", "hit", "pass misread", "wrong byte handed on",
         "never settles", "kept the old byte"),
        [
            (str(one.period), *map(grouped, (one.cases, one.hit, one.corrupt)),
             bad(one.accepted_wrong), bad(one.never_settles), grouped(one.kept_old))
            for one in sweeps
        ],
        frozenset(range(1, 7)),
        "A hit stops a read of the port; a pass is eight reads after a latch. The phase is the CPU "
        "cycle, counted from the start of the poll, in which the first fetch asks.",
    )  # fmt: skip


_SINGLE = (0, *(1 << bit for bit in range(7, -1, -1)))


def _risk_table(report: JudgedRoutine) -> Iterator[Table]:
    """With nothing and with each button held, and with the worst state: one poll in so many."""
    sweeps = [sweep for sweep in report.sweeps if any(sweep.by_held)]
    if not sweeps:
        return
    total = [sum(counts) for counts in zip(*(sweep.by_held for sweep in sweeps), strict=True)]
    worst = total.index(max(total))
    states = [*_SINGLE, *([worst] if worst not in _SINGLE else [])]
    yield Table(
        "One poll in so many goes wrong, if every phase of the fetch is equally likely",
        ("cycles from fetch to fetch", *map(spelled, states)),
        [
            (
                str(sweep.period),
                *(
                    rounded(sweep.period / sweep.by_held[state]) if sweep.by_held[state] else "–"
                    for state in states
                ),
            )
            for sweep in sweeps
        ],
        frozenset(range(len(states) + 1)),
        "The last column is the worst state of all." if worst not in _SINGLE else "",
    )


def phase_strips(sweeps: Sequence[SweepCounts]) -> Strips:
    """Phase against fetch period, each phase by the worst that any held state came to."""
    met = sorted({code for sweep in sweeps for code in sweep.by_phase if code})
    return Strips(
        "Phases of the fetch by what they do, a row for each rate",
        "fetch every",
        "CPU cycles into the poll",
        [Strip(f"{one.period}", one.period, spans_of(one.by_phase)) for one in sweeps],
        [(code, OUTCOMES[code]) for code in met],
        "no read of the port is ever stopped",
    )


_PASS, _STOPPED, _LOST = 1, 2, 4


def pass_strips(report: JudgedRoutine) -> Strips:
    """The passes of the worst case of each rate, and the fetches that stop the CPU in it."""
    rows = []
    for period, case in report.worst:
        fetch = SampleFetch(period, case.phase)
        run = run_case(
            report.routine, report.console, case.held, fetch=fetch, limit=report.question.limit
        )
        spans = _pass_spans(run.passes[case.pad - 1])
        hit = {access.cycle - access.stolen for access in run.accesses if access.stolen}
        spans += [(one.at, one.stolen, _LOST if one.at in hit else _STOPPED) for one in run.stops]
        rows.append(Strip(f"{period}", run.cycles, spans))
    if not rows:
        rows.append(Strip("none", report.base.most, _pass_spans(report.base.longest.passes[0])))
    says = {
        _PASS: "a pass",
        _STOPPED: "the fetch stops the CPU",
        _LOST: "it stops a read of the port",
    }
    met = {code for row in rows for _, _, code in row.spans}
    return Strips(
        "The passes of the worst case of each rate, and what stops them",
        "fetch every",
        "CPU cycles into the poll",
        rows,
        [(code, text) for code, text in says.items() if code in met],
        "no pass",
    )


def _pass_spans(passes: Sequence[Pass]) -> list[tuple[int, int, int]]:
    return [(one.reads[0], one.reads[-1] - one.reads[0] + 1, _PASS) for one in passes]


_UNSAFE = len(OUTCOMES) - 1


def map_strips(chart: DesignMap) -> Strips:
    """Gap against loop length, the longest on top: unsafe places and the routine now are marked."""
    unsafe = any(not good for row in chart.safe for good in row)
    return Strips(
        "Loop lengths and gaps: marked where some phase stops two passes",
        "cycles a bit",
        "cycles added between the passes",
        [
            Strip(
                str(loop),
                len(chart.gaps),
                spans_of(0 if good else _UNSAFE for good in row),
                now=loop == chart.loop,
            )
            for loop, row in reversed([*zip(chart.loops, chart.safe, strict=True)])
        ],
        [(_UNSAFE, "some phase stops two passes")] if unsafe else [],
        "every length and gap that was tried is safe",
        "safe at each rate tried",
        tall=10,
    )


def _map_table(chart: DesignMap) -> Table:
    rows = []
    for loop, row in zip(chart.loops, chart.safe, strict=True):
        gaps = [gap for gap, good in zip(chart.gaps, row, strict=True) if good]
        now = (
            f" (now, {'safe' if 0 in gaps else 'not safe'} as it is)" if loop == chart.loop else ""
        )
        gaps = [gap for gap in gaps if gap != _NO_INSTRUCTION]
        rows.append((f"{loop}{now}", ranges(gaps) or "none"))
    heads = ("cycles a bit", "safe: cycles added between the passes")
    return Table("The same as a table", heads, rows, folded=True)


def _examples(report: JudgedRoutine) -> Iterator[Prose]:
    """The worst case of each rate, and commands that play one of each kind, of the worst rate."""
    lines = []
    for sweep in report.sweeps:
        if (case := sweep.counterexample) is not None:
            held = spelled(held_by(case.pad - 1, case.held))
            lines.append(
                f"Period {sweep.period}, phase {case.phase}: held {held}, {_GOT[case.kind]} "
                f"{spelled(case.got)} (held state {case.held}, got {case.got}, pad {case.pad})"
            )
    for kind in WORST:
        met = [one for one in report.sweeps if kind in one.first]
        if met:
            worst = _worst(met, kind)
            says = report.question.play(worst.period, worst.first[kind])
            lines.append(f"{_SEE} {_KINDS[kind]}: {says}")
    if lines:
        yield Prose(lines)


def _fails(case: Counterexample) -> bool:
    return case.kind != "corrupt"


def _articles(report: JudgedRoutine) -> Iterator[Article]:
    """The worst cases, one a rate; an undisturbed read where no rate has any."""
    pad = report.pad
    wires = "The wires are those of the simulated pad at the slow corner"
    for period, case in report.worst[:_MOST_CASES]:
        held = held_by(case.pad - 1, case.held)
        yield Article(
            f"Fetch every {period} cycles, phase {case.phase}",
            "fail" if _fails(case) else "pass",
            f"Held {spelled(held)}; {_GOT[case.kind]} {spelled(case.got)}.",
            f"Pad on port {case.pad}. {wires}, driven by the routine's own cycles. Phase "
            f"{case.phase}: the first fetch asks in CPU cycle {case.phase} of the poll.",
            [*_stops(report, period, case)],
            wave=partial(_shown_wave, report, held | pad.stuck, period, case),
        )
    if not report.worst:
        held = 0x80
        yield Article(
            "No fetch",
            "pass",
            f"Held {spelled(held)}, and read so.",
            f"{wires}.",
            wave=partial(_shown_wave, report, held | pad.stuck),
        )


def _stops(report: JudgedRoutine, period: int, case: Counterexample) -> Iterator[str]:
    """Each stopped read of the port, with its pass and its time."""
    timing, number, level = report.console.timing, 0, 0
    run = run_case(
        report.routine,
        report.console,
        case.held,
        fetch=SampleFetch(period, case.phase),
        limit=report.question.limit,
    )
    for access in run.accesses:
        if access.kind == "latch":
            number += access.value > level
            level = access.value
        elif access.stolen and access.port == case.pad - 1:
            at = timing.to_ps(access.cycle - access.stolen) / 1e6
            yield (f"pass {number}, {at:.1f} µs after the start of the poll: {stop_says(access)}")


def _shown_wave(
    report: JudgedRoutine, held: int, period: int | None = None, case: Counterexample | None = None
) -> Wave:
    """``held`` is what the pad on that port holds, its stuck contacts included."""
    line = report.wave(held if case is None else case.held, period, case)
    reads = [
        ShownRead(
            read.start_ps,
            read.latch_end_ps,
            read.samples,
            read.worst_byte(held),
            held,
            read.undecided,
            read.worst_byte(held) == held,
        )
        for read in decode(line)
    ]
    stopped = line.wires["cpu.stopped"]
    begins = {int(at) for at in stopped.times[stopped.levels == HIGH]}
    marks = [(at, says) for at, says in line.notes if at in begins]
    opens = None
    if marks and reads:
        # Stopped and extra clocks stand close together: at the width of a read they run into one.
        at = marks[0][0]
        whole = max(read.samples[-1] - read.start for read in reads if read.samples)
        opens = (max(0, at - whole // 8), min(line.end_ps, at + whole // 4))
    return Wave(line, reads, marks, (*ROWS, ("cpu.stopped", "CPU stopped")), opens=opens)
