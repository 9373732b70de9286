"""A result as text for a terminal or a pipe: the short answer, or all of it in tables.

    print_result(result, console())
    print_result(result, console(whole=True), whole=True)

Meaning is in words; colour only repeats it.
"""

import os
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from io import StringIO
from pathlib import Path
from typing import Any

from rich import box
from rich.cells import cell_len
from rich.console import Console
from rich.table import Table as Grid
from rich.text import Text

from padbench.core.findings import Finding
from padbench.core.sentences import COUNTED, amount
from padbench.core.units import printable
from padbench.results.blocks import (
    NEVER_CUT,
    Article,
    Articles,
    Block,
    Cell,
    Findings,
    Lines,
    Prose,
    Table,
)
from padbench.results.brief import broken, fitted
from padbench.results.result import Result

_WORDS = {"pass": ("holds", "green"), "fail": ("FAILS", "bold red"), "not-judged": ("–", "dim")}
_CAUTION = "A verdict is a calculation, not a guarantee."
_PIPE_WIDTH = 120
BRIEF_WIDTH = 80
_NARROW = 70
_MOST_FILES = 4
_APART = 2
"""Files that have a line each; more share lines."""
_COMMAND = "padbench play "


class _Screen(Console):
    """Without markup and control characters: nothing in a file of the user's can dress up as ours.

    A closed pipe is an error of the caller's to handle.
    """

    def __init__(self, **options: Any) -> None:
        super().__init__(markup=False, highlight=False, emoji=False, **options)

    def print(self, *objects: Any, **options: Any) -> None:
        """Print; text is cleaned, and a table has been."""
        super().print(*(printable(o) if isinstance(o, str) else o for o in objects), **options)

    def on_broken_pipe(self) -> None:
        """Tell it."""
        raise BrokenPipeError


def console(*, whole: bool = False) -> Console:
    """Standard output."""
    known = sys.stdout.isatty() or "COLUMNS" in os.environ
    return _Screen(width=None if known else _PIPE_WIDTH if whole else BRIEF_WIDTH)


def as_text(result: Result, width: int = _PIPE_WIDTH, *, whole: bool = True) -> str:
    """The whole, or the short answer, as plain text, ``width`` columns wide."""
    out = StringIO()
    screen = _Screen(file=out, width=width, color_system=None)
    print_result(result, screen, whole=whole)
    return out.getvalue()


def print_result(result: Result, screen: Console, *, whole: bool = False) -> None:
    """The short answer; or all sections, and then the verdict, last, and the files written."""
    if not whole and result.brief:
        _print_brief(result, result.brief, screen)
        return
    for part in result.sections:
        if "text" not in part.media:
            continue
        title = part.title
        for block in part.blocks:
            if _print_block(block, title, screen):
                title = ""
    if result.assumed:
        _say(result.assumption, screen)
    _say(f"{result.name}: {result.word} {result.lead} {_CAUTION}", screen)
    for what, path in result.wrote.items():
        screen.print(f"{what}: {path}", soft_wrap=True)


def _print_brief(result: Result, blocks: Sequence[Block], screen: Console) -> None:
    """24 lines: verdict, what the sections say, files; tables asked for follow the verdict."""
    lines = [Lines("", [("", f"{result.name}: {result.word} {result.lead}")], NEVER_CUT)]
    tables = [block for block in blocks if not isinstance(block, Lines)]
    if tables:
        for line in fitted(lines, screen.width):
            screen.print(line, soft_wrap=True)
        lines.clear()
    for table in tables:
        _print_block(table, "", screen)
    lines += [block for block in blocks if isinstance(block, Lines)]
    if result.assumed:
        lines.append(Lines("", [("", result.assumption)], listed=True))
    lines.append(Lines("", [("", f"{_CAUTION} --all shows the rest.")], NEVER_CUT))
    lines.append(Lines("", _written(result.wrote), whole=True))
    for line in fitted(lines, screen.width):
        screen.print(line, soft_wrap=True)


def _written(wrote: Mapping[str, Path]) -> list[tuple[str, str]]:
    """Where the files lie; of many of a kind the folder that they are all in."""
    kinds: dict[str, list[Path]] = {}
    for what, path in wrote.items():
        kinds.setdefault(what.partition(",")[0], []).append(path)
    if all(len(paths) <= _MOST_FILES for paths in kinds.values()):
        rows = [(what, str(path)) for what, path in wrote.items()]
        return rows if len(rows) <= _APART else [("", line) for line in _packed(rows)]
    return [(kind, os.path.commonpath(paths)) for kind, paths in kinds.items()]


def _packed(rows: Iterable[tuple[str, str]]) -> list[str]:
    """Several files a line, as many as find room on 80 columns: the lines are for the answer."""
    lines: list[str] = []
    for what, path in rows:
        one = f"{what}: {path}"
        if lines and len(lines[-1]) + len(one) + 2 <= BRIEF_WIDTH:
            lines[-1] += f"; {one}"
        else:
            lines.append(one)
    return lines


