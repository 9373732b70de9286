"""The page of an inspected capture."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice

import numpy as np

from padbench.capture.buttons_seen import Press, presses
from padbench.capture.expected import Expectation
from padbench.capture.inspect import Inspection
from padbench.capture.reads import SeenRead
from padbench.core.buttons import spelled
from padbench.core.decode import Names, Read, decode
from padbench.core.findings import Finding, overall
from padbench.core.quality import steady
from padbench.core.timeline import Timeline, Wire
from padbench.core.units import show
from padbench.results.blocks import Article, Articles, Block, Cell, Prose, Table, findings_blocks
from padbench.results.html_page import Page, Section
from padbench.results.inputs import Input
from padbench.results.wave_data import ShownRead, Wave

__all__ = ["ChosenRead", "chosen_reads", "inspect_page", "remarks_of"]

_MOST_WAVES = 12
_MOST_ROWS = 100
_MARGIN = 0.15
"""Part of a read that is shown before and after it."""
_ROWS = (("latch", "latch"), ("clock", "clock"), ("data", "data"))
_NEAR = 100_000
"""Picoseconds; a moment in milliseconds is said with four decimals."""


@dataclass
class ChosenRead:
    """A read to draw; ``why`` says what was found in it, at moments in ``marks`` where known.

    ``span`` is what of the capture is shown, in picoseconds.
    """

    read: SeenRead
    span: tuple[int, int]
    why: list[str] = field(default_factory=list)
    marks: list[tuple[int, str]] = field(default_factory=list)
    fails: bool = False


def chosen_reads(seen: Inspection, findings: Sequence[Finding]) -> list[ChosenRead]:
    """At most twelve reads in time order: those with a broken rule, then doubtful, then presses."""
    rows = seen.rows
    chosen: dict[int, ChosenRead] = {}

    def take(place: int) -> ChosenRead | None:
        if place not in chosen:
            if len(chosen) == _MOST_WAVES:
                return None
            chosen[place] = ChosenRead(SeenRead.of(rows[place], place + 1), _span(seen, place))
        return chosen[place]

    if not len(rows):
        return []
    noises = [
        (at, f"{name} leaves a level and comes back")
        for name, (_, first) in seen.runts.items()
        for at in first
    ]
    noises += [(at, "a pulse of the clock is far too short") for at in seen.glitches[1]]
    moments = [(found.met.at_ps, found) for found in findings]
    for moment, found in sorted(moments, key=lambda one: one[1].verdict != "fail"):
        if moment is None or found.verdict == "pass":
            continue
        one = take(_place(seen, moment + _NEAR))
        if one is not None:
            one.why.append(found.says)
            one.fails |= found.verdict == "fail"
            if found.verdict == "fail":
                one.marks.append((max(moment, one.read.start_ps), found.says))
    for moment, says in noises[:_MOST_WAVES]:
        one = take(_place(seen, moment))
        if one is not None:
            one.marks.append((moment, says))
            one.why.append(f"{says} at {moment / 1e6:.3f} µs")
            one.fails = True
    doubtful = (rows["extra"] != 0) | (rows["undecided"] != 0) | (rows["flags"] != 0)
    changed = np.append(True, rows["held"][1:] != rows["held"][:-1])
    for places in (np.flatnonzero(doubtful), np.flatnonzero(changed)):
        for place in places[:_MOST_WAVES].tolist():
            take(place)
    return [chosen[place] for place in sorted(chosen)]


def _place(seen: Inspection, moment: int) -> int:
    """The read in which a moment lies; the first if it comes before."""
    return max(0, int(np.searchsorted(seen.rows["start"], moment, side="right")) - 1)


def _span(seen: Inspection, place: int) -> tuple[int, int]:
    """The read and some room, but no part of the next one."""
    start, end = int(seen.rows["start"][place]), int(seen.rows["end"][place])
    room = max(1_000_000, round((end - start) * _MARGIN))
    after = seen.rows["start"][place + 1 : place + 2]
    last = min([end + room, seen.end_ps, *(int(at) - 1 for at in after)])
    return max(0, start - room), max(last, end)


def inspect_page(
    name: str,
    seen: Inspection,
    findings: Sequence[Finding],
    channels: Mapping[str, str],
    waves: Sequence[tuple[ChosenRead, Timeline]],
    files: Sequence[Input],
    command: str,
    *,
    expected: Expectation | None = None,
) -> Page:
    """``name`` is the capture's, ``channels`` says which was taken for which role.

    ``waves`` has the chosen reads with their wires, from the begin of their spans on; it is empty
    for a capture that cannot be read twice.
    """
    verdict = overall(found.verdict for found in findings)
    broken = sum(found.verdict == "fail" for found in findings)
    count = f"{len(seen.rows)} read{'s' if len(seen.rows) != 1 else ''}"
    return Page(
        name=f"Capture {name}",
        verdict=verdict,
        word="Holds." if verdict == "pass" else "Fails.",
        lead=f"{count}, and nothing in them breaks a rule."
        if verdict == "pass"
        else f"{count}; {broken} of {len(findings)} findings fail.",
        sections=[*_sections(seen, findings, channels, waves, expected)],
        files=files,
        command=command,
    )


def _sections(
    seen: Inspection,
    findings: Sequence[Finding],
    channels: Mapping[str, str],
    waves: Sequence[tuple[ChosenRead, Timeline]],
    expected: Expectation | None,
) -> Iterator[Section]:
    broken = [found for found in findings if found.verdict == "fail"]
    if broken:
        yield Section("broken", "What went wrong", findings_blocks(broken))
    yield Section("reads", "Reads", _waves(seen, waves, expected))
    yield Section("held", "What was held", [*_held(presses(seen.rows))])
    yield Section("measured", "What was measured", [*_measured(seen, channels)])
    rest = [found for found in findings if found.verdict != "fail"]
    yield Section("findings", "What else was looked at", findings_blocks(rest))


def _waves(
    seen: Inspection,
    waves: Sequence[tuple[ChosenRead, Timeline]],
    expected: Expectation | None,
) -> list[Block]:
    blocks: list[Block] = []
    if waves:
        how = (
            f"{len(waves)} of {len(seen.rows)} reads, in order of time; at most {_MOST_WAVES} find "
            "room: before all others those in which a rule was broken, then doubtful ones, then "
            "those with a change."
        )
        articles = [_article(one, line, expected) for one, line in waves]
        blocks = [Prose((how,), small=True), Articles(articles)]
    elif len(seen.rows):
        blocks = [Prose(("The capture came through a pipe and is gone; a file has waves here.",))]
    blocks.append(_reads(seen))
    return blocks


def _measured(seen: Inspection, channels: Mapping[str, str]) -> Iterator[Block]:
    yield Table(
        "Widths and times over the whole capture",
        ("what", "count", "least", "median", "mean", "most"),
        [
            (
                what,
                str(found.count),
                *(
                    show(ps * 1e-12, "s", 4)
                    for ps in (found.least, found.median, found.mean, found.most)
                ),
            )
            for what, found in seen.measures.items()
        ],
        frozenset(range(1, 6)),
    )
    period = seen.measures.get("poll period")
    if period is not None and period.median:
        passes = f", {seen.passes} passes each" if seen.passes > 1 else ""
        yield Prose((f"{1e12 / period.median:.3f} polls a second{passes}.",))
    yield Table(
        "Channels",
        ("role", "channel", "least", "most"),
        [(role, channel, *_volts(seen, role)) for role, channel in channels.items()],
        frozenset((2, 3)),
    )


def _volts(seen: Inspection, role: str) -> tuple[str, str]:
    found = seen.volts.get(role)
    return ("–", "–") if found is None else (f"{found[0]:.3g} V", f"{found[1]:.3g} V")


def _held(found: Sequence[Press]) -> Iterator[Block]:
    if not found:
        yield Prose(("Nothing, as far as the reads can tell.",))
        return
    more = len(found) - _MOST_ROWS
    yield Table(
        "Each press, from the first read that saw it to the first that did not any more",
        ("button", "down at", "up at", "for"),
        [
            (one.button, _when(one.down_ps), _when(one.up_ps), _lasting(one))
            for one in found[:_MOST_ROWS]
        ],
        frozenset((1, 2, 3)),
        f"and {more} more presses; --json has all of them." if more > 0 else "",
    )


def _when(at: int | None) -> str:
    return "–" if at is None else f"{at / 1e9:.4f} ms"


def _lasting(one: Press) -> str:
    if one.down_ps is None or one.up_ps is None:
        return "–"
    return show((one.up_ps - one.down_ps) * 1e-12, "s", 4)


def _reads(seen: Inspection) -> Table:
    more = len(seen.rows) - _MOST_ROWS
    return Table(
        "The first reads as a table" if more > 0 else "All reads as a table",
        ("read", "at", "byte", "read as", "clocks", "remarks"),
        [
            (
                str(read.number),
                _when(read.start_ps),
                f"{read.byte:08b}",
                spelled(read.byte),
                str(read.clocks),
                Cell(remarks_of(read), bad=True) if remarks_of(read) else "",
            )
            for read in islice(seen.reads(), _MOST_ROWS)
        ],
        frozenset((1, 2, 4)),
        f"and {more} more reads; --json has all of them." if more > 0 else "",
        folded=True,
    )


def remarks_of(read: SeenRead) -> str:
    """What is odd about a read, in words; empty if nothing is."""
    remarks = []
    if read.extra:
        remarks.append(f"clock {', '.join(map(str, read.extra))} extra")
    if read.byte != read.held and not read.missing:
        remarks.append(f"on the wire {spelled(read.held)}")
    if read.undecided:
        remarks.append(f"{spelled(read.undecided)} undecided")
    if read.cut_short:
        remarks.append("cut short")
    if read.open_ended:
        remarks.append("the capture ends")
    if read.in_gap:
        remarks.append("not all recorded")
    return "; ".join(remarks)


def _article(one: ChosenRead, line: Timeline, expected: Expectation | None) -> Article:
    read, begin = one.read, one.span[0]
    # Of a stopped read the pad had loaded what stood on the wire, whatever the console made of it.
    wanted = read.held if read.extra and not read.missing else read.byte
    if expected is not None:
        either = expected.unsure(read.start_ps)
        wanted = expected.at(read.start_ps) & ~either | read.byte & either
    right = wanted == read.byte and not read.undecided
    fails = one.fails or not right
    remarks = remarks_of(read)
    says = f"Read as {spelled(read.byte)}"
    says += f", expected {spelled(wanted)}" if wanted != read.byte else ""
    reads = [
        ShownRead(
            found.start_ps,
            found.latch_end_ps,
            _samples(found, read, line),
            read.byte,
            wanted,
            read.undecided,
            right,
        )
        for found in _decoded(line)
        if found.start_ps == read.start_ps - begin
    ]
    return Article(
        f"Read {read.number} at {read.start_ps / 1e9:.4f} ms",
        "fail" if fails else "pass",
        f"{says}{'; ' + remarks if remarks else ''}.",
        f"{read.clocks} clocks; the wave begins {begin / 1e9:.4f} ms into the capture.",
        one.why,
        wave=Wave(
            line,
            reads,
            [(min(max(0, at - begin), line.end_ps), says) for at, says in one.marks],
            _ROWS,
            first=read.number,
            offset=begin,
        ),
    )


def _decoded(line: Timeline) -> Sequence[Read]:
    """The reads of a stretch, with the hysteresis that the inspection had."""
    wires: dict[str, Wire] = {}
    for name in ("latch", "clock"):
        wire = line.wires.get(name)
        found = None if wire is None else steady(wire)
        if found is None:
            return ()
        wires[name] = found
    if "data" not in line.wires:
        return ()
    wires["data"] = line.wires["data"]
    sample = "sample" if len(line.events.get("sample", ())) else None
    settled = Timeline(line.end_ps, wires, events=line.events)
    return decode(settled, Names("latch", "clock", "data", sample))


def _samples(found: Read, read: SeenRead, line: Timeline) -> tuple[int, ...]:
    """Where its bits come from: without recorded moments extra clocks gave none."""
    if len(line.events.get("sample", ())):
        return found.samples
    return tuple(at for number, at in enumerate(found.samples, 1) if number not in read.extra)
