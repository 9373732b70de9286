"""What an inspection says: the rules of the wires, and what only a stream of reads can show."""

from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from padbench.capture.inspect import LINES, Inspection, Needs
from padbench.capture.intermittent import bounces_of
from padbench.capture.opening import STEADY
from padbench.capture.reads import (
    BOUNCE_PS,
    CUT_SHORT,
    IN_GAP,
    IN_LATCH,
    INCOMPLETE,
    OPEN_ENDED,
    PAIRED,
    SPIKED,
    UNEVEN,
    opposites,
)
from padbench.core.buttons import BUTTONS, byte_of, pressed_in, spelled
from padbench.core.findings import Fact, Finding, Met, Rule, Source, Verdict
from padbench.core.levels import HIGH, LOW
from padbench.core.sentences import filled
from padbench.core.units import show
from padbench.waveio import SECONDS, Thresholds

_PRACTICE = (Source("common practice", "common practice"),)
_MEMORY = (Source("from memory", "from memory"),)
_STOPPED = (*_PRACTICE, Source("what a stopped CPU does: from memory", "from memory"))
_LEVELS = (Source("JEDEC JESD13-B for the levels", "published"),)
_LOAD = (Source("a 4021 loads until its latch pulse ends: from memory", "from memory"),)
_BY_SHEET = (Source("the sheet's register at its supply", "calculated"),)
_ANYWHERE = Met()
_MOST = 10
_WHOLE = 0.9
"""Of the reads; so many are whole if latch and clock are what they are taken for (assumed)."""
_FEW_ROWS = 0.4
"""Of the rows; a list of changes may have two at one time, where clock and data change (assumed).
"""
_OVER = 1.5
"""Times the supply; a clamp or a bad probe shows less (assumed)."""
_MOVES = 0.3
"""Of the swing of the line that moves most; crosstalk on one that stands is less (assumed)."""
_MOSTLY = 0.75
"""Of the clocks; some consoles hold the latch high and clock for a while (from memory)."""
_LONGEST_LATCH_PS = 10**9
_LONGEST_READ_PS = 20 * 10**9
"""A console polls once a frame, 20 ms at most; of that a latch takes little (from memory)."""
_USUAL = 0.05
"""Part of these that latches and reads of consoles stay below (assumed)."""
_SHORTEST_CLOCK_PS = 50_000
"""No pad is clocked at 20 MHz, and what is a thousand times too short looks like it (assumed)."""


def _many(finding: Finding) -> str:
    """How many reads have how many clocks."""
    pairs = zip(_numbers(finding, "reads"), _numbers(finding, "clocks"), strict=True)
    return ", ".join(f"{n} {'read' if n == 1 else 'reads'} with {clocks}" for n, clocks in pairs)


def _numbers(finding: Finding, name: str) -> tuple[int, ...]:
    fact = finding.facts[name]
    assert isinstance(fact, tuple)
    return tuple(int(number or 0) for number in fact)


def _byte(finding: Finding, name: str) -> int:
    fact = finding.facts[name]
    assert isinstance(fact, int)
    return fact


def _extra_clock(finding: Finding) -> str:
    """What the clocks that nobody asked for did to the byte."""
    extra, wanted = _numbers(finding, "extra"), _byte(finding, "wanted")
    which, are = " and ".join(map(str, extra)), "s {} are" if len(extra) > 1 else " {} is"
    says = filled(
        f"read {finding.met.read} has {{measured}} instead of {{wanted}}: "
        f"clock{are.format(which)} extra, as when the sample fetch stops the CPU",
        {"measured": finding.measured, **finding.facts},
        finding.unit,
    )
    lost = [f"for {BUTTONS[n - 1]}" if n <= 8 else str(n) for n in extra if n <= max(8, wanted)]
    if not lost:
        return f"{says}; it came after the last button and does no harm"
    says += f"; the pad's bit {' and '.join(lost)} is lost, later ones move up"
    if wanted == 8:
        says += " and the serial input's level takes the last place"
    byte, held, undecided = (_byte(finding, name) for name in ("byte", "held", "undecided"))
    last, effects = BUTTONS[7], []
    if undecided:
        are = "is" if len(pressed_in(undecided)) == 1 else "are"
        effects.append(f"{' and '.join(pressed_in(undecided))} {are} undecided")
    for mask, singular, plural in (
        (held & ~byte & ~undecided, "was held and is not read", "were held and are not read"),
        (
            byte & ~held & ~undecided,
            "reads as pressed though it was not",
            "read as pressed though they were not",
        ),
    ):
        names = pressed_in(mask)
        effects += [f"{' and '.join(names)} {singular if len(names) == 1 else plural}"] * bool(
            names
        )
    if wanted == 8 and not (byte ^ held | undecided) & 1:
        effects.append(f"{last} reads as {'pressed' if byte & 1 else 'not pressed'}, as it was")
    says += f": {', '.join(effects)}" if effects else ""
    if byte != held:
        says += f" (on the wire {spelled(held)}, read {spelled(byte)})"
    return says


def _other_clocks(finding: Finding) -> str:
    """Reads with more clocks, or with clocks not evenly spaced, that nobody can call stopped."""
    every = _numbers(finding, "clocks") == (_byte(finding, "wanted"),)
    says = "every" if every else "not every"
    says += f" whole read has {finding.facts['wanted']} clocks: {_many(finding)}; "
    if not finding.facts["uneven"]:
        return says + "evenly spaced, so none was stopped"
    return says + (
        f"in {finding.facts['uneven']} of them the clocks are not evenly spaced, the first "
        f"{filled('read {read} at {at:moment}', finding.facts)}, of {finding.facts['first']}: a "
        "disturbance, a read that was stopped, or a program that does so"
    )


def _no_whole_read(finding: Finding) -> str:
    wanted = finding.facts["wanted"]
    return (
        f"no read has the {wanted} clocks of a whole one: {_many(finding)}; is that number right?"
    )


