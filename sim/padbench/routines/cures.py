"""Cures of a read routine as patches of its source, each swept before it is offered.

    for cure in cures(routine, console, load): cure.name, cure.cycles, cure.patch

``load`` makes a routine of a changed source. A cure that is offered hands on every held state
undisturbed, and no wrong byte in any phase at any rate of the console; it always comes back.
"""

import difflib
import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice, pairwise
from pathlib import Path

from padbench.routines.bus import BusCycle
from padbench.routines.console import SPRITE_COPY, Console
from padbench.routines.fast import Part, baseline_of_survey, count, survey
from padbench.routines.judge import Verdict, judge_routine
from padbench.routines.lengths import layout_of
from padbench.routines.routine import DEFAULT_LIMIT, Routine, RoutineError
from padbench.routines.run import run_case
from padbench.routines.source import RESULT_NOTE, SHIPPED

_MOST_ADDED = 64
"""CPU cycles between passes or in a loop; our choice."""
_TRIED = 3
"""Lengths of each kind that are swept before that kind is given up."""
_NO_INSTRUCTION = 1
_NO_FEED = "\n\\ No newline at end of file\n"
_LABEL = re.compile(r"\s*@?\w+:")
_INDENT = " " * 8
_PAGE = 2
"""Where most programs keep the sprites that are copied: $0200 (common practice)."""


@dataclass(frozen=True, slots=True)
class Cure:
    """``name`` and what it ``says`` it does; ``cycles`` and ``lines`` more than now."""

    name: str
    says: str
    patch: str
    cycles: int
    lines: int
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class _Change:
    name: str
    says: str
    text: list[str]


def cures(
    routine: Routine,
    console: Console,
    load: Callable[[str], Routine],
    limit: int = DEFAULT_LIMIT,
) -> list[Cure]:
    """The cures of a routine, the quickest first, of each kind one; none without source.

    Raises `RoutineError` for a routine that cannot be run.
    """
    source = routine.sources.get(routine.name)
    if source is None or not routine.lines:
        return []
    before = source.splitlines(keepends=True)
    base = baseline_of_survey(survey(routine, console, limit))
    shipped = ".asm" * (routine.name in SHIPPED)
    name = Path(routine.name).name + shipped  # a path from the root is none that a patch may name
    found: dict[str, Cure] = {}
    for change in _all_changes(routine, console, load, base.fault, limit):
        if change.name in found:
            continue
        proved = _proved("".join(change.text), console, load, limit)
        if proved is not None:
            verdict, cycles = proved
            diff = difflib.unified_diff(before, change.text, name, name)
            patch = "".join(line if line[-1] == "\n" else line + _NO_FEED for line in diff)
            lines = len(change.text) - len(before)
            found[change.name] = Cure(
                change.name, change.says, patch, cycles - base.most, lines, verdict
            )
    return sorted(found.values(), key=lambda cure: (cure.cycles, cure.lines))


def _proved(
    text: str, console: Console, load: Callable[[str], Routine], limit: int
) -> tuple[Verdict, int] | None:
    """Verdict and cycles of a changed source; None if it cannot be run, is wrong or exposed."""
    try:
        routine = load(text)
        known = survey(routine, console, limit)
        base = baseline_of_survey(known)
        sweeps = []
        # The quickest fetch finds most.
        for period in sorted(console.timing.fetch_periods):
            sweeps.append(count(known, Part(period), old=False))
            if base.fault or sweeps[-1].failing:
                return None
        return judge_routine(routine, console, base, sweeps, limit).verdict, base.most
    except RoutineError:
        return None


