"""A broken pad: from what it reads to what is broken, the next test, and the repair."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from typing_extensions import TypedDict

from padbench.circuit.electric import judge_electric
from padbench.core.buttons import button_bit, pressed_in, spelled
from padbench.core.findings import Finding
from padbench.core.sentences import capital
from padbench.jobs.inspect import inspect_one
from padbench.jobs.loading import Design, FileLike, Refusal, SheetLike, design_of
from padbench.jobs.wiring import drawing
from padbench.repair.captured import observed_in
from padbench.repair.card import CardStep, card_steps
from padbench.repair.dictionary import Dictionary
from padbench.repair.metering import MeterBench
from padbench.repair.observed import (
    WRONG_IN_CAPTURE,
    Meter,
    Observed,
    Read,
    UnclearError,
    each_place,
    kind_of,
    presses_named,
    read_lines,
)
from padbench.repair.ranking import (
    Candidate,
    Ranking,
    Test,
    common,
    next_tests,
    rank,
    settled,
    watched,
)
from padbench.repair.words import AS_DRAWN, SOUND_PAD, UNPLUG, Words
from padbench.results.blocks import (
    NEVER_CUT,
    Articles,
    Block,
    Cell,
    Lines,
    OnDemand,
    Prose,
    Table,
    article_of,
)
from padbench.results.documents import Outcome
from padbench.results.result import Case, Result, Section
from padbench.scenarios import SCENARIOS
from padbench.sheet.model import Fault
from padbench.toml.document import read_text
from padbench.toml.problems import SheetError
from padbench.trials.trial import run_scenario
from padbench.waveio import CaptureFile, WaveError
from padbench.wiring.mistakes import judge_family, judge_wiring
from padbench.wiring.netlists.compare import judge_board
from padbench.wiring.netlists.sheet import board_of


class FaultDocument(TypedDict):
    """A fault: as a sheet writes it, in words, and what to do about it."""

    kind: str
    at: str | None
    to: str | None
    level: str | None
    says: str
    where: str
    mend: str
    check: str


class CandidateDocument(TypedDict):
    """Faults that nothing seen so far tells apart; ``beside`` are the second of a pair.

    ``healthy``: the sound pad is one of them, and the sheet itself does not fail. ``share`` is its
    part of the likelihood of all.
    """

    healthy: bool
    faults: list[FaultDocument]
    beside: list[FaultDocument]
    share: float
    explains: int
    reads: int
    against: list[str]


class TestDocument(TypedDict):
    """What to try next: what to do and to type, what it tells (bits) and costs (presses)."""

    do: str
    type: str
    bits: float
    cost: float
    caution: str
    outcomes: dict[str, list[str]]


class DiagnoseDocument(TypedDict):
    """``padbench diagnose``; ``verdict`` is "fail" too while nothing is decided.

    ``sheet`` are the findings by which the sheet itself fails, ``unread`` its buttons that no read
    shows: with either nothing is decided.
    """

    verdict: Outcome
    decided: bool
    explained: bool
    sheet: list[str]
    unread: list[str]
    port: str
    reads: dict[str, dict[str, int]]
    meter: list[str]
    unsteady: list[str]
    candidates: list[CandidateDocument]
    next: list[TestDocument]


@dataclass(frozen=True)
class Diagnosis:
    """What a repair bench knows of one pad.

    ``fails`` is what its sheet itself fails by, ``unread`` are buttons that change no read.
    """

    design: Design
    known: Dictionary
    bench: MeterBench
    words: Words
    seen: Observed
    found: Ranking
    tests: tuple[Test, ...]
    decided: bool
    fails: tuple[Finding, ...] = ()
    unread: tuple[str, ...] = ()

    @property
    def healthy(self) -> bool:
        """The sound pad explains it best, and whatever a press would show is ruled out."""
        best = self.found.candidates[0]
        return best.healthy and self.decided and not best.against

    @property
    def not_meant(self) -> list[Read]:
        """Reads of one button, or of none, that are not the held state; the policy is about two."""
        return [
            one for one in self.seen.pairs() if one.held.bit_count() < 2 and one.byte != one.held
        ]


_SHOWN, _OTHERS, _IN_FULL, _TOLD = 3, 3, 5, 12
"""Groups of the short answer, members named beside a group's first, groups of the tables."""


