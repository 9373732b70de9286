"""What a swept pad has to show: its JSON object, and its sections, port by port."""

from collections.abc import Callable, Iterator, Sequence
from typing import Literal

from typing_extensions import TypedDict

from padbench.core.buttons import BUTTONS, spelled
from padbench.core.pad import Policy
from padbench.core.remedies import WHICH_TIE, joined
from padbench.core.sentences import grouped
from padbench.jobs.routine_sections import to_copy
from padbench.padsweep.counting import (
    KINDS,
    TIES,
    Choice,
    PadCase,
    PadCounts,
    PadExample,
    PadKind,
    PadTally,
    Tie,
)
from padbench.padsweep.replay import says_case
from padbench.results.blocks import Lines, Prose, Table
from padbench.results.documents import FindingDocument
from padbench.results.result import Section
from padbench.routines.judge import per_cent

Play = Callable[[PadCounts, PadCase], str]
"""The command line that plays a case again."""

_WHAT = (
    "Every held state, its read undisturbed or stopped at any bit by one to three extra clocks, "
    "the serial input tied low and high. Contacts that change within a read are for verify."
)
_SPOILT: tuple[PadKind, ...] = ("spoilt_not_pressed", "spoilt_not_seen")


class ExampleDocument(TypedDict):
    """A case and what came of it; bytes have A in bit 7.

    The state is held steady: ``then`` is as ``held``, and ``moment`` is 0.
    """

    held: int
    then: int
    moment: int
    stopped_bit: int
    extra_clocks: int
    serial_input: Tie
    expected: int
    got: int


class NamedExampleDocument(ExampleDocument):
    """The first case of a kind; ``play`` is the command that plays it again."""

    kind: PadKind
    says: str
    play: str


class SpoiltDocument(TypedDict):
    """Stopped reads by what the serial input is tied to."""

    serial_input: Tie
    stopped: int
    spoilt: int
    spoilt_not_pressed: int
    spoilt_not_seen: int


class ChoiceDocument(SpoiltDocument):
    """A policy and a tie over all cases."""

    policy: Policy
    cases: int
    wrong: int
    opposites: int
    opposites_stopped: int


class SafestDocument(TypedDict):
    """A policy and a tie with the least harm."""

    policy: Policy
    serial_input: Tie


class ReadKindDocument(TypedDict):
    """Reads with the same stopped bit (0 for none) and extra clocks; counts by button."""

    serial_input: Tie
    stopped_bit: int
    extra_clocks: int
    cases: int
    wrong: int
    seen_not_held: dict[str, int]
    held_not_seen: dict[str, int]


class PadPortsDocument(TypedDict):
    """The ports on which the pad is the same logic, and what was counted there."""

    ports: list[str]
    policy: Policy
    serial_input: Tie
    cases: int
    wrong: int
    seen_not_pressed: dict[str, int]
    pressed_not_seen: dict[str, int]
    ties: list[SpoiltDocument]
    policies: list[ChoiceDocument]
    safest: list[SafestDocument]
    reads: list[ReadKindDocument]
    counterexample: ExampleDocument | None
    counterexamples: list[NamedExampleDocument]


class PadSweepDocument(TypedDict):
    """``padbench sweep --sheet``."""

    pad: str
    verdict: Literal["pass", "fail", "stopped"]
    says: str
    stopped: bool
    cases: int
    wrong: int
    ports: list[PadPortsDocument]
    vcd: str | None
    findings: list[FindingDocument]


def pad_sections(
    pads: Sequence[PadCounts], play: Play, unused: Sequence[str] = (), *, stopped: bool = False
) -> Iterator[Section]:
    """What a swept pad has to show, port by port; no choice is safest of a sweep that stopped.

    ``unused`` are options that a pad has no use for.
    """
    rows = [_port_rows(pad, stopped=stopped) for pad in pads]
    notes = [f"{joined(unused)}: not used, a pad is swept in a moment"] if unused else []
    lines = [line for pad in pads for line in _example_lines(pad, play)]
    brief = [Lines("", [some[0] for some in rows])]
    brief += [Lines(some[0][0] if len(rows) > 1 else "", some[1:]) for some in rows]
    brief.append(Lines("", [("", note) for note in notes]))
    brief.append(Lines("", [("", line) for line in lines[:1]]))
    brief.append(Lines("", to_copy(*map(str.strip, lines[1:2])), whole=True))
    yield Section("brief", "", brief, ("brief",))
    says = [f"{label}: {text}" for some in rows for label, text in some]
    yield Section(
        "counts", "What comes out", [Prose((_WHAT,)), Prose(says, listed=True), Prose(notes)]
    )
    chosen = [_choices(pad, stopped) for pad in pads if pad.choices]
    if chosen:
        yield Section("choices", "Stopped reads and opposite directions, by policy and tie", chosen)
    if lines:
        yield Section("cases", "The first case of each kind", [Prose(lines, listed=True)])


