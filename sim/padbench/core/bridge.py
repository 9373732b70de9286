"""For callers that still make sentences; goes when the last of them is converted."""

from padbench.core.findings import Finding, Met, Rule, Source, Verdict
from padbench.core.remedies import Remedy

__all__ = ["told"]


def told(
    id_: str,
    verdict: Verdict,
    measured: float | None,
    limit: float | None,
    margin: float | None,
    unit: str,
    where: str,
    source: str,
    says: str,
    remedy: Remedy | None = None,
) -> Finding:
    """A finding from its old parts."""
    memory = "from memory" in source
    return Finding(
        Rule(id_, unit, {verdict: lambda _: says}),
        verdict,
        measured,
        limit,
        margin,
        Met(other=where),
        (Source(source, "from memory" if memory else "published"),) if source else (),
        remedy=remedy,
    )
