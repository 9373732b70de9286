"""The answer to a trial: does it work on which port, what must change, what is thinnest. Pure data.

answer = padbench.verify("my-pad.toml").answer
[(port.port, port.works, port.says) for port in answer.ports]
[(cause.title, cause.says, cause.scenarios) for cause in answer.causes]

Text and page are drawn from it; nothing here knows how either looks.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from math import inf
from operator import and_, or_

from padbench.core.buttons import BUTTONS, spelled
from padbench.core.findings import Finding
from padbench.core.remedies import joined
from padbench.core.sentences import COUNTED
from padbench.results.change import Change
from padbench.trials.scenario_run import ReadResult, ScenarioRun
from padbench.trials.trial import Trial

_THINNEST = 5
_BUTTON_SCENARIO = "each-button"
_WORN = frozenset(("levels.pressed", "levels.contact", "edges.press"))
_NOTHING = "nothing reads"
_HARMLESS = (
    *("power.", "bounce.", "cable.", "wiring.order", "wiring.serial-input"),
    *("wiring.stuck-contact", "wiring.every-button", "wiring.own-stage"),
)
"""Where only such findings fail, the runs show what is read; any other makes each bit unsure."""


@dataclass(frozen=True, slots=True)
class PortAnswer:
    """A port that the sheet names.

    ``says`` is what a person sees there ("works", "nothing reads", "Up and Down are swapped"),
    ``findings`` and ``scenarios`` are what fails on it. ``buttons`` has a word for each of the
    eight: "right", "right when new" (not with a worn contact), "swapped with X", "reads as X",
    "stuck", "never", "unsure", "not read" where nothing is, or "not tried" where no run pressed
    each alone.
    """

    port: str
    works: bool
    says: str
    buttons: Mapping[str, str]
    findings: tuple[str, ...] = ()
    scenarios: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Cause:
    """One change, and what fails until it is made: every finding and scenario stands once.

    ``change`` is None for what no change of the sheet is known to mend.
    """

    title: str
    says: str
    findings: tuple[str, ...]
    scenarios: tuple[str, ...]
    change: Change | None = None

    @property
    def telling(self) -> str:
        """The scenario to look at: the one with a button pressed, if it is among them; or empty."""
        names = [name for name in self.scenarios if name == _BUTTON_SCENARIO]
        return next(iter((*names, *self.scenarios)), "")


@dataclass(frozen=True, slots=True)
class Answer:
    """``thinnest`` are the five findings that hold with the smallest part of their limit to spare.

    ``passing`` and ``failing`` are names of scenarios, ``from_memory`` the titles of the sources
    that are from memory or assumed.
    """

    ports: tuple[PortAnswer, ...]
    causes: tuple[Cause, ...]
    thinnest: tuple[Finding, ...]
    passing: tuple[str, ...]
    failing: tuple[str, ...]
    from_memory: tuple[str, ...]


def answer_of(
    trial: Trial,
    needed: Sequence[Change],
    ports: Collection[str],
    unmended: Collection[str] = (),
    broken: Sequence[str] = (),
) -> Answer:
    """The answer of a trial on the ``ports`` that its sheet names.

    ``needed`` are those of a `padbench.results.change.Plan`, ``unmended`` the scenarios that go
    wrong even so, ``broken`` what the sheet itself says is broken, in words.
    """
    failing = tuple(run.name for run in trial.runs if run.verdict == "fail")
    sources = (source for finding in trial.findings for source in finding.sources)
    return Answer(
        tuple(_port(trial, port, ports) for port in ports),
        tuple(_causes(trial, needed, ports, unmended, broken)),
        thinnest(trial.findings),
        tuple(run.name for run in trial.runs if run.verdict == "pass"),
        failing,
        tuple(dict.fromkeys(s.title for s in sources if s.kind in ("from memory", "assumed"))),
    )


def answer_of_core(
    top: str, runs: Sequence[ScenarioRun], findings: Sequence[Finding], causes: Sequence[Cause]
) -> Answer:
    """The answer of a regression: the design ``top`` stands where a sheet has its ports."""
    broken = tuple(dict.fromkeys(found.id for found in findings if found.verdict == "fail"))
    failing = tuple(run.name for run in runs if run.verdict == "fail")
    buttons = _buttons(runs, stuck=False)
    works = not broken and not failing
    says = "works" if works else _said(buttons, broken, failing, len(runs))
    if failing and not causes:
        no = "None of the faults that were tried"
        causes = [Cause(no, "gives what was read", broken, failing)]
    elif broken and not failing:
        causes = [Cause("No wrong read", "a finding fails all the same", broken, ())]
    return Answer(
        (PortAnswer(top, works, says, buttons, broken, failing),),
        tuple(causes),
        thinnest(findings),
        tuple(run.name for run in runs if run.verdict == "pass"),
        failing,
        (),
    )


def thinnest(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Of those that hold the five with the smallest part of their limit to spare."""
    holding = [one for one in findings if one.verdict == "pass" and spare_of(one) < inf]
    return tuple(sorted(holding, key=spare_of)[:_THINNEST])


