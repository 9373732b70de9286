"""The main job: a design sheet judged, and scenarios played on it."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache, partial
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from typing_extensions import TypedDict

from padbench import __version__
from padbench.circuit.electric import PortRow, spread_of
from padbench.circuit.pad_model import CORNERS, others_in_chain
from padbench.core.buttons import spelled
from padbench.core.findings import Finding
from padbench.core.remedies import joined
from padbench.core.sentences import capital, counted
from padbench.core.timeline import Timeline
from padbench.core.wire_names import (
    CABLE_CLOCK,
    CABLE_DATA,
    CABLE_LATCH,
    CONSOLE_CLOCK,
    CONSOLE_LATCH,
)
from padbench.files import plan, usable_name
from padbench.jobs.loading import (
    Design,
    FileLike,
    Progress,
    Refusal,
    ScenariosLike,
    SheetLike,
    chosen,
    design_of,
    designs_of,
    known_scenarios,
    scenario_named,
    unwatched,
)
from padbench.jobs.wiring import drawing, on_board
from padbench.parts import RegisterPart, colour_bands
from padbench.repair.words import Words
from padbench.results.answer import Answer, Cause, answer_of
from padbench.results.blocks import (
    NEVER_CUT,
    Article,
    Articles,
    Block,
    Cell,
    Changes,
    FrameStrip,
    Lines,
    Prose,
    Table,
    article_of,
    findings_block,
    findings_blocks,
    reads_lines,
    reads_table,
    thinnest_lines,
)
from padbench.results.change import Change, Plan, plan_of, value_now
from padbench.results.documents import (
    FindingDocument,
    Outcome,
    RunDocument,
    finding_document,
    run_document,
)
from padbench.results.frame import frame_of
from padbench.results.inputs import Input
from padbench.results.result import Result, Section, combined
from padbench.routines.judge import routine_warning
from padbench.scenarios import Scenario
from padbench.sheet import Sheet
from padbench.sheet.fields import RESISTOR_TOLERANCE
from padbench.trials.scenario_run import ScenarioRun
from padbench.trials.trial import Trial, run_scenario, standing_for_all, try_sheet
from padbench.waveio.vcd_out import write_wave
from padbench.wiring.mistakes import UNPLUGGED, shorts
from padbench.wiring.netlists.compare import judge_board
from padbench.wiring.netlists.recognise import Drawn, Row
from padbench.wiring.netlists.sheet import board_of, usual_pull_up
from padbench.wiring.netlists.shown import parts_shown
from padbench.wiring.plan import wiring_plan

if TYPE_CHECKING:
    from matplotlib.figure import Figure


class PortDocument(TypedDict):
    """A variant of the pad on a kind of port, and the findings that fail there."""

    variant: str
    port: str
    verdict: Outcome
    fails: list[str]


class ChangeDocument(TypedDict):
    """One thing to change: the key of the sheet, the value to take, the range that would do."""

    key: str
    title: str
    value: str
    says: str
    mends: list[str]


class PlanDocument(TypedDict):
    """What the changes come to, judged and played again; ``left`` still fail."""

    holds: bool
    says: str
    left: list[str]
    replayed: list[str]
    wrong: list[str]
    alternatives: list[ChangeDocument]


class VerifyDocument(TypedDict):
    """``padbench verify``."""

    verdict: Outcome
    padbench: str
    sheet: str
    pad: str
    findings: list[FindingDocument]
    scenarios: list[RunDocument]
    ports: list[PortDocument]
    changes: list[ChangeDocument]
    plan: PlanDocument
    board: list[Row]


class PlayDocument(RunDocument):
    """``padbench play``."""

    findings: list[FindingDocument]


def verify(
    sheet: SheetLike,
    scenarios: ScenariosLike | None = None,
    *,
    own_scenarios: FileLike | None = None,
    waves: FileLike | None = None,
    progress: Progress = unwatched,
) -> Result:
    """Judge a design: wiring, levels and edges, then every scenario on every port at both corners.

        result = padbench.verify("my-pad.toml")
        result.verdict                               # "pass" or "fail"
        [f.id for f in result.findings if f.verdict == "fail"]

    ``scenarios`` are a name, a `Scenario`, or several (default: all there are), ``own_scenarios``
    a TOML file with more. ``waves`` is a folder that gets one VCD file a scenario. Of a sheet with
    several pads each is judged, and the result is that of all. ``progress`` is told after each run
    how many are done, and of how many. ``result.data`` is the `Trial`. Raises `SheetError` for a
    sheet or file that cannot be used, `Refusal` (a ``ValueError``) for an unknown scenario,
    ``OSError`` for a wave that cannot be written.
    """
    options = (scenarios, own_scenarios, waves, progress)
    return combined(verify_each(sheet, *options), "pads")


def verify_each(
    sheet: SheetLike,
    scenarios: ScenariosLike | None = None,
    own_scenarios: FileLike | None = None,
    waves: FileLike | None = None,
    progress: Progress = unwatched,
) -> list[Result]:
    """As `verify`, one result for each pad of a sheet that has several."""
    designs = designs_of(sheet)
    each = (scenarios, own_scenarios, progress)
    if len(designs) == 1:
        return [_verified(designs[0], waves, *each)]
    return [
        _verified(one, waves and Path(waves) / usable_name(one.sheet.pads[0].name), *each)
        for one in designs
    ]


def _verified(
    design: Design,
    waves: FileLike | None,
    scenarios: ScenariosLike | None,
    own_scenarios: FileLike | None,
    progress: Progress,
) -> Result:
    inputs = design.inputs(own_scenarios)
    known = known_scenarios(design.sheet, own_scenarios)
    wanted = [scenario_named(one, known) for one in known if scenarios is None]
    wanted += [scenario_named(one, known) for one in chosen(scenarios or ())]
    plan_waves(wanted, waves)
    total = len(CORNERS) * len(design.sheet.works_with.ports) * len(wanted)
    done = count(1)
    vcd: dict[str, Path] = {}

    def keep(run: ScenarioRun) -> None:
        if waves is not None:
            vcd[run.name] = save_wave(run, waves)

    trial = try_sheet(
        design.sheet,
        wanted,
        step=lambda: progress(next(done), total),
        keep=keep,
    )
    drawn = board_of(design.sheet)
    compared = () if drawn is None else judge_board(drawn, design.sheet)
    trial = replace(trial, findings=design.placed((*compared, *trial.findings)))
    result = verify_result(design, trial, inputs, vcd, drawn)
    return result if waves is None else replace(result, wrote={"Waves": Path(waves)})


def verify_result(
    design: Design,
    trial: Trial,
    inputs: tuple[Input, ...],
    vcd: Mapping[str, Path],
    drawn: Drawn | None = None,
) -> Result:
    """The result of a trial; ``vcd`` names the waves that were written, by scenario.

    ``drawn`` is the board that the sheet names.
    """
    verdict = trial.verdict
    broken = sum(finding.verdict == "fail" for finding in trial.findings)
    wrong = sum(run.verdict == "fail" for run in trial.runs)
    passes = verdict == "pass"
    name = design.sheet.pad.name
    told = routine_warning(trial.findings)
    warning = f" {told}" if told else ""
    ports = design.sheet.works_with.ports

    @cache
    def plan() -> Plan:
        # Judged and played again when somebody asks what to change, and not before.
        return plan_of(design.sheet, trial, usual_pull_up(drawn, design.sheet))

    answer = cache(
        lambda: answer_of(trial, plan().changes, ports, plan().wrong, _broken(design.sheet))
    )

    def sections() -> Iterator[Section]:
        yield _brief(answer(), plan(), design.sheet, trial.findings, drawn)
        yield from _sections(design, trial, plan(), answer(), drawn)
        yield from _board(drawn)

    return Result(
        command="verify",
        name=name,
        verdict=verdict,
        outcome=verdict,
        word=("The pad passes." if told else "Passes.") if passes else "FAILS.",
        lead=f"{_judged(trial.findings)}, and {_as_they_should(len(trial.runs), 'scenario')}."
        f"{_lacked(design.sheet.part)}{warning}"
        if passes
        else f"{UNPLUGGED if shorts(design.sheet) else ''}"
        f"{broken} of {len(trial.findings)} findings fail, and {wrong} of "
        f"{len(trial.runs)} scenarios go wrong.",
        make_document=lambda: _document(design, trial, vcd, plan(), drawn),
        make_sections=sections,
        findings=trial.findings,
        runs=trial.runs,
        figures={
            "margins": partial(_margins, design.sheet, trial),
            "scope": partial(_scope, design.sheet),
        },
        inputs=inputs,
        assumed=design.sheet.assumed,
        make_answer=answer,
        data=trial,
    )


def _as_they_should(count: int, what: str) -> str:
    return (
        f"the {what} reads as it should"
        if count == 1
        else f"all {counted(count, what)} read as they should"
    )


def _judged(findings: Sequence[Finding]) -> str:
    """How many of the findings of a pass hold, and how many nobody could judge."""
    hold = sum(finding.verdict == "pass" for finding in findings)
    if hold == len(findings):
        return f"All {hold} findings hold"
    warn = sum(finding.warns for finding in findings)
    count = len(findings) - hold - warn
    said = [counted(warn, "warning")] * bool(warn)
    said += [f"{count} {'is' if count == 1 else 'are'} not judged"] * bool(count)
    return f"{hold} findings hold, {', '.join(said)}"


def _lacked(part: RegisterPart) -> str:
    """What a pass rests on where a part's own figures are not known."""
    if not part.lacked or not part.pins:
        return ""
    return (
        f" Not all figures of the {part.name} are its own; what is borrowed was also held to the"
        " worst of its family."
    )


