"""Polls that a sheet can ask for by name."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from padbench.parts.figure import Entry, SourceClass
from padbench.parts.tables import read_table

__all__ = ["NamedPoll", "named_poll", "poll_names"]


@dataclass(frozen=True, slots=True)
class NamedPoll:
    """A poll's timings, with the keys and the wording of the sheet's ``[poll]`` table."""

    name: str
    note: str
    timings: Mapping[str, str | int]
    source: str
    kind: SourceClass


class _PollEntry(Entry):
    note: str
    latch_width: str
    latch_to_clock: str
    clock_low: str
    clock_high: str
    sample: str
    period: str
    clocks: int
    passes: int


def named_poll(name: str) -> NamedPoll:
    """The poll of that name; ``KeyError`` for one that is not in the table."""
    return _polls()[name]


def poll_names() -> tuple[str, ...]:
    """Every poll in the table, in its order."""
    return tuple(_polls())


@cache
def _polls() -> dict[str, NamedPoll]:
    polls = {}
    for name, raw in read_table("polls.toml").items():
        entry = _PollEntry.model_validate(raw)
        timings = entry.model_dump(by_alias=True, exclude={"note", "source", "kind"})
        polls[name] = NamedPoll(
            name, entry.note, MappingProxyType(timings), entry.source, entry.kind
        )
    return polls
