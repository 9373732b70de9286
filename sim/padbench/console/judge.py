"""What a routine costs, what the fetch does to it in words, and what would make it safe."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from padbench.console.engine import STATES, SweepCounts
from padbench.console.fetch import Console
from padbench.console.plain import reads_ahead, stops_of, undisturbed
from padbench.console.routine import DEFAULT_LIMIT, Routine, RoutineError
from padbench.console.run import Run, held_by, run_case
from padbench.console.steps import Steps

__all__ = [
    "Measured",
    "SafeLengths",
    "Verdict",
    "first_two_passes",
    "judge",
    "measure",
    "measured_from",
    "measured_of",
    "on_its_port",
    "opposites",
    "ranges",
    "safe_lengths",
    "stretched",
]

Verdict = Literal["immune", "detects", "exposed", "never-settles", "wrong"]

_PORT = 2
_QUICKEST_LOOP = 12
"""CPU cycles a bit: LDA of the port, LSR, ROL in zero page and a taken branch need 14; a loop that
keeps its byte in a register can save the last two."""
_LONGEST_LOOP = 80
_MOST_GAP = 128
_MOST_WRITES = 3
"""Write cycles in a row; BRK has most (MCS6500 Hardware Manual, appendix A)."""


@dataclass(frozen=True)
class Measured:
    """A routine without any fetch, over all held states.

    ``least`` and ``most`` cycles from its first cycle to the last of RTS; ``run`` is the first
    run that takes most; ``wrong`` holds the states for which it hands on something else even so.
    ``hangs`` holds those for which it hands on something else once the opposite has stood in the
    result places: there it hangs on what was left in them. With ``untouched`` it left the opposite
    standing in every state, with ``other_pad`` it hands on the second pad for the first.
    """

    least: int
    most: int
    run: Run
    wrong: tuple[int, ...]
    hangs: tuple[int, ...] = ()
    untouched: bool = False
    other_pad: bool = False

    @property
    def fault(self) -> str | None:
        """What is wrong with it, undisturbed, or with where its result is looked for; else None."""
        if self.untouched:
            return "never writes the place of its result, and hands on what stood there"
        if self.other_pad:
            return "hands on the buttons of the second pad for those of the first"
        if self.wrong:
            return (
                f"hands on a wrong byte in {len(self.wrong)} of {STATES} held states without any "
                "fetch"
            )
        if self.hangs:
            return (
                "hands on what hangs on the byte that stood in the place of its result, in "
                f"{len(self.hangs)} of {STATES} held states without any fetch"
            )
        return None


def measure(routine: Routine, console: Console, limit: int = DEFAULT_LIMIT) -> Measured:
    """Run every held state undisturbed. Raises `RoutineError` if one does not end."""
    steps = Steps(routine)
    runs = [undisturbed(routine, console, held, limit, steps) for held in range(STATES)]
    return measured_of(runs, opposites(routine, console, limit, steps))


Handed = tuple[int, ...] | None
"""What is handed on, port by port; None if the routine has not come back."""


def opposites(
    routine: Routine, console: Console, limit: int = DEFAULT_LIMIT, steps: Steps | None = None
) -> list[Handed]:
    """What each held state, undisturbed, hands on if the opposite stood in the result places."""
    steps = steps or Steps(routine)
    runs = (
        run_case(routine, console, held, limit=limit, preset=0xFF, steps=steps)
        for held in range(STATES)
    )
    return [run.results if run.finished else None for run in runs]


def measured_of(runs: Sequence[Run], others: Sequence[Handed]) -> Measured:
    """As `measure`, from the undisturbed runs of all held states in order, and `opposites`."""
    longest = max(runs, key=lambda run: run.cycles)
    return measured_from(
        min(run.cycles for run in runs), longest, [run.results for run in runs], others
    )


def measured_from(
    least: int, longest: Run, handed: Sequence[Handed], others: Sequence[Handed]
) -> Measured:
    """As `measured_of`, from what all held states handed on, and the run that takes longest."""
    right = [
        tuple(held_by(port, held) for port in range(len(longest.results)))
        for held in range(len(handed))
    ]
    opposite = [tuple(byte ^ 0xFF for byte in bytes_) for bytes_ in right]
    untouched = list(handed) == right and list(others) == opposite
    # Of one result the second pad's byte is the opposite; see `padbench.console.run`.
    mixed = len(longest.results) == 1 and list(handed) == list(others) == opposite
    return Measured(
        least=least,
        most=longest.cycles,
        run=longest,
        wrong=tuple(held for held, got in enumerate(handed) if got != right[held]),
        hangs=tuple(held for held, got in enumerate(others) if got != handed[held]),
        untouched=untouched,
        other_pad=mixed,
    )


def on_its_port(routine: Routine, console: Console, limit: int = DEFAULT_LIMIT) -> Routine:
    """The routine with the pad on the port that it reads.

    That is the second if it has one result and, undisturbed with nothing held, reads only that
    port. Raises `RoutineError` for a routine that cannot be run, or that reads no port.
    """
    run = run_case(routine, console, 0, limit=limit)
    read = {access.port for access in run.accesses if access.kind == "read"}
    # One that has read nothing cannot know a held state but by its result places.
    if not read and run.finished:
        other = run_case(routine, console, 0xFF, limit=limit)
        if other.finished and not any(access.kind == "read" for access in other.accesses):
            raise RoutineError.at(
                routine.name, None, "", "never reads a port", "read the port once for each button"
            )
    if len(routine.results) > 1 or read != {1}:
        return routine
    return replace(routine, ports=routine.ports[::-1], second_only=True)


def judge(
    routine: Routine, console: Console, measured: Measured, sweeps: Sequence[SweepCounts]
) -> tuple[Verdict, str]:
    """The verdict over all sweeps and one sentence for people."""
    cases = sum(sweep.cases for sweep in sweeps)
    wrong = sum(sweep.accepted_wrong for sweep in sweeps)
    stuck = sum(sweep.never_settles for sweep in sweeps)
    corrupt = sum(sweep.corrupt for sweep in sweeps)
    kept = sum(sweep.kept_old for sweep in sweeps)
    if measured.fault is not None:
        return "wrong", f"{measured.fault}; is the result where --result says?"
    if wrong:
        says = f"hands on a wrong byte in {_share(wrong, cases)}"
        if len(measured.run.passes[0]) > 1:
            says += "; its passes lose a bit alike, and agree"
        return "exposed", says
    if stuck:
        return "never-settles", f"has not come back after the limit in {_share(stuck, cases)}"
    if not corrupt:
        hit = sum(sweep.hit for sweep in sweeps)
        if not hit:
            return "immune", "no fetch ever stops a read of the port"
        why = "" if console.timing.extra_clocks else ": this console clocks the pad no more often"
        return "immune", f"a stopped read never spoils a byte{why}"
    return "detects", (
        f"never hands on a wrong byte; a pass is spoilt in {_share(corrupt, cases)}, and it keeps "
        f"the old byte in {kept} of these, the right one in the others"
    )


def _share(count: int, cases: int) -> str:
    return f"{count} of {cases} cases ({100 * count / cases:.2g} %)"


@dataclass(frozen=True, slots=True)
class SafeLengths:
    """What keeps two passes from being stopped in one poll.

    ``loops``: cycles from one read of the port to the next, with everything else as it is;
    ``gaps``: cycles to add between two passes. ``loop`` is the length now, None if it varies.
    Both hold for all ``periods``, CPU cycles from fetch to fetch, and say nothing of any other.
    Each is worth no more than its assumption, that a stopped pass takes as many cycles as an
    undisturbed one; run the changed routine to be sure.
    """

    loop: int | None
    loops: tuple[int, ...]
    gaps: tuple[int, ...]
    periods: tuple[int, ...]

    @property
    def rates(self) -> str:
        """For which rates it holds, for people."""
        if len(self.periods) == 1:
            return f"with a fetch every {self.periods[0]} cycles"
        return f"at each of the {len(self.periods)} rates tried"


def safe_lengths(measured: Measured, periods: Sequence[int]) -> SafeLengths | None:
    """Lengths at which no phase of any of these fetch periods hits two passes of the first port.

    ``periods`` are all that the routine is to be safe at, also those at which it is as it stands:
    what mends it at one can break it at another. None for a routine with fewer than two passes,
    which nothing of the kind can help.
    """
    kinds = measured.run.kinds
    first, second = first_two_passes(measured.run)
    if not second:
        return None
    steps = {b - a for part in (first, second) for a, b in pairwise(part)}
    loop = steps.pop() if len(steps) == 1 else None
    loops: tuple[int, ...] = ()
    count = sum(kind == _PORT for kind in kinds[: first[-1] + 1])
    if loop is not None:
        # What a loop takes longer it takes eight times a pass, the last time behind the last read.
        inside = [*first, *second[:-1]]

        def with_loop(length: int) -> bytes:
            return stretched(kinds, inside, length - loop)

        loops = _safe(with_loop, range(_QUICKEST_LOOP, _LONGEST_LOOP + 1), periods, count)

    def with_gap(more: int) -> bytes:
        return stretched(kinds, [first[-1]], more)

    gaps = _safe(with_gap, range(_MOST_GAP + 1), periods, count)
    return SafeLengths(loop, loops, gaps, tuple(periods))


def first_two_passes(run: Run) -> tuple[list[int], list[int]]:
    """Own cycles of the reads of the first port's first two passes."""
    if len(run.passes[0]) < 2:
        return [], []
    wanted = [set(one.reads) for one in run.passes[0][:2]]
    reads = [access for access in run.accesses if access.kind == "read" and access.port == 0]
    one, other = ([a.own for a in reads if a.cycle in cycles] for cycles in wanted)
    return one, other


