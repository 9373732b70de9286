"""What a netlist says of a sheet: the keys that a small sheet beside it leaves out.

load_sheet(path, filled_from_board)          # reads the netlist that [board] names
netlist_alone(Path("my-pad.net"))            # a small sheet for one that has none
"""

import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from padbench.circuit.electric import AS_DRAWN, judge_electric
from padbench.core.buttons import BUTTONS, stages_in_order
from padbench.core.remedies import WHICH_TIE, joined
from padbench.core.units import Value, show
from padbench.parts.own import own_parts
from padbench.sheet import STARTER, Sheet, load_sheet
from padbench.sheet.fields import ABSENT
from padbench.sheet.model import BoardFile, Cable, Contacts
from padbench.toml import Document
from padbench.wiring.netlists.beside import in_parallel
from padbench.wiring.netlists.compare import judge_board
from padbench.wiring.netlists.formats import read_board
from padbench.wiring.netlists.recognise import Drawn, plug_line, recognise

_ASSUMED: Mapping[str, Mapping[str, Any]] = {
    "pad": {"supply": "5 V ± 5 %"},
    "works-with": {"ports": ["push-pull", "pull-down-only"]},
    "poll": {"use": "plain-loop"},
}
"""What no netlist tells and every sheet must have: as in the starter sheet."""

_TOLERANCE, _NO_TOLERANCE = 0.05, ", as the netlist tells no tolerance"
"""Of a resistor whose netlist tells none."""


def board_of(sheet: Sheet) -> Drawn | None:
    """The board that a sheet names, recognised; None if it names none.

    Raises as `read_board` and `recognise` do.
    """
    if sheet.board is None:
        return None
    with own_parts(sheet.own):
        return _drawn(sheet.document.data, sheet.board, Path(sheet.document.name).parent)


def _drawn(data: Mapping[str, Any], table: BoardFile, beside: Path) -> Drawn:
    """The board of a sheet's data, whose first pad is the one that is meant."""
    pads, chip = data.get("pads") or [], data.get("register")
    lines = [one.get("data") for one in pads]
    stages = chip.get("stages") if isinstance(chip, dict) else 0
    return recognise(
        read_board(beside / table.netlist, table.parts),
        table,
        pads[0].get("register") if pads else "",
        lines.count(lines[0]) if lines else 0,
        stages if isinstance(stages, int) else 0,
        str(pads[0].get("name", "")) if pads else "",
    )


def netlist_alone(path: Path, board: Mapping[str, Any] | None = None) -> Document:
    """A small sheet for a netlist: its name, and what no netlist tells, assumed.

    ``board`` are further keys of its ``[board]``.
    """
    data: dict[str, Any] = {name: {**rows} for name, rows in _ASSUMED.items()}
    data["pad"]["name"] = path.stem
    data["board"] = {"netlist": path.name, **(board or {})}
    filled = {
        f"{name}.{option}": value if isinstance(value, str) else ", ".join(value)
        for name, rows in _ASSUMED.items()
        for option, value in rows.items()
    }
    return Document(str(path), "", data, filled)


def sheet_text(
    path: Path, beside: str, board: Mapping[str, Any]
) -> tuple[str, list[str], list[str]]:
    """The starter sheet with what a netlist tells, keys that it leaves to check, what is wrong.

    ``beside`` is the file as the sheet is to name it, ``board`` are the keys of its ``[board]``.
    The sheet has what is meant: pull-ups also where one is missing, and a button that reaches no
    stage, or another one's, at its usual stage. A resistor that the board has not, or of no known
    value, is "absent"; a part of which the family alone is known is left to the user. Of the ports
    it has those on which all that works.

    Raises as `filled_from_board` does.
    """
    document = filled_from_board(netlist_alone(path, board), path.parent)
    table = BoardFile.model_validate(document.data["board"], by_alias=True, by_name=False)
    drawn = _drawn({}, table, path.parent)
    data = {**document.data, "register": {"part": drawn.likely.name, **document.data["register"]}}
    sheet = load_sheet(replace(document, data=data))
    wrong = [one for one in judge_board(drawn, sheet) if one.verdict == "fail"]
    mistakes = [f"{one.id}: {one.says}" for one in wrong]
    if any(one.id == "board.buttons" for one in wrong):
        mistakes.append("buttons: the sheet has them as drawn, so correct it where that is wrong")
    if sheet.chip.serial_input == "supply":
        mistakes.append(f"wiring.serial-input: it is tied to supply; {WHICH_TIE}")
    values: dict[tuple[str, str], object] = {
        ("pull-up", "value"): ABSENT,
        ("resistors", "latch-to-supply"): ABSENT,
        ("resistors", "clock-to-supply"): ABSENT,
        ("register", "part"): "?",
        ("pad", "name"): path.stem,
    }
    for (name, option), (value, _) in _keys(drawn, meant=True).items():
        values |= {(name, option): value} if option else {}
    usual, stages = stages_in_order(sheet.last_stage), [*sheet.buttons.values()]
    for name, stage in usual.items():
        known = sheet.buttons.get(name, stage)
        values["buttons", name] = stage if stages.count(known) > 1 else known
    text = _with(STARTER, values)
    meant = tomllib.loads(text)
    meant["register"]["part"] = drawn.likely.name
    whole = replace(document, data={**meant, "board": document.data["board"]}, filled={})
    works, left = _ports(load_sheet(filled_from_board(whole, path.parent)))
    mistakes += [f"works-with: {port} is left out: {joined(ids)} fail there" for port, ids in left]
    text = _with(text, {("works-with", "ports"): works})
    tables = {"board": {"netlist": beside, **board}}
    tables["board.parts"] = tables["board"].pop("parts", {})
    for name, rows in tables.items():
        lines = [f"{_toml(key)} = {_toml(value)}\n" for key, value in rows.items()]
        if drawn.order and name == "board":
            lines.append(f"# {plug_line(drawn)}   # as drawn; take the # away if that is right\n")
        text += f"\n[{name}]\n{''.join(lines)}" if lines else ""
    assumed = [
        f"{key} (tolerance)" if what.endswith(_NO_TOLERANCE) else key
        for key, what in document.filled.items() if what
    ]  # fmt: skip
    return text, [*assumed, "board.plug", "contacts", "cable"], mistakes


