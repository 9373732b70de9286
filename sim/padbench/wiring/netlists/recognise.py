"""What the parts and nets of a board are to a pad; nothing is guessed, each row says by what.

drawn = recognise(board, table)
drawn.chain, drawn.lines["latch"], drawn.contacts[0].button
drawn.rows[0]["reference"], drawn.rows[0]["what"], drawn.rows[0]["by"]

What nothing on the board tells is asked for in one line: a `SheetError` that says what to write.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from typing_extensions import TypedDict

from padbench.core.buttons import BUTTONS
from padbench.core.units import UnitError, Value, found_text, read_value
from padbench.parts import RegisterPart
from padbench.parts.own import find_part, known_parts
from padbench.sheet.model import BoardFile
from padbench.toml import SheetError, nearest
from padbench.wiring.netlists.board import NAMES, Board, Part, refused

_BUTTONS = {name.upper(): name for name in BUTTONS} | {"SEL": "Select"}
_KINDS = {letters: kind for kind, many in NAMES["kinds"].items() for letters in many.split()}
_FAMILY_ALONE = ", which names the family alone"
_SERIES = ("in-contact", "in-line", "in-base")
_TRANSISTORS = ("BCE", "GDS")
_VALUE = re.compile(r"([0-9][^\s/,;±%]*(?:\s[kM]?(?:Ω|ohms?))?)(?:[\s/,;±]+([0-9.]+\s*%))?")
_BETWEEN_WORDS = re.compile(r"[\s_{}~()-]+")


class Row(TypedDict):
    """One line of the table: a part or a net, what it was recognised as, and by what."""

    reference: str
    what: str
    by: str


@dataclass(frozen=True, slots=True)
class Contact:
    """A button's contact; ``other`` is the net on its other side, which ought to be ground."""

    reference: str
    button: str
    net: str
    other: str


@dataclass(frozen=True, slots=True)
class Link:
    """A part between two nets; of a diode the first is the anode's.

    ``role`` is a resistor's "pull-up", "latch-to-supply", "clock-to-supply", "pull-down", "tie",
    "in-contact", "in-line" or "in-base" (in series); a capacitor's "decoupling" or "on-line"; a
    diode's "clamp", "conducts", "untold" or "indicator"; of any "idle" and "no-place".
    """

    reference: str
    value: Value | None
    nets: tuple[str, str]
    role: str = "idle"

    def beyond(self, net: str) -> str:
        """The net on the other side; empty if it is not on that net."""
        one, other = self.nets
        return {one: other, other: one}.get(net, "")


@dataclass(frozen=True)
class Drawn:
    """A board as a pad: the chain of registers (that of stage 1 first), lines, contacts, links.

    ``part`` is None where the value names a family alone. ``inverters`` are the input by its
    reference and pin, its net and that of the output; ``carried`` the lines that a connector has a
    pin for. ``pattern`` says how all pins are wrong together: numbered from "below", the package
    "turned" by half, supply and ground "exchanged"; `net` then goes by where they are.
    """

    board: Board
    chain: tuple[Part, ...]
    part: RegisterPart | None
    family: str
    pins: Mapping[str, int]
    lines: Mapping[str, str]
    carried: frozenset[str]
    contacts: tuple[Contact, ...]
    inverters: tuple[tuple[str, str, str], ...]
    links: tuple[Link, ...] = ()
    rows: tuple[Row, ...] = ()
    pattern: str = ""

    @cached_property
    def rails(self) -> tuple[str, str]:
        """The nets of supply and ground."""
        return self.lines["supply"], self.lines["ground"]

    @cached_property
    def each(self) -> int:
        """Stages of one register."""
        return sum(name.startswith("P") for name in self.pins)

    def really(self, number: int) -> int:
        """Where a pin of the data sheet is on the board."""
        rails = {self.pins["VDD"], self.pins["VSS"]}
        exchanged = sum(rails) - number if number in rails else number
        moved = {"below": 17 - number, "turned": (number + 7) % 16 + 1, "exchanged": exchanged}
        return moved.get(self.pattern, number)

    def net(self, part: Part, number: int) -> str:
        """The net of a pin of the data sheet; empty if nothing else is on it."""
        net = part.pins.get(str(self.really(number)), "")
        return net if len(self.board.nets.get(net, ())) > 1 else ""

    def inputs(self) -> Iterator[tuple[int, str]]:
        """Stage (from 1) and net of each parallel input that is on one."""
        for chip, part in enumerate(self.chain):
            for name, number in self.pins.items():
                if name.startswith("P") and (net := self.net(part, number)):
                    yield chip * self.each + int(name[1:]), net

    def across(self, net: str, *roles: str) -> list[Link]:
        """Links from a net, those of some roles alone if any are named."""
        return [
            link for link in self.links if link.beyond(net) and (not roles or link.role in roles)
        ]

    def near(self, net: str) -> list[str]:
        """A net, and those beyond one series resistor."""
        return [net, *(link.beyond(net) for link in self.across(net, *_SERIES))]

    def roles(self, net: str) -> set[str]:
        """What a net is itself: lines of the cable, buttons; empty for an inner one."""
        lines = {line for line, name in self.lines.items() if name == net}
        return lines | {contact.button for contact in self.contacts if contact.net == net}

    def reach(self, net: str) -> set[str]:
        """What a net is, through a series resistor as well."""
        return {role for near in self.near(net) for role in self.roles(near)}

    def inverter(self, net: str) -> str:
        """The reference of the inverter between latch and a net; empty if there is none."""
        fed = (ref for ref, into, out in self.inverters if out == net and "latch" in
               self.reach(into))  # fmt: skip
        return next(fed, "")

    def lifting(self, net: str, role: str) -> list[Link]:
        """The resistors of a role from a net to supply, also those beyond a series resistor."""
        return [link for near in self.near(net) for link in self.across(near, role)]