def _frame(finding: Finding) -> str:
    facts = finding.facts
    parts = zip(_numbers(finding, "counts"), facts["parts"], strict=True)  # type: ignore[arg-type]
    many = ", ".join(f"{count} in {part}" for count, part in parts)
    says = f"by the video sync, of {facts['reads']} reads fall {many}"
    if facts["earliest"] is not None:
        lines = f"{facts['earliest']:.1f} to {facts['latest']:.1f} lines"
        says += f"; {lines} after vertical sync begins"
    if facts["lines"] is not None:
        says += f", which the frame of {facts['lines']} lines is taken to do in {facts['line']}"
    return says


def _incomplete(id_: str, what: str) -> tuple[str, str, dict[str, str | Callable[[Finding], str]]]:
    text = f"{{measured:read was|reads were}} {what}, the first read {{read}} at {{at:moment}}, "
    return id_, "reads", {"not-judged": text + "after {clocks} clocks"}


_CUT_SHORT = _incomplete("reads.cut-short", "given up for a new latch before its last bit")
_CUT_SHORT[2]["fail"] = (
    "{measured:read has|reads have} fewer clocks than the others though no latch came soon, the "
    "first read {read} at {at:moment}, of {clocks}: clocks were lost on the way, or not recorded"
)


def _levels(says: str) -> Callable[[Finding], str]:
    """What a line's levels are and, where the usual thresholds were of no use, what part them."""

    def text(finding: Finding) -> str:
        part = ", so lines up to {below:V} are read as low and from {above:V} on as high"
        if finding.case == "told":
            part = ", which the thresholds do not part; {below:V} and {above:V} would"
        whole = "{line} goes between {low:V} and {high:V}"
        whole += (part if finding.facts["below"] is not None else "") + says
        named = {"limit": finding.limit, **finding.facts}
        return filled(whole, named, finding.unit)

    return text


