"""What the parts and nets of a board are to a pad; nothing is guessed, each row says by what.

drawn = recognise(board, table)
drawn.chain, drawn.lines["latch"], drawn.contacts[0].button
drawn.rows[0]["reference"], drawn.rows[0]["what"], drawn.rows[0]["by"]

What nothing on the board tells is asked for in one line: a `SheetError` that says what to write.
"""

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise
from typing import Any

from typing_extensions import TypedDict

from padbench.core.buttons import BUTTONS
from padbench.core.units import UnitError, Value, found_text, read_value
from padbench.parts import RegisterPart
from padbench.parts.own import find_part, known_parts
from padbench.sheet.model import BoardFile
from padbench.toml import SheetError, nearest
from padbench.wiring.mistakes import MOST_STAGES
from padbench.wiring.netlists.board import NAMES, Board, Part, refused
from padbench.wiring.netlists.diodes import inside_joins, nameless_zener, within
from padbench.wiring.netlists.pin_names import our_names

_BUTTONS = {name.upper(): name for name in BUTTONS} | {"SEL": "Select"}
_KINDS = {letters: kind for kind, many in NAMES["kinds"].items() for letters in many.split()}
_FAMILY_ALONE = ", which names the family alone"
_SERIES = ("in-contact", "in-line", "in-base")
_TRANSISTORS = ("BCE", "GDS")
_BESIDE = re.compile(
    r"(?:[\s;±(]|,(?=\s)|(?<![0-9]),|(?<!^[0-9])/)+"
    r"(?:([0-9.]+\s*%)|[0-9.]+\s*V|(?:[0-9]/)?[0-9.]+\s*m?W|[0-9]{4}|X[57]R|C0G|NP0)\)?$",
    re.IGNORECASE,
)
"""Beside a value: tolerance, volts, watts, size, ceramic; "1/4W" alone is no value with watts."""

_ONE_OF = re.compile("^[0-9]+ *[x×] *", re.IGNORECASE)
"""How many a network has, before their value."""

_LARGEST_CHOKE = 1e-3
"""Henries; a larger one is no wire to an edge (common practice, no source)."""

_SHOWN = 4
"""Of many registers, or chains of them, those that a message names."""

_PLAYER = re.compile(r"(?<![A-Z0-9])(?:P|PAD|PL|PLAYER)[\s_-]?([1-9])(?![A-Z0-9])")
"""Beside a button, as in P1_A, "Player 1 A" or /pad1/A: whose it is."""

_POLES = re.compile(
    r"(?<!UN)(?<!NON)(?<!NON[ _-])POLARI[SZ]|ELECTROLYT|TANTAL"
    r"|(?<![A-Z0-9])(?:CP[0-9]?|POL|ELKO|TANT)(?![A-Z0-9])"
)
"""In the value or the library of a capacitor that has a positive pole."""

_BETWEEN_WORDS = re.compile(r"[\s_{}~()-]+")


class Row(TypedDict):
    """One line of the table: a part or a net, what it was recognised as, and by what."""

    reference: str
    what: str
    by: str


@dataclass(frozen=True, slots=True)
class Contact:
    """A button's contact; ``other`` is the net on its other side, which ought to be ground.

    ``player`` is the digit of the pad that its names say it is of; empty if they do not.
    """

    reference: str
    button: str
    net: str
    other: str
    player: str = ""


@dataclass(frozen=True, slots=True)
class Link:
    """A part between two nets; of a diode the first is the anode's. ``kind`` is the part's.

    ``role`` is a resistor's "pull-up", "latch-to-supply", "clock-to-supply", "pull-down", "tie",
    "in-contact", "in-line" or "in-base" (in series), "at-base" (to ground); a capacitor's
    "decoupling", "on-line" or "at-contact"; a diode's "clamp", "conducts", "untold" or "indicator";
    of any "idle" and "no-place".
    """

    reference: str
    value: Value | None
    nets: tuple[str, str]
    kind: str
    role: str

    def beyond(self, net: str) -> str:
        """The net on the other side; empty if it is not on that net."""
        one, other = self.nets
        return {one: other, other: one}.get(net, "")


