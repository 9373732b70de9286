"""What to solder for a sheet, pin by pin, and the voltages to find with a meter."""

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, cast

from typing_extensions import TypedDict

from padbench.circuit.electric import judge_electric
from padbench.circuit.pad_model import Corner
from padbench.circuit.waves import worst_port
from padbench.core.findings import Finding
from padbench.core.sentences import capital
from padbench.jobs.loading import Refusal, SheetLike, design_of
from padbench.results.blocks import (
    NEVER_CUT,
    Block,
    Drawing,
    Lines,
    Prose,
    Table,
    findings_blocks,
)
from padbench.results.change import Change, plan_of
from padbench.results.documents import FindingDocument, Outcome, finding_document
from padbench.results.pictures import new_figure
from padbench.results.result import Result, Section
from padbench.routines.poll import with_timings
from padbench.trials.trial import Trial
from padbench.wiring.mistakes import UNPLUGGED, judge_family, judge_wiring, shorts
from padbench.wiring.netlists.compare import judge_board
from padbench.wiring.netlists.recognise import Drawn
from padbench.wiring.netlists.sheet import board_of, usual_pull_up
from padbench.wiring.netlists.shown import parts_shown
from padbench.wiring.plan import Range, WiringPlan, wiring_plan
from padbench.wiring.schematic import Picture, draw_on, drawn_svg, packages, schematic
from padbench.wiring.spice import spice_netlist

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Pair = list[float] | None
"""Lowest and highest volts; null where none can be foretold."""


class VoltsDocument(TypedDict):
    """What a meter finds on a pin against ground: supply off, between two reads, a button held."""

    off: list[float]
    idle: Pair
    held: dict[str, Pair]


class PinDocument(TypedDict):
    """One pin of one package; ``chip`` counts along the chain, ``reference`` is as drawn."""

    chip: int
    reference: str
    pin: int
    name: str
    net: str
    goes_to: str
    why: str
    volts: VoltsDocument


class PartDocument(TypedDict):
    """A line of the parts list; ``bands`` are a resistor's colours."""

    count: int
    what: str
    value: str
    bands: list[str]
    note: str


class CoreDocument(TypedDict):
    """A core of the cable; its colour is for the user to fill in."""

    core: str
    goes_to: str
    colour: None


class WiringDocument(TypedDict):
    """``padbench wiring``; ``findings`` are those that fail."""

    verdict: Outcome
    findings: list[FindingDocument]
    part: str
    pins: list[PinDocument]
    parts: list[PartDocument]
    cable: list[CoreDocument]
    checklist: list[str]
    sources: dict[str, str]


def plan_wiring(sheet: SheetLike, pad: str | None = None) -> Result:
    """What to solder: pins and nets, parts, cable, checks in order, voltages to find.

        result = padbench.plan_wiring("my-pad.toml")
        result.data.pins[0].net, result.data.pins[0].held["A"]      # "A", volts with A held

    ``pad`` names one where the sheet has several. ``result.data`` is the `WiringPlan`; the result
    fails if the sheet cannot work as it is. Raises `SheetError` for a sheet that cannot be used,
    and `Refusal` for a program instead of a register: it has no package to wire.
    """
    design = design_of(sheet, pad)
    if design.sheet.chip.kind == "firmware":
        raise Refusal(
            "register.kind",
            "a firmware has no package of its own to wire; give a register, for example part = "
            '"CD4021B"',
        )
    drawn = board_of(design.sheet)
    findings = (
        *(() if drawn is None else judge_board(drawn, design.sheet)),
        *judge_wiring(design.sheet),
        *judge_family(design.sheet),
        *judge_electric(design.sheet).findings,
    )
    faults = tuple(finding for finding in findings if finding.verdict == "fail")
    warned = "".join(f" {capital(finding.says)}." for finding in findings if finding.warns)
    warned += " Its [[fault]] is left out: these are a sound pad's." * bool(design.sheet.fault)
    plan = wiring_plan(design.sheet, parts_shown(drawn, design.sheet))
    usual = usual_pull_up(drawn, design.sheet)
    unplugged = UNPLUGGED if shorts(design.sheet) else ""
    return Result(
        command="wiring",
        name=f"{design.sheet.pad.name}, {plan.part}",
        verdict="fail" if faults else "pass",
        outcome="fail" if faults else "pass",
        word="CANNOT WORK AS IT IS." if faults else "Ready to wire.",
        lead=f"{unplugged}{len(faults)} of {len(findings)} findings fail: mend the sheet before "
        "you wire anything."
        if faults
        else f"Unplug first, and go by the checks in their order.{warned}",
        make_document=lambda: _document(plan, faults),
        make_sections=lambda: [
            *_sections(
                plan,
                faults,
                plan_of(design.sheet, Trial(findings, (), ()), usual).changes,
                drawn,
            )
        ],
        findings=findings,
        inputs=design.inputs(),
        assumed=design.sheet.assumed,
        figures={
            name: partial(_figure, picture, plan, bool(faults))
            for name, picture in (("drawing", packages), ("schematic", schematic))
        },
        data=plan,
    )