def recognise(board: Board, table: BoardFile) -> Drawn:
    """What a board is. ``table`` is ``[board]`` of the sheet, which answers what a board cannot.

    Raises `SheetError` where there is no register, or several that are no chain; where no name says
    which net is a line of the cable or which button a contact is; for a part that is not known.
    """
    return _Recognition(board, table).drawn()


class _Recognition:
    """The kinds of all parts first, then wires joined, then the register, then what is on it."""

    def __init__(self, board: Board, table: BoardFile) -> None:
        self.board, self.table = board, table
        self.rows: list[Row] = []
        self.registers: dict[str, RegisterPart] = {}
        self.kinds = {part.reference: self._kind(part) for part in board.parts.values()}

    def refuse(self, wrong: str, instead: str) -> SheetError:
        return refused(self.board.name, wrong, instead)

    def parts(self, *kinds: str) -> list[Part]:
        return [
            part
            for part in self.board.parts.values()
            if part.fitted
            and self.kinds[part.reference][0] in kinds
            and part.reference not in self.table.ignore
        ]

    def told(self, reference: str, what: str, by: str = "") -> None:
        self.rows.append(Row(reference=reference, what=what, by=by or self.kinds[reference][1]))

    def _kind(self, part: Part) -> tuple[str, str]:
        """Kind, and by what; a register of which only the family is told is its first one."""
        letters = "".join(re.findall("^[A-Za-z]+", part.reference)).upper()
        if letters in _KINDS:
            return _KINDS[letters], f"its reference letters {letters}"
        value, by = _plain(part.value), f"its value {part.value}"
        known = {name: find_part(name) for name in known_parts()}
        named = [name for name in known if _plain(name) in value]
        of_family = [name for name, one in known.items() if value == one.family]
        if named:
            self.registers[part.reference] = known[max(named, key=len)]
        elif of_family:
            self.registers[part.reference] = known[of_family[0]]
            by += _FAMILY_ALONE
        if part.reference in self.registers:
            return "register", by
        return ("inverter" if _gate(value) else "unknown"), by

    def drawn(self) -> Drawn:
        for reference in self.table.ignore:
            if reference not in self.board.parts:
                raise self.refuse(f"has no part {found_text(reference)}", "correct [board] ignore")
            self.told(reference, "left out of the judging", "[board] ignore")
        registers = [part.reference for part in self.parts("register")]
        if not registers:
            raise self.refuse(
                f"holds no register that is known among its {len(self.board.parts)} parts",
                f"give it as value one of {', '.join(known_parts())}, or in the sheet under"
                ' [board.parts], U1 = "CD4021B" (padbench new: --part U1=CD4021B)',
            )
        for part in self.parts("unknown"):
            raise self.refuse(
                f"{part.reference} ({found_text(part.value)}) is no part that is known",
                f'leave it out of the judging with [board] ignore = ["{part.reference}"]',
            )
        self._join_wires()
        chain = self._chain([self._numbered(reference) for reference in registers])
        register = self.registers[chain[0].reference]
        lines, carried = self._lines()
        self._leave_others(lines, chain)
        family_alone = self.kinds[chain[0].reference][1].endswith(_FAMILY_ALONE)
        drawn = Drawn(
            self.board,
            chain,
            None if family_alone else register,
            register.family,
            register.pins,
            lines,
            carried,
            tuple(self._contacts(lines, chain, register.pins)),
            tuple(self._inverters(lines)),
        )
        drawn = replace(drawn, links=tuple(_in_series(drawn, [*self._links()])))
        drawn = _by_pattern(drawn)
        links = tuple(replace(link, role=_role(drawn, link)) for link in drawn.links)
        for link in links:
            said = "without a role" if link.role in ("idle", "no-place") else link.role
            self.told(link.reference, f"{said}, {link.nets[0]} to {link.nets[1]}")
        for part in self.board.parts.values():
            if not part.fitted:
                self.told(part.reference, "not fitted", "its value or a mark in the netlist")
            elif self.kinds[part.reference][0] in ("connector", "nothing electric"):
                self.told(part.reference, self.kinds[part.reference][0])
        return replace(drawn, links=links, rows=tuple(self.rows))

    def _join_wires(self) -> None:
        """Fuses, beads, chokes and resistors of 0 Ω are wires."""
        pairs = []
        for part in self.parts("wire", "resistor"):
            nets = sorted(
                set(part.pins.values()), key=lambda net: _is_line(net) or bool(_button(net))
            )
            is_wire = self.kinds[part.reference][0] == "wire"
            value = None if is_wire else self._value(part, "Ω")
            if (is_wire or (value is not None and value.nominal == 0)) and len(nets) == 2:
                pairs.append((nets[0], nets[1]))
                self.told(part.reference, f"a wire between {nets[0]} and {nets[1]}")
                self.kinds[part.reference] = ("joined", "")
        self.board = self.board.joined(pairs)

    def _value(self, part: Part, unit: str) -> Value | None:
        """None where the netlist has none, or where it is no number of a capacitor."""
        if not part.value:
            return None
        found = _VALUE.match(part.value)
        text = found[1] if found else part.value
        if unit == "F" and text[-1:] in "pnuµ":
            text += "F"
        told = f" ± {found[2]}" if found and found[2] else ""
        try:
            return read_value(text + told, unit, example="39k ± 5 %")
        except UnitError as error:
            if unit == "F":
                return None
            raise self.refuse(
                f"{part.reference} has the value {error.found}, which {error.wrong}",
                f'write for example {part.reference} = "39k" under [board.parts]',
            ) from None

    def _chain(self, registers: Sequence[Part]) -> tuple[Part, ...]:
        """The pad's registers, each feeding the next one's serial input."""
        fed_by: dict[str, Part] = {}
        for part in registers:
            serial = part.pins.get(str(self.registers[part.reference].pins["serial"]))
            for other in registers:
                known = self.registers[other.reference]
                last = other.pins.get(str(known.pins[f"Q{known.stages}"]))
                if other is not part and serial and serial == last:
                    fed_by[part.reference] = other
        feeding = {part.reference for part in fed_by.values()}
        chains = []
        for end in (part for part in registers if part.reference not in feeding):
            chain = [end]
            while chain[0].reference in fed_by and len(chain) < len(registers):
                chain.insert(0, fed_by[chain[0].reference])
            chains.append(tuple(chain))
        wanted = self.table.chip
        mine = [c for c in chains if wanted is None or wanted in {part.reference for part in c}]
        if len(mine) != 1 or len({self.registers[part.reference].name for part in mine[0]}) > 1:
            names = " and ".join("-".join(part.reference for part in c) for c in chains) or "they"
            raise self.refuse(
                f"has {len(registers)} registers, of which {names} are not one chain of one part",
                f'say whose pad is meant: [board] register = "{registers[0].reference}"',
            )
        for part in registers:
            place = mine[0].index(part) + 1 if part in mine[0] else 0
            which = f"place {place} of {len(mine[0])} in the chain" if place else "another pad's"
            self.told(part.reference, f"register, {which}")
        return mine[0]

    def _numbered(self, reference: str) -> Part:
        """A register with its pins by number, where a subcircuit has them by name."""
        part, numbers = self.board.parts[reference], self.registers[reference].pins
        by_name = {name.upper(): str(number) for name, number in numbers.items()}
        pins = {by_name.get(pin.upper(), pin): net for pin, net in part.pins.items()}
        if odd := pins.keys() - {*by_name.values()}:
            raise self.refuse(
                f"{reference} has a pin {found_text(min(odd))}, which its part has not",
                f"call its pins 1 to {len(numbers)} or {', '.join(numbers)}",
            )
        part = replace(part, pins=pins)
        self.board = replace(self.board, parts={**self.board.parts, reference: part})
        return part

    def _leave_others(self, lines: Mapping[str, str], chain: Sequence[Part]) -> None:
        """What hangs on the registers of other pads alone is theirs."""
        shared = {*lines.values()}
        mine = {net for part in chain for net in part.pins.values()} - shared
        registers = [part for part in self.parts("register") if part not in chain]
        theirs = {net for part in registers for net in part.pins.values()} - mine - shared
        for part in self.parts("contact", "resistor", "capacitor", "diode"):
            nets = {*part.pins.values()}
            if nets & theirs and not nets & mine:
                self.told(part.reference, "another pad's, not judged here", "its nets")
                self.kinds[part.reference] = ("another pad's", "")

    def _lines(self) -> tuple[dict[str, str], frozenset[str]]:
        """The net of each line of the cable, and the lines that a connector carries."""
        outside = self.parts("connector", "nothing electric")
        carried = {net for part in outside for net in part.pins.values()}
        lines: dict[str, str] = {}
        for line in NAMES["lines"]:
            given, nets = getattr(self.table, line), self.board.nets
            by = f"[board] {line}" if given is not None else "its name"
            if given is not None:
                found = [net for net in nets if net.upper() == given.upper()][:1]
                if not found:
                    raise self.refuse(
                        f"has no net {found_text(given)}, which [board] {line} names",
                        nearest(given, nets),
                    )
            else:
                named = [net for net in nets if _is_line(net, line)]
                found = [net for net in named if net in carried] or named
            if not found:
                by = "the name of a connector's pin"
                pins = ((part.functions.get(pin, ""), net) for part in outside
                        for pin, net in part.pins.items())  # fmt: skip
                found = [*dict.fromkeys(net for function, net in pins if _is_line(function, line))]
            if len(found) != 1:
                wrong = f"{found[0]} and {found[1]} may both be" if found else "no name tells"
                raise self.refuse(
                    f"{wrong} the {line}",
                    f'write [board] {line} = "NET" (--{line} NET with padbench new);'
                    f" nets of connectors: {', '.join(sorted(carried)[:12]) or 'none'}",
                )
            lines[line] = found[0]
            self.told(f"net {found[0]}", line, by)
        return lines, frozenset(line for line, net in lines.items() if net in carried)

    def _contacts(
        self, lines: Mapping[str, str], chain: Sequence[Part], numbers: Mapping[str, int]
    ) -> Iterator[Contact]:
        """Switches to ground; pins of a connector to a membrane, whose other side is not seen."""
        ground = lines["ground"]
        places = [str(number) for name, number in numbers.items() if name.startswith("P")]
        inputs = {part.pins.get(place, "") for part in chain for place in places}
        on_board = {net for part in self.parts("contact") for net in part.pins.values()}
        for part in self.parts("contact"):
            nets = {net: pin for pin, net in part.pins.items()}
            sides = [net for net in nets if net != ground]
            # The side with a name, or at an input, is the button's.
            sides.sort(key=lambda net: (not _button(net), net not in inputs))
            if len(sides) == 2 and ground not in nets:
                yield self._contact(part, sides[0], sides[1])
            elif ground in nets:
                for net in sides:
                    yield self._contact(part, net, ground, part.functions.get(nets[net], ""))
            elif len(nets) > 1:
                raise self.refuse(
                    f"the contact {part.reference} has {len(nets)} nets and none is ground",
                    f'connect it, or leave it out: [board] ignore = ["{part.reference}"]',
                )
        for part in self.parts("connector"):
            for pin, net in part.pins.items():
                alone = len(self.board.nets[net]) < 2 or net in on_board | {*lines.values()}
                if not alone and (net in inputs or _button(net)):
                    yield self._contact(part, net, ground, part.functions.get(pin, ""))

    def _contact(self, part: Part, net: str, other: str, function: str = "") -> Contact:
        alone = len(set(part.pins.values())) == 2
        ways = (
            (part.value if alone else "", f"its value {part.value}"),
            (part.reference if alone else "", "its reference"),
            (function, f"the name of its pin {function}"),
            (net, f"the net {net}"),
        )
        for text, by in ways:
            if button := _button(text):
                self.told(part.reference, f"contact of {button}", by)
                return Contact(part.reference, button, net, other)
        raise self.refuse(
            f"no name tells which button {part.reference} on {found_text(net)} is",
            f'name its net, or write {part.reference} = "Up" under [board.parts]',
        )

    def _links(self) -> Iterator[Link]:
        for part in self.parts("resistor", "capacitor", "diode", "wire"):
            kind = self.kinds[part.reference][0]
            nets = [part.pins[pin] for pin in sorted(part.pins)]
            if len(nets) > 2:
                raise self.refuse(
                    f"{part.reference} is a {kind} with {len(nets)} pins",
                    "draw single ones, or leave it out with [board] ignore",
                )
            ends = {part.functions.get(pin, "").upper(): net for pin, net in part.pins.items()}
            if kind == "diode" and {"A", "K"} <= ends.keys():
                yield Link(part.reference, None, (ends["A"], ends["K"]), "diode")
            else:
                unit = {"resistor": "Ω", "capacitor": "F"}.get(kind, "")
                value = self._value(part, unit) if unit else None
                role = "diode, untold" if kind == "diode" else kind
                yield Link(part.reference, value, _two(nets), role)
        for part in self.parts("contact"):
            if len(set(part.pins.values())) < 2:
                yield Link(part.reference, None, _two([*part.pins.values()]), "contact")

    def _inverters(self, lines: Mapping[str, str]) -> Iterator[tuple[str, str, str]]:
        """Gates that are fed, and transistors from ground: reference, input, output."""
        for part in self.parts("inverter"):
            gate = _gate(_plain(part.value))
            for line in ("supply", "ground"):
                if part.pins.get(gate[line]) != lines[line]:
                    raise self.refuse(
                        f"{part.reference} pin {gate[line]} is not on {line}",
                        "connect the inverter",
                    )
            self.told(part.reference, "inverter")
            for into, out in gate["pins"]:
                name = f"{part.reference} pin {into}"
                yield name, part.pins.get(into, ""), part.pins.get(out, "")
        for part in self.parts("transistor"):
            ends = {part.functions.get(pin, ""): net for pin, net in part.pins.items()}
            names = next((one for one in _TRANSISTORS if {*one} <= ends.keys()), "")
            if not names or ends[names[2]] != lines["ground"]:
                raise self.refuse(
                    f"{part.reference} is no transistor from ground whose pins are named",
                    "name them B, C, E or G, D, S, or leave it out with [board] ignore",
                )
            self.told(part.reference, "transistor as an inverter, taken as an ideal one")
            yield part.reference, ends[names[0]], ends[names[1]]


