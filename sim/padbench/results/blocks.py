"""What a page is made of below its headings: plain data, one template each in ``page/blocks``.

A block's ``kind`` is the name of its template. Verdicts are "pass", "fail", "not-judged".
"""

from base64 import b64encode
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar

from padbench.core.buttons import spelled
from padbench.core.findings import Finding
from padbench.core.sentences import amount, capital
from padbench.core.units import show
from padbench.results.answer import spare_of, thinnest
from padbench.results.change import Change
from padbench.results.frame import Frame
from padbench.results.wave_data import Wave, bits_of, read_as, wave_of, whole_run
from padbench.trials.scenario_run import ReadResult, ScenarioRun

WORDS = {"pass": "holds", "fail": "fails", "not-judged": "not judged", "stopped": "stopped"}

_MOST_READS = 64
"""Rows of a table of reads; wrong ones first. ``--json`` has all."""

_FEW_READS = 12
"""Of those of a short answer."""

_MANY = 10
"""Times its limit: from here on no per cents are shown."""


@dataclass(frozen=True, slots=True)
class Block:
    """Anything that a section holds."""

    kind: ClassVar[str]


class OnDemand(Sequence[Any]):
    """A sequence that is made when somebody looks into it: what takes time and not all want."""

    def __init__(self, make: Callable[[], Iterable[Any]]) -> None:
        self._make = make

    @cached_property
    def _items(self) -> tuple[Any, ...]:
        return tuple(self._make())

    def __len__(self) -> int:
        """How many there are."""
        return len(self._items)

    def __getitem__(self, place: Any) -> Any:
        """The one at a place, or some of them."""
        return self._items[place]


@dataclass(frozen=True, slots=True)
class Prose(Block):
    """Paragraphs; or a list, ``listed``, ``numbered``, or ``wrong``: of faults."""

    kind = "prose"
    lines: Sequence[str]
    small: bool = False
    listed: bool = False
    numbered: bool = False
    wrong: bool = False


NEVER_CUT = 99
"""Lines that a row may have which is shown whole."""


