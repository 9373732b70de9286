"""Faults that the sheet itself shows: what is connected to what."""

from collections.abc import Iterator, Mapping

from padbench.circuit.design import design_of, most, stacked
from padbench.circuit.quantities import of_circuits
from padbench.circuit.worst_case import worst_case
from padbench.core.buttons import BUTTONS, stages_in_order
from padbench.core.findings import Fact, Finding, Met, Place, Rule, Source
from padbench.core.remedies import WHICH_TIE, Remedy, joined
from padbench.parts import PortKind, RegisterPart, worst_of_family
from padbench.sheet import Sheet

MOST_STAGES = 24
"""Stages of a sheet."""

_ORDER = Source("A, B, Select, Start, Up, Down, Left, Right", "common practice")
_GROUNDED = Source("the serial input is tied to ground", "common practice")
_PULLED_UP = Source("each input has a pull-up resistor to supply", "common practice")
_SHEET = Source("the sheet says so", "given")


def _names(finding: Finding, fact: str = "buttons") -> tuple[str, ...]:
    names = finding.facts[fact]
    assert isinstance(names, tuple)
    return tuple(map(str, names))


def _stages_of(finding: Finding) -> dict[str, int]:
    return dict(zip(_names(finding), map(int, _names(finding, "stages")), strict=True))


def _shared(finding: Finding) -> str:
    places = _stages_of(finding)
    return "; ".join(
        f"{joined([name for name in places if places[name] == stage])} share stage {stage}"
        for stage in sorted(set(places.values()))
    )


def _misplaced(finding: Finding) -> str:
    """Names swapped pairs as such, other misplaced buttons one by one; ``stages`` are theirs."""
    stage_of, last = _stages_of(finding), finding.facts["last"]
    assert isinstance(last, int)
    right = stages_in_order(last)
    read_as = {stage: name for name, stage in right.items()}
    words: list[str] = []
    done: set[str] = set()
    for name in stage_of:
        other = read_as.get(stage_of[name], "")
        if name in done:
            continue
        if other in stage_of and read_as.get(stage_of[other]) == name:
            done.add(other)
            words.append(
                f"{name} and {other} are swapped: {name} belongs on stage {right[name]}"
                f" and {other} on stage {right[other]}"
            )
        else:
            seen = f"reads as {other}" if other else "is never read"
            words.append(f"{name} on stage {stage_of[name]} {seen}; it belongs on {right[name]}")
    return "; ".join(words)


_RULES = {
    rule.id: rule
    for rule in (
        Rule(
            "wiring.every-button",
            "",
            {
                "pass": "every button has a stage",
                "fail": lambda finding: (
                    f"no stage for {joined(_names(finding))}: the console will never see it pressed"
                ),
            },
        ),
        Rule("wiring.own-stage", "", {"pass": "no two buttons share a stage", "fail": _shared}),
        Rule(
            "wiring.order",
            "",
            {"pass": "every button stands in its place in the serial order", "fail": _misplaced},
        ),
        Rule(
            "wiring.stages",
            "",
            {"fail": "{stages} stages end on {output} of a {part}, which is brought out to no pin"},
        ),
        Rule(
            "wiring.serial-input",
            "",
            {
                "pass": "the serial input is tied to {tie}{advice}",
                "fail": "the serial input is left open: what a read past the end or a stopped read"
                " shows is chance; tie it to ground{advice}",
            },
        ),
        Rule(
            "wiring.pull-up",
            "",
            {
                "pass": "every input has a pull-up",
                "absent": "without a pull-up an open contact leaves its input floating; 39 kΩ is"
                " usual",
                **{
                    case: f"{what} in place of a pull-up joins supply and ground at every press,"
                    " and the {port} port spares {spared:A}: do not plug this in; 39 kΩ is usual"
                    for case, what in (("wire", "a wire"), ("fail", "{ohms:Ω}"))
                },
            },
        ),
        Rule(
            "wiring.load",
            "",
            {
                "pass": "the register loads while the console's latch is high",
                "clocked": "{part} loads on a clock edge, and the console gives none while the"
                " latch is high; fit a 4021",
                **{
                    case: "{part} loads while its load pin is {level}, so the latch "
                    f"{must} be inverted on its way"
                    for case, must in (("straight", "must"), ("inverted", "must not"))
                },
            },
        ),
        Rule(
            "wiring.stuck-contact",
            "",
            {"fail": lambda finding: f"{joined(_names(finding))} always reads as pressed"},
        ),
    )
}