_OPPOSITE = (
    "{measured:read has|reads have} opposite directions, the first read {read} at {at:moment}: "
    "{held:buttons}; "
)
_ROWS: tuple[tuple[str, str, dict[str, str | Callable[[Finding], str]]], ...] = (
    (
        "capture.time-scale",
        "s",
        {
            "not-judged": "the usual {what} is {measured:s6} and no console takes more than "
            "{limit:s6}; is the unit of the time right, or the rate, and is this the right "
            "channel? (A breadboard clocked by hand may well be this slow.)",
            "fail": "the usual {what} is {measured:s6} and no console takes more than {limit:s6}; "
            "nothing says the unit of the times, so seconds were taken: give --time-unit {unit}, "
            "or --time-unit s if they are seconds",
            "fast": "the usual clock comes every {measured:s}, and no pad is clocked faster than "
            "every {limit:s}; is the unit of the time right, or the rate?",
        },
    ),
    (
        "levels.reached",
        "changes",
        {
            "fail": "{line} is never at a level, low or high; is this the right channel, is it "
            "connected, and are the thresholds right?"
        },
    ),
    (
        "levels.thresholds",
        "V",
        {
            "pass": _levels("; {limit} and more is high for {receiver}"),
            "fail": _levels(", but only {limit} and more is high for {receiver}"),
            "low": _levels(", but only up to {limit} is low for {receiver}"),
            "over": _levels(
                ": far more than the sheet's pad has; if these are no volts, give --scale, the "
                "volts of one"
            ),
            "tenth": _levels(
                ", but only {limit} and more is high for {receiver}; if the probe divides by ten, "
                "give --scale 10"
            ),
            "not-judged": _levels(
                "{looks}; whether they are what the register needs only a sheet can say"
            ),
            "told": _levels(""),
        },
    ),
    (
        "levels.moves",
        "changes",
        {
            "still": "{line} stood {level} all through: nothing was seen on it; is it "
            "connected, and is this the right channel?",
            "fail": "{line} {stood}, so nothing can be read from it; is it driven and connected "
            "well, and are the thresholds right?",
        },
    ),
    (
        "capture.channels",
        "",
        {
            "exchanged": "{what} are exchanged, {how}: as named {named} of {latches} reads are "
            "whole, so {measured} of {reads}",
            "latch": "{measured} of {clocks} clocks come while the latch is high: as if the latch "
            "were recorded upside down (give --invert latch), or the channels were exchanged",
            "data": "more is pressed in {measured} of {reads} reads than a hand can, opposite "
            "directions among it: data is held low, or was recorded "
            "upside down (give --invert data)",
            "clock": "the clock is low where {measured} of {reads} reads begin: as if it were "
            "recorded upside down; then give --invert clock. The bytes are the same, its low and "
            "high parts are not",
        },
    ),
    (
        "capture.times",
        "rows",
        {
            "fail": "{measured:row has|rows have} the time of the row before: the times are "
            "rounded, so what lies between them is lost; give --rate, or write the times with more "
            "digits",
            "not-judged": "{measured:row has|rows have} the time of the row before; their order is "
            "taken as it stands",
        },
    ),
    (
        "capture.left-out",
        "lines",
        {"not-judged": "{measured:line of text was|lines of text were} left out, first {first}"},
    ),
    (
        "capture.sampling",
        "s",
        {
            "not-judged": "samples are {measured:s} apart and the usual {what} is {width:s}: "
            "shorter pulses may be missing; sample at least {times} times as fast",
            "fail": "samples are {measured:s} apart and the usual {what} is {width:s}: pulses are "
            "missing, so nothing is said of {hidden}; sample at least {times} times as fast",
            "unseen": "samples are {measured:s} apart and there is no clock: a console's may be "
            "low for {width:s} only and fall between them, so nothing is said of {hidden}; sample "
            "at least {times} times as fast, and look whether the clock is connected",
        },
    ),
    (
        "timing.both-ends",
        "edges",
        {
            "pass": "{line} has the same {measured:edge|edges} at both ends of the cable",
            "fail": "{line} has {sent} edges at the {sender} end of the cable and {got} at the "
            "{other} end, where it {stood}: each must come through",
            "early": "{line} comes to the {other} end of the cable {way:s} before it is sent: the "
            "two ends are exchanged, or this is another line",
            "not-judged": "{line} moves at neither end of the cable",
        },
    ),
    (
        "reads.inputs",
        "reads",
        {
            "pass": "every read has what stood at the recorded inputs ({names}) when its load "
            "ended",
            "fail": "{measured:read differs|reads differ} from the recorded inputs as they were "
            "when the load ended, the first read {read} at {at:moment}: of {names} the inputs had "
            "{contacts:buttons}, and {byte:buttons} was read",
            "not-judged": "at no load did the recorded inputs ({names}) stand still",
        },
    ),
    (
        "levels.supply",
        "V",
        {
            "pass": "the supply stays between {least:V} and {most:V}, within {low:V} and "
            "{high:V} of the sheet",
            "fail": "the supply goes to {measured}; by the sheet it stays at {limit} or more",
            "over": "the supply goes to {measured}; by the sheet it stays at {limit} or less",
            "dip": "the supply goes from {most:V} to {measured}, more than a tenth below the usual "
            "{usual:V}",
            "not-judged": "the supply is between {least:V} and {most:V}; only a sheet says what it "
            "should be",
            "none": "{channel} begins near {usual:V} as a supply does, but goes to {least:V}: it "
            "was not taken for one; if it is, give --supply",
        },
    ),
    (
        "capture.reads",
        "reads",
        {"fail": "no latch was seen; is this the right channel, and are the thresholds right?"},
    ),
    (
        "reads.extra-clock",
        "clocks",
        {
            "pass": "every whole read has {measured}",
            "fail": _extra_clock,
            "more": "{more} more reads were stopped, {stopped} in all",
        },
    ),
    (
        "reads.clocks",
        "clocks",
        {
            "fail": _no_whole_read,
            "not-judged": _other_clocks,
            "uneven": _other_clocks,
            "pairs": "{measured:read has|reads have} {first} clocks in close pairs, the first read "
            "{read} at {at:moment}, where {wanted} are wanted: each clock comes twice, so every "
            "other button is lost (noise or a slow edge on the clock, or a program that does so); "
            "if the pad has more bits, give --clocks {first}",
            "latch": "in {measured:read|reads} clocks come while the latch is high and fewer than "
            "{wanted} behind it, the first read {read} at {at:moment}: the clock is offset against "
            "the latch, or the latch is too long; such a clock shifts nothing, so buttons are read "
            "in the place of others",
        },
    ),
    (
        "reads.decided",
        "reads",
        {
            "pass": "every bit that was sampled stood at a level",
            "fail": "{measured:read has|reads have} bits that may fall either way, the first read "
            "{read} at {at:moment}: {names}",
        },
    ),
    _CUT_SHORT,
    _incomplete("capture.ends-in-read", "not finished when the capture ends"),
    _incomplete("capture.gap", "partly in a stretch that was not recorded"),
    (
        "levels.runts",
        "",
        {
            "pass": "{line} never left a level and came back without reaching the other",
            "fail": "{line} went between the thresholds and back {measured:time|times}, first at "
            "{at:moment}: the register may or may not take that for an edge",
            "ringing": "beside its edges {line} went between the thresholds and back "
            "{measured:time|times}, first at {at:moment}: noise or ringing, which a register "
            "without a Schmitt trigger may take for an edge",
        },
    ),
    (
        "levels.glitches",
        "",
        {
            "pass": "no pulse of the clock is far shorter than the others",
            "fail": "{measured:pulse|pulses} of the clock less than half as long as the others, "
            "the first at {at:moment}: the register may or may not count them",
            "latch": "{measured:pulse|pulses} of the latch less than half as long as the others, "
            "the first at {at:moment}, in the midst of a read: the register may or may not load, "
            "and the read is torn in two",
        },
    ),
    (
        "reads.passes-agree",
        "polls",
        {
            "pass": "the {passes} passes of every poll agree",
            "not-judged": "in {differ} of {polls} polls the {passes} passes disagree, the "
            "first with {bytes}: such a poll should not be acted on",
        },
    ),
    (
        "reads.opposite-directions",
        "reads",
        {
            "pass": "opposite directions never came together",
            "not-judged": _OPPOSITE
            + "a rocker cannot press them together, a pad that passes both on can",
            "fail": _OPPOSITE + "under the policy {policy} they should not come through",
        },
    ),
    (
        "buttons.bounce",
        "",
        {
            "not-judged": "{measured:change|changes} came again within {soon:s}, the first of "
            "{button} at {at:moment}: bounce"
        },
    ),
    (
        "buttons.always",
        "reads",
        {
            "not-judged": "{names} {are} held in all {reads} whole reads: stuck, or held all the "
            "time"
        },
    ),
    (
        "reads.late-data",
        "s",
        {
            "fail": "data usually changes {measured:s} after the clock rises, and no pad takes "
            "more than {limit:s}: what is read may be another bit",
            "fall": "data changes {measured:s} after the clock falls and never sooner after it "
            "rises, and a 4021 shifts as the clock rises: the clock is upside down on its way to "
            "the register, or in the recording (then give --invert clock), or the register is "
            "another",
        },
    ),
    (
        "reads.no-latch",
        "times",
        {
            "fail": "{measured:time|times} the clocks of a read came without a latch before them, "
            "the first at {at:moment}: a latch was lost on the way, or not recorded, or the clock "
            "is offset against the latch"
        },
    ),
    ("reads.in-frame", "", {"not-judged": _frame}),
    (
        "capture.cut-short",
        "",
        {"not-judged": "the file breaks off ({place}); what stood before it is judged"},
    ),
    (
        "capture.gaps",
        "",
        {
            "not-judged": "{measured:stretch was|stretches were} not recorded, the first from "
            "{start:moment} to {end:moment}",
            "anew": "{measured:stretch was|stretches were} not recorded, the first from "
            "{start:moment} to {end:moment}; {anew:time|times} the time begins anew, and how long "
            "after what stands before it nobody knows",
        },
    ),
)
RULES: Mapping[str, Rule] = {id_: Rule(id_, unit, texts) for id_, unit, texts in _ROWS}
"""Every rule of a stream of reads by its id; no value of a sheet bears on what a capture shows."""


