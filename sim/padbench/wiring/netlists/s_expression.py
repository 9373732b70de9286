"""An s-expression netlist: ``(export (components (comp …)) (nets (net … (node …))))``.

Only what is wanted is kept while the brackets are read, so memory does not grow with the rest.
"""

import re
from typing import Any

from padbench.wiring.netlists.board import Drawing

_PAIR = re.compile(r'\((\w+)\s+(?:"([^"\\]*)"|([^\s()"]+))\s*\)', re.DOTALL)
_TOKEN = re.compile(
    r'\(node\s+((?:\(\w+\s+(?:"[^"\\]*"|[^\s()"]+)\s*\)\s*+){1,12}+)\)'  # most of a large file
    rf"|{_PAIR.pattern}"
    r'|"([^"\\]*+(?:\\.[^"\\]*+)*+)"|([()])|([^\s()"]+)|(")',  # possessive: no way back is kept
    re.DOTALL,
)
"""A node of pairs, and a pair of a name and a word, are taken as one; most forms are so."""

_DEEPEST = 50
"""Brackets within brackets; a netlist has some eight."""

_OF_NODE = ("ref", "pin", "pinfunction")
_KEPT = frozenset(("value", "property", "name", "node", "libsource", "lib", "part", *_OF_NODE))
_MOST_KEPT = 100_000
"""Words and forms of one form."""


def read_s_expression(text: str, drawing: Drawing) -> None:
    """Fill a drawing.

    Raises `SheetError` for what breaks off, is nested too deeply, or is another kind of file.
    """
    open_forms: list[list[Any]] = []
    head, line, counted = "", 1, 0
    for token in _TOKEN.finditer(text):
        pairs, name, its_text, its_word, quoted, bracket, word, loose = token.groups()
        if bracket == "(" and len(open_forms) < _DEEPEST and not head:
            open_forms.append([])
            continue
        if not bracket and not loose and open_forms:
            kept: Any = [name, its_text or its_word or ""] if name else word
            if pairs:
                kept = {one: text or word for one, text, word in _PAIR.findall(pairs)}
            elif quoted is not None:
                kept = re.sub(r"\\(.)", r"\1", quoted)
            if not name or name in _KEPT:
                _keep(kept, open_forms[-1], drawing)
            continue
        # Counted on from the last one: from the start each time would be the square of its length.
        line, counted = line + text.count("\n", counted, token.start()), token.start()
        if loose or head or not open_forms or bracket == "(":
            deep = f"nests more than {_DEEPEST} brackets"
            wrong = deep if open_forms and not loose else "has text outside its brackets"
            wrong = "a text in quotes does not end" if loose else wrong
            raise drawing.refuse(wrong, "export the netlist again", line)
        form = open_forms.pop()
        named = form[0] if form and isinstance(form[0], str) else ""
        if not open_forms:
            head = named or "("
        elif len(open_forms) == 2 and named in ("comp", "net"):
            (_comp if named == "comp" else _net)(form, drawing, line)
        elif named in _KEPT:
            node = {name: _inner(form, name) for name in _OF_NODE}
            _keep(node if named == "node" else form, open_forms[-1], drawing)
    if open_forms or not head:
        raise drawing.refuse(
            f"breaks off: {len(open_forms)} brackets are not closed", "export it again"
        )
    if head != "export":
        raise drawing.refuse(
            f"is no netlist: it begins with ({head[:40]}", "export the netlist of the schematic"
        )


def _keep(item: Any, form: list[Any], drawing: Drawing) -> None:
    if len(form) == _MOST_KEPT:
        raise drawing.refuse(f"has more than {_MOST_KEPT} words in a bracket", "name a netlist")
    form.append(item)


def _inner(form: list[Any], name: str) -> str:
    """The word behind a name: ``(comp (ref "R1"))``; empty where there is none."""
    inner = next((one for one in form[1:] if isinstance(one, list) and one[0] == name), [])
    return inner[1] if len(inner) > 1 and isinstance(inner[1], str) else ""


def _comp(form: list[Any], drawing: Drawing, line: int) -> None:
    # Such a property without a value says that the part is not fitted (from memory).
    spared = any(
        isinstance(one, list)
        and one[0] == "property"
        and _inner(one, "name").lower() in ("dnp", "exclude_from_board")
        and _inner(one, "value").lower() not in ("0", "no", "false")
        for one in form
    )
    source: list[Any] = next(
        (one for one in form[1:] if isinstance(one, list) and one[0] == "libsource"), []
    )
    symbol = " ".join(_inner(source, name) for name in ("lib", "part"))
    drawing.part(_inner(form, "ref"), _inner(form, "value"), line, fitted=not spared, symbol=symbol)


def _net(form: list[Any], drawing: Drawing, line: int) -> None:
    net = _inner(form, "name")
    for node in form:
        if isinstance(node, dict):
            get = node.get
            drawing.pin(get("ref", ""), get("pin", ""), net, line, get("pinfunction", ""))