_FAMILY = Rule(
    "part.family",
    "",
    {
        "pass": "not all figures of the {part} are known ({lacked:list}); with the worst known of"
        " the {family} family all holds as well",
        "fail": "not all figures of the {part} are known ({lacked:list}), and with the worst known"
        " of the {family} family {broken:list} would fail",
    },
)


def judge_family(sheet: Sheet) -> Iterator[Finding]:
    """Whether a part whose times or drive are not its own would do with the worst of its family.

    Everything is judged with those figures, and the timing of a run foretold. Whatever fails with
    the part as its table has it says so itself. ``sheet`` has the timings of its poll.
    """
    part = sheet.part
    worst = None if sheet.chip.kind == "firmware" else worst_of_family(part)
    if worst is None:
        return
    ids = of_circuits("inputs", "latch", "clock", "data", "supply", "run")
    ports = [sheet.port(name) for name in sheet.works_with.ports]
    own, other = (
        worst_case(stacked([design_of(sheet, of, port) for port in ports]), ids)
        for of in (part, worst)
    )
    broken = tuple(
        with_worst.id
        for known, with_worst in zip(own, other, strict=True)
        if known.holds.all() and not with_worst.holds.all()
    )
    yield Finding(
        _FAMILY,
        "fail" if broken else "pass",
        met=Met(other=f"the worst figures of the {part.family} family"),
        sources=tuple(dict.fromkeys(getattr(worst, key).cited for key in part.lacked)),
        facts={
            "part": part.name,
            "family": part.family,
            "lacked": tuple(key.replace("_", "-") for key in part.lacked),
            "broken": broken,
        },
        place=Place("register.part"),
        remedy=Remedy("register.part", advice="own-figures") if broken else None,
    )


def judge_wiring(sheet: Sheet) -> tuple[Finding, ...]:
    """Findings ``wiring.*``; each holds or does not, nothing is measured."""
    return (
        *_buttons(sheet),
        *_stages(sheet),
        _serial_input(sheet),
        _pull_up(sheet),
        _load(sheet),
        *_stuck(sheet),
    )


def _finding(
    id_: str,
    remedy: Remedy | None,
    key: str,
    *sources: Source,
    case: str = "",
    facts: Mapping[str, Fact] | None = None,
) -> Finding:
    """``key`` is the sheet's; it fails where there is something to connect or to fit."""
    return Finding(
        _RULES[id_],
        "fail" if remedy else "pass",
        met=Met(other="table [buttons]" if key == "buttons" else key),
        sources=sources,
        case=case,
        facts=facts or {},
        place=Place(key),
        remedy=remedy,
    )


def _buttons(sheet: Sheet) -> Iterator[Finding]:
    right, stage_of = stages_in_order(sheet.last_stage), sheet.buttons
    taken = list(stage_of.values())
    in_order = [name for name in BUTTONS if name in stage_of]
    for id_, wrong in (
        ("wiring.every-button", [name for name in BUTTONS if name not in stage_of]),
        ("wiring.own-stage", [name for name in stage_of if taken.count(stage_of[name]) > 1]),
        ("wiring.order", [name for name in in_order if stage_of[name] != right[name]]),
    ):
        if id_ == "wiring.own-stage":
            wrong.sort(key=stage_of.__getitem__)
        names = tuple(wrong)
        places: dict[str, tuple[str | int, ...]] = {"buttons": names}
        places["stages"] = tuple(right[name] for name in wrong)
        remedy = Remedy("buttons", advice="connect-buttons", facts=places) if wrong else None
        facts: dict[str, Fact] = {"buttons": names, "last": sheet.last_stage}
        facts["stages"] = tuple(stage_of.get(name, 0) for name in wrong)
        yield _finding(id_, remedy, "buttons", _ORDER, facts=facts)


