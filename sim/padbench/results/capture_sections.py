"""What an inspected capture shows: reads with their waves, presses, widths, channels."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from functools import cache, partial
from itertools import islice

import numpy as np

from padbench.capture.against import Beside
from padbench.capture.expected import Expectation
from padbench.capture.frame_seen import Place
from padbench.capture.inspect import LINES, Inspection
from padbench.capture.intermittent import Steadiness
from padbench.capture.opening import OpenCapture
from padbench.capture.reads import Press, SeenRead
from padbench.core.buttons import BUTTONS, spelled
from padbench.core.decode import Names, Read, decode
from padbench.core.findings import Finding
from padbench.core.quality import steady
from padbench.core.sentences import grouped
from padbench.core.timeline import Timeline
from padbench.core.units import show
from padbench.results.blocks import (
    Article,
    Articles,
    Block,
    Cell,
    Lines,
    Prose,
    Strip,
    Strips,
    Table,
    findings_blocks,
    thinnest_lines,
)
from padbench.results.result import Section
from padbench.results.wave_data import ShownRead, Wave, extra_clocks

_MOST_WAVES = 12
_MOST_ROWS = 100
_MOST_LINES = 40
_MOST_STATES = 24
_MOST_DOUBTFUL = 3
_LOOKED_AT = 10_000
"""So many reads are searched for doubtful ones in the short answer."""
_OF_RECORDING = (
    *("capture.channels", "capture.times", "capture.sampling", "capture.left-out"),
    *("capture.time-scale", "capture.cut-short", "capture.gaps"),
    *("levels.moves", "levels.thresholds", "levels.supply", "buttons.always", "reads.clocks"),
)
"""What the recording may be to blame for: told in words, where others have their ids."""
_MARGIN = 0.15
"""Part of a read that is shown before and after it."""
_LINE_PS = 63_555_556
"""One scan line, 1 / 15 734.266 Hz (SMPTE 170M; ITU-R BT.1700)."""

Span = tuple[int, int]
Stretches = Callable[[Sequence[Span]], Mapping[int, Timeline]]
"""Gives the wires of some stretches (picoseconds), by their begins: a second pass over a file."""


@dataclass
class ChosenRead:
    """A read to draw; ``why`` says what is known of it, at moments in ``marks`` where known.

    ``span`` is what of the capture is shown, in picoseconds.
    """

    read: SeenRead
    span: Span
    why: list[str] = field(default_factory=list)
    marks: list[tuple[int, str]] = field(default_factory=list)
    fails: bool = False


def capture_sections(
    seen: Inspection,
    findings: Sequence[Finding],
    capture: OpenCapture,
    expected: Expectation | None,
    stretches: Stretches | None,
    beside: Sequence[Beside] = (),
    steady: Sequence[Steadiness] = (),
    *,
    all_reads: bool = False,
) -> Iterator[Section]:
    """All sections; ``stretches`` is None for a capture that cannot be read twice."""
    lines = [f"{role}: {name}" for role, name in _channels(capture)]
    brief = [*_brief(seen, findings, capture, beside, steady)]
    if all_reads:
        brief.append(_reads(seen, "Reads", len(seen.rows)))
    yield Section("brief", "", brief, ("brief",))
    yield Section("channels", "", [Prose(lines)], ("text",))
    if beside:
        yield Section("beside", "Each button", [_beside(beside)])
    yield Section("all-findings", "Findings", findings_blocks(findings), ("text",))
    broken = [finding for finding in findings if finding.verdict == "fail"]
    if broken:
        yield Section("broken", "What went wrong", findings_blocks(broken), ("page",))
    blocks = [*_waves(seen, findings, expected, stretches)]
    blocks.append(_reads(seen, "The first reads as a table", _MOST_ROWS, folded=True))
    yield Section("reads", "Reads", blocks, ("page",))
    yield Section("held", "What was held", [*_held(seen.presses)])
    if steady:
        yield Section("steady", "How steady each button is", [_steady(steady)])
        bounces = [ps / 1e9 for one in steady for ps in one.bounces_ps]
        if bounces:
            yield Section("bounces", "How long they bounced", [_histogram(bounces)], ("page",))
    yield Section("measured", "What was measured", [*_measured(seen)])
    yield Section("which", "Channels", [_which(seen, capture)], ("page",))
    shown = _reads(seen, "Reads", len(seen.rows) if all_reads else _MOST_LINES)
    yield Section("reads-text", "Reads", [shown], ("text",))
    rest = [finding for finding in findings if finding.verdict != "fail"]
    yield Section("findings", "What else was looked at", findings_blocks(rest), ("page",))


def _beside(beside: Sequence[Beside]) -> Table:
    rows = [(b.button, *map(str, (b.seen, b.missed, b.extra, b.weak))) for b in beside]
    return Table(
        "Presses that the other has and that are seen here, or missed; those that only this one "
        "has; and of those seen, those with doubtful bits or in pieces",
        ("button", "seen", "missed", "extra", "weak"),
        rows,
        frozenset(range(1, 5)),
    )


def _steady(steady: Sequence[Steadiness]) -> Table:
    def lasting(times: Sequence[int]) -> str:
        middle, most = (show(float(f(times)) * 1e-12, "s", 3) for f in (np.median, max))
        return f"{len(times)}, {middle} to {most}"

    return Table(
        "Dropouts within a hold (10 to 50 ms), ghosts (shorter than 30 ms), changes that bounced "
        "(how many, the usual and the longest), releases after their time, and how many odd "
        "changes each tenth of the recording has",
        ("button", "presses", "dropouts", "ghosts", "bounced", "late", "by tenths"),
        [
            (
                *(one.button, str(one.presses), str(one.dropouts), str(one.ghosts)),
                *(lasting(times) if times else "–" for times in (one.bounces_ps, one.late_ps)),
                "–" if not any(one.trend) else " ".join(map(str, one.trend)),
            )
            for one in steady
        ],
        frozenset((1, 2, 3)),
    )


def _histogram(bounces: Sequence[float]) -> Strips:
    """How many changes bounced for how long (ms)."""
    counts, edges = np.histogram(bounces, bins=min(10, len(bounces)), range=(0, max(bounces)))
    most = int(max(counts))
    rows = [
        Strip(f"{end:.2f} ms", most, [(0, n, 3)] if n else [])
        for n, end in zip(counts.tolist(), edges[1:], strict=True)
    ]
    says = f"Changes that bounced, by how long it took: {len(bounces)} in all"
    kinds = [(3, "changes")]
    return Strips(says, "for up to", "changes", rows, kinds, "no change bounced")


def _brief(
    seen: Inspection,
    findings: Sequence[Finding],
    capture: OpenCapture,
    beside: Sequence[Beside],
    steady: Sequence[Steadiness],
) -> Iterator[Block]:
    """What was read, in the order in which it was seen, then what is wrong and what is thin."""
    rows = [("read", _states(seen, ("byte",), lambda read: spelled(read.byte)))]
    if seen.wanted > 8:
        bits = _states(seen, ("later", "unsure"), lambda read: read.later_bits(seen.wanted))
        rows.append((f"bits 9 to {seen.wanted}", bits))
    rate = _rate(seen, "poll period")
    rows += [("polls", rate)] if rate else []
    if seen.frame is not None and len(seen.rows):
        rows.append(("frame", f"read 1 in {_in_frame(seen.place(seen.read(0)))}"))
    shown = [
        found for found in findings if found.verdict == "not-judged" and found.id in _OF_RECORDING
    ]
    rows += [("recording", found.says) for found in shown]
    dropouts = [f"{one.button} {one.dropouts}" for one in steady if one.dropouts]
    rows += [("dropouts", ", ".join(dropouts))] if dropouts else []
    doubtful = [read for read in islice(seen.reads(), _LOOKED_AT) if comments(read)]
    odd = [f"read {read.number}: {comments(read)}" for read in doubtful[:_MOST_DOUBTFUL]]
    odd += [f"and {len(doubtful) - len(odd)} more"] if len(doubtful) > len(odd) else []
    rows += [("doubtful", "; ".join(odd))] if odd else []
    amiss = [
        row.button + "".join(f", {n} {what}" for what, n in list(asdict(row).items())[2:] if n)
        for row in beside
        if row.missed + row.extra + row.weak
    ]
    rows += [("amiss", "; ".join(amiss))] if amiss else []
    yield Lines("", rows)
    broken = [found for found in findings if found.verdict == "fail"]
    yield Lines("What went wrong", [(found.id, found.says) for found in broken])
    yield thinnest_lines(findings)
    unseen = dict.fromkeys(
        found.id for found in findings if found.verdict == "not-judged" and found not in shown
    )
    yield Lines("", [("not judged", ", ".join(unseen))] if unseen else [], listed=True)
    channels = "; ".join(f"{role} {name}" for role, name in _channels(capture))
    yield Lines("", [("channels", channels)], listed=True)


def _states(seen: Inspection, fields: Sequence[str], word: Callable[[SeenRead], str]) -> str:
    """What these fields of the reads say, each once as long as it stays the same."""
    if not len(seen.rows):
        return "nothing"
    some = np.stack([seen.rows[name] for name in fields])
    starts = np.flatnonzero(np.append(True, (some[:, 1:] != some[:, :-1]).any(axis=0)))
    lengths = np.diff(np.append(starts, len(seen.rows)))
    words = [
        word(seen.read(at)) + (f" ({grouped(size)} times)" if size > 1 else "")
        for at, size in zip(starts[:_MOST_STATES].tolist(), lengths.tolist(), strict=False)
    ]
    more = len(starts) - len(words)
    return ", ".join(words) + (f" and {grouped(more)} changes more" if more else "")


def chosen_reads(seen: Inspection, findings: Sequence[Finding]) -> list[ChosenRead]:
    """At most twelve reads in time order: those with a broken rule, then doubtful, then presses."""
    rows = seen.rows
    chosen: dict[int, ChosenRead] = {}

    def take(place: int) -> ChosenRead | None:
        if place not in chosen:
            if len(chosen) == _MOST_WAVES:
                return None
            chosen[place] = ChosenRead(seen.read(place), _span(seen, place))
        return chosen[place]

    if not len(rows):
        return []
    for finding in sorted(findings, key=lambda finding: finding.verdict != "fail"):
        moment = finding.met.at_ps
        if moment is None or finding.verdict == "pass":
            continue
        shown = take(_place(seen, moment))
        if shown is not None:
            shown.why.append(finding.says)
            shown.fails |= finding.verdict == "fail"
            if finding.verdict == "fail":
                shown.marks.append((max(moment, shown.read.start_ps), finding.says))
    noises = [
        (at, f"{name} leaves a level and comes back")
        for name, (_, first) in seen.runts.items()
        for at in first[:_MOST_WAVES]
    ]
    noises += [(at, "a pulse of the clock is far too short") for at in seen.glitches[1]]
    for moment, says in noises[:_MOST_WAVES]:
        shown = take(_place(seen, moment))
        if shown is not None:
            shown.marks.append((moment, says))
            shown.why.append(f"{says} at {moment / 1e6:.3f} µs")
            shown.fails = True
    doubtful = (rows["extra"] != 0) | (rows["undecided"] != 0) | (rows["flags"] != 0)
    changed = np.append(True, rows["held"][1:] != rows["held"][:-1])
    for places in (np.flatnonzero(doubtful), np.flatnonzero(changed)):
        for place in places[:_MOST_WAVES].tolist():
            take(place)
    return [chosen[place] for place in sorted(chosen)]


def _place(seen: Inspection, moment: int) -> int:
    """The read in which a moment lies; the first if it comes before."""
    return max(1, seen.met(moment).read or 1) - 1


def _span(seen: Inspection, place: int) -> Span:
    """The read and some room, but no part of the next one."""
    start, end = int(seen.rows["start"][place]), int(seen.rows["end"][place])
    room = max(1_000_000, round((end - start) * _MARGIN))
    after = seen.rows["start"][place + 1 : place + 2]
    last = min([end + room, seen.end_ps, *(int(at) - 1 for at in after)])
    return max(0, start - room), max(last, end)


def _waves(
    seen: Inspection,
    findings: Sequence[Finding],
    expected: Expectation | None,
    stretches: Stretches | None,
) -> Iterator[Block]:
    chosen = chosen_reads(seen, findings)
    if not chosen:
        return
    if stretches is None:
        yield Prose(("The capture came through a pipe and is gone; a file has waves here.",))
        return
    lines = cache(partial(stretches, [shown.span for shown in chosen]))
    how = (
        f"{len(chosen)} of {len(seen.rows)} reads, in order of time; at most {_MOST_WAVES} find "
        "room: before all others those in which a rule was broken, then doubtful ones, then "
        "those with a change."
    )
    yield Prose((how,), small=True)
    yield Articles([_article(shown, lines, expected) for shown in chosen])


def _article(
    shown: ChosenRead, lines: Callable[[], Mapping[int, Timeline]], expected: Expectation | None
) -> Article:
    read, begin = shown.read, shown.span[0]
    # Of a stopped read the pad had loaded what stood on the wire, whatever the console made of it.
    wanted = read.held if read.extra and not read.missing else read.byte
    if expected is not None:
        either = expected.unsure(read.start_ps)
        wanted = expected.at(read.start_ps) & ~either | read.byte & either
    right = wanted == read.byte and not read.undecided
    odd = comments(read)
    says = f"Read as {spelled(read.byte)}"
    says += f", expected {spelled(wanted)}" if wanted != read.byte else ""

    def wave() -> Wave:
        line = lines().get(begin, Timeline(shown.span[1] - begin))
        reads, notes = [], []
        for decoded in _decoded(line):
            if decoded.start_ps == read.start_ps - begin:
                ends, samples = decoded.latch_end_ps, _samples(decoded, read, line)
                shape = (read.byte, wanted, read.undecided, right)
                reads.append(ShownRead(decoded.start_ps, ends, samples, *shape))
                notes += [*extra_clocks(decoded, samples), *_wrong_bit(samples, read.byte ^ wanted)]
        # What is wrong with a read as a whole is marked where it begins to be.
        events = {read.start_ps: begin + notes[0][0]} if notes else {}
        moments = [(events.get(at, at) - begin, what) for at, what in shown.marks]
        marks = [(min(max(0, at), line.end_ps), what) for at, what in moments]
        rows = [(name, name) for name in LINES]
        return Wave(line, reads, marks, rows, first=read.number, offset=begin, notes=notes)

    return Article(
        f"Read {read.number} at {_when(read.start_ps)}",
        "pass" if right and not shown.fails else "fail",
        f"{says}{'; ' + odd if odd else ''}.",
        f"{read.clocks} clocks; the wave begins {_when(begin)} into the capture.",
        shown.why,
        wave=wave,
    )


def _wrong_bit(samples: Sequence[int], wrong: int) -> Iterator[tuple[int, str]]:
    """The first sample of a bit that should have been another."""
    for name, place, at in zip(BUTTONS, range(8), samples, strict=False):
        if wrong & 128 >> place:
            yield at, f"wrong bit: {name}"
            return


def _decoded(line: Timeline) -> Sequence[Read]:
    """The reads of a stretch, with the hysteresis that the inspection had."""
    if not {*LINES} <= {*line.wires}:
        return ()
    latch, clock = (steady(line.wires[name]) for name in ("latch", "clock"))
    if latch is None or clock is None:
        return ()
    wires = {"latch": latch, "clock": clock, "data": line.wires["data"]}
    sample = "sample" if len(line.events.get("sample", ())) else None
    settled = Timeline(line.end_ps, wires, events=line.events)
    return decode(settled, Names("latch", "clock", "data", sample))


def _samples(decoded: Read, read: SeenRead, line: Timeline) -> tuple[int, ...]:
    """Where its bits come from: without recorded moments extra clocks gave none."""
    if len(line.events.get("sample", ())):
        return decoded.samples
    return tuple(at for number, at in enumerate(decoded.samples, 1) if number not in read.extra)


def _measured(seen: Inspection) -> Iterator[Block]:
    yield Table(
        "Widths and times over the whole capture",
        ("what", "count", "least", "median", "mean", "most", ""),
        [*_widths(seen)],
        frozenset(range(1, 6)),
    )
    if rate := _rate(seen, "poll period"):
        passes = f", {seen.passes} passes each" if seen.passes > 1 else ""
        yield Prose((f"{rate.replace('a', 'polls a', 1)}{passes}.",))


def _rate(seen: Inspection, name: str) -> str:
    period = seen.measures.get(name)
    return f"{1e12 / period.median:.3f} a second" if period is not None and period.median else ""


def _widths(seen: Inspection) -> Iterator[tuple[str, ...]]:
    line = seen.measures["line period"].median if "line period" in seen.measures else _LINE_PS
    for name, widths in seen.measures.items():
        more = ""
        if name == "read length":
            more = f"{widths.median / line:.2f} scan lines"
        elif name in ("poll period", "frame period"):
            more = _rate(seen, name)
        times = (widths.least, widths.median, widths.mean, widths.most)
        yield name, str(widths.count), *(show(ps * 1e-12, "s", 4) for ps in times), more
    for wire, edges in seen.edges.items():
        if edges.levels is not None:
            yield _extremes(f"{wire}, levels found", edges.levels)
    for role, volts in seen.volts.items():
        yield _extremes(role, volts)


def _extremes(what: str, volts: tuple[float, float]) -> tuple[str, ...]:
    return what, "", f"{volts[0]:.3g} V", "", "", f"{volts[1]:.3g} V", ""


def _channels(capture: OpenCapture) -> Iterator[tuple[str, str]]:
    """Each role with the channel that was taken, and how it was found."""
    for role, channel in capture.channels.items():
        unit = ""
        if role == "time" and capture.time_unit is not None:
            unit = ", in {}, {}".format(*capture.time_unit)
        yield role, channel.label + (f", {channel.how}" if channel.how else "") + unit


def _which(seen: Inspection, capture: OpenCapture) -> Table:
    rows = []
    for role, channel in _channels(capture):
        volts = seen.volts.get(role)
        rows.append(
            (role, channel, *(("–", "–") if volts is None else map("{:.3g} V".format, volts)))
        )
    return Table("Channels", ("role", "channel", "least", "most"), rows, frozenset((2, 3)))


def _held(pressed: Sequence[Press]) -> Iterator[Block]:
    if not pressed:
        yield Prose(("Nothing was held, as far as the reads can tell.",))
        return
    more = len(pressed) - _MOST_ROWS
    yield Table(
        "Each press, from the first read that saw it to the first that did not any more",
        ("button", "down at", "up at", "for"),
        [
            (press.button, _when(press.down_ps), _when(press.up_ps), _lasting(press))
            for press in pressed[:_MOST_ROWS]
        ],
        frozenset((1, 2, 3)),
        f"and {more} more presses; --json has all of them." if more > 0 else "",
    )


def _when(at: int | None) -> str:
    return "–" if at is None else f"{at / 1e9:.4f} ms"


def _lasting(press: Press) -> str:
    if press.down_ps is None or press.up_ps is None:
        return "–"
    return show((press.up_ps - press.down_ps) * 1e-12, "s", 4)


def _reads(seen: Inspection, caption: str, most: int, *, folded: bool = False) -> Table:
    more = len(seen.rows) - most
    heads = ["read", "at", "byte", "read as", "clocks", "comments"]
    later = seen.wanted > 8
    if later:
        heads.insert(4, f"bits 9 to {seen.wanted}")
    rows: list[tuple[str | Cell, ...]] = []
    for read in islice(seen.reads(), most):
        odd = comments(read)
        rows.append(
            (
                *(str(read.number), _when(read.start_ps), f"{read.byte:08b}"),
                *(spelled(read.byte), *([read.later_bits(seen.wanted)] if later else [])),
                str(read.clocks),
                Cell(odd, bad=True) if odd else "",
                *([] if seen.frame is None else [_in_frame(seen.place(read))]),
            )
        )
    return Table(
        caption if more > 0 or not folded else "All reads as a table",
        heads if seen.frame is None else [*heads, "in the frame"],
        rows,
        frozenset((0, 1, 2, 4 + later) if not folded else (1, 2, 4 + later)),
        f"and {more} more reads; --all-reads lists them, --json has them" if more > 0 else "",
        folded=folded,
    )


def _in_frame(place: Place | None) -> str:
    if place is None:
        return "no sync near"
    if place.span is None:
        return f"line {place.after_sync:.1f} after sync"
    first, last = place.span.first_line, place.span.last_line
    lines = f"line {first}" if first == last else f"lines {first} to {last}"
    return f"{lines}, {place.part}"


def comments(read: SeenRead) -> str:
    """What is odd about a read, in words; empty if nothing is."""
    odd = []
    if read.extra:
        odd.append(f"clock {', '.join(map(str, read.extra))} extra")
    if read.byte != read.held and not read.missing:
        odd.append(f"on the wire {spelled(read.held)}")
    if read.undecided:
        odd.append(f"{spelled(read.undecided)} undecided")
    if read.cut_short:
        odd.append("cut short")
    if read.open_ended:
        odd.append("the capture ends")
    if read.in_gap:
        odd.append("not all recorded")
    return "; ".join(odd)
