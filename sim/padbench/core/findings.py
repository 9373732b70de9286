"""A finding: one thing that was judged, with what it was held to."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

__all__ = ["Finding", "Remedy", "Verdict", "overall", "worst_of_each"]

Verdict = Literal["pass", "fail", "not-judged"]


@dataclass(frozen=True, slots=True)
class Remedy:
    """A value of the sheet that would mend a finding, or what to connect where it is the wiring.

    ``key`` is the sheet's, ``low`` and ``high`` bound the nominal values (in ``unit``) with which
    the finding holds, None for no bound; of a range, such as a temperature or the answer of a
    program, they bound the end that counts. Where both are None ``says`` tells what to do, or that
    no single value helps. ``e12`` and ``e24`` are the preferred values (IEC 60063) in it that break
    nothing else. ``also`` are other values, each of which would mend the same alone.
    """

    key: str
    low: float | None
    high: float | None
    unit: str
    e12: tuple[float, ...]
    e24: tuple[float, ...]
    says: str
    also: tuple["Remedy", ...] = ()

    @property
    def whole(self) -> str:
        """What this and each of the others say, in one text."""
        return "; or ".join([self.says, *(one.says for one in self.also)])


@dataclass(frozen=True, slots=True)
class Finding:
    """One judged quantity.

    ``margin`` is how far ``measured`` lies on the good side of ``limit``, in ``unit``; negative
    where the limit is broken, None where nothing was measured. ``where`` says at which input,
    time or corner the worst was met, ``source`` where the limit comes from, ``says`` the whole in
    one sentence. ``remedy`` says what to change where the finding fails or is thin.
    """

    id: str
    verdict: Verdict
    measured: float | None
    limit: float | None
    margin: float | None
    unit: str
    where: str
    source: str
    says: str
    remedy: Remedy | None = None


def worst_of_each(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """One finding for each id, the one with the least margin, in order of first appearance."""
    worst: dict[str, Finding] = {}
    for found in findings:
        known = worst.get(found.id)
        if known is None or _rank(found) < _rank(known):
            worst[found.id] = found
    return tuple(worst.values())


def overall(verdicts: Iterable[Verdict]) -> Literal["pass", "fail"]:
    """``fail`` if anything failed; what could not be judged does not fail a design."""
    return "fail" if "fail" in set(verdicts) else "pass"


def _rank(found: Finding) -> tuple[int, float]:
    order = {"fail": 0, "pass": 1, "not-judged": 2}[found.verdict]
    return order, found.margin if found.margin is not None else 0.0