def findings_of(
    seen: Inspection,
    *,
    wanted: int = 8,
    policy: str = "both",
    told: bool = False,
    unit_known: bool = True,
) -> tuple[Finding, ...]:
    """All findings of a capture, those of the wires first.

    ``policy`` is the pad's for opposite directions; under any but "both" none may come through.
    ``told``: somebody says what was held, so that anything may have been. ``unit_known``: somebody
    says the unit of the times.
    """
    ends = {finding.id: finding for finding in _ends(seen)}
    found = [
        *(finding for finding in seen.timing if finding.id not in ends),
        *ends.values(),
        *_reached(seen),
        *_channels(seen, told=told),
        *_extra_clocks(seen, wanted),
        *_clocks(seen, wanted),
        *_undecided(seen),
        *_cut_reads(seen),
        *_noise(seen),
        *_passes(seen),
        *_opposites(seen, policy),
        *_bounce(seen),
        *_always(seen, told=told),
        *_late_data(seen),
        *_no_latch(seen),
        *_in_frame(seen),
        *_inputs(seen),
        *_whole(seen),
    ]
    if any(one.id == "capture.channels" and one.verdict == "fail" for one in found):
        # What is said of the wires is said of others than their names.
        _unblame(found, {one.id for one in found if not one.id.startswith("capture.")})
        found = [one for one in found if one.id != "buttons.always"]
        unit_known = True
    if len(_torn(seen)):  # all of it follows from the latch
        _unblame(found, ("timing.clocks", "reads.clocks", "reads.cut-short", "reads.decided"))
    scale = [*_time_scale(seen, unit_known=unit_known)]
    recording = [*_recording(seen, found)]
    if any((one.id, one.verdict) == ("levels.moves", "fail") for one in found):
        _unblame(found, ("timing.clocks", "reads.clocks"))
    if scale or any((one.id, one.verdict) == ("capture.times", "fail") for one in recording):
        found = [_untimed(finding) for finding in found]
    if any((one.id, one.case) == ("capture.channels", "clock") for one in found):
        found = [_untimed(one) if one.id in _BY_EDGES else one for one in found]
    return (*recording, *scale, *found)


_BY_EDGES = (
    *("timing.clock-low", "timing.clock-high", "timing.removal"),
    *("timing.first-bit", "timing.later-bits", "timing.sample-point", "timing.data-delay"),
    "reads.late-data",
)
"""What is another time by the other edge of the clock."""


def _untimed(one: Finding) -> Finding:
    """Nothing is said of times where these may be far off."""
    judged = one.verdict == "pass" or one.unit == "s"
    if (
        not (one.id.startswith(("timing.", "reads.late-data")) and judged)
        or one.verdict == "not-judged"
    ):
        return one
    return replace(one, verdict="not-judged", case=one.case or one.verdict)


def _unblame(found: list[Finding], ids: Collection[str]) -> set[str]:
    """Take the blame off the hardware; gives the ids of what would have failed."""
    blamed = {one.id for one in found if one.id in ids and one.verdict == "fail"}
    for place, one in enumerate(found):
        if one.id in blamed and one.verdict == "fail":
            found[place] = replace(one, verdict="not-judged", case=one.case or "fail")
    return blamed


_BY_SAMPLES = (
    *("reads.clocks", "reads.extra-clock", "timing.clocks", "levels.glitches", "levels.runts"),
    *("reads.cut-short", "timing.clock-width", "timing.load-width", "reads.no-latch"),
    "reads.late-data",
)
"""What pulses that fell between two samples would look like."""
_CLOCK_LOW_PS = 280_000
"""The low part of a console's clock is half a cycle of its CPU (from memory)."""
_FEW = 3
"""So many samples in a pulse at least, else the next may have none (assumed)."""


def _recording(seen: Inspection, found: list[Finding]) -> Iterator[Finding]:
    """What the recording itself can show; takes the blame off the hardware where it is to blame."""
    same, rows = seen.same_time
    if same:
        verdict: Verdict = "fail" if same > _FEW_ROWS * rows else "not-judged"
        yield _finding("capture.times", verdict, float(same))
        if verdict == "fail":
            _unblame(found, _BY_SAMPLES)
    if seen.left_out[0]:
        count, first = seen.left_out
        yield _finding("capture.left-out", "not-judged", float(count), None, first=first)
    widths = [
        (widths.median, name)
        for name in ("clock low", "clock high", "latch width")
        if (widths := seen.measures.get(name)) is not None
    ]
    unseen = "clock" in seen.still and seen.apart_ps >= _CLOCK_LOW_PS and len(seen.rows) > 0
    if unseen:
        widths = [(_CLOCK_LOW_PS, "clock")]
    if not widths or min(widths)[0] >= _FEW * seen.apart_ps:
        return
    width, what = min(widths)
    hidden = _unblame(found, _BY_SAMPLES)
    if hidden & {"levels.glitches", "levels.runts"}:
        hidden |= _unblame(found, ("reads.decided",))  # after either no bit is sure
    if _clock_lost(seen).any():  # many are what a program may mean to do, but not here
        hidden.add("reads.cut-short")
    yield _finding(
        "capture.sampling",
        "fail" if hidden else "not-judged",
        seen.apart_ps * 1e-12,
        None,
        case="unseen" if unseen and hidden else "",
        what=what,
        width=width * 1e-12,
        hidden=" and ".join(sorted(hidden)),
        times=10,
    )