def _by_pattern(drawn: Drawn) -> Drawn:
    """The board with the pattern by which supply, ground, clock, load and data fit best.

    Four of these five must fit, and more than do as the pins are numbered.
    """
    patterns = ("", "exchanged", *(("below", "turned") if len(drawn.pins) == 16 else ()))
    outputs = [name for name in drawn.pins if re.fullmatch("Q[0-9]+", name)]
    wanted = {"supply": ["VDD"], "ground": ["VSS"], "clock": ["clock"], "latch": ["load"]}
    fitting = {}
    for one in (replace(drawn, pattern=pattern) for pattern in patterns):
        fits = 0
        for line, names in {**wanted, "data": outputs}.items():
            nets = [one.net(one.chain[-1], one.pins[name]) for name in names]
            fed = line == "latch" and one.inverter(nets[0])
            fits += bool(fed) or any(line in one.reach(net) for net in nets)
        fitting[one.pattern] = fits
    best = max(fitting, key=fitting.__getitem__)
    return replace(drawn, pattern=best) if fitting[best] >= 4 else drawn


def _in_series(drawn: Drawn, links: Sequence[Link]) -> Iterator[Link]:
    """Links that do nothing and series resistors with their role; others are found through them."""
    pins = {net for part in drawn.chain for net in part.pins.values()}
    fed = {into for _, into, _ in drawn.inverters} - pins
    pins |= fed
    rails = {*drawn.rails}
    for link in links:
        own = [net for net in link.nets if drawn.roles(net)]
        inner = [net for net in link.nets if net not in own]
        role = link.role
        if len({net for net in link.nets if len(drawn.board.nets.get(net, ())) > 1}) < 2:
            role = "idle"
        elif role == "resistor" and len(own) == 1 and not {*own} & rails and {*inner} <= pins:
            at_button = drawn.roles(own[0]) & {*BUTTONS}
            role = "in-contact" if at_button else "in-base" if {*inner} <= fed else "in-line"
        yield replace(link, role=role)