def _figure(picture: Picture, plan: WiringPlan, broken: bool, path: Path) -> "Figure":
    figure = new_figure(path, 1, 1)
    draw_on(figure.add_axes((0, 0, 1, 1)), picture, plan, broken=broken)
    return figure


def netlist(plan: WiringPlan, port: str | None, corner: Corner) -> str:
    """One read of a plan's pad for a circuit simulator, on the port named or the thinnest one.

    Raises `Refusal` for a port that is not known.
    """
    port, known = port or worst_port(plan.sheet), plan.sheet.known_ports
    if port not in known:
        raise Refusal("port", f"there is no port {port[:60]!r}; try {', '.join(known)}")
    return spice_netlist(with_timings(plan.sheet), port, corner)


def _document(plan: WiringPlan, faults: Sequence[Finding]) -> WiringDocument:
    return {
        "verdict": "fail" if faults else "pass",
        "findings": [finding_document(fault) for fault in faults],
        "part": plan.part,
        "pins": [
            {
                "chip": pin.chip,
                "reference": plan.named(pin.chip),
                "pin": pin.number,
                "name": pin.name,
                "net": pin.net,
                "goes_to": pin.goes_to,
                "why": pin.why,
                "volts": {
                    "off": [0.0, 0.0],
                    "idle": _pair(pin.idle),
                    "held": {button: _pair(volts) for button, volts in pin.held.items()},
                },
            }
            for pin in plan.pins
        ],
        "parts": [cast(PartDocument, asdict(need)) for need in plan.needs],
        "cable": [{"core": core, "goes_to": there, "colour": None} for core, there in plan.cores],
        "checklist": list(plan.checklist),
        "sources": dict(plan.sources),
    }


def _pair(volts: Range | None) -> Pair:
    return None if volts is None else [round(volts[0], 6), round(volts[1], 6)]


def _sections(
    plan: WiringPlan, faults: Sequence[Finding], changes: Sequence[Change], drawn: Drawn | None
) -> Iterator[Section]:
    yield _brief(plan, faults, changes, drawn)
    if faults:
        title = "THIS CANNOT WORK AS IT IS. Mend the sheet before you wire anything:"
        lines = [*map(_fault, faults)]
        yield Section("faults", title, [Prose(lines, wrong=True)], ("text",))
        yield Section("broken", "Mend first", findings_blocks(faults), ("page",))
    yield Section(
        "drawing", "How it is wired", drawing(plan, broken=bool(faults)), ("page",), paper=True
    )
    yield Section("pins", "Pins", [_pins(plan)], paper=True)
    needs = [
        (str(need.count), need.what, need.value, " ".join(need.bands), need.note)
        for need in plan.needs
    ]
    heads = ("", "what", "value", "bands", "")
    yield Section("parts", "Parts", [Table("Parts", heads, needs)], paper=True)
    cores = [(core, there, "________") for core, there in plan.cores]
    cable = Table("Cable", ("core", "goes to", "colour of yours"), cores)
    yield Section("cable", "Cable", [cable], paper=True)
    sources = [f"{what}: {source}" for what, source in plan.sources]
    title = "Where pins and voltages come from:"
    yield Section("sources", title, [Prose(sources, listed=True)])
    steps = Prose(plan.checklist, numbered=True)
    yield Section("checklist", "Bring it up in this order:", [steps], paper=True)


