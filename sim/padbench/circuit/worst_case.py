"""Every quantity of many designs at its worst corner, in one call.

    for worst in worst_case(designs):
        worst.id, worst.margin            # "levels.pressed", array of shape (n,)

Each is worked out at all corners of the axes it depends on, and the worst is kept.
"""

from collections.abc import Collection, Iterator

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.circuits import Circuits
from padbench.circuit.design import Array, Design
from padbench.circuit.quantities import QUANTITIES
from padbench.circuit.quantity import WorstCase

_AT_ONCE = 512
"""Designs in one piece of work, to bound memory."""


def worst_case(design: Design, ids: Collection[str] | None = None) -> tuple[WorstCase, ...]:
    """Every quantity of every design at its worst corner, always in one order.

    ``ids`` asks for some of them only, which costs less, or for ``timing.*`` (see
    `padbench.circuit.forecast`), which are not among the others. ``KeyError`` for an unknown id.
    """
    asked = set(_asked() if ids is None else ids)
    if unknown := asked - set(QUANTITIES):
        raise KeyError(f"no quantity is called {', '.join(sorted(unknown))}")
    rows = [row for id_, row in QUANTITIES.items() if id_ in asked]
    pieces = []
    for start in range(0, max(len(design), 1), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        circuits = Circuits(Design(*(column[some] for column in vars(design).values())))
        pieces.append([row.worst(circuits) for row in rows])
    return tuple(_joined(group) for group in zip(*pieces, strict=True))


def every_corner(design: Design) -> Iterator[tuple[str, Array]]:
    """The margin of each quantity at every corner, shape (n, corners), in its unit, by its id.

    All that `worst_case` looks at, with nothing thrown away; for some designs, not for thousands.
    """
    circuits = Circuits(design)
    for id_ in _asked():
        yield id_, QUANTITIES[id_].margins(circuits)[3]


def keeping(design: Design, ids: Collection[str]) -> NDArray[np.bool_]:
    """Which of n designs keep all the quantities named; bool, shape (n,)."""
    every = [np.ones(len(design), np.bool_), *(one.holds for one in worst_case(design, ids))]
    return np.asarray(np.logical_and.reduce(every), np.bool_)


def _asked() -> list[str]:
    return [id_ for id_, row in QUANTITIES.items() if row.circuit != "run"]


def _joined(pieces: tuple[WorstCase, ...]) -> WorstCase:
    first = pieces[0]
    if len(pieces) == 1:
        return first
    arrays = ("measured", "limit", "margin", "corner", "matters")
    whole = {name: np.concatenate([getattr(piece, name) for piece in pieces]) for name in arrays}
    return WorstCase(first.id, first.axes, **whole)