@dataclass(frozen=True)
class Drawn:
    """A board as a pad: the chain of registers (that of stage 1 first), lines, contacts, links.

    ``likely`` is the register, ``part`` None where the value names its family alone. ``inverters``
    are the input by its reference and pin, its net and that of the output; ``carried`` the lines
    that the ``plug`` has a pin for, which is the connector with most (empty for pads of one pin
    each). ``patterns`` say by reference how all pins of a register are
    wrong together: numbered from "below", the package "turned" by half, supply and ground
    "exchanged", else empty. Its ``pins`` in the chain are put right. Of several pads in a chain
    ``own`` is the register of this one.
    """

    board: Board
    chain: tuple[Part, ...]
    likely: RegisterPart
    part: RegisterPart | None
    pins: Mapping[str, int]
    lines: Mapping[str, str]
    carried: frozenset[str]
    contacts: tuple[Contact, ...]
    inverters: tuple[tuple[str, str, str], ...]
    links: tuple[Link, ...] = ()
    rows: tuple[Row, ...] = ()
    patterns: Mapping[str, str] = field(default_factory=dict)
    own: str = ""
    plug: str = ""
    order: tuple[str, ...] | None = None
    """The lines (or nets of data lines) by pin of the plug as drawn, as ``[board] plug`` has them,
    as far as its pins are counted; None where the sheet or the names of all pins tell them."""
    chips: tuple[str, ...] = ()
    """References of all registers and packages of inverters, those of other pads too."""
    amiss: tuple[tuple[str, str, str, str, str], ...] = ()
    """What is wrong whatever the sheet says: finding, kind of fault, part, where, what is meant."""

    @cached_property
    def rails(self) -> tuple[str, str]:
        """The nets of supply and ground."""
        return self.lines["supply"], self.lines["ground"]

    @cached_property
    def each(self) -> int:
        """Stages of one register."""
        return sum(name.startswith("P") for name in self.pins)

    def really(self, part: Part, number: int) -> int:
        """Where a pin of the data sheet is on the board."""
        return _moved(self.patterns[part.reference], number, self.pins)

    def net(self, part: Part, number: int) -> str:
        """The net of a pin of the data sheet; empty if nothing else is on it."""
        net = part.pins.get(str(number), "")
        return net if len(self.board.nets.get(net, ())) > 1 else ""

    def inputs(self) -> Iterator[tuple[int, str]]:
        """Stage (from 1) and net of each parallel input that is on one."""
        for chip, part in enumerate(self.chain):
            if self.own not in ("", part.reference):
                continue
            for name, number in self.pins.items():
                if name.startswith("P") and (net := self.net(part, number)):
                    yield chip * self.each + int(name[1:]), net

    def across(self, net: str, *roles: str) -> list[Link]:
        """Links from a net, those of some roles alone if any are named."""
        return [link for link in self._on.get(net, ()) if not roles or link.role in roles]

    @cached_property
    def _on(self) -> Mapping[str, Sequence[Link]]:
        """The links from each net."""
        on: dict[str, list[Link]] = {}
        for link in self.links:
            for net in {*link.nets} if all(link.nets) else ():
                on.setdefault(net, []).append(link)
        return on

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

    def behind(self, key: str) -> str:
        """The parts on the board that give a key of the sheet its value, each with its own.

        Of pull-ups those alone that are not as most are, if most are alike.
        """
        roles = {"pull-up.value": "pull-up", "cable.capacitance": "on-line",
                 "resistors.latch-to-supply": "latch-to-supply",
                 "resistors.clock-to-supply": "clock-to-supply"}  # fmt: skip
        links = [link for link in self.links if link.role == roles.get(key) and link.value]
        values = [self.board.parts[link.reference].value for link in links]
        usual = max(values, key=values.count, default="") if key == "pull-up.value" else ""
        usual = usual if 2 * values.count(usual) > len(values) else ""
        return ", ".join(
            f"{link.reference} ({value} on {' and '.join({*link.nets} - {*self.rails})})"
            for link, value in zip(links, values, strict=True)
            if value != usual
        )

    @cached_property
    def schmitt(self) -> bool:
        """Whether each load pin is fed by a Schmitt gate."""
        fed = {self.inverter(self.net(part, self.pins["load"])) for part in self.chain}
        chips = [self.board.parts.get(name.partition(" pin ")[0]) for name in fed]
        known = NAMES["schmitt"]["value"]
        return all(part and re.search(known, _plain(part.value)) for part in chips)

    def inverter(self, net: str) -> str:
        """The reference of the inverter between latch and a net; empty if there is none."""
        fed = (ref for ref, into, out in self.inverters if out == net and "latch" in
               self.reach(into))  # fmt: skip
        return next(fed, "")

    def lifting(self, net: str, role: str) -> list[Link]:
        """The resistors of a role from a net to supply, also those beyond a series resistor."""
        return [link for near in self.near(net) for link in self.across(near, role)]


def recognise(
    board: Board,
    table: BoardFile,
    own: object = "",
    chained: int = 1,
    stages: int = 0,
    pad: str = "",
) -> Drawn:
    """What a board is. ``table`` is ``[board]`` of the sheet, which answers what a board cannot.

    ``own`` is the one register of the chain that is this pad's, by reference or by its place;
    ``chained`` pads, or one of ``stages``, are meant to be in that chain: a broken one is known.
    ``pad`` is its name, which may say whose the contacts called P1_A are.

    Raises `SheetError` where there is no register, or several that are no chain; where no name says
    which net is a line of the cable or which button a contact is; for a part that is not known.
    """
    return _Recognition(board, table, own, chained, stages, pad).drawn()