def _with(text: str, values: Mapping[tuple[str, str], object]) -> str:
    """The text of a sheet with values at keys that it has."""
    for (name, option), value in values.items():
        place = rf"(?ms)^(\[{name}\]\n.*?^){option} = (?:\"[^\"]*\"|\w+|\[[^]]*\])"
        if found := re.search(place, text):
            text = f"{text[: found.end(1)]}{option} = {_toml(value)}{text[found.end() :]}"
    return text


def _ports(sheet: Sheet) -> tuple[list[str], list[tuple[str, list[str]]]]:
    """Those of the sheet's ports on which the board works, and what fails on the others.

    All of them where it works on none: then it is not the port.
    """
    names = [*sheet.works_with.ports]
    rows = judge_electric(sheet, remedies=False).ports
    fails = {row.port: [*row.fails] for row in rows if row.variant == AS_DRAWN}
    works = [name for name in names if not fails[name]]
    left = [(name, fails[name]) for name in names if fails[name]]
    return (works, left) if works else (names, [])


def _toml(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)


def filled_from_board(document: Document, beside: Path) -> Document:
    """The document with what it leaves out and its netlist has; one without ``[board]`` as it is.

    Raises as `read_board` and `recognise` do.
    """
    try:
        table = BoardFile.model_validate(document.data["board"], by_alias=True, by_name=False)
    except (KeyError, ValidationError):
        return document  # the check of the whole sheet says what is wrong with it
    data, filled = {**document.data}, {**document.filled}
    pads = data.get("pads", [])
    if not isinstance(pads, list) or not all(isinstance(one, dict) for one in pads):
        return document  # as above
    drawn = _drawn(data, table, beside)
    if pads:
        places = {part.reference: place for place, part in enumerate(drawn.chain, 1)}
        data["pads"] = [
            {**one, "register": places.get(str(one.get("register")), one.get("register"))}
            for one in pads
        ]
    for (name, option), (value, assumed) in _keys(drawn).items():
        rows = data.get(name, {})
        if not isinstance(rows, dict) or option in rows or (not option and name in data):
            continue
        data[name] = {**rows, option: value} if option else value
        filled[f"{name}.{option}".rstrip(".")] = assumed
    for name, option, added in _added(drawn, data):
        data[name] = {**data.get(name, {}), option: added}
        filled[f"{name}.{option}"] = f"{added}, with what is on the board"
    return replace(document, data=data, filled=filled)


