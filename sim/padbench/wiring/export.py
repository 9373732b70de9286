"""A wiring plan as CSV.

write_plan_csv(plan, out)
"""

import csv
from typing import IO

from padbench.wiring.plan import Range, WiringPlan

__all__ = ["write_plan_csv"]


def write_plan_csv(plan: WiringPlan, out: IO[str]) -> None:
    """One row a pin, volts in columns; empty where none can be foretold."""
    writer = csv.writer(out, lineterminator="\n")
    buttons = list(plan.pins[0].held)
    states = ["off", "idle", *(f"{button} held" for button in buttons)]
    heads = [f"{state} {end} (V)" for state in states for end in ("least", "most")]
    writer.writerow(["register", "pin", "name", "net", "goes to", "why", *heads])
    for pin in plan.pins:
        volts: list[Range | None] = [(0.0, 0.0), pin.idle, *pin.held.values()]
        writer.writerow(
            [pin.chip, pin.number, pin.name, pin.net, pin.goes_to, pin.why, *_cells(volts)]
        )


def _cells(volts: list[Range | None]) -> list[str]:
    return [
        text
        for pair in volts
        for text in (("", "") if pair is None else (f"{pair[0]:.4f}", f"{pair[1]:.4f}"))
    ]
