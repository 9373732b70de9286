"""What every command yields: one `Result`, of which each format is a rendering.

    result = padbench.verify("my-pad.toml")
    result.verdict, result.findings, result.runs      # "pass", (Finding, ...), (ScenarioRun, ...)
    print(as_text(result)); write_json(result, out); write_page(result, out)

A command says what it found as *sections* of *blocks* (`padbench.results.blocks`): data without a
format. Text and page lay the same sections out; JSON is the command's `document`; JUnit is made of
findings, runs and `cases`; a picture is one of its `figures`.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from padbench.core.findings import Finding
from padbench.results.answer import Answer
from padbench.results.blocks import Block, Lines, Prose
from padbench.results.inputs import Input
from padbench.sheet import Assumed
from padbench.trials.scenario_run import ScenarioRun

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Outcome = Literal["pass", "fail", "stopped"]
"""stopped: by Ctrl-C; what was found until then is there."""

EXIT_CODES: Mapping[Outcome, int] = {"pass": 0, "fail": 1, "stopped": 130}

Medium = Literal["brief", "text", "page"]
"""brief: what a terminal shows unless all is asked for; text: all of it."""

_MOST_IN_FULL = 4


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a result with a heading; ``id`` is where links go, ``media`` is where it stands.

    ``paper``: of a page that begins with an answer it is printed too.
    """

    id: str
    title: str
    blocks: Sequence[Block]
    media: tuple[Medium, ...] = ("text", "page")
    paper: bool = False


@dataclass(frozen=True, slots=True)
class Case:
    """One test beside findings and runs, for JUnit.

    ``failed`` are lines, the first the message; ``skipped`` says why it was.
    """

    name: str
    failed: Sequence[str] = ()
    skipped: str | None = None


@dataclass(frozen=True)
class Result:
    """What one command found.

    ``name`` is of what was judged, ``verdict`` the command's own word, which ``outcome`` boils down
    to pass, fail or stopped. ``word`` is the verdict for people ("Passes.") and ``lead`` the whole
    in a sentence. ``findings`` are all that were judged, ``runs`` what was played, each with its
    wires on demand. ``assumed`` is what a sheet does not say and was taken for it. ``inputs`` are
    the files it was made from, ``again`` the command line that makes it again, ``versions`` the
    further distributions that it rests on, ``seconds`` how long the runs took, where that is known.
    ``behind`` are lines on what may be behind every run that fails. ``wrote`` are files written
    while it was made, by what they are. ``data`` is what the command itself worked with, for
    whoever wants more.
    """

    command: str
    name: str
    verdict: str
    outcome: Outcome
    word: str
    lead: str
    make_document: Callable[[], Mapping[str, Any]]
    make_sections: Callable[[], Iterable[Section]]
    findings: tuple[Finding, ...] = ()
    runs: tuple[ScenarioRun, ...] = ()
    cases: Mapping[str, Sequence[Case]] = field(default_factory=dict)
    figures: Mapping[str, Callable[[Path], "Figure"]] = field(default_factory=dict)
    inputs: tuple[Input, ...] = ()
    assumed: tuple[Assumed, ...] = ()
    again: str = ""
    versions: tuple[str, ...] = ()
    seconds: float | None = None
    behind: tuple[str, ...] = ()
    wrote: Mapping[str, Path] = field(default_factory=dict)
    make_answer: Callable[[], Answer | None] = lambda: None
    data: Any = None

    @property
    def exit_code(self) -> int:
        """0 if all holds, 1 if something is wrong, 130 if it was stopped."""
        return EXIT_CODES[self.outcome]

    @property
    def assumption(self) -> str:
        """``assumed`` in a line; empty where there is nothing."""
        words = [f"{item.key} {item.value}" for item in self.assumed]
        return f"Assumed, as the sheet does not say: {'; '.join(words)}." if words else ""

    @cached_property
    def answer(self) -> Answer | None:
        """Verdict by port, causes and the thinnest margins; None where no pad was tried."""
        return self.make_answer()

    @cached_property
    def brief(self) -> Sequence[Block]:
        """The short answer, or nothing; what only a page shows is not made for it."""
        parts = (part.blocks for part in self.make_sections() if "brief" in part.media)
        return next(parts, ())

    @cached_property
    def sections(self) -> tuple[Section, ...]:
        """What it says, part by part, made when first asked for."""
        return tuple(self.make_sections())

    @cached_property
    def document(self) -> Mapping[str, Any]:
        """The JSON object without its ``schema`` number; iterators in it are written piece by
        piece, and can be read once.
        """
        return {"assumed": [item._asdict() for item in self.assumed], **self.make_document()}

    def _repr_html_(self) -> str:
        """Verdict and findings, for a notebook."""
        from padbench.results.html_page import notebook_html  # noqa: PLC0415 - only in a notebook

        return notebook_html(self)

    def _repr_svg_(self) -> str | None:
        """The wave of the read that shows most, for a notebook; None if nothing was played."""
        from padbench.results.pictures import notebook_svg  # noqa: PLC0415 - only in a notebook

        return notebook_svg(self)


