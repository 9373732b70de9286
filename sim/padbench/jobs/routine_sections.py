"""What a judged read routine has to show, as sections: what to change, cost, fetch, map, a case."""

import shlex
from collections.abc import Iterator, Sequence
from functools import partial

from padbench.core.buttons import spelled
from padbench.core.decode import decode
from padbench.core.levels import HIGH
from padbench.core.sentences import grouped
from padbench.jobs.routine_question import JudgedRoutine
from padbench.parts import console_names, console_timing
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
from padbench.routines.console import Pass
from padbench.routines.counts import OUTCOMES, WORST, Counterexample, SweepCounts, with_nothing
from padbench.routines.cures import Cure
from padbench.routines.frames import lines_of, microseconds_of
from padbench.routines.judge import PATTERNS, per_cent, rounded
from padbench.routines.lengths import DesignMap, ranges
from padbench.routines.run import held_by
from padbench.routines.wave import stop_says

_SEE = "To see it,"
_WIDTH = 80
"""Columns of a terminal."""
_NO_NEED = "Nothing is wrong with it, so no patch is offered."
_NO_MAP = "it takes two passes of the first port, with reads evenly spaced"
_KINDS = {
    "accepted_wrong": ("a wrong byte handed on", "handed on"),
    "never_settles": ("a poll that never settles", "it never came back; a pass read"),
    "corrupt": ("a pass misread", "a pass read"),
}
_ONE = (
    "Read at least twice a poll, and act only on what two passes agree on. With one pass nothing "
    "can tell that a bit was lost."
)
_TWO = "Hand on only what two of its passes agree on, else what stood there before."
_BLAMED = {
    "writes-back": "it reads the port and writes back to it, which moves the latch. Load the byte "
    "first, and shift or count it in A.",
    "dummy-read": "it reads the port, throws that away, and so clocks the pad once too often. Do "
    "without the index.",
}
"""Of a routine that is wrong: what one of its instructions does to the pad."""
_TURNS = {
    "reversed": "ROL in place of ROR, or ROR in place of ROL, turns its order round",
    "complemented": "EOR #$FF makes a 1 of a pressed button",
}


def routine_sections(report: JudgedRoutine, chart: bool) -> Iterator[Section]:
    """All of them; ``chart`` says that a map was asked for."""
    change = _change(report)
    yield Section("brief", "", [*_brief(report, change, chart)], ("brief",))
    if change:
        yield Section("change", "What must change", change)
    if report.cures is not None:
        cures = _cures_table(report) if change or report.cures else Prose((_NO_NEED,))
        yield Section("cures", "Cures", [cures])
    yield Section("cost", "What it costs", [*_cost(report)])
    if report.sweeps:
        counts, risk = _counts_table(report.sweeps), _risk_table(report)
        blocks = [counts, *risk, pass_strips(report)]
        yield Section("fetch", "What the sample fetch does", blocks)
        yield Section("examples", "", [Prose([*_examples(report)])], ("text",))
    if report.chart is not None:
        title = "Which loop lengths and gaps are safe"
        yield Section("map", title, [map_strips(report.chart), _map_table(report.chart)])
    elif chart and report.judgement is not None:
        yield Section("map", "", [Prose((f"No map: {_NO_MAP}.",))], ("text",))
    yield Section("cases", *_article(report), ("page",))
    if report.span is not None:
        timing = report.console.timing
        frame = frame_at(timing, report.line, float(report.base.most * timing.cycle_ps))
        title = "Where in the frame the read falls"
        yield Section("frame", title, [Prose((_place(report),)), FrameStrip(frame, "routine")])