def _role(drawn: Drawn, link: Link) -> str:
    """What a link between two nets does, by the nets that it is between."""
    if link.role in ("idle", *_SERIES):
        return link.role
    rails = [net for net in link.nets if net in drawn.rails]
    if len(rails) != 1:
        if link.role == "diode" and link.nets == drawn.rails:
            return "conducts"
        between = {"capacitor": "decoupling", "diode": "clamp", "diode, untold": "untold"}
        return between.get(link.role, "no-place") if rails else "no-place"
    net = link.beyond(rails[0])
    reach = drawn.reach(net)
    if link.role == "resistor":
        return _resistor_role(drawn, net, reach, lifts=rails[0] == drawn.rails[0])
    if link.role == "capacitor":
        return "on-line" if reach & {"latch", "clock", "data"} and link.value else "no-place"
    blocks = link.nets in ((drawn.rails[1], net), (net, drawn.rails[0]))
    way = "untold" if link.role != "diode" else "clamp" if blocks else "conducts"
    return way if reach else "indicator"


def _resistor_role(drawn: Drawn, net: str, reach: set[str], *, lifts: bool) -> str:
    """Of a resistor from a net to supply (it lifts) or to ground."""
    inputs = {near for _, one in drawn.inputs() for near in drawn.near(one)}
    line = next((line for line in ("latch", "clock") if line in reach), "")
    if line and lifts:
        return f"{line}-to-supply"
    if reach & {*BUTTONS} or (net in inputs and lifts and not reach):
        return "pull-up" if lifts else "pull-down"
    lit = any(other.role.startswith("diode") for other in drawn.across(net))
    tied = {*inputs, *(drawn.net(part, drawn.pins["serial"]) for part in drawn.chain)}
    tied |= {into for _, into, _ in drawn.inverters}
    tied |= {out for _, _, out in drawn.inverters if lifts}
    return "tie" if not reach and (net in tied or lit) else "no-place"


