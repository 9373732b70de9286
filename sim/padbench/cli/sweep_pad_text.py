"""A swept pad for people."""

from pathlib import Path

from rich import box
from rich.table import Table

from padbench.buttons import BUTTONS
from padbench.cli.tables import console
from padbench.report.pad_sweep_json import TIES, PadResult
from padbench.report.pad_sweep_page import example_says

__all__ = ["print_pad_sweep"]


def print_pad_sweep(
    name: str, verdict: str, says: str, results: list[PadResult], wave: Path | None
) -> None:
    """What was wrong and how often; which tie and which policy would be safest; the verdict."""
    screen = console()
    for result in results:
        whole = result.whole
        screen.print(
            f"{', '.join(result.ports)}: {whole.cases} cases, {whole.wrong} wrong "
            f"(policy {result.policy}, serial input {TIES[result.serial]}; both ties tried)"
        )
        if whole.wrong:
            screen.print(_buttons(result))
        if whole.first is not None:
            screen.print(f"For example: {example_says(whole.first)}")
    if results and results[0].stopped:
        screen.print(_ties(results[0]))
        screen.print(_policies(results[0]))
    screen.print(f"{name}: {verdict}: {says}.")
    if wave is not None:
        screen.print(f"Wave: {wave}", soft_wrap=True)


def _table(title: str, *heads: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, title=title, title_justify="left")
    for place, head in enumerate(heads):
        table.add_column(head, justify="right" if place else "left")
    return table


def _buttons(result: PadResult) -> Table:
    table = _table("Wrong reads", "button", "seen, not pressed", "pressed, not seen")
    for row in zip(BUTTONS, result.whole.ghost, result.whole.missed, strict=True):
        table.add_row(*map(str, row))
    return table


def _ties(result: PadResult) -> Table:
    """The lost bits of stopped reads are the console's fault; what takes their place is not."""
    table = _table("Stopped reads, by serial input", "tie", "reads", "spoilt", "a press too many")
    for tie, tally in sorted(result.stopped.items()):
        cells = (TIES[tie], tally.cases, tally.spoilt, tally.spoilt_ghost)
        table.add_row(*map(str, cells))
    return table


def _policies(result: PadResult) -> Table:
    table = _table("Undisturbed reads, by policy", "policy", "reads", "opposite directions seen")
    for policy, tally in sorted(result.policies.items()):
        table.add_row(policy, str(tally.cases), str(tally.opposites))
    return table