def judge_supply(
    volts: tuple[float, float], by_sheet: tuple[float, float] | None, usual: float | None
) -> Finding:
    """The recorded supply (V) against what a sheet's pad may have; None without a sheet.

    ``usual`` is the voltage that it usually has, None where nobody knows: without a sheet a dip
    by more than a tenth of it fails, and nothing else is judged.
    """
    least, most = volts
    if by_sheet is None and (usual is None or least >= (1 - STEADY) * usual):
        return _finding("levels.supply", "not-judged", least=least, most=most)
    low, high = by_sheet or ((1 - STEADY) * (usual or 0.0), most)
    over = most > high and least >= low
    measured, limit = (most, high) if over else (least, low)
    margin = high - most if over else least - low
    return Finding(
        RULES["levels.supply"],
        "fail" if margin < 0 else "pass",
        measured,
        limit,
        margin,
        sources=_PRACTICE if by_sheet is None else _BY_SHEET,
        case="dip" if by_sheet is None else "over" if over else "",
        facts={"least": least, "most": most, "usual": usual, "low": low, "high": high},
    )


def no_supply(channel: str, least: float, usual: float | None) -> Finding:
    """Of a column that began as a supply does and is none."""
    facts: dict[str, Fact] = {"channel": channel, "least": least, "usual": usual}
    return Finding(RULES["levels.supply"], "not-judged", case="none", facts=facts)


def _finding(
    id_: str,
    verdict: Verdict,
    measured: float | None = None,
    limit: float | None = 0.0,
    met: Met = _ANYWHERE,
    sources: tuple[Source, ...] = _PRACTICE,
    case: str = "",
    **facts: Fact,
) -> Finding:
    """One of these rules; ``limit`` is the most there may be, None where nothing is judged."""
    limit = None if measured is None else limit
    margin = None if measured is None or limit is None else limit - measured
    facts |= {"read": met.read, "at": met.at_ps}
    return Finding(RULES[id_], verdict, measured, limit, margin, met, sources, case, facts)


def _time_scale(seen: Inspection, *, unit_known: bool) -> Iterator[Finding]:
    """Medians, since a console may hold its latch while it is switched on."""
    for name, most in (("latch width", _LONGEST_LATCH_PS), ("read length", _LONGEST_READ_PS)):
        widths = seen.measures.get(name)
        if widths is not None and widths.median > most:
            took, limit, met = widths.median * 1e-12, most * 1e-12, Met(other=name)
            id_ = "capture.time-scale"
            verdict: Verdict = "not-judged" if unit_known else "fail"
            usual = (unit for unit in ("ms", "us", "ns") if took * SECONDS[unit] < limit * _USUAL)
            unit = next(usual, "ns")
            yield _finding(id_, verdict, took, limit, met, _MEMORY, what=name, unit=unit)
            return
    parts = [seen.measures[n].median for n in ("clock low", "clock high") if n in seen.measures]
    if len(parts) == 2 and sum(parts) < _SHORTEST_CLOCK_PS:
        took, limit = sum(parts) * 1e-12, _SHORTEST_CLOCK_PS * 1e-12
        rule, margin = RULES["capture.time-scale"], took - limit
        yield Finding(rule, "fail", took, limit, margin, Met(), _PRACTICE, "fast")


def _reached(seen: Inspection) -> Iterator[Finding]:
    for line in seen.unreached:
        met, facts = Met(other=line), {"line": line}
        yield Finding(RULES["levels.reached"], "fail", 0.0, 1.0, -1.0, met, _LEVELS, "", facts)


_LOOKS = (
    (3.3, ": as 3.3 V logic has"),
    (0.5, ": as 5 V through a probe that divides by ten; if so, give --scale 10"),
    (0.33, ": as 3.3 V through a probe that divides by ten; if so, give --scale 10"),
)
_NO_VOLTS = ": no pad has so much; if these are no volts, give --scale, the volts of one"
_MOST_VOLTS = 7.5
"""One and a half times the usual supply (assumed)."""


def judge_levels(
    seen: Inspection, parted: Thresholds | None, needs: Needs | None, *, used: bool
) -> Iterator[Finding]:
    """What the levels (V) of the lines are, whatever they were read by.

    ``parted`` are thresholds that part the clock's where the usual ones do not, ``used`` whether
    it was read by them. Without ``needs`` nothing is judged: then the clock speaks for all.
    """
    for line in ("clock",) if needs is None else LINES:
        end = f"far-{line}" if line != "data" and f"far-{line}" in seen.edges else line
        levels = seen.edges[end].levels if end in seen.edges else None
        if levels is None and needs is not None and seen.still.get(line) == HIGH:
            levels = (seen.spans[end][1],) * 2 if end in seen.spans else None
        by = parted if end == "clock" else None
        if levels is None or (needs is None and by is None):
            continue
        low, high = levels
        verdict: Verdict = "not-judged"
        case, measured, limit, looks = "", high, None, ""
        if needs is not None:
            most, (low_at, limit) = needs.supply[1], needs.lines[line]
            if high > _OVER * most or high < limit:
                tenth = high < limit <= 10 * high <= _OVER * most
                verdict, case = "fail", "tenth" if tenth else "" if high < limit else "over"
            elif low > low_at and low < high:
                verdict, case, measured, limit = "fail", "low", low, low_at
            else:
                verdict = "pass"
        else:
            near = (says for volts, says in _LOOKS if abs(high - volts) < STEADY * volts)
            looks = next(near, _NO_VOLTS if high > _MOST_VOLTS else "")
        yield Finding(
            RULES["levels.thresholds"],
            verdict,
            measured,
            limit,
            None if limit is None else (limit - low if case == "low" else high - limit),
            Met(other=line),
            _PRACTICE if needs is None else _BY_SHEET,
            case if used or by is None or case else "told",
            {
                "line": f"the {line}" + (" at the pad's end" if end != line else ""),
                **{"low": low, "high": high, "looks": looks},
                "receiver": "the console" if line == "data" else "the sheet's register",
                "below": None if by is None else by.low,
                "above": None if by is None else by.high,
            },
        )