def stretched(kinds: bytes, behind: Sequence[int], more: int) -> bytes:
    """The row of cycles with ``more`` reads put in behind each of these (taken out if below 0)."""
    parts, start = [], 0
    for place in behind:
        parts.append(kinds[start : place + 1])
        start = place + 1 + max(0, -more)
        parts.append(bytes([1]) * max(0, more))
    return b"".join([*parts, kinds[start:]])


def _safe(
    make: Callable[[int], bytes], lengths: Sequence[int], periods: Sequence[int], count: int
) -> tuple[int, ...]:
    return tuple(
        length
        for length in lengths
        if not any(_two_passes_hit(make(length), period, count) for period in periods)
    )


def _two_passes_hit(kinds: bytes, period: int, count: int) -> bool:
    """Whether any phase stops one of the first ``count`` reads of the port and a later one."""
    reads = [place for place, kind in enumerate(kinds) if kind == _PORT]
    first, ahead = set(reads[:count]), reads_ahead(kinds)
    later = set(reads[count:])
    # A read in cycle r is hit by a request up to three writes earlier, and later by what earlier
    # fetches stole: no other phase can hit the first pass.
    phases = {
        (read + stolen - put_off) % period
        for read in first
        for put_off in range(_MOST_WRITES + 1)
        for stolen in range(4 * (read // period + 1) + 1)
    }
    for phase in phases:
        places = {place for place, _ in stops_of(ahead, period, phase)}
        if places & first and places & later:
            return True
    return False


def ranges(numbers: Sequence[int]) -> str:
    """Rising numbers for people: ``12 to 40, 44``."""
    found: list[list[int]] = []
    for one in numbers:
        if found and found[-1][1] == one - 1:
            found[-1][1] = one
        else:
            found.append([one, one])
    return ", ".join(str(a) if a == b else f"{a} to {b}" for a, b in found)