@dataclass(frozen=True, slots=True)
class Lines(Block):
    """Rows of a short answer, each with a label (or none).

    A row gets a line, and up to ``most`` if there is room; of `NEVER_CUT` all it needs. One that is
    to be copied is ``whole``: neither cut nor broken. Rows that are ``listed`` hold items, of which
    the first are shown and the others counted. ``left_out`` is how many rows more there are. Those
    of a block that is ``kept`` go after all others.
    """

    kind = "lines"
    title: str
    rows: Sequence[tuple[str, str]]
    most: int = 3
    whole: bool = False
    listed: bool = False
    left_out: int = 0
    kept: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of a table: a verdict, text, ``codes``, small, below it, and ``more`` on demand.

    ``joint`` stands between what is more.
    """

    text: str = ""
    verdict: str = ""
    codes: Sequence[str] = ()
    bad: bool = False
    more: Sequence[str] = ()
    joint: str = ""


@dataclass(frozen=True, slots=True)
class Table(Block):
    """The first cell of a row is its heading. ``numbers`` are columns, from 0, with numbers.

    ``folded``: it opens at a click, where it only says in words what a figure shows.
    """

    kind = "table"
    caption: str
    heads: Sequence[str]
    rows: Sequence[Sequence[str | Cell]]
    numbers: frozenset[int] = frozenset()
    note: str = ""
    folded: bool = False


@dataclass(frozen=True, slots=True)
class Bar:
    """A margin as a bar: ``share`` of the half that it fills, and what it says."""

    share: float
    good: bool
    says: str


@dataclass(frozen=True, slots=True)
class Findings(Block):
    """Findings with their bars; no bar where there is no number. ``folded``: it opens on demand."""

    kind = "findings"
    caption: str
    rows: Sequence[tuple[Finding, Bar | None]]
    folded: bool = False


@dataclass(frozen=True, slots=True)
class Changes(Block):
    """What to change, and of each what the sheet says now (empty: its default)."""

    kind = "changes"
    items: Sequence[tuple[Change, str]]


@dataclass(frozen=True, slots=True)
class Drawing(Block):
    """Pictures beside one another: what each shows, and its SVG."""

    kind = "drawing"
    drawn: Sequence[tuple[str, str]]

    @property
    def pictures(self) -> Sequence[tuple[str, str]]:
        """What each shows, and its address: as an image it can run nothing."""
        head = "data:image/svg+xml;base64,"
        return [(says, head + b64encode(svg.encode()).decode()) for says, svg in self.drawn]


@dataclass(frozen=True, slots=True)
class FrameStrip(Block):
    """Where in the frame ``what`` ("poll", "routine") falls."""

    kind = "frame"
    frame: Frame
    what: str


@dataclass(frozen=True, slots=True)
class Strip:
    """One row of `Strips`: places 0 to ``length`` - 1, and (start, length, code) of stretches.

    ``now``: it is as things are, at place 0.
    """

    label: str
    length: int
    spans: Sequence[tuple[int, int, int]]
    now: bool = False


@dataclass(frozen=True, slots=True)
class Strips(Block):
    """Rows of places on one axis, each stretch marked by what it came to.

    ``kinds`` names the codes that occur, from 1 to 4, the worst last: a taller and darker mark
    each; ``none`` says what it means where none does, ``white`` what a place without a mark means.
    """

    kind = "strips"
    says: str
    up: str
    across: str
    rows: Sequence[Strip]
    kinds: Sequence[tuple[int, str]]
    none: str
    white: str = ""
    tall: int = 26

    @property
    def length(self) -> int:
        """Places on the axis: some way beyond the last mark, since there is nothing after it."""
        last = max((start + size for row in self.rows for start, size, _ in row.spans), default=0)
        return min(max((row.length for row in self.rows), default=1), last + last // 8 + 8)


@dataclass(frozen=True, slots=True)
class Article:
    """One run with its wave. ``whole`` is what went wrong and has no place in the wave.

    ``word`` stands for the verdict where "holds" would be no word for it. ``wave`` and ``table``
    are made when they are drawn, and not kept: a run's wires come on demand. A ``small`` wave has
    few rows. ``count`` is how many reads it has, ``run`` names corner and port.
    """

    name: str
    verdict: str
    says: str
    about: str
    said: Sequence[str] = ()
    whole: Sequence[str] = ()
    wave: Callable[[], Wave] | None = None
    table: Callable[[], Table] | None = None
    word: str = ""
    small: bool = False
    count: int | None = None
    run: str = ""


@dataclass(frozen=True, slots=True)
class Articles(Block):
    """Runs with an index above them where they are many.

    ``shown``: so many stand open; the others open at a click, first those that fail.
    """

    kind = "articles"
    articles: Sequence[Article]
    shown: int | None = None

    @property
    def groups(self) -> Sequence[tuple[str, Sequence[tuple[int, Article]]]]:
        """What stands above the articles of a group, empty if they stand open, and the articles.

        Each with its number, from 1.
        """
        every = [*enumerate(self.articles, 1)]
        first = len(every) if self.shown is None else self.shown
        wrong = [one for one in every[first:] if one[1].verdict != "pass"]
        right = [one for one in every[first:] if one[1].verdict == "pass"]
        groups = [("", every[:first])]
        if wrong:
            groups.append((f"Others that go wrong: {len(wrong)}", wrong))
        if right:
            groups.append((f"Those that hold: {len(right)}", right))
        return groups


def spans_of(codes: Iterable[int]) -> list[tuple[int, int, int]]:
    """Stretches of equal codes, those of 0 left out."""
    spans: list[tuple[int, int, int]] = []
    for place, code in enumerate(codes):
        if spans and spans[-1][2] == code and sum(spans[-1][:2]) == place:
            spans[-1] = (spans[-1][0], spans[-1][1] + 1, code)
        elif code:
            spans.append((place, 1, code))
    return spans


def findings_blocks(findings: Sequence[Finding]) -> list[Block]:
    """What fails, what holds by its smallest part of the limit, warnings, what was not judged."""
    broken = [found for found in findings if found.verdict == "fail"]
    holding = sorted((found for found in findings if found.verdict == "pass"), key=spare_of)
    unjudged = [found for found in findings if found.verdict == "not-judged"]
    warning = [found for found in unjudged if found.warns]
    blocks: list[Block] = []
    if any(_bar(found) for found in findings):
        blocks.append(Prose((_HOW,), small=True))
    for caption, some in (
        ("What does not hold", broken),
        ("What holds, by the smallest margin", holding),
        ("Warnings", warning),
        ("Not judged", [found for found in unjudged if not found.warns]),
    ):
        if some:
            blocks.append(findings_block(caption, some, folded=some not in (broken, warning)))
    return blocks


def thinnest_lines(findings: Sequence[Finding]) -> Lines:
    """The findings that hold with least to spare, for the short answer."""
    rows = []
    for found in thinnest(findings):
        part, margin = spare_of(found), found.margin or 0.0
        share = f"{100 * part:.0f} %" if part < _MANY else f"{part:.0f} times the limit"
        rows.append(
            (found.id, f"{amount(margin, found.unit)} ({share}) to spare. {capital(found.says)}")
        )
    return Lines("The thinnest of what holds", rows)


def findings_block(caption: str, findings: Sequence[Finding], *, folded: bool) -> Findings:
    """Findings in the order given, each with its bar."""
    return Findings(caption, [(found, _bar(found)) for found in findings], folded)


_HOW = (
    "A bar starts at the limit: to the right there is room to spare, to the left the limit is "
    "broken. A full bar is a margin as large as the limit itself, or more."
)


def article_of(run: ScenarioRun, about: str) -> Article:
    """A scenario, whatever ran it."""
    if run.accepted:
        known = ("–" if one is None else spelled(one) for one in run.accepted[:16])
        states = ", ".join(known) + " …" * (len(run.accepted) > 16)
        about += f" After each poll the console acts on: {states}."
    said = [problem.says for problem in run.problems]
    said += [f"{finding.id}: {finding.says} ({finding.where})" for finding in run.broken]
    return Article(
        run.name,
        run.verdict,
        run.says,
        about,
        said,
        whole_run(run),
        lambda: wave_of(run),
        lambda: reads_table(run),
        count=run.count,
        run=run.where,
    )


def reads_table(run: ScenarioRun, caption: str = "") -> Table:
    """One row a read: when, what was held, what was read; wrong ones find room first."""
    shown = _shown(run, _MOST_READS)
    left_out = run.count - len(shown)
    return Table(
        caption or f"Reads of {run.name[:80]}",
        ("read", "at", "held", "byte", "read as", "clocks", "verdict"),
        [_read_row(number, pair) for number, pair in shown],
        frozenset((1, 3, 5)),
        f"and {left_out} more reads; --json has all of them" if left_out else "",
    )


def reads_lines(run: ScenarioRun) -> Lines:
    """One line a read, for the short answer; wrong ones find room first."""
    shown = _shown(run, _FEW_READS)
    rows = [(f"read {number}", _read_line(pair)) for number, pair in shown]
    return Lines("", rows, 2, left_out=run.count - len(shown))


def _read_line(pair: ReadResult) -> str:
    at = show(pair.read.start_ps * 1e-12, "s", 6)
    clocks = len(pair.read.clock_rises)
    said = f"at {at}, held {spelled(pair.expected.held)}: reads {_all_read(pair)}, {clocks} clocks"
    if pair.as_expected:
        return said
    return f"FAILS {said}, expected {spelled(pair.expected.byte)}"


def _all_read(pair: ReadResult) -> str:
    """What a read shows, of other pads in the chain as well."""
    return "; ".join(
        [read_as(pair), *(f"{name}: {spelled(byte)}" for name, byte, _ in pair.beside)]
    )


def _shown(run: ScenarioRun, most: int) -> list[tuple[int, ReadResult]]:
    numbered = list(enumerate(run.reads, 1))
    first = sorted(numbered, key=lambda row: row[1].as_expected)[:most]
    return sorted(first, key=lambda row: row[0])


def _read_row(number: int, pair: ReadResult) -> tuple[str | Cell, ...]:
    return (
        str(number),
        show(pair.read.start_ps * 1e-12, "s", 6),
        spelled(pair.expected.held),
        bits_of(pair),
        _all_read(pair),
        str(len(pair.read.clock_rises)),
        "as expected"
        if pair.as_expected
        else Cell(f"wrong, expected {spelled(pair.expected.byte)}", bad=True),
    )


def _bar(found: Finding) -> Bar | None:
    """None where there is no number to draw.

    Full is a margin as large as the limit; the numbers stand beside it, so a bar that is full says
    "at least".
    """
    if found.margin is None or found.limit is None or (not found.margin and not found.limit):
        return None
    whole = abs(found.limit) or abs(found.measured or 0) or 1
    good = found.margin >= 0
    size = amount(abs(found.margin), found.unit)
    return Bar(
        round(min(1.0, abs(found.margin) / whole), 4),
        good,
        f"{size} to spare" if good else f"misses by {size}",
    )
