"""What to change in a sheet: one value that would do, and the fewest that mend all together.

    mender = Mender(sheet, ("levels.pressed", "latch.rise"))
    mender.remedy(QUANTITIES["levels.pressed"].mends, ("levels.pressed",))
    with_remedies(sheet, findings)            # those of a run, timing.*
    found = fewest_settings(sheet)
    mended = with_settings(sheet, found.settings)

The range of a value is found by judging some hundred values in one call, then ever closer ones at
both ends; so it needs no formula of its own, and what it says is what `worst_case` says. Sets of
values are tried, the cheapest first, each on a grid that is judged in one call. A set is taken only
where *everything* holds on every port of the sheet: levels, edges, currents of the console, and the
timing of runs that can be foretold.
"""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from functools import cached_property
from itertools import combinations, product
from math import ceil, floor, log, log10

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.design import Array, Design, design_of, stacked
from padbench.circuit.quantities import QUANTITIES, kept_by
from padbench.circuit.values import Dial, dials_of
from padbench.circuit.worst_case import keeping, worst_case
from padbench.core.findings import THIN, Finding
from padbench.core.remedies import Remedy
from padbench.core.units import Value, show
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
    part = sheet.part
    loads = part.load == "transparent" and sheet.chip.latch_inverted == (part.load_level == "low")
    wanted = [one.rule.id for one in findings if needs_remedy(one) and one.rule.id in QUANTITIES]
    mender = Mender(sheet, wanted) if loads and wanted else None
    return tuple(
        replace(finding, remedy=_of_a_run(finding, mender)) if needs_remedy(finding) else finding
        for finding in findings
    )


def _of_a_run(finding: Finding, mender: "Mender | None") -> Remedy:
    id_, mends = finding.rule.id, finding.rule.mends
    if finding.case in _OF_A_CASE:
        return _OF_A_CASE[finding.case]
    if mends is None or id_ not in QUANTITIES:
        return Remedy("", advice="none-tried")
    if mender is None:
        return Remedy("register.latch-inverted", advice="none-miswired")
    if finding.verdict == "fail" and keeping(stacked(mender.designs), (id_,)).all():
        # Foretold to hold at what the sheet says, so it is not the sheet's poll that breaks it.
        return Remedy("", advice="none-of-reads")
    return mender.remedy(mends, (id_,), thin=finding.thin)