def wave_path(scenario: str, folder: FileLike) -> Path:
    """Where the wave of a scenario lies in a folder."""
    return Path(folder) / usable_name(f"{scenario}.vcd")


def plan_waves(scenarios: Iterable[Scenario], folder: FileLike | None) -> None:
    """Try the places of waves before the work; ``OSError`` as `padbench.files.plan` raises."""
    if folder is not None:
        for scenario in scenarios:
            plan(wave_path(scenario.name, folder))


def save_wave(run: ScenarioRun, folder: FileLike) -> Path:
    """Write the wave of a run into a folder and return where it is."""
    path = wave_path(run.name, folder)
    comment = f"{run.name}: {run.says} ({run.where})"
    write_wave(run.timeline, path, comment=comment)
    return path


_BESIDE = (CONSOLE_LATCH, CONSOLE_CLOCK, CABLE_LATCH, CABLE_CLOCK, CABLE_DATA)
"""The wires that stand beside voltages."""


def write_voltages(
    sheet: SheetLike,
    path: FileLike,
    scenario: str = "each-button",
    own_scenarios: FileLike | None = None,
) -> None:
    """Write a VCD with the voltages of latch, clock and data at the far end (real variables).

    On the port with the least margin, at the slow corner: there the voltages are worst. Raises as
    `verify` does.
    """
    from padbench.circuit.waves import line_waves  # noqa: PLC0415

    design = design_of(sheet)
    run = _on_worst_port(design.sheet, scenario, own_scenarios)
    comment = f"{run.name}: voltages at the worst corner, {run.port} port"
    waves = line_waves(design.sheet, run.port, run.timeline)
    beside = {name: run.timeline.wires[name] for name in _BESIDE}
    write_wave(Timeline(run.timeline.end_ps, beside), path, comment, waves)


