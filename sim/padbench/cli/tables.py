"""Results for people: tables where there is room for them, else a paragraph each.

Meaning is in words; colour only repeats it.
"""

import sys
from collections.abc import Iterable, Sequence

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from padbench.circuit.findings import PortRow
from padbench.core.buttons import spelled
from padbench.core.findings import COUNTED, Finding
from padbench.core.sentences import amount
from padbench.core.units import show
from padbench.trials import ScenarioResult, VerifyResult

__all__ = [
    "MARK",
    "MARKED",
    "console",
    "not_looked_up",
    "show_findings",
    "show_ports",
    "show_reads",
    "show_scenarios",
    "show_verdict",
]

MARK = " *"
MARKED = "* hangs on figures from memory or assumed; --json has the source of each."

_WORDS = {"pass": ("holds", "green"), "fail": ("FAILS", "bold red"), "not-judged": ("–", "dim")}
_PIPE_WIDTH = 120
_NARROW = 70
_MOST_READS = 64


def console() -> Console:
    """Standard output, without markup: nothing in a sheet can dress up as ours."""
    width = None if sys.stdout.isatty() else _PIPE_WIDTH
    return Console(markup=False, highlight=False, emoji=False, width=width)


def show_findings(screen: Console, findings: Sequence[Finding]) -> None:
    """What was judged, with the margin to each limit."""
    rows = [
        (_marked(found), _verdict(found.verdict), _margin(found), _why(found))
        for found in sorted(findings, key=lambda f: f.verdict != "pass")
        if found.verdict != "fail"
    ]
    _show(screen, "What holds", ("finding", "", "margin", ""), rows)
    broken = [
        (_marked(found), _verdict(found.verdict), _margin(found), _why(found))
        for found in findings
        if found.verdict == "fail"
    ]
    if broken:
        _show(screen, "What does not", ("finding", "", "margin", ""), broken)
    if any(not_looked_up(found) for found in findings):
        screen.print(MARKED)


def not_looked_up(found: Finding) -> bool:
    """Whether a figure that it rests on is from memory or assumed."""
    return any(source.kind in ("from memory", "assumed") for source in found.sources)


def _marked(found: Finding) -> str:
    return found.id + (MARK if not_looked_up(found) else "")


def show_scenarios(screen: Console, results: Sequence[ScenarioResult]) -> None:
    """One row a scenario; what went wrong instead of what it is about where it failed."""
    rows = []
    for result in results:
        says = result.says
        if result.broken and not result.problems:
            says = f"{result.corner} corner, {result.port} port: {result.broken[0].says}"
        if result.problems:
            more = len(result.problems) - 1
            says = f"{result.corner} corner, {result.port} port: {result.problems[0].says}"
            says += f"; and {more} more" if more else ""
        rows.append((result.name, _verdict(result.verdict), str(len(result.reads)), says))
    _show(screen, "Scenarios", ("scenario", "", "reads", ""), rows)


def show_verdict(screen: Console, pad: str, result: VerifyResult) -> None:
    """The verdict, last, where people look first."""
    if result.verdict == "pass":
        screen.print(f"{pad}: passes. A pass is a calculation, no guarantee.")
        return
    findings = [found.id for found in result.findings if found.verdict == "fail"]
    scenarios = [s.name for s in result.scenarios if s.verdict == "fail"]
    screen.print(f"{pad}: FAILS. A verdict is a calculation, no guarantee.")
    if findings:
        screen.print(f"  findings: {', '.join(findings)}")
    if scenarios:
        screen.print(f"  scenarios: {', '.join(scenarios)}")


def show_reads(screen: Console, result: ScenarioResult) -> None:
    """One row a read: when, which contacts were closed, what was read."""
    rows = [
        (
            str(number),
            show(pair.read.start_ps * 1e-12, "s", 6),
            spelled(pair.expected.held),
            f"{pair.byte:08b}",
            spelled(pair.byte),
            str(len(pair.read.clock_rises)),
            Text("as expected")
            if pair.as_expected
            else Text(f"WRONG, expected {spelled(pair.expected.byte)}", "bold red"),
        )
        for number, pair in enumerate(result.reads, 1)
    ]
    heads = ("read", "at", "held", "byte", "read as", "clocks", "")
    _show(screen, "", heads, rows[:_MOST_READS])
    if len(rows) > _MOST_READS:
        screen.print(f"and {len(rows) - _MOST_READS} more reads; --json has all of them")
    if result.accepted:
        states = ", ".join(
            "nothing, it does not come back" if state is None else spelled(state)
            for state in result.accepted
        )
        screen.print(f"After each poll of agreeing passes the console acts on: {states}")
    for problem in result.problems[:3]:
        screen.print(f"FAILS: {problem.says}")
    if len(result.problems) > 3:
        screen.print(f"and {len(result.problems) - 3} more")
    for found in result.broken:
        screen.print(f"FAILS: {found.id}: {found.says}")


def _show(
    screen: Console,
    title: str,
    heads: Sequence[str],
    rows: Iterable[Sequence[str | Text]],
) -> None:
    if screen.width < _NARROW:
        if title:
            screen.print(title)
        for row in rows:
            cells = [str(cell) for cell in row]
            named = [
                f"{head} {cell}" if head in ("margin", "reads", "clocks", "held") else cell
                for head, cell in zip(heads, cells, strict=True)
                if cell
            ]
            screen.print(", ".join(named))
        return
    table = Table(box=box.SIMPLE_HEAD, title=title or None, title_justify="left")
    last = len(heads) - 1
    for place, head in enumerate(heads):
        right = head in ("margin", "reads", "read", "at", "clocks")
        wraps = place == last or head in ("held", "read as")
        table.add_column(
            head, justify="right" if right else "left", overflow="fold", no_wrap=not wraps
        )
    for row in rows:
        table.add_row(*row)
    screen.print(table)


def _why(found: Finding) -> str:
    """What a finding says, where it fails, and what to change."""
    broken = found.verdict == "fail"
    says = f"{found.says} ({found.where})" if broken else found.says
    if found.remedy is not None:
        says += f". {'Change' if broken else 'Thin'}: {found.remedy.whole}"
    return says


def _verdict(verdict: str) -> Text:
    """ "holds", "FAILS" or a dash."""
    word, style = _WORDS[verdict]
    return Text(word, style)


def _margin(found: Finding) -> str:
    """With its sign; empty where there is none, or where none is needed."""
    margin, unit = found.margin, found.unit
    if margin is None or (not margin and not found.limit):
        return ""
    if unit in COUNTED and not margin:
        return ""
    return ("−" if margin < 0 else "+") + amount(abs(margin), unit)


def show_ports(screen: Console, rows: Sequence[PortRow]) -> None:
    """Pad variants down, kinds of port across."""
    ports = list(dict.fromkeys(row.port for row in rows))
    lines: list[tuple[str | Text, ...]] = []
    for variant in dict.fromkeys(row.variant for row in rows):
        verdicts = {row.port: row.verdict for row in rows if row.variant == variant}
        lines.append((variant, *(_verdict(verdicts[port]) for port in ports)))
    _show(screen, "Ports", ("latch, clock, data, supply of the pad", *ports), lines)