def _all_changes(
    routine: Routine,
    console: Console,
    load: Callable[[str], Routine],
    fault: str,
    limit: int,
) -> Iterator[_Change]:
    """What may mend it; without an index first, and if that rights a wrong one the rest on top."""
    source = routine.sources[routine.name].splitlines(keepends=True)
    for plain in _without_index(routine, console, source, limit):
        yield plain
        try:
            righted = load("".join(plain.text)) if fault else None
            if righted and not baseline_of_survey(survey(righted, console, limit)).fault:
                for change in _changes(righted, console, plain.text, limit):
                    yield replace(change, says=f"{plain.says}, and {change.says}")
                return
        except RoutineError:
            pass
    yield from _changes(routine, console, source, limit)


def _changes(
    routine: Routine, console: Console, source: Sequence[str], limit: int
) -> Iterator[_Change]:
    """What may mend it, in the order in which it is tried."""
    trace: list[tuple[int, int, tuple[BusCycle, ...]]] = []
    run = run_case(routine, console, 0, limit=limit, trace=trace)
    passes = [one.reads for one in run.passes[0]]
    layout = layout_of(run)
    rates = console.timing.fetch_periods
    loop = _line_of(routine, source, trace, passes[0][0], passes[0][1]) if passes else None
    if layout is not None:
        gaps = (n for n in range(_MOST_ADDED) if not layout.unsafe(0, n, rates))
        spot = _line_of(routine, source, trace, passes[0][-1], passes[1][0])
        for more in islice((n for n in gaps if n > _NO_INSTRUCTION), _TRIED):
            says = f"{more} cycles more between the passes"
            if spot is not None:
                yield _Change("longer-gap", says, _padded(source, spot, more))
        loops = (n for n in range(_MOST_ADDED) if not layout.unsafe(n, 0, rates))
        for more in islice((n for n in loops if n > _NO_INSTRUCTION), _TRIED):
            says = f"{more} cycles more a bit"
            if loop is not None and layout.loop is not None:
                yield _Change("longer-loop", says, _padded(source, loop, more))
    if console.after_copy is not None and passes:
        spot = _line_of(routine, source, trace, -1, passes[0][0])
        if spot is not None:
            says = "3 cycles more before the first read, so in step with the fetch"
            yield _Change("in-step", says, _padded(source, spot, 3))
    for (_, _, cycles), (_, pc, _) in pairwise(trace):
        file, line = routine.lines.get(pc, ("", 0))
        if cycles[-1].write and cycles[-1].address == SPRITE_COPY and file == routine.name:
            says = "3 cycles more behind the sprite copy, so in step with the fetch"
            yield _Change("in-step", says, _padded(source, line, 3))
    yield from _around(routine, source, trace, "")
    for text in (source, _padded(source, loop, 3) if loop is not None else []):
        for jump in (False, True) if text else ():
            yield from _around(routine, text, trace, "jump" if jump else "fall")


def _without_index(
    routine: Routine, console: Console, source: Sequence[str], limit: int
) -> Iterator[_Change]:
    """Stores with an index read the place first; at a port that clocks the pad."""
    trace: list[tuple[int, int, tuple[BusCycle, ...]]] = []
    run_case(routine, console, 0, limit=limit, trace=trace)
    spots = {
        routine.lines.get(pc)
        for _, pc, cycles in trace
        if any(at in routine.ports and not write and not data for write, at, data in cycles)
    }
    text = list(source)
    for file, line in filter(None, spots):
        if file == routine.name:
            text[line - 1] = re.sub(r"\s*,\s*[xXyY]\b", "", text[line - 1], count=1)
    if text != list(source):
        yield _Change("store-without-index", "stores to the port without an index", text)


def _line_of(
    routine: Routine,
    source: Sequence[str],
    trace: Sequence[tuple[int, int, tuple[BusCycle, ...]]],
    first: int,
    last: int,
) -> int | None:
    """The line before which cycles between two reads can be added: the one that is met least."""
    met = Counter(pc for _, pc, _ in trace)
    spots = [
        (met[pc], place, line)
        for place, (at, pc, _) in enumerate(trace)
        if first < at <= last
        for file, line in [routine.lines.get(pc, ("", 0))]
        if file == routine.name and not _LABEL.match(source[line - 1])
    ]
    return min(spots)[2] if spots else None


