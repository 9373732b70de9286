"""The page of a verification."""

import re
import tomllib
from collections.abc import Iterator, Sequence
from typing import Any

from padbench.circuit.findings import PortRow
from padbench.parts import colour_bands
from padbench.results.blocks import (
    Article,
    Articles,
    Block,
    Cell,
    Changes,
    FrameStrip,
    Prose,
    Table,
    article_of,
    findings_blocks,
    ribbon_of,
)
from padbench.results.change import Change, changes
from padbench.results.frame import frame_of
from padbench.results.html_page import Page, Section
from padbench.results.inputs import Input
from padbench.sheet import Sheet
from padbench.trials.result import ScenarioResult, VerifyResult

__all__ = ["verify_page"]

_TOLERANCE = 0.05
"""Of the resistors to buy, as `padbench wiring` takes it where the sheet says none."""


def verify_page(result: VerifyResult, sheet: Sheet, files: Sequence[Input], command: str) -> Page:
    """``files`` begin with the sheet."""
    broken = sum(found.verdict == "fail" for found in result.findings)
    wrong = sum(run.verdict == "fail" for run in result.scenarios)
    passes = result.verdict == "pass"
    return Page(
        name=sheet.pad.name,
        verdict=result.verdict,
        word="Passes." if passes else "Fails.",
        lead=f"All {len(result.findings)} findings hold or need no judging, and all "
        f"{len(result.scenarios)} scenarios read as they should."
        if passes
        else f"{broken} of {len(result.findings)} findings fail, and {wrong} of "
        f"{len(result.scenarios)} scenarios go wrong.",
        sections=[*_sections(result, sheet, files[0].text)],
        files=files,
        command=command,
        ribbon=ribbon_of(result.scenarios),
    )


def _sections(result: VerifyResult, sheet: Sheet, text: str) -> Iterator[Section]:
    found = changes(result.findings)
    yield Section("change", "What must change", [*_changes(found, result.verdict, text)])
    bought = [*_bought(found, len(sheet.buttons))]
    if bought:
        caption = "For the values above, one pad; padbench wiring lists all parts"
        heads = ("how many", "what", "value", "colour bands")
        yield Section("buy", "What to buy", [Table(caption, heads, bought)])
    if result.ports:
        yield Section("ports", "Which pad works on which port", [_ports(result.ports)])
    yield Section("findings", "Findings", findings_blocks(result.findings))
    frame = frame_of(sheet, result.scenarios)
    if frame is not None:
        title = "Where in the frame the poll falls"
        yield Section("frame", title, [FrameStrip(frame, "poll")])
    yield Section("scenarios", "Scenarios", [Articles([*map(_article, result.scenarios)])])


def _changes(found: Sequence[Change], verdict: str, text: str) -> Iterator[Block]:
    if found:
        yield Changes([(change, _now(change, text)) for change in found])
    elif verdict == "pass":
        yield Prose(("Nothing.",))
    else:
        says = "No value of the sheet mends it: the scenarios below say what goes wrong."
        yield Prose((says,))


def _now(change: Change, text: str) -> str:
    """What the sheet says at the key of a change; empty if the key is left to its default."""
    found: Any = tomllib.loads(text)
    for part in change.key.split("."):
        found = found.get(part) if isinstance(found, dict) else None
    if isinstance(found, dict):
        # Of all buttons those that the change is about.
        named = {
            name: found[name] for name in found if re.search(rf"\b{re.escape(name)}\b", change.says)
        }
        return ", ".join(f"{name} on {stage}" for name, stage in (named or found).items())
    if isinstance(found, list):
        return ", ".join(map(str, found))
    return "" if found is None else str(found)


_PLACES = {
    "pull-up.value": "pull-up resistors",
    "resistors.latch-to-supply": "resistor, latch to supply",
    "resistors.clock-to-supply": "resistor, clock to supply",
}


def _bought(found: Sequence[Change], inputs: int) -> Iterator[tuple[str, ...]]:
    for change in found:
        if change.ohms is not None and change.key in _PLACES:
            count = inputs if change.key == "pull-up.value" else 1
            bands = " ".join(colour_bands(change.ohms, _TOLERANCE) or ())
            yield f"{count} ×", _PLACES[change.key], f"{change.spare} ± 5 %", bands


def _ports(rows: Sequence[PortRow]) -> Table:
    ports = list(dict.fromkeys(row.port for row in rows))
    variants = list(dict.fromkeys(row.variant for row in rows))
    works = {(row.variant, row.port): row for row in rows}
    return Table(
        "Levels and edges at the worst corner; no part of the verdict",
        ("latch, clock, data, supply of the pad", *ports),
        [
            (variant, *(_works(works[variant, port]) for port in ports))
            for variant in variants
        ],
    )  # fmt: skip


def _works(row: PortRow) -> Cell:
    return Cell(verdict=row.verdict, codes=row.fails)


def _article(run: ScenarioResult) -> Article:
    reads = f"{len(run.reads)} read{'s' if len(run.reads) != 1 else ''}"
    return article_of(run, f"Shown: {run.corner} corner, {run.port} port; {reads}.")
