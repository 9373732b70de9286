"""What a routine costs undisturbed, and the verdict over its sweeps; words are made last, here.

base = baseline_of_survey(survey(routine, console))    # base.most, base.wrong, base.fault
judgement = judge_routine(routine, console, base, sweeps)
judgement.verdict, judgement.case, judgement.facts     # "exposed", "agree", {"count": 1793, ...}
judgement.says                                         # the same in one sentence
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Literal

from padbench.core.buttons import OPPOSITES, byte_of, spelled
from padbench.core.findings import Fact, Finding, Rule
from padbench.core.findings import Verdict as Outcome
from padbench.core.sentences import filled, grouped
from padbench.routines.console import Console
from padbench.routines.counts import STATES, SweepCounts, worst_risk
from padbench.routines.routine import DEFAULT_LIMIT, Routine, RoutineError
from padbench.routines.run import RoutineRun, held_by, run_case
from padbench.routines.stops import COPY
from padbench.routines.worst import disagreement

_OPPOSED = tuple(map(byte_of, OPPOSITES))

Verdict = Literal["immune", "detects", "exposed", "never-settles", "wrong"]

PATTERNS: Mapping[str, Callable[[int], int]] = {
    "reversed": lambda byte: int(f"{byte:08b}"[::-1], 2),
    "complemented": lambda byte: byte ^ 0xFF,
    "reversed-complemented": lambda byte: int(f"{byte ^ 0xFF:08b}"[::-1], 2),
}
"""What a routine may make of a byte that it has read rightly."""

_FAULTS = {
    "reversed": "hands on the buttons in reverse order, Right in bit 7 and A in bit 0",
    "complemented": "hands on the buttons complemented, 0 for a pressed one",
    "reversed-complemented": "hands on the buttons in reverse order, Right in bit 7 and A in bit "
    "0, and complemented, 0 for a pressed one",
    "untouched": "never writes the place of its result, and hands on what stood there",
    "other-pad": "hands on the buttons of the second pad for those of the first",
    "wrong": "hands on a wrong byte in {wrong} of {states} held states without any fetch",
    "hangs": "hands on what depends on the byte that stood in the place of its result, in {hangs} "
    "held states without opposite directions and without any fetch",
    "idle": "hands on a pressed button, or never comes back, with nothing held on either pad and "
    "without any fetch",
}
"""What can be wrong with a routine undisturbed, or with where its result is looked for."""

_WANTED = "what is judged is a byte with A in bit 7, 1 for a pressed button"
_WHERE = "does its result stand where {} says, or in A if that says nothing?"
_EXPOSED = "hands on a wrong byte: {risk}"
_CASES: Mapping[str, tuple[Verdict, str]] = {
    **{
        fault: ("wrong", f"{text}; {_WANTED if fault in PATTERNS else _WHERE.format('--result')}")
        for fault, text in _FAULTS.items()
    },
    "one-pass": ("exposed", _EXPOSED),
    "nothing": ("exposed", _EXPOSED),
    "agree": ("exposed", f"{_EXPOSED}; its passes lose a bit alike, and agree"),
    "disagree": (
        "exposed",
        f"{_EXPOSED}; it hands on {{got:buttons}} though no two passes read that (held "
        "{held:buttons}, a fetch every {period} cycles from {phase} on: they read {reads})",
    ),
    "stuck": ("never-settles", "has not come back after the limit: {risk}"),
    "unhit": ("immune", "no fetch ever stops a read of the port"),
    "in-step": (
        "immune",
        "reads in step with the fetch: after the sprite copy no fetch ever stops a read of the "
        "port (from memory: copy and fetch share one parity of cycles)",
    ),
    "harmless": ("immune", "a stopped read never changes a byte"),
    "unclocked": (
        "immune",
        "a stopped read never changes a byte: this console clocks the pad no more often",
    ),
    "detects": (
        "detects",
        "never hands on a wrong byte; a pass is misread in {share}{stays}",
    ),
}
"""Every case of a judgement: the verdict, and its sentence; see `padbench.core.sentences`."""


@dataclass(frozen=True)
class Judgement:
    """A verdict as data: one of `_CASES`, and the numbers that its sentence says."""

    case: str
    facts: Mapping[str, Fact] = field(default_factory=dict)

    @property
    def verdict(self) -> Verdict:
        """One word, which scripts rely on."""
        return _CASES[self.case][0]

    @property
    def fails(self) -> bool:
        """Whether the routine can hand on a wrong byte, or never comes back."""
        return self.verdict in ("exposed", "never-settles", "wrong")

    @property
    def by_lengths(self) -> bool:
        """Whether other lengths can mend it: in all that was tried, two passes agree."""
        return self.case == "agree"

    @property
    def says(self) -> str:
        """The whole in a sentence without a full stop."""
        facts = dict(self.facts)
        count, cases, passes = (facts.get(name) for name in ("count", "cases", "passes"))
        if isinstance(count, int) and isinstance(cases, int):
            facts["share"] = (
                f"{grouped(count)} of {grouped(cases)} cases ({per_cent(count, cases)})"
            )
        kept = facts.get("kept")
        stays = f", and in {kept} of these the byte from before stays"
        facts["stays"] = "" if kept in ("0", None) else stays
        if "risk_held" in facts:
            facts["risk"] = _risk_says(facts)
        if isinstance(passes, tuple):
            facts["reads"] = ", then ".join(spelled(int(byte or 0)) for byte in passes)
        return filled(_CASES[self.case][1], facts) + _untried_says(facts)

    def finding(self, verdict: Outcome, **more: Fact) -> Finding:
        """As a finding of that outcome; the facts of a finding are its own and ``more``."""
        count = self.facts.get("count") if self.fails else 0
        measured = float(count) if isinstance(count, int) and verdict != "not-judged" else None
        return Finding(
            FETCH,
            verdict,
            measured,
            None if measured is None else 0.0,
            None if measured is None else -measured,
            case=self.case,
            facts={**self.facts, **more},
        )


def _risk_says(facts: Mapping[str, Fact]) -> str:
    """What a player meets; every phase of the fetch is taken as equally likely."""
    held, period = facts["risk_held"], facts["risk_period"]
    chance, minute = facts["risk_chance"], facts["risk_a_minute"]
    assert isinstance(held, int)
    assert isinstance(chance, float)
    assert isinstance(minute, float)
    pads = "" if facts["risk_pads"] == 1 else " on pad 1 and all others on pad 2"
    if pads and not held:
        pads = " on either pad"
    return (
        f"with {spelled(held)} held{pads}, at the worst rate (a fetch every {period} cycles), one "
        f"poll in {rounded(1 / chance)} goes wrong, about {rounded(minute)} a minute at one poll a "
        "frame"
    )


def _untried_says(facts: Mapping[str, Fact]) -> str:
    tried, untried = facts.get("tried"), facts.get("untried")
    if not untried or not isinstance(tried, tuple):
        return ""
    rates = "rate" if untried == 1 else "rates"
    every = ", ".join(map(str, tried))
    return f"; tried with a fetch every {every} cycles only, {untried} {rates} of the console not"


def rounded(number: float) -> str:
    """Two digits below ten, whole numbers from there on."""
    return f"{number:.2g}" if number < 9.95 else grouped(round(number))


def _on_a_sheet(finding: Finding) -> str:
    judgement = Judgement(finding.case, finding.facts)
    return f"{judgement.verdict}: {judgement.says}"


def routine_warning(findings: Sequence[Finding]) -> str:
    """A sentence on a sheet's read routine that nothing fails for; empty for a sound one."""
    for finding in findings:
        if finding.verdict == "not-judged" and finding.id == FETCH.id:
            judgement = Judgement(finding.case, finding.facts)
            if judgement.fails:
                return (
                    f"But the read routine is {judgement.verdict}: it {judgement.says}. "
                    'policy.exposed-routine = "fail" fails the sheet for that.'
                )
    return ""


