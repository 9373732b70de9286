"""The page of ``sweep --sheet``: every case of a pad."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from padbench.buttons import BUTTONS, spelled
from padbench.decode import Read, decode
from padbench.pad import PadModel
from padbench.report.blocks import Article, Articles, Block, Cell, Prose, Table
from padbench.report.html_page import Page, Section
from padbench.report.inputs import Input
from padbench.report.pad_sweep_json import TIES, PadResult
from padbench.report.wave_data import ShownRead, Wave
from padbench.sweep.pad_cases import PadExample
from padbench.sweep.pad_wave import pad_wave

__all__ = ["SweptPad", "example_says", "pad_sweep_page"]


@dataclass(frozen=True)
class SweptPad:
    """Counts, and the pad and number of clocks that the counted cases have."""

    result: PadResult
    pad: PadModel
    clocks: int


_VERDICTS: dict[str, tuple[Literal["pass", "fail", "stopped"], str]] = {
    "pass": ("pass", "Passes."),
    "fail": ("fail", "Fails."),
    "stopped": ("stopped", "Stopped before the end."),
}


def pad_sweep_page(
    name: str,
    verdict: str,
    says: str,
    swept: Sequence[SweptPad],
    files: Sequence[Input],
    command: str,
) -> Page:
    """``files`` begin with the sheet; ``verdict`` is "pass", "fail" or "stopped"."""
    outcome, word = _VERDICTS[verdict]
    return Page(
        name=name,
        verdict=outcome,
        word=word,
        lead=f"Every case of a read: {says}.",
        sections=[*_sections(swept)],
        files=files,
        command=command,
    )


def example_says(found: PadExample) -> str:
    """A wrong case in words."""
    part = found.part
    stop = f", bit {part.stopped_bit} stopped by {part.extra}" if part.stopped_bit else ""
    return (
        f"held {spelled(found.held)}, then {spelled(found.then)} from event {part.moment} of the "
        f"read on{stop}, serial input at {TIES[part.tie]}: read {spelled(found.got)}, not "
        f"{spelled(found.expected)}"
    )


def _sections(swept: Sequence[SweptPad]) -> Iterator[Section]:
    yield Section("counts", "What comes out", [*_counts([one.result for one in swept])])
    if swept and swept[0].result.stopped:
        yield Section("tie", "Stopped reads, and opposite directions", [*_kinds(swept[0].result)])
    articles = [_example(one) for one in swept if one.result.whole.first is not None]
    if articles:
        yield Section("cases", "Wrong cases", [Articles(articles)])


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
                Cell(str(one.whole.wrong), bad=True) if one.whole.wrong else "0",
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
                [(name, str(ghost), str(missed)) for name, ghost, missed in counts],
                frozenset((1, 2)),
            )


def _kinds(result: PadResult) -> Iterator[Block]:
    yield Table(
        "Stopped reads, by what the serial input is tied to",
        ("tie", "reads", "spoilt", "with a press too many"),
        [
            (TIES[tie], str(tally.cases), str(tally.spoilt), str(tally.spoilt_ghost))
            for tie, tally in sorted(result.stopped.items())
        ],
        frozenset((1, 2, 3)),
        "That a stopped read loses bits is the console's fault; what replaces them is not.",
    )
    yield Table(
        "Undisturbed reads, by policy for opposite directions",
        ("policy", "reads", "opposite directions seen"),
        [
            (policy, str(tally.cases), str(tally.opposites))
            for policy, tally in sorted(result.policies.items())
        ],
        frozenset((1, 2)),
    )


def _example(swept: SweptPad) -> Article:
    found = swept.result.whole.first
    assert found is not None
    line = pad_wave(swept.pad, found.held, found.then, found.part, swept.clocks)
    before, *case = decode(line)
    reads = [_shown(before, None), *(_shown(read, found.expected) for read in case)]
    marks = [(read.start, "this read is wrong") for read in reads if not read.right]
    says = example_says(found)
    return Article(
        ", ".join(swept.result.ports),
        "fail",
        f"{says[:1].upper()}{says[1:]}.",
        "The first read is undisturbed, the second is the case; a slow read, as the simulated pad "
        "plays it.",
        wave=Wave(line, reads, marks),
    )


def _shown(read: Read, expected: int | None) -> ShownRead:
    byte = read.byte if expected is None else read.worst_byte(expected)
    wanted = byte if expected is None else expected
    return ShownRead(
        read.start_ps,
        read.latch_end_ps,
        read.samples,
        byte,
        wanted,
        read.undecided,
        byte == wanted,
    )
