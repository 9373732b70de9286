"""Faults that the sheet itself shows: what is connected to what."""

from collections.abc import Iterator

from padbench.circuit.design import most
from padbench.core.bridge import told
from padbench.core.buttons import BUTTONS
from padbench.core.findings import Finding, Remedy, Verdict
from padbench.core.sentences import cited
from padbench.core.units import show
from padbench.parts import PortKind, RegisterPart
from padbench.sheet import Sheet

__all__ = ["judge_wiring", "last_output", "shorts"]

_MOST = 24
"""Stages of a sheet."""

_ORDER = "common practice: A, B, Select, Start, Up, Down, Left, Right"


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
    id_: str, good: bool, where: str, source: str, says: str, key: str = "", mend: str = ""
) -> Finding:
    """``key`` is the sheet's, ``mend`` what to connect or to fit where it fails."""
    verdict: Verdict = "pass" if good else "fail"
    remedy = None if good else Remedy(key, None, None, "", (), (), mend)
    return told(id_, verdict, None, None, None, "", where, source, says, remedy)


def _buttons(sheet: Sheet) -> Iterator[Finding]:
    stages = sheet.chip.stages
    right = {name: stages - place for place, name in enumerate(BUTTONS)}
    missing = [name for name in BUTTONS if name not in sheet.buttons]
    yield _finding(
        "wiring.every-button",
        not missing,
        "table [buttons]",
        _ORDER,
        f"no stage for {_and(missing)}: the console will never see it pressed"
        if missing
        else "every button has a stage",
        "buttons",
        "connect " + _and([f"{name} to stage {right[name]}" for name in missing]),
    )
    on_stage: dict[int, list[str]] = {}
    for name, stage in sheet.buttons.items():
        on_stage.setdefault(stage, []).append(name)
    shared = [(stage, names) for stage, names in sorted(on_stage.items()) if len(names) > 1]
    yield _finding(
        "wiring.own-stage",
        not shared,
        "table [buttons]",
        _ORDER,
        "; ".join(f"{_and(names)} share stage {stage}" for stage, names in shared)
        if shared
        else "no two buttons share a stage",
        "buttons",
        "connect "
        + _and([f"{name} to stage {right[name]}" for _, names in shared for name in names]),
    )
    yield _finding(
        "wiring.order",
        all(stage == right[name] for name, stage in sheet.buttons.items()),
        "table [buttons]",
        _ORDER,
        _order_says(sheet.buttons, right),
        "buttons",
        "connect "
        + _and(
            [
                f"{name} to stage {right[name]}"
                for name, stage in sheet.buttons.items()
                if stage != right[name]
            ]
        ),
    )


def last_output(part: RegisterPart, stages: int) -> str:
    """The output of the last register that so many stages end on: ``Q8``, ``Q6`` of 14 stages."""
    return f"Q{(stages - 1) % part.stages + 1}"


def _stages(sheet: Sheet) -> Iterator[Finding]:
    """A chain has to end on a stage that is brought out to a pin; a program has no such pins."""
    part, stages = sheet.part, sheet.chip.stages
    output = last_output(part, stages)
    if sheet.chip.kind == "firmware" or output in part.pins:
        return
    ends = [n for n in range(1, _MOST + 1) if last_output(part, n) in part.pins]
    yield _finding(
        "wiring.stages",
        False,
        "register.stages",
        cited((part.cited,)),
        f"{stages} stages end on {output} of a {part.name}, which is brought out to no pin",
        "register.stages",
        f"take {', '.join(map(str, ends[:-1]))} or {ends[-1]} stages",
    )


def _order_says(stage_of: dict[str, int], right: dict[str, int]) -> str:
    """Names swapped pairs as such, other misplaced buttons one by one."""
    read_as = {stage: name for name, stage in right.items()}
    wrong = [name for name in BUTTONS if name in stage_of and stage_of[name] != right[name]]
    if not wrong:
        return "every button stands in its place in the serial order"
    said, done = [], set()
    for name in wrong:
        other = read_as.get(stage_of[name])
        if name in done:
            continue
        if other in wrong and read_as.get(stage_of[other]) == name:
            done.add(other)
            said.append(
                f"{name} and {other} are swapped: {name} belongs on stage {right[name]}"
                f" and {other} on stage {right[other]}"
            )
        else:
            seen = f"reads as {other}" if other else "is never read"
            said.append(f"{name} on stage {stage_of[name]} {seen}; it belongs on {right[name]}")
    return "; ".join(said)


def _serial_input(sheet: Sheet) -> Finding:
    tie = sheet.chip.serial_input
    return _finding(
        "wiring.serial-input",
        tie != "open",
        "register.serial-input",
        "common practice: the serial input is tied to ground",
        "the serial input is left open: what a read past the end or a stopped read shows is chance;"
        " tie it to ground"
        if tie == "open"
        else f"the serial input is tied to {tie}",
        "register.serial-input",
        f"connect to ground the serial input{_pin(sheet, 'serial')}",
    )


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
    says = "every input has a pull-up"
    if value is None:
        says = "without a pull-up an open contact leaves its input floating; 39 kΩ is usual"
    elif shorts(sheet):
        what = "a wire" if value.nominal == 0 else show(value.nominal, "Ω")
        spared = show(most(port.supply_current), "A")
        says = (
            f"{what} in place of a pull-up joins supply and ground at every press, and the"
            f" {port.name} port spares {spared}: do not plug this in; 39 kΩ is usual"
        )
    return _finding(
        "wiring.pull-up",
        value is not None and not shorts(sheet),
        "pull-up.value",
        "common practice: each input has a pull-up resistor to supply; what a port spares: "
        + cited((port.supply_current.cited,)),
        says,
        "pull-up.value",
        "fit a resistor from each input to supply, 39 kΩ for example, and no wire",
    )


def _load(sheet: Sheet) -> Finding:
    part = sheet.part
    inverted = sheet.chip.latch_inverted
    needs = part.load_level == "low"
    if part.load == "synchronous":
        says = (
            f"{part.name} loads on a clock edge, and the console gives none while the latch is"
            " high; fit a 4021"
        )
    elif inverted != needs:
        says = (
            f"{part.name} loads while its load pin is {part.load_level}, so the latch"
            f" {'must' if needs else 'must not'} be inverted on its way"
        )
    else:
        says = "the register loads while the console's latch is high"
    good = part.load == "transparent" and inverted == needs
    key, mend = (
        "register.latch-inverted",
        (
            f"put an inverter between latch and the load pin{_pin(sheet, 'load')}"
            if needs
            else f"connect latch without an inverter to the load pin{_pin(sheet, 'load')}"
        ),
    )
    if part.load == "synchronous":
        key, mend = "register.part", "take the 4014 out and fit a 4021, which has the same pins"
    return _finding("wiring.load", good, "register.part", cited((part.cited,)), says, key, mend)


def _pin(sheet: Sheet, name: str) -> str:
    """Which pin of the package that is; a program has none."""
    number = sheet.part.pins.get(name)
    return "" if number is None else f", pin {number}"


def _stuck(sheet: Sheet) -> Iterator[Finding]:
    if sheet.contacts.stuck:
        yield _finding(
            "wiring.stuck-contact",
            False,
            "contacts.stuck",
            "the sheet says so",
            f"{_and(list(sheet.contacts.stuck))} always reads as pressed",
            "contacts.stuck",
            "clean or replace what closes " + _and(list(sheet.contacts.stuck)),
        )


def _and(names: list[str]) -> str:
    return " and ".join(names) if len(names) < 3 else ", ".join(names[:-1]) + " and " + names[-1]