def _brief(report: JudgedRoutine, change: Sequence[Prose], chart: bool) -> Iterator[Lines]:
    """The risk first, what to change, what it costs, how to see it."""
    timing, base = report.console.timing, report.base
    yield Lines("Risk", [*_risk(report.sweeps)])
    if change:
        advice = [("", line) for block in change for line in block.lines]
        listed = any(block.listed for block in change)
        yield Lines("What must change", advice, listed=listed, kept=True)
        exposed = report.verdict == "exposed"
        if exposed and report.cures is None and report.routine.lines:
            yield Lines("", [("", "padbench routine --cures DIR writes patches that mend it")])
    cost = (
        f"{_cycles(report)} CPU cycles, {lines_of(base.most, timing):.2f} scan lines, "
        f"{microseconds_of(base.most, timing):.1f} µs on the {timing.name} console"
    )
    at = [access.cycle for access in base.longest.accesses if access.kind == "read"]
    reads = f"{len(at)} reads of the port, the first in cycle {at[0]}, the last in {at[-1]}"
    rows = [("takes", cost), *([("reads", reads)] if at else [])]
    rows += [("result", says) for says in _results(report)]
    if report.span is not None:
        rows.append(("frame", _place(report)))
    yield Lines("", rows)
    if report.cures is not None:
        cures = [
            (f"{number}-{one.name}.patch", f"{_more(one)}; {one.says}")
            for number, one in enumerate(report.cures, 1)
        ]
        if cures:
            yield Lines("Patches, each swept at every rate", cures)
        else:
            none = "No patch that was tried mends it." if change else _NO_NEED
            yield Lines("", [("", none)])
    if report.chart is not None:
        safe = sum(good for row in report.chart.safe for good in row)
        tried = sum(len(row) for row in report.chart.safe)
        says = f"{grouped(safe)} of {grouped(tried)} loop lengths and gaps are safe"
        yield Lines("", [("map", f"{says}; see --all or --picture")])
    elif chart and report.judgement is not None:
        yield Lines("", [("map", f"none: {_NO_MAP}")])
    shown = [line for line in _examples(report) if line.startswith(_SEE)]
    yield Lines("", to_copy(*shown[:1]), whole=True)


def to_copy(*says: str) -> list[tuple[str, str]]:
    """Text and the command behind its colon, as rows that can be copied.

    What is wider than a terminal goes on after a backslash, between two words of the command.
    """
    rows = []
    for line in says:
        title, _, command = line.partition(": ")
        row = f"{title}:"
        for word in map(shlex.quote, shlex.split(command)):
            if len(f"{row} {word} \\") > _WIDTH and len(line) > _WIDTH:
                rows.append(("", f"{row} \\"))
                row = " "
            row += f" {word}"
        rows.append(("", row))
    return rows


def _more(cure: Cure) -> str:
    """What a cure costs, or spares."""
    counts = ((cure.cycles, "cycle"), (cure.lines, "line"))
    return ", ".join(
        f"{abs(count)} {what}{'s' * (abs(count) != 1)} {'more' if count > 0 else 'fewer'}"
        if count
        else f"no {what} more"
        for count, what in counts
    )


def _results(report: JudgedRoutine) -> Iterator[str]:
    """Where results were found, and what is not judged of a routine that reads both ports."""
    if report.routine.found:
        yield f"found in {report.routine.found}"
    if len(report.routine.results) == 1 and report.base.longest.ports_read == {0, 1}:
        yield (
            "it reads both ports, and only the first pad's byte is judged; --result ONE,TWO names "
            "both"
        )


def _cycles(report: JudgedRoutine) -> str:
    least, most = report.base.least, report.base.most
    return str(most) if least == most else f"{least} to {most}"


