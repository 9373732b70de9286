"""What an electrical quantity is: one row, with all that is known of it, and its worst corner."""

from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.circuits import Circuits
from padbench.circuit.corners import Space
from padbench.circuit.design import Array
from padbench.core.findings import Rule, Source
from padbench.parts import Figure, PortKind, RegisterPart
from padbench.parts.registers import Derating

Circuit = Literal["inputs", "latch", "clock", "data", "supply", "run"]
"""Of which circuit it is; "run" is what a run will measure, foretold."""


@dataclass(frozen=True)
class WorstCase:
    """One quantity of n designs at its worst corner; arrays of shape (n,), SI units.

    ``measured`` is infinite where a line never gets there, ``limit`` where there is none.
    ``corner`` counts in the space of ``axes``; ``matters``, shape (n, axes), says on which axes
    the other end would give another margin.
    """

    id: str
    axes: tuple[str, ...]
    measured: Array
    limit: Array
    margin: Array
    corner: NDArray[np.int64]
    matters: NDArray[np.bool_]

    @property
    def holds(self) -> NDArray[np.bool_]:
        """Which designs keep the limit; at the limit is kept."""
        return np.asarray(self.margin >= 0, np.bool_)


@dataclass(frozen=True)
class Quantity:
    """One electrical quantity: formula, limit, words, sources, remedies.

    ``rule`` goes into its findings: id, unit, sentences, and the values of the sheet that mend it.
    Its cases are the verdicts, and where it has them "never" (a line does not get there), "none"
    (nothing is left, or nothing happens), "unlimited" (there is no limit), "unlifted" (fails on a
    port that cannot lift the line) and "absent" (its ``resistor`` is not fitted: not judged).
    ``values`` gives measured and limit, arrays that broadcast to (n, corners) of its circuit.
    ``rests_on`` are all figures that the two rest on: a `Source`, or the name of a figure, such as
    "part.input_low" or "port.supply_current" (one that a port lacks is left out).
    ``also_on`` are values that bear on it beside those that mend it, and so could break it.
    ``of_port`` is set where each port has a finding of its own, named ``port.<port>.<of_port>``;
    ``resistor`` is the field of `Design` without which there is nothing to judge.
    """

    rule: Rule
    circuit: Circuit
    sense: Literal["at most", "at least"]
    values: Callable[[Circuits], tuple[Array, Array]]
    rests_on: tuple[Source | str, ...]
    also_on: tuple[str, ...] = ()
    of_port: str = ""
    resistor: str = ""

    @property
    def id(self) -> str:
        """The rule's."""
        return self.rule.id

    @property
    def mends(self) -> tuple[str, ...]:
        """Keys of the sheet to try, the first first; a star stands for any kind of port."""
        return self.rule.mends or ()

    def name_on(self, port: PortKind) -> str:
        """The id of its finding: a level that is not reached is a fault of one port."""
        return f"port.{port.name}.{self.of_port}" if self.of_port else self.id

    def case(self, measured: float, limit: float, port: PortKind, *, holds: bool) -> str:
        """Which of the rule's sentences fits; empty for that of the verdict."""
        if not isfinite(measured) and "never" in self.rule.texts:
            return "never"
        if measured <= 0 and "none" in self.rule.texts:
            return "none"
        if not isfinite(limit) and "unlimited" in self.rule.texts:
            return "unlimited"
        lifted = holds or port.drives_high or "unlifted" not in self.rule.texts
        return "" if lifted else "unlifted"

    def sources(self, part: RegisterPart, port: PortKind) -> tuple[Source, ...]:
        """Where every figure that it rests on comes from, each source once."""
        owners = {"part": part, "port": port}
        cited: dict[Source, None] = {}
        for rest in self.rests_on:
            if isinstance(rest, Source):
                cited[rest] = None
                continue
            owner, _, name = rest.partition(".")
            figure: Figure | Derating | None = getattr(owners[owner], name)
            if figure is not None:
                cited[figure.cited] = None
        return tuple(cited)

    def margins(self, circuits: Circuits) -> tuple[Space, Array, Array, Array]:
        """Its corners, and measured, limit and margin at all of them, each (n, corners)."""
        over = self._corners(circuits)
        shape = over.supply.shape
        measured, limit = (np.broadcast_to(array, shape) for array in self.values(circuits))
        with np.errstate(invalid="ignore"):
            margin = limit - measured if self.sense == "at most" else measured - limit
        # inf - inf: a line that never gets there fails whatever the limit.
        never = np.isinf(measured) if self.sense == "at most" else np.isneginf(measured)
        return over, measured, limit, np.where(never, -np.inf, margin)

    def worst(self, circuits: Circuits) -> WorstCase:
        """At the corner with the least margin."""
        over, measured, limit, margin = self.margins(circuits)
        corner = np.argmin(margin, axis=1)
        rows = np.arange(len(margin))
        flipped = corner[:, None] ^ (1 << np.arange(len(over.axes))[::-1])
        matters = margin[rows[:, None], flipped] != margin[rows, corner][:, None]
        return WorstCase(
            self.id,
            over.axes,
            measured[rows, corner],
            limit[rows, corner],
            margin[rows, corner],
            corner.astype(np.int64),
            matters,
        )

    def _corners(self, circuits: Circuits) -> Space:
        if self.circuit == "run":
            return Space(circuits.design, ())
        return circuits.at_inputs if self.circuit == "inputs" else circuits.at_lines