def _two(nets: Sequence[str]) -> tuple[str, str]:
    """The nets of a part with two ends; empty for an end that is nowhere."""
    one, other = (*nets, "", "")[:2]
    return one, other


def _gate(value: str) -> Mapping[str, Any]:
    """The row of an inverter; empty if it is none."""
    return next((gate for gate in NAMES["gates"] if re.search(gate["value"], value)), {})


def _plain(value: str) -> str:
    return re.sub("[^A-Z0-9]", "", value.upper())


def _words(text: str) -> list[str]:
    """The words of a name, without the path of its sheet and what stands beside the one meant."""
    last = text.upper().strip("/").rsplit("/", 1)[-1]
    return [
        word for word in _BETWEEN_WORDS.split(last) if word and word not in NAMES["beside"]["words"]
    ]


def _is_line(net: str, line: str | None = None) -> bool:
    lines = NAMES["lines"] if line is None else (line,)
    return any(_words(net) == [name] for one in lines for name in NAMES["lines"][one])


def _button(text: str) -> str:
    """The button that a name is of; empty if it is none."""
    words = [re.sub("^(?:SW|BTN|KEY|PB)(?=[A-Z]{2})", "", word) for word in _words(text)]
    return _BUTTONS.get(words[0], "") if len(words) == 1 else ""
