"""What an inspection says: the rules of the wires, and what only a stream of reads can show."""

from collections import Counter
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from padbench.capture.buttons_seen import BOUNCE_PS, bounces, opposites, presses
from padbench.capture.inspect import Inspection
from padbench.capture.reads import SeenRead
from padbench.capture.rows import CUT_SHORT, IN_GAP, INCOMPLETE, OPEN_ENDED, UNEVEN
from padbench.core.bridge import told
from padbench.core.buttons import BUTTONS, pressed_in, spelled
from padbench.core.findings import Finding, Verdict
from padbench.core.sentences import cited

__all__ = ["findings_of"]

_STOPPED = "common practice; what a stopped CPU does: from memory"
_MOST = 10
_LONGEST_LATCH_PS = 10 * 10**9
_LONGEST_READ_PS = 10**12
"""A console polls once a frame, 20 ms at most: no latch, no read comes near (from memory)."""


def findings_of(seen: Inspection, *, wanted: int = 8, policy: str = "both") -> tuple[Finding, ...]:
    """All findings of a capture, those of the wires first.

    ``policy`` is the pad's for opposite directions; under any but "both" none may come through.
    """
    return (
        *seen.timing,
        *_time_scale(seen),
        *_extra_clocks(seen, wanted),
        *_undecided(seen),
        *_incomplete(seen),
        *_noise(seen),
        *_passes(seen),
        *_opposites(seen, policy),
        *_bounce(seen),
        *_in_frame(seen),
        *_whole(seen),
    )


def _finding(
    id_: str,
    verdict: Verdict,
    says: str,
    *,
    measured: float | None = None,
    limit: float | None = 0,
    where: str = "whole capture",
    source: str = "common practice",
    unit: str = "",
) -> Finding:
    limit = None if measured is None else limit
    margin = None if measured is None or limit is None else limit - measured
    return told(id_, verdict, measured, limit, margin, unit, where, source, says)


def _time_scale(seen: Inspection) -> Iterator[Finding]:
    """Medians, since a console may hold its latch while it is switched on."""
    for name, most in (("latch width", _LONGEST_LATCH_PS), ("read length", _LONGEST_READ_PS)):
        found = seen.measures.get(name)
        if found is not None and found.median > most:
            says = (
                f"the usual {name} is {found.median / 1e9:.6g} ms and no console takes more than "
                f"{most // 10**9} ms; is the unit of the time right, or the rate, and is this the "
                "right channel? (A breadboard clocked by hand may well be this slow.)"
            )
            yield _finding(
                "capture.time-scale",
                "not-judged",
                says,
                measured=found.median * 1e-12,
                limit=most * 1e-12,
                unit="s",
                where=name,
                source="from memory",
            )
            return


def _at(read: SeenRead) -> str:
    return f"read {read.number} at {read.start_ps / 1e9:.4f} ms"


def _extra_clocks(seen: Inspection, wanted: int) -> Iterator[Finding]:
    id_ = "reads.extra-clock"
    stopped = np.flatnonzero(seen.rows["extra"])
    for number in stopped[:_MOST].tolist():
        read = SeenRead.of(seen.rows[number], number + 1)
        yield _finding(
            id_,
            "fail",
            _what_happened(read, wanted),
            measured=read.clocks,
            limit=wanted,
            where=_at(read),
            source=_STOPPED,
        )
    if len(stopped) > _MOST:
        more = f"{len(stopped) - _MOST} more reads were stopped, {len(stopped)} in all"
        yield _finding(id_, "fail", more, measured=len(stopped), source=_STOPPED)
    if not len(seen.rows):
        yield _finding(
            "capture.reads",
            "fail",
            "no latch was seen; is this the right channel, and are the thresholds right?",
            measured=0,
            limit=None,
        )
        return
    yield from _clocks(seen, wanted)


