"""On which line of a sheet a key stands.

tomllib keeps no positions, so the text is parsed once more by tree-sitter, and only when there is
an error to report.
"""

import re
import tomllib
from collections import Counter
from collections.abc import Iterator

import tree_sitter
import tree_sitter_toml

__all__ = ["Path", "Places", "places"]

Path = tuple[str | int, ...]
"""A key: ``("buttons", "A")``; an item of a list has its index: ``("contacts", "stuck", 0)``."""

Places = dict[Path, int]

DEEPEST = 6
"""No key of a sheet lies deeper; anything below is reported where its sixth level stands."""

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def places(text: str) -> Places:
    """The line (from 1) of every key, table and list item of a valid TOML text.

    A table that is only implied, by a dotted key or a deeper header, stands where the first key
    below it does.
    """
    language = tree_sitter.Language(tree_sitter_toml.language())
    tree = tree_sitter.Parser(language).parse(text.encode(errors="replace"))
    found: Places = {}
    items: Counter[Path] = Counter()
    for node in tree.root_node.named_children:
        if node.type == "pair":
            _pair(node, (), found)
        elif node.type in ("table", "table_array_element"):
            above: Path = ()
            for place, child in enumerate(_parts(node)):
                if place:
                    _pair(child, above, found)
                    continue
                above = _inside(_path(child), items)
                _note(above, child, found)
                if node.type == "table_array_element":
                    items[above] += 1
                    above = (*above, items[above] - 1)
                    _note(above, child, found)
    return found


def _inside(path: Path, items: Counter[Path]) -> Path:
    """A header's path, with the last item so far of every array of tables on its way."""
    full: Path = ()
    for step in path[:-1]:
        full = (*full, step)
        if items[full]:
            full = (*full, items[full] - 1)
    return (*full, *path[-1:])


def _parts(node: tree_sitter.Node) -> list[tree_sitter.Node]:
    return [child for child in node.named_children if child.type != "comment"]


def _pair(node: tree_sitter.Node, above: Path, found: Places) -> None:
    # A list of work rather than recursion: tables may be nested deeper than Python's stack.
    work = [(node, above)]
    while work:
        pair, above = work.pop()
        parts = _parts(pair)
        if len(parts) != 2:
            continue
        path = above + _path(parts[0])
        _note(path, parts[0], found)
        if len(path) < DEEPEST:
            work.extend(_below(parts[1], path, found))


def _below(
    value: tree_sitter.Node, path: Path, found: Places
) -> Iterator[tuple[tree_sitter.Node, Path]]:
    """The pairs of an inline table, or of those in a list; list items are noted on the way."""
    if value.type == "inline_table":
        yield from ((pair, path) for pair in _parts(value))
    elif value.type == "array":
        for place, item in enumerate(_parts(value)):
            _note((*path, place), item, found)
            if item.type == "inline_table":
                yield from ((pair, (*path, place)) for pair in _parts(item))


def _path(key: tree_sitter.Node) -> Path:
    text = (key.text or b"").decode()
    if _BARE.fullmatch(text):
        return (text,)
    # Quotes, escapes and dots as TOML itself understands them.
    try:
        level: object = tomllib.loads(f"{text} = 0")
    except ValueError:  # the two parsers disagree; better no line than a wrong one
        return ()
    names: list[str] = []
    while isinstance(level, dict):
        name, level = next(iter(level.items()))
        names.append(name)
    return tuple(names)


def _note(path: Path, node: tree_sitter.Node, found: Places) -> None:
    line = node.start_point.row + 1
    for depth in range(1, min(len(path), DEEPEST) + 1):
        found.setdefault(path[:depth], line)
