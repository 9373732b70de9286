"""What a routine costs, and what the fetch does to it in words."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

from padbench.core.buttons import OPPOSITES, byte_of, spelled
from padbench.routines.cause import Disagreement, disagreement
from padbench.routines.engine import STATES, SweepCounts
from padbench.routines.fetch import Console
from padbench.routines.plain import undisturbed
from padbench.routines.routine import DEFAULT_LIMIT, Routine, RoutineError
from padbench.routines.run import Run, held_by, run_case
from padbench.routines.steps import Steps

__all__ = [
    "Judgement",
    "Measured",
    "Verdict",
    "judge",
    "measure",
    "measured_from",
    "measured_of",
    "on_its_port",
    "opposites",
    "per_cent",
]

_OPPOSED = tuple(map(byte_of, OPPOSITES))

Verdict = Literal["immune", "detects", "exposed", "never-settles", "wrong"]


@dataclass(frozen=True)
class Measured:
    """A routine without any fetch, over all held states.

    ``least`` and ``most`` cycles from its first cycle to the last of RTS; ``run`` is the first
    run that takes most; ``wrong`` holds the states for which it hands on something else even so.
    ``hangs`` holds those for which it hands on something else once the opposite has stood in the
    result places: there it hangs on what was left in them. States with opposite directions are not
    among these, since a program may keep the old state on purpose there. With ``untouched`` it left
    the opposite standing in every state, with ``other_pad`` it hands on the second pad for the
    first.
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
                f"{len(self.hangs)} held states without opposite directions and without any fetch"
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
    # Of one result the second pad's byte is the opposite; see `padbench.routines.run`.
    mixed = len(longest.results) == 1 and list(handed) == list(others) == opposite
    return Measured(
        least=least,
        most=longest.cycles,
        run=longest,
        wrong=tuple(held for held, got in enumerate(handed) if got != right[held]),
        hangs=tuple(
            held
            for held, got in enumerate(others)
            if got != handed[held] and not any(map(_opposed, right[held]))
        ),
        untouched=untouched,
        other_pad=mixed,
    )


def _opposed(held: int) -> bool:
    """Whether up is held with down, or left with right."""
    return any(held & pair == pair for pair in _OPPOSED)


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


class Judgement(NamedTuple):
    """The verdict, one sentence for people, and whether other lengths can mend the routine.

    ``by_lengths``: it is exposed, and in all that was tried because two passes agree.
    """

    verdict: Verdict
    says: str
    by_lengths: bool = False


def judge(
    routine: Routine,
    console: Console,
    measured: Measured,
    sweeps: Sequence[SweepCounts],
    limit: int = DEFAULT_LIMIT,
) -> Judgement:
    """The verdict over all sweeps."""
    cases = sum(sweep.cases for sweep in sweeps)
    wrong = sum(sweep.accepted_wrong for sweep in sweeps)
    stuck = sum(sweep.never_settles for sweep in sweeps)
    corrupt = sum(sweep.corrupt for sweep in sweeps)
    kept = sum(sweep.kept_old for sweep in sweeps)
    if measured.fault is not None:
        return Judgement("wrong", f"{measured.fault}; is the result where --result says?")
    if wrong:
        says = f"hands on a wrong byte in {_share(wrong, cases)}"
        return _exposed(says, measured, disagreement(routine, console, sweeps, limit))
    if stuck:
        says = f"has not come back after the limit in {_share(stuck, cases)}"
        return Judgement("never-settles", says)
    if not corrupt:
        why = "" if console.timing.extra_clocks else ": this console clocks the pad no more often"
        hit = any(sweep.hit for sweep in sweeps)
        says = f"a stopped read never spoils a byte{why}"
        return Judgement("immune", says if hit else "no fetch ever stops a read of the port")
    return Judgement(
        "detects",
        f"never hands on a wrong byte; a pass is spoilt in {_share(corrupt, cases)}, and it keeps "
        f"the old byte in {kept} of these, the right one in the others",
    )


def _exposed(says: str, measured: Measured, other: Disagreement | None) -> Judgement:
    if len(measured.run.passes[0]) < 2:
        return Judgement("exposed", says)
    if other is None:
        return Judgement("exposed", f"{says}; its passes lose a bit alike, and agree", True)
    reads = ", then ".join(map(spelled, other.passes))
    return Judgement(
        "exposed",
        f"{says}; it hands on {spelled(other.got)} though no two passes read that (held "
        f"{spelled(other.held)}, a fetch every {other.period} cycles from {other.phase} on: they "
        f"read {reads})",
    )


def _share(count: int, cases: int) -> str:
    return f"{count} of {cases} cases ({per_cent(count, cases)})"


def per_cent(count: int, cases: int) -> str:
    """Two digits, for people; 100 only if it is all of them."""
    share = 100 * count / cases
    text = f"{share:.2g}" if share < 99 else f"{share:.3g}"
    return "100 %" if count == cases else "nearly 100 %" if text == "100" else f"{text} %"
