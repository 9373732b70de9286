"""What comes out of a regression."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from padbench.core.findings import Finding, overall
from padbench.cosim.causes import Cause
from padbench.cosim.coverage import Coverage
from padbench.cosim.offered import WrongOffer
from padbench.trials import ScenarioRun

__all__ = ["Failure", "HdlError", "RegressResult"]


class HdlError(Exception):
    """The design cannot be run: it does not compile, or does not fit the sheet.

    ``key`` is the key of ``[hdl]`` to blame, empty where the message names a place in the sources.
    """

    def __init__(self, key: str, says: str) -> None:
        super().__init__(says)
        self.key, self.says = key, says


@dataclass(frozen=True, slots=True)
class Failure:
    """The first wrong read of a scenario: number from 1, time, bytes, and what may be the cause.

    Of a reader that reads right and offers something else, the bytes are those offered, None for
    no byte or an unknown one.
    """

    scenario: str
    read: int
    at_ps: int
    expected: int | None
    got: int | None
    says: str
    causes: tuple[Cause, ...]


@dataclass(frozen=True)
class RegressResult:
    """A whole regression; ``skipped`` holds (scenario, why it does not apply)."""

    findings: tuple[Finding, ...]
    scenarios: tuple[ScenarioRun, ...]
    failures: tuple[Failure, ...]
    causes: tuple[Cause, ...]
    skipped: tuple[tuple[str, str], ...]
    coverage: Coverage
    reads: int
    seconds: float = field(compare=False)

    @property
    def verdict(self) -> Literal["pass", "fail"]:
        """``fail`` if any finding or any scenario fails."""
        verdicts = [*(f.verdict for f in self.findings), *(s.verdict for s in self.scenarios)]
        return overall(verdicts)


def failures_in(results: Sequence[ScenarioRun], causes: tuple[Cause, ...]) -> list[Failure]:
    """The first wrong read of every scenario that has one, or the first byte wrongly offered."""
    found = []
    for result in results:
        for number, pair in enumerate(result.reads, 1):
            if not pair.as_expected:
                says = next((p.says for p in result.problems if p.at == pair.read.start_ps), "")
                found.append(
                    Failure(
                        result.name,
                        number,
                        pair.read.start_ps,
                        pair.expected.byte,
                        pair.byte,
                        says,
                        causes,
                    )
                )
                break
        else:
            offer = next((p for p in result.problems if isinstance(p, WrongOffer)), None)
            if offer is not None:
                at, bytes_ = offer.at or 0, (offer.expected, offer.got)
                found.append(Failure(result.name, offer.read or 0, at, *bytes_, offer.says, causes))
    return found
