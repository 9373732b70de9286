"""A file that says which buttons were held when, and what a capture makes of it.

    slack = "10 ms"
    [[held]]
    buttons = ["A", "Right"]
    from = "120 ms"
    to = "350 ms"

Outside all entries nothing is held. Times are those of the capture. Within the slack of a change,
10 ms if not given (contacts bounce so long at worst, from memory), a button may read either way.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from padbench.capture.reads import SeenRead
from padbench.core.buttons import BUTTONS, byte_of
from padbench.core.findings import Fact, Finding, Met, Rule, Source, Verdict
from padbench.core.units import UnitError, found_text, read_value, to_ps
from padbench.sheet.locate import places
from padbench.sheet.problems import Problem, SheetError, nearest, one_line
from padbench.sheet.text import parse_toml, read_text

__all__ = ["EXPECTED", "Expectation", "Held", "judge_expectation", "load_expectation"]

_WRONG = (
    "{wrong} of {judged} whole reads are not as expected, the first read {read} at {at:moment}: "
    "held {held:buttons}, read {byte:buttons}"
)
EXPECTED = Rule(
    "expect.held",
    "reads",
    {
        "pass": "all {judged} whole reads are as expected",
        "not-judged": "there is no whole read",
        "fail": _WRONG,
        "undecided": _WRONG + " ({undecided:buttons} undecided)",
    },
)
_FILE = Source("the file given with --expect", "given")

_SLACK_PS = 10 * 10**9
_TIME = "120 ms"
_START = f'begin with [[held]], buttons = ["A"], from = "{_TIME}", to = "350 ms"'


@dataclass(frozen=True, slots=True)
class Held:
    """These buttons from ``start`` to ``end``, in picoseconds."""

    buttons: int
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Expectation:
    """All that was held."""

    held: tuple[Held, ...]
    slack: int = _SLACK_PS

    def at(self, when: int) -> int:
        """The byte held at a time."""
        byte = 0
        for entry in self.held:
            if entry.start <= when < entry.end:
                byte |= entry.buttons
        return byte

    def unsure(self, when: int) -> int:
        """Buttons that change within the slack of a time."""
        byte = 0
        for entry in self.held:
            if any(abs(when - edge) <= self.slack for edge in (entry.start, entry.end)):
                byte |= entry.buttons
        return byte


def load_expectation(path: Path) -> Expectation:
    """Read such a file. ``SheetError`` says what is wrong with it, and in which line."""
    name = str(path)
    text = read_text(path, _START)
    document = parse_toml(text, name, _START)
    refuse = _Refuser(name, text)
    for key in document:
        if key not in ("held", "slack"):
            refuse(key, "", "is no known key", nearest(key, ["held", "slack"]))
    entries = document.get("held", [])
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        refuse("held", found_text(entries), "is no list of tables", "write [[held]] above each")
    slack = refuse.time(("slack",), document["slack"]) if "slack" in document else _SLACK_PS
    return Expectation(
        tuple(_entry(entry, number, refuse) for number, entry in enumerate(entries)), slack
    )


class _Refuser:
    """Raises `SheetError` for one key, with its line."""

    def __init__(self, name: str, text: str) -> None:
        self._name, self._text = name, text

    def __call__(self, key: str | tuple[str | int, ...], found: str, wrong: str, do: str) -> None:
        path = (key,) if isinstance(key, str) else key
        where = places(self._text)
        line = next((where[path[:n]] for n in range(len(path), 0, -1) if path[:n] in where), None)
        raise SheetError(
            [Problem(one_line(self._name), line, ".".join(map(str, path)), found, wrong, do)]
        )

    def time(self, key: tuple[str | int, ...], raw: object) -> int:
        try:
            return to_ps(read_value(raw, "s", example=_TIME).nominal)
        except UnitError as error:
            self(key, error.found, error.wrong, error.instead)
            raise


def _entry(entry: dict[str, Any], number: int, refuse: _Refuser) -> Held:
    above = ("held", number)
    for key in entry:
        if key not in ("buttons", "from", "to"):
            refuse((*above, key), "", "is no known key", nearest(key, ["buttons", "from", "to"]))
    for key, example in (("buttons", '["A", "Right"]'), ("from", f'"{_TIME}"'), ("to", '"350 ms"')):
        if key not in entry:
            refuse((*above, key), "", "is missing", f"write {key} = {example}")
    buttons = entry["buttons"]
    if not isinstance(buttons, list) or not all(name in BUTTONS for name in buttons):
        do = f'write for example buttons = ["A"]; buttons are {", ".join(BUTTONS)}'
        refuse((*above, "buttons"), found_text(buttons), "is no list of buttons", do)
    start, end = (refuse.time((*above, key), entry[key]) for key in ("from", "to"))
    if end <= start:
        refuse((*above, "to"), found_text(entry["to"]), "is not after from", "write a later time")
    return Held(byte_of(buttons), start, end)


def judge_expectation(reads: Iterable[SeenRead], expected: Expectation) -> Finding:
    """Every sure read against what was held at its latch: ``expect.held``."""
    judged, wrong = 0, 0
    met = Met()
    facts: dict[str, Fact] = {}
    for read in reads:
        if read.missing or read.in_gap:
            continue
        judged += 1
        held, either = expected.at(read.start_ps), expected.unsure(read.start_ps)
        if (read.byte ^ held | read.undecided) & ~either:
            wrong += 1
            if wrong == 1:
                met = Met(read=read.number, at_ps=read.start_ps)
                facts = {"held": held, "byte": read.byte, "undecided": read.undecided}
                facts |= {"read": read.number, "at": read.start_ps}
    verdict: Verdict = "fail" if wrong else "pass" if judged else "not-judged"
    case = "undecided" if facts.get("undecided") else ""
    facts |= {"judged": judged, "wrong": wrong}
    if not judged:
        return Finding(EXPECTED, verdict, sources=(_FILE,), facts=facts)
    return Finding(EXPECTED, verdict, float(wrong), 0.0, -float(wrong), met, (_FILE,), case, facts)
