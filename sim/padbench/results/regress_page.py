"""The page of a regression on Verilog or VHDL."""

from collections.abc import Iterator, Sequence

from padbench.core.buttons import spelled
from padbench.core.units import show
from padbench.cosim.coverage import Coverage
from padbench.cosim.result import Failure, RegressResult
from padbench.results.blocks import (
    Articles,
    Block,
    Cell,
    Prose,
    Table,
    article_of,
    findings_blocks,
    ribbon_of,
)
from padbench.results.html_page import Page, Section
from padbench.results.inputs import Input
from padbench.sheet import Sheet
from padbench.trials import ScenarioRun

__all__ = ["regress_page"]

_MOST = 20
_EXHAUSTIVE = 3
"""Failing parts of an exhaustive run that are drawn; they are alike."""


def regress_page(result: RegressResult, sheet: Sheet, files: Sequence[Input], command: str) -> Page:
    """``files`` begin with the sheet; the sources follow."""
    assert sheet.hdl is not None
    hdl = sheet.hdl
    broken = sum(found.verdict == "fail" for found in result.findings)
    wrong = sum(run.verdict == "fail" for run in result.scenarios)
    passes = result.verdict == "pass"
    lead = (
        f"{hdl.top} ({hdl.language}, on {hdl.engine}): all {result.reads} reads come out as they "
        "should, and no finding fails."
        if passes
        else f"{hdl.top} ({hdl.language}, on {hdl.engine}): {wrong} of {len(result.scenarios)} "
        f"scenarios go wrong, and {broken} of {len(result.findings)} findings fail."
    )
    return Page(
        name=sheet.pad.name,
        verdict=result.verdict,
        word="Passes." if passes else "Fails.",
        lead=lead,
        sections=[*_sections(result)],
        files=files,
        command=command,
        ribbon=ribbon_of(result.scenarios),
        versions=("cocotb",),
    )


def _sections(result: RegressResult) -> Iterator[Section]:
    yield Section("causes", "Likely causes", [*_causes(result)])
    yield Section("findings", "Findings", findings_blocks(result.findings))
    yield Section("coverage", "What was seen on the wires", [*_coverage(result.coverage)])
    yield Section("scenarios", "Scenarios", [*_scenarios(result)])


def _causes(result: RegressResult) -> Iterator[Block]:
    if not result.failures:
        yield Prose(("Every read is right: there is nothing to explain.",))
        return
    if result.causes:
        yield Table(
            "A register with one of these faults would give just these reads",
            ("cause", "what it is", "explains"),
            [
                (cause.id, cause.says, f"{cause.explains:.0%} of the reads")
                for cause in result.causes
            ],
            frozenset((2,)),
        )
    else:
        yield Prose(("None of the faults that were tried gives these reads.",))
    more = len(result.failures) - _MOST
    yield Table(
        "The first wrong read of each scenario",
        ("scenario", "read", "at", "expected", "got"),
        [_failure(one) for one in result.failures[:_MOST]],
        frozenset((1, 2)),
        f"and {more} more scenarios with wrong reads" if more > 0 else "",
    )


def _failure(one: Failure) -> tuple[str | Cell, ...]:
    return (
        one.scenario,
        str(one.read),
        show(one.at_ps * 1e-12, "s", 6),
        "no byte" if one.expected is None else spelled(one.expected),
        Cell("no byte" if one.got is None else spelled(one.got), bad=True),
    )


def _coverage(coverage: Coverage) -> Iterator[Block]:
    states, positions = coverage.missing_states, coverage.missing_positions
    transitions = coverage.missing_transitions
    yield Table(
        "What the wires really did, whatever the scenarios meant to do",
        ("of", "seen", "there are", "not seen, the first of them"),
        [
            (
                "held states",
                str(len(coverage.states)),
                "256",
                _some([spelled(state) for state in states[:6]], len(states)),
            ),
            (
                "transitions between held states",
                str(len(coverage.transitions)),
                "65536",
                _some([f"{spelled(a)} to {spelled(b)}" for a, b in transitions[:6]],
                      len(transitions)),
            ),
            (
                "stopped bits by extra clocks",
                str(24 - len(positions)),
                "24",
                _some([f"bit {bit} by {extra}" for bit, extra in positions[:6]], len(positions)),
            ),
        ],
        frozenset((1, 2)),
    )  # fmt: skip


def _some(named: Sequence[str], count: int) -> str:
    more = count - len(named)
    return (", ".join(named) + (f" and {more} more" if more else "")) or "–"


def _scenarios(result: RegressResult) -> Iterator[Block]:
    shown = [one for one in result.scenarios if not one.name.startswith("exhaustive")]
    parts = [one for one in result.scenarios if one.name.startswith("exhaustive")]
    failing = [one for one in parts if one.verdict == "fail"]
    if parts:
        reads = sum(len(one.reads) for one in parts)
        said = f"The exhaustive part has {len(parts)} runs with {reads} reads; "
        said += f"{len(failing)} of the runs fail." if failing else "all of it holds."
        yield Prose((said,))
    if result.skipped:
        yield Prose(
            [f"Does not apply: {name} ({why})" for name, why in result.skipped], listed=True
        )
    articles = [article_of(one, _about(one)) for one in shown + failing[:_EXHAUSTIVE]]
    if articles:
        yield Articles(articles)


def _about(run: ScenarioRun) -> str:
    return f"On {run.corner}, {len(run.reads)} read{'s' if len(run.reads) != 1 else ''}."
