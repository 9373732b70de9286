"""The short answer on a terminal: never more than 24 lines, but for long names of files written.

    for line in fitted([Lines("", [("push-pull", "works")])], width=80, height=24): print(line)

Each row gets the lines of its first sentence, and what room is left goes to the first that say
more; where even that is too much, rows are left out and counted. A list ends with the number of
what is left out. No sentence is cut.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache

from rich.console import Console
from rich.text import Text

from padbench.core.units import printable
from padbench.results.blocks import NEVER_CUT, Lines

HEIGHT = 24
_WIDEST_LABEL = 30
_NARROW = 60
_FEW = 2
_STYLES = (("FAILS", "bold red"), ("works", "green"))


def fitted(blocks: Sequence[Lines], width: int, height: int = HEIGHT) -> list[Text]:
    """The blocks as at most ``height`` lines of at most ``width`` cells, if they can be.

    What is ``whole`` is one line, however long, and counts for as many as the screen makes of it.
    """
    left = [_clean(block, height) for block in blocks if block.rows]
    while True:
        caps = [[NEVER_CUT if block.most == NEVER_CUT else 1] * len(block.rows) for block in left]
        room = height - _lines(_drawn(left, caps, width), width)
        if room >= 0:
            break
        # What is to be copied, as the names of files written, stands whole on any screen.
        places = [at for at, block in enumerate(left) if block.rows and not _is_fixed(block)]
        if not places:
            break
        many = [at for at in places if len(left[at].rows) > _FEW]
        longest = {at: len(_block(left[at], caps[at], width)) for at in places}
        loose = [at for at in many if not left[at].kept] or many
        most_rows = {at: len(left[at].rows) + bool(left[at].left_out) for at in loose}
        # Of two that are as long the later one: what stands first says more.
        most = most_rows or longest
        place = max(reversed(most), key=most.__getitem__)
        block = left[place]
        # The first one that goes makes room for nothing: its line says that more are left out.
        left[place] = replace(block, rows=block.rows[:-1], left_out=block.left_out + 1)
    # What room there is goes to what stands first.
    for place, block in enumerate(left):
        for row in range(len(block.rows)):
            while room > 0 and caps[place][row] < block.most:
                caps[place][row] += 1
                now = height - _lines(_drawn(left, caps, width), width)
                if now < 0:
                    caps[place][row] -= 1
                    break
                room = now
    return _drawn(left, caps, width)


def _is_fixed(block: Lines) -> bool:
    return block.whole or block.most == NEVER_CUT


def _clean(block: Lines, most: int) -> Lines:
    """Without control characters, which a name in a file may have; no more rows than can fit."""
    rows = [(printable(label), printable(says)) for label, says in block.rows[:most]]
    gone = block.left_out + len(block.rows) - len(rows)
    return replace(block, title=printable(block.title), rows=rows, left_out=gone)


def _lines(texts: Sequence[Text], width: int) -> int:
    """On the screen, which breaks what is longer than it is wide."""
    return sum(max(1, -(-text.cell_len // width)) for text in texts)


def _drawn(blocks: Sequence[Lines], caps: Sequence[Sequence[int]], width: int) -> list[Text]:
    return [
        line
        for block, most in zip(blocks, caps, strict=True)
        for line in _block(block, most, width)
    ]


def _block(block: Lines, caps: Sequence[int], width: int) -> list[Text]:
    if block.whole:
        return [Text(f"{label}: {says}" if label else says) for label, says in block.rows]
    if block.title and not block.rows:
        return _wrapped(f"{block.title}: {block.left_out}, see --all", width, NEVER_CUT)
    lines = _wrapped(block.title, width, NEVER_CUT) if block.title else []
    inset = 2 if block.title else 0
    labels = [len(label) for label, _ in block.rows if len(label) <= _WIDEST_LABEL]
    column = max(labels, default=0)
    for (label, says), most in zip(block.rows, caps, strict=True):
        if not label or width < _NARROW or len(label) > column:
            words = f"{label}: {says}" if label else says
            lines += _hung(words, "", inset, inset + 2 * bool(label), width, most, block.listed)
        else:
            indent = inset + column + 2
            lines += _hung(says, label, inset, indent, width, most, block.listed)
    if block.left_out:
        lines.append(Text(f"{' ' * inset}and {block.left_out} more"))
    return lines


def _hung(
    says: str, label: str, inset: int, indent: int, width: int, most: int, listed: bool
) -> list[Text]:
    """A text wrapped beside its label, or with its further lines set in."""
    body = _wrapped(says, max(width - indent, 8), most, listed=listed)
    first = f"{' ' * inset}{label:<{indent - inset}}" if label else " " * inset
    return [
        Text.assemble(first if number == 0 else " " * indent, line)
        for number, line in enumerate(body)
    ]


_GLUE = "\ue000"
"""Stands for a blank at which no line ends; of no other use, and never shown."""
_TOGETHER = re.compile(r"(?<=\d) (?=\d{3}\b|%|°C|[fpnµmkMG]?[sVAWΩFm](?!\w))")
_SENTENCE = re.compile(r"(?<=[.;]) (?=[A-Za-z])")
_MEASURE = Console(width=80, markup=False, emoji=False, color_system=None)


def _wrapped(says: str, width: int, most: int, *, listed: bool = False) -> list[Text]:
    plain = broken(says, width)
    for text in _shorter(says, listed=listed):
        if len(plain) <= most:
            break
        plain = broken(text, width)
    lines = [Text(line) for line in plain]
    for word, style in _STYLES:
        if says.startswith(word):
            lines[0].stylize(style, 0, len(word))
    return lines


def _shorter(says: str, *, listed: bool) -> Iterator[str]:
    """What says less in whole words, the longest first: fewer items, or fewer sentences."""
    if not listed:
        sentences = _SENTENCE.split(says)
        yield from (" ".join(sentences[:n]).rstrip(";") for n in range(len(sentences) - 1, 0, -1))
        return
    between = "; " if "; " in says else ", "
    items = says.rstrip(".").split(between)
    for n in range(len(items) - 1, 0, -1):
        yield f"{between.join(items[:n])} and {len(items) - n} more"


@lru_cache(4096)
def broken(says: str, width: int) -> tuple[str, ...]:
    """The lines of a text, none between a number and its unit."""
    kept = Text(_TOGETHER.sub(_GLUE, says))
    lines = (line.plain.rstrip().replace(_GLUE, " ") for line in kept.wrap(_MEASURE, width))
    return tuple(lines) or ("",)
