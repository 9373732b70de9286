"""What to change: the range of a value with which a finding holds, and preferred values in it.

    mender = Mender(sheet, ("push-pull",), designs, ("levels.pressed", "latch.rise"))
    mender.remedy(QUANTITIES["levels.pressed"].mends, ("levels.pressed",), rows, thin=False)
    with_remedies(sheet, findings)            # those of a run, timing.*

The range is found by judging some hundred values in one call, then ever closer ones at both ends;
so it needs no formula of its own, and what it says is what `worst_case` says.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from fnmatch import fnmatchcase

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.design import Array, Design, design_of, stacked
from padbench.circuit.dials import Dial, dials_of
from padbench.circuit.quantities import QUANTITIES, kept_by
from padbench.circuit.worst_case import keeping, worst_case
from padbench.core.findings import THIN, Finding
from padbench.core.remedies import Remedy
from padbench.parts import E12, E24, preferred
from padbench.sheet import Sheet

Range = tuple[float | None, float | None]

_AT_A_TIME = 16

# The sizes that resistors are sold in (common practice, no source).
SIZES = (1 / 16, 0.1, 0.125, 0.25, 0.5, 1.0, 2.0, 3.0, 5.0)

_CONSOLE = ("latch.sink", "clock.sink", "supply.idle", "supply.all-held")
"""What the console gives: no remedy may ask more."""

_OF_A_CASE = {"overtaken": Remedy("poll.routine", advice="no-read-in-latch")}
"""Where the case of a finding says it all: no typed poll has a clock in its latch."""


def needs_remedy(finding: Finding) -> bool:
    """Whether it fails, or holds by a thin margin."""
    return finding.verdict == "fail" or finding.thin


def with_remedies(sheet: Sheet, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The findings of a run, each that fails or is thin with what would mend it on every port.

    Values are tried where the finding's rule names any and what it measures can be foretold; a
    finding for which none was tried says so.
    """
    wanted = [finding.rule.id for finding in findings if needs_remedy(finding)]
    ports = sheet.works_with.ports
    mender = None
    if not _loads_wrongly(sheet) and any(id_ in QUANTITIES for id_ in wanted):
        designs = [design_of(sheet, sheet.part, sheet.port(name)) for name in ports]
        mender = Mender(sheet, ports, designs, [id_ for id_ in wanted if id_ in QUANTITIES])
    return tuple(
        replace(finding, remedy=_of_a_run(finding, mender, range(len(ports))))
        if needs_remedy(finding)
        else finding
        for finding in findings
    )


def _of_a_run(finding: Finding, mender: "Mender | None", rows: Sequence[int]) -> Remedy:
    id_, mends = finding.rule.id, finding.rule.mends
    if finding.case in _OF_A_CASE:
        return _OF_A_CASE[finding.case]
    if mends is None or id_ not in QUANTITIES:
        return Remedy("", advice="none-tried")
    if mender is None:
        return Remedy("register.latch-inverted", advice="none-miswired")
    if finding.verdict == "fail" and mender.holds(id_, rows):
        # Foretold to hold at what the sheet says, so it is not the sheet's poll that breaks it.
        return Remedy("", advice="none-of-reads")
    return mender.remedy(mends, (id_,), rows, thin=finding.thin)


def _loads_wrongly(sheet: Sheet) -> bool:
    part = sheet.part
    return part.load != "transparent" or sheet.chip.latch_inverted != (part.load_level == "low")