def spare_of(found: Finding) -> float:
    """Its margin in parts of the limit; without end where it has none, or only a count."""
    if found.margin is None or not found.limit or found.unit in COUNTED:
        return inf
    return found.margin / abs(found.limit)


def _port(trial: Trial, port: str, named: Collection[str]) -> PortAnswer:
    runs = [run for run in trial.every if run.port == port]
    broken = _broken_on(trial, port, named)
    wrong = tuple(dict.fromkeys(run.name for run in runs if run.verdict == "fail"))
    buttons = _buttons(runs, stuck="wiring.stuck-contact" in broken)
    played = len(dict.fromkeys(run.name for run in runs))
    works = not broken and not wrong
    says = "works" if works else _said(buttons, broken, wrong, played)
    if says == _NOTHING:
        buttons = dict.fromkeys(buttons, "not read")
    fatal = _fatal(broken)
    for name, word in buttons.items():
        if word == "right" and fatal:
            buttons[name] = "unsure"
        elif word == "right" and _WORN.intersection(broken):
            buttons[name] = "right when new"
    return PortAnswer(port, works, says, buttons, broken, wrong)


def _fatal(broken: Iterable[str]) -> set[str]:
    return {
        id_
        for id_ in broken
        if not id_.startswith(_HARMLESS) and not id_.endswith("over-voltage") and id_ not in _WORN
    }


def _broken_on(trial: Trial, port: str, named: Collection[str]) -> tuple[str, ...]:
    """Of the findings that fail those that fail there; all of which no other port is to blame."""
    failed = dict.fromkeys(found.id for found in trial.findings if found.verdict == "fail")
    elsewhere: set[str] = set()
    here: set[str] = set()
    for row in trial.ports:
        if row.variant == trial.ports[0].variant and row.port in named:
            (here if row.port == port else elsewhere).update(row.fails)
    for run in trial.every:
        ids = (found.id for found in run.broken)
        (here if run.port == port else elsewhere).update(ids)
    # The longest cable follows from the lines; who they fail on is known.
    elsewhere |= {"cable.length"} if elsewhere else set()
    return tuple(id_ for id_ in failed if id_ in here or id_ not in elsewhere)


def _buttons(runs: Sequence[ScenarioRun], *, stuck: bool) -> dict[str, str]:
    """What each button reads as when it is pressed alone: the worse of the corners."""
    alone = [run for run in runs if run.name == _BUTTON_SCENARIO]
    words = dict.fromkeys(BUTTONS, "right" if alone else "not tried")
    for run in alone:
        # A contact that is known to be stuck is as expected, and yet not right.
        if run.problems or stuck:
            for name, word in _buttons_of(run.reads).items():
                words[name] = word if word != "right" else words[name]
    return words


def _buttons_of(reads: Sequence[ReadResult]) -> dict[str, str]:
    always = reduce(and_, (pair.expected.held for pair in reads), 0xFF)
    alone = {pair.expected.held & ~always: pair for pair in reads}
    # A bit that is at no level in one of them makes its button unsure, and no other.
    open_ = reduce(or_, (pair.read.undecided for pair in reads), 0)
    words = {}
    for place, name in enumerate(BUTTONS):
        bit, pair = 128 >> place, alone.get(128 >> place)
        others = [other for held, other in alone.items() if not held & bit]
        if always & bit or (others and all(_is_pressed(other, bit) for other in others)):
            words[name] = "stuck"
        elif pair is None or len(pair.read.bits) < len(BUTTONS) or open_ & bit:
            words[name] = "unsure"
        elif pair.as_expected or (open_ and not (pair.byte ^ pair.expected.byte) & ~open_):
            words[name] = "right"
        elif (byte := pair.byte & ~open_) in alone:
            other = spelled(byte)
            back = alone[byte].byte & ~open_ == bit
            words[name] = f"swapped with {other}" if back else f"reads as {other}"
        elif byte & bit or byte & ~always:
            words[name] = f"reads as {spelled(byte)}"
        else:
            words[name] = "never"
    return words


