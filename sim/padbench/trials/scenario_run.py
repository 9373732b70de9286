"""What a run of a scenario gave: reads beside what they should have been, problems, findings.

run.verdict, run.problems, run.findings
run.reads, run.timeline          # made again when they are asked for, and not kept
"""

from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from padbench.core.decode import Read
from padbench.core.findings import Fact, Finding, Met
from padbench.core.sentences import filled
from padbench.core.timeline import Timeline
from padbench.scenarios import Expected


@dataclass(frozen=True, slots=True)
class ReadResult:
    """One read beside what it should have been.

    Of a chain of several pads, this one's bits come first, and ``beside`` has the others: name,
    byte as read, and which byte it should be.
    """

    read: Read
    expected: Expected
    beside: tuple[tuple[str, int, int], ...] = ()

    @property
    def byte(self) -> int:
        """The byte as read, a bit that was at no level resolved to the wrong outcome."""
        return self.read.worst_byte(self.expected.byte)

    @property
    def as_expected(self) -> bool:
        """Whether every bit that matters, and the number of clocks, is as expected."""
        wanted, got = self.expected.bits, self.read.bits
        return (
            len(wanted) == len(got)
            and len(self.read.clock_rises) == self.expected.clocks
            and all(want is None or want == bit for want, bit in zip(wanted, got, strict=True))
        )


@dataclass(frozen=True, slots=True)
class Problem:
    """Something that a scenario did not get.

    ``text`` is its sentence with fields for the ``facts``, as in `padbench.core.sentences`; ``at``
    is in picoseconds, None for the whole run; ``read`` counts from 1 where it is about one read.
    """

    text: str
    facts: Mapping[str, Fact] = field(default_factory=dict)
    at: int | None = None
    read: int | None = None

    @property
    def says(self) -> str:
        """The whole in one sentence."""
        return filled(self.text, {"read": self.read, **self.facts})


@dataclass(frozen=True)
class Played:
    """What the wires did in a run, and the reads that they make."""

    timeline: Timeline
    reads: tuple[ReadResult, ...]


_MOST_KEPT = 32
"""Runs whose wires are kept at hand: more than there are shipped scenarios, yet a bound."""

_kept: OrderedDict[int, tuple[Callable[[], Played], Played]] = OrderedDict()


@dataclass(frozen=True, eq=False)
class ScenarioRun:
    """One scenario at one corner on one port, or of an HDL design on a simulator.

    ``corner`` and ``port`` are empty for an HDL design, ``simulator`` and ``top`` for the model of
    a pad. ``part`` is "exhaustive" where it is a part of all transitions and stopped reads.
    ``accepted`` holds, for polls of several passes, what the console acts on after each; for those
    of a read routine what it hands on, None if it has not come back. ``findings`` are those of the
    wires in this run, ``count`` is how many reads it has. ``play`` makes its wires again: a
    thousand runs need no more memory than the last few.
    """

    name: str
    says: str
    corner: str
    port: str
    accepted: tuple[int | None, ...]
    problems: tuple[Problem, ...]
    findings: tuple[Finding, ...]
    count: int
    play: Callable[[], Played]
    simulator: str = ""
    top: str = ""
    part: Literal["", "exhaustive"] = ""

    @property
    def met(self) -> Met:
        """The run as findings name it."""
        return Met(self.name, self.corner, self.port, self.simulator, self.top)

    @property
    def where(self) -> str:
        """Where it ran: ``"slow corner, push-pull port"``, ``"on icarus, top my_pad"``."""
        return str(replace(self.met, scenario=""))

    @property
    def played(self) -> Played:
        """Wires and reads, made again unless they were used a moment ago."""
        kept = _kept.get(id(self.play))
        if kept is not None:
            _kept.move_to_end(id(self.play))
            return kept[1]
        played = self.play()
        self.keep(played)
        return played

    def keep(self, played: Played) -> None:
        """Have what was just played at hand; the run used longest ago is let go."""
        _kept[id(self.play)] = self.play, played
        while len(_kept) > _MOST_KEPT:
            _kept.popitem(last=False)

    def let_go(self) -> None:
        """Have nothing of it at hand: it will not be shown."""
        _kept.pop(id(self.play), None)

    @property
    def reads(self) -> Sequence[ReadResult]:
        """Every read with what it should have been."""
        return self.played.reads

    @property
    def timeline(self) -> Timeline:
        """What the wires did, with the byte that the console holds after each read."""
        return self.played.timeline

    @property
    def verdict(self) -> Literal["pass", "fail"]:
        """Whether everything came out as expected and no wire broke a rule."""
        return "fail" if self.problems or self.broken else "pass"

    @property
    def broken(self) -> tuple[Finding, ...]:
        """The findings of this run that fail."""
        return tuple(finding for finding in self.findings if finding.verdict == "fail")
