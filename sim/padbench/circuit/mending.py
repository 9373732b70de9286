"""The fewest values of a sheet that together mend its electrical side, and what each becomes.

    found = fewest_settings(sheet, ("levels.pressed", "latch.rise"))
    [(setting.dial.key, setting.value) for setting in found.settings]
    mended = with_settings(sheet, found.settings)

Sets of values are tried, the cheapest first, each on a grid that is judged in one call. A value is
taken only where *everything* holds on every port of the sheet: levels, edges, currents of the
console, and the timing of runs that can be foretold.
"""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations, product
from math import ceil, floor, log, log10

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.design import Array, Design, design_of, stacked
from padbench.circuit.dials import Dial, dials_of
from padbench.circuit.quantities import QUANTITIES
from padbench.circuit.quantity import WorstCase
from padbench.circuit.remedies import SIZES, Mender, Range
from padbench.circuit.worst_case import worst_case
from padbench.core.units import Value, show
from padbench.parts import E12, E24, preferred
from padbench.sheet import Sheet

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
        return self.text if self.dial.kind == "temperature" else show(self.value, self.dial.unit, 4)


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


def fewest_settings(sheet: Sheet, also: Collection[str] = ()) -> Found:
    """The fewest parts to change so that all quantities of a sheet hold on all its ports.

    ``sheet`` has the timings of its poll. ``also`` are quantities that a run found broken: where
    the calculation says that they hold, no value mends them.
    """
    search = _Search(sheet)
    failing = search.broken()
    if not failing:
        return Found(left=tuple(also))
    chosen, hopeless = search.solve(failing)
    settings = search.settled(chosen, hopeless)
    mends = tuple(search.needs(settings, place, hopeless) for place in range(len(settings)))
    others = tuple(
        tuple(search.instead(settings, place, mended, hopeless))
        for place, mended in enumerate(mends)
    )
    still = _Search(with_settings(sheet, settings)).broken()
    left = [id_ for id_ in also if id_ not in failing]
    return Found(settings, others, mends, (*still, *left))