def _clocks(seen: Inspection, wanted: int) -> Iterator[Finding]:
    """What the reads without an extra clock have."""
    rows, id_ = seen.rows, "reads.clocks"
    if (rows["flags"] & INCOMPLETE).all() and (rows["flags"] & CUT_SHORT).any():
        many = _many(rows["clocks"])
        says = f"no read has the {wanted} clocks of a whole one: {many}; is --clocks right?"
        yield _finding(id_, "fail", says)
        return
    stopped = rows["extra"] != 0
    whole = ~stopped & (rows["flags"] & (INCOMPLETE | IN_GAP) == 0)
    clocks = rows["clocks"][whole]
    uneven = np.flatnonzero(whole & (rows["flags"] & UNEVEN != 0))
    usual = (clocks == wanted).all()
    if usual and not len(uneven):
        if not stopped.any():
            says = f"every whole read has {wanted} clocks"
            yield _finding(
                "reads.extra-clock", "pass", says, measured=wanted, limit=wanted, source=_STOPPED
            )
        return
    says = "every" if usual else "not every"
    says += f" whole read has {wanted} clocks: {_many(clocks)}; "
    if len(uneven):
        read = SeenRead.of(rows[uneven[0]], int(uneven[0]) + 1)
        says += (
            f"in {len(uneven)} of them the clocks are not evenly spaced, the first {_at(read)}, of "
            f"{read.clocks}: a disturbance, a read that was stopped, or a program that does so"
        )
    else:
        says += "evenly spaced, so none was stopped"
    yield _finding(id_, "not-judged", says)


def _many(clocks: NDArray[np.uint16]) -> str:
    counts, often = np.unique(clocks, return_counts=True)
    pairs = zip(counts.tolist(), often.tolist(), strict=True)
    return ", ".join(f"{n} {'read' if n == 1 else 'reads'} with {count}" for count, n in pairs)


def _what_happened(read: SeenRead, wanted: int) -> str:
    which = " and ".join(str(clock) for clock in read.extra)
    plural = "clocks" if len(read.extra) > 1 else "clock"
    lost = [BUTTONS[clock - 1] for clock in read.extra if clock <= 8]
    says = (
        f"read {read.number} has {read.clocks} clocks instead of {wanted}: {plural} {which} "
        f"{'are' if len(read.extra) > 1 else 'is'} extra, as when the sample fetch stops the CPU"
    )
    if not lost:
        return f"{says}; it came after the last button and does no harm"
    says += (
        f"; the pad's bit for {' and '.join(lost)} is lost, later ones move up and the serial "
        "input's level takes the last place: "
    )
    last = BUTTONS[7]
    got, was = bool(read.byte & 1), bool(read.held & 1)
    if read.undecided & 1:
        says += f"{last} is undecided"
    elif got and not was:
        says += f"{last} reads as pressed though it was not"
    else:
        says += f"{last} reads as {'pressed' if got else 'not pressed'}, as it was"
    if read.byte != read.held:
        says += f" (on the wire {spelled(read.held)}, read {spelled(read.byte)})"
    return says


def _undecided(seen: Inspection) -> Iterator[Finding]:
    wrong = np.flatnonzero(seen.rows["undecided"])
    id_, source = "reads.decided", "JEDEC JESD13-B for the levels"
    if not len(seen.rows):
        return
    if not len(wrong):
        says = "every bit that was sampled stood at a level"
        yield _finding(id_, "pass", says, measured=0, source=source)
        return
    read = SeenRead.of(seen.rows[wrong[0]], int(wrong[0]) + 1)
    names = " and ".join(pressed_in(read.undecided))
    says = f"{len(wrong)} reads have bits that may fall either way, the first {_at(read)}: {names}"
    yield _finding(id_, "fail", says, measured=len(wrong), where=_at(read), source=source)


def _incomplete(seen: Inspection) -> Iterator[Finding]:
    for flag, id_, what in (
        (CUT_SHORT, "reads.cut-short", "given up for a new latch before its last bit"),
        (OPEN_ENDED, "capture.ends-in-read", "not finished when the capture ends"),
        (IN_GAP, "capture.gap", "partly in a stretch that was not recorded"),
    ):
        some = np.flatnonzero(seen.rows["flags"] & flag)
        if len(some):
            read = SeenRead.of(seen.rows[some[0]], int(some[0]) + 1)
            count = "1 read was" if len(some) == 1 else f"{len(some)} reads were"
            says = f"{count} {what}, the first {_at(read)}, after {read.clocks} clocks"
            yield _finding(id_, "not-judged", says, where=_at(read))