def _on_worst_port(sheet: Sheet, scenario: str, own: FileLike | None = None) -> ScenarioRun:
    """At the slow corner of the port with the least margin, where voltages are worst."""
    from padbench.circuit.waves import worst_port  # noqa: PLC0415

    shown = scenario_named(scenario, known_scenarios(sheet, own), "analogue-of")
    return run_scenario(sheet, shown, worst_port(sheet), "slow")


def _document(
    design: Design, trial: Trial, vcd: Mapping[str, Path], plan: Plan, drawn: Drawn | None
) -> VerifyDocument:
    return {
        "verdict": trial.verdict,
        "padbench": __version__,
        "sheet": "" if design.path is None else str(design.path),
        "pad": design.sheet.pad.name,
        "findings": [finding_document(finding) for finding in trial.findings],
        "scenarios": (run_document(run, vcd) for run in trial.runs),  # type: ignore[typeddict-item]
        "ports": [
            {
                "variant": row.variant,
                "port": row.port,
                "verdict": "fail" if row.fails else "pass",
                "fails": list(row.fails),
            }
            for row in trial.ports
        ],
        "changes": [_change_document(change) for change in plan.changes],
        "plan": {
            "holds": plan.holds,
            "says": plan.says,
            "left": [found.id for found in plan.left],
            "replayed": list(plan.replayed),
            "wrong": list(plan.wrong),
            "alternatives": [_change_document(change) for change in plan.alternatives],
        },
        "board": [] if drawn is None else [*drawn.rows],
    }