def _risk(sweeps: Sequence[SweepCounts]) -> Iterator[tuple[str, str]]:
    """Over all rates of the fetch, and at the worst of them."""
    cases = sum(one.possible for one in sweeps)
    what = (("wrong byte handed on", "accepted_wrong"), ("never settles", "never_settles"),
            ("pass misread", "corrupt"), ("old byte kept", "kept_old"))  # fmt: skip
    for label, name in what if cases else ():
        total = sum(getattr(one, name) for one in sweeps)
        says = "in no case"
        if total:
            says = f"in {grouped(total)} of {grouped(cases)} cases ({per_cent(total, cases)})"
        if total and len(sweeps) > 1:
            worst = _worst(sweeps, name)
            share = per_cent(getattr(worst, name), worst.possible)
            says += f"; at worst {share} with a fetch every {worst.period} cycles"
        yield label, says
    if nothing := sum(one.nothing or 0 for one in sweeps):
        phases = grouped(sum(one.phases for one in sweeps))
        yield "nothing held", f"on either pad: wrong in {grouped(nothing)} of {phases} phases"
    if impossible := sum(one.impossible for one in sweeps):
        all_cases = grouped(sum(one.cases for one in sweeps))
        yield "cannot occur", f"{grouped(impossible)} more of {all_cases}, after the sprite copy"


def _worst(sweeps: Sequence[SweepCounts], kind: str) -> SweepCounts:
    """The rate at which most of its cases are of that kind."""
    return max(sweeps, key=lambda one: getattr(one, kind) / one.possible)


def _change(report: JudgedRoutine) -> list[Prose]:
    """Nothing for a routine that is sound."""
    judgement, safe, base = report.judgement, report.safe, report.base
    if judgement is None or not judgement.fails:
        return []
    if safe is not None:
        lines = []
        if gaps := ranges(safe.gaps):
            lines.append(f"cycles to add between the passes: {gaps}")
        if safe.loop is not None and safe.loops:
            lines.append(f"a loop of {ranges(safe.loops)} cycles a bit; it has {safe.loop} now")
        if not lines:
            lines.append("a quicker loop, or three passes: no gap or loop that was tried is safe")
        more = "Sweep what you then write, to be sure."
        if not set(report.console.timing.fetch_periods) <= set(safe.periods):
            more = f"Other rates of the console were not tried; without --period all are. {more}"
        says = f"With one of these no two passes are stopped {safe.rates}:"
        return [Prose((says,)), Prose(lines, listed=True), Prose((more,), small=True)]
    if judgement.case in PATTERNS:
        turns = [says for name, says in _TURNS.items() if name in judgement.case]
        says = f"The byte: {' and '.join(turns)}."
    elif judgement.verdict == "wrong" and (blamed := [*_blamed(report)]):
        return [Prose(blamed, listed=True)]
    elif judgement.verdict == "wrong":
        wrong = base.wrong or base.hangs
        some = ", ".join(spelled(held) for held in wrong[:6]) + " and more" * (len(wrong) > 6)
        held = f"{some} held" if some else "nothing held on either pad"
        says = (
            "The routine itself, or where its result is looked for: without any fetch it is wrong, "
            f"or depends on what stood there, with {held}."
        )
    elif judgement.verdict == "never-settles":
        says = "The routine: it has to end whatever the fetch does."
    else:
        says = _TWO if len(base.longest.passes[0]) > 1 else _ONE
    return [Prose((says,))]


def _blamed(report: JudgedRoutine) -> Iterator[str]:
    """Instructions that do more at the port than they seem to, each once."""
    found = {one.address: one for one in reversed(report.listing) if one.fault}
    for one in reversed(found.values()):
        line = f"{one.file}:{one.line}" if one.line else f"${one.address:04X}"
        yield f"{line}, {one.source}: {_BLAMED[one.fault]}"


def _cures_table(report: JudgedRoutine) -> Table:
    found = report.cures or ()
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
    most = report.base.most
    timings = {name: console_timing(name) for name in console_names()}
    yield Table(
        "From the first cycle to the last of RTS, nothing stopped",
        ("console", "CPU cycles", "scan lines", "time"),
        [
            (
                name,
                _cycles(report),
                f"{lines_of(most, timing):.2f}",
                f"{microseconds_of(most, timing):.1f} µs",
            )
            for name, timing in timings.items()
        ],
        frozenset((1, 2, 3)),
    )
    if results := [f"Result: {says}." for says in _results(report)]:
        yield Prose(results)
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
        folded=True,
    )