def _padded(source: Sequence[str], line: int, cycles: int) -> list[str]:
    """The source with so many cycles before a line, by what changes no register and no flag."""
    odd = cycles % 2
    more = [f"{_INDENT}jmp *+3 ; 3 cycles\n"] * odd
    more += [f"{_INDENT}nop ; 2 cycles\n"] * ((cycles - 3 * odd) // 2)
    return [*source[: line - 1], *more, *source[line - 1 :]]


def _around(
    routine: Routine,
    source: Sequence[str],
    trace: Sequence[tuple[int, int, tuple[BusCycle, ...]]],
    copy: str,
) -> Iterator[_Change]:
    """New code under the routine's name that calls it as it is, or makes the sprite copy first."""
    at = _entry_line(routine, source)
    if at is None:
        return
    named = _LABEL.match(source[at])
    name = named[0].strip()[:-1] if named else "read_pad"
    once = name + "_once"
    rest = source[at][named.end() :] if named else source[at]
    old = [f"{once}:{rest}" if named else f"{once}:\n{rest}", *source[at + 1 :]]
    if copy:
        start = f"lda #{_PAGE} ; the page of the sprites"
        body = [start, f"sta ${SPRITE_COPY:04X}", *([f"jmp {once}"] if copy == "jump" else [])]
        says = "makes the sprite copy first, in step with the fetch; take it out elsewhere"
        yield _Change("in-step", says, _with(routine, source, at, name, body, old))
        return
    used = {address for _, _, cycles in trace for _, address, _ in cycles} | {*routine.results}
    free = [f"${at:02X}" for at in range(0xF0, 0, -1) if at not in used]
    call, keep, differ = f"jsr {once}", [], []
    # What stands in A has to be kept before A is used for the other.
    for place, byte in zip(sorted(routine.results, key=lambda one: one != "A"), free, strict=False):
        load = (
            [] if place == "A" else [f"lda ${place:02X}" if place < 0x100 else f"lda ${place:04X}"]
        )
        keep += [*load, f"sta {byte} ; a byte that nothing else uses"]
        differ += [*load, f"cmp {byte}", f"bne {name}_more"]
    back = [f"lda {free[0]}"] if "A" in routine.results and len(routine.results) > 1 else []
    again = [call, f"{name}_more:", *keep, call, *differ, *back, "rts"]
    says = "reads on until two polls in a row agree"
    yield _Change("until-two-agree", says, _with(routine, source, at, name, again, old))
    thrice = [call, *keep, call, *differ, *back, "rts", f"{name}_more:", f"jmp {once}"]
    says = "reads a third time where the first two differ"
    yield _Change("read-three-times", says, _with(routine, source, at, name, thrice, old))


def _with(
    routine: Routine,
    source: Sequence[str],
    at: int,
    name: str,
    body: Sequence[str],
    old: Sequence[str],
) -> list[str]:
    new = [f"{line}\n" if line.endswith(":") else f"{_INDENT}{line}\n" for line in body]
    # The new code leaves the byte in more places; only the old ones are sure.
    places = ",".join("A" if place == "A" else f"${place:02X}" for place in routine.results)
    note = "" if RESULT_NOTE.search("".join(source)) else f" ; padbench: result {places}"
    return [*source[:at], f"{name}:{note}\n", *new, *old]


def _entry_line(routine: Routine, source: Sequence[str]) -> int | None:
    """Where the routine begins in its source, from 0: its label, or its first instruction."""
    for at, line in enumerate(source):
        label = _LABEL.match(line)
        if label and routine.labels.get(label[0].strip()[:-1]) == routine.entry:
            return at
    file, number = routine.lines.get(routine.entry, ("", 0))
    return number - 1 if file == routine.name else None