def _change_document(change: Change) -> ChangeDocument:
    return {
        "key": change.key,
        "title": change.title,
        "value": change.spare,
        "says": change.says,
        "mends": list(change.mends),
    }


def _margins(sheet: Sheet, trial: Trial, path: Path) -> "Figure":
    from padbench.results.margins_plot import margins_figure  # noqa: PLC0415
    from padbench.routines.poll import with_timings  # noqa: PLC0415

    spreads = [*spread_of(with_timings(sheet), trial.findings)]
    return margins_figure(spreads, trial.findings, sheet.pad.name, path)


def _scope(sheet: Sheet, path: Path) -> "Figure":
    """The first read of the scenario in which each button is pressed alone."""
    from padbench.results.scope_picture import scope_figure  # noqa: PLC0415

    return scope_figure(sheet, _on_worst_port(sheet, "each-button"), 0, path)


def _brief(
    answer: Answer,
    plan: Plan,
    sheet: Sheet,
    findings: Sequence[Finding],
    drawn: Drawn | None,
) -> Section:
    """What a person at a bench wants first."""
    ports = [(port.port, "works" if port.works else f"FAILS: {port.says}") for port in answer.ports]
    causes = [
        (str(number), f"{cause.title}{on_board(cause.change, drawn)}: {cause.says}{_mended(cause)}")
        for number, cause in enumerate(answer.causes, 1)
    ]
    after = [("", f"{capital(plan.says)}.")] if plan.says else []
    played = [
        (f"scenarios that {word}", f"{len(names)}: {', '.join(names)}")
        for word, names in (("pass", answer.passing), ("fail", answer.failing))
        if names
    ]
    unjudged = [one.id for one in findings if one.verdict == "not-judged" and not one.warns]
    memory = f"{len(answer.from_memory)} sources behind this are from memory or assumed."
    blocks = [
        Lines("", ports, NEVER_CUT),
        Lines("", _whose(sheet)),
        Lines("What must change", [*causes, *after], kept=True),
        Lines("", [("", one.says) for one in findings if one.warns]),
        Lines("", [("not judged", ", ".join(unjudged))] if unjudged else [], listed=True),
        thinnest_lines(answer.thinnest),
        Lines("", played, 2, listed=True),
        Lines("", [("", memory)] if answer.from_memory else []),
    ]
    return Section("brief", "", blocks, ("brief",))


def _whose(sheet: Sheet) -> list[tuple[str, str]]:
    """Which bits of a read are which pad's, where several share one."""
    others = [(one.first, one.name, spelled(one.byte)) for one in others_in_chain(sheet)]
    own = [(sheet.chip.stages - sheet.last_stage, one.name, "") for one in sheet.pads[:1]]
    return [
        (name, f"bits {first + 1} to {first + 8} of a read{held and f', {held} held meanwhile'}")
        for first, name, held in sorted([*own, *others])
    ]


def _mended(cause: Cause) -> str:
    """What stands under a cause: by name where there is one, else by number."""
    names = [
        some[0] if len(some) == 1 else f"{len(some)} {what}"
        for what, some in (("findings", cause.findings), ("scenarios", cause.scenarios))
        if some
    ]
    word = "Mends" if cause.change is not None and cause.change.mending else "It shows in"
    return f". {word} {joined(names)}" if names else ""


def _sections(
    design: Design, trial: Trial, plan: Plan, answer: Answer, drawn: Drawn | None
) -> Iterator[Section]:
    if trial.verdict == "fail":
        yield Section("change", "Changes in detail", [*_changes(design, plan)], ("page",))
    bought = [*_bought(plan.changes, len(design.sheet.buttons))]
    if bought:
        caption = "For the values above, one pad; padbench wiring lists all parts"
        heads = ("how many", "what", "value", "colour bands")
        yield Section("buy", "What to buy", [Table(caption, heads, bought)], ("page",), paper=True)
    if whose := [f"{name}: {says}" for name, says in _whose(design.sheet)]:
        yield Section("pads", "Whose bits", [Prose(whose, listed=True)])
    yield from _drawn(design.sheet, trial, drawn)
    if answer.thinnest:
        caption = "What holds with least to spare"
        block = findings_block(caption, answer.thinnest, folded=False)
        yield Section("thinnest", "Thinnest margins", [block], ("page",), paper=True)
    # One run of each cause stands open.
    telling = {cause.telling for cause in answer.causes if cause.scenarios}
    order = sorted(trial.runs, key=lambda run: (run.name not in telling, run.verdict == "pass"))
    articles = Articles([*map(_article, order)], len(telling))
    yield Section("scenarios-text", "Scenarios", [articles], ("text",))
    if trial.ports:
        yield Section("ports", "Which pad works on which port", [_ports(trial.ports)])
    yield Section("findings", "Findings", findings_blocks(trial.findings))
    frame = frame_of(design.sheet, trial.runs)
    if frame is not None:
        title = "Where in the frame the poll falls"
        yield Section("frame", title, [FrameStrip(frame, "poll")], ("page",))
    yield Section("scenarios", "Scenarios", [articles], ("page",))