def combined(results: Sequence[Result], what: str = "files") -> Result:
    """Several results as one: the worst of their verdicts, a line each, and everything in them.

    ``what`` they are is for the name. Raises ``ValueError`` for none at all.
    """
    if not results:
        raise ValueError("there is nothing to combine")
    if len(results) == 1:
        return results[0]
    worst = max(results, key=lambda result: result.exit_code)
    bad = sum(result.outcome != "pass" for result in results)

    def sections() -> Iterator[Section]:
        yield Section("brief", "", _briefs_of(results), ("brief",))
        for number, result in enumerate(results, 1):
            for part in result.sections:
                media = tuple(medium for medium in part.media if medium != "brief")
                title = f"{result.name}: {part.title}" if part.title else ""
                yield replace(part, id=f"{part.id}-{number}", title=title, media=media)
        lines = [f"{one.name}: {one.word} {one.lead}" for one in results]
        yield Section("each", "Each of them", [Prose(lines, listed=True)])

    def document() -> Mapping[str, Any]:
        return {"verdict": worst.verdict, "results": (one.document for one in results)}

    return replace(
        worst,
        name=f"{len(results)} {what}",
        lead=f"{bad} of {len(results)} fail." if bad else f"All {len(results)} pass.",
        make_document=document,
        make_sections=sections,
        findings=tuple(finding for one in results for finding in one.findings),
        runs=tuple(run for one in results for run in one.runs),
        cases={
            f"{one.name}: {suite}": cases for one in results for suite, cases in one.cases.items()
        },
        make_answer=lambda: None,
        assumed=tuple(dict.fromkeys(item for one in results for item in one.assumed)),
        inputs=tuple(dict.fromkeys(file for one in results for file in one.inputs)),
        seconds=None,
        wrote={f"{name}, {one.name}": at for one in results for name, at in one.wrote.items()},
        data=[one.data for one in results],
    )


def _briefs_of(results: Sequence[Result]) -> list[Lines]:
    """What each does and why not; where they are many a line for each that passes, or for all."""
    if len(results) <= _MOST_IN_FULL:
        return [_brief_of(one) for one in results]
    wrong = [one for one in results if one.outcome != "pass"]
    in_full = wrong if len(wrong) <= _MOST_IN_FULL else []
    short = sorted(results, key=lambda one: one.outcome == "pass")[len(in_full) :]
    rows = [("", f"{one.name}: {one.word} {one.lead}") for one in short]
    return [*map(_brief_of, in_full), Lines("", rows)]


def _brief_of(result: Result) -> Lines:
    """One of several: its verdict, and of its short answer what it does and why not."""
    first, *more = [block for block in result.brief if isinstance(block, Lines) and block.rows]
    # What must change comes before whose bits are whose.
    more.sort(key=lambda block: not block.title)
    shown = [first, *more[: result.verdict != "pass"]]
    rows = [row for block in shown for row in block.rows]
    return Lines(f"{result.name}: {result.word} {result.lead}", rows)