def diagnose(
    sheet: SheetLike,
    seen: Mapping[str, str] | Iterable[str] = (),
    *,
    file: FileLike | None = None,
    capture: CaptureFile | None = None,
    pressed: str | None = None,
    meter: Iterable[str] = (),
    port: str | None = None,
    pad: str | None = None,
) -> Result:
    """What is broken in a pad, from what it reads.

        result = padbench.diagnose("my-pad.toml", {"idle": "none", "A": "none", "B": "B"})
        result.data.found.candidates[0].faults       # those that nothing seen so far tells apart
        result.data.tests[0]                         # what to try next

    ``seen`` are what was held and what was read, as eight bits (A, B, Select, Start, Up, Down,
    Left, Right) or names: ``"A=10000000"``, ``{"A+B": "A"}``, ``"A=A, A, none"`` for several
    reads, ``"A=A x9"``. ``file`` has the same, a line each. ``capture`` is one for `inspect`, and
    ``pressed`` the buttons in the order in which they were pressed ("A, B, Select"). ``meter`` are
    readings: "pin 9=0.1V" (supply on, between reads), "core latch=open", "latch to clock=0.5". The
    model behind the ranking is in `padbench.repair.ranking`. ``pad`` names one where the sheet has
    several; nothing is held on the others.

    ``result.data`` is the `Diagnosis`. Raises `SheetError`, and `Refusal` for what cannot be read,
    for no observation at all, and for a pad without pull-ups or without a register.
    """
    design, known, bench = bench_of(sheet, port, pad)
    whole = noted(seen, meter, file)
    try:
        presses = None if pressed is None else presses_named(pressed)
    except UnclearError as error:
        raise Refusal("pressed", str(error)) from None
    if capture is not None:
        _add_capture(known, capture, design, presses, whole)
    elif presses is not None:
        raise Refusal("pressed", "it goes with a capture; give --capture FILE too")
    inputs = [Path(one) for one in (file, capture) if isinstance(one, str | Path)]
    return diagnosed(design, known, bench, whole, inputs)


def bench_of(
    sheet: SheetLike, port: str | None = None, pad: str | None = None
) -> tuple[Design, Dictionary, MeterBench]:
    """The sheet, all that may be broken in its pad, and the meter. Raises as `diagnose`."""
    design = design_of(sheet, pad)
    if design.sheet.chip.kind == "firmware":
        raise Refusal("register.kind", "a firmware has no parts to look for faults in")
    if design.sheet.pull_up.value is None:
        raise Refusal("pull-up.value", "without pull-ups a sound pad reads as chance: fit some")
    ports = design.sheet.works_with.ports
    if port is not None and port not in ports:
        raise Refusal("port", f"the sheet has no port {port!r}; use {' or '.join(ports)}")
    known = Dictionary.of(design.sheet, port or ports[0])
    return design, known, MeterBench(known)


def noted(
    seen: Mapping[str, str] | Iterable[str], meter: Iterable[str], file: FileLike | None
) -> Observed:
    """What was typed, and what a file says. Raises `Refusal` for what cannot be read."""
    lines = [f"{key}={value}" for key, value in seen.items()] if isinstance(seen, Mapping) else seen
    try:
        whole = read_lines(meter, "--meter {}", read_lines(lines, "observation {}"))
        if file is None:
            return whole
        text = read_text(Path(file), "name one with lines as A=A", "file of symptoms")
        return read_lines(text.splitlines(), f"{file}:{{}}", whole)
    except SheetError as error:
        raise Refusal("file", str(error)) from None
    except UnclearError as error:
        raise Refusal("", str(error)) from None


