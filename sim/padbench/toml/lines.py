"""On which line of a TOML text a key stands: tomllib keeps no positions."""

import re
import tomllib
from collections import Counter
from collections.abc import Iterator

Path = tuple[str | int, ...]
"""A key: ``("buttons", "A")``; an item of a list has its index: ``("contacts", "stuck", 0)``."""

Lines = dict[Path, int]

DEEPEST = 6
"""No key of ours lies deeper; what does is found where its sixth level stands."""

_QUOTED = r"""(?:"(?:[^"\\]|\\.)*"|'[^']*')"""
_PART = rf"(?:[A-Za-z0-9_-]+|{_QUOTED})"
_KEY = rf"({_PART}(?:[ \t]*\.[ \t]*{_PART})*)[ \t]*"
_HEADER = re.compile(rf"\[(\[?)[ \t]*{_KEY}\]\]?")
_PAIR = re.compile(rf"{_KEY}=[ \t]*")
_BETWEEN = re.compile(r"(?:[\s,]|#[^\n]*)+")
_SCALAR = re.compile(  # a text of several lines may end in up to five quotes
    rf"""\"{{3}}(?:[^\\]|\\.)*?\"{{3,5}}|'{{3}}.*?'{{3,5}}|{_QUOTED}|[^,\]}}#\n]+""",
    re.DOTALL,
)


def lines_of(text: str) -> Lines:
    """The line (from 1) of every key, table and list item of a text that tomllib has read.

    A table that is only implied, by a dotted key or a deeper header, stands where the first key
    below it does.
    """
    lines: Lines = {}
    for path, line in _keys(text):
        for depth in range(1, min(len(path), DEEPEST) + 1):
            lines.setdefault(path[:depth], line)
    return lines


def _keys(text: str) -> Iterator[tuple[Path, int]]:
    table: Path = ()  # of the last header
    items: Counter[Path] = Counter()  # of each list of tables, so far
    # Open lists, with their next index, and open inline tables, with None. Not recursion: they may
    # be nested deeper than Python's stack.
    nest: list[tuple[Path, int | None]] = []
    at, line, counted = 0, 1, 0
    while True:
        at = _end(_BETWEEN, text, at)
        line, counted = line + text.count("\n", counted, at), at
        if at >= len(text):
            return
        if nest and text[at] in "]}":
            nest.pop()
            at += 1
            continue
        path, index = nest[-1] if nest else (table, None)
        if not nest and (header := _HEADER.match(text, at)):
            table = _inside(_names(header[2]), items)
            yield table, line
            if header[1]:
                items[table] += 1
                table = (*table, items[table] - 1)
                yield table, line
            at = header.end()
            continue
        if index is None:
            pair = _PAIR.match(text, at)
            assert pair is not None
            path = (*path, *_names(pair[1]))
            at = pair.end()
        else:
            nest[-1] = path, index + 1
            path = (*path, index)
        yield path, line
        if text[at] in "[{":
            nest.append((path[:DEEPEST], 0 if text[at] == "[" else None))
            at += 1
        else:
            at = _end(_SCALAR, text, at)


def _end(pattern: re.Pattern[str], text: str, at: int) -> int:
    match = pattern.match(text, at)
    return match.end() if match else at


def _inside(path: Path, items: Counter[Path]) -> Path:
    """A header's path, with the last item so far of every list of tables on its way."""
    full: Path = ()
    for step in path[:-1]:
        full = (*full, step)
        if items[full]:
            full = (*full, items[full] - 1)
    return (*full, *path[-1:])


def _names(key: str) -> Path:
    """The names in a dotted key; quotes, escapes and dots as TOML itself understands them."""
    if not re.search("[\"'.]", key):
        return (key.strip(),)
    level: object = tomllib.loads(f"{key} = 0")
    names: Path = ()
    while isinstance(level, dict):
        name, level = next(iter(level.items()))
        names = (*names, name)
    return names