def _broken(sheet: Sheet) -> list[str]:
    """What the sheet itself says is broken."""
    return [f"{Words(sheet).fault(one)} ([[fault]])" for one in sheet.fault]


def _changes(design: Design, plan: Plan) -> Iterator[Block]:
    data = design.sheet.document.data
    if broken := _broken(design.sheet):
        yield Prose([f"Broken: {one}." for one in broken], wrong=True)
    if plan.changes:
        yield Changes([(change, value_now(change, data)) for change in plan.changes])
        yield Prose((f"{capital(plan.says)}.",))
    else:
        says = "No value of the sheet mends it: the scenarios below say what goes wrong."
        yield Prose((says,))
    if plan.alternatives:
        yield Prose(("Alternatives, each in the place of what mends the same:",))
        yield Changes([(change, value_now(change, data)) for change in plan.alternatives])


def _board(drawn: Drawn | None) -> Iterator[Section]:
    """What each part and net of the board was recognised as, and by what."""
    if drawn is not None:
        rows = [(row["reference"], row["what"], row["by"]) for row in drawn.rows]
        caption = f"{drawn.board.name}, {drawn.board.form}"
        table = Table(caption, ("on the board", "recognised as", "by"), rows)
        yield Section("board", "The board as recognised", [table])


def _drawn(sheet: Sheet, trial: Trial, board: Drawn | None) -> Iterator[Section]:
    """Schematic, package and parts of the pad as the sheet has it; a program has none."""
    if sheet.chip.kind == "firmware":
        return
    plan = wiring_plan(sheet, parts_shown(board, sheet))
    needs = [(str(one.count), one.what, one.value, " ".join(one.bands), one.note)
             for one in plan.needs]  # fmt: skip
    parts = Table("Parts, as the sheet has them", ("", "what", "value", "bands", "note"), needs)
    broken = any(finding.verdict == "fail" for finding in trial.findings)
    marked = Words(sheet).places(sheet.fault) if sheet.fault else ()
    mind = [f"Broken: {one}." for one in _broken(sheet)]
    mind += ["A ring stands around its pins; all else is drawn sound."] if marked else []
    says = [Prose(mind, wrong=True)] if mind else []
    drawn = [*says, *drawing(plan, broken=broken, marked=marked), parts]
    yield Section("drawing", "How it is wired", drawn, ("page",), paper=True)


def _bought(needed: Sequence[Change], inputs: int) -> Iterator[tuple[str, ...]]:
    for change in needed:
        if change.ohms is not None and change.key.startswith(("pull-up.", "resistors.")):
            count = inputs if change.key == "pull-up.value" else 1
            bands = " ".join(colour_bands(change.ohms, RESISTOR_TOLERANCE) or ())
            yield f"{count} ×", change.title, change.written, bands


def _ports(rows: Sequence[PortRow]) -> Table:
    ports = list(dict.fromkeys(row.port for row in rows))
    variants = list(dict.fromkeys(row.variant for row in rows))
    works = {(row.variant, row.port): row for row in rows}
    return Table(
        "Levels and edges at the worst corner; no part of the verdict",
        ("latch, clock, data, supply of the pad", *ports),
        [
            (variant, *(_works(works[variant, port]) for port in ports))
            for variant in variants
        ],
    )  # fmt: skip


def _works(row: PortRow) -> Cell:
    return Cell(verdict=row.verdict, codes=row.fails)


def _article(run: ScenarioRun) -> Article:
    return article_of(run, f"Shown: {run.where}; {counted(run.count, 'read')}.")