def _is_pressed(pair: ReadResult, bit: int) -> bool:
    """Without a doubt: a bit at no level counts as the wrong one in the byte."""
    return bool(pair.byte & bit) and not pair.read.undecided & bit


def _said(
    buttons: Mapping[str, str], broken: Sequence[str], wrong: Sequence[str], played: int
) -> str:
    """What a person sees at such a port, in a few words."""
    words = set(buttons.values())
    if _BUTTON_SCENARIO in wrong and words <= {"unsure", "never"}:
        return _NOTHING
    parts = []
    if all(word.startswith(("reads as", "never")) for word in buttons.values()):
        parts, buttons = ["no button reads right"], {}
    swapped = {name: word[13:] for name, word in buttons.items() if word.startswith("swapped")}
    pairs = [
        f"{one} and {two}"
        for one, two in swapped.items()
        if BUTTONS.index(one) < BUTTONS.index(two)
    ]
    if pairs:
        parts.append(f"{joined(pairs)} are swapped")
    some = (("reads as", "read as another"), ("stuck", "stuck"), ("never", "unread"),
            ("unsure", "may read either way"))  # fmt: skip
    for start, says in some:
        names = [name for name, word in buttons.items() if word.startswith(start)]
        if start == "reads as" and len(names) == 1:
            parts.append(f"{names[0]} {buttons[names[0]]}")
        elif names:
            parts.append(f"{joined(names)} {says}")
    if not parts and wrong:
        parts.append(f"{len(wrong)} of {played} scenarios go wrong")
    if _WORN.intersection(broken):
        parts.append("a worn contact may not read")
    if not parts:
        fail = f" and {len(broken) - 1} more fail" if len(broken) > 1 else " fails"
        parts.append(f"reads in simulation, but {broken[0]}{fail}")
    return "; ".join(parts)


def _causes(
    trial: Trial,
    needed: Sequence[Change],
    named: Collection[str],
    unmended: Collection[str],
    broken: Sequence[str],
) -> Iterator[Cause]:
    failed = [found for found in trial.findings if found.verdict == "fail"]
    mine: list[list[str]] = [[*change.mends] for change in needed]
    rest: list[str] = []
    for found in failed:
        if any(found.id in ids for ids in mine):
            continue
        key = found.remedy.key if found.remedy is not None else ""
        behind = [place for place, change in enumerate(needed) if key and change.key == key]
        (mine[behind[0]] if behind else rest).append(found.id)
    scenarios: list[list[str]] = [[] for _ in needed]
    left: list[str] = []
    for run in trial.runs:
        if run.verdict == "fail":
            blamed = _blamed(run, _broken_on(trial, run.port, named), mine)
            place = None if run.name in unmended else blamed
            (left if place is None else scenarios[place]).append(run.name)
    if broken:
        yield Cause("What is broken", "; ".join(broken), (*rest,), (*left,))
    taken: set[str] = set()
    for change, ids, names in zip(needed, mine, scenarios, strict=True):
        once = tuple(id_ for id_ in dict.fromkeys(ids) if id_ not in taken)
        taken.update(once)
        yield Cause(change.title, change.whole, once, tuple(names), change)
    if (rest or left) and not broken:
        says = "no value of the sheet is known to mend this"
        yield Cause("Not explained by these" if needed else "No value", says, (*rest,), (*left,))


def _blamed(run: ScenarioRun, broken: Iterable[str], causes: Sequence[Sequence[str]]) -> int | None:
    """Which cause the failure of a run follows from, the nearest evidence first.

    ``broken`` is what fails on its port.
    """
    on_port = set(broken)
    electric = {id_ for id_ in _fatal(on_port) if not id_.startswith("wiring.")}
    past = any(problem.facts.get("past") is not None for problem in run.problems)
    serial = {"wiring.serial-input"}
    wiring = {id_ for id_ in on_port if id_.startswith("wiring.")} - serial
    evidence = ({found.id for found in run.broken}, electric, serial if past else set(), wiring,
                serial, on_port - _WORN)  # fmt: skip
    for ids in evidence:
        for place, behind in enumerate(causes):
            if ids.intersection(behind):
                return place
    return None