class _Recognition:
    """The kinds of all parts first, then wires joined, then the register, then what is on it."""

    def __init__(
        self, board: Board, table: BoardFile, own: object, chained: int, stages: int, pad: str
    ) -> None:
        self.board, self.table, self.own, self.pad = board, table, own, pad
        self.chained, self.stages = chained, stages
        self.rows: list[Row] = []
        self.amiss: list[tuple[str, str, str, str, str]] = []
        self.theirs: set[str] = set()
        self.registers: dict[str, RegisterPart] = {}
        given = {part.reference: self._given(part) for part in board.parts.values()}
        self.board = replace(board, parts=given)
        self.kinds = {part.reference: self._kind(part) for part in self.board.parts.values()}

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

    def _given(self, part: Part) -> Part:
        """The part with its value of ``[board.parts]``, where the netlist's says nothing."""
        if not part.given:
            return part
        kind = self._kind(part)[0]
        says = kind != "unknown"
        if kind in ("contact", "jumper", "transistor", "diode"):
            tells = {"contact": _button, "jumper": _jumper}.get(kind, _order)
            says = bool(tells(part.value))
        try:
            if kind in ("resistor", "network"):
                self._value(replace(part, value=_ONE_OF.sub("", part.value)), "Ω")
        except SheetError:
            says = False  # as in 39k THT, or the name of a subcircuit
        if says:
            found, given = found_text(part.value), found_text(part.given)
            raise self.refuse(
                f"{part.reference} is {found} here and {given} in [board.parts]",
                "leave one of the two out",
            )
        return replace(part, value=part.given)

    def _kind(self, part: Part) -> tuple[str, str]:
        """Kind, and by what; a register of which only the family is told is its first one."""
        letters = _letters(part)
        if letters == "W" and len(part.pins) == 2:
            return "wire", "its reference letter W and its two pins"
        if letters in _KINDS:
            return _KINDS[letters], f"its reference letters {letters}"
        value, by = _plain(part.value), f"its value {part.value}"
        by += " in [board.parts]" if part.given else ""
        known = {name: find_part(name) for name in known_parts()}
        named = [name for name in known if _plain(name) in value]
        of_family = [name for name, one in known.items() if value == one.family]
        if named:
            longest = max(named, key=len)
            if any(_plain(name) not in _plain(longest) for name in named):
                raise self.refuse(
                    f"{part.reference} has the value {found_text(part.value)}, which names several"
                    " registers",
                    f"name one, for example {longest}",
                )
            self.registers[part.reference] = known[longest]
        elif of_family:
            self.registers[part.reference] = known[of_family[0]]
            by += _FAMILY_ALONE
        if part.reference in self.registers:
            return "register", by
        return ("inverter" if _gate(value) else "diode" if within(part) else "unknown"), by

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
            wrong = f"({found_text(part.value)}) is no part that is known"
            wrong = wrong if part.value else "has no value, and nothing else tells what it is"
            raise self.refuse(
                f"{part.reference} {wrong}",
                f'leave it out of the judging with [board] ignore = ["{part.reference}"]',
            )
        for reference in registers:
            self._number(reference)
        self._set_jumpers()
        self._join_wires()
        lines, carried = self._lines()
        self._split_networks(lines)
        self._split_arrays()
        inverters = tuple(self._inverters(lines))
        numbered = [self.board.parts[reference] for reference in registers]
        patterns = {part.reference: self._pattern(part, lines, inverters) for part in numbered}
        chain = self._chain([self._put_right(part, patterns) for part in numbered], lines["data"])
        register = self.registers[chain[-1].reference]
        own = next(
            (p.reference for n, p in enumerate(chain, 1) if self.own in (n, p.reference)), ""
        )
        self._leave_others(lines, [part for part in chain if own in ("", part.reference)])
        family_alone = self.kinds[chain[-1].reference][1].endswith(_FAMILY_ALONE)
        drawn = Drawn(
            self.board,
            chain,
            register,
            None if family_alone else register,
            register.pins,
            lines,
            carried,
            tuple(self._contacts(lines, chain, register.pins)),
            inverters,
            patterns=patterns,
            own=own,
            plug=self.plug,
            order=self._order(lines),
            chips=tuple(part.reference for part in self.parts("register", "inverter")),
        )
        self._refuse_pads_of_a_chain(drawn)
        drawn = replace(drawn, links=tuple(_in_series(drawn, [*self._links()])))
        links = tuple(replace(link, role=_role(drawn, link)) for link in drawn.links)
        for link in links:
            said = "without a role" if link.role in ("idle", "no-place") else link.role
            self.told(link.reference, f"{said}, {link.nets[0]} to {link.nets[1]}")
        for part in self.board.parts.values():
            if not part.fitted:
                self.told(part.reference, "not fitted", "its value or a mark in the netlist")
            elif self.kinds[part.reference][0] in ("connector", "nothing electric"):
                self.told(part.reference, self.kinds[part.reference][0])
        drawn = replace(drawn, links=links, rows=tuple(self.rows))
        return replace(drawn, amiss=tuple(self._amiss(drawn)))

    def _several(self, wrong: str, pads: Mapping[str, str], more: str = "") -> SheetError:
        """Several pads where one is meant; ``pads`` are references with what else to write."""
        tables = " and ".join(
            f'[[pads]] name = "{place}", register = "{reference}"{data}'
            for place, (reference, data) in enumerate(pads.items(), 1)
        )
        file = self.board.name.replace("\\", "/").rsplit("/", 1)[-1]
        return self.refuse(wrong, f'write a sheet with [board] netlist = "{file}", {tables}{more}')

    def _refuse_pads_of_a_chain(self, drawn: Drawn) -> None:
        """Where registers have all buttons each, and the sheet does not say whose is whose."""
        on = [
            {one.button for one in drawn.contacts if one.net in part.pins.values()}
            for part in drawn.chain
        ]
        if drawn.own or len(on) < 2 or any(names < {*BUTTONS} for names in on):
            return
        names = [part.reference for part in reversed(drawn.chain)]
        raise self._several(
            f"has {len(on)} pads in a chain, {' and '.join(names)} with contacts of all buttons",
            dict.fromkeys(names, ""),
            f", and [poll] clocks = {len(on) * drawn.each}",
        )

    def _amiss(self, drawn: Drawn) -> Iterator[tuple[str, str, str, str, str]]:
        """Connectors against the names of their pins, drivers where none belongs, transistors."""
        yield from (*self.amiss, *self._plugs(drawn), *self._of_other_pads(drawn))
        registers = self.parts("register")
        for part in drawn.chain:
            if (name := self.registers[part.reference].name) != drawn.likely.name:
                at = f"a {drawn.likely.name} like {drawn.chain[-1].reference}"
                yield "board.register", "other-part", part.reference, name, at
        for at, net in _foreign(
            drawn, {r.reference: self.registers[r.reference] for r in registers}
        ):
            yield "board.no-place", "foreign", at, net, ""
        for name, into, out in drawn.inverters:
            if name not in self.board.parts:  # a gate has its pin in its name
                continue
            part = self.board.parts[name]
            if not any(drawn.rails[0] in link.nets for link in drawn.across(out, "tie")):
                yield "board.pull-up", "floating", name, out, ""
            if "B" in by_name(part) and drawn.roles(into):
                yield "board.no-place", "no-base", name, into, ""
            yield "board.left-out", "not-judged", name, "", "its delay, which is reckoned as none"

    def _of_other_pads(self, drawn: Drawn) -> Iterator[tuple[str, str, str, str, str]]:
        """Contacts that another pad's name stands before, where there are several pads."""
        players = [one.player for one in drawn.contacts if one.player]
        usual = _player(self.pad)[0] or max(players, key=players.count, default="")
        for one in drawn.contacts if len(self.parts("register")) > 1 else ():
            if one.player not in ("", usual):
                at, mine = f"{one.reference} ({one.button})", drawn.own or drawn.chain[0].reference
                yield "board.buttons", "other-pad", at, mine, f"P{one.player}, not of P{usual}"

    def _plugs(self, drawn: Drawn) -> Iterator[tuple[str, str, str, str, str]]:
        """Connectors against the names of their pins, and the plug against the sheet."""
        line_of = {net: line for line, net in drawn.lines.items()}
        for part in self.parts("connector"):
            named = {pin: _pin_name(part, pin) for pin in part.pins}
            for pin, net in part.pins.items():
                for line in drawn.lines:
                    if _is_line(named[pin], line) and line_of.get(net, line) != line:
                        at = f"{part.reference} pin {pin} ({named[pin]})"
                        yield "board.lines", "elsewhere", at, net, line
            if part.reference == self.plug:
                mine = {pin: line_of[net] for pin, net in part.pins.items() if net in line_of}
                yield from self._against_plug(part, mine)
        if drawn.order is not None:
            why = "no name tells the order of its pins"
            why += f"; if it is right: [board] {plug_line(drawn)}" if drawn.order else ""
            yield "board.left-out", "not-judged", self.plug, "", why
        if self.table.plug and not self.plug:
            yield "board.left-out", "not-judged", "the plug", "", "no connector has several lines"

    def _order(self, lines: Mapping[str, str]) -> tuple[str, ...] | None:
        """What `Drawn.order` is."""
        part = self.board.parts.get(self.plug)
        if part is None or self.table.plug is not None:
            return None
        line_of = {net: line for line, net in lines.items()}
        mine = {pin: line_of[net] for pin, net in part.pins.items() if net in line_of}
        if all(_is_line(_pin_name(part, pin)) for pin in mine):
            return None
        data = {*self._data_lines({*part.pins.values()}).values()}
        of_pads = {pin: net for pin, net in part.pins.items() if net in data}
        mine |= of_pads if len(data) > 1 else {}
        counted = {at: mine[pin] for pin, at in _places(part).items() if pin in mine}
        return tuple(counted.get(pin, "open") for pin in range(1, max(counted, default=0) + 1))

    def _against_plug(
        self, part: Part, lines: Mapping[str, str]
    ) -> Iterator[tuple[str, str, str, str, str]]:
        """The nets and lines by pin of the plug, against the sheet if that has them."""
        pin_at = {place: pin for pin, place in _places(part).items()}
        wanted = enumerate(self.table.plug or (), 1)
        plug = [(pin_at.get(place, str(place)), line) for place, line in wanted]
        if (self.table.plug or ()).count("data") > 1:
            why = "[board] plug has data twice; name the nets of the data lines instead"
            yield "board.left-out", "not-judged", self.plug, "", why
        known = [*NAMES["lines"], "open"]
        for pin, net in plug:
            if net in known:
                continue
            if net.upper() not in map(str.upper, self.board.nets):
                raise self.refuse(
                    f"has no net {found_text(net)}, which [board] plug names",
                    nearest(net, [*known, *self.board.nets]),
                )
            if (at := part.pins.get(pin, "open")).upper() != net.upper():
                yield "board.lines", "elsewhere", f"{self.plug} pin {pin}", at, net
        plug = [(pin, line) for pin, line in plug if line in known]
        # Where each of several pads has its data on one plug, the others' is of no line here.
        right = {line for pin, line in plug if lines.get(pin) == line}
        for pin, line in plug:
            at = lines.get(pin, "open")
            if at != line and (at != "open" or line in {*lines.values()} - right):
                yield "board.lines", "elsewhere", f"{self.plug} pin {pin}", at, line

    def _join_wires(self) -> None:
        """Fuses, beads, chokes and resistors of 0 Ω are wires; so are test points on two nets."""
        pairs: list[tuple[str, str]] = []
        for part in self.parts("wire", "resistor", "nothing electric"):
            nets = sorted(
                set(part.pins.values()), key=lambda net: _is_line(net) or bool(_button(net))
            )
            kind, by = self.kinds[part.reference]
            is_resistor = kind == "resistor"
            value = self._value(part, "Ω" if is_resistor else "H")
            least = 0.0 if is_resistor else _LARGEST_CHOKE
            is_wire = not is_resistor if value is None else value.nominal <= least
            ends = [{line for line in NAMES["lines"] if _is_line(net, line)} for net in nets]
            if is_wire and len(nets) == 2 and all(ends) and ends[0] != ends[1]:
                self.kinds[part.reference] = ("wire", by)  # a short
            elif is_wire and (len(nets) == 2 or (len(nets) > 2 and kind == "nothing electric")):
                pairs += pairwise(nets)
                self.told(part.reference, f"a wire between {nets[0]} and {nets[1]}")
                self.kinds[part.reference] = ("joined", "")
        self.board = self.board.joined(pairs)

    def _value(self, part: Part, unit: str) -> Value | None:
        """None where the netlist has none, or where it is no number of a capacitor or choke."""
        if not part.value:
            return None
        text, told = part.value, ""
        while beside := _BESIDE.search(text):
            text, told = text[: beside.start()], f" ± {beside[1]}" if beside[1] else told
        if unit != "Ω" and text[-1:] in "pnuµm":
            text += unit
        try:
            return read_value(text + told, unit, example="39k ± 5 %")
        except UnitError as error:
            if unit != "Ω":
                return None
            raise self.refuse(
                f"{part.reference} has the value {error.found}, which {error.wrong}",
                f'write for example {part.reference} = "39k" under [board.parts]',
            ) from None

    def _chain(self, registers: Sequence[Part], data: str) -> tuple[Part, ...]:
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
        ends = [part for part in registers if part.reference not in feeding]
        on_data = [part for part in registers if data in self._outputs(part)]
        # Of a ring the one on data is the last.
        for end in ends or on_data[:1]:
            chain = [end]
            while (before := fed_by.get(chain[0].reference)) is not None and before not in chain:
                chain.insert(0, before)
            chains.append(tuple(chain))
        one_pinout = len({tuple(self.registers[p.reference].pins.items()) for p in registers}) == 1
        each = self.registers[registers[0].reference].stages
        meant = max(self.chained, -(-self.stages // each))
        if 1 < meant == len(registers) == sum(map(len, chains)) and one_pinout:
            # What is meant is known: where links are missing, the part on data is the last one, and
            # of the others that with the lower number comes later, as in a whole chain.
            chains.sort(key=lambda chain: by_count(chain[-1].reference), reverse=True)
            chains.sort(key=lambda chain: chain[-1] in on_data)
            if sum(chain[-1] in on_data for chain in chains) <= 1:
                by = "its number, as links are missing" if len(chains) > 2 else ""
                return self._told_chain(registers, sum(chains, ()), by)
        wanted = self.table.chip
        mine = [c for c in chains if wanted is None or wanted in {part.reference for part in c}]
        if len(mine) != 1 or len({self.registers[part.reference].name for part in mine[0]}) > 1:
            named = ["-".join(part.reference for part in c[:_SHOWN]) for c in chains[:_SHOWN]]
            named += [f"{len(chains) - _SHOWN} more"] * (len(chains) > _SHOWN)
            names = " and ".join(named) or "they"
            stages = each * len(registers)
            whole = f"; of one pad with all: [register] stages = {stages}"
            whole = whole if one_pinout and stages <= MOST_STAGES else ""
            raise self.refuse(
                f"has {len(registers)} registers, of which {names} are not one chain of one part",
                f'say whose pad is meant: [board] register = "{registers[0].reference}"{whole}',
            )
        return self._told_chain(registers, mine[0])

    def _told_chain(
        self, registers: Sequence[Part], chain: tuple[Part, ...], by: str = ""
    ) -> tuple[Part, ...]:
        for part in registers:
            place = chain.index(part) + 1 if part in chain else 0
            which = f"place {place} of {len(chain)} in the chain" if place else "another pad's"
            self.told(part.reference, f"register, {which}", by)
        return chain

    def _outputs(self, part: Part) -> set[str]:
        """The nets of a register's outputs."""
        pins = self.registers[part.reference].pins.items()
        return {part.pins.get(str(at), "") for name, at in pins if re.fullmatch("Q[0-9]+", name)}

    def _number(self, reference: str) -> None:
        """Call the pins of a register by their numbers, where a subcircuit has them by name."""
        part, numbers = self.board.parts[reference], self.registers[reference].pins
        name_of = our_names(part.pins, numbers)
        pins: dict[str, str] = {}
        for pin, net in part.pins.items():
            number = str(numbers.get(name_of.get(pin, ""), pin))
            twice = number in pins
            if twice or number not in map(str, numbers.values()):
                which = "which is there twice" if twice else "which its part has not"
                raise self.refuse(
                    f"{reference} has a pin {found_text(pin)}, {which}",
                    f"call its pins 1 to {len(numbers)} or {', '.join(numbers)}",
                )
            pins[number] = net
        self._replace(replace(part, pins=pins))

    def _replace(self, part: Part) -> Part:
        self.board = replace(self.board, parts={**self.board.parts, part.reference: part})
        return part

    def _pattern(
        self, part: Part, lines: Mapping[str, str], inverters: Sequence[tuple[str, str, str]]
    ) -> str:
        """The pattern by which supply, ground, clock, load and data or chain fit best.

        Four of these five must fit, and more than do as the pins are numbered.
        """
        numbers, own, rails = self.registers[part.reference].pins, {*part.pins.values()}, lines
        series = [{*one.pins.values()} for one in self.parts("resistor")]
        series = [nets for nets in series if not nets & {rails["supply"], rails["ground"]}]
        others = {net for one in self.parts("register") if one.reference != part.reference
                  for net in one.pins.values()}  # fmt: skip
        out = own & others - {*lines.values()} | {lines["data"]}

        def near(net: str) -> set[str]:
            return {net}.union(*(nets for nets in series if net in nets))

        fitting = {}
        for pattern in ("", "exchanged", *(("below", "turned") if len(numbers) == 16 else ())):
            at = {
                name: part.pins.get(str(_moved(pattern, number, numbers)), "")
                for name, number in numbers.items()
            }
            fed = any(gate == at["load"] and lines["latch"] in near(into)
                      for _, into, gate in inverters)  # fmt: skip
            outputs = [net for name, net in at.items() if re.fullmatch("Q[0-9]+", name)]
            fitting[pattern] = (
                (at["VDD"] == lines["supply"])
                + (at["VSS"] == lines["ground"])
                + (lines["clock"] in near(at["clock"]))
                + (fed or lines["latch"] in near(at["load"]))
                + any(near(net) & out for net in outputs)
            )
        best = max(fitting, key=fitting.__getitem__)
        return best if fitting[best] >= 4 else ""

    def _put_right(self, part: Part, patterns: Mapping[str, str]) -> Part:
        """A register with its nets at the pins of the data sheet."""
        numbers, pattern = self.registers[part.reference].pins, patterns[part.reference]
        pins = {str(_moved(pattern, int(pin), numbers)): net for pin, net in part.pins.items()}
        return self._replace(replace(part, pins=pins))

    def _set_jumpers(self) -> None:
        """A jumper is a wire or nothing, as its value says."""
        for part in self.parts("jumper"):
            closed = _jumper(part.value)
            if not closed:
                raise self.refuse(
                    f"{part.reference} ({found_text(part.value)}) is a jumper, and nothing says"
                    " whether it is open or bridged",
                    f'write {part.reference} = "open" or "bridged" under [board.parts]',
                )
            pins = [*part.pins] if closed == "all" else [pin for pin in part.pins if pin in closed]
            if closed == "open" or len(pins) < 2:
                self.told(part.reference, "an open jumper", f"its value {part.value}")
                self.kinds[part.reference] = ("nothing", "")
                self._replace(replace(part, pins={}))
                continue
            self.kinds[part.reference] = ("wire", f"its value {part.value}")
            self._replace(replace(part, pins={pin: part.pins[pin] for pin in pins}))

    def _split_networks(self, lines: Mapping[str, str]) -> None:
        """Each resistor of a network as a part of its own, U1.2 the second of U1."""
        for part in self.parts("network"):
            pairs = _pairs(part, {lines["supply"], lines["ground"]})
            if not pairs:
                raise self.refuse(
                    f"{part.reference} is a resistor network, and nothing tells which of its"
                    f" {len(part.pins)} pins belong together",
                    "name its pins common, R1, R2 or R1.1, R1.2, R2.1 and so on",
                )
            if (
                len(common := {one for one, _ in pairs}) == 1
                and "1" in part.pins
                and not (part.functions or "1" in common)
            ):
                at = common.pop()
                self.amiss.append(("board.no-place", "common", part.reference, at, "1"))
            parts, kind = {**self.board.parts}, self.kinds[part.reference]
            del parts[part.reference]
            value = _ONE_OF.sub("", part.value)
            self._value(replace(part, value=value), "Ω")  # refused by the network's own name
            for place, pins in enumerate(pairs, 1):
                name = f"{part.reference}.{place}"
                nets = {str(end): part.pins[pin] for end, pin in enumerate(pins, 1)}
                parts[name] = Part(name, value, nets, {})
                self.kinds[name] = "resistor", kind[1]
            self.board = replace(self.board, parts=parts)

    def _split_arrays(self) -> None:
        """Each diode of an array as a part of its own, D1.2 the second of D1."""
        for part in self.parts("diode"):
            if nameless_zener(f"{part.value} {part.reference}"):
                raise self.refuse(
                    f"{part.reference} ({found_text(part.value)}) is a zener diode, and nothing"
                    " says at which volts it conducts",
                    f'write for example {part.reference} = "BZX84C5V6" under [board.parts]',
                )
            if not (inside := within(part) if len(part.pins) > 2 else []):
                continue
            alone = {net for net, pins in self.board.nets.items()
                     if {reference for reference, _ in pins} == {part.reference}}  # fmt: skip
            pairs = [
                (part.pins[anode], part.pins[cathode])
                for anode, cathode in inside
                if {anode, cathode} <= part.pins.keys()
                and not {part.pins[anode], part.pins[cathode]} & alone
            ]
            for one, other in inside_joins(part):
                here, there = part.pins.get(one, ""), part.pins.get(other, "")
                if here != there and not {here, there} & {"", *alone}:
                    at = f"{part.reference} ({part.value})"
                    self.amiss.append(("board.short", "through", at, here, there))
            anodes = [anode for anode, _ in inside]
            first = part.pins.get(anodes[0], "")
            if not pairs or (anodes.count(anodes[0]) > 1 and first in {"", *alone}):
                at = f"{part.reference} pin {anodes[0]}"
                self.amiss.append(("board.open", "open", at, "", "ground"))
            parts, by = {**self.board.parts}, self.kinds[part.reference][1]
            del parts[part.reference]
            for place, nets in enumerate(dict.fromkeys(pairs), 1):
                name = f"{part.reference}.{place}"
                ends = dict(zip("12", nets, strict=True))
                parts[name] = Part(name, part.value, ends, {"1": "A", "2": "K"})
                self.kinds[name] = "diode", by
            self.board = replace(self.board, parts=parts)

    def _leave_others(self, lines: Mapping[str, str], chain: Sequence[Part]) -> None:
        """What hangs on the registers of other pads alone is theirs."""
        shared = {net for line, net in lines.items() if line != "data"}
        mine = {net for part in chain for net in part.pins.values()} - shared
        mine.add(lines["data"])
        registers = [part for part in self.parts("register") if part not in chain]
        theirs = {net for part in registers for net in part.pins.values()} - mine - shared
        for part in self.parts("resistor"):
            if (nets := {*part.pins.values()}) & theirs and not nets & mine:
                theirs |= nets - shared  # beyond a resistor in series
        for part in self.parts("contact", "resistor", "capacitor", "diode"):
            nets = {*part.pins.values()}
            if nets & theirs and not nets & mine:
                self.told(part.reference, "another pad's, not judged here", "its nets")
                self.kinds[part.reference] = ("another pad's", "")
        self.theirs = theirs - mine

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
            if line == "data" and not found and len(outs := self._data_lines(carried)) > 1:
                pads = {name: f', data = "{net}"' for name, net in outs.items()}
                raise self._several(f"has {len(outs)} pads with a data line each", pads)
            if len(found) != 1:
                wrong = f"{found[0]} and {found[1]} may both be" if found else "no name tells"
                both = "" if found else self._shorted()
                raise self.refuse(
                    f"{wrong} the {line}{both}",
                    f'write [board] {line} = "NET" (--{line} NET with padbench new);'
                    f" nets of connectors: {', '.join(sorted(carried)[:12]) or 'none'}",
                )
            lines[line] = found[0]
            self.told(f"net {found[0]}", line, by)
        # Pads for single wires are one cable, as long as they have one pin each.
        cables: dict[str, set[str]] = {}
        for part in self.parts("connector"):
            name = part.reference if len(part.pins) > 1 else ""
            cables.setdefault(name, set()).update(part.pins.values())
        names = {n: {line for line, net in lines.items() if net in on} for n, on in cables.items()}
        self.plug = max(names, key=lambda name: len(names[name]), default="")
        return lines, frozenset(names.get(self.plug, ()))

    def _shorted(self) -> str:
        """The pins of a connector on one line's net, which may be the short that hides another."""
        for part in self.parts("connector"):
            nets = [*part.pins.values()]
            for net in dict.fromkeys(nets):
                pins = [pin for pin in part.pins if part.pins[pin] == net]
                if len(pins) > 1 and _is_line(net):
                    both = " and ".join(pins[:_SHOWN])
                    return (
                        f"; {part.reference} pins {both} are one net, {found_text(net)}: a short?"
                    )
        return ""

    def _data_lines(self, carried: set[str]) -> dict[str, str]:
        """The nets of connectors on which last outputs are, by register."""
        lines: dict[str, str] = {}
        for part in self.parts("register"):
            register = self.registers[part.reference]
            net = part.pins.get(str(register.pins[f"Q{register.stages}"]), "")
            lines |= {part.reference: net} if net in carried else {}
        return lines

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
        connectors = self.parts("connector")
        single = {net for part in connectors if len(part.pins) == 1 for net in part.pins.values()}
        for part in connectors:
            side = single if len(part.pins) == 1 else {*part.pins.values()}
            other = next((net for net in (ground, lines["supply"]) if net in side), "nothing")
            for pin, net in part.pins.items():
                elsewhere = on_board | self.theirs | {*lines.values()}
                alone = len(self.board.nets[net]) < 2 or net in elsewhere
                if not alone and (net in inputs or _button(net)):
                    yield self._contact(part, net, other, part.functions.get(pin, ""))

    def _contact(self, part: Part, net: str, other: str, function: str = "") -> Contact:
        alone = len(set(part.pins.values())) == 2
        ways = (
            (part.value if alone else "", f"its value {part.value}"),
            (part.reference if alone else "", "its reference"),
            # The two pins of a switch are often called A and B.
            ("" if alone else function, f"the name of its pin {function}"),
            (net, f"the net {net}"),
        )
        for text, by in ways:
            if button := _button(text):
                self.told(part.reference, f"contact of {button}", by)
                named = [player for player, rest in (_player(said) for said, _ in ways) if rest]
                return Contact(part.reference, button, net, other, next(filter(None, named), ""))
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
            ends = by_name(part)
            if kind == "diode" and {"A", "K"} <= ends.keys():
                yield Link(part.reference, None, (ends["A"], ends["K"]), kind, kind)
            else:
                unit = {"resistor": "Ω", "capacitor": "F"}.get(kind, "")
                value = self._value(part, unit) if unit else None
                role = {"diode": "diode, untold", "wire": "no-place"}.get(kind, kind)
                yield Link(part.reference, value, _two(nets), kind, role)
        for part in self.parts("contact"):
            if len(set(part.pins.values())) < 2:
                yield Link(part.reference, None, _two([*part.pins.values()]), "contact", "contact")

    def _inverters(self, lines: Mapping[str, str]) -> Iterator[tuple[str, str, str]]:
        """Gates that are fed, and transistors from ground: reference, input, output."""
        for part in self.parts("inverter"):
            gate = _gate(_plain(part.value))
            numbers = {"VCC": gate["supply"], "VDD": gate["supply"]}
            numbers |= {"GND": gate["ground"], "VSS": gate["ground"]}
            for place, ends in enumerate(gate["pins"], 1):  # as a subcircuit may name them
                which = place if len(gate["pins"]) > 1 else ""
                numbers |= dict(zip((f"{which}A", f"{which}Y"), ends, strict=True))
            on = {numbers.get(pin.upper(), pin): net for pin, net in part.pins.items()}
            for line in ("supply", "ground"):
                net, at = on.get(gate[line], ""), f"{part.reference} pin {gate[line]}"
                if len(self.board.nets.get(net, ())) < 2:
                    self.amiss.append(("board.open", "open", at, "", line))
                elif net != lines[line]:
                    self.amiss.append(("board.supply", "elsewhere", at, net, line))
            self.told(part.reference, "inverter")
            for into, out in gate["pins"]:
                name = f"{part.reference} pin {into}"
                yield name, on.get(into, ""), on.get(out, "")
        for part in self.parts("transistor"):
            ends = by_name(part)
            names = next((one for one in _TRANSISTORS if {*one} <= ends.keys()), "")
            if names and ends[names[1]] == lines["ground"] != ends[names[2]]:
                at, pins = ends[names[2]], f"{names[2]}, and its {names[1]} on ground"
                self.amiss.append(("board.inverter", "exchanged-ends", part.reference, at, pins))
                ends = {**ends, names[1]: ends[names[2]], names[2]: ends[names[1]]}
            if not names or ends[names[2]] != lines["ground"]:
                raise self.refuse(
                    f"{part.reference} is no transistor from ground whose pins are named",
                    f"say what its pins 1, 2 and 3 are (E is on ground): {part.reference} ="
                    f' "NPN_BEC" under [board.parts] (padbench new: --part {part.reference}='
                    "NPN_BEC); name them B, C, E or G, D, S; or leave it out with [board] ignore",
                )
            self.told(part.reference, "transistor as an inverter, taken as an ideal one")
            yield part.reference, ends[names[0]], ends[names[1]]


def _moved(pattern: str, number: int, pins: Mapping[str, int]) -> int:
    """Where a pin is by a pattern, and back again."""
    rails = {pins["VDD"], pins["VSS"]}
    exchanged = sum(rails) - number if number in rails else number
    moved = {"below": 17 - number, "turned": (number + 7) % 16 + 1, "exchanged": exchanged}
    return moved.get(pattern, number)


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
    if link.role in ("idle", "no-place", *_SERIES):
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
        return _resistor_role(
            drawn, net, reach, lifts=rails[0] == drawn.rails[0], known=link.value is not None
        )
    if link.role == "capacitor":
        at_line = reach & {"latch", "clock", "data"} and link.value
        return "at-contact" if reach & {*BUTTONS} else "on-line" if at_line else "no-place"
    blocks = link.nets in ((drawn.rails[1], net), (net, drawn.rails[0]))
    way = "untold" if link.role != "diode" else "clamp" if blocks else "conducts"
    return way if reach or way == "untold" else "indicator"


def _resistor_role(drawn: Drawn, net: str, reach: set[str], *, lifts: bool, known: bool) -> str:
    """Of a resistor from a net to supply (it lifts) or to ground."""
    inputs = {near for _, one in drawn.inputs() for near in drawn.near(one)}
    line = next((line for line in ("latch", "clock") if line in reach), "")
    bases = {into for name, into, _ in drawn.inverters if name in drawn.board.parts}
    if net in bases and reach and not drawn.roles(net):  # one that lifts holds it on
        return "at-base" if known and not lifts else "no-place"
    if line and lifts:
        return f"{line}-to-supply"
    if reach & {*BUTTONS} or (net in inputs and lifts and not reach):
        return "pull-up" if lifts else "pull-down"
    lit = any(other.role.startswith("diode") for other in drawn.across(net))
    tied = {*inputs, *(drawn.net(part, drawn.pins["serial"]) for part in drawn.chain)}
    tied |= {into for _, into, _ in drawn.inverters}
    tied |= {out for _, _, out in drawn.inverters if lifts}
    return "tie" if not reach and (net in tied or lit) else "no-place"


def _foreign(drawn: Drawn, registers: Mapping[str, RegisterPart]) -> Iterator[tuple[str, str]]:
    """Pins of other parts with an input or an output on nets of the pad: the pin, and its net."""
    own = {*drawn.lines.values(), *(contact.net for contact in drawn.contacts)}
    # A last output is on data or at a serial input; where it is not, the pin itself is told.
    own |= {drawn.net(part, number) for part in drawn.chain
            for name, number in drawn.pins.items() if name != f"Q{drawn.each}"}  # fmt: skip
    own = {near for net in own - {"", *drawn.rails} for near in drawn.near(net)} - {*drawn.rails}
    mine = {part.reference for part in drawn.chain}
    loads = {drawn.net(part, drawn.pins["load"]) for part in drawn.chain}
    theirs = {
        (reference, name): drawn.board.parts[reference].pins.get(str(number), "")
        for reference, register in registers.items()
        for name, number in register.pins.items()
        if reference not in mine
    }
    for (reference, name), net in theirs.items():
        shared = {"load": "latch", "clock": "clock"}.get(name, "") in drawn.reach(net)
        if net in own and not (shared or (name == "load" and net in loads)):
            yield f"{reference} pin {registers[reference].pins[name]} ({name})", net
    loads |= {net for (_, name), net in theirs.items() if name == "load"}
    for reference, into, out in drawn.inverters:
        works = out in loads and not drawn.roles(out) and "latch" in drawn.reach(into)
        for side, net in (("input", into), ("output", out)):
            if net in own and not works:
                yield f"the {side} of the inverter {reference}", net


def _jumper(value: str) -> str:
    """ "all" or "open", or the pins that are joined; empty where nothing says."""
    text = value.upper()
    if joined := re.search("BRIDGED_?([0-9]+)", text):
        return joined[1]
    words = {*_BETWEEN_WORDS.split(text)}
    closed, open_ = {"BRIDGED", "CLOSED"} & words, {"OPEN", "DNP", "DNF"} & words
    if len(words) > 1:
        closed, open_ = closed | {"NC"} & words, open_ | {"NO"} & words
    return "" if bool(closed) == bool(open_) else "all" if closed else "open"


def _order(value: str) -> str:
    """What pins 1 and on of a transistor or diode are, as in Q_NPN_BCE; empty if nothing says."""
    words = _BETWEEN_WORDS.split(value.upper())
    return next((word for word in words if "".join(sorted(word)) in ("AK", "BCE", "DGS")), "")


def by_name(part: Part) -> dict[str, str]:
    """The nets of a transistor, diode or polarised capacitor by the names of its pins.

    Of a capacitor with poles pin 1 is the positive one where nothing else says (common practice).
    """
    order = dict(zip("123", _order(part.value), strict=False))
    if _letters(part) == "C" and _POLES.search(f"{part.symbol} {part.value}".upper()):
        order = {"1": "+", "2": "-"}
    names = ((part.functions.get(pin) or order.get(pin, ""), net) for pin, net in part.pins.items())
    return {name.upper(): net for name, net in names}


def _places(part: Part) -> dict[str, int]:
    """Which one each pin of a connector is, by number, or by letter where all have one."""
    if all(re.fullmatch("[A-Z]", pin) for pin in part.pins):
        return {pin: ord(pin) - ord("A") + 1 for pin in part.pins}
    return {pin: int(pin) for pin in part.pins if re.fullmatch("[1-9][0-9]?", pin)}


def _pin_name(part: Part, pin: str) -> str:
    """The name of a pin; empty for a number alone."""
    return part.functions.get(pin, "") or pin * (not pin.isdigit())


def plug_line(drawn: Drawn) -> str:
    """The order of the plug's pins as a line of the sheet."""
    return f"plug = [{', '.join(json.dumps(one, ensure_ascii=False) for one in drawn.order or ())}]"


def _pairs(part: Part, rails: set[str]) -> list[tuple[str, str]]:
    """The pins of each resistor of a network: by their names, else by what is on the rails."""
    pins = sorted(part.pins, key=lambda pin: (not pin.isdigit(), pin.zfill(9)))
    named: dict[str, list[str]] = {}
    for pin in pins:
        named.setdefault(part.functions.get(pin, "").split(".")[0].upper(), []).append(pin)
    if "" not in named and all(len(ends) == 2 for ends in named.values()):
        return [(one, other) for one, other in named.values()]
    common = named.get("COMMON", [pin for pin in pins if part.pins[pin] in rails])
    if len(common) == 1 and len(pins) > 2:
        return [(common[0], pin) for pin in pins if pin != common[0]]
    half = len(pins) // 2
    ways = [[*zip(pins[::2], pins[1::2], strict=False)],
            [*zip(pins[:half], reversed(pins), strict=False)]]  # fmt: skip
    rows = [[{part.pins[one], part.pins[other]} for one, other in way] for way in ways]
    fit = [all(len(nets & rails) == 1 for nets in row) for row in rows]
    # From rails alone both may be so, and come to the same resistors.
    alike = sorted(map(sorted, rows[0])) == sorted(map(sorted, rows[1]))
    if not pins or len(pins) % 2 or not any(fit) or (all(fit) and not alike):
        return []
    return ways[fit.index(True)]


def by_count(reference: str) -> list[tuple[int, str]]:
    """A key by which U2 stands before U10."""
    return [
        (int(one), "") if one.isdigit() else (0, one) for one in re.split("([0-9]+)", reference)
    ]


def _letters(part: Part) -> str:
    return "".join(re.findall("^[A-Za-z]+", part.reference)).upper()


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


def _player(text: str) -> tuple[str, str]:
    """The digit of the player that a name has in it, empty for none or several, and the rest."""
    upper = text.upper()
    found = {*_PLAYER.findall(upper)}
    return (found.pop() if len(found) == 1 else ""), _PLAYER.sub("", upper).strip("/ _-")


def _button(text: str) -> str:
    """The button that a name is of; empty if it is none."""
    words = _words(_player(text)[1] or text)
    words = [re.sub("^(?:SW|BTN|KEY|PB)(?=[A-Z]{2})", "", word) for word in words]
    return _BUTTONS.get(words[0], "") if len(words) == 1 else ""
