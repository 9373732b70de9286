"""Drawn against meant: a board compared with a sheet, net by net.

judge_board(drawn, sheet)        # findings board.*, each with the references that the board has

What is meant for each pin is that of `padbench.wiring.plan`, so the two cannot disagree.
"""

from collections.abc import Iterator
from math import isnan

from padbench.circuit.design import most
from padbench.core.buttons import stages_in_order
from padbench.core.findings import Finding, Met, Place, Rule, Source, Verdict
from padbench.core.remedies import WHICH_TIE, joined
from padbench.core.units import Value, show
from padbench.sheet import Sheet
from padbench.wiring.netlists.beside import (
    DIODES,
    FIGURES,
    GATES,
    TRACK,
    data_drop,
    data_seconds,
    gate_level_faults,
    gate_supply_faults,
    in_parallel,
    indicator_fault,
    transistor_faults,
)
from padbench.wiring.netlists.board import NAMES
from padbench.wiring.netlists.diodes import breakdown
from padbench.wiring.netlists.recognise import Drawn, Link, by_name
from padbench.wiring.plan import Pin, wiring_plan, with_tolerance

_LEFT_OUT = {
    **dict.fromkeys(("in-contact", "in-line", "in-base", "tie"), "the netlist gives no value"),
    "untold": "the netlist does not tell which way round it is",
    "indicator": "what it draws, as no value of a resistor beside it tells",
}
"""Why a link of a role is not judged if it has no value."""

_RESTS_ON = {
    ("zener", "too-bright", "dark"): DIODES,
    ("over-volts", "under-volts", "gate-low", "gate-high", "gate-out", "through"): GATES,
    ("reversed-1",): (Source("pin 1 is the + of a capacitor with poles", "common practice"),),
    ("slow-contact",): (Source("first-order RC", "calculated"),),
}
"""What faults of a kind rest on beside the netlist."""

_Row = tuple[str, str, str, str]
"""One fault: its kind, the part or pin by its reference, where it is, what is meant."""

_COLUMNS = ("kinds", "parts", "places", "meant")


def _said(finding: Finding) -> str:
    columns = [finding.facts[name] for name in _COLUMNS]
    rows = zip(*(column for column in columns if isinstance(column, tuple)), strict=True)
    return "; ".join(
        NAMES["faults"][kind].format(part=part, at=at, meant=meant)
        for kind, part, at, meant in rows
    )


_RULES = {
    id_: Rule(id_, "", {"pass": says, "fail": _said, "not-judged": _said})
    for id_, says in NAMES["rules"].items()
}
_SERIES = Rule(
    "board.series",
    "s",
    {
        **dict.fromkeys(
            ("pass", "fail"),
            "with {parts:list} in series an edge on {line} takes {measured}; {limit} is to spare",
        ),
        "not-judged": "{parts:list} stand in series, not all with a value in the netlist",
    },
)
_DECOUPLING = Rule(
    "board.decoupling",
    "",
    {
        "pass": "{parts:list} from supply to ground, for {chips:list}",
        "warning": "warning: {parts:list} from supply to ground, for {chips:list}; 100 nF beside"
        " each is usual, and nothing here reckons the noise of the supply without",
    },
)
_LEAST_DECOUPLING = 10e-9
"""Farads from which a capacitor counts as one for a chip (common practice, no source)."""


def judge_board(drawn: Drawn, sheet: Sheet) -> tuple[Finding, ...]:
    """Findings ``board.*``: what the board has otherwise than the sheet.

    Of another register, or another number of them, nothing else is judged, as no pin can be
    compared. What the sheet took from the board itself (`Document.filled`) is held to what is usual
    instead: the serial order of the buttons, a tied serial input, an inverter where the register
    needs one.
    """
    compared = _Comparison(drawn, _meant(sheet))
    if compared.has_register():
        compared.all_else()
        return (*compared.findings(*_RULES), compared.decoupling(), *compared.series())
    compared.left_out("all else", "it goes by the pins of the sheet's register")
    return tuple(compared.findings("board.register", "board.left-out"))


