"""For callers that still make sentences; goes when the last of them is converted."""

from padbench.core.findings import Finding, Met, Remedy, Rule, Source, SourceClass, Verdict

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
    kinds: tuple[SourceClass, ...] = ("from memory", "assumed")
    kind: SourceClass = next((kind for kind in kinds if kind in source), "published")
    return Finding(
        Rule(id_, unit, {verdict: lambda _: says}),
        verdict,
        measured,
        limit,
        margin,
        Met(other=where),
        (Source(source, kind),) if source else (),
        remedy=remedy,
    )
