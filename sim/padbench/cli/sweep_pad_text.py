"""A swept pad for people."""

from pathlib import Path

from rich import box
from rich.console import Console
from rich.table import Table

from padbench.cli.tables import console
from padbench.core.buttons import BUTTONS, spelled
from padbench.padsweep.replay import says_case
from padbench.padsweep.tally import KINDS
from padbench.results.pad_sweep_json import TIES, PadResult, Replay

__all__ = ["print_pad_sweep"]


def print_pad_sweep(
    name: str,
    verdict: str,
    says: str,
    results: list[PadResult],
    wave: Path | None,
    replay: Replay,
) -> None:
    """What was wrong and how often, an example of each kind; the safest choice; the verdict."""
    screen = console()
    for result in results:
        whole = result.whole
        screen.print(
            f"{', '.join(result.ports)}: {whole.cases} cases, {whole.wrong} wrong "
            f"(policy {result.policy}, serial input {TIES[result.serial]}; both ties tried)"
        )
        if whole.wrong:
            screen.print(_buttons(result))
        if result.choices:
            screen.print(_choices(result))
        if verdict != "stopped":
            _print_safest(screen, result)
        _print_examples(screen, result, replay)
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


def _choices(result: PadResult) -> Table:
    """The lost bits of stopped reads are the console's fault; what takes their place is not."""
    table = _table(
        "By policy and tie of the serial input, reads undisturbed and stopped",
        "policy, tie",
        "reads",
        "opposites",
        "stopped",
        "opposites",
        "press too many",
        "press missed",
    )
    for (policy, tie), tally in result.choices.items():
        stopped = result.stopped.get((policy, tie))
        row = [tally.cases, tally.opposites]
        if stopped is not None:
            row = [tally.cases - stopped.cases, tally.opposites - stopped.opposites]
            row += [stopped.cases, stopped.opposites, stopped.spoilt_ghost, stopped.spoilt_missed]
        table.add_row(f"{policy}, {TIES[tie]}", *map(str, row))
    return table


def _print_safest(screen: Console, result: PadResult) -> None:
    best = " or ".join(f"{policy} with the tie to {TIES[tie]}" for policy, tie in result.safest)
    if not best:
        return
    screen.print(
        f"Safest: {best} (fewest wrong reads, then opposite directions, presses too many, missed)."
    )


def _print_examples(screen: Console, result: PadResult, replay: Replay) -> None:
    for kind, what in KINDS.items():
        found = result.whole.first.get(kind)
        if found is None:
            continue
        must = "" if found.got == found.expected else f", not {spelled(found.expected)}"
        screen.print(f"{what.capitalize()}: {says_case(found)}: read {spelled(found.got)}{must}")
        screen.print(f"  To see it: {replay(result, found)}", soft_wrap=True)