def _meant(sheet: Sheet) -> Sheet:
    filled, last = sheet.document.filled, sheet.last_stage
    chip: dict[str, object] = {}
    if "register.serial-input" in filled and sheet.chip.serial_input == "open":
        chip["serial_input"] = "ground"
    if "register.latch-inverted" in filled:
        chip["latch_inverted"] = sheet.part.load_level == "low"
    update: dict[str, object] = {"chip": sheet.chip.model_copy(update=chip)}
    if "buttons" in filled:
        update["buttons"] = stages_in_order(last)
    return sheet.model_copy(update=update)


class _Comparison:
    def __init__(self, drawn: Drawn, meant: Sheet) -> None:
        self.drawn, self.meant = drawn, meant
        self.filled = meant.document.filled
        self.rows: dict[str, list[_Row]] = {id_: [] for id_ in _RULES}

    def add(self, id_: str, kind: str, part: str, at: str = "", meant: str = "") -> None:
        self.rows[id_].append((kind, part, at, meant))

    def left_out(self, part: str, why: str) -> None:
        self.add("board.left-out", "not-judged", part, "", why)

    def findings(self, *ids: str) -> Iterator[Finding]:
        for id_ in ids:
            rows = self.rows[id_]
            if id_ == "board.inverter" and not any(
                name in self.drawn.board.parts for name, _, _ in self.drawn.inverters
            ):
                continue
            missed: Verdict = "not-judged" if id_ == "board.left-out" else "fail"
            figures: tuple[Source, ...] = FIGURES if id_ == "board.inverter" else ()
            for kinds, known in _RESTS_ON.items():
                figures += known if any(kind in kinds for kind, *_ in rows) else ()
            columns = zip(_COLUMNS, zip(*rows, strict=True) if rows else [()] * 4, strict=True)
            yield Finding(
                _RULES[id_],
                missed if rows else "pass",
                met=Met(other=self.drawn.board.name),
                sources=(Source("the netlist", "given"), *figures),
                facts={name: tuple(map(str, column)) for name, column in columns},
                place=Place("board.netlist"),
            )

    def has_register(self) -> bool:
        """Whether it is the sheet's register, so that pins can be compared."""
        drawn, part, stages = self.drawn, self.meant.part, self.meant.chip.stages
        names = joined([one.reference for one in drawn.chain])
        found = drawn.part.name if drawn.part else drawn.likely.family
        chips = -(-stages // part.stages)
        if found not in (part.name, part.family):
            self.add("board.register", "other-part", names, found, f"a {part.name}")
        if chips != len(drawn.chain):
            has = f"chain of {len(drawn.chain)}" if len(drawn.chain) > 1 else "single register"
            self.add("board.register", "other-part", names, has, f"{stages} stages, so {chips}")
        return part.pins == drawn.pins and chips == len(drawn.chain)

    def all_else(self) -> None:
        """Compare pin by pin, then part by part."""
        self.pins = wiring_plan(self.meant).pins
        self._footprint()
        self._fixed_pins()
        self._contacts()
        self._pull_ups()
        self._shorts()
        self._values()
        self._links()
        for row in transistor_faults(self.drawn, self.meant):
            self.add("board.inverter", *row)
        if self.meant.chip.schmitt_inverter and not self.drawn.schmitt:
            nets = (self.net(pin) for pin in self.pins if pin.name == "load")
            for name in dict.fromkeys(filter(None, map(self.drawn.inverter, nets))):
                at = f"a {self.drawn.board.parts[name.partition(' pin ')[0]].value}"
                meant = "a Schmitt gate (register.schmitt-inverter)"
                self.add("board.values", "value", name, at, meant)
        for row in (
            *gate_supply_faults(self.drawn, self.meant),
            *gate_level_faults(self.drawn, self.meant),
        ):
            self.add("board.values", *row)

    def net(self, pin: Pin) -> str:
        return self.drawn.net(self.drawn.chain[pin.chip - 1], pin.number)

    def shown(self, pin: Pin) -> str:
        """A pin as the board has it: ``"U1 pin 4 (P4)"``."""
        part = self.drawn.chain[pin.chip - 1]
        return f"{part.reference} pin {self.drawn.really(part, pin.number)} ({pin.name})"

    def fits(self, pin: Pin) -> bool:
        """Whether a pin is where it is meant to be; an unused output may go anywhere."""
        net, drawn = self.net(pin), self.drawn
        if pin.net == "latch" and self.meant.chip.latch_inverted:
            return bool(drawn.inverter(net))
        if pin.net == "chain" and pin.name == "serial":
            return self.net(self._before(pin)) in drawn.near(net)
        if pin.net in ("open", "chain", "other"):
            return pin.name != "serial" or not net
        ties = [link.beyond(net) for link in drawn.across(net, "tie", "pull-up")]
        if any(link.kind == "diode" for link in drawn.across(net)):
            ties = []  # what conducts beside it leaves the pin somewhere between
        tied = pin.name not in ("VDD", "VSS") and drawn.lines.get(pin.net) in ties
        return pin.net in drawn.reach(net) or (tied and not drawn.reach(net))

    def _before(self, pin: Pin) -> Pin:
        """The output that feeds the serial input of a register within a chain."""
        return next(
            one for one in self.pins if (one.chip, one.net) == (pin.chip - 1, "chain")
            and one.name != "serial"
        )  # fmt: skip

    def _belongs(self, pin: Pin) -> str:
        inner = pin.net == "chain" and pin.name == "serial"
        return self.shown(self._before(pin)) if inner else pin.net

    def _footprint(self) -> None:
        """All pins wrong in a pattern: named as such, and the rest judged as if it were mended."""
        drawn = self.drawn
        for pattern in sorted({*drawn.patterns.values()} - {""}):
            chips = [part for part in drawn.chain if drawn.patterns[part.reference] == pattern]
            moved = [
                f"{pin.net} is on pin {there}, not {pin.number}"
                for pin in self.pins
                if pin.chip == drawn.chain.index(chips[0]) + 1
                and pin.net not in ("open", "chain", "other")
                and (there := drawn.really(chips[0], pin.number)) != pin.number
            ]
            at = ", ".join(moved) if len(moved) < 5 else f"{', '.join(moved[:4])}, and so on"
            id_ = "board.supply" if pattern == "exchanged" else "board.footprint"
            self.add(id_, pattern, joined([part.reference for part in chips]), at)

    def _fixed_pins(self) -> None:
        """Every pin but the inputs of buttons, and the connectors."""
        ids = {"VDD": "board.supply", "VSS": "board.supply", "serial": "board.serial-input"}
        for pin in self.pins:
            net, id_ = self.net(pin), ids.get(pin.name, "board.lines")
            if not net and pin.net not in ("open", "other") and not pin.name.startswith("Q"):
                self.add("board.open", "open", self.shown(pin), "", self._belongs(pin))
            elif pin.net not in self.meant.buttons and not self.fits(pin):
                inverter = "the inverter on latch" if self.meant.chip.latch_inverted else "latch"
                meant = inverter if pin.net == "latch" else self._belongs(pin)
                by = self.drawn.inverter(net)
                at = f"{net}, through the inverter {by}" if by else net or "nothing"
                if pin.net == "data":
                    at += self._instead()
                self.add(id_, "elsewhere", self.shown(pin), at, meant)
        for line, net in self.drawn.lines.items():
            if line not in self.drawn.carried and not (line == "supply" and self._fed_by_diode()):
                plug = self.drawn.plug or "a connector"
                self.add("board.lines", "not-carried", net, plug, line)
        for inverter, into, _ in self.drawn.inverters:
            if len(self.drawn.board.nets.get(into, ())) < 2:
                self.add("board.open", "open", inverter, "", "ground, if it is not used")
        for id_, *row in self.drawn.amiss:
            self.add(id_, *row)

    def _fed_by_diode(self) -> bool:
        """Whether the plug's supply comes through a diode, which is told."""
        supply, board = self.drawn.rails[0], self.drawn.board
        for link in self.drawn.across(supply):
            at = {reference for reference, _ in board.nets[link.beyond(supply)]}
            if link.kind == "diode" and link.nets[1] == supply and self.drawn.plug in at:
                part = f"{link.reference} ({board.parts[link.reference].value})"
                self.add("board.no-place", "behind-diode", part, *link.nets)
                return True
        return False

    def _instead(self) -> str:
        """Which other pin drives data, said behind the place of the right one."""
        pins = [self.shown(pin) for pin in self.pins if "data" in self.drawn.reach(self.net(pin))]
        return f", and data comes from {joined(pins)}" if pins else ""

    def _contacts(self) -> None:
        """Each contact: where it goes, and whether its other side is on ground."""
        by_stage = {
            (pin.chip - 1) * self.drawn.each + int(pin.name[1:]): pin
            for pin in self.pins
            if pin.name.startswith("P")
        }
        place = {name: self.shown(by_stage[at]) for name, at in self.meant.buttons.items()}
        seen: dict[str, list[tuple[str, list[str]]]] = {name: [] for name in place}
        for one in self.drawn.contacts:
            part = f"{one.reference} ({one.button})"
            near = [pin for pin in by_stage.values() if one.net in self.drawn.near(self.net(pin))]
            seen.setdefault(one.button, []).append((part, [*map(self.shown, near)]))
            if one.other != self.drawn.rails[1]:
                self.add("board.contacts", "not-to-ground", part, one.net, one.other)
        wrong = {}
        for name, contacts in seen.items():
            meant = place.get(name, "no stage of the sheet")
            if not contacts:
                self.add("board.contacts", "no-contact", name, "", meant)
            for part, at in contacts:
                if at != [meant]:
                    wrong[part] = (joined(at) or "no input of the register", meant)
        for part, (goes, meant) in wrong.items():
            other = next((one for one in wrong if wrong[one] == (meant, goes)), "")
            if not other:
                self.add("board.buttons", "misplaced", part, goes, meant)
            elif [*wrong].index(part) < [*wrong].index(other):
                self.add("board.buttons", "swapped", part, goes, f"{other} to {meant}")

    def _inputs(self) -> list[tuple[Pin, str]]:
        """Inputs that are neither open nor tied."""
        mine = [pin for pin in self.pins if pin.name.startswith("P") and pin.net != "other"]
        known = [(pin, self.net(pin)) for pin in mine]
        return [(pin, net) for pin, net in known if net and net not in self.drawn.rails]

    def _pull_ups(self) -> None:
        wanted = self.meant.pull_up.value is not None or "pull-up.value" in self.filled
        for pin, net in self._inputs():
            if wanted and not self.drawn.lifting(net, "pull-up"):
                self.add("board.pull-up", "floating", self.shown(pin), net)
        for link in self._of("pull-down"):
            at = link.beyond(self.drawn.rails[1])
            self.add("board.pull-up", "pulled-down", link.reference, at)

    def _of(self, role: str) -> list[Link]:
        return [link for link in self.drawn.links if link.role == role]

    def _values(self) -> None:
        drawn, resistors = self.drawn, self.meant.resistors
        pull_up = self.meant.pull_up.value
        groups = [
            ("pull-up.value", pull_up, drawn.lifting(net, "pull-up")) for _, net in self._inputs()
        ]
        for line in ("latch", "clock"):
            key, value = f"{line}-to-supply", getattr(resistors, f"{line}_to_supply")
            groups.append((f"resistors.{key}", value, drawn.lifting(drawn.lines[line], key)))
        for key, meant, links in groups:
            names = joined([link.reference for link in links])
            says = f"{with_tolerance(meant) if meant else 'no resistor there'} ({key})"
            if any(link.value is None for link in links):
                self.left_out(names, f"the netlist gives no value, and {says} is taken")
            elif key in self.filled or (not links and key == "pull-up.value"):
                continue  # nothing to compare with; a missing pull-up is told with its pin
            elif not links and meant:
                ends = key.removeprefix("resistors.").replace("-", " ")
                self.add("board.values", "no-resistor", ends, "", says)
            elif links and not _same(found := in_parallel(links), meant):
                self.add("board.values", "value", names, with_tolerance(found), says)

    def _shorts(self) -> None:
        """Pins on one net that are meant on several, and contacts of several buttons on one."""
        on: dict[str, dict[str, str]] = {}
        for pin in self.pins:
            if (net := self.net(pin)) and (pin.net != "open" or pin.name.startswith("Q")):
                own = pin.name if pin.net == "open" else pin.net
                on.setdefault(net, {}).setdefault(own, self.shown(pin))
        for net, pins in on.items():
            first, *others = pins.values()
            if net in self.drawn.rails:
                # That a line is there is told with its pin.
                mine = {own for own in pins if own.startswith("Q")} | {*self.meant.buttons}
                first, others = net, [shown for own, shown in pins.items() if own in mine]
            for other in others:
                self.add("board.short", "joined", first, net, other)
        named = {*self.drawn.lines.values(), *(one.net for one in self.drawn.contacts)}
        for net in sorted(named):
            one, *more = sorted(self.drawn.roles(net))
            if more:
                self.add("board.short", "joined", one, net, joined(more))

    def _links(self) -> None:
        ignored = self.meant.board.ignore if self.meant.board else ()
        for reference in ignored:
            self.left_out(reference, "[board] ignore names it")
        tie = next(pin for pin in self.pins if pin.name == "serial")
        if tie.net == "supply" and "register.serial-input" in self.filled:
            self.left_out(self.shown(tie), f"it is tied to supply; {WHICH_TIE}")
        for link in self.drawn.links:
            one, other = link.nets
            ends = (
                by_name(self.drawn.board.parts[link.reference]) if link.kind == "capacitor" else {}
            )
            if (ends.get("-"), ends.get("+")) == self.drawn.rails:
                named = "+" in self.drawn.board.parts[link.reference].functions.values()
                kind = "reversed" if named else "reversed-1"
                self.add("board.no-place", kind, link.reference, ends["+"], ends["-"])
            if link.kind == "diode" and link.role in ("clamp", "untold", "indicator"):
                self._diode(link)
            elif link.role == "idle":
                self.add("board.no-effect", "idle", link.reference, one)
            elif link.role in ("no-place", "conducts"):
                self.add("board.no-place", link.role, link.reference, one, other)
            elif link.role in _LEFT_OUT and link.value is None:
                self.left_out(link.reference, _LEFT_OUT[link.role])
            elif link.role == "tie" and link.value is not None:
                volts = link.value.high * most(self.meant.part.leakage_over_temperature)
                if volts > self._low() * self.meant.pad.supply.low:
                    self.add("board.values", "no-tie", link.reference, show(volts, "V"))
            elif link.role == "in-line":
                self._in_line(link)
            elif link.role == "at-contact":
                self._at_contact(link)

    def _diode(self, link: Link) -> None:
        """A zener diode within the supply, an indicator; all else a clamp may be."""
        supply, (one, other) = self.meant.pad.supply, link.nets
        value = self.drawn.board.parts[link.reference].value
        draws, fault = indicator_fault(self.drawn, link, supply)
        volts = breakdown(f"{value} {link.reference}")
        part = f"{link.reference} ({value})" if value else link.reference
        if fault in ("dark", "one-rail"):
            self.add("board.no-effect", fault, part, one, other)
        elif fault:
            self.add("board.values", fault, part, draws)
        elif draws:
            self.left_out(part, f"it draws up to {draws} beside what power.supply reckons")
        elif volts is not None and volts < supply.high:
            self.add("board.values", "zener", part, show(volts, "V"), f"{one} and {other}")
        elif volts is not None and isnan(volts):
            self.left_out(part, "its value does not tell at which volts it conducts")
        elif link.role in _LEFT_OUT and not any(part in row for row in self.rows["board.no-place"]):
            self.left_out(part, _LEFT_OUT[link.role])

    def _low(self) -> float:
        """Up to which part of the supply an input reads low."""
        figure = self.meant.part.input_low
        return most(figure) / (1 if figure.unit == "fraction" else 5)  # volts are those at 5 V

    def _at_contact(self, link: Link) -> None:
        """A capacitor against bounce: 2.2 R C is less than the time from one poll to the next."""
        net = next(net for net in link.nets if net not in self.drawn.rails)
        ups = [up for up in self.drawn.lifting(net, "pull-up") if up.value]
        known = [in_parallel(ups)] if ups else []
        known += [value] if (value := self.meant.pull_up.value) else []
        part = f"{link.reference} ({self.drawn.board.parts[link.reference].value})"
        if link.value is None or not known:
            self.left_out(link.reference, "no value tells how long it holds its contact's net")
            return
        takes = 2.2 * max(value.high for value in known) * link.value.high
        period = self.meant.poll.period.low
        if takes > period:
            self.add("board.values", "slow-contact", part, show(takes, "s"), show(period, "s"))
        else:
            self.left_out(
                part,
                f"a release is seen up to {show(takes, 's')} later than edges.rise reckons, which"
                " goes by the inputs alone, and bounce.polls as if it were not there",
            )

    def _in_line(self, link: Link) -> None:
        """What a resistor drops in data; with one to supply on the pin's side it divides a low."""
        if self.drawn.lines["data"] in link.nets and link.value:
            drops, room = data_drop(self.meant, link.value.high)
            if drops > room:
                rest = f"{show(max(room, 0.0), 'V')} is to spare"
                self.add("board.values", "drop", link.reference, show(drops, "V"), rest)
        for net in link.nets:
            if not self.drawn.roles(net) and (
                ups := [up for up in self.drawn.across(net) if up.role.endswith("-to-supply")]
            ):
                part = f"{link.reference}, with {joined([up.reference for up in ups])} behind it,"
                known = link.value if all(up.value for up in ups) else None
                share = known.high / (known.high + in_parallel(ups).low) if known else 0.0
                if share > self._low():
                    self.add("board.values", "divider", part, f"{100 * share:.0f} %")
                else:
                    self.left_out(part, "levels and port.* are reckoned without it")

    def decoupling(self) -> Finding:
        """The capacitors between supply and ground with their values; a warning if any lack."""
        links, chips = self._of("decoupling"), self.drawn.chips
        known = [link for link in links if link.value and link.value.low >= _LEAST_DECOUPLING]
        values = self.drawn.board.parts
        parts = [f"{link.reference} ({values[link.reference].value or 'of no value'})"
                 for link in links]  # fmt: skip
        enough = len(known) >= len(chips)
        return Finding(
            _DECOUPLING,
            "pass" if enough else "not-judged",
            len(known),
            len(chips),
            len(known) - len(chips),
            Met(other=self.drawn.board.name),
            case="" if enough else "warning",
            sources=(Source("a capacitor beside each chip", "common practice"),),
            facts={"parts": tuple(parts) or ("no capacitor",), "chips": chips},
            place=Place("board.netlist"),
        )

    def series(self) -> Iterator[Finding]:
        """Resistors in the lines, of which the sheet knows nothing: 2.2 R C from 10 % to 90 %.

        Data has cable and console behind it and what the sheet's findings have to spare; latch and
        clock the register alone and a tenth of the shortest time of a read.
        """
        links, poll, cable = self._of("in-line"), self.meant.poll, self.meant.cable
        slowest = min(
            poll.latch_width.low, poll.clock_low.low, poll.clock_high.low, poll.sample.low
        )
        rows = []
        for line in ("latch", "clock", "data"):
            mine = [link for link in links if self.drawn.lines[line] in link.nets]
            ohms = max((link.value.high for link in mine if link.value), default=0.0)
            limit = 0.1 * slowest
            farads = self.meant.registers * most(self.meant.part.input_capacitance) + TRACK
            if line == "data" and mine:
                limit, farads = data_seconds(self.meant)
                farads += cable.length.high * cable.capacitance.high
            if mine:
                rows.append((limit - 2.2 * ohms * farads, limit, line))
        if not rows:
            return
        margin, limit, line = min(rows)
        verdict: Verdict = "pass" if all(link.value for link in links) else "not-judged"
        yield Finding(
            _SERIES,
            "fail" if margin < 0 else verdict,
            limit - margin,
            limit,
            margin,
            Met(other=self.drawn.board.name),
            (Source("first-order RC", "calculated"),),
            facts={"parts": tuple(link.reference for link in links), "line": line},
            place=Place("board.netlist"),
        )


def _same(found: Value, meant: Value | None) -> bool:
    """Whether a value is within the sheet's; without a tolerance of its own its nominal counts."""
    if meant is None:
        return False
    slack = 1e-9 * meant.nominal
    return meant.low - slack <= found.low and found.high <= meant.high + slack