def _noise(seen: Inspection) -> Iterator[Finding]:
    for name, (count, first) in seen.runts.items():
        says = f"{name} never left a level and came back without reaching the other"
        if count:
            says = (
                f"{name} went between the thresholds and back {count} times, first at "
                f"{first[0] / 1e6:.3f} µs: the register may or may not take that for an edge"
            )
        verdict: Verdict = "fail" if count else "pass"
        yield _finding("levels.runts", verdict, says, measured=count, where=name)
    count, first = seen.glitches
    says = "no pulse of the clock is far shorter than the others"
    if count:
        says = (
            f"{count} pulses of the clock are less than half as long as the others, the first at "
            f"{first[0] / 1e6:.3f} µs: the register may or may not count them"
        )
    yield _finding("levels.glitches", "fail" if count else "pass", says, measured=count)


def _passes(seen: Inspection) -> Iterator[Finding]:
    rows, passes = seen.rows, seen.passes
    if passes < 2:
        return
    whole = len(rows) // passes * passes
    groups = rows["byte"][:whole].reshape(-1, passes)
    differ = np.flatnonzero((groups != groups[:, :1]).any(axis=1))
    id_ = "reads.passes-agree"
    if not len(differ):
        says = f"the {passes} passes of every poll agree"
        yield _finding(id_, "pass", says, measured=0)
        return
    first = int(differ[0])
    says = (
        f"in {len(differ)} of {len(groups)} polls the {passes} passes disagree, the first with "
        f"{' and '.join(spelled(byte) for byte in groups[first].tolist())}: such a poll should "
        "not be acted on"
    )
    yield _finding(
        id_, "not-judged", says, where=f"reads {first * passes + 1} to {(first + 1) * passes}"
    )


def _opposites(seen: Inspection, policy: str) -> Iterator[Finding]:
    some = [n for n in np.unique(seen.rows["held"]).tolist() if opposites(n)]
    id_ = "reads.opposite-directions"
    sure = (seen.rows["undecided"] == 0) & (seen.rows["missing"] == 0)
    found = np.flatnonzero(np.isin(seen.rows["held"], some) & sure)
    if not len(found):
        if len(seen.rows):
            yield _finding(id_, "pass", "opposite directions never came together", measured=0)
        return
    read = SeenRead.of(seen.rows[found[0]], int(found[0]) + 1)
    says = (
        f"{len(found)} reads have opposite directions, the first {_at(read)}: {spelled(read.held)}"
    )
    if policy == "both":
        says += "; a rocker cannot press them together, a pad that passes both on can"
        yield _finding(id_, "not-judged", says, where=_at(read))
    else:
        says += f"; under the policy {policy} they should not come through"
        yield _finding(id_, "fail", says, measured=len(found), where=_at(read))


def _bounce(seen: Inspection) -> Iterator[Finding]:
    found = bounces(presses(seen.rows))
    if found:
        press = found[0]
        says = (
            f"{len(found)} presses came or ended within {BOUNCE_PS // 10**9} ms of the change "
            f"before, the first of {press.button} at {(press.down_ps or 0) / 1e9:.4f} ms: bounce"
        )
        yield _finding("buttons.bounce", "not-judged", says, source="from memory")


def _in_frame(seen: Inspection) -> Iterator[Finding]:
    frame = seen.frame
    if frame is None or not len(seen.rows):
        return
    places = [seen.place(read) for read in seen.reads()]
    parts = Counter("no sync near" if place is None else place.part for place in places)
    many = ", ".join(f"{count} in {part}" for part, count in parts.most_common())
    says = f"by the video sync, of {len(places)} reads fall {many}"
    lines = [place.after_sync for place in places if place is not None]
    if lines:
        says += f"; {min(lines):.1f} to {max(lines):.1f} lines after vertical sync begins"
    if frame.timing is not None:
        says += (
            f", which the frame of {frame.timing.lines} lines is taken to do in {frame.sync_from}"
        )
    source = "from memory" if frame.timing is None else cited((frame.timing.cited,))
    yield _finding("reads.in-frame", "not-judged", says, source=source)


def _whole(seen: Inspection) -> Iterator[Finding]:
    if seen.broken_off is not None:
        says = f"the file breaks off ({seen.broken_off}); what stood before it is judged"
        yield _finding("capture.cut-short", "not-judged", says, where=seen.broken_off)
    if seen.gaps:
        start, end = seen.gaps[0]
        says = (
            f"{len(seen.gaps)} stretches were not recorded, the first from {start / 1e6:.3f} to "
            f"{end / 1e6:.3f} µs"
        )
        yield _finding("capture.gaps", "not-judged", says)
