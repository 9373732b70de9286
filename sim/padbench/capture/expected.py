"""A file that says which buttons were held when, and what a capture makes of it.

    slack = "10 ms"
    [[held]]
    buttons = ["A", "Right"]
    from = "120 ms"
    to = "350 ms"

Without "from" and "to" in any entry only the order of the presses counts, with or without rests.
Outside all entries nothing is held. Times are those of the capture. Within the slack of a change,
10 ms if not given (contacts bounce so long at worst, from memory), a button may read either way.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from padbench.capture.reads import SeenRead
from padbench.core.buttons import byte_of
from padbench.core.findings import Fact, Finding, Met, Rule, Source, Verdict
from padbench.core.units import Value, to_ps
from padbench.sheet.fields import Button, Quantity, count
from padbench.toml import Clash, Document, Table, check

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
        "unseen": "all {judged} whole reads are as expected, but none falls in "
        "{unseen:hold|holds} of the file, farther from its ends than its slack; "
        "record as long as it says, and hold longer",
        "fail": _WRONG,
        "undecided": _WRONG + " ({undecided:buttons} undecided)",
    },
)
_FILE = Source("the file of what was held", "given")

_START = 'begin with [[held]], buttons = ["A"], from = "120 ms", to = "350 ms"'


_SLACK = Value.exact(10e-3)
"""Contacts bounce so long at worst (from memory)."""


class _HeldTable(Table):
    buttons: Annotated[tuple[Button, ...], BeforeValidator(count(0, 8))] = Field(
        examples=[["A", "Right"]]
    )
    start: Annotated[Value, Quantity("s", "120 ms")] | None = Field(default=None, alias="from")
    to: Annotated[Value, Quantity("s", "350 ms")] | None = None


class _File(Table):
    held: tuple[_HeldTable, ...] = ()
    slack: Annotated[Value, Quantity("s", "10 ms")] = _SLACK


@dataclass(frozen=True, slots=True)
class Held:
    """These buttons from ``start`` to ``end``, in picoseconds."""

    buttons: int
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Expectation:
    """All that was held; ``order`` has the bytes one after the other where no times are known."""

    held: tuple[Held, ...]
    order: tuple[int, ...] = ()
    slack: int = to_ps(_SLACK.nominal)

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
    """Read such a file. ``SheetError`` says all that is wrong with it, with the lines."""
    expected = check(Document.read(path, _START), _File, _backwards)
    held = [
        Held(byte_of(entry.buttons), to_ps(entry.start.nominal), to_ps(entry.to.nominal))
        for entry in expected.held
        if entry.start is not None and entry.to is not None
    ]
    order = () if held else tuple(byte_of(entry.buttons) for entry in expected.held)
    return Expectation((*held,), order, to_ps(expected.slack.nominal))


def _backwards(tables: Mapping[str, Any]) -> Iterator[Clash]:
    entries = tables["held"] or ()
    timed = any(entry.start or entry.to for entry in entries)
    for number, entry in enumerate(entries):
        if timed and not (entry.start and entry.to):
            key = "to" if entry.start else "from"
            yield Clash(("held", number, key), "is missing", "give both in every entry, or in none")
        elif timed and entry.to.nominal <= entry.start.nominal:
            yield Clash(("held", number, "to"), "is not after from", "write a later time")


def judge_expectation(reads: Iterable[SeenRead], expected: Expectation) -> Finding:
    """Every sure read against what was held at its latch: ``expect.held``.

    A hold in which no read falls, or only such as may show it or not, was not looked at, so it is
    no pass.
    """
    judged, wrong = 0, 0
    met, unseen = Met(), {*expected.held}
    facts: dict[str, Fact] = {}
    for read in reads:
        if read.missing or read.in_gap:
            continue
        judged += 1
        held, either = expected.at(read.start_ps), expected.unsure(read.start_ps)
        told = read.byte & ~read.undecided | ~either
        unseen -= {
            entry
            for entry in unseen
            if entry.start <= read.start_ps < entry.end and not entry.buttons & ~told
        }
        if (read.byte ^ held | read.undecided) & ~either:
            wrong += 1
            if wrong == 1:
                met = Met(read=read.number, at_ps=read.start_ps)
                facts = {"held": held, "byte": read.byte, "undecided": read.undecided}
                facts |= {"read": read.number, "at": read.start_ps}
    verdict: Verdict = "fail" if wrong else "not-judged" if unseen or not judged else "pass"
    case = "undecided" if facts.get("undecided") else ""
    facts |= {"judged": judged, "wrong": wrong, "unseen": len(unseen)}
    if verdict == "not-judged":
        case = "unseen" if judged else ""
        return Finding(EXPECTED, verdict, sources=(_FILE,), case=case, facts=facts)
    return Finding(EXPECTED, verdict, float(wrong), 0.0, -float(wrong), met, (_FILE,), case, facts)