RESULT = Rule(
    "routine.result",
    "states",
    {
        "holds": "hands on the buttons as they are held{found}",
        **{
            fault: f"{text}; {_WANTED if fault in PATTERNS else _WHERE.format('poll.result')} "
            "Scenarios hold it to what it makes of right reads"
            for fault, text in _FAULTS.items()
        },
    },
)
FETCH = Rule("routine.fetch", "cases", dict.fromkeys(_CASES, _on_a_sheet))

Handed = tuple[int, ...] | None
"""What is handed on, port by port; None if the routine has not come back."""


@dataclass(frozen=True)
class Baseline:
    """A routine without any fetch, over all held states.

    ``least`` and ``most`` cycles from its first cycle to the last of RTS; ``longest`` is the first
    run that takes most; ``wrong`` holds the states for which it hands on something else even so.
    ``hangs`` holds those for which it hands on something else once the opposite has stood in the
    result places: there it depends on what was left in them. States with opposite directions are
    not among these, since a program may keep the old state on purpose there. With ``untouched`` it
    left the opposite standing in every state, with ``other_pad`` it hands on the second pad for the
    first; ``pattern`` is one of `PATTERNS` that all it hands on has. ``idle``: for two pads, it
    hands on something with nothing held on either, which is none of those held states.
    """

    least: int
    most: int
    longest: RoutineRun
    wrong: tuple[int, ...]
    hangs: tuple[int, ...] = ()
    untouched: bool = False
    other_pad: bool = False
    pattern: str = ""
    idle: bool = False

    @classmethod
    def of(
        cls,
        least: int,
        longest: RoutineRun,
        handed: Sequence[Handed],
        others: Sequence[Handed],
        *,
        idle: bool = False,
    ) -> "Baseline":
        """From what all held states handed on, in order, and with the opposite in the result."""
        right = [
            tuple(held_by(port, held) for port in range(len(longest.results)))
            for held in range(len(handed))
        ]
        opposite = [tuple(byte ^ 0xFF for byte in bytes_) for bytes_ in right]
        # Of one result the second pad's byte is the opposite; see `padbench.routines.run`.
        both = len(longest.results) == 1 and longest.ports_read == {0, 1}
        other_pad = both and list(handed) == list(others) == opposite
        turned = {
            name: [tuple(map(turn, bytes_)) for bytes_ in right] for name, turn in PATTERNS.items()
        }
        patterns = [name for name, bytes_ in turned.items() if handed == others == bytes_]
        return cls(
            least=least,
            most=longest.cycles,
            longest=longest,
            wrong=tuple(held for held, got in enumerate(handed) if got != right[held]),
            hangs=tuple(
                held
                for held, got in enumerate(others)
                if got != handed[held] and not any(map(opposed, right[held]))
            ),
            untouched=list(handed) == right and list(others) == opposite,
            other_pad=other_pad,
            pattern="" if other_pad or not patterns else patterns[0],
            idle=idle,
        )

    @property
    def fault(self) -> str:
        """What is wrong with it, undisturbed, as one of `_FAULTS`; empty for nothing."""
        if self.pattern:
            return self.pattern
        there = {
            "untouched": self.untouched, "other-pad": self.other_pad,
            "wrong": bool(self.wrong), "hangs": bool(self.hangs), "idle": self.idle,
        }  # fmt: skip
        return next((fault for fault, met in there.items() if met), "")

    @property
    def facts(self) -> dict[str, Fact]:
        """What the sentence of its fault says."""
        return {"wrong": len(self.wrong), "hangs": len(self.hangs), "states": STATES}

    @property
    def fault_says(self) -> str:
        """Its fault in words, empty for none."""
        return filled(_FAULTS[self.fault], self.facts) if self.fault else ""

    def finding(self, verdict: Outcome, found: str = "") -> Finding:
        """As a finding of that outcome; ``found`` is where the result was, if it was looked for."""
        facts = self.facts | {"found": f", in {found} (found by running it)" if found else ""}
        return Finding(RESULT, verdict, case=self.fault or "holds", facts=facts)