def _ends(seen: Inspection) -> Iterator[Finding]:
    """Lines recorded at both ends, under the ids of what a simulation says of its own."""
    for line, ends in seen.ends.items():
        sent, got = ends.counts
        names = (f"far-{line}", line) if line == "data" else (line, f"far-{line}")
        sender, other = ("pad's", "console's") if line == "data" else ("console's", "pad's")
        weak = min((1, 0), key=lambda end: len(ends.levels[end]))
        if weak == 0:
            sent, got, sender, other = got, sent, other, sender
        way = ends.way / max(1, ends.pairs)
        lost = ends.lost(seen.end_ps)
        early = not lost and way < 0
        yield Finding(
            RULES["timing.both-ends"],
            "fail" if lost or early else "pass" if sent else "not-judged",
            float(got),
            float(sent),
            -float(abs(sent - got)) if lost else 0.0,
            Met(other=line),
            _PRACTICE,
            "early" if early else "",
            {
                **{"line": line, "sent": sent, "got": got, "sender": sender, "other": other},
                **{"way": -way * 1e-12, "stood": _stood(seen, names[weak], ends.levels[weak])},
            },
            f"timing.{line}-arrives",
        )


def _stood(seen: Inspection, name: str, levels: Collection[int]) -> str:
    """What a line did, in words."""
    never = " nor ".join(("low", "high")[level] for level in {LOW, HIGH} - {*levels})
    words = f" and is never {never}" if never else ""
    if name not in seen.spans and not never:
        return "does not always follow"
    if name not in seen.spans:
        return f"stands still{words}" if levels else "is never at a level"
    least, most = (show(volts, "V", 3) for volts in seen.spans[name])
    return f"goes from {least} to {most}{words}"


_FINGERS = 4
"""More buttons at once than this, opposite directions among them, are no player's (assumed)."""


def _channels(seen: Inspection, *, told: bool) -> Iterator[Finding]:
    """What no console and no pad does, but a recording with the wrong names or the wrong way up."""
    latches, clocks, high, low = seen.pulses
    swings = {line: most - least for line, (least, most) in seen.spans.items()}
    widest = max(swings.values(), default=0.0)
    for line, stood in seen.still.items():
        level = "high" if stood == HIGH else "low"
        swung = swings.get(line, 0) > _MOVES * widest
        # Data may well stand still; without a latch or a clock there is nothing to judge.
        verdict: Verdict = "fail" if swung or line != "data" else "not-judged"
        what, met, case = _stood(seen, line, {stood}), Met(other=line), "" if swung else "still"
        yield _finding(
            "levels.moves", verdict, met=met, case=case, line=line, level=level, stood=what
        )
    id_ = "capture.channels"
    named, reads = seen.whole.get(("latch", "clock"), (0, 0))
    pair, (whole, others) = max(seen.whole.items(), key=itemgetter(1), default=(("", ""), (0, 0)))
    exchanged = 2 * named <= reads and whole > max(1, named) and whole >= _WHOLE * others
    if exchanged:
        is_now = dict(zip(LINES, (*pair, *({*LINES} - {*pair})), strict=True))
        moved = [line for line in LINES if is_now[line] != line]
        names = f"{', '.join(moved[:-1])} and {moved[-1]}"
        turned = " and ".join(f"what is named {is_now[line]} is the {line}" for line in moved)
        yield _finding(
            *(id_, "fail", float(whole), None),
            case="exchanged",
            what=names,
            named=named,
            latches=reads,
            reads=others,
            how=turned,
        )
    elif high > 1 and high > clocks * _MOSTLY:
        yield _finding(id_, "fail", float(high), case="latch", clocks=clocks, sources=_MEMORY)
    elif low > latches * _MOSTLY and clocks:
        yield _finding(id_, "not-judged", float(low), None, case="clock", reads=latches)
    held = seen.rows["held"]
    opposite = (held & 0x0C == 0x0C) | (held & 0x03 == 0x03)
    directions = np.count_nonzero(
        (held & 0x0F == 0x0F) | (opposite & (np.bitwise_count(held) > _FINGERS))
    )
    if not (told or exchanged or seen.unlatched[0]) and 2 * directions > len(seen.rows):
        count = float(directions)
        yield _finding(id_, "fail", count, case="data", reads=len(seen.rows), sources=_MEMORY)


def _extra_clocks(seen: Inspection, wanted: int) -> Iterator[Finding]:
    id_ = "reads.extra-clock"
    if not len(seen.rows):
        yield Finding(RULES["capture.reads"], "fail", 0.0, 1.0, -1.0, sources=_PRACTICE)
        return
    stopped = np.flatnonzero(seen.rows["extra"])
    for place in stopped[:_MOST].tolist():
        read = seen.read(place)
        yield _finding(
            id_,
            "fail",
            float(read.clocks),
            float(wanted),
            seen.met(read.start_ps),
            _STOPPED,
            wanted=wanted,
            extra=read.extra,
            byte=read.byte,
            held=read.held,
            undecided=read.undecided,
        )
    if len(stopped) > _MOST:
        count = len(stopped)
        yield _finding(
            id_, "fail", sources=_STOPPED, case="more", more=count - _MOST, stopped=count
        )


