"""What the schematic of a sheet shows of its board: parts with values, also those in no sheet.

wiring_plan(sheet, parts_shown(board_of(sheet), sheet))
"""

from collections.abc import Collection, Iterator
from dataclasses import replace

from padbench.sheet import Sheet
from padbench.wiring.netlists.recognise import Drawn, Link, by_count
from padbench.wiring.plan import Beside, OnBoard, with_tolerance

_LONGEST = 12
"""Signs of a net, or of a value that is no number."""


def parts_shown(drawn: Drawn | None, sheet: Sheet) -> OnBoard | None:
    """References and values, parts in series or between a pin and its tie, and all others.

    Of several at one place the first is shown there, the rest among the others. None of no board.
    """
    if drawn is None:
        return None
    names = {f"register {place}": part.reference for place, part in enumerate(drawn.chain, 1)}
    first = {stage: name for name, stage in reversed(sheet.buttons.items())}.values()
    labels: dict[str, str] = {}
    placed: set[str] = set()
    resistors = sheet.resistors
    sought = [("latch-to-supply", drawn.lines["latch"], resistors.latch_to_supply),
              ("clock-to-supply", drawn.lines["clock"], resistors.clock_to_supply)]  # fmt: skip
    for contact in drawn.contacts:
        names[f"contact {contact.button}"] = contact.reference
        sought.append((f"pull-up {contact.button}", contact.net, sheet.pull_up.value))
    placed |= {names.get(f"contact {button}", "") for button in first}
    for what, net, meant in sought:
        role, _, button = what.partition(" ")
        if not (lifted := drawn.lifting(net, role)):
            continue
        names[what] = ", ".join(link.reference for link in lifted)
        if not button or button in first:
            link = lifted[0]
            as_meant = meant and (link.value is None or link.value.nominal == meant.nominal)
            labels[what] = _label(drawn, replace(link, value=meant) if as_meant else link)
            placed.add(link.reference)
    for place, reference in _capacitors(drawn):
        names[place] = reference
        labels[place] = next(
            _label(drawn, one) for one in drawn.links if one.reference == reference
        )
        placed.add(reference)
    if fed := next((ref for ref, _, out in drawn.inverters if drawn.inverter(out)), ""):
        names["inverter"] = fed
    for link in drawn.links:
        free = [place for place in _places(drawn, link, first) if place not in labels]
        if link.reference not in placed and free:
            labels |= dict.fromkeys(free, _label(drawn, link))
            placed.add(link.reference)
    on_line = [link.reference for link in drawn.links if link.role == "on-line"]
    if on_line:
        labels["cable"] = f"with {', '.join(on_line)}"
    others = [link for link in drawn.links if link.reference not in placed]
    others += [Link(one.reference, None, (one.net, one.other), "contact", "contact")
               for one in drawn.contacts
               if one.reference not in placed | {link.reference for link in others}]  # fmt: skip
    return OnBoard(names, labels, tuple(tuple(chain) for chain in _chains(drawn, others)))


def _capacitors(drawn: Drawn) -> Iterator[tuple[str, str]]:
    """Which stands beside which register: no netlist tells, editors number both in one order."""
    spared = [link.reference for link in drawn.links if link.role == "decoupling"]
    places = {part.reference: place for place, part in enumerate(drawn.chain, 1)}
    one_each = [refs for refs in (drawn.chips, [*places]) if len(refs) in (1, len(spared))]
    chips = sorted(next(iter(one_each), ()), key=by_count)
    pairs = zip(chips, sorted(spared, key=by_count), strict=False)
    for chip, reference in pairs:
        if chip in places:
            yield f"capacitor {places[chip]}", reference