def _port_rows(pad: PadCounts, *, stopped: bool) -> list[tuple[str, str]]:
    """How the pad fares on its ports, what a stopped read can do there, the safest choice."""
    whole = pad.whole
    says = "every read tried is right" if stopped else "works: every read is right"
    if whole.wrong:
        says = f"FAILS: {_share(whole.wrong, whole.cases)} of {grouped(whole.cases)} reads"
    rows = [(", ".join(pad.ports), says)]
    for label, counts in (("seen, not pressed", whole.ghost), ("pressed, not seen", whole.missed)):
        wrong = [(name, n) for name, n in zip(BUTTONS, counts, strict=True) if n]
        if wrong:
            rows.append(
                (label, ", ".join(f"{name} {per_cent(n, whole.cases)}" for name, n in wrong))
            )
    spoilt = pad.total(pad.policy, pad.pad.serial, stopped=True)
    if pad.pad.serial is not None and spoilt.cases:
        ghost, missed = (spoilt.numbers[kind] for kind in _SPOILT)
        says = (
            f"a press too many in {per_cent(ghost, spoilt.cases)}, a press missed in "
            f"{per_cent(missed, spoilt.cases)} of them; the console's fault"
        )
        rows.append(("stopped reads", says))
    if not stopped and (safest := pad.safest):
        choices: list[str] = [policy for policy, _ in safest]
        either = " or ".join([", ".join(choices[:-1])] * (len(choices) > 1) + choices[-1:])
        says = (
            f"policy {either}, serial input {_tied(safest[0][1])}; "
            f"this sheet has policy {pad.policy}, serial input {_tied(pad.pad.serial)}"
        )
        rows.append(("fewest wrong reads", says))
        rows.append(("serial input", WHICH_TIE))
    return rows


def _tied(tie: int | None) -> str:
    return "open" if tie is None else f"tied to {TIES[tie]}"


def _choices(pad: PadCounts, stopped: bool) -> Table:
    safest = () if stopped else pad.safest
    rows = []
    for policy, tie in pad.choices:
        tally, spoilt = pad.total(policy, tie), pad.total(policy, tie, stopped=True)
        rows.append(
            (
                policy,
                TIES[tie],
                grouped(tally.cases),
                _share(tally.numbers["opposites"], tally.cases),
                grouped(spoilt.cases),
                *(_share(spoilt.numbers[kind], spoilt.cases) for kind in _SPOILT),
                "safest" if (policy, tie) in safest else "",
            )
        )
    heads = ("policy", "serial input", "reads", "with opposite directions", "stopped",
             "with a press too many", "with a press missed", "choice")  # fmt: skip
    return Table(
        f"All policies and ties on {', '.join(pad.ports)}",
        heads,
        rows,
        frozenset((2, 4)),
        "That a stopped read loses bits is the console's fault; what replaces them is not. Safest "
        "has the fewest wrong reads, then opposite directions, presses too many, presses missed; "
        f"but of the serial input {WHICH_TIE}. Opposite directions close at once here, so that "
        "newer and older are as neither.",
    )


def _example_lines(pad: PadCounts, play: Play) -> Iterator[str]:
    first = pad.whole.first
    for kind, what in KINDS.items():
        if (case := first.get(kind)) is not None:
            must = "" if case.got == case.expected else f", not {spelled(case.expected)}"
            yield f"{what.capitalize()}: {says_case(case)}: read {spelled(case.got)}{must}"
            yield f"  To see it: {play(pad, case)}"


def _share(count: int, cases: int) -> str:
    """A count, and how much of the whole that is."""
    return f"{grouped(count)} ({per_cent(count, cases)})" if count else "0"


def pad_document(pad: PadCounts, play: Play) -> PadPortsDocument:
    """The counts of one pad."""
    whole = pad.whole
    first = whole.first_wrong
    return {
        "ports": pad.ports,
        "policy": pad.policy,
        "serial_input": TIES[pad.pad.serial],
        "cases": whole.cases,
        "wrong": whole.wrong,
        "seen_not_pressed": _named(whole.ghost),
        "pressed_not_seen": _named(whole.missed),
        "ties": [_spoilt(pad, choice) for choice in pad.choices if choice[0] == pad.policy],
        "policies": [_choice_document(pad, choice) for choice in pad.choices],
        "safest": [{"policy": policy, "serial_input": TIES[tie]} for policy, tie in pad.safest],
        "reads": [
            {
                "serial_input": TIES[part.tie],
                "stopped_bit": part.stopped_bit,
                "extra_clocks": part.extra,
                "cases": tally.cases,
                "wrong": tally.wrong,
                "seen_not_held": _named(tally.shown),
                "held_not_seen": _named(tally.lost),
            }
            for (policy, part), reads in pad.reads.items()
            if policy == pad.policy
            for tally in [PadTally.of([reads])]
        ],
        "counterexample": None if first is None else _example(first),
        "counterexamples": [
            {"kind": kind, "says": says, **_example(case), "play": play(pad, case)}
            for kind, says in KINDS.items()
            if (case := whole.first.get(kind)) is not None
        ],
    }


def _named(counts: list[int]) -> dict[str, int]:
    return dict(zip(BUTTONS, counts, strict=True))


def _spoilt(pad: PadCounts, choice: Choice) -> SpoiltDocument:
    stopped = pad.total(*choice, stopped=True)
    return {
        "serial_input": TIES[choice[1]],
        "stopped": stopped.cases,
        "spoilt": stopped.spoilt,
        "spoilt_not_pressed": stopped.numbers["spoilt_not_pressed"],
        "spoilt_not_seen": stopped.numbers["spoilt_not_seen"],
    }


def _choice_document(pad: PadCounts, choice: Choice) -> ChoiceDocument:
    tally = pad.total(*choice)
    return {
        "policy": choice[0],
        "cases": tally.cases,
        "wrong": tally.wrong,
        "opposites": tally.numbers["opposites"],
        "opposites_stopped": pad.total(*choice, stopped=True).numbers["opposites"],
        **_spoilt(pad, choice),
    }


def _example(case: PadExample) -> ExampleDocument:
    return {
        "held": case.held,
        "then": case.held,
        "moment": 0,
        "stopped_bit": case.part.stopped_bit,
        "extra_clocks": case.part.extra,
        "serial_input": TIES[case.part.tie],
        "expected": case.expected,
        "got": case.got,
    }