class Mender:
    """Looks for what would mend the findings of one sheet on its ports.

    ``wanted`` are all ids that will be asked for: they are judged together, which costs less.
    Each of the ``rounds`` makes an end of a range fifteen times as exact.
    """

    def __init__(
        self,
        sheet: Sheet,
        ports: Sequence[str],
        designs: Sequence[Design],
        wanted: Collection[str],
        rounds: int = 6,
    ) -> None:
        self.ports, self.designs = tuple(ports), tuple(designs)
        self.dials = dials_of(sheet, ports)
        self.wanted, self.rounds = tuple(wanted), rounds
        self._known: dict[tuple[Dial, bool], tuple[Array, dict[str, NDArray[np.bool_]]]] = {}

    def remedy(
        self, mends: Sequence[str], ids: Collection[str], rows: Sequence[int], *, thin: bool
    ) -> Remedy:
        """What would make the quantities ``ids`` hold on the ports in ``rows``.

        ``mends`` are the keys to try first. A finding that is ``thin`` holds already: then it is
        the range of the first value that bears on it in which it is no longer thin. Else every
        value of those that are tried first, and only where none does any other value of the sheet.
        Wherever some value keeps to what the console gives, no other is offered.
        """
        first = [dial for pattern in mends for dial in self.dials if fnmatchcase(dial.key, pattern)]
        remedies = self._by(first, ids, rows, thin)
        if not remedies:
            remedies = self._by([dial for dial in self.dials if dial not in first], ids, rows, thin)
        if remedies:
            return replace(remedies[0], also=tuple(remedies[1:]))
        advice = "none-wider" if thin else "none"
        return Remedy((first[0].instead or first[0].key) if first else "", advice=advice)

    def _by(
        self, dials: Sequence[Dial], ids: Collection[str], rows: Sequence[int], thin: bool
    ) -> list[Remedy]:
        """Remedies by these values, in their order."""
        sure: list[Remedy] = []
        doubtful: list[Remedy] = []
        for dial in dials:
            between = self.range(dial, ids, rows, self._given(dial), thin=thin)
            if between is None or (thin and between == (None, None)):
                continue
            remedy = self._remedy(dial, between)
            # A resistor of which no preferred value is any good otherwise is the last to change.
            (doubtful if dial.kind == "resistor" and not remedy.e24 else sure).append(remedy)
            if thin and sure:
                break
        return sure or doubtful if thin else [*sure, *doubtful]

    def _given(self, dial: Dial) -> list[str]:
        """What a value must keep to of what the console gives, as far as any value does."""
        ids = [id_ for id_ in _CONSOLE if id_ in kept_by(dial.key)]
        holds = self.tried(dial, ids)[1]
        return [id_ for id_ in ids if holds[id_].all(axis=0).any()]

    def range(
        self,
        dial: Dial,
        ids: Collection[str],
        rows: Sequence[int],
        kept: Collection[str] = (),
        *,
        thin: bool = False,
    ) -> Range | None:
        """Lowest and highest value with which the quantities hold on all ports in ``rows``.

        Those in ``kept`` hold on every port. With ``thin`` the others hold with room to spare. None
        for no value. An end is None where the least or the most that is tried still does, and
        no other value of the sheet bounds it. Ends are good to a part in a million and lie on the
        passing side.
        """
        chosen = list(rows)

        def good(values: Array | None) -> NDArray[np.bool_]:
            """Of the values that were tried, if none are given."""
            wanted, given = (
                self.tried(dial, some, thin=room)[1]
                if values is None
                else self._holds(dial, values, some, thin=room)
                for some, room in ((ids, thin), (kept, False))
            )
            every = [wanted[id_][chosen] for id_ in ids] + [given[id_] for id_ in kept]
            return np.asarray(np.concatenate(every).all(axis=0), np.bool_)

        values, does = self.tried(dial, ())[0], good(None)
        if not does.any():
            return None
        first, last = _run(values, does, dial.now)
        ends = {}
        if first > 0:
            ends["low"] = (float(values[first - 1]), float(values[first]))
        if last < len(values) - 1:
            ends["high"] = (float(values[last + 1]), float(values[last]))
        closer = self._closer(dial, good, ends)
        least = float(values[0]) if dial.bounded[0] else None
        most = float(values[-1]) if dial.bounded[1] else None
        return closer.get("low", least), closer.get("high", most)

    def holds(self, id_: str, rows: Sequence[int]) -> bool:
        """Whether a quantity holds on those ports with everything as the sheet has it."""
        return bool(keeping(stacked([self.designs[row] for row in rows]), (id_,)).all())

    def preferred(self, dial: Dial) -> tuple[float, ...]:
        """Values of E24 that break nothing else that some value of the resistor would keep."""
        keeps = kept_by(dial.key)
        values, holds = self.tried(dial, keeps)
        good = np.ones(len(values), np.bool_)
        for id_ in keeps:
            kept = holds[id_].all(axis=0)
            good &= kept | ~kept.any()
        usual = set(preferred(E24, dial.least, dial.most))
        return tuple(
            float(value)
            for value, fine in zip(values, good, strict=True)
            if fine and float(value) in usual
        )

    def tried(
        self, dial: Dial, ids: Collection[str], *, thin: bool = False
    ) -> tuple[Array, dict[str, NDArray[np.bool_]]]:
        """Values, and whether each id holds (with room, if ``thin``); bool, (ports, values)."""
        values, holds = self._known.setdefault((dial, thin), (dial.grid(), {}))
        missing = [id_ for id_ in ids if id_ not in holds]
        if missing:
            bearing = [id_ for id_ in self.wanted if _tries(id_, dial)]
            holds |= self._holds(dial, values, {*missing, *bearing}, thin=thin)
        return values, holds

    def _holds(
        self, dial: Dial, values: Array, ids: Collection[str], *, thin: bool = False
    ) -> dict[str, NDArray[np.bool_]]:
        if not ids:
            return {}
        many = stacked(
            [
                dial.turned(design, values, port)
                for design, port in zip(self.designs, self.ports, strict=True)
            ]
        )
        shape = (len(self.designs), len(values))
        return {
            worst.id: (worst.margin >= THIN * abs(worst.limit) if thin else worst.holds).reshape(
                shape
            )
            for worst in worst_case(many, ids)
        }

    def _closer(
        self,
        dial: Dial,
        does: Callable[[Array], NDArray[np.bool_]],
        ends: dict[str, tuple[float, float]],
    ) -> dict[str, float]:
        """For each (failing, passing) pair the passing value nearest to a failing one."""
        if dial.kind == "count":
            return {end: good for end, (_, good) in ends.items()}
        for _ in range(self.rounds if ends else 0):
            spreads = {end: dial.between(*pair, _AT_A_TIME) for end, pair in ends.items()}
            good = does(np.concatenate(list(spreads.values())))
            for number, (end, values) in enumerate(spreads.items()):
                fine = good[number * _AT_A_TIME : (number + 1) * _AT_A_TIME].copy()
                fine[0], fine[-1] = False, True
                place = int(np.argmax(fine))
                ends[end] = float(values[place - 1]), float(values[place])
        # A hair further in, so that the rounding of a sheet's own arithmetic cannot undo it.
        hair = {"low": 1e-9, "high": -1e-9}
        return {
            end: good + (abs(good) if dial.kind != "temperature" else 1.0) * hair[end]
            for end, (_, good) in ends.items()
        }

    def _remedy(self, dial: Dial, between: Range) -> Remedy:
        low, high = between
        least, most = low or 0.0, np.inf if high is None else high
        e24: tuple[float, ...] = ()
        if dial.kind == "resistor":
            e24 = tuple(value for value in self.preferred(dial) if least <= value <= most)
        return Remedy(
            dial.instead or dial.key,
            low,
            high,
            dial.unit,
            e12=tuple(v for v in preferred(E12, e24[0], e24[-1]) if v in e24) if e24 else (),
            e24=e24,
            sizes=tuple(x for x in SIZES if x >= least) if dial.kind == "size" else (),
            kind=dial.kind,
            name=dial.name,
        )


def _run(values: Array, good: NDArray[np.bool_], now: float | None) -> tuple[int, int]:
    """First and last of the passing values that belong together.

    The run in which the sheet's own value lies; else the upper one, should there be two: a larger
    resistor warms less than a smaller one.
    """
    last = int(np.flatnonzero(good)[-1])
    if now is not None:
        here = int(np.argmin(np.abs(values - now)))
        if good[here]:
            after = np.flatnonzero(~good[here:])
            last = here + int(after[0]) - 1 if len(after) else len(values) - 1
    broken = np.flatnonzero(~good[:last])
    return (int(broken[-1]) + 1 if len(broken) else 0), last


def _tries(id_: str, dial: Dial) -> bool:
    return any(fnmatchcase(dial.key, pattern) for pattern in QUANTITIES[id_].mends)
