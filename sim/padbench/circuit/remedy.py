"""What to change: the range of a value with which a finding holds, and preferred values in it.

The range is found by judging some hundred values in one call, then ever closer ones at both ends;
so it needs no formula of its own, and what it says is what `judge` says.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from fnmatch import fnmatchcase
from math import ceil, floor, log10

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.design import Array, Design, stacked
from padbench.circuit.dials import Dial, dials_of
from padbench.circuit.judge import judge
from padbench.circuit.mends import KEEPS, tried_first
from padbench.core.findings import Remedy
from padbench.core.units import show
from padbench.parts import E12, E24, preferred
from padbench.sheet import Sheet

__all__ = ["NOTHING", "Mender", "Range", "keeping", "sizes_from", "spelled_range"]

Range = tuple[float | None, float | None]

NOTHING = "no single value of the sheet would mend this"

_SHOWN = 6
_AT_A_TIME = 16
_ROUNDS = 6

# The sizes that resistors are sold in (common practice, no source).
_SIZES = (1 / 16, 0.1, 0.125, 0.25, 0.5, 1.0, 2.0, 3.0, 5.0)


def keeping(design: Design, ids: Collection[str]) -> NDArray[np.bool_]:
    """Which of n designs keep all the findings named; bool, shape (n,)."""
    kept = np.ones(len(design), np.bool_)
    for judged in judge(design, ids):
        kept &= judged.holds
    return kept


class Mender:
    """Looks for what would mend the findings of one sheet on its ports.

    mender = Mender(sheet, ports, designs, ("levels.pressed", "latch.rise"))
    mender.remedy("levels.pressed", all_ports, thin=False)

    ``wanted`` are all ids that will be asked for: they are judged together, which costs less.
    """

    def __init__(
        self, sheet: Sheet, ports: Sequence[str], designs: Sequence[Design], wanted: Collection[str]
    ) -> None:
        self.ports, self.designs = tuple(ports), tuple(designs)
        self.dials = dials_of(sheet, ports)
        self.wanted = tuple(wanted)
        self._known: dict[Dial, tuple[Array, dict[str, NDArray[np.bool_]]]] = {}

    def remedy(
        self,
        id_: str,
        rows: Sequence[int],
        *,
        ids: Collection[str] = (),
        thin: bool,
    ) -> Remedy:
        """What would make a finding hold on the ports in ``rows``.

        ``ids`` are the quantities behind it, if its own name is none. One that is ``thin`` holds
        already: then it is the range of the first value that bears on it. Else every value of
        those that are tried first, and only where none does any other value of the sheet.
        """
        behind = tuple(ids) or (id_,)
        first = [
            dial
            for pattern in tried_first(id_)
            for dial in self.dials
            if fnmatchcase(dial.key, pattern)
        ]
        found = self._each(first, behind, rows, thin)
        if not found:
            found = self._each(
                [dial for dial in self.dials if dial not in first], behind, rows, thin
            )
        if found:
            return replace(found[0], also=tuple(found[1:]))
        key = (first[0].instead or first[0].key) if first else ""
        return Remedy(key, None, None, "", (), (), NOTHING)

    def _each(
        self, dials: Sequence[Dial], ids: Collection[str], rows: Sequence[int], thin: bool
    ) -> list[Remedy]:
        """Remedies by these values, in their order."""
        found: list[Remedy] = []
        doubtful: list[Remedy] = []
        for dial in dials:
            between = self.range(dial, ids, rows)
            if between is None or (thin and between == (None, None)):
                continue
            remedy = self._remedy(dial, between)
            # A resistor of which no preferred value is any good otherwise is the last to change.
            (doubtful if dial.kind == "resistor" and not remedy.e24 else found).append(remedy)
            if thin and found:
                break
        return found or doubtful if thin else [*found, *doubtful]

    def range(self, dial: Dial, ids: Collection[str], rows: Sequence[int]) -> Range | None:
        """Lowest and highest value with which the findings hold on all ports in ``rows``.

        None for no value. An end is None where the least or the most that is tried still does, and
        no other value of the sheet bounds it. Ends are good to a part in a million and lie on the
        passing side.
        """
        values, holds = self._grid(dial, ids)
        good = np.logical_and.reduce([holds[id_][list(rows)].all(axis=0) for id_ in ids])
        if not good.any():
            return None
        first, last = _run(values, good, dial.now)
        ends = {}
        if first > 0:
            ends["low"] = (float(values[first - 1]), float(values[first]))
        if last < len(values) - 1:
            ends["high"] = (float(values[last + 1]), float(values[last]))
        found = self._closer(dial, ids, rows, ends)
        least = float(values[0]) if dial.bounded[0] else None
        most = float(values[-1]) if dial.bounded[1] else None
        return found.get("low", least), found.get("high", most)

    def holds(self, id_: str, rows: Sequence[int]) -> bool:
        """Whether a finding holds on those ports with everything as the sheet has it."""
        return bool(keeping(stacked([self.designs[row] for row in rows]), (id_,)).all())

    def preferred(self, dial: Dial) -> tuple[float, ...]:
        """Values of E24 that break nothing else that some value of the resistor would keep."""
        keeps = next(ids for pattern, ids in KEEPS.items() if fnmatchcase(dial.key, pattern))
        values, holds = self._grid(dial, keeps)
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

    def _grid(self, dial: Dial, ids: Collection[str]) -> tuple[Array, dict[str, NDArray[np.bool_]]]:
        """Values, and whether each id holds; bool, shape (ports, values)."""
        if dial not in self._known:
            self._known[dial] = (dial.grid(), {})
        values, holds = self._known[dial]
        missing = [id_ for id_ in ids if id_ not in holds]
        if missing:
            bearing = [id_ for id_ in self.wanted if _tries(id_, dial)]
            holds |= self._holds(dial, values, {*missing, *bearing})
        return values, holds

    def _holds(
        self, dial: Dial, values: Array, ids: Collection[str]
    ) -> dict[str, NDArray[np.bool_]]:
        many = stacked(
            [
                dial.turned(design, values, port)
                for design, port in zip(self.designs, self.ports, strict=True)
            ]
        )
        shape = (len(self.designs), len(values))
        return {judged.id: judged.holds.reshape(shape) for judged in judge(many, ids)}

    def _closer(
        self,
        dial: Dial,
        ids: Collection[str],
        rows: Sequence[int],
        ends: dict[str, tuple[float, float]],
    ) -> dict[str, float]:
        """For each (failing, passing) pair the passing value nearest to a failing one."""
        for _ in range(_ROUNDS if ends else 0):
            spreads = {end: dial.between(*pair, _AT_A_TIME) for end, pair in ends.items()}
            holds = self._holds(dial, np.concatenate(list(spreads.values())), ids)
            good = np.logical_and.reduce([holds[id_][list(rows)].all(axis=0) for id_ in ids])
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
        key = dial.instead or dial.key
        says = f"{dial.name} {spelled_range(low, high, dial.unit)} would do"
        if dial.kind == "resistor":
            e24 = tuple(v for v in self.preferred(dial) if (low or 0) <= v <= (high or np.inf))
            if e24:
                e12 = tuple(v for v in preferred(E12, e24[0], e24[-1]) if v in e24)
                says += f"; preferred: E12 {_listed(e12)}; E24 {_listed(e24)}"
                return Remedy(key, low, high, dial.unit, e12, e24, says)
            says += "; no preferred value in it suits everything else"
        if dial.kind == "size":
            sizes = sizes_from(low)
            says += f"; usual sizes: {', '.join(sizes)}" if sizes else "; no usual size is so large"
        return Remedy(key, low, high, dial.unit, (), (), says)


def sizes_from(watts: float | None) -> tuple[str, ...]:
    """The sizes of resistors that are large enough."""
    return tuple(show(size, "W") for size in _SIZES if size >= (watts or 0.0))


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
    return any(fnmatchcase(dial.key, pattern) for pattern in tried_first(id_))


def spelled_range(low: float | None, high: float | None, unit: str) -> str:
    """A range in words, its ends rounded to the passing side."""
    if low is None:
        return "of any value" if high is None else f"up to {_rounded(high, floor, unit)}"
    if high is None:
        return f"from {_rounded(low, ceil, unit)} up"
    return f"from {_rounded(low, ceil, unit)} to {_rounded(high, floor, unit)}"


def _rounded(value: float, towards: Callable[[float], int], unit: str) -> str:
    """Four digits, rounded so that what is shown would still do."""
    if unit == "°C":
        return f"{towards(value * 10) / 10:g} °C"
    step = 10.0 ** (floor(log10(value)) - 3)
    return show(towards(value / step) * step, unit, 4)


def _listed(values: Sequence[float]) -> str:
    if not values:
        return "none"
    shown = [show(value, "Ω") for value in values[:_SHOWN]]
    if len(values) > _SHOWN:
        return f"{', '.join(shown)} … {show(values[-1], 'Ω')}"
    return ", ".join(shown)
