"""The margin of each electrical finding at every corner, not only at the worst.

for one in spread_of(sheet): one.id, one.margins, one.worst
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padbench.circuit.design import design_of, stacked
from padbench.circuit.findings import HIGH_LINES, name_on
from padbench.circuit.judge import at_every_corner
from padbench.core.findings import COUNTED, Finding
from padbench.sheet import Sheet

__all__ = ["Spread", "spread_of"]


@dataclass(frozen=True)
class Spread:
    """One finding: ``margins`` at all corners of the ports it speaks for, in parts of its limit.

    Below 0 the limit is broken; minus infinity where a line never gets there. ``worst`` names the
    corner with the least of them, as the finding does.
    """

    id: str
    margins: NDArray[np.float64]
    worst: str


def spread_of(sheet: Sheet, findings: Sequence[Finding]) -> Iterator[Spread]:
    """In the order of the findings: those of levels and edges at all corners, others as they are.

    What a run measured (``timing.*``) has one margin, that of the worst moment. What has no limit,
    or one of nought, is left out, and so is a count that holds: just as many clocks as it takes are
    no near miss.
    """
    ports = [sheet.port(name) for name in sheet.works_with.ports]
    many = stacked([design_of(sheet, sheet.part, port) for port in ports])
    known: dict[str, NDArray[np.float64]] = {}
    for one in at_every_corner(many):
        if one.id in HIGH_LINES:
            rows = zip(ports, one.margin, strict=True)
            known |= {name_on(one.id, port): row for port, row in rows}
        else:
            known[one.id] = one.margin.ravel()
    for found in findings:
        own = np.zeros(0) if found.margin is None else np.asarray([found.margin])
        margins = known.get(found.id, own)
        # Where a limit goes with the supply it is that of the worst corner, as in the finding.
        if found.unit in COUNTED and found.verdict == "pass":
            continue
        if found.limit and len(margins := margins[margins < np.inf]):
            yield Spread(found.id, margins / abs(found.limit), found.where)
