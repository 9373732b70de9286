"""What must change: the remedies of all findings that fail, brought together key by key."""

from collections.abc import Sequence
from dataclasses import dataclass

from padbench.rules import Finding
from padbench.units import show

__all__ = ["Change", "changes"]

_TITLES = {
    "pull-up.value": "The pull-up resistors",
    "resistors.latch-to-supply": "The resistor from latch to supply",
    "resistors.clock-to-supply": "The resistor from clock to supply",
    "cable.length": "The length of the cable",
    "wiring.order": "Wires of the buttons",
    "wiring.serial-input": "The serial input",
    "wiring.pull-up": "Missing pull-ups",
    "wiring.stuck-contact": "A contact that is stuck",
    "wiring.every-button": "Missing buttons",
    "wiring.own-stage": "Two buttons on one stage",
    "wiring.load": "How the register loads",
}
"""What is said above a change; any other has its key or its finding's id there."""


@dataclass(frozen=True, slots=True)
class Change:
    """One thing to change.

    ``key`` is the sheet's, empty where no value of the sheet is at fault. ``spare`` is a preferred
    value that has a step to go to the nearest limit, ``values`` are all that would do, from E12, or
    from E24 where E12 has none. ``mends`` are the ids of the findings behind it.
    """

    key: str
    says: str
    spare: str
    values: tuple[str, ...]
    series: str
    mends: tuple[str, ...]
    ohms: float | None = None

    @property
    def title(self) -> str:
        """What it is about, in words."""
        name = self.key or self.mends[0]
        return _TITLES.get(name, name)


def changes(findings: Sequence[Finding]) -> tuple[Change, ...]:
    """Of the findings that fail, first those without a value to change, then one a key."""
    every = [found for found in findings if found.verdict == "fail"]
    # What a run shows follows from a level or an edge that fails, if one does.
    broken = [found for found in every if not found.id.startswith("timing.")] or every
    bare = [found for found in broken if found.remedy is None or not found.remedy.key]
    plain = [Change("", found.says, "", (), "", (found.id,)) for found in bare]
    keys = dict.fromkeys(
        found.remedy.key for found in broken if found.remedy is not None and found.remedy.key
    )
    return (*plain, *(_of_key(key, broken) for key in keys))


def _of_key(key: str, broken: Sequence[Finding]) -> Change:
    behind = [(f.id, f.remedy) for f in broken if f.remedy is not None and f.remedy.key == key]
    remedies = [remedy for _, remedy in behind]
    lows = [r.low for r in remedies if r.low is not None]
    highs = [r.high for r in remedies if r.high is not None]
    low, high = max(lows, default=None), min(highs, default=None)
    ids = tuple(id_ for id_, _ in behind)
    if (low is None and high is None) or (low is not None and high is not None and low > high):
        return Change(key, "; ".join(dict.fromkeys(r.says for r in remedies)), "", (), "", ids)
    unit = remedies[0].unit
    bounds = [
        f"at least {show(low, unit)}" if low is not None else "",
        f"at most {show(high, unit)}" if high is not None else "",
    ]
    e12 = _shared([r.e12 for r in remedies])
    values, series = (e12, "E12") if e12 else (_shared([r.e24 for r in remedies]), "E24")
    spare = _with_a_step(values, low, high) if values else None
    return Change(
        key,
        " and ".join(filter(None, bounds)),
        "" if spare is None else show(spare, unit),
        tuple(show(value, unit) for value in values),
        series if values else "",
        ids,
        spare if unit == "Ω" else None,
    )


def _shared(rows: Sequence[tuple[float, ...]]) -> tuple[float, ...]:
    """Preferred values that stand in every row; they are the same floats, from one table."""
    return tuple(value for value in rows[0] if all(value in row for row in rows[1:]))


def _with_a_step(values: Sequence[float], low: float | None, high: float | None) -> float:
    if low is not None and high is not None:
        return values[len(values) // 2]
    return values[min(1, len(values) - 1)] if low is not None else values[max(0, len(values) - 2)]