class _Search:
    """Everything that is tried on one sheet."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.ports = sheet.works_with.ports
        self.designs = [design_of(sheet, sheet.part, sheet.port(name)) for name in self.ports]
        self.rows = range(len(self.ports))
        self.mender = Mender(sheet, self.ports, self.designs, tuple(QUANTITIES))
        self._known: dict[Dial, frozenset[str]] = {}

    @cached_property
    def dials(self) -> dict[str, tuple[Dial, float]]:
        """Every value that an edit of the sheet can change, and what that counts."""
        known: dict[str, tuple[Dial, float]] = {}
        for dial in dials_of(self.sheet, ()):
            if dial.key not in (*_NOT_OURS, *known) and not dial.instead:
                known[dial.key] = _narrowed(dial), _COUNTS.get(dial.key, _POLL)
        latch, clock = self.sheet.resistors.latch_to_supply, self.sheet.resistors.clock_to_supply
        now = latch.nominal if latch is not None and latch == clock else None
        both = Dial(_BOTH, "Ω", (("latch_r", 1.0), ("clock_r", 1.0)), now, 0.1, 1e9, "resistor")
        return known | {_BOTH: (_narrowed(both), _COUNTS[_BOTH])}

    def broken(self) -> list[str]:
        """What fails with everything as it is."""
        return [worst.id for worst in self._judged(self.designs) if not worst.holds.all()]

    def solve(self, failing: Sequence[str]) -> tuple[dict[Dial, float], tuple[str, ...]]:
        """Dials with values that do together, and what nothing could be found for."""
        first = [dial for dial, counts in self.dials.values() if counts <= _FIRST]
        if self._by(*first) >= set(failing):
            found = self._cheapest(first, failing, ())
            if found is not None:
                return found, ()
        every = [dial for dial, _ in self.dials.values()]
        mended = self._by(*every)
        hopeless = tuple(id_ for id_ in failing if id_ not in mended)
        wanted = [id_ for id_ in failing if id_ not in hopeless]
        while wanted:
            found = self._cheapest(every, wanted, hopeless)
            if found is not None:
                return found, hopeless
            # As many as possible, then: the last of them is given up.
            hopeless = (*hopeless, wanted.pop())
        return {}, hopeless

    def _cheapest(
        self, dials: Sequence[Dial], wanted: Sequence[str], hopeless: Collection[str]
    ) -> dict[Dial, float] | None:
        sets = [
            several
            for count in (1, 2, 3)
            for several in combinations(dials, count)
            if self._sensible(several, wanted)
        ]
        sets.sort(key=lambda several: sum(self.dials[dial.key][1] for dial in several))
        for several in sets[:_MOST_TRIED]:
            found = self._together(several, wanted, hopeless)
            if found is not None:
                return found
        return None

    def _sensible(self, several: Sequence[Dial], wanted: Sequence[str]) -> bool:
        """Each mends something, all together everything, and no resistor stands in it twice."""
        keys = {dial.key for dial in several}
        if _BOTH in keys and keys & {_LATCH, _CLOCK}:
            return False
        mended = [self._by(dial) & set(wanted) for dial in several]
        return all(mended) and frozenset().union(*mended) == set(wanted)

    def _together(
        self, several: Sequence[Dial], wanted: Sequence[str], hopeless: Collection[str]
    ) -> dict[Dial, float] | None:
        """Values of these that do together, away from the ends of those that do."""
        axes = [self._allowed(dial, several, wanted, hopeless) for dial in several]
        size = max(2, int(_AT_ONCE ** (1 / len(several))))
        axes = [_thinned(axis, size if len(several) > 1 else len(axis)) for axis in axes]
        if not all(map(len, axes)):
            return None
        shape = tuple(map(len, axes))
        points = np.array([*product(*axes)])
        designs = self._with(dict(zip(several, points.T, strict=True)))
        good = self._do(designs, hopeless).reshape(shape)
        if not good.any():
            return None
        place = _inmost(good)
        return {dial: float(axis[at]) for dial, axis, at in zip(several, axes, place, strict=True)}

    def _allowed(
        self,
        dial: Dial,
        several: Sequence[Dial],
        wanted: Sequence[str],
        hopeless: Collection[str],
    ) -> Array:
        """Values of one that break nothing and mend all that no other of the set could mend."""
        values, holds = self.mender.tried(dial, QUANTITIES)
        rest = [other for other in several if other is not dial]
        good = np.ones(len(values), np.bool_)
        for id_ in QUANTITIES:
            if id_ not in hopeless and not (id_ in wanted and id_ in self._by(*rest)):
                good &= holds[id_].all(axis=0)
        usual = set(preferred(E24, dial.least, dial.most)) if dial.kind == "resistor" else None
        return np.array(
            [
                value
                for value, fine in zip(values.tolist(), good, strict=True)
                if fine and (usual is None or value in usual)
            ]
        )

    def settled(
        self, chosen: Mapping[Dial, float], hopeless: Collection[str]
    ) -> tuple[Setting, ...]:
        """Each in the middle of the range that the others leave it."""
        made = dict(chosen)
        settings: dict[Dial, Setting] = {}
        # Those that were settled before the last was are looked at once more.
        for dials in ([*chosen], [*chosen][:-1]):
            for dial in dials:
                setting = self._setting(dial, made, hopeless)
                if setting is not None:
                    settings[dial], made[dial] = setting, setting.value
        return tuple(settings[dial] for dial in chosen if dial in settings)

    def _setting(
        self, dial: Dial, made: Mapping[Dial, float], hopeless: Collection[str]
    ) -> Setting | None:
        """The best value of one, the others made; None where there is none."""
        rest = {other: value for other, value in made.items() if other is not dial}
        mender = Mender(self.sheet, self.ports, self._with(rest), tuple(QUANTITIES), rounds=3)
        ids = [id_ for id_ in QUANTITIES if id_ not in hopeless]
        between = mender.range(dial, ids, self.rows)
        if between is None:
            return None
        return _best(self.sheet, dial, between)

    def needs(
        self, settings: Sequence[Setting], place: int, hopeless: Collection[str]
    ) -> frozenset[str]:
        """What fails if all but one are made."""
        judged = self._judged(self._with(_all_but(settings, place)))
        return frozenset(w.id for w in judged if not w.holds.all() and w.id not in hopeless)

    def instead(
        self,
        settings: Sequence[Setting],
        place: int,
        mended: Collection[str],
        hopeless: Collection[str],
    ) -> Iterator[Setting]:
        """Other keys that alone do what one of the settings does, the rest as they are."""
        made = _all_but(settings, place)
        taken = {key for setting in settings for key in setting.keys}
        keys = dict.fromkeys(key for id_ in mended for key in QUANTITIES[id_].mends)
        for key in keys:
            dial, _ = self.dials.get(key, (None, 0))
            if dial is None or key in taken:
                continue
            setting = self._setting(dial, made, hopeless)
            if setting is not None:
                yield setting

    def _by(self, *dials: Dial) -> frozenset[str]:
        """What holds on every port with some value of these, each turned alone."""
        for dial in dials:
            if dial not in self._known:
                holds = self.mender.tried(dial, QUANTITIES)[1]
                does = (id_ for id_ in QUANTITIES if holds[id_].all(axis=0).any())
                self._known[dial] = frozenset(does)
        return frozenset().union(*(self._known[dial] for dial in dials))

    def _with(self, made: Mapping[Dial, float | Array]) -> list[Design]:
        """The designs, one a port, with these values; arrays among them are of one length."""
        designs = []
        for design, port in zip(self.designs, self.ports, strict=True):
            for dial, values in made.items():
                design = dial.turned(design, np.atleast_1d(values), port)  # noqa: PLW2901
            designs.append(design)
        return designs

    @staticmethod
    def _judged(designs: Sequence[Design]) -> tuple[WorstCase, ...]:
        return worst_case(stacked(designs), QUANTITIES)

    def _do(self, designs: Sequence[Design], hopeless: Collection[str]) -> NDArray[np.bool_]:
        """Which of the points do on every port."""
        good = [worst.holds for worst in self._judged(designs) if worst.id not in hopeless]
        every = np.logical_and.reduce(good).reshape(len(designs), -1)
        return np.asarray(every.all(axis=0), np.bool_)


def _all_but(settings: Sequence[Setting], place: int) -> dict[Dial, float]:
    return {one.dial: one.value for number, one in enumerate(settings) if number != place}


def _narrowed(dial: Dial) -> Dial:
    """With the values that are worth a look: resistors that are sold, else a hundredfold about."""
    if dial.kind == "resistor":
        least, most = _RESISTORS
        return replace(dial, least=least, most=most)
    if dial.kind in ("count", "temperature") or not dial.now:
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
    elif dial.kind == "temperature":
        value = None if low is None or high is None else _degrees(dial, low, high)
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


def _degrees(dial: Dial, low: float, high: float) -> float:
    return float(floor(high) if dial.scales[0][0] == "hottest_used" else ceil(low))


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
    if dial.kind == "temperature":
        return f"{made.low:g} °C to {made.high:g} °C"
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
    if dial.kind == "temperature":
        assert before is not None
        ends = (before.low, value) if dial.scales[0][0] == "hottest_used" else (value, before.high)
        return Value(min(max(before.nominal, ends[0]), ends[1]), *ends)
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