def _clocks(seen: Inspection, wanted: int) -> Iterator[Finding]:
    """What the reads without an extra clock have."""
    rows, id_ = seen.rows, "reads.clocks"
    if not len(rows):
        return
    wrong = False
    for flag, case in ((PAIRED, "pairs"), (IN_LATCH, "latch")):
        if (some := rows["flags"] & flag != 0).any():
            wrong, count, read = True, float(some.sum()), seen.read(int(np.argmax(some)))
            met = seen.met(read.start_ps)
            yield _finding(id_, "fail", count, met=met, case=case, wanted=wanted, first=read.clocks)
    if wrong:
        return
    incomplete = rows["flags"] & INCOMPLETE != 0
    if incomplete.all() and ((rows["flags"] & CUT_SHORT).any() or "clock" in seen.unreached):
        clocks, reads = np.unique(rows["clocks"], return_counts=True)
        yield _finding(
            id_, "fail", wanted=wanted, clocks=(*clocks.tolist(),), reads=(*reads.tolist(),)
        )
        return
    stopped = rows["extra"] != 0
    whole = ~stopped & ~incomplete & (rows["flags"] & IN_GAP == 0)
    clocks, reads = np.unique(rows["clocks"][whole], return_counts=True)
    uneven = np.flatnonzero(whole & (rows["flags"] & UNEVEN != 0))
    if (clocks == wanted).all() and not len(uneven):
        if len(clocks) and not stopped.any():
            count = float(wanted)
            yield _finding("reads.extra-clock", "pass", count, count, sources=_STOPPED)
        return
    first = seen.read(int(uneven[0])) if len(uneven) else None
    # More clocks than wanted, and not as far apart as a program's: buttons are lost.
    more = (rows["clocks"][uneven] > wanted).any()
    yield _finding(
        id_,
        "fail" if more else "not-judged",
        case="uneven" if more else "",
        met=Met() if first is None else seen.met(first.start_ps),
        wanted=wanted,
        clocks=(*clocks.tolist(),),
        reads=(*reads.tolist(),),
        uneven=len(uneven),
        first=None if first is None else first.clocks,
    )


def _undecided(seen: Inspection) -> Iterator[Finding]:
    if not len(seen.rows):
        return
    wrong, id_ = np.flatnonzero(seen.rows["undecided"]), "reads.decided"
    if not len(wrong):
        yield _finding(id_, "pass", 0.0, sources=_LEVELS)
        return
    read = seen.read(int(wrong[0]))
    names = " and ".join(pressed_in(read.undecided))
    met = seen.met(read.start_ps)
    yield _finding(id_, "fail", float(len(wrong)), met=met, sources=_LEVELS, names=names)


_SLOW_PS = 3 * 10**6
"""No pad takes so long to answer on any cable (assumed)."""
_CHANGES = 8
"""So many that are all late are no chance (assumed)."""
_ALWAYS = 3
"""Fewer reads say nothing of a button that is held in all (assumed)."""
_RARE = 0.1
"""Of the reads; what more of them do the program means to do (assumed)."""


def _clock_lost(seen: Inspection) -> NDArray[np.bool_]:
    """Reads with too few clocks among others, though no latch followed within the length of a read:
    nobody gave them up.
    """
    rows = seen.rows
    cut, in_gap = (np.asarray(rows["flags"] & flag, bool) for flag in (CUT_SHORT, IN_GAP))
    if not cut.any() or cut.all():
        return np.zeros(len(rows), bool)
    length = int(np.median((rows["end"] - rows["start"])[~cut]))
    waits = np.diff(rows["start"], append=rows["start"][-1])
    lost: NDArray[np.bool_] = cut & (waits > 2 * length) & ~in_gap
    return lost


def _cut_reads(seen: Inspection) -> Iterator[Finding]:
    rows = seen.rows
    flags = (CUT_SHORT, OPEN_ENDED, IN_GAP)
    cut, open_ended, in_gap = (np.asarray(rows["flags"] & flag, bool) for flag in flags)
    lost = _clock_lost(seen)
    if 0 < lost.sum() <= max(1, _RARE * len(rows)):
        yield _cut_read(seen, lost, "reads.cut-short", "fail")
        cut &= ~lost
    for some, id_ in (
        (cut, "reads.cut-short"),
        (open_ended, "capture.ends-in-read"),
        (in_gap, "capture.gap"),
    ):
        if some.any():
            yield _cut_read(seen, some, id_, "not-judged")


def _cut_read(seen: Inspection, some: NDArray[np.bool_], id_: str, verdict: Verdict) -> Finding:
    read = seen.read(int(np.argmax(some)))
    met, count = seen.met(read.start_ps), float(some.sum())
    limit = 0.0 if verdict == "fail" else None
    return _finding(id_, verdict, count, limit, met, clocks=read.clocks)


def _torn(seen: Inspection) -> NDArray[np.intp]:
    """The reads that begin with a spike on the latch in the midst of another read."""
    short, spiked = (seen.rows["flags"] & flag != 0 for flag in (CUT_SHORT | OPEN_ENDED, SPIKED))
    before = np.concatenate([[False], short[:-1]]) if len(short) else short
    return np.flatnonzero(spiked & (short | before))


def _noise(seen: Inspection) -> Iterator[Finding]:
    kinds = [("levels.runts", line, *runts) for line, runts in seen.runts.items()]
    torn = seen.rows["start"][_torn(seen)]
    weak = any((one.id, one.verdict) == ("timing.latch-width", "fail") for one in seen.timing)
    if len(torn) and not weak:
        met = seen.met(int(torn[0]))
        yield _finding(
            "levels.glitches", "fail", float(len(torn)), met=met, case="latch", line="latch"
        )
    for id_, line, count, first in (*kinds, ("levels.glitches", "", *seen.glitches)):
        # A line without levels, or a clock without pulses, was not looked at.
        unseen = line in seen.unreached if line else "clock low" not in seen.measures
        if unseen and not count:
            continue
        ringing, at = (0, ()) if count else seen.ringing.get(line, (0, ()))
        if ringing:
            met, case = seen.met(at[0], line), "ringing"
            yield _finding(id_, "not-judged", float(ringing), None, met, case=case, line=line)
            continue
        met = seen.met(first[0], line) if count else Met(other=line)
        yield _finding(id_, "fail" if count else "pass", float(count), met=met, line=line)