def _place(report: JudgedRoutine) -> str:
    span = report.span
    assert span is not None
    parts_ = (("vertical blanking", span.blanking), ("the picture", span.picture))
    where = " and ".join(name for name, there in parts_ if there)
    return (
        f"Started in line {span.first_line} of the {report.console.timing.name} console: "
        f"{f'in {where}' if where else 'between picture and blanking'}, until line "
        f"{span.last_line}{' of the next frame' if span.wraps else ''}."
    )


def _counts_table(sweeps: Sequence[SweepCounts]) -> Table:
    def bad(number: int) -> str | Cell:
        return Cell(grouped(number), bad=True) if number else "0"

    return Table(
        "Every held state in every phase of the fetch (its rules and rates from memory)",
        ("cycles from fetch to fetch", "cases", "cannot occur", "hit", "pass misread",
         "wrong byte handed on", "never settles", "kept the old byte"),
        [
            (str(one.period), *map(grouped, (one.cases, one.impossible, one.hit, one.corrupt)),
             bad(one.accepted_wrong), bad(one.never_settles), grouped(one.kept_old))
            for one in sweeps
        ],
        frozenset(range(1, 8)),
        "A hit stops a read of the port; a pass is eight reads after a latch. The phase is the CPU "
        "cycle, counted from the start of the poll, in which the first fetch asks.",
    )  # fmt: skip


_SINGLE = (0, *(1 << bit for bit in range(7, -1, -1)))


def _risk_table(report: JudgedRoutine) -> Iterator[Table]:
    """With nothing and with each button held, and with the worst state: one poll in so many."""
    wrong = {sweep.period: with_nothing(sweep) for sweep in report.sweeps}
    wrong = {period: phases for period, phases in wrong.items() if any(phases)}
    if not wrong:
        return
    total = [sum(counts) for counts in zip(*wrong.values(), strict=True)]
    states = [*dict.fromkeys((*_SINGLE, total.index(max(total))))]

    chance = {sweep.period: sweep.chance for sweep in report.sweeps}

    def one_in(period: int, phases: int) -> str:
        return rounded(1 / chance[period](phases)) if phases else "–"

    notes = ["The last column is the worst state of all."] * (len(states) > len(_SINGLE))
    if len(report.routine.results) > 1:
        notes.append(
            "A column names what pad 1 holds; pad 2 holds all others, and nothing with nothing."
        )

    yield Table(
        "One poll in so many goes wrong, if every phase of the fetch is equally likely",
        ("cycles from fetch to fetch", *map(spelled, states)),
        [
            (str(period), *(one_in(period, phases[state]) for state in states))
            for period, phases in wrong.items()
        ],
        frozenset(range(len(states) + 1)),
        " ".join(notes),
        folded=True,
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


PASSES = "the worst case of each rate, one of many: its passes and what stops them"
"""What `pass_strips` shows."""

_PASS, _STOPPED, _LOST = 1, 2, 4


def pass_strips(report: JudgedRoutine) -> Strips:
    """The passes of the worst case of each rate, and the fetches that stop the CPU in it."""
    rows = []
    for period, case in report.worst:
        run = report.played(period, case)
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
        f"{PASSES[0].upper()}{PASSES[1:]}",
        "fetch every",
        "CPU cycles into the poll",
        rows,
        [(code, text) for code, text in says.items() if code in met],
        "no pass",
    )


def _pass_spans(passes: Sequence[Pass]) -> list[tuple[int, int, int]]:
    return [(one.reads[0], one.reads[-1] - one.reads[0] + 1, _PASS) for one in passes]


_UNSAFE, _NO_GAP = len(OUTCOMES) - 1, 1


def _by_gap(chart: DesignMap, row: Sequence[bool]) -> Iterator[int]:
    """Of each gap up to the longest what is marked; those that are not listed cannot be made."""
    safe = dict(zip(chart.gaps, row, strict=True))
    for gap in range(chart.gaps[-1] + 1):
        yield (0 if safe[gap] else _UNSAFE) if gap in safe else _NO_GAP


