"""A SPICE netlist: two-pole parts, transistors, and subcircuits, whose pins are its names.

``.subckt CD4021B P8 Q6 Q8 …`` says which node of ``XU1 … CD4021B`` is which pin. SPICE knows no
capitals, so all names are in them, and takes node 0 and GND for one.
"""

import re
from collections.abc import Iterator

from padbench.core.units import found_text
from padbench.wiring.netlists.board import Drawing

_POLES = {"R": "12", "C": "12", "L": "12", "V": "12", "I": "12", "D": "AK", "Q": "CBE", "M": "DGSB"}
"""Pins of each kind of element in the order of its nodes."""

_FACTORS = {"MEG": "M", "M": "m", "K": "k", "G": "G", "U": "u", "N": "n", "P": "p", "": ""}
_MAY_BRING_PARTS = (".INCLUDE", ".INC", ".LIB", ".IF", ".ELSEIF", ".ELSE", ".ENDIF")
_NUMBER = re.compile(r"([0-9.]+)(MEG|[MKGUNP]?)(?:OHMS?|F|R|Ω)?")


def read_spice(text: str, drawing: Drawing) -> None:
    """Fill a drawing.

    Raises `SheetError` if ``.end`` or an ``.ends`` is missing, for an element that is no part of a
    board, for a line that may bring others, and for a subcircuit that is not there or has another
    number of pins.
    """
    pins_of: dict[str, list[str]] = {}
    used: list[tuple[int, list[str]]] = []
    inside, ended, commands = "", False, False
    for number, words in _statements(text, drawing):
        first = words[0]
        if inside:
            inside = "" if first == ".ENDS" else inside
        elif first == ".SUBCKT" and len(words) > 2:
            inside = words[1]
            names = [word for word in words[2:] if "=" not in word and word != "PARAMS:"]
            if inside in pins_of or len(set(names)) < len(names):
                raise drawing.refuse(
                    f"the subcircuit {found_text(inside)}, or one of its pins, stands there twice",
                    "export it again",
                    number,
                )
            pins_of[inside] = names
        elif first == ".END":
            ended = True
            break
        elif commands or first in (".CONTROL", ".ENDC"):
            commands = first != ".ENDC"
        elif first in _MAY_BRING_PARTS:
            raise drawing.refuse(
                f"{found_text(' '.join(words[:2]))} may bring parts or leave some out",
                "write them here, or take the line out if it has models alone",
                number,
            )
        elif first[0] != ".":
            used.append((number, words))
    if inside or not ended:
        missing = f".ends of {found_text(inside)}" if inside else ".end"
        raise drawing.refuse(f"breaks off: {missing} is missing", "export it again")
    for number, words in used:
        _element(number, words, pins_of, drawing)


def _statements(text: str, drawing: Drawing) -> Iterator[tuple[int, list[str]]]:
    """Number of the first line, and words; the title, comments and empty lines left out."""
    began = 0
    words: list[str] = []
    for number, raw in enumerate(text.splitlines(), 1):
        line = re.split(r";|\s\$", raw.upper(), maxsplit=1)[0]
        if line.startswith("*") or not line.strip():
            continue
        if number == 1 and line[0] != ".":
            if re.match(r"[RCLDQMXVI]\w*[0-9]\w*\s", line):
                raise drawing.refuse(
                    "begins with a part, which SPICE takes as the title", "put a title first", 1
                )
            continue
        if line.startswith("+") and words:
            words += line[1:].split()
            continue
        if words:
            yield began, words
        began, words = number, line.split()
    if words:
        yield began, words


def _element(
    number: int, words: list[str], pins_of: dict[str, list[str]], drawing: Drawing
) -> None:
    name, *rest = words
    rest = [word for word in rest if "=" not in word and word != "PARAMS:"]
    if name[0] == "X":
        kind = rest.pop() if rest else ""
        pins = pins_of.get(kind)
        if pins is None or len(pins) != len(rest):
            wrong = "is not there" if pins is None else f"has {len(pins)} pins, not {len(rest)}"
            raise drawing.refuse(
                f"{found_text(name)} is a {found_text(kind)}, whose .subckt {wrong}",
                "write .subckt with the names of its pins",
                number,
            )
        # XU1 is U1 on the board: the X is there for SPICE alone.
        reference, value = (name[1:] if name[1:2].isalpha() else name), kind
    elif name[0] in _POLES:
        pins = [*_POLES[name[0]]]
        least = 3 if name[0] in "QM" else 2
        if len(rest) <= least - (name[0] in "VI"):
            raise drawing.refuse(
                f"{found_text(name)} lacks a node or a value", "export it again", number
            )
        reference = name
        value = _number(rest[least]) if len(rest) > least else ""
        if name[0] in "QM":  # its model stands last; a substrate node may come before it
            value = rest[-1]
        rest = rest[:least]
    else:
        raise drawing.refuse(
            f"{found_text(name)} is no part of a board", "leave such elements out", number
        )
    drawing.part(reference, value, number)
    for pin, net in zip(pins, ("GND" if one == "0" else one for one in rest), strict=False):
        drawing.pin(reference, pin, net, number, pin)


def _number(text: str) -> str:
    """A value with factors as everybody else writes them: in SPICE an M is a thousandth."""
    plain = _NUMBER.fullmatch(text)
    return text if plain is None else plain[1] + _FACTORS[plain[2]]
