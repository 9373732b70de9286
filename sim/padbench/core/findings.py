"""A finding: one thing that was judged, as data; sentences are made from it last.

    finding = Finding(RULE, "fail", 0.9e-7, 1.6e-7, -0.7e-7, Met(scenario="held", at_ps=12_000))
    finding.id, finding.margin, finding.met.at_ps     # "timing.latch-width", -7e-08, 12000
    finding.says, finding.where, finding.source       # words, made from the data when asked for

All numbers are in SI base units, whatever was measured; counts are plain numbers. Nothing reads a
sentence back: who needs a moment, a port or a name takes the field. How a number or a byte looks
in a sentence is settled in `padbench.core.sentences`.
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from padbench.core.remedies import Remedy
from padbench.core.sentences import COUNTED, filled, moment

Verdict = Literal["pass", "fail", "not-judged"]

SourceClass = Literal[
    "published",
    "second-hand",
    "common practice",
    "from memory",
    "assumed",
    "measured",
    "given",
    "calculated",
]
"""Where a figure comes from.

published: its title is named. second-hand: quoted by somebody else, who is named. common practice:
what people who build and repair pads know. from memory: believed right, not looked up. assumed:
chosen so that something can be computed. measured: the file and the date are named. given: the
sheet or the command line says so. calculated: a law, such as a first-order RC.
"""

_LEAST_FIRM: tuple[SourceClass, ...] = (
    *("assumed", "from memory", "common practice", "second-hand", "measured", "published"),
    *("given", "calculated"),
)

THIN = 0.1
"""A margin below this part of its limit is thin (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Source:
    """One source that a finding rests on, and of which class it is."""

    title: str
    kind: SourceClass

    def __str__(self) -> str:
        """The title, with a word for what nobody looked up or measured for this."""
        plain = self.kind in ("published", "given", "calculated") or self.kind in self.title
        return self.title if plain else f"{self.title}; {self.kind}"


Fact = bool | int | float | str | tuple[int, ...] | tuple[str, ...] | None
"""What a sentence may need beside the measured value and its limit; numbers in SI."""


@dataclass(frozen=True, slots=True)
class Rule:
    """What is said once about all findings of one id, beside the code that measures them.

    ``unit`` is the SI unit of measured, limit and margin, or one of `COUNTED`. ``texts`` has a
    sentence for each case, which is the verdict unless a finding names another: one with fields in
    braces (see `padbench.core.sentences`), or a function of the finding. ``mends`` are the keys of
    a sheet to try where it fails or is thin, the first first (a star stands for any kind of port);
    None says that no value of a sheet bears on it, so that none is looked for.
    """

    id: str
    unit: str
    texts: Mapping[str, "str | Callable[[Finding], str]"]
    mends: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class Met:
    """The run and the moment in which the worst was met; what does not apply is left out.

    ``corner`` and ``port`` are those of a simulation of the pad ("slow", "push-pull"),
    ``simulator`` and ``top`` what ran which design in an HDL. ``ends`` is the combination of
    worst-case values of a calculation, as (axis, end) pairs: a number in SI for the supply and the
    temperature, a word for the others. ``read`` counts from 1, ``at_ps`` from the start of the run.
    ``other`` names any other place ("every port").
    """

    scenario: str = ""
    corner: str = ""
    port: str = ""
    simulator: str = ""
    top: str = ""
    read: int | None = None
    at_ps: int | None = None
    ends: tuple[tuple[str, float | str], ...] = ()
    other: str = ""

    def __str__(self) -> str:
        """In words: ``"held, slow corner, push-pull port, read 2, at 12.000 µs"``."""
        parts = [
            self.scenario,
            f"{self.corner} corner" if self.corner else "",
            f"{self.port} port" if self.port else "",
            f"on {self.simulator}" if self.simulator else "",
            f"top {self.top}" if self.top else "",
            self.other,
            *(_end(axis, end) for axis, end in self.ends),
            f"read {self.read}" if self.read is not None else "",
            f"at {moment(self.at_ps)}" if self.at_ps is not None else "",
        ]
        return ", ".join(filter(None, parts)) or "whole run"


@dataclass(frozen=True, slots=True)
class Place:
    """What on the sheet a finding is about: the dotted key, and its line where there is one."""

    key: str
    line: int | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """One judged quantity.

    ``margin`` is how far ``measured`` lies on the good side of ``limit``, in the rule's unit;
    negative where the limit is broken, None where nothing was measured. ``sources`` are those of
    every figure that it rests on. ``case`` chooses the rule's sentence (default: by the verdict),
    ``facts`` are what that sentence says beside measured value and limit. ``name`` is the id where
    one rule has several, as one for each kind of port. ``remedy`` says what to change where the
    finding fails or is thin.
    """

    rule: Rule
    verdict: Verdict
    measured: float | None = None
    limit: float | None = None
    margin: float | None = None
    met: Met = Met()
    sources: tuple[Source, ...] = ()
    case: str = ""
    facts: Mapping[str, Fact] = field(default_factory=dict)
    name: str = ""
    place: Place | None = None
    remedy: Remedy | None = None

    @property
    def id(self) -> str:
        """The rule's id, or the finding's own name."""
        return self.name or self.rule.id

    @property
    def unit(self) -> str:
        """SI unit of measured, limit and margin, or what is counted."""
        return self.rule.unit

    @property
    def thin(self) -> bool:
        """Whether it holds with less than `THIN` of its limit to spare; no count is ever thin."""
        if self.verdict != "pass" or self.margin is None or self.limit is None:
            return False
        enough = THIN * abs(self.limit)
        # Just that part is not less, whatever the last digit of a number in seconds says.
        less = self.margin < enough and not math.isclose(self.margin, enough, rel_tol=1e-12)
        return less and self.unit not in COUNTED

    @property
    def warns(self) -> bool:
        """Whether it warns of what is not usual, by no figure that a verdict could go by."""
        return self.case == "warning"

    @property
    def rests_on(self) -> SourceClass | None:
        """The class of the figure that it rests on least firmly; None without a source."""
        kinds = {source.kind for source in self.sources}
        return next((kind for kind in _LEAST_FIRM if kind in kinds), None)

    @property
    def says(self) -> str:
        """The whole in one sentence.

        Raises ``KeyError`` if its rule has no text for its case, or it lacks a fact of the text.
        """
        text = self.rule.texts[self.case or self.verdict]
        if not isinstance(text, str):
            return text(self)
        numbers = {"measured": self.measured, "limit": self.limit, "margin": self.margin}
        # As floats, since whole numbers are shown as they are and these are in the rule's unit.
        shown = {name: float(value) for name, value in numbers.items() if value is not None}
        return filled(text, {**shown, **self.facts}, self.unit)

    @property
    def where(self) -> str:
        """`met` in words."""
        return str(self.met)

    @property
    def source(self) -> str:
        """`sources` in words, each once."""
        return "; ".join(dict.fromkeys(map(str, self.sources)))


def worst_of_each(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """One finding for each id, the one with the least margin, in order of first appearance."""
    worst: dict[str, Finding] = {}
    for finding in findings:
        known = worst.get(finding.id)
        if known is None or _rank(finding) < _rank(known):
            worst[finding.id] = finding
    return tuple(worst.values())


def overall(verdicts: Iterable[Verdict]) -> Literal["pass", "fail"]:
    """``fail`` if anything failed; what could not be judged does not fail a design."""
    return "fail" if "fail" in set(verdicts) else "pass"


def _rank(finding: Finding) -> tuple[int, float]:
    order = ("fail", "pass", "not-judged").index(finding.verdict)
    return order, finding.margin if finding.margin is not None else 0.0


def _end(axis: str, end: float | str) -> str:
    if isinstance(end, str):
        return end
    return f"supply {end:.4g} V" if axis == "supply" else f"{end:g} °C"