def play(
    sheet: SheetLike,
    scenario: str | Scenario,
    *,
    port: str | None = None,
    corner: str | None = None,
    own_scenarios: FileLike | None = None,
    waves: FileLike | None = None,
    read: int | None = None,
    pad: str | None = None,
) -> Result:
    """Play one scenario; on all ports and corners, of which the first that fails is shown.

        result = padbench.play("my-pad.toml", "stopped-last-bit")
        [pair.byte for pair in result.runs[0].reads]
        result.runs[0].timeline.wires["cable.data"]

    ``port`` and ``corner`` ("fast", "slow") choose one. ``waves`` is a folder for the wave, and
    ``read`` the read (from 1) that the figure shows; ``pad`` names one where the sheet has several.
    Raises as `verify` does, and `Refusal` for a port that the sheet does not name, a corner that
    there is not, or a read that the run does not have.
    """
    design = design_of(sheet, pad)
    known = known_scenarios(design.sheet, own_scenarios)
    shown = scenario_named(scenario, known)
    ports = design.sheet.works_with.ports
    if port is not None and port not in ports:
        raise Refusal("port", f"the sheet does not name {port[:60]!r}; try {', '.join(ports)}")
    if corner is not None and corner not in CORNERS:
        raise Refusal("corner", f"there is no corner {corner[:60]!r}; try {', '.join(CORNERS)}")
    plan_waves([shown], waves)
    run = standing_for_all(
        [
            run_scenario(design.sheet, shown, on, at)
            for on in ports
            for at in CORNERS
            if port in (None, on) and corner in (None, at)
        ]
    )
    if read is not None and not 1 <= read <= run.count:
        raise Refusal("read", f"{read} is not between 1 and {run.count}, the reads of the run")
    vcd = {} if waves is None else {run.name: save_wave(run, waves)}
    name = design.sheet.pad.name

    def sections() -> Iterator[Section]:
        about = f"{name}, {run.where}"
        lines = [f"{run.name}: {run.says}", about]
        more = [one.says for one in run.problems if one.read is None]
        more += [f"{finding.id}: {finding.says}" for finding in run.broken]
        rows = [("", lines[0]), ("", f"Shown: {run.where}"), *(("FAILS", one) for one in more)]
        acted = Lines("", [("", _acted_on(run))] if run.accepted else [])
        yield Section("brief", "", [Lines("", rows), reads_lines(run), acted], ("brief",))
        yield Section("reads", "", [Prose(lines), reads_table(run, " ")], ("text",))
        if run.accepted:
            yield Section("accepted", "", [Prose((_acted_on(run),))], ("text",))
        if more:
            yield Section("wrong", "", [Prose([f"FAILS: {one}" for one in more])], ("text",))
        yield Section("scenario", run.name, [Articles([_article(run)])], ("page",))
        yield Section("findings", "Findings", findings_blocks(run.findings), ("page",))

    def document() -> PlayDocument:
        findings = [finding_document(finding) for finding in run.findings]
        return {**run_document(run, vcd), "findings": findings}

    def figure(path: Path) -> "Figure":
        from padbench.results.wave_picture import shown_read, wave_figure  # noqa: PLC0415

        number = shown_read(run) if read is None else read - 1
        return wave_figure(run, number, path, pad=name)

    wrong = sum(not pair.as_expected for pair in run.reads)
    return Result(
        command="play",
        name=f"{name}, {run.name}",
        verdict=run.verdict,
        outcome=run.verdict,
        word="Passes." if run.verdict == "pass" else "FAILS.",
        lead=f"{wrong} of {run.count} reads come out wrong."
        if wrong
        else "The read comes out as it should."
        if run.count == 1
        else f"All {run.count} reads come out as they should.",
        make_document=document,
        make_sections=sections,
        findings=run.findings,
        runs=(run,),
        figures={"picture": figure},
        inputs=design.inputs(own_scenarios),
        assumed=design.sheet.assumed,
        wrote={} if waves is None else {"Wave": vcd[run.name]},
        data=run,
    )


def _acted_on(run: ScenarioRun) -> str:
    from padbench.core.buttons import spelled  # noqa: PLC0415

    states = ", ".join(
        "nothing, it does not come back" if state is None else spelled(state)
        for state in run.accepted
    )
    return f"After each poll of agreeing passes the console acts on: {states}"