def last_output(part: RegisterPart, stages: int) -> str:
    """The output of the last register that so many stages end on: ``Q8``, ``Q6`` of 14 stages."""
    return f"Q{(stages - 1) % part.stages + 1}"


def _stages(sheet: Sheet) -> Iterator[Finding]:
    """A chain has to end on a stage that is brought out to a pin; a program has no such pins."""
    part, stages = sheet.part, sheet.chip.stages
    output = last_output(part, stages)
    if sheet.chip.kind == "firmware" or output in part.pins:
        return
    ends = tuple(n for n in range(1, MOST_STAGES + 1) if last_output(part, n) in part.pins)
    yield _finding(
        "wiring.stages",
        Remedy("register.stages", advice="stages", facts={"stages": ends}),
        "register.stages",
        part.pins_cited or _SHEET,
        facts={"stages": stages, "output": output, "part": part.name},
    )


def _serial_input(sheet: Sheet) -> Finding:
    tie = sheet.chip.serial_input
    facts = {"pin": _pin(sheet, "serial")}
    remedy = Remedy("register.serial-input", advice="ground-serial", facts=facts)
    wrong = remedy if tie == "open" else None
    return _finding(
        "wiring.serial-input",
        wrong,
        "register.serial-input",
        _GROUNDED,
        facts={"tie": tie, "advice": "" if tie == "ground" else f"; {WHICH_TIE}"},
    )


UNPLUGGED = "Do not plug this in: a press shorts the supply. "
"""Said before all else where `shorts` does."""


def shorts(sheet: Sheet) -> bool:
    """Whether a press is a short: its pull-up alone does not hold it to what the ports spare.

    V / R > I, with the contact at no resistance at all, as nobody promises that it has any.
    """
    value = sheet.pull_up.value
    return (
        value is not None
        and value.low * most(_least_port(sheet).supply_current) < sheet.pad.supply.high
    )


def _least_port(sheet: Sheet) -> PortKind:
    """The port of the sheet that spares one pad the least current."""
    return min(map(sheet.port, sheet.works_with.ports), key=lambda port: most(port.supply_current))


def _pull_up(sheet: Sheet) -> Finding:
    value, port = sheet.pull_up.value, _least_port(sheet)
    wrong = value is None or shorts(sheet)
    case = "absent" if value is None else "wire" if wrong and value.nominal == 0 else ""
    return _finding(
        "wiring.pull-up",
        Remedy("pull-up.value", advice="fit-pull-up") if wrong else None,
        "pull-up.value",
        _PULLED_UP,
        port.supply_current.cited,
        case=case,
        facts={
            "ohms": None if value is None else value.nominal,
            "port": port.name,
            "spared": most(port.supply_current),
        },
    )


def _load(sheet: Sheet) -> Finding:
    part, inverted = sheet.part, sheet.chip.latch_inverted
    needs = part.load_level == "low"
    remedy, case = None, ""
    if part.load == "synchronous":
        remedy, case = Remedy("register.part", advice="other-register"), "clocked"
    elif inverted != needs:
        remedy = Remedy(
            "register.latch-inverted",
            advice="inverter" if needs else "no-inverter",
            facts={"pin": _pin(sheet, "load")},
        )
        case = "straight" if needs else "inverted"
    # Of a program the sheet says all there is.
    source = part.cited if part.pins else _SHEET
    facts = {"part": part.name, "level": part.load_level}
    return _finding("wiring.load", remedy, "register.part", source, case=case, facts=facts)


def _pin(sheet: Sheet, name: str) -> tuple[int, ...]:
    """Which pin of the package that is; a program has none."""
    number = sheet.part.pins.get(name)
    return () if number is None else (number,)


def _stuck(sheet: Sheet) -> Iterator[Finding]:
    if buttons := tuple(sheet.contacts.stuck):
        remedy = Remedy("contacts.stuck", advice="clean", facts={"buttons": buttons})
        facts = {"buttons": buttons}
        yield _finding("wiring.stuck-contact", remedy, "contacts.stuck", _SHEET, facts=facts)