def _places(drawn: Drawn, link: Link, buttons: Collection[str]) -> Iterator[str]:
    """Where in the schematic a resistor stands, by the key of its label; none if beside it."""
    pins = {
        (chip, name): drawn.net(part, number)
        for chip, part in enumerate(drawn.chain, 1)
        for name, number in drawn.pins.items()
    }
    at = {pin for pin, net in pins.items() if net in link.nets and net not in drawn.rails}
    if link.role in ("in-line", "in-base"):
        line, inner = sorted(link.nets, key=lambda net: not drawn.roles(net))
        (role, *_) = {*drawn.roles(line)} & {"latch", "clock", "data"} or ("",)
        kind = {"latch": "load", "clock": "clock"}.get(role)
        fed = [pin for pin, net in pins.items() if pin[1] == kind and net == inner]
        if role and (link.role == "in-base" or len(fed) in (0, len(drawn.chain))):
            lifted = drawn.across(inner, f"{role}-to-supply")
            yield f"{role}, {'cable' if lifted else 'pin'} side"
        else:
            yield from (f"pin {chip} {name}" for chip, name in fed)
    elif link.role == "in-contact":
        for net in link.nets:
            for button in drawn.roles(net) & {*buttons}:
                inner = link.beyond(net)
                before = bool(drawn.across(inner, "pull-up"))
                on = [f"pin {chip} {name}" for (chip, name), its in pins.items() if its == inner]
                yield from [f"before {button}"] if before else on
    elif link.role in ("tie", "pull-up"):
        tied = ("serial", "clock-inhibit")
        # A second pull-up of a button stands among the others.
        free = [pin for pin in pins if pin in at and not drawn.reach(pins[pin])]
        yield from (f"pin {chip} {name}" for chip, name in free if name in tied or name[0] == "P")


def _label(drawn: Drawn, link: Link) -> str:
    says = drawn.board.parts[link.reference].value[:_LONGEST]
    if link.value is not None:
        says = with_tolerance(link.value, "F" if link.kind == "capacitor" else "Ω")
    return f"{link.reference} {says}".strip()


def _chains(drawn: Drawn, links: list[Link]) -> Iterator[list[Beside]]:
    """Parts one after the other, as an indicator and its resistor are; most are alone."""
    own = {*drawn.lines.values(), *(one.net for one in drawn.contacts)}

    def inner(net: str) -> bool:
        ends = [link for link in links if net in link.nets]
        return net not in own and len(ends) == len(drawn.board.nets.get(net, ())) == 2

    supply = drawn.rails[0]
    left = sorted(links, key=lambda one: (all(map(inner, one.nets)), supply not in one.nets))
    while left:
        link = left.pop(0)
        start, end = sorted(link.nets, key=inner)
        chain = [_beside(drawn, link, start, end)]
        while inner(end) and (more := next((one for one in left if end in one.nets), None)):
            left.remove(more)
            start, end = end, more.beyond(end)
            chain.append(_beside(drawn, more, start, end))
        yield chain


def _beside(drawn: Drawn, link: Link, start: str, end: str) -> Beside:
    says = _label(drawn, link)
    symbols = {"capacitor": "Capacitor", "diode": "Diode", "wire": "Line", "contact": "Button"}
    symbol = symbols.get(link.kind, "Resistor")
    if link.kind == "diode":
        symbol = "LED" if "LED" in says.upper() else symbol
        symbol = "ResistorIEC" if link.role == "untold" else symbol  # a box has no direction
    turned = link.kind == "diode" and start != link.nets[0]
    return Beside(symbol, says, _net(drawn, start), _net(drawn, end), turned)


def _net(drawn: Drawn, net: str) -> str:
    """A net as the schematic names it: line, button, or a pin on it, else by its own name."""
    if roles := drawn.roles(net):
        return min(roles)
    on = [(part, number) for part in drawn.chain for number in drawn.pins.values()]
    pins = (f"{part.reference} pin {drawn.really(part, number)}" for part, number in on
            if net and drawn.net(part, number) == net)  # fmt: skip
    return next(pins, net[:_LONGEST] or "open")
