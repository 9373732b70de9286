"""The page of a read routine: what it costs, and what the sample fetch does to it.

The same for ``routine`` and for ``sweep --routine``, which has more rates and perhaps a map.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from padbench.core.buttons import spelled
from padbench.core.decode import decode
from padbench.core.pad import PadModel
from padbench.core.timeline import Timeline
from padbench.parts import console_names, console_timing
from padbench.results.blocks import (
    Article,
    Articles,
    Block,
    Cell,
    FrameStrip,
    Prose,
    Strip,
    Strips,
    Table,
    spans_of,
)
from padbench.results.frame import frame_at
from padbench.results.html_page import Page, Section
from padbench.results.inputs import Input
from padbench.results.wave_data import ROWS, ShownRead, Wave
from padbench.routines.design_map import DesignMap
from padbench.routines.engine import SweepCounts
from padbench.routines.fetch import Console
from padbench.routines.frames import lines_of, microseconds_of
from padbench.routines.judge import Measured
from padbench.routines.lengths import SafeLengths, ranges
from padbench.routines.routine import Routine
from padbench.routines.run import held_by
from padbench.routines.tally import OUTCOMES, Tally
from padbench.routines.wave import STOPPED, case_wave

__all__ = ["JudgedRoutine", "map_strips", "phase_strips", "routine_page"]

_WORDS = {
    "immune": "Immune.",
    "detects": "Detects, and hands on nothing wrong.",
    "exposed": "Exposed.",
    "never-settles": "Never settles.",
    "wrong": "Wrong, even without a fetch.",
    "stopped": "Stopped before the end.",
}
_FAILS = ("exposed", "never-settles", "wrong")
_MOST_CASES = 4
_LONGEST = 300
"""Letters of a list of phases in a table."""


@dataclass(frozen=True)
class JudgedRoutine:
    """A routine and all that was found out about it; ``pad`` is in the waves, ``line`` its poll's.

    ``verdict`` is one of `padbench.routines.judge` or "stopped"; ``chart`` only where it was asked
    for.
    """

    routine: Routine
    console: Console
    measured: Measured
    verdict: str
    says: str
    tallies: Sequence[Tally]
    safe: SafeLengths | None
    pad: PadModel
    limit: int
    line: int | None = None
    chart: DesignMap | None = None


def routine_page(judged: JudgedRoutine, files: Sequence[Input], command: str) -> Page:
    """``files`` are the routine's source, and the sheet if one was named.

    Raises ``ValueError`` for a line that the console does not have.
    """
    fails = judged.verdict in _FAILS
    return Page(
        name=f"Read routine {Path(judged.routine.name).name}",
        verdict="stopped" if judged.verdict == "stopped" else "fail" if fails else "pass",
        word=_WORDS[judged.verdict],
        lead=f"{judged.says[:1].upper()}{judged.says[1:]}" + "." * (judged.says[-1:] != "?"),
        sections=[*_sections(judged, fails)],
        files=files,
        command=command,
    )


def _sections(judged: JudgedRoutine, fails: bool) -> Iterator[Section]:
    yield Section("change", "What must change", [*_change(judged, fails)])
    yield Section("cost", "What it costs", [*_cost(judged)])
    if judged.tallies:
        yield Section("fetch", "What the sample fetch does", [*_fetch(judged)])
    if judged.chart is not None:
        title = "Which loop lengths and gaps are safe"
        yield Section("map", title, [map_strips(judged.chart), _map_table(judged.chart)])
    articles = [*_cases(judged)]
    title = "Cases that show it" if len(articles) > 1 else "A case that shows it"
    if not any(one.verdict == "fail" for one in articles):
        title = "An undisturbed read"
    yield Section("cases", title, [Articles(articles)])
    timing = judged.console.timing
    frame = frame_at(timing, judged.line, float(judged.measured.most * timing.cycle_ps))
    yield Section("frame", "Where in the frame the read falls", [FrameStrip(frame, "routine")])


def _change(judged: JudgedRoutine, fails: bool) -> Iterator[Block]:
    safe = judged.safe
    if not fails:
        yield Prose(("Nothing.",))
    elif judged.verdict == "wrong":
        wrong = judged.measured.wrong or judged.measured.hangs
        some = ", ".join(spelled(held) for held in wrong[:6])
        yield Prose(
            (
                "The routine itself, or where its result is looked for: without any fetch it is "
                f"wrong, or hangs on what stood there, with {some}"
                f"{' and more' if len(wrong) > 6 else ''} held.",
            )
        )
    elif judged.verdict == "never-settles":
        yield Prose(("The routine: it has to end whatever the fetch does.",))
    elif safe is None and len(judged.measured.run.passes[0]) > 1:
        yield Prose(
            (
                "The routine: what it hands on has to be what two of its passes agree on, else "
                "what stood there before.",
            )
        )
    elif safe is None:
        yield Prose(
            (
                "The routine: with one pass nothing can tell it that a bit was lost. Read at "
                "least twice a poll, and act only on what two passes agree on.",
            )
        )
    else:
        lines = []
        if safe.gaps:
            lines.append(f"cycles to add between the passes: {ranges(safe.gaps)}")
        if safe.loop is not None and safe.loops:
            lines.append(f"a loop of {ranges(safe.loops)} cycles a bit; it has {safe.loop} now")
        if not lines:
            lines.append("a quicker loop, or three passes: no gap or loop that was tried is safe")
        first = f"One of these keeps two passes from being stopped in one poll {safe.rates}:"
        yield Prose((first,))
        yield Prose(lines, listed=True)
        more = "Sweep what you then write, to be sure."
        if not set(judged.console.timing.fetch_periods) <= set(safe.periods):
            more = f"Other rates of the console were not tried; --period all tries them. {more}"
        yield Prose((more,), small=True)


def _cost(judged: JudgedRoutine) -> Iterator[Block]:
    measured = judged.measured
    cycles = str(measured.most)
    if measured.least != measured.most:
        cycles = f"{measured.least} to {measured.most}"
    timings = {name: console_timing(name) for name in console_names()}
    yield Table(
        "From the first cycle to the last of RTS, nothing stopped",
        ("console", "CPU cycles", "scan lines", "time"),
        [
            (
                name,
                cycles,
                f"{lines_of(measured.most, timing):.2f}",
                f"{microseconds_of(measured.most, timing):.1f} µs",
            )
            for name, timing in timings.items()
        ],
        frozenset((1, 2, 3)),
    )
    accesses = measured.run.accesses
    rows = [("latch written", [f"{a.cycle} ({a.value})" for a in accesses if a.kind == "latch"])]
    for port in (0, 1):
        reads = [str(a.cycle) for a in accesses if a.kind == "read" and a.port == port]
        rows.append((f"port {port + 1} read", reads))
    yield Table(
        "Cycles that touch the port, counted from 0",
        ("what", "times", "in cycle"),
        [(what, str(len(at)), ", ".join(at)) for what, at in rows if at],
        frozenset((1,)),
    )


def _fetch(judged: JudgedRoutine) -> Iterator[Block]:
    sweeps = [tally.counts() for tally in judged.tallies]
    yield Table(
        "Every held state in every phase of the fetch",
        ("cycles from fetch to fetch", "cases", "hit", "pass spoilt", "wrong byte handed on",
         "never settles", "kept the old byte"),
        [_counts(one) for one in sweeps],
        frozenset(range(1, 7)),
        "A hit stops a read of the port; a pass is eight reads after a latch. The phase is the CPU "
        "cycle, counted from the start of the poll, in which the first fetch asks.",
    )  # fmt: skip
    yield phase_strips(judged.tallies)
    yield Table(
        "The same as a table: phases by the worst that any held state came to",
        ("cycles from fetch to fetch", *OUTCOMES[1:]),
        [_phases(tally) for tally in judged.tallies],
        folded=True,
    )


def _counts(one: SweepCounts) -> tuple[str | Cell, ...]:
    def bad(number: int) -> str | Cell:
        return Cell(str(number), bad=True) if number else "0"

    return (
        str(one.period),
        str(one.cases),
        str(one.hit),
        str(one.corrupt),
        bad(one.accepted_wrong),
        bad(one.never_settles),
        str(one.kept_old),
    )


def phase_strips(tallies: Sequence[Tally]) -> Strips:
    """Phase against fetch period, each phase by the worst that any held state came to."""
    met = sorted({code for tally in tallies for code in tally.by_phase if code})
    return Strips(
        "Phases of the fetch by what they do, a row for each rate",
        "fetch every",
        "CPU cycles into the poll",
        [Strip(f"{t.period}", t.period, spans_of(t.by_phase)) for t in tallies],
        [(code, OUTCOMES[code]) for code in met],
        "no read of the port is ever stopped",
    )


def _phases(tally: Tally) -> tuple[str, ...]:
    found = []
    for code in range(1, len(OUTCOMES)):
        text = ranges([phase for phase, worst in enumerate(tally.by_phase) if worst == code])
        found.append(text if len(text) <= _LONGEST else text[:_LONGEST].rsplit(",", 1)[0] + ", …")
    return (str(tally.period), *(text or "–" for text in found))


_UNSAFE = len(OUTCOMES) - 1


def map_strips(chart: DesignMap) -> Strips:
    """Gap against loop length: unsafe places are marked, the loop as it is now too."""
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
            for loop, row in zip(chart.loops, chart.safe, strict=True)
        ],
        [(_UNSAFE, "some phase stops two passes")] if unsafe else [],
        "every length and gap that was tried is safe",
        tall=10,
    )


def _map_table(chart: DesignMap) -> Table:
    rows = []
    for loop, row in zip(chart.loops, chart.safe, strict=True):
        gaps = [gap for gap, good in zip(chart.gaps, row, strict=True) if good]
        now = " (now)" if loop == chart.loop else ""
        rows.append((f"{loop}{now}", ranges(gaps) or "none"))
    heads = ("cycles a bit", "safe: cycles added between the passes")
    return Table("The same as a table", heads, rows, folded=True)


def _cases(judged: JudgedRoutine) -> Iterator[Article]:
    """The worst cases, one a rate; an undisturbed read where no rate has any."""
    order = ("accepted_wrong", "never_settles", "corrupt")
    found = [one for one in (tally.counts() for tally in judged.tallies) if one.counterexample]
    found.sort(key=lambda one: order.index(one.counterexample.kind if one.counterexample else ""))
    worst = found[0].counterexample.kind if found and found[0].counterexample else None
    same = [one for one in found if one.counterexample and one.counterexample.kind == worst]
    for one in same[:_MOST_CASES]:
        yield _case(judged, one)
    if not same:
        yield _undisturbed(judged)


def _case(judged: JudgedRoutine, sweep: SweepCounts) -> Article:
    case = sweep.counterexample
    assert case is not None
    port = case.pad - 1
    what = {
        "accepted_wrong": "handed on",
        "never_settles": "it never came back; a pass read",
        "corrupt": "a pass read",
    }[case.kind]
    held = held_by(port, case.held)
    line = case_wave(
        judged.routine,
        judged.console,
        judged.pad,
        held=case.held,
        period=sweep.period,
        phase=case.phase,
        port=port,
        limit=judged.limit,
    )
    return Article(
        f"Fetch every {sweep.period} cycles, phase {case.phase}",
        "fail" if case.kind != "corrupt" else "pass",
        f"Held {spelled(held)}; {what} {spelled(case.got)}.",
        f"Pad on port {case.pad}. The wires are those of the simulated pad at the slow corner, "
        f"driven by the routine's own cycles. Phase {case.phase}: the first fetch asks in CPU "
        f"cycle {case.phase} of the poll.",
        [*_stops(line)],
        wave=_wave(line, held | judged.pad.stuck),
    )


def _stops(line: Timeline) -> Iterator[str]:
    """Each stopped read of the port, with its pass and its time."""
    starts = [read.start_ps for read in decode(line)]
    for at, says in line.notes:
        if says.startswith(STOPPED):
            number = bisect_right(starts, at)
            yield f"pass {number}, {at / 1e6:.1f} µs after the begin of the poll: {says}"


def _undisturbed(judged: JudgedRoutine) -> Article:
    held = 0x80
    line = case_wave(judged.routine, judged.console, judged.pad, held=held, limit=judged.limit)
    return Article(
        "No fetch",
        "pass",
        f"Held {spelled(held)}, and read so.",
        "The wires are those of the simulated pad at the slow corner.",
        wave=_wave(line, held | judged.pad.stuck),
    )


def _wave(line: Timeline, held: int) -> Wave:
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
    marks = [(at, says) for at, says in line.notes if says.startswith(STOPPED)]
    opens = None
    if marks and reads:
        # Stopped and extra clocks stand close together: at the width of a read they run into one.
        at, whole = (
            marks[0][0],
            max(read.samples[-1] - read.start for read in reads if read.samples),
        )
        opens = (max(0, at - whole // 8), min(line.end_ps, at + whole // 4))
    return Wave(line, reads, marks, (*ROWS, ("cpu.stopped", "CPU stopped")), opens=opens)
