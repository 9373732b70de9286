"""Results as tables for people. Meaning is in words; colour only repeats it."""

from collections.abc import Sequence

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from padbench.buttons import spelled
from padbench.electric.findings import PortRow
from padbench.rules import Finding
from padbench.units import show
from padbench.verify import ScenarioResult

__all__ = [
    "console",
    "findings_table",
    "ports_table",
    "reads_table",
    "scenarios_table",
    "verdict_text",
]

_WORDS = {"pass": ("holds", "green"), "fail": ("FAILS", "bold red"), "not-judged": ("–", "dim")}
_MOST = 3


def console() -> Console:
    """Standard output, without markup: nothing in a sheet can dress up as ours."""
    return Console(markup=False, highlight=False, emoji=False)


def verdict_text(verdict: str) -> Text:
    """ "holds", "FAILS" or a dash."""
    word, style = _WORDS[verdict]
    return Text(word, style)


def findings_table(findings: Sequence[Finding]) -> Table:
    """What was judged, the broken ones first."""
    table = Table(box=box.SIMPLE_HEAD, title="Findings", title_justify="left")
    for head, justify in (("finding", "left"), ("", "left"), ("margin", "right"), ("", "left")):
        table.add_column(head, justify=justify, overflow="fold")  # type: ignore[arg-type]
    for found in sorted(findings, key=lambda f: ["fail", "pass", "not-judged"].index(f.verdict)):
        margin = "" if found.margin is None else _margin(found.margin, found.unit)
        detail = found.says if found.verdict != "fail" else f"{found.says} ({found.where})"
        if found.remedy is not None:
            detail += f". {'Change' if found.verdict == 'fail' else 'Thin'}: {found.remedy.says}"
        table.add_row(found.id, verdict_text(found.verdict), margin, detail)
    return table


def _margin(margin: float, unit: str) -> str:
    value = show(abs(margin) * 1e-9, "s") if unit == "ns" else show(abs(margin), unit)
    return ("−" if margin < 0 else "+") + value


def ports_table(rows: Sequence[PortRow]) -> Table:
    """Pad variants down, kinds of port across."""
    ports = list(dict.fromkeys(row.port for row in rows))
    table = Table(box=box.SIMPLE_HEAD, title="Ports", title_justify="left")
    for head in ("latch, clock, data, supply of the pad", *ports):
        table.add_column(head, overflow="fold")
    for variant in dict.fromkeys(row.variant for row in rows):
        verdicts = {row.port: row.verdict for row in rows if row.variant == variant}
        table.add_row(variant, *(verdict_text(verdicts[port]) for port in ports))
    return table


def scenarios_table(results: Sequence[ScenarioResult]) -> Table:
    """One row a scenario; what went wrong instead of what it is about where it failed."""
    table = Table(box=box.SIMPLE_HEAD, title="Scenarios", title_justify="left")
    table.add_column("scenario", overflow="fold")
    table.add_column("")
    table.add_column("reads", justify="right")
    table.add_column("", overflow="fold")
    for result in results:
        says = result.says
        if result.problems:
            said = [problem.says for problem in result.problems[:_MOST]]
            more = len(result.problems) - len(said)
            said += [f"and {more} more"] if more else []
            says = f"{result.corner} corner, {result.port} port: " + "; ".join(said)
        row = (result.name, verdict_text(result.verdict), str(len(result.reads)), says)
        table.add_row(*row)
    return table


def reads_table(result: ScenarioResult) -> Table:
    """One row a read: when, what was held, what was read."""
    table = Table(box=box.SIMPLE_HEAD)
    for head in ("read", "at", "held", "byte", "read as", "clocks", ""):
        table.add_column(head, justify="right" if head in ("read", "at", "clocks") else "left")
    for number, pair in enumerate(result.reads, 1):
        table.add_row(
            str(number),
            f"{pair.read.start_ps / 1e9:.4f} ms",
            spelled(pair.expected.held),
            f"{pair.byte:08b}",
            spelled(pair.byte),
            str(len(pair.read.clock_rises)),
            Text("as expected") if pair.as_expected else Text("WRONG", "bold red"),
        )
    return table
