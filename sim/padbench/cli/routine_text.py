"""A judged read routine for people."""

from collections.abc import Sequence

from rich import box
from rich.table import Table

from padbench.cli.tables import console as the_screen
from padbench.core.buttons import spelled
from padbench.parts import ConsoleTiming, console_names, console_timing
from padbench.routines.engine import SweepCounts
from padbench.routines.frames import Span, lines_of, microseconds_of
from padbench.routines.judge import Measured
from padbench.routines.lengths import SafeLengths, ranges
from padbench.routines.routine import Routine
from padbench.routines.run import held_by

__all__ = ["print_routine"]


def print_routine(
    routine: Routine,
    timing: ConsoleTiming,
    measured: Measured,
    verdict: str,
    says: str,
    sweeps: Sequence[SweepCounts],
    safe: SafeLengths | None,
    span: Span | None,
) -> None:
    """Cycles and lines, where the port is touched, the sweeps, the verdict and a remedy."""
    screen = the_screen()
    cycles = str(measured.most)
    if measured.least != measured.most:
        cycles = f"{measured.least} to {measured.most}"
    screen.print(f"{routine.name}: {cycles} CPU cycles")
    for key in console_names():
        one = console_timing(key)
        screen.print(
            f"  {key}: {lines_of(measured.most, one):.2f} scan lines, "
            f"{microseconds_of(measured.most, one):.1f} µs"
        )
    if span is not None:
        screen.print(
            f"  started in line {span.first_line} of the {timing.name} console: {_place(span)}"
        )
    accesses = measured.run.accesses
    latch = ", ".join(f"{a.cycle} ({a.value})" for a in accesses if a.kind == "latch")
    screen.print(f"Latch written in cycle {latch or '–'}")
    for port in (0, 1):
        reads = [a.cycle for a in accesses if a.kind == "read" and a.port == port]
        if reads:
            number = 2 if routine.second_only else port + 1
            screen.print(f"Port {number} read in cycle {', '.join(map(str, reads))}")
    screen.print(_table(sweeps))
    for sweep in sweeps:
        if sweep.counterexample is not None:
            screen.print(_example(sweep))
    screen.print(f"Verdict: {verdict}: {says}.")
    if safe is not None:
        screen.print(_remedy(safe, timing))


def _place(span: Span) -> str:
    where = [
        word
        for word, there in (("vertical blanking", span.blanking), ("the picture", span.picture))
        if there
    ]
    said = "in " + " and ".join(where) if where else "between picture and blanking"
    until = f"until line {span.last_line}" + (" of the next frame" if span.wraps else "")
    return f"{said}, {until}"


def _table(sweeps: Sequence[SweepCounts]) -> Table:
    table = Table(
        box=box.SIMPLE_HEAD,
        title="Sample fetch (its rules and rates from memory)",
        title_justify="left",
    )
    heads = ("period", "cases", "hit", "corrupt", "accepted wrong", "never settles", "kept old")
    for head in heads:
        table.add_column(head, justify="right")
    for sweep in sweeps:
        table.add_row(
            *map(
                str,
                (
                    sweep.period,
                    sweep.cases,
                    sweep.hit,
                    sweep.corrupt,
                    sweep.accepted_wrong,
                    sweep.never_settles,
                    sweep.kept_old,
                ),
            )
        )
    return table


def _example(sweep: SweepCounts) -> str:
    case = sweep.counterexample
    assert case is not None
    what = {
        "accepted_wrong": "handed on",
        "never_settles": "never came back; a pass read",
        "corrupt": "a pass read",
    }[case.kind]
    held = spelled(held_by(case.pad - 1, case.held))
    return (
        f"Period {sweep.period}, phase {case.phase}: held {held}, {what} {spelled(case.got)} "
        f"(held state {case.held}, got {case.got}, pad {case.pad})"
    )


def _remedy(safe: SafeLengths, timing: ConsoleTiming) -> str:
    lines = [
        f"What keeps two passes from being stopped in one poll {safe.rates} (run it again to be "
        "sure):"
    ]
    if safe.gaps:
        lines.append(f"  cycles to add between the passes: {ranges(safe.gaps)}")
    if safe.loop is not None and safe.loops:
        lines.append(f"  or a loop of {ranges(safe.loops)} cycles a bit; it has {safe.loop} now")
    if len(lines) == 1:
        lines.append(
            "  no gap or loop length that was tried; read in a quicker loop, or three times"
        )
    if not set(timing.fetch_periods) <= set(safe.periods):
        lines.append("  Other rates of the console were not tried; --period all tries them.")
    return "\n".join(lines)