def opposed(held: int) -> bool:
    """Whether up is held with down, or left with right."""
    return any(held & pair == pair for pair in _OPPOSED)


def on_its_port(routine: Routine, console: Console, limit: int = DEFAULT_LIMIT) -> Routine:
    """The routine with the pad on the port that it reads.

    That is the second if it has one result and, undisturbed with nothing held, takes values
    from that port only. Raises `RoutineError` for a routine that cannot be run, or reads no port.
    """
    run = run_case(routine, console, 0, limit=limit)
    read = run.ports_read
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


def judge_routine(
    routine: Routine,
    console: Console,
    base: Baseline,
    sweeps: Sequence[SweepCounts],
    limit: int = DEFAULT_LIMIT,
) -> Judgement:
    """The verdict over all sweeps."""
    if base.fault:
        return Judgement(base.fault, base.facts)
    cases, hit, corrupt, wrong, stuck, kept = (
        sum(getattr(sweep, name) for sweep in sweeps)
        for name in ("possible", "hit", "corrupt", "accepted_wrong", "never_settles", "kept_old")
    )
    tried = tuple(sweep.period for sweep in sweeps)
    untried = len(set(console.timing.fetch_periods) - set(tried))
    facts: dict[str, Fact] = {"cases": cases, "tried": tried, "untried": untried}
    worst = worst_risk(sweeps, console.timing)
    if worst is not None:
        facts |= {f"risk_{name}": value for name, value in asdict(worst).items()}
    nothing = sum(sweep.nothing or 0 for sweep in sweeps)
    if nothing and not wrong + stuck:
        return Judgement("nothing", {"count": nothing, **facts})
    if wrong:
        case, more = _why_exposed(routine, console, base, sweeps, limit)
        return Judgement(case, {"count": wrong, **facts, **more})
    if stuck:
        return Judgement("stuck", {"count": stuck, **facts})
    if corrupt:
        return Judgement("detects", {"count": corrupt, "kept": grouped(kept), **facts})
    harmless = "harmless" if console.timing.extra_clocks else "unclocked"
    copied = COPY in base.longest.kinds or console.after_copy is not None
    unhit = "in-step" if copied else "unhit"
    return Judgement(harmless if hit else unhit, facts)


def _why_exposed(
    routine: Routine, console: Console, base: Baseline, sweeps: Sequence[SweepCounts], limit: int
) -> tuple[str, dict[str, Fact]]:
    if len(base.longest.passes[0]) < 2:
        return "one-pass", {}
    other = disagreement(routine, console, sweeps, limit)
    return ("agree", {}) if other is None else ("disagree", asdict(other))


def per_cent(count: int, cases: int) -> str:
    """Two digits, for people; 100 only if it is all of them."""
    share = 100 * count / cases
    text = f"{share:.2g}" if share < 99 else f"{share:.3g}"
    return "100 %" if count == cases else "nearly 100 %" if text == "100" else f"{text} %"