def on_board(change: Change | None, drawn: Drawn | None) -> str:
    """Which parts a value comes from: nobody can change a value at its key alone."""
    names = drawn.behind(change.key) if drawn is not None and change is not None else ""
    return f", on the board {names}" if names else ""


def _brief(
    plan: WiringPlan, faults: Sequence[Finding], changes: Sequence[Change], drawn: Drawn | None
) -> Section:
    """The pins, and below them what fits: what to mend first, parts, how to begin."""
    if faults:
        # No pins: whoever wires by them before the sheet is mended wires it wrong.
        said = {fault.id: fault.says for fault in faults}
        mend = []
        for number, change in enumerate(changes, 1):
            why = [said[id_] for id_ in change.mends if id_ in said and said[id_] != change.whole]
            says = "; ".join([change.whole, *why[:1]])
            mend.append((str(number), f"{change.title}{on_board(change, drawn)}: {says}"))
        return Section("brief", "", [Lines("What must change", mend)], ("brief",))
    parts = "; ".join(f"{need.count} × {need.what} {need.value}".rstrip() for need in plan.needs)
    steps = [(str(number), step) for number, step in enumerate(plan.checklist, 1)]
    blocks = [
        _pins(plan, short=True),
        Lines("", [("parts", parts)], NEVER_CUT),
        Lines("Bring it up in this order", steps, NEVER_CUT),
    ]
    return Section("brief", "", blocks, ("brief",))


def drawing(plan: WiringPlan, *, broken: bool, marked: Collection[int] = ()) -> list[Block]:
    """Schematic and packages of a sheet, for a page; without schemdraw it says what is missing.

    ``marked`` are pins by place in the plan; the packages have a ring around them.
    """
    ringed = partial(packages, marked=marked)
    pictures = (("Schematic", schematic), ("Package, from above", ringed))
    try:
        drawn = [(says, drawn_svg(picture, plan, broken=broken)) for says, picture in pictures]
    except ValueError as error:
        return [Prose([f"No drawing: {error}."])]
    # Where something is marked, the packages come first: they show it.
    return [Drawing(drawn[::-1] if marked else drawn)]


def _fault(fault: Finding) -> str:
    mend = f" Change: {fault.remedy.whole}." if fault.remedy is not None else ""
    return f"{fault.id} ({fault.rests_on}): {fault.says}.{mend}"


def _pins(plan: WiringPlan, *, short: bool = False) -> Table:
    """All pins with what goes there and their volts; ``short`` fits 80 columns."""
    several = len({pin.chip for pin in plan.pins}) > 1
    rows = []
    for pin in plan.pins:
        moved = {name: volts for name, volts in pin.held.items() if volts != pin.idle}
        plain = short and len({*moved.values()}) == 1
        held = [
            _volts(volts) if plain else f"{name}: {_volts(volts)}" for name, volts in moved.items()
        ]
        rows.append(
            (
                f"{plan.named(pin.chip)}.{pin.number}" if several else str(pin.number),
                pin.name,
                *(
                    [re.sub("( of the cable| to ground)?(;.*)?$", "", pin.goes_to)]
                    if short
                    else (pin.goes_to, pin.why)
                ),
                _volts(pin.idle),
                "\n".join(dict.fromkeys(held)) or "the same",
            )
        )
    title = "Pins: against ground a meter finds (0 V with the supply off)"
    return Table(
        title, ("pin", "name", "goes to", *(() if short else ("why",)), "idle", "button held"), rows
    )


def _volts(volts: Range | None) -> str:
    if volts is None:
        return "–"
    low, high = (f"{x:.2f}" for x in volts)
    return f"{high} V" if low == high else f"{low}–{high} V"