def _keys(drawn: Drawn, *, meant: bool = False) -> dict[tuple[str, str], tuple[Any, str]]:
    """Keys of a sheet with their values, and what is assumed in each.

    Of pull-ups the whole board lacks one that one input lacks, but where what was ``meant`` counts.
    """
    chain, pins = drawn.chain, drawn.pins
    ends = [
        int(name[1:])
        for name, number in pins.items()
        if re.fullmatch("Q[0-9]+", name) and "data" in drawn.reach(drawn.net(chain[-1], number))
    ]
    serial = drawn.net(chain[0], pins["serial"])
    ties = [serial, *(link.beyond(serial) for link in drawn.across(serial, "tie"))]
    tie = next((name for name in ("ground", "supply") if drawn.lines[name] in ties), "open")
    stages: dict[str, int] = {}
    for stage, net in drawn.inputs():
        for name in drawn.reach(net) & {*BUTTONS}:
            stages.setdefault(name, stage)
    load = drawn.net(chain[-1], pins["load"])
    last = (len(chain) - 1) * drawn.each + max(ends, default=drawn.each)
    untold = "" if stages else "the usual order, as no contact goes to an input"
    stages = stages or stages_in_order(max(last, len(BUTTONS)))
    keys: dict[tuple[str, str], tuple[Any, str]] = {
        ("register", "stages"): (max(last, *stages.values(), 1), ""),
        ("register", "serial-input"): (tie, ""),
        ("register", "latch-inverted"): (bool(drawn.inverter(load)), ""),
        **({("register", "schmitt-inverter"): (True, "")} if drawn.schmitt else {}),
        ("buttons", ""): ({name: stages[name] for name in BUTTONS if name in stages}, untold),
    }
    if drawn.part is not None:
        keys["register", "part"] = (drawn.part.name, "")
    nets = [net for _, net in drawn.inputs() if net not in drawn.rails]
    nets += [contact.net for contact in drawn.contacts]
    groups = {("pull-up", "value"): [drawn.lifting(net, "pull-up") for net in nets]}
    for line in ("latch", "clock"):
        key = f"{line}-to-supply"
        groups["resistors", key] = [drawn.lifting(drawn.lines[line], key)]
    for place, groups_of in groups.items():
        each_net = [links for links in groups_of if links or not meant]
        if not all(each_net or [[]]):
            keys[place] = ABSENT, ""  # one that lacks its resistor is as bad as all
        elif known := [links for links in each_net if all(link.value for link in links)]:
            keys[place] = _written([in_parallel(links) for links in known if links])
    return keys


def _added(drawn: Drawn, data: Mapping[str, Any]) -> Iterator[tuple[str, str, str]]:
    """What stands on the board besides, added to values of the sheet: table, key, new value.

    A resistor between a contact and its input counts as part of the contact, a capacitor on a line
    as part of the cable.
    """
    told = [(link, link.value.high) for link in drawn.links if link.value is not None]
    ohms = max((high for link, high in told if link.role == "in-contact"), default=0.0)
    on: dict[str, float] = {}
    for link, high in told:
        for net in {*link.nets} - {*drawn.rails} if link.role == "on-line" else ():
            on[net] = on.get(net, 0.0) + high
    farads = max(on.values(), default=0.0)
    try:
        contacts = Contacts.model_validate(data.get("contacts", {}), by_alias=True, by_name=False)
        cable = Cable.model_validate(data.get("cable", {}), by_alias=True, by_name=False)
    except ValidationError:
        return  # the check of the whole sheet says what is wrong
    if ohms:
        for name in ("closed", "worn", "open"):
            yield "contacts", name, _spanning(getattr(contacts, name), ohms, "Ω")
    if farads:
        more = farads / max(cable.length.low, 1e-3)
        yield "cable", "capacitance", _spanning(cable.capacitance, more, "F/m")


def _spanning(value: Value, added: float, unit: str = "Ω") -> str:
    """A value as a sheet has it, more by what is added, its tolerance rounded up."""
    nominal = (value.low + value.high) / 2 + added
    percent = 100 * (value.high + added - nominal) / nominal if nominal else 0.0
    shown = show(nominal, unit, 6)
    return shown if percent < 1e-6 else f"{shown} ± {round(percent + 5e-5, 4):g} %"


def usual_pull_up(drawn: Drawn | None, sheet: Sheet) -> Value | None:
    """What more than half of the board's pull-ups are; None if all are, or the sheet says it."""
    links = [] if drawn is None else [one for one in drawn.links if one.role == "pull-up"]
    values = [link.value for link in links if link.value is not None]
    usual = max(values, key=values.count, default=None)
    if "pull-up.value" not in sheet.document.filled or usual is None:
        return None
    if not len(values) / 2 < values.count(usual) < len(values):
        return None
    return _with_tolerance(usual)


def _with_tolerance(value: Value) -> Value:
    """A resistor with a usual tolerance where the netlist tells none."""
    if value.low < value.high:
        return value
    return Value(value.low, value.low * (1 - _TOLERANCE), value.low * (1 + _TOLERANCE))


def _written(values: list[Value]) -> tuple[str, str]:
    """Several resistors as one value that spans them all, as a sheet has it; what is assumed."""
    spans = [_with_tolerance(value) for value in values]
    low, high = min(span.low for span in spans), max(span.high for span in spans)
    says = _spanning(Value((low + high) / 2, low, high), 0.0)
    return says, f"{says}{_NO_TOLERANCE}" if spans != values else ""
