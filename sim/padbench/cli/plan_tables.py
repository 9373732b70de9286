"""A wiring plan as tables for people."""

from collections.abc import Sequence

from rich import box
from rich.table import Table

from padbench.cli.tables import MARK, MARKED, console, not_looked_up
from padbench.core.findings import Finding
from padbench.wiring.plan import Pin, Plan, Range

__all__ = ["print_plan"]


def print_plan(name: str, plan: Plan, faults: Sequence[Finding]) -> None:
    """Faults first, then cautions and checks, pins, parts, cable."""
    screen = console()
    if faults:
        screen.print(f"{name}: THIS CANNOT WORK AS IT IS. Mend the sheet before you wire anything:")
        for found in faults:
            mend = f" Change: {found.remedy.whole}." if found.remedy is not None else ""
            mark = MARK if not_looked_up(found) else ""
            screen.print(f"  {found.id}{mark}: {found.says}.{mend}")
        if any(not_looked_up(found) for found in faults):
            screen.print(MARKED)
        screen.print()
    screen.print(f"{name}, {plan.part}")
    screen.print(_pins(plan.pins))
    screen.print(_needs(plan))
    screen.print(_cable(plan))
    screen.print("Where pins and voltages come from:")
    for what, source in plan.sources:
        screen.print(f"  {what}: {source}")
    screen.print("Bring it up in this order:")
    for number, step in enumerate(plan.checklist, 1):
        screen.print(f"{number:3}. {step}")


def _table(title: str, *heads: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, title=title, title_justify="left")
    for head in heads:
        table.add_column(head, overflow="fold")
    return table


def _pins(pins: Sequence[Pin]) -> Table:
    several = len({pin.chip for pin in pins}) > 1
    table = _table(
        "Pins, and what a meter finds against ground (with the supply off: 0 V everywhere)",
        *(("register",) if several else ()),
        *("pin", "name", "goes to", "why", "idle", "button held"),
    )
    for pin in pins:
        moved = {name: volts for name, volts in pin.held.items() if volts != pin.idle}
        table.add_row(
            *((str(pin.chip),) if several else ()),
            str(pin.number),
            pin.name,
            pin.goes_to,
            pin.why,
            _volts(pin.idle),
            "\n".join(f"{name}: {_volts(volts)}" for name, volts in moved.items()) or "the same",
        )
    return table


def _volts(volts: Range | None) -> str:
    if volts is None:
        return "–"
    low, high = (f"{x:.2f}" for x in volts)
    return f"{high} V" if low == high else f"{low}–{high} V"


def _needs(plan: Plan) -> Table:
    table = _table("Parts", "", "what", "value", "bands", "")
    for need in plan.needs:
        row = (str(need.count), need.what, need.value, " ".join(need.bands), need.note)
        table.add_row(*row)
    return table


def _cable(plan: Plan) -> Table:
    table = _table("Cable", "core", "goes to", "colour of yours")
    for core, there in plan.cores:
        table.add_row(core, there, "________")
    return table