class Mender:
    """Looks for what would mend the findings of one sheet on its ports.

    ``wanted`` are all ids that will be asked for: they are judged together, which costs less.
    Values of some dials are taken as ``made`` already. Each of the ``rounds`` makes an end of a
    range fifteen times as exact. ``rows`` are places among the sheet's ports, by default all.
    """

    def __init__(
        self,
        sheet: Sheet,
        wanted: Collection[str] = (),
        made: Mapping[Dial, float] | None = None,
        rounds: int = 6,
    ) -> None:
        self.sheet, self.ports = sheet, sheet.works_with.ports
        self.designs = [design_of(sheet, sheet.part, sheet.port(name)) for name in self.ports]
        self.designs = self.turned(made or {})
        self.dials = dials_of(sheet, self.ports)
        self.wanted, self.rounds = tuple(wanted), rounds
        self._known: dict[Dial, tuple[Array, dict[str, NDArray[np.bool_]]]] = {}

    def turned(self, made: Mapping[Dial, float | Array]) -> list[Design]:
        """The designs, one a port, with these values; arrays among them are of one length."""
        designs = []
        for design, port in zip(self.designs, self.ports, strict=True):
            for dial, values in made.items():
                design = dial.turned(design, np.atleast_1d(values), port)  # noqa: PLW2901
            designs.append(design)
        return designs

    def remedy(
        self,
        mends: Sequence[str],
        ids: Collection[str],
        rows: Sequence[int] | None = None,
        *,
        thin: bool = False,
    ) -> Remedy:
        """What would make the quantities ``ids`` hold on the ports in ``rows``.

        ``mends`` are the keys to try first. A finding that is ``thin`` holds already: then it is
        the range of the first value that bears on it in which it is no longer thin. Else every
        value of those that are tried first, and only where none does any other value of the sheet.
        Wherever some value keeps to what the console gives, no other is offered.
        """
        first = [dial for pattern in mends for dial in self.dials if fnmatchcase(dial.key, pattern)]
        rest = [dial for dial in self.dials if dial not in first]
        remedies = self._by(first, ids, rows, thin) or self._by(rest, ids, rows, thin)
        if remedies:
            return replace(remedies[0], also=tuple(remedies[1:]))
        advice = "none-wider" if thin else "none"
        return Remedy((first[0].instead or first[0].key) if first else "", advice=advice)

    def _by(
        self, dials: Sequence[Dial], ids: Collection[str], rows: Sequence[int] | None, thin: bool
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
        return [id_ for id_ in ids if holds[id_][0].all(axis=0).any()]

    def range(
        self,
        dial: Dial,
        ids: Collection[str],
        rows: Sequence[int] | None = None,
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
        chosen = slice(None) if rows is None else list(rows)

        def good(judged: dict[str, NDArray[np.bool_]]) -> NDArray[np.bool_]:
            every = [judged[id_][int(thin)][chosen] for id_ in ids]
            every += [judged[id_][0] for id_ in kept]
            return np.asarray(np.concatenate(every).all(axis=0), np.bool_)

        values, judged = self.tried(dial, (*ids, *kept))
        does = good(judged)
        if not does.any():
            return None
        first, last = _run(values, does, dial.now)
        ends = {}
        if first > 0:
            ends["low"] = (float(values[first - 1]), float(values[first]))
        if last < len(values) - 1:
            ends["high"] = (float(values[last + 1]), float(values[last]))
        closer = self._closer(dial, good, {*ids, *kept}, ends)
        least = float(values[0]) if dial.bounded[0] else None
        most = float(values[-1]) if dial.bounded[1] else None
        return closer.get("low", least), closer.get("high", most)

    def preferred(self, dial: Dial) -> tuple[float, ...]:
        """Values of E24 that break nothing else that some value of the resistor would keep."""
        keeps = kept_by(dial.key)
        values, holds = self.tried(dial, keeps)
        good = np.ones(len(values), np.bool_)
        for id_ in keeps:
            kept = holds[id_][0].all(axis=0)
            good &= kept | ~kept.any()
        usual = set(preferred(E24, dial.least, dial.most))
        return tuple(
            float(value)
            for value, fine in zip(values, good, strict=True)
            if fine and float(value) in usual
        )

    def tried(self, dial: Dial, ids: Collection[str]) -> tuple[Array, dict[str, NDArray[np.bool_]]]:
        """Values, and whether each id holds, and with room; bool, (2, ports, values)."""
        values, known = self._known.setdefault(dial, (dial.grid(), {}))
        missing = {id_ for id_ in ids if id_ not in known}
        if missing:
            bearing = {
                id_
                for id_ in self.wanted
                if any(fnmatchcase(dial.key, pattern) for pattern in QUANTITIES[id_].mends)
            }
            known |= self._judged(dial, values, missing | bearing)
        return values, known

    def _judged(
        self, dial: Dial, values: Array, ids: Collection[str]
    ) -> dict[str, NDArray[np.bool_]]:
        shape = 2, len(self.ports), len(values)
        return {
            worst.id: np.concatenate(
                [worst.holds, worst.margin >= THIN * np.abs(worst.limit)]
            ).reshape(shape)
            for worst in worst_case(stacked(self.turned({dial: values})), ids)
        }

    def _closer(
        self,
        dial: Dial,
        good: Callable[[dict[str, NDArray[np.bool_]]], NDArray[np.bool_]],
        ids: Collection[str],
        ends: dict[str, tuple[float, float]],
    ) -> dict[str, float]:
        """For each (failing, passing) pair the passing value nearest to a failing one."""
        if dial.kind == "count":
            return {end: good for end, (_, good) in ends.items()}
        for _ in range(self.rounds if ends else 0):
            spreads = {end: dial.between(*pair, _AT_A_TIME) for end, pair in ends.items()}
            does = good(self._judged(dial, np.concatenate(list(spreads.values())), ids))
            for number, (end, values) in enumerate(spreads.items()):
                fine = does[number * _AT_A_TIME : (number + 1) * _AT_A_TIME].copy()
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


_LATCH, _CLOCK, _UP = "resistors.latch-to-supply", "resistors.clock-to-supply", "pull-up.value"
_BOTH = "resistors"
"""Latch and clock alike, as pads are usually built."""

_USUAL = {_UP: 39e3, _LATCH: 3.6e3, _CLOCK: 3.6e3, _BOTH: 3.6e3}
"""Ω that pads usually have: 39 kΩ (common practice, no source), 3.6 kΩ (from memory)."""

_COUNTS = {
    **{_LATCH: 1.0, _CLOCK: 1.0, "resistors.rating": 1.05, "pull-up.rating": 1.05, _UP: 1.1},
    **{"register.first-bit": 1.2, "register.next-bit": 1.2, "register.shortest-pulse": 1.2},
    **{"cable.length": 1.5, _BOTH: 2.0, "cable.coupling": 2.5, "cable.capacitance": 3.0},
    **{"contacts.worn": 3.0, "contacts.open": 3.0, "contacts.closed": 3.0},
}
_FIRST, _POLL = 2.0, 3.5
"""What a change counts, as parts of the pad: values that are the console's or the user's are the
last to be touched. Those up to the first of the two are tried without the others.
"""

_NOT_OURS = ("pad.supply", "pad.temperature")
"""What the console and the weather give: no edit of a pad."""

_NO_LESS = {"cable.length": 0.5, "cable.capacitance": 60e-12}
"""m with which a pad can still be held and plugged in (assumed); F/m that cables of pads have at
least (from memory)."""

_SPARE = 0.2
_MOST_TRIED = 40
_AT_ONCE = 256
_RESISTORS = (22.0, 10e6)
"""Ω between which a resistor of a pad is looked for."""


@dataclass(frozen=True)
class Setting:
    """One value to change.

    ``low`` and ``high`` bound the values with which everything holds, the other settings made; None
    for no bound. ``text`` is the value as in a sheet, ``values`` are the preferred ones (IEC 60063)
    between the bounds, of ``series``.
    """

    dial: Dial
    value: float
    low: float | None
    high: float | None
    text: str
    values: tuple[float, ...] = ()
    series: str = ""

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys of the sheet that get the value."""
        return (_LATCH, _CLOCK) if self.dial.key == _BOTH else (self.dial.key,)

    @property
    def shown(self) -> str:
        """The value for people, without its spread."""
        return show(self.value, self.dial.unit, 4)


@dataclass(frozen=True)
class Found:
    """What `fewest_settings` found.

    ``others`` has for each setting those that would do in its place, ``mends`` the quantities that
    fail without it, ``left`` what nothing mends.
    """

    settings: tuple[Setting, ...] = ()
    others: tuple[tuple[Setting, ...], ...] = ()
    mends: tuple[frozenset[str], ...] = ()
    left: tuple[str, ...] = ()


def fewest_settings(sheet: Sheet) -> Found:
    """The fewest parts to change so that all quantities of a sheet hold on all its ports.

    ``sheet`` has the timings of its poll.
    """
    search = _Search(sheet)
    settings = search.settled(search.solve())
    without = [
        {one.dial: one.value for one in settings if one is not left_out} for left_out in settings
    ]
    mends = tuple(frozenset(search.failing(rest)) - set(search.hopeless) for rest in without)
    taken = {key for setting in settings for key in setting.keys}
    others = tuple(
        tuple(search.instead(rest, mended, taken))
        for rest, mended in zip(without, mends, strict=True)
    )
    left = _Search(with_settings(sheet, settings)).failing({})
    return Found(settings, others, mends, tuple(left))


class _Search(Mender):
    """Everything that is tried on one sheet; ``hopeless`` is what nothing was found for."""

    def __init__(self, sheet: Sheet) -> None:
        super().__init__(sheet, QUANTITIES)
        self.hopeless: tuple[str, ...] = ()
        self._does: dict[Dial, frozenset[str]] = {}

    @cached_property
    def choices(self) -> dict[str, tuple[Dial, float]]:
        """Every value that an edit of the sheet can change, and what that counts."""
        known: dict[str, tuple[Dial, float]] = {}
        for dial in dials_of(self.sheet, ()):
            if dial.key not in (*_NOT_OURS, *known) and not dial.instead:
                known[dial.key] = _narrowed(dial), _COUNTS.get(dial.key, _POLL)
        latch, clock = self.sheet.resistors.latch_to_supply, self.sheet.resistors.clock_to_supply
        now = latch.nominal if latch is not None and latch == clock else None
        both = Dial(_BOTH, "Ω", (("latch_r", 1.0), ("clock_r", 1.0)), now, 0.1, 1e9, "resistor")
        return known | {_BOTH: (_narrowed(both), _COUNTS[_BOTH])}

    def failing(self, made: Mapping[Dial, float]) -> list[str]:
        """What fails on some port with these values, all else as it is."""
        judged = worst_case(stacked(self.turned(made)), QUANTITIES)
        return [worst.id for worst in judged if not worst.holds.all()]

    def solve(self) -> dict[Dial, float]:
        """Dials with values that do together, as far as any do."""
        failing = self.failing({})
        first = [dial for dial, counts in self.choices.values() if counts <= _FIRST]
        if failing and self._mended(*first) >= set(failing):
            found = self._cheapest(first, failing)
            if found is not None:
                return found
        every = [dial for dial, _ in self.choices.values()]
        mended = self._mended(*every) if failing else frozenset()
        self.hopeless = tuple(id_ for id_ in failing if id_ not in mended)
        wanted = [id_ for id_ in failing if id_ in mended]
        while wanted:
            found = self._cheapest(every, wanted)
            if found is not None:
                return found
            # As many as possible, then: the last of them is given up.
            self.hopeless = (*self.hopeless, wanted.pop())
        return {}

    def _cheapest(self, dials: Sequence[Dial], wanted: Sequence[str]) -> dict[Dial, float] | None:
        sets = [
            several
            for count in (1, 2, 3)
            for several in combinations(dials, count)
            if self._sensible(several, wanted)
        ]
        sets.sort(key=lambda several: sum(self.choices[dial.key][1] for dial in several))
        tried = (self._together(several, wanted) for several in sets[:_MOST_TRIED])
        return next((found for found in tried if found is not None), None)

    def _sensible(self, several: Sequence[Dial], wanted: Sequence[str]) -> bool:
        """Each mends something, all together everything, and no resistor stands in it twice."""
        keys = {dial.key for dial in several}
        if _BOTH in keys and keys & {_LATCH, _CLOCK}:
            return False
        mended = [self._mended(dial) & set(wanted) for dial in several]
        return all(mended) and frozenset().union(*mended) == set(wanted)

    def _together(self, several: Sequence[Dial], wanted: Sequence[str]) -> dict[Dial, float] | None:
        """Values of these that do together, away from the ends of those that do."""
        axes = [self._allowed(dial, several, wanted) for dial in several]
        if len(several) > 1:
            size = max(2, int(_AT_ONCE ** (1 / len(several))))
            axes = [_thinned(axis, size) for axis in axes]
        if not all(map(len, axes)):
            return None
        designs = self.turned(dict(zip(several, np.array([*product(*axes)]).T, strict=True)))
        holds = keeping(stacked(designs), [id_ for id_ in QUANTITIES if id_ not in self.hopeless])
        good = np.logical_and.reduce(holds.reshape(len(designs), *map(len, axes)))
        if not good.any():
            return None
        place = _inmost(good)
        return {dial: float(axis[at]) for dial, axis, at in zip(several, axes, place, strict=True)}

    def _allowed(self, dial: Dial, several: Sequence[Dial], wanted: Sequence[str]) -> Array:
        """Values of one that break nothing and mend all that no other of the set could mend."""
        values, holds = self.tried(dial, QUANTITIES)
        by_others = self._mended(*(other for other in several if other is not dial))
        good = np.ones(len(values), np.bool_)
        for id_ in QUANTITIES:
            if id_ not in self.hopeless and not (id_ in wanted and id_ in by_others):
                good &= holds[id_][0].all(axis=0)
        if dial.kind == "resistor":
            good &= np.isin(values, preferred(E24, dial.least, dial.most))
        return values[good]

    def settled(self, chosen: Mapping[Dial, float]) -> tuple[Setting, ...]:
        """Each in the middle of the range that the others leave it."""
        made = dict(chosen)
        settings: dict[Dial, Setting] = {}
        # Those that were settled before the last was are looked at once more.
        for dial in (*chosen, *[*chosen][:-1]):
            setting = self._setting(dial, made)
            if setting is not None:
                settings[dial], made[dial] = setting, setting.value
        return tuple(settings[dial] for dial in chosen if dial in settings)

    def _setting(self, dial: Dial, made: Mapping[Dial, float]) -> Setting | None:
        """The best value of one, the others made; None where there is none."""
        rest = {other: value for other, value in made.items() if other is not dial}
        mender = Mender(self.sheet, QUANTITIES, rest, rounds=3)
        between = mender.range(dial, [id_ for id_ in QUANTITIES if id_ not in self.hopeless])
        return None if between is None else _best(self.sheet, dial, between)

    def instead(
        self, made: Mapping[Dial, float], mended: Collection[str], taken: Collection[str]
    ) -> Iterator[Setting]:
        """Other keys that alone do what one setting does, the rest made."""
        for key in dict.fromkeys(key for id_ in mended for key in QUANTITIES[id_].mends):
            if key in self.choices and key not in taken:
                setting = self._setting(self.choices[key][0], made)
                if setting is not None:
                    yield setting

    def _mended(self, *dials: Dial) -> frozenset[str]:
        """What holds on every port with some value of these, each turned alone."""
        for dial in dials:
            if dial not in self._does:
                holds = self.tried(dial, QUANTITIES)[1]
                does = (id_ for id_ in QUANTITIES if holds[id_][0].all(axis=0).any())
                self._does[dial] = frozenset(does)
        return frozenset().union(*(self._does[dial] for dial in dials))


def _narrowed(dial: Dial) -> Dial:
    """With the values that are worth a look: resistors that are sold, else a hundredfold about."""
    if dial.kind == "resistor":
        least, most = _RESISTORS
        return replace(dial, least=least, most=most)
    if dial.kind == "count" or not dial.now:
        return dial
    least, most = max(dial.least, dial.now / 100), min(dial.most, dial.now * 100)
    least = max(least, min(_NO_LESS.get(dial.key, 0.0), dial.now))
    # What is not tried is no bound.
    bounded = dial.bounded[0] and least == dial.least, dial.bounded[1] and most == dial.most
    return replace(dial, least=least, most=most, bounded=bounded)


def _thinned(axis: Array, count: int) -> Array:
    """Not more than so many, evenly spread, and not the outermost where some are left out."""
    if len(axis) <= count:
        return axis
    places = np.linspace(0, len(axis) - 1, count + 2).round().astype(int)[1:-1]
    return np.asarray(axis[places], np.float64)


def _inmost(good: NDArray[np.bool_]) -> tuple[int, ...]:
    """The passing point that is farthest from a failing one along any axis."""
    depth = np.full(good.shape, np.inf)
    for axis in range(good.ndim):
        for way in (1, -1):
            along = np.moveaxis(good, axis, 0)[::way]
            steps = np.zeros(along.shape)
            run = np.zeros(along.shape[1:])
            for place, row in enumerate(along):
                run = np.where(row, run + 1, 0)
                steps[place] = run
            depth = np.minimum(depth, np.moveaxis(steps[::way], 0, axis))
    return tuple(int(at) for at in np.unravel_index(int(np.argmax(depth)), good.shape))


def _best(sheet: Sheet, dial: Dial, between: Range) -> Setting | None:
    """The value to take of a range: well inside it, and one that is sold."""
    low, high = between
    values: tuple[float, ...] = ()
    series = ""
    if dial.kind == "resistor":
        value = _resistor(sheet, dial, between)
        least, most = low or _RESISTORS[0], high or _RESISTORS[1]
        values, series = preferred(E12, least, most), "E12"
        if value not in values:
            values, series = preferred(E24, least, most), "E24"
    elif dial.kind == "size":
        value = next((size for size in SIZES if size >= (low or 0.0) * (1 + _SPARE)), None)
    else:
        value = _near(dial, low, high)
    if value is None:
        return None
    return Setting(dial, value, low, high, _text(sheet, dial, value), values, series)


def _resistor(sheet: Sheet, dial: Dial, between: Range) -> float | None:
    """A preferred value (IEC 60063) with room on both sides, where there is one.

    That of the other of latch and clock, if it does; the usual one, if it lies in the inner half of
    the range or that has no end; else the one next to the middle, from E12 before E24.
    """
    least, most = between[0] or _RESISTORS[0], between[1] or _RESISTORS[1]
    e24 = preferred(E24, least, most)
    roomy = [v for v in e24 if v * (1 - _SPARE) >= least and v * (1 + _SPARE) <= most]
    if not roomy:
        return max(e24, key=lambda v: min(v / least, most / v), default=None)
    other = {_LATCH: _CLOCK, _CLOCK: _LATCH}.get(dial.key)
    alike = None if other is None else _now(sheet, other)
    if alike is not None and alike.nominal in roomy:
        return alike.nominal
    middle = log(least * most) / 2
    usual = _USUAL[dial.key]
    inner = None in between or abs(log(usual) - middle) <= log(most / least) / 4
    if usual in roomy and inner:
        return usual
    e12 = [v for v in preferred(E12, least, most) if v in roomy]
    return min(e12 or roomy, key=lambda v: abs(log(v) - middle))


def _near(dial: Dial, low: float | None, high: float | None) -> float | None:
    """The value next to the sheet's with a fifth to spare, in two digits; else the middle."""
    least = 0.0 if low is None else low / (1 - _SPARE)
    most = np.inf if high is None else high / (1 + _SPARE)
    if dial.kind == "count":
        return dial.now if low is None else float(ceil(low))
    now = dial.now or 0.0
    if least > most:
        value = float(np.sqrt((low or 0.0) * (high or 0.0)))
        return _two_digits(value, floor, 4)
    inside = float(min(max(now, least), most))
    rounded = _two_digits(inside, floor if now > most else ceil, 2) if inside != now else now
    return rounded if least <= rounded <= most else _two_digits(inside, floor, 4)


def _two_digits(value: float, towards: Callable[[float], int], digits: int) -> float:
    if value <= 0:
        return value
    exponent = floor(log10(value)) - digits + 1
    # By way of its text, so that 2.1 m is 2.1 and not a neighbour of it.
    return float(f"{towards(round(value / 10.0**exponent, 6))}e{exponent}")


def _now(sheet: Sheet, key: str) -> Value | None:
    table, option = _attributes(key)
    value: Value | None = getattr(getattr(sheet, table), option)
    return value


def _attributes(key: str) -> tuple[str, str]:
    table, option = key.replace("-", "_").split(".")
    return "chip" if table == "register" else table, option


def _text(sheet: Sheet, dial: Dial, value: float) -> str:
    """As it is written in a sheet."""
    made = _made(sheet, dial, value)
    if isinstance(made, int):
        return str(made)
    if dial.key.startswith("register."):
        return f"{show(made.low, dial.unit, 4)} to {show(made.high, dial.unit, 4)}"
    shown = show(made.nominal, dial.unit, 4)
    part = made.high / made.nominal - 1 if made.nominal else 0.0
    return f"{shown} ± {part * 100:.3g} %" if part > 1e-9 else shown


def _made(sheet: Sheet, dial: Dial, value: float) -> Value | int:
    """The value with the spread that it has now; 5 % for a resistor that is to be fitted."""
    if dial.kind == "count":
        return int(value)
    before = _now(sheet, _LATCH if dial.key == _BOTH else dial.key)
    if dial.key.startswith("register."):
        assert before is not None
        return Value(min(before.nominal, value), min(before.low, value), value)
    if before is None or not before.nominal:
        low, high = (0.95, 1.05) if dial.kind == "resistor" else (1.0, 1.0)
    else:
        low, high = before.low / before.nominal, before.high / before.nominal
    return Value(value, value * low, value * high)


def with_settings(sheet: Sheet, settings: Sequence[Setting]) -> Sheet:
    """The sheet with other values; its document and lines are those that were loaded."""
    for setting in settings:
        for key in setting.keys:
            table, option = _attributes(key)
            changed = {option: _made(sheet, setting.dial, setting.value)}
            rows = getattr(sheet, table).model_copy(update=changed)
            sheet = sheet.model_copy(update={table: rows})
    return sheet
