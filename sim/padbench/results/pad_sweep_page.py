"""The page of ``sweep --sheet``: every case of a pad."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Literal

from padbench.core.buttons import BUTTONS
from padbench.padsweep.replay import pad_case
from padbench.padsweep.tally import FAULTS, KINDS, PadKind
from padbench.results.blocks import Article, Articles, Block, Cell, Prose, Table, article_of
from padbench.results.html_page import Page, Section
from padbench.results.inputs import Input
from padbench.results.pad_sweep_json import TIES, PadResult, Replay
from padbench.routines.judge import per_cent
from padbench.sheet import Sheet
from padbench.trials import run_scenario

__all__ = ["pad_sweep_page"]


_VERDICTS: dict[str, tuple[Literal["pass", "fail", "stopped"], str]] = {
    "pass": ("pass", "Passes."),
    "fail": ("fail", "Fails."),
    "stopped": ("stopped", "Stopped before the end."),
}


_PREDICTED: dict[PadKind, str] = {
    "spoilt_not_pressed": "comes out as the console's fault predicts",
    "spoilt_not_seen": "comes out as the console's fault predicts",
    "opposites": "comes out as the contacts are",
}


def pad_sweep_page(
    sheet: Sheet,
    verdict: str,
    says: str,
    results: Sequence[PadResult],
    replay: Replay,
    files: Sequence[Input],
    command: str,
) -> Page:
    """``files`` begin with the sheet; ``verdict`` is "pass", "fail" or "stopped"."""
    outcome, word = _VERDICTS[verdict]
    return Page(
        name=sheet.pad.name,
        verdict=outcome,
        word=word,
        lead=f"Every case of a read: {says}.",
        sections=[*_sections(sheet, results, replay)],
        files=files,
        command=command,
    )


def _sections(sheet: Sheet, results: Sequence[PadResult], replay: Replay) -> Iterator[Section]:
    yield Section("counts", "What comes out", [*_counts(results)])
    chosen = [one for one in results if one.choices]
    if chosen:
        title = "Stopped reads and opposite directions, by policy and tie"
        yield Section("choices", title, [*map(_choices, chosen)])
    examples = [article for one in results for article in _examples(sheet, one, replay)]
    if examples:
        yield Section("cases", "The first case of each kind", [Articles(examples)])


def _counts(results: Sequence[PadResult]) -> Iterator[Block]:
    what = (
        "Every pair of held states, the change at every place between two events of a read, the "
        "read undisturbed or stopped at any bit by one to three extra clocks, the serial input "
        "tied low and high."
    )
    yield Prose((what,), small=True)
    yield Table(
        "Cases by port; ports on which the pad is the same logic stand together",
        ("port", "cases", "wrong", "policy", "serial input"),
        [
            (
                ", ".join(one.ports),
                str(one.whole.cases),
                Cell(_share(one.whole.wrong, one.whole.cases), bad=True)
                if one.whole.wrong
                else "0",
                one.policy,
                TIES[one.serial],
            )
            for one in results
        ],
        frozenset((1, 2)),
    )
    for one in results:
        if one.whole.wrong:
            counts = zip(BUTTONS, one.whole.ghost, one.whole.missed, strict=True)
            yield Table(
                f"Wrong reads on {', '.join(one.ports)}",
                ("button", "seen, not pressed", "pressed, not seen"),
                [
                    (name, *(_share(one_kind, one.whole.cases) for one_kind in (ghost, missed)))
                    for name, ghost, missed in counts
                ],
                frozenset((1, 2)),
                f"Per cents are of all {one.whole.cases} cases.",
            )


def _choices(result: PadResult) -> Table:
    rows = []
    for (policy, tie), tally in result.choices.items():
        stopped = result.stopped.get((policy, tie))
        cells = [str(tally.cases), _share(tally.opposites, tally.cases), "0", "0", "0"]
        if stopped is not None:
            spoilt = (stopped.spoilt_ghost, stopped.spoilt_missed)
            cells[2:] = [str(stopped.cases), *(_share(count, stopped.cases) for count in spoilt)]
        best = "safest" if (policy, tie) in result.safest else ""
        rows.append((policy, TIES[tie], *cells, best))
    return Table(
        f"All policies and ties on {', '.join(result.ports)}",
        (
            "policy",
            "serial input",
            "reads",
            "with opposite directions",
            "stopped",
            "with a press too many",
            "with a press missed",
            "choice",
        ),
        rows,
        frozenset((2, 4)),
        "That a stopped read loses bits is the console's fault; what replaces them is not.",
    )


def _examples(sheet: Sheet, result: PadResult, replay: Replay) -> Iterator[Article]:
    """Each as the simulated pad plays it."""
    for kind, what in KINDS.items():
        found = result.whole.first.get(kind)
        if found is not None:
            run = run_scenario(sheet, pad_case(found), result.ports[0], "fast")
            about = (
                f"On {', '.join(result.ports)}. The first read is undisturbed, the second is the "
                f"case; slow reads, since a sweep knows no times. {replay(result, found)}"
            )
            made = article_of(run, about)
            table = made.table and replace(made.table, caption="Reads of this case")
            name = f"{what.capitalize()}, on {result.ports[0]}"
            if kind not in FAULTS and made.verdict == "pass":
                # As the pad must answer, and yet nothing that a program should act on.
                yield replace(
                    made, name=name, table=table, verdict="not-judged", word=_PREDICTED[kind]
                )
            else:
                yield replace(made, name=name, table=table)


def _share(count: int, cases: int) -> str:
    """A count, and how much of the whole that is."""
    return f"{count} ({per_cent(count, cases)})" if count else "0"