def _add_capture(
    known: Dictionary,
    capture: CaptureFile,
    design: Design,
    presses: list[int] | None,
    into: Observed,
) -> None:
    try:
        seen = inspect_one(capture, sheet=design.sheet, port=known.port).data
    except WaveError as error:
        raise Refusal("capture", str(error)) from None
    # A bit that nobody can tell was read both ways: evidence of something weak, in its place.
    whole = [one for one in seen.reads() if one.complete and not (one.missing or one.in_gap)]
    read = []
    for one in whole:
        byte, loose = one.own(known.pad.first)
        read.append(tuple(sorted({byte & ~loose, byte | loose})))
    times, early = [one.start_ps * 1e-12 for one in whole], -(-design.sheet.chip.stages // 8)
    if not read:
        raise Refusal("capture", "it has no whole read; record at least one latch and eight clocks")
    try:
        found = observed_in(known, read, presses, times, early)
    except ValueError as error:
        raise Refusal("capture", str(error)) from None
    if not into.reads:
        into.wrong = WRONG_IN_CAPTURE
    into.meter += found.meter
    into.guessed = found.guessed
    for held, byte, often in found.pairs():
        into.add(held, byte, often)


def hold_to_pad(design: Design, bench: MeterBench, seen: Observed) -> None:
    """Refuse buttons and pins that the pad has not."""
    buttons = design.sheet.buttons
    for held in seen.reads:
        for name in pressed_in(held):
            if name not in buttons:
                raise Refusal("", f"{name} is on no stage of this pad; name one of its buttons")
    for reading in seen.meter:
        pin = reading.where.removeprefix("scope ").split(" to ")[0]
        if pin.startswith("pin ") and pin not in bench.pins:
            last = [*bench.pins.values()][-1]
            chain = f" and the pad {last.chip} registers" if last.chip > 1 else ""
            raise Refusal(
                "meter", f"{pin}: the {design.sheet.part.name} has pins 1 to {last.number}{chain}"
            )


def diagnosed(
    design: Design,
    known: Dictionary,
    bench: MeterBench,
    seen: Observed,
    inputs: Sequence[Path] = (),
) -> Result:
    """The result for what was seen. Raises `Refusal` for nothing, or for what the pad has not."""
    if not seen.reads and not seen.meter:
        raise Refusal("", "nothing was observed; type for example idle=00000000 A=10000000")
    hold_to_pad(design, bench, seen)
    fails, unread = _sheet_fails(design, known), _unread(known)
    found = rank(known, bench, seen)
    words = Words(design.sheet, AS_DRAWN if fails or unread else SOUND_PAD)
    tests = next_tests(known, bench, found, seen)
    # Two swapped buttons read like a sound pad to somebody who does not know which one was held.
    unknown = seen.guessed and found.candidates[0].healthy
    decided = not fails and not unread and not unknown and settled(known, found)
    it = Diagnosis(design, known, bench, words, seen, found, tests, decided, fails, unread)
    word, lead = _verdict(it)
    outcome: Outcome = "pass" if it.healthy else "fail"
    return Result(
        command="diagnose",
        name=f"{design.sheet.pad.name}, on the bench",
        verdict=outcome,
        outcome=outcome,
        word=word,
        lead=lead,
        make_document=lambda: _document(it),
        make_sections=lambda: _sections(it),
        cases={"diagnosis": [Case("no fault", () if it.healthy else (f"{word} {lead}",))]},
        inputs=design.inputs(*inputs),
        assumed=design.sheet.assumed,
        data=it,
    )


def _sheet_fails(design: Design, known: Dictionary) -> tuple[Finding, ...]:
    """What fails in the sheet itself, board included and without playing anything.

    A ``[[fault]]`` of the sheet counts for nothing here, as in the dictionary.
    """
    sheet, drawn = known.sheet, board_of(design.sheet)
    found = [] if drawn is None else [*judge_board(drawn, sheet)]
    found += [*judge_wiring(sheet), *judge_family(sheet)]
    found += judge_electric(sheet, remedies=False).findings
    return design.placed(one for one in found if one.verdict == "fail")


def _unread(known: Dictionary) -> tuple[str, ...]:
    """Buttons that read, held, as nothing held does: no press tells anything of them."""
    sure, loose = known.fixed[0], known.random[0]
    held = ((name, button_bit(name)) for name in known.sheet.buttons)
    return tuple(n for n, bit in held if (sure[bit], loose[bit]) == (sure[0], loose[0]))


def _verdict(it: Diagnosis) -> tuple[str, str]:
    if it.fails:
        more = f" and {len(it.fails) - 1} more" if len(it.fails) > 1 else ""
        shown = f"{it.fails[0].id}{more}; padbench verify shows where."
        return "NOT DECIDED.", f"The sheet itself fails, and no pad is sound by it: {shown}"
    if it.unread:
        names = ", ".join(it.unread)
        return "NOT DECIDED.", f"No read of this pad shows {names}: look at stages and clocks."
    return _told(it)


def _told(it: Diagnosis) -> tuple[str, str]:
    best = it.found.candidates[0]
    if it.found.unexplained or (best.healthy and best.against):
        return _unexplained(best, intermittent=len(it.known.rows[best.row].variant.mix) > 1)
    if it.healthy:
        return _nothing_against(it, [fault for fault in best.faults if fault])
    if best.healthy and it.seen.guessed:
        return "NOT DECIDED.", (
            "Nothing wrong shows, but nobody said what was held, and swapped buttons would read the"
            " same: name the presses in their order (--pressed)."
        )
    if best.healthy:
        return "NOT DECIDED.", "Nothing wrong shows so far, but not enough was tried."
    if best.beside:
        return "TWO FAULTS.", "No single fault explains this as well as these two together."
    alike = len(best.faults)
    one = f"{capital(it.words.fault(best.faults[0]))}."
    many = f"{alike} faults explain it alike; the commonest first."
    if best.share < 0.5:  # something else is likelier than this
        share = f"{100 * best.share:.0f} %"
        one = f"The likeliest, at {share} only: {it.words.fault(best.faults[0])}."
        many = f"At {share} only, {many}"
    left = best.reads - best.explains
    though = f" {left} of {best.reads} reads speak against it." if left else ""
    return "A FAULT.", (one if alike == 1 else many) + though


def _nothing_against(it: Diagnosis, hidden: Sequence[Fault]) -> tuple[str, str]:
    """A sound pad, and how many faults read like one on this port; the first of each kind."""
    if not hidden:
        return "Healthy.", f"It reads as a sound pad does, on {it.known.port}."
    first = {fault.kind: fault for fault in reversed(hidden)}
    kinds = [fault for fault in hidden if first[fault.kind] is fault]
    more = ", and others" if len(kinds) > _OTHERS else ""
    said = "; ".join(map(it.words.fault, kinds[:_OTHERS]))
    return "No fault shows.", (
        f"Nothing here speaks against it, on {it.known.port}. {len(hidden)} faults would not show:"
        f" {said}{more}."
    )


def _first_test(it: Diagnosis) -> Test | None:
    """What to try next; of a pad that nothing speaks against the cheapest ohms."""
    ohms = [one for one in it.tests if kind_of(one.where) == "ohms"] if it.healthy else ()
    return min(ohms, key=lambda one: (one.cost, -one.bits), default=next(iter(it.tests), None))


def _unexplained(best: Candidate, *, intermittent: bool) -> tuple[str, str]:
    if readings := [str(one) for one in best.against if isinstance(one, Meter)]:
        said = f"No fault that reads like this has {readings[0]}; measure it again, and look there."
    elif best.explains == best.reads:
        it = "what comes and goes" if intermittent else "a line that floats"
        said = f"No single fault explains this: {it} would, but only by chance; read on."
    elif best.healthy:
        return "NOT DECIDED.", (
            f"{best.explains} of {best.reads} reads are a sound pad's: a wrong note, or something"
            " unsteady; read those presses for longer."
        )
    else:
        said = (
            "No single fault explains this, and no pair of them: the nearest gives"
            f" {best.explains} of {best.reads} reads."
        )
    return "NOT EXPLAINED.", said


def _names(words: Words, faults: Sequence[Fault | None], most: int) -> str:
    """The first faults of a group, and how many more there are."""
    said = [words.fault(fault) for fault in faults[:most]]
    more = len(faults) - len(said)
    return "; or ".join(said) + (f"; or {more} other{'s' * (more > 1)}" if more > 0 else "")


def _group(it: Diagnosis, candidate: Candidate, most: int) -> str:
    said = _names(it.words, candidate.faults, most)
    return f"{said}; AND {_names(it.words, candidate.beside, most)}" if candidate.beside else said


def _named(it: Diagnosis, candidate: Candidate) -> list[str]:
    """Every fault of a group in words; of a pair the first ones of each, in one."""
    if candidate.beside:
        return [_group(it, candidate, len(it.known.faults))]
    return [it.words.fault(fault) for fault in candidate.faults]


def _few(items: Sequence[str], joint: str) -> str | Cell:
    """The first of them, and all others on demand."""
    if len(items) <= _IN_FULL:
        return joint.join(items)
    return Cell(joint.join(items[:_OTHERS]), more=items[_OTHERS:], joint=joint)


def _folded(
    caption: str, heads: Sequence[str], rows: Sequence[Sequence[str | Cell]]
) -> list[Block]:
    return [Table(caption, heads, rows, folded=True)] if rows else []


def _places(it: Diagnosis, candidate: Candidate) -> Iterator[str]:
    """Where to look, each place once."""
    faults = filter(None, (*candidate.faults, *candidate.beside))
    return filter(None, dict.fromkeys(map(it.words.where, faults)))


def _fit(candidate: Candidate) -> str:
    """Its part of the likelihood of all; of what leaves reads over how many it explains."""
    if candidate.explains < candidate.reads:
        return f"{candidate.explains} of {candidate.reads} reads"
    return f"{100 * candidate.share:.0f} %"


def _evidence(candidate: Candidate) -> str:
    parts = [_fit(candidate)]
    if candidate.reads and candidate.explains == candidate.reads:
        parts.append(f"explains {candidate.explains} of {candidate.reads} reads")
    return "; ".join([*parts, *_against(candidate)])


def _against(candidate: Candidate) -> list[str]:
    against = [*map(str, candidate.against)]
    more = [f"{len(against) - 2} more"] if len(against) > 2 else []
    return ["against it: " + "; ".join([*against[:2], *more])] if against else []


def _outcomes(it: Diagnosis, test: Test) -> dict[str, list[Fault | None]]:
    """What a test may show, and the faults that are left then, the likeliest first."""
    weight = it.found.weight.tolist()
    faults = [it.known.faults[row.fault] for row in it.known.rows]
    least = 1e-3 * max(weight)
    order = [row for row in range(len(faults)) if weight[row] > least]
    order.sort(key=lambda row: (-round(weight[row], 9), -common([faults[row]])))
    return it.bench.outcomes(test.where, test.held, order)


def _sections(it: Diagnosis) -> Iterator[Section]:
    yield _brief(it)
    shown = [one for one in it.found.candidates[:_TOLD] if one.share > 1e-4]
    rows = [
        (
            str(number),
            _few(_named(it, candidate), "; or "),
            _few([*_places(it, candidate)], ", "),
            _evidence(candidate),
        )
        for number, candidate in enumerate(shown, 1)
    ]
    heads = ("", "fault", "place", "why")
    likely = Table("Faults", heads, rows[:_IN_FULL])
    tables = [likely, *_folded(f"{len(rows) - _IN_FULL} less likely", heads, rows[_IN_FULL:])]
    yield Section("faults", "Faults, the likeliest first", tables, paper=True)
    repairs = _repairs(it)
    others = [(line,) for line in repairs[_IN_FULL:]]
    mend: list[Block] = [Prose(repairs[:_IN_FULL], listed=True)]
    mend += _folded(f"{len(others)} more", ("",), others)
    yield Section("mend", "What to do about it", mend, paper=True)
    # Made when they are shown: the short answer needs one of them.
    tests = OnDemand(
        lambda: [
            (
                capital(it.words.do(test)),
                _few(
                    [
                        f"{outcome}: {_names(it.words, faults, 2)}"
                        for outcome, faults in _outcomes(it, test).items()
                    ],
                    " / ",
                ),
                f"{test.bits:.1f}",
                f"{test.cost:g}",
                it.words.caution(test, it.found.suspects),
            )
            for test in it.tests[:6]
        ]
    )
    columns = ("test", "what it would mean", "bits", "cost", "mind")
    if it.tests:
        table = Table("Tests, the best first", columns, tests)
        yield Section("next", "What to try next", [table], paper=True)
    pairs = [
        (spelled(held), f"{byte:08b}", spelled(byte), str(times))
        for held, byte, times in it.seen.pairs()
    ]
    kinds = ("held", "byte", "read as", "times")
    reads = Table("Reads", kinds, pairs, frozenset((3,)))
    yield Section("seen", "What was seen", [reads], paper=True)
    marked = it.words.places((*it.found.candidates[0].faults, *it.found.candidates[0].beside))
    yield Section(
        "drawing",
        "Where to look: a ring stands around the suspected pins",
        OnDemand(lambda: drawing(it.words.plan, broken=False, marked=marked)),
        ("page",),
        paper=True,
    )
    if not it.healthy:
        yield Section(
            "waves", "Its waves beside a sound pad's", OnDemand(lambda: _waves(it)), ("page",)
        )


def _waves(it: Diagnosis) -> list[Block]:
    """Each button alone, on a pad with the likeliest fault and on a sound one."""
    best = it.found.candidates[0]
    variant = it.known.rows[best.row].variant.name
    rests = variant if variant in ("low", "high", "wavers", "works") else None
    broken = tuple(fault.model_copy(update={"rests": rests}) for fault in _suspects(best, 1))
    articles = []
    sound = capital(it.words.sound) if it.fails else "A sound pad."
    for faults, about in ((broken, _group(it, best, 1)), ((), sound)):
        sheet = it.known.sheet.model_copy(update={"fault": faults})
        run = run_scenario(sheet, SCENARIOS["each-button"], it.known.port, "slow")
        articles.append(article_of(run, about))
    return [Articles(articles)]


def _repairs(it: Diagnosis) -> list[str]:
    lines = [
        f"{capital(it.words.fault(fault))}: {_repair(it, fault)}"
        for fault in _suspects(it.found.candidates[0], len(it.known.faults))
        if not it.healthy
    ]
    if it.fails:
        lines.insert(0, "Mend what the sheet itself fails by first: padbench verify shows it.")
    return lines or ["Nothing needs mending."]


def _repair(it: Diagnosis, fault: Fault) -> str:
    return f"{it.words.mend(fault)} Then: {it.words.check(fault, it.found.suspects)}"


def _suspects(best: Candidate, most: int) -> list[Fault]:
    """The first faults of a group, and of its partner."""
    return [fault for fault in (*best.faults[:most], *best.beside[:most]) if fault is not None]


def _brief(it: Diagnosis) -> Section:
    blocks: list[Block] = []
    if it.fails:
        rows = [(one.id, one.says) for one in it.fails]
        blocks.append(Lines("The sheet fails", rows, most=3))
        wrong = [str(one) for one in it.not_meant]
        said = "; ".join(wrong[:3]) or "nothing: single buttons read as themselves"
        more = f"; {len(wrong) - 3} more" if len(wrong) > 3 else ""
        blocks.append(Lines("Read otherwise than meant", [("", said + more)]))
    if it.seen.unsteady:
        held = ", ".join(spelled(one) for one in it.seen.unsteady)
        rows = [("", f"not the same byte at each read: {held}; taken for something intermittent")]
        if _sample_fetch(it):
            rows.append(
                (
                    "",
                    "a console's sample fetch does this to a sound pad too; turn its sound off",
                )
            )
        blocks.append(Lines("Unsteady", rows))
    if it.healthy:
        mind: list[Block] = []
        if not watched(it.known, it.found):
            watch = (
                "what comes and goes may have kept still in so few reads: watch nothing held,"
                " and each button, for a minute; bend the cable meanwhile"
            )
            mind.append(Lines("Mind", [("", watch)]))
        if it.found.candidates[0].faults[1:]:
            mind += _next_test(it, 0)
        return Section("brief", "", [*blocks, *mind], ("brief",))
    best = it.found.candidates[0]
    rows = [
        (
            f"{number}. {_fit(candidate)}",
            ". ".join(
                [
                    _group(it, candidate, _OTHERS if candidate is best and not best.beside else 1),
                    *map(capital, _against(candidate)),
                ]
            ),
        )
        for number, candidate in enumerate(it.found.candidates[: 2 if best.beside else _SHOWN], 1)
        if candidate is best or candidate.share >= 1e-3
    ]
    nearest = "Nearest" if it.found.unexplained else "Likeliest"
    blocks.append(Lines(nearest, rows, 5 if it.fails else NEVER_CUT))
    faults, suspects = _suspects(best, 1), it.found.suspects
    then = [
        ("", it.words.check(fault, () if place else suspects)) for place, fault in enumerate(faults)
    ]
    # Two faults have two repairs, and a check with ohms before it is long: they need the room.
    blocks += _next_test(
        it, 0 if best.beside else 2 if any("unplugged" in said for _, said in then) else 3
    )
    # Where the sheet is wrong and the reads are right, nobody should bend the pad to the sheet.
    if faults and not it.found.unexplained and (it.not_meant or not it.fails):
        # A row of its own and never cut: the repair is what the answer is for.
        rows = [("", it.words.mend(fault)) for fault in faults]
        blocks.append(Lines("Mend", rows, most=NEVER_CUT))
        blocks.append(Lines("Then", then, most=NEVER_CUT))
    return Section("brief", "", blocks, ("brief",))


def _sample_fetch(it: Diagnosis) -> bool:
    """Whether all that is unsteady is a read that got one clock too many now and then.

    A console that fetches a sample while it reads does that to a sound pad: a bit is lost, the
    later ones move up, and the serial input has the last place (common practice for the last
    button, from memory for the rest).
    """
    serial = {"ground": 1, "supply": 0}.get(it.known.sheet.chip.serial_input)
    if serial is None:
        return False

    def clocked(held: int) -> set[int]:
        masks = ((1 << 8 - clock) - 1 for clock in range(8))
        return {held} | {held & ~after | held << 1 & after | serial for after in masks}

    unsteady = [(held, it.seen.reads[held]) for held in it.seen.unsteady]
    return all({*read} <= clocked(held) for held, read in unsteady)


def _next_test(it: Diagnosis, most: int) -> Iterator[Block]:
    """The next test, and so many of its outcomes."""
    test = _first_test(it)
    if test is None:
        return
    mind = it.words.caution(test, it.found.suspects)
    do = ". ".join(filter(None, (it.words.do(test), capital(mind))))
    found = ",".join(["FOUND"] * len(each_place(test.where) if test.where else ["read"]))
    rows = [("do", do), ("type", f"{it.words.typed(test)}={found}")]
    yield Lines("Next test", rows, most=NEVER_CUT)
    outcomes = [*_outcomes(it, test).items()][:most]
    rows = [(outcome, _names(it.words, faults, 1)) for outcome, faults in outcomes]
    yield Lines("What it would mean", rows, most=2)


def _document(it: Diagnosis) -> DiagnoseDocument:
    return {
        "verdict": "pass" if it.healthy else "fail",
        "decided": it.decided,
        "explained": not it.found.unexplained,
        "sheet": [one.id for one in it.fails],
        "unread": [*it.unread],
        "port": it.known.port,
        "reads": {
            spelled(held): {f"{byte:08b}": times for byte, times in counter.items()}
            for held, counter in it.seen.reads.items()
        },
        "meter": [str(reading) for reading in it.seen.meter],
        "unsteady": [spelled(held) for held in it.seen.unsteady],
        "candidates": [
            {
                "healthy": candidate.healthy and not (it.fails or it.unread),
                "faults": [_fault(it, fault) for fault in candidate.faults if fault],
                "beside": [_fault(it, fault) for fault in candidate.beside if fault],
                "share": round(candidate.share, 6),
                "explains": candidate.explains,
                "reads": candidate.reads,
                "against": [str(one) for one in candidate.against],
            }
            for candidate in it.found.candidates[:_TOLD]
        ],
        "next": [
            _test(it.words, test, _outcomes(it, test))
            | {"caution": it.words.caution(test, it.found.suspects)}
            for test in it.tests[:6]
        ],
    }


def _test(words: Words, test: Test, outcomes: Mapping[str, Sequence[Fault | None]]) -> TestDocument:
    return {
        "do": words.do(test),
        "type": words.typed(test),
        "bits": round(test.bits, 3),
        "cost": test.cost,
        "caution": words.caution(test),
        "outcomes": {outcome: [*map(words.fault, some)] for outcome, some in outcomes.items()},
    }


def _fault(it: Diagnosis, fault: Fault) -> FaultDocument:
    return {
        "kind": fault.kind,
        "at": fault.at,
        "to": fault.to,
        "level": fault.level,
        "says": it.words.fault(fault),
        "where": it.words.where(fault),
        "mend": it.words.mend(fault),
        "check": it.words.check(fault, it.found.suspects),
    }


def card_of(sheet: SheetLike, port: str | None = None, pad: str | None = None) -> Result:
    """A test card for a pad: the fewest presses and readings that tell a sound pad from every
    single fault, with what must come out; for `write_page` or `as_text`.

        print(padbench.results.text.as_text(card_of("my-pad.toml")))

    Raises as `diagnose`.
    """
    design, known, bench = bench_of(sheet, port, pad)
    words = Words(design.sheet)
    steps, left = card_steps(known, bench)
    presses = [step for step in steps if step.test.press]
    readings = [step for step in steps if not step.test.press]
    blocks: list[Block] = [
        Prose(
            [
                "Hold what a line says, watch it for a second, and tick it off if the console (or"
                " a reader) shows just that. What else it may show stands beside it.",
                "Let go of a button that does not read: its pin may be shorted to supply, and held"
                f" it joins supply to ground{words.through}. Measure that unplugged before you"
                " hold it again.",
            ]
        ),
        _steps("With the pad plugged in and closed", words, presses),
        Prose([UNPLUG, *dict.fromkeys(words.caution(step.test) for step in readings)], wrong=True),
        _steps("With the pad open", words, readings),
    ]
    if left:
        said = [words.fault(fault) for fault in left]
        blocks.append(Prose(["No line of this card shows: " + "; ".join(said) + "."], small=True))
    return Result(
        command="diagnose",
        name=f"Test card: {design.sheet.pad.name}, on a {known.port} port",
        verdict="pass",
        outcome="pass",
        word="Test card.",
        lead=f"{len(presses)} presses and {len(readings)} readings.",
        make_document=lambda: {
            "verdict": "pass",
            "decided": False,
            "explained": True,
            **{"sheet": [], "unread": []},
            "port": known.port,
            **{"reads": {}, "meter": [], "unsteady": [], "candidates": []},
            "next": [
                _test(words, one.test, {one.expected: [None]} | dict(one.others)) for one in steps
            ],
        },
        make_sections=lambda: [
            Section("brief", "", [Lines("", [("", "see the file, or --all")])], ("brief",)),
            Section("card", "Test card", blocks, paper=True),
        ],
        inputs=design.inputs(),
        assumed=design.sheet.assumed,
        data=steps,
    )


def _steps(caption: str, words: Words, steps: Sequence[CardStep]) -> Table:
    rows = [
        (
            "☐",
            str(number),
            capital(words.do(step.test)),
            step.expected,
            " / ".join(f"{outcome}: {_names(words, faults, 1)}" for outcome, faults in step.others),
        )
        for number, step in enumerate(steps, 1)
    ]
    return Table(caption, ("", "", "do", "must show", "else it may be"), rows)