def map_strips(chart: DesignMap) -> Strips:
    """Gap against loop length, the longest on top: unsafe places and the routine now are marked."""
    unsafe = any(not good for row in chart.safe for good in row)
    gaps = len(chart.gaps) <= chart.gaps[-1]
    return Strips(
        "Loop lengths and gaps: marked where some phase stops two passes",
        "cycles a bit",
        "cycles added between the passes",
        [
            Strip(
                str(loop),
                chart.gaps[-1] + 1,
                spans_of(_by_gap(chart, row)),
                now=loop == chart.loop,
            )
            for loop, row in reversed([*zip(chart.loops, chart.safe, strict=True)])
        ],
        [
            *([(_NO_GAP, "no instruction takes so few cycles")] if gaps else []),
            *([(_UNSAFE, "some phase stops two passes")] if unsafe else []),
        ],
        "every length and gap that was tried is safe",
        "safe at each rate tried",
        tall=10,
    )


def _map_table(chart: DesignMap) -> Table:
    rows = []
    for loop, row in zip(chart.loops, chart.safe, strict=True):
        gaps = [gap for gap, good in zip(chart.gaps, row, strict=True) if good]
        now = f" (now, {'' if 0 in gaps else 'not '}safe as it is)" * (loop == chart.loop)
        rows.append((f"{loop}{now}", ranges(gaps) or "none"))
    heads = ("cycles a bit", "safe: cycles added between the passes")
    return Table("The same as a table", heads, rows, folded=True)


def _examples(report: JudgedRoutine) -> Iterator[str]:
    """The worst case of each rate, and commands that play one of each kind, of the worst rate."""
    for sweep in report.sweeps:
        if (case := sweep.counterexample) is not None:
            held = spelled(held_by(case.pad - 1, case.held))
            yield (
                f"Period {sweep.period}, phase {case.phase}: held {held}, {_KINDS[case.kind][1]} "
                f"{spelled(case.got)} (held state {case.held}, got {case.got}, pad {case.pad})"
            )
    for kind in WORST:
        met = [one for one in report.sweeps if kind in one.first]
        if met:
            worst = _worst(met, kind)
            says = report.question.play(worst.period, worst.first[kind])
            yield f"{_SEE} {_KINDS[kind][0]}: {says}"


def _article(report: JudgedRoutine) -> tuple[str, list[Block]]:
    """A worst case with its wave; an undisturbed read where no rate has any."""
    wires = "The wires are those of the simulated pad at the slow corner"
    if not report.worst:
        held = 0x80
        wave = partial(_shown_wave, report, held | report.pad.stuck)
        article = Article("No fetch", "pass", f"Held {spelled(held)}.", f"{wires}.", wave=wave)
        return "An undisturbed read", [Articles([article])]
    period, case = report.worst[0]
    held, fails = held_by(case.pad - 1, case.held), case.kind != "corrupt"
    article = Article(
        f"Fetch every {period} cycles, phase {case.phase}",
        "fail" if fails else "pass",
        f"Held {spelled(held)}; {_KINDS[case.kind][1]} {spelled(case.got)}.",
        f"Pad on port {case.pad}. {wires}, driven by the routine's own cycles. Phase "
        f"{case.phase}: the first fetch asks in CPU cycle {case.phase} of the poll.",
        [*_stops(report, period, case)],
        wave=partial(_shown_wave, report, held | report.pad.stuck, period, case),
    )
    return "A case that shows it" if fails else "What a fetch does", [Articles([article])]


def _stops(report: JudgedRoutine, period: int, case: Counterexample) -> Iterator[str]:
    """Each stopped read of the port, with its pass and its time."""
    timing, number, level = report.console.timing, 0, 0
    for access in report.played(period, case).accesses:
        if access.kind == "latch":
            number += access.value > level
            level = access.value
        elif access.stolen and access.port == case.pad - 1:
            at = timing.to_ps(access.cycle - access.stolen) / 1e6
            yield f"pass {number}, {at:.1f} µs after the start of the poll: {stop_says(access)}"


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
