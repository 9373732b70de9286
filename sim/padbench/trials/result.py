"""What comes out of a verification: plain data that any report can be made of."""

from dataclasses import dataclass
from typing import Literal

from padbench.circuit.findings import PortRow
from padbench.core.decode import Read
from padbench.core.findings import Finding, overall
from padbench.core.timeline import Timeline
from padbench.scenarios import Expected

__all__ = ["Problem", "ReadResult", "ScenarioResult", "VerifyResult"]


@dataclass(frozen=True, slots=True)
class ReadResult:
    """One read beside what it should have been."""

    read: Read
    expected: Expected

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
    """Something that a scenario did not get: ``at`` in picoseconds, None for the whole run."""

    at: int | None
    says: str


@dataclass(frozen=True)
class ScenarioResult:
    """One scenario at one corner on one port.

    ``accepted`` holds, for polls of several passes, what the console acts on after each; for those
    of a read routine what it hands on, None if it has not come back.
    ``findings`` are those of the wires in this run.
    """

    name: str
    says: str
    corner: str
    port: str
    reads: tuple[ReadResult, ...]
    accepted: tuple[int | None, ...]
    problems: tuple[Problem, ...]
    findings: tuple[Finding, ...]
    timeline: Timeline

    @property
    def verdict(self) -> Literal["pass", "fail"]:
        """Whether everything came out as expected and no wire broke a rule."""
        return "fail" if self.problems or self.broken else "pass"

    @property
    def broken(self) -> tuple[Finding, ...]:
        """The findings of this run that fail."""
        return tuple(found for found in self.findings if found.verdict == "fail")


@dataclass(frozen=True)
class VerifyResult:
    """A whole verification.

    ``scenarios`` has one result a scenario: the first run that failed, else the one at the slow
    corner on the first port of the sheet. ``ports`` says which variants of the pad work on which
    kinds of port; it is no part of the verdict.
    """

    findings: tuple[Finding, ...]
    scenarios: tuple[ScenarioResult, ...]
    ports: tuple[PortRow, ...] = ()

    @property
    def verdict(self) -> Literal["pass", "fail"]:
        """``fail`` if any finding or any scenario fails."""
        return overall([*(f.verdict for f in self.findings), *(s.verdict for s in self.scenarios)])
