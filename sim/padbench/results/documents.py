"""JSON of a result, and the types of what stands in it.

    write_json(result, sys.stdout)

What several commands share stands here, the rest beside each job. Keys are what scripts of others
rely on: they are added, never renamed. `SCHEMA` counts the changes that are more than that; 2 is
where ``timing.*`` went from nanoseconds to seconds.
"""

import json
from collections.abc import Iterator, Mapping
from itertools import islice
from typing import IO, Any, Literal, NotRequired

from typing_extensions import TypedDict

from padbench.core.buttons import pressed_in
from padbench.core.findings import Finding, Verdict
from padbench.core.remedies import Remedy
from padbench.results.result import Result
from padbench.trials.scenario_run import ReadResult, ScenarioRun

SCHEMA = 2

Outcome = Literal["pass", "fail"]


SourceDocument = TypedDict("SourceDocument", {"title": str, "class": str})
"""A source and its class, see `padbench.core.findings.SourceClass`."""


class MetDocument(TypedDict):
    """Where the worst was met; empty or null where that does not apply."""

    scenario: str
    corner: str
    port: str
    simulator: str
    top: str
    read: int | None
    at_ps: int | None
    ends: dict[str, float | str]
    other: str


class PlaceDocument(TypedDict):
    """A key of the sheet and its line."""

    key: str
    line: int | None


class RemedyDocument(TypedDict):
    """A value that would mend a finding; bounds are in ``unit``."""

    key: str
    low: float | None
    high: float | None
    unit: str
    e12: list[float]
    e24: list[float]
    says: str
    also: "list[RemedyDocument]"


class FindingDocument(TypedDict):
    """A finding; numbers in SI, ``unit`` says which, or what is counted."""

    id: str
    verdict: Verdict
    measured: float | None
    limit: float | None
    margin: float | None
    unit: str
    where: str
    source: str
    says: str
    met: MetDocument
    sources: list[SourceDocument]
    place: PlaceDocument | None
    remedy: NotRequired[RemedyDocument]


class ReadDocument(TypedDict):
    """One read beside what it should have been; bytes have A in bit 7.

    A bit that was at no level counts as the wrong one; ``undecided`` names those buttons.
    ``beside`` has what the same read shows of other pads in the chain.
    """

    start_ps: int
    byte: int
    pressed: list[str]
    undecided: list[str]
    held: list[str]
    expected: list[str]
    as_expected: bool
    clocks: int
    beside: dict[str, list[str]]


class RunDocument(TypedDict):
    """A scenario; ``vcd`` is where its wave was written."""

    name: str
    verdict: Outcome
    says: str
    corner: str
    port: str
    problems: list[str]
    reads: list[ReadDocument]
    vcd: str | None
    accepted: NotRequired[list[int | None]]


def write_json(result: Result, out: IO[str]) -> None:
    """One line with one object; what comes as an iterator is written item by item."""
    out.writelines(json_texts(result))


def json_texts(result: Result) -> Iterator[str]:
    """The pieces of that line."""
    yield from _object({"schema": SCHEMA, **result.document})
    yield "\n"


_AT_ONCE = 512
"""Items that become text together: quicker than one by one, and never all of them."""


def _object(document: Mapping[str, Any]) -> Iterator[str]:
    for number, (key, value) in enumerate(document.items()):
        yield f"{', ' if number else '{'}{json.dumps(key)}: "
        if isinstance(value, Iterator):
            yield from _list(value)
        else:
            yield _dumped(value)
    yield "}"


def _list(items: Iterator[Any]) -> Iterator[str]:
    yield "["
    first = True
    while some := list(islice(items, _AT_ONCE)):
        yield "" if first else ", "
        first = False
        if any(isinstance(v, Iterator) for v in some[0].values()):
            for number, item in enumerate(some):
                yield ", " if number else ""
                yield from _object(item)
        else:
            yield _dumped(some)[1:-1]
    yield "]"


def _dumped(value: Any) -> str:
    """As JSON; what a terminal would obey or hide is written as an escape, of the same meaning."""
    text = json.dumps(value, ensure_ascii=False)
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else _escaped(c) for c in text)


def _escaped(sign: str) -> str:
    return f"\\u{ord(sign):04x}" if sign <= "\uffff" else json.dumps(sign)[1:-1]


def finding_document(finding: Finding) -> FindingDocument:
    """A finding, key by key; ``remedy`` only where there is one."""
    met, place = finding.met, finding.place
    document: FindingDocument = {
        "id": finding.id,
        "verdict": finding.verdict,
        "measured": finding.measured,
        "limit": finding.limit,
        "margin": finding.margin,
        "unit": finding.unit,
        "where": finding.where,
        "source": finding.source,
        "says": finding.says,
        "met": {**_of(met, MetDocument), "ends": dict(met.ends)},  # type: ignore[typeddict-item]
        "sources": [{"title": one.title, "class": one.kind} for one in finding.sources],
        "place": None if place is None else {"key": place.key, "line": place.line},
    }
    if finding.remedy is not None:
        document["remedy"] = _remedy(finding.remedy)
    return document


def _remedy(remedy: Remedy) -> RemedyDocument:
    also = [_remedy(one) for one in remedy.also]
    return {**_of(remedy, RemedyDocument), "also": also}  # type: ignore[typeddict-item]


def _of(found: object, document: type) -> dict[str, Any]:
    """What stands in a document under the names that it has where it comes from."""
    return {key: getattr(found, key) for key in document.__annotations__}


def run_document(run: ScenarioRun, vcd: Mapping[str, Any]) -> RunDocument:
    """A scenario and its reads; ``accepted`` only where polls have several passes.

    ``vcd`` names the waves that were written, by scenario.
    """
    document: RunDocument = {
        "name": run.name,
        "verdict": run.verdict,
        "says": run.says,
        "corner": run.corner,
        "port": run.port,
        "problems": [problem.says for problem in run.problems],
        "reads": [_read(pair) for pair in run.reads],
        "vcd": str(vcd[run.name]) if run.name in vcd else None,
    }
    if run.accepted:
        document["accepted"] = list(run.accepted)
    return document


def _read(pair: ReadResult) -> ReadDocument:
    return {
        "start_ps": pair.read.start_ps,
        "byte": pair.byte,
        "pressed": list(pressed_in(pair.byte)),
        "undecided": list(pressed_in(pair.read.undecided)),
        "held": list(pressed_in(pair.expected.held)),
        "expected": list(pressed_in(pair.expected.byte)),
        "as_expected": pair.as_expected,
        "clocks": len(pair.read.clock_rises),
        "beside": {name: list(pressed_in(byte)) for name, byte, _ in pair.beside},
    }
