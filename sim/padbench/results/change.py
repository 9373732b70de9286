"""What must change: the remedies of all findings that fail, brought together key by key."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from padbench.core.findings import Finding
from padbench.core.units import show

__all__ = ["Change", "changes", "value_now"]

_TITLES = {
    "pull-up.value": "The pull-up resistors",
    "resistors.latch-to-supply": "The resistor from latch to supply",
    "resistors.clock-to-supply": "The resistor from clock to supply",
    "resistors.rating": "The size of the resistors on latch and clock",
    "pull-up.rating": "The size of the pull-up resistors",
    "contacts.worn": "How worn a contact may be",
    "contacts.open": "What leaks across an open contact",
    "contacts.closed": "The resistance of a closed contact",
    "contacts.bounce": "How long a contact bounces",
    "contacts.stuck": "A contact that is stuck",
    "cable.length": "The length of the cable",
    "cable.capacitance": "The capacitance of the cable",
    "buttons": "Wires of the buttons",
    "register.serial-input": "The serial input",
    "register.latch-inverted": "An inverter before the load pin",
    "register.part": "The register",
    "register.first-bit": "How soon the program shows its first bit",
    "register.next-bit": "How soon the program shows the next bit",
    "register.shortest-pulse": "The shortest pulse that the program notices",
    "poll.clocks": "How many clocks a read has",
    "poll.routine": "The read routine",
    "poll.latch-width": "How long the latch lasts",
    "poll.latch-to-clock": "The wait from latch to first clock",
    "poll.clock-low": "How long the clock is low",
    "poll.clock-high": "How long the clock is high",
    "poll.sample": "When the console samples",
    "poll.period": "The time from poll to poll",
    "policy.debounce": "The wait until a contact has settled",
    "pad.supply": "The supply voltage",
    "pad.temperature": "The temperature",
    "wiring.order": "Wires of the buttons",
    "wiring.serial-input": "The serial input",
    "wiring.pull-up": "Missing pull-ups",
    "wiring.stuck-contact": "A contact that is stuck",
    "wiring.every-button": "Missing buttons",
    "wiring.own-stage": "Two buttons on one stage",
    "wiring.load": "How the register loads",
}
"""What is said above a change; any other has its key or its finding's id there, as words."""

_MOST_OTHERS = 6


@dataclass(frozen=True, slots=True)
class Change:
    """One thing to change.

    ``key`` is the sheet's, empty where no value of the sheet is at fault. ``spare`` is a preferred
    value that has a step to go to the nearest limit, ``values`` are all that would do, from E12, or
    from E24 where E12 has none. ``mends`` are the ids of the findings behind it, ``buttons``
    those that it is about, where it is about some.
    """

    key: str
    says: str
    spare: str
    values: tuple[str, ...]
    series: str
    mends: tuple[str, ...]
    ohms: float | None = None
    buttons: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """What it is about, in words."""
        name = self.key or self.mends[0]
        words = name.replace(".", ": ", 1).replace(".", ", ").replace("-", " ")
        return _TITLES.get(name, words[:1].upper() + words[1:])

    @property
    def whole(self) -> str:
        """The value to take, if there is one, and what would do."""
        return f"{self.spare} ({self.says})" if self.spare else self.says

    @property
    def others(self) -> tuple[str, ...]:
        """The values nearest to ``spare`` that would do too, six at most."""
        if not self.spare:
            return self.values[:_MOST_OTHERS]
        place = self.values.index(self.spare)
        first = max(0, min(place - _MOST_OTHERS // 2, len(self.values) - _MOST_OTHERS - 1))
        near = self.values[first : first + _MOST_OTHERS + 1]
        return tuple(value for value in near if value != self.spare)


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


def value_now(change: Change, document: Mapping[str, Any]) -> str:
    """What the sheet says at the key of a change; empty if the key is left to its default."""
    value: Any = document
    for part in change.key.split("."):
        value = value.get(part) if isinstance(value, dict) else None
    if isinstance(value, dict):
        # Of all buttons those that the change is about.
        named = {name: value[name] for name in value if name in change.buttons}
        return ", ".join(f"{name} on {stage}" for name, stage in (named or value).items())
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return "" if value is None else str(value)


def _of_key(key: str, broken: Sequence[Finding]) -> Change:
    behind = [(f.id, f.remedy) for f in broken if f.remedy is not None and f.remedy.key == key]
    remedies = [remedy for _, remedy in behind]
    lows = [r.low for r in remedies if r.low is not None]
    highs = [r.high for r in remedies if r.high is not None]
    low, high = max(lows, default=None), min(highs, default=None)
    ids = tuple(id_ for id_, _ in behind)
    if (low is None and high is None) or (low is not None and high is not None and low > high):
        says = "; ".join(dict.fromkeys(r.says for r in remedies))
        buttons = tuple(str(name) for r in remedies for name in r.facts.get("buttons", ()))
        return Change(key, says, "", (), "", ids, buttons=buttons)
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