def _print_block(block: Block, title: str, screen: Console) -> bool:
    """Print a block under the title of its section, if that was not said yet; False: nothing."""
    way = _WAYS.get(type(block))
    if way is not None:
        way(block, title, screen)
    return way is not None


def _prose(block: Prose, title: str, screen: Console) -> None:
    if title:
        screen.print(title)
    for number, line in enumerate(block.lines, 1):
        sign = f"{number}. " if block.numbered else ""
        _say(f"  {sign}{line}" if block.listed or block.wrong or sign else line, screen)


def _say(line: str, screen: Console) -> None:
    """A sentence, broken between words and its further lines set in; a command line stays whole."""
    plain = printable(line)
    if _COMMAND in plain:
        screen.print(plain, soft_wrap=True)
        return
    inset = len(plain) - len(plain.lstrip())
    for number, part in enumerate(broken(plain.strip(), max(screen.width - inset - 2, 8))):
        screen.print(f"{' ' * (inset + 2 * bool(number))}{part}", soft_wrap=True)


def _table(block: Table, title: str, screen: Console) -> None:
    rows = [[_text(cell) for cell in row] for row in block.rows]
    _show(screen, block.caption or title, block.heads, rows, block.numbers)
    if block.note:
        _say(block.note, screen)


def _text(cell: str | Cell) -> str | Text:
    if isinstance(cell, str):
        return cell
    if cell.verdict:
        word, style = _WORDS[cell.verdict]
        return Text(" ".join(part for part in (word, printable(cell.text)) if part), style)
    text = printable(cell.joint.join((cell.text, *cell.more)))
    return Text(text, "bold red" if cell.bad else "")


def _findings(block: Findings, title: str, screen: Console) -> None:
    rows = [
        (
            finding.id,
            _verdict(finding.verdict),
            _margin(finding),
            finding.rests_on or "",
            _why(finding),
        )
        for finding, _ in block.rows
    ]
    _show(screen, block.caption, ("finding", "", "margin", "rests on", ""), rows, frozenset((2,)))


def _articles(block: Articles, title: str, screen: Console) -> None:
    """One row a run; what went wrong instead of what it is about where it failed."""
    rows = [
        (
            article.name,
            _verdict(article.verdict),
            "" if article.count is None else str(article.count),
            _said(article),
        )
        for article in block.articles
    ]
    _show(screen, title, ("scenario", "", "reads", ""), rows, frozenset((2,)))


def _said(article: Article) -> str:
    if not article.said:
        return article.says
    more = len(article.said) - 1
    return f"{article.run}: {article.said[0]}" + (f"; and {more} more" if more else "")


_WAYS: dict[type[Block], Callable[[Any, str, Console], None]] = {
    Prose: _prose,
    Table: _table,
    Findings: _findings,
    Articles: _articles,
}
"""How each kind of block is printed; those not among them are pictures."""


def _show(
    screen: Console,
    title: str,
    heads: Sequence[str],
    rows: Iterable[Sequence[str | Text]],
    numbers: frozenset[int],
) -> None:
    if screen.width < _NARROW:
        if title:
            screen.print(title)
        for row in rows:
            cells = [(head, str(cell)) for head, cell in zip(heads, row, strict=True) if str(cell)]
            named = [
                f"{head} {cell}" if place and head else cell
                for place, (head, cell) in enumerate(cells)
            ]
            screen.print(", ".join(named))
        return
    grid = Grid(box=box.SIMPLE_HEAD, title=printable(title) or None, title_justify="left")
    rows = [*rows]
    for place, head in enumerate(heads):
        # A head may take several lines, a number may not.
        whole = [*head.split(), *(str(row[place]) for row in rows)] if place in numbers else []
        grid.add_column(
            printable(head),
            justify="right" if place in numbers else "left",
            overflow="fold",
            min_width=max(map(cell_len, whole), default=None),
        )
    for row in rows:
        grid.add_row(*(printable(cell) if isinstance(cell, str) else cell for cell in row))
    screen.print(grid)


def _why(finding: Finding) -> str:
    """What a finding says, where it fails, and what to change."""
    broken = finding.verdict == "fail"
    says = f"{finding.says} ({finding.where})" if broken else finding.says
    if finding.remedy is not None:
        says += f". {'Change' if broken else 'Thin'}: {finding.remedy.whole}"
    return says


def _verdict(verdict: str) -> Text:
    """ "holds", "FAILS" or a dash."""
    word, style = _WORDS[verdict]
    return Text(word, style)


def _margin(finding: Finding) -> str:
    """With its sign; empty where there is none, or where none is needed."""
    margin, unit = finding.margin, finding.unit
    if margin is None or (not margin and (unit in COUNTED or not finding.limit)):
        return ""
    return ("−" if margin < 0 else "+") + amount(abs(margin), unit)