def _passes(seen: Inspection) -> Iterator[Finding]:
    rows, passes = seen.rows, seen.passes
    if not 2 <= passes <= len(rows):
        return
    whole = len(rows) // passes * passes
    groups = rows["byte"][:whole].reshape(-1, passes)
    differ = np.flatnonzero((groups != groups[:, :1]).any(axis=1))
    id_ = "reads.passes-agree"
    if not len(differ):
        yield _finding(id_, "pass", 0.0, passes=passes)
        return
    first = int(differ[0])
    yield _finding(
        id_,
        "not-judged",
        float(len(differ)),
        met=seen.met(int(rows["start"][first * passes])),
        passes=passes,
        differ=len(differ),
        polls=len(groups),
        bytes=" and ".join(map(spelled, groups[first].tolist())),
    )


def _opposites(seen: Inspection, policy: str) -> Iterator[Finding]:
    some = [n for n in np.unique(seen.rows["held"]).tolist() if opposites(n)]
    id_ = "reads.opposite-directions"
    sure = (seen.rows["undecided"] == 0) & (seen.rows["missing"] == 0)
    together = np.flatnonzero(np.isin(seen.rows["held"], some) & sure)
    if not len(together):
        if sure.any():
            yield _finding(id_, "pass", 0.0)
        return
    read = seen.read(int(together[0]))
    verdict: Verdict = "not-judged" if policy == "both" else "fail"
    met, count = seen.met(read.start_ps), float(len(together))
    yield _finding(id_, verdict, count, met=met, held=read.held, policy=policy)


def _bounce(seen: Inspection) -> Iterator[Finding]:
    bounced = {name: bounces_of(*times)[0] for name, times in seen.press_times.items()}
    if count := float(sum(map(len, bounced.values()))):
        at, button = min((int(some[0]), button) for button, some in bounced.items() if len(some))
        soon = BOUNCE_PS * 1e-12
        rule, met = "buttons.bounce", seen.met(at)
        yield _finding(rule, "not-judged", count, None, met, _MEMORY, soon=soon, button=button)


def _always(seen: Inspection, *, told: bool) -> Iterator[Finding]:
    rows = seen.rows[(seen.rows["missing"] == 0) & (seen.rows["flags"] & IN_GAP == 0)]
    whole = rows["byte"] & rows["held"]  # not by a clock too many
    held = pressed_in(int(np.bitwise_and.reduce(whole))) if len(whole) >= _ALWAYS else ()
    if held and not told:
        names, are, reads = " and ".join(held), "are" if held[1:] else "is", len(whole)
        yield _finding("buttons.always", "not-judged", None, names=names, are=are, reads=reads)


def _late_data(seen: Inspection) -> Iterator[Finding]:
    """What changes so late after the clock was not sent by its rise, or by no pad."""
    delay, high = (seen.measures.get(n) for n in ("data delay after the clock", "clock high"))
    if delay is None or high is None or delay.count < _CHANGES:
        return
    if delay.median > _SLOW_PS + seen.apart_ps:
        by_fall = delay.least > high.most
        late = delay.median - (high.median if by_fall else 0)
        case, limit = "fall" if by_fall else "", None if by_fall else _SLOW_PS * 1e-12
        yield _finding("reads.late-data", "fail", late * 1e-12, limit, case=case)


def _no_latch(seen: Inspection) -> Iterator[Finding]:
    count, first = seen.unlatched
    if count:
        yield _finding("reads.no-latch", "fail", float(count), met=seen.met(first[0]))


def _inputs(seen: Inspection) -> Iterator[Finding]:
    """What was read beside what the contacts did, where they were recorded."""
    names = seen.inputs
    if not names or not len(seen.rows):
        return
    rows, mask = seen.rows, byte_of(names)
    judged = rows["settled"] & mask & ~rows["missing"]
    judged[rows["flags"] & IN_GAP != 0] = 0
    wrong = np.flatnonzero((rows["byte"] ^ rows["contacts"] | rows["undecided"]) & judged)
    verdict: Verdict = "fail" if len(wrong) else "pass" if judged.any() else "not-judged"
    read = seen.read(int(wrong[0])) if len(wrong) else None
    yield _finding(
        "reads.inputs",
        verdict,
        float(len(wrong)) if judged.any() else None,
        met=Met() if read is None else seen.met(read.start_ps),
        sources=_LOAD,
        names=" and ".join(names),
        contacts=None if read is None else read.contacts & mask,
        byte=None if read is None else read.byte & mask,
    )


def _in_frame(seen: Inspection) -> Iterator[Finding]:
    frame = seen.frame
    if frame is None or not len(seen.rows):
        return
    places = [seen.place(read) for read in seen.reads()]
    parts = Counter("no sync near" if place is None else place.part for place in places)
    names, counts = zip(*parts.most_common(), strict=True)
    lines = [place.after_sync for place in places if place is not None]
    timing = frame.timing
    yield _finding(
        "reads.in-frame",
        "not-judged",
        sources=_MEMORY if timing is None else (timing.cited,),
        reads=len(places),
        parts=names,
        counts=counts,
        earliest=min(lines, default=None),
        latest=max(lines, default=None),
        lines=None if timing is None else timing.lines,
        line=frame.sync_from,
    )


def _whole(seen: Inspection) -> Iterator[Finding]:
    if seen.broken_off is not None:
        place = seen.broken_off
        yield _finding("capture.cut-short", "not-judged", met=Met(other=place), place=place)
    if seen.gaps:
        start, end = seen.gaps[0]
        count, met = float(len(seen.gaps)), seen.met(start)
        case, anew = "anew" if seen.anew else "", len(seen.anew)
        yield _finding(
            "capture.gaps",
            "not-judged",
            count,
            None,
            met,
            case=case,
            start=start,
            end=end,
            anew=anew,
        )
