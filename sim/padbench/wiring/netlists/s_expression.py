"""An s-expression netlist: ``(export (components (comp …)) (nets (net … (node …))))``.

Only what is wanted is kept while the brackets are read, so memory does not grow with the rest.
"""

import re
from typing import Any

from padbench.wiring.netlists.board import Drawing

_TOKEN = re.compile(
    r'\((\w+)\s+(?:"([^"\\]*)"|([^\s()"]+))\s*\)'  # most are a name and a word: taken as one
    r'|"((?:[^"\\]|\\.)*)"|([()])|([^\s()"]+)|(")',
    re.DOTALL,
)
_DEEPEST = 50
"""Brackets within brackets; a netlist has some eight."""

_KEPT = frozenset(("ref", "value", "property", "name", "node", "pin", "pinfunction"))
_MOST_KEPT = 100_000
"""Words and forms of one form."""


def read_s_expression(text: str, drawing: Drawing) -> None:
    """Fill a drawing.

    Raises `SheetError` for what breaks off, is nested too deeply, or is another kind of file.
    """
    open_forms: list[list[Any]] = []
    head, line, counted = "", 1, 0
    for token in _TOKEN.finditer(text):
        name, its_text, its_word, quoted, bracket, word, loose = token.groups()
        if name is not None and len(open_forms) > 0:
            if name in _KEPT:
                _keep([name, its_word if its_text is None else its_text], open_forms[-1], drawing)
            continue
        if bracket == "(" and len(open_forms) < _DEEPEST and not head:
            open_forms.append([])
            continue
        if not bracket and not loose and open_forms:
            kept = word if quoted is None else re.sub(r"\\(.)", r"\1", quoted)
            _keep(kept, open_forms[-1], drawing)
            continue
        # Counted on from the last one: from the start each time would be the square of its length.
        line, counted = line + text.count("\n", counted, token.start()), token.start()
        if loose or head or not open_forms:
            wrong = "a text in quotes does not end" if loose else "has text outside its brackets"
            raise drawing.refuse(wrong, "export it again", line)
        if bracket == "(":
            raise drawing.refuse(f"nests more than {_DEEPEST} brackets", "name a netlist", line)
        form = open_forms.pop()
        named = form[0] if form and isinstance(form[0], str) else ""
        if not open_forms:
            head = named or "("
        elif len(open_forms) == 2 and named in ("comp", "net"):
            (_comp if named == "comp" else _net)(form, drawing, line)
        elif named in _KEPT:
            _keep(form, open_forms[-1], drawing)
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
    # A property "dnp" without a value says that the part is not fitted (from memory).
    spared = any(
        isinstance(one, list)
        and one[0] == "property"
        and _inner(one, "name").lower() == "dnp"
        and _inner(one, "value").lower() not in ("0", "no", "false")
        for one in form
    )
    drawing.part(_inner(form, "ref"), _inner(form, "value"), line, fitted=not spared)


def _net(form: list[Any], drawing: Drawing, line: int) -> None:
    net = _inner(form, "name")
    for node in form:
        if isinstance(node, list) and node[0] == "node":
            ref, pin, function = (_inner(node, name) for name in ("ref", "pin", "pinfunction"))
            drawing.pin(ref, pin, net, line, function)
