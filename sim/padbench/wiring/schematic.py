"""The schematic of a pad and its cable as an engineer draws it, and its packages.

    svg = drawn_svg(schematic, wiring_plan(sheet), broken=False)
    draw_on(axes, packages, plan, broken=False)      # on axes of matplotlib

Needs the extra ``schematic`` (schemdraw), which is imported when a drawing is made.
"""

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from itertools import pairwise
from typing import Any, Literal

from padbench.core.units import show
from padbench.sheet import Sheet
from padbench.wiring.mistakes import UNPLUGGED, shorts
from padbench.wiring.plan import Beside, Pin, WiringPlan, with_tolerance

Point = tuple[float, float]
_Side = Literal["left", "center", "right"]
Picture = Callable[["_Pen", WiringPlan], float]
"""What draws a plan; it hands back how far down it went."""

_SUSPECT = "#b00020"
_CAUTION = "Unplug before you wire. Check with a meter which core is supply before you plug in."
_BROKEN = "This cannot work as it is: mend the sheet before you wire anything."

_PITCH = 1.35
"""Units from pin to pin; a unit is half an inch, the body of a resistor is one long."""

_CHIP = 7.3
"""Where a register's left edge stands: right of the pull-ups and the contacts."""

_SERIES = 2.8
"""More room where resistors stand in series."""

_PAGE = 18.0
"""How wide the rows of parts without a place become."""

_MOST_ROWS = 60
"""Parts without a place that are drawn; a board with more is no pad's."""

_MARGIN = 0.3
"""Units around it."""

_WORD, _SMALL = 13, 11
"""Points of names, and of numbers and values."""


def drawn_svg(picture: Picture, plan: WiringPlan, *, broken: bool) -> str:
    """A picture as SVG 1.1; where the pad is ``broken`` it says so.

    Raises ``ValueError`` without schemdraw.
    """
    svg = _drawn("svg", picture, plan, broken).get_imagedata("svg").decode()
    # Where its names are not known a browser would take a face with serifs.
    return str(svg.replace('font-family="sans"', 'font-family="sans-serif"'))


def draw_on(axes: Any, picture: Picture, plan: WiringPlan, *, broken: bool) -> None:
    """The same on empty axes of matplotlib; their figure gets its size. Raises as above."""
    drawing = _drawn(axes, picture, plan, broken)
    drawing.draw(show=False)
    box, edge = drawing.get_bbox(), _MARGIN
    axes.set_axis_off()
    axes.set(xlim=(box.xmin - edge, box.xmax + edge), ylim=(box.ymin - edge, box.ymax + edge))
    axes.figure.set_size_inches(axes.viewLim.width / 2, axes.viewLim.height / 2)


def _drawn(canvas: Any, picture: Picture, plan: WiringPlan, broken: bool) -> Any:
    pen = _Pen(canvas)
    foot = picture(pen, plan)
    cautions = [UNPLUGGED.strip()] * shorts(plan.sheet) + [_BROKEN] * broken + [_CAUTION]
    for line, says in enumerate(cautions):
        pen.word((0, foot - 0.6 - 0.45 * line), says)
    return pen.drawing


class _Pen:
    """Places the library's elements at points; words are ours only where it has none."""

    def __init__(self, canvas: Any) -> None:
        try:
            import schemdraw  # noqa: PLC0415  (slow, and an extra)
            from schemdraw import elements, logic  # noqa: PLC0415
        except ImportError:
            raise ValueError("schemdraw is missing; pip install 'padbench[schematic]'") from None
        self.of, self.logic = elements, logic
        self.drawing = schemdraw.Drawing(canvas=canvas, show=False)
        self.drawing.config(fontsize=_SMALL, lw=1.4, bgcolor="white", margin=_MARGIN)

    def add(self, element: Any) -> Any:
        return self.drawing.add(element)

    def wire(self, *points: Point) -> None:
        for start, end in pairwise(points):
            self.add(self.of.Line().at(start).to(end))

    def between(self, kind: str, start: Point, end: Point, says: str = "") -> None:
        """A two-ended element, with its value beside it."""
        element = getattr(self.of, kind)().at(start).to(end)
        self.add(element.label(_plain(says), fontsize=_SMALL) if says else element)

    def at(self, point: Point, *kinds: str) -> None:
        """Signs that hang on one point: Dot, Ground, Vdd, NoConnect."""
        for kind in kinds:
            self.add(getattr(self.of, kind)().at(point).theta(0))

    def word(self, at: Point, says: str, align: _Side = "left", size: int = _SMALL) -> None:
        if not says:
            return
        # The library reckons all words as if they were centred, and narrower than some faces are.
        wide = 0.6 * size / 36 * len(says)
        left = at[0] - wide * {"left": 0.0, "center": 0.5, "right": 1.0}[align]
        gap: Any = self.of.Gap
        self.add(gap().at((left, at[1])).to((left + wide, at[1])))
        label = self.of.Label().at(at).theta(0)
        self.add(label.label(_plain(says), halign=align, valign="center", fontsize=size))

    def frame(self, left: float, top: float, right: float, foot: float) -> None:
        self.add(self.of.Rect((left, foot), (right, top), ls="--", lw=1).at((0, 0)).theta(0))


def _plain(says: str) -> str:
    """Names of users' own parts and ports with no sign that the library takes for markup."""
    signs = {"&": "＆", "$": "＄", "\\": "＼"}
    return "".join(signs.get(one, one if one.isprintable() else "?") for one in says)


def packages(pen: _Pen, plan: WiringPlan, marked: Collection[int] = ()) -> float:
    """Each package from above, pin 1 at the upper left, with the net of every pin.

    Pins whose place in ``plan.pins`` is ``marked`` have a ring around them.

    An inverter before the load pin stands at the first package, as all load pins hang on one.
    """
    top, left, wide = 0.0, 7.0, 1.2 + 0.36 * max(len(pin.name) for pin in plan.pins)
    for chip, pins in _by_chip(plan):
        half = (len(pins) + 1) // 2
        high = half * 1.5 + 0.9
        names = [pin.name for pin in pins]
        title = f"{_titled(plan, chip)}, from above"
        pen.word((left + wide / 2, top + 0.4), title, "center", _WORD)
        dip = pen.of.IcDIP(names=names, pins=2 * half, width=wide, spacing=0.9, pfontsize=_SMALL)
        made = pen.add(dip.at((left, top - high)).theta(0))
        for pin in pins:
            x, y = made.absanchors[f"p{pin.number}"]
            side: _Side = "right" if pin.number <= half else "left"
            way = -1 if side == "right" else 1
            if plan.pins.index(pin) in marked:
                ring = pen.of.Dot(radius=0.35, open=True).at((x - way * 0.25, y)).color(_SUSPECT)
                pen.add(ring.linewidth(3).fill(False))
            if plan.sheet.chip.latch_inverted and pin.name == "load" and chip == 1:
                pen.add(pen.logic.Not().at((x + way * 1.6, y)).to((x, y)))
                x += way * 1.5
            for line, says in enumerate([pin.net, *pin.goes_to.split("; ")]):
                size = _SMALL if line else _WORD
                pen.word((x + way * 0.3, y + 0.2 - 0.36 * line), says, side, size)
        top -= high + 1.5
    return top + 1.2


def _by_chip(plan: WiringPlan) -> list[tuple[int, list[Pin]]]:
    chips = sorted({pin.chip for pin in plan.pins})
    return [(chip, [pin for pin in plan.pins if pin.chip == chip]) for chip in chips]


def _titled(plan: WiringPlan, chip: int) -> str:
    own = plan.sheet.part.stages
    several = plan.sheet.chip.stages > own
    return _named(plan, f"register {chip}", plan.part) + (
        f", stages {(chip - 1) * own + 1}–{chip * own}" if several else ""
    )


def schematic(pen: _Pen, plan: WiringPlan) -> float:
    """Contacts with their pull-ups, registers one below the other, cable."""
    placed: list[_Chip] = []
    inner = [re.search("before|pin [0-9]+ P", key) for key in _labels(plan)]
    left = _CHIP + _SERIES * len({found[0][0] for found in inner if found})
    for chip, pins in _by_chip(plan):
        top = placed[-1].foot - 3.4 if placed else 0.0
        spared = _named(plan, what := f"capacitor {chip}", "100 nF")
        spared = spared if plan.board is None or what in plan.names else ""
        placed.append(_Chip(pen, pins, _titled(plan, chip), (left, top), spared))
        _inputs(pen, plan, pins, placed[-1])
    _lines(pen, plan, placed)
    return _others(pen, plan.board.beside if plan.board else (), placed[-1].foot - 1.6)


def _labels(plan: WiringPlan) -> Mapping[str, str]:
    return plan.board.labels if plan.board else {}


def _named(plan: WiringPlan, what: str, says: str) -> str:
    """With its reference before it, if it has one; as on the board where its value is known."""
    return _labels(plan).get(what) or f"{plan.names.get(what, '')} {says}".strip()


class _Chip:
    """A register with its supply: inputs on the left, all else on the right, data below."""

    def __init__(self, pen: _Pen, pins: Sequence[Pin], says: str, at: Point, spared: str) -> None:
        self.pins, (left_edge, top) = pins, at
        # Where no pin has the last stage there is none.
        on = [pin for pin in pins if pin.name[0] == "Q" and pin.net in ("data", "chain")]
        left = [pin for pin in pins if pin.name[:1] == "P" and pin.name[1:].isdigit()]
        left.sort(key=lambda pin: int(pin.name[1:]))
        first = ("serial", "load", "clock")
        rest = [pin for pin in pins if pin not in left and pin.name not in (*first, "VDD", "VSS")]
        # From the bottom: what goes on (data, the next register), then what stays open or is tied.
        rest.sort(key=lambda pin: (pin.net not in ("data", "chain"), pin.net == "ground"))
        rows = max(len(left), len(rest) + len(first) + 1)
        right = {pin.name: place for place, pin in enumerate(rest, 1)}
        right |= {"serial": rows, "load": rows - 1, "clock": rows - 3}
        wide = max(3.2, 1.6 + 0.2 * max(map(len, right)))
        high = (rows - 1) * _PITCH + 2.2
        self.right, self.foot = left_edge + wide, top - high
        ic = pen.of.IcPin
        number = {pin.name: str(pin.number) for pin in pins}
        shown = [
            *(ic(pin.name, number[pin.name], "L", slot=f"{place}/{rows}")
              for place, pin in enumerate(left, rows - len(left) + 1)),
            *(ic(name, number[name], "R", slot=f"{place}/{rows}") for name, place in right.items()),
            ic("VDD", number["VDD"], "T", slot="1/3"),
            ic("VSS", number["VSS"], "B", slot="1/3"),
        ]  # fmt: skip
        box = pen.of.Ic(size=(wide, high), pins=shown)
        for side in "LRTB":
            space = _PITCH if side in "LR" else 1.15
            box.side(side, spacing=space, label_size=_WORD, pinlabel_size=_SMALL)
        made = pen.add(box.at((left_edge, self.foot)).theta(0))
        self.at = {pin.name: made.absanchors[f"pin{pin.number}"] for pin in pins}
        self.out: Point | None = self.at[on[0].name] if on else None
        x, y = self.at["VDD"][0], self.at["VDD"][1] + 0.5
        pen.wire(self.at["VDD"], (x, y))
        pen.at((x, y), "Vdd")
        if spared:
            pen.at((x, y), "Dot")
            pen.between("Capacitor", (x, y), (x + 2.6, y), spared)
            pen.at((x + 2.6, y), "Ground")
        pen.at(self.at["VSS"], "Ground")
        pen.word((x - 0.7, self.foot - 0.7), says, "right", _WORD)


def _inputs(pen: _Pen, plan: WiringPlan, pins: Sequence[Pin], chip: _Chip) -> None:
    """Pull-ups on the left, contacts to ground, what is tied to supply; other pads' by name."""
    sheet, labels = plan.sheet, _labels(plan)
    pull_up = sheet.pull_up.value
    lifted = []
    side = 2.1 if any(key.startswith("before") for key in labels) else 0.0
    for pin in pins:
        x, y = chip.at[pin.name]
        in_series = labels.get(f"pin {pin.chip} {pin.name}", "")
        if pin.net in sheet.buttons:
            node = (3.0, y)
            if in_series:
                pen.between("Resistor", (x - 2.9, y), (x - 0.7, y), in_series)
                pen.wire(node, (x - 2.9, y))
            pen.wire((x - 0.7, y) if in_series else node, (x, y))
            key = f"pull-up {pin.net}"
            if key in plan.names if plan.board else pull_up is not None:
                lifted.append(y)
                pen.at(node, "Dot")
                says = _named(plan, key, with_tolerance(pull_up) if pull_up else "")
                pen.between("Resistor", (0, y), node, says)
            at, low = 3.2, y - 0.55
            pen.wire(node, (node[0], low), (at, low))
            if before := labels.get(f"before {pin.net}", ""):
                pen.between("Resistor", (at, low), (at + side, low))
                pen.word((at, low - 0.5), before)
            elif side:
                pen.wire((at, low), (at + side, low))
            at += side
            pen.between("Button", (at, low), (at + 1.0, low))
            pen.at((at + 1.0, low), "GroundSignal")
            own = (pin.chip - 1) * sheet.part.stages + int(pin.name[1:])
            held = [name for name, stage in sheet.buttons.items() if stage == own]
            more = [f"{len(held) - 1} more"] if len(held) > 2 else held[1:]
            first = _named(plan, f"contact {held[0]}", held[0])
            pen.word((at + 1.25, y + 0.22), ", ".join([first, *more]))
        elif pin.net == "other":
            pen.word((x - 0.6, y + 0.2), pin.goes_to, "right")
        elif pin.name[1:].isdigit() and pin.name[0] == "P":
            lifted.append(y)
            pen.between("Resistor" if in_series else "Line", (0, y), (3.0, y), in_series)
            pen.wire((3.0, y), (x, y))
    if lifted:
        pen.wire((0, min(lifted)), (0, max(lifted)))
        pen.at((0, max(lifted)), "Vdd")


def _at_pins(pen: _Pen, plan: WiringPlan, chips: Sequence[_Chip]) -> float:
    """Resistors at the pins, ties, links of a chain; hands back where the buses may begin."""
    labels, edge = _labels(plan), chips[0].right
    rights = [key for key in labels if re.match("pin [0-9]+ [^P]", key)]
    edge += _SERIES if rights else 0.0
    for chip, before in zip(chips, (None, *chips), strict=False):
        for pin in chip.pins:
            at = chip.at[pin.name]
            key = f"pin {pin.chip} {pin.name}"
            if key in rights:
                pen.between("Resistor", at, (edge, at[1]), labels[key])
                chip.at[pin.name] = at = (edge, at[1])
            if pin.net == "open":
                pen.wire(at, (at[0] + 0.35, at[1]))
                pen.at((at[0] + 0.35, at[1]), "NoConnect")
            elif pin.name == "serial" and before is not None and before.out is not None:
                corner = edge + 0.9
                pen.wire(before.out, (corner, before.out[1]), (corner, at[1]), at)
            elif pin.name in ("serial", "clock-inhibit"):
                pen.at(at, "Ground" if pin.net == "ground" else "Vdd")
    return edge


def _lines(pen: _Pen, plan: WiringPlan, chips: Sequence[_Chip]) -> None:
    """Right of the registers: ties, the buses of a chain, resistors, cable."""
    sheet, labels, edge = plan.sheet, _labels(plan), _at_pins(pen, plan, chips)
    latch, clock = chips[0].at["load"][1], chips[0].at["clock"][1]
    sides = [side in " ".join(labels) for side in ("pin side", "cable side")]
    core = edge + (7.6 if sheet.chip.latch_inverted else 6.2) + _SERIES * sum(sides)
    lift_at = core - 3.0 - _SERIES * sides[1]
    rows = {"supply": latch + _PITCH, "latch": latch, "clock": clock}
    rows |= {"data": clock - _PITCH, "ground": clock - 2 * _PITCH}
    for name, net in (("load", "latch"), ("clock", "clock")):
        y, bus = rows[net], edge + (1.5 if net == "latch" else 2.1)
        for chip in chips[1:]:
            pen.wire((bus, y), (bus, chip.at[name][1]), chip.at[name])
        for chip in chips[:-1] if len(chips) > 1 else ():
            pen.at((bus, chip.at[name][1]), "Dot")
        begin = chips[0].at[name]
        if net == "latch" and sheet.chip.latch_inverted:
            # It points at the pins, with its bubble there.
            inner, outer = (edge + 2.6, y), (edge + 4.2, y)
            pen.wire(begin, inner)
            pen.add(pen.logic.Not().at(outer).to(inner))
            pen.word((edge + 3.4, y + 1.1), _named(plan, "inverter", ""), "center")
            pen.word((edge + 3.4, y + 0.75), "inverter", "center")
            begin = outer
        _line(pen, labels, net, begin, (core, y), lift_at)
        lift, key = getattr(sheet.resistors, f"{net}_to_supply"), f"{net}-to-supply"
        if key in plan.names if plan.board else lift is not None:
            says = _named(plan, key, with_tolerance(lift) if lift else "")
            reference, _, says = says.partition(" ")
            pen.at((lift_at, y), "Dot")
            pen.between("Resistor", (lift_at, y), (lift_at, y + 1.5))
            pen.at((lift_at, y + 1.5), "Vdd")
            pen.word((lift_at + 0.4, y + 0.95), reference)
            pen.word((lift_at + 0.4, y + 0.6), says)
    if (out := chips[-1].out) is not None:
        corner = edge + 2.8
        pen.wire(out, (corner, out[1]), (corner, rows["data"]))
        _line(pen, labels, "data", (corner, rows["data"]), (core, rows["data"]), lift_at)
    for net, sign in (("supply", "Vdd"), ("ground", "Ground")):
        pen.wire((core - 0.6, rows[net]), (core, rows[net]))
        pen.at((core - 0.6, rows[net]), sign)
    _cable(pen, sheet, core, rows, labels.get("cable", ""))


def _line(
    pen: _Pen, labels: Mapping[str, str], net: str, start: Point, end: Point, lift_at: float
) -> None:
    """A line to the cable, with the resistors in series on either side of the one to supply."""
    for side, x in (("pin", lift_at - 2.5), ("cable", end[0] - 2.5)):
        if says := labels.get(f"{net}, {side} side", ""):
            pen.wire(start, (x, end[1]))
            start = (x + 1.8, end[1])
            pen.between("Resistor", (x, end[1]), start)
            pen.word((x + 0.9, end[1] - 0.5), says, "center")
    pen.wire(start, end)


def _others(pen: _Pen, chains: Sequence[Sequence[Beside]], foot: float) -> float:
    """Rows of what else is on the board, between the names of its nets."""
    if not chains:
        return foot
    x, y, step = 0.0, foot - 1.6, 3.0
    more = f" (the first of {len(chains)})" if len(chains) > _MOST_ROWS else ""
    pen.word((0, foot - 0.4), f"Also on the board, not placed above{more}:")
    for chain in chains[:_MOST_ROWS]:
        wide = 5.2 + step * len(chain)
        if x and x + wide > _PAGE:
            x, y = 0.0, y - 1.5
        pen.word((x + 2.3, y), chain[0].start, "right")
        for place, part in enumerate(chain):
            ends = [(x + 2.5 + step * at, y) for at in (place, place + 1)]
            pen.between(part.symbol, *(reversed(ends) if part.turned else ends))
            aside = 0.6 if part.turned else -0.6  # where the arrows of light are not
            pen.word((x + 2.5 + step * (place + 0.5), y + aside), part.says, "center")
        pen.word((x + 2.7 + step * len(chain), y), chain[-1].end)
        x += wide + 0.4
    return y - 0.8


def _cable(pen: _Pen, sheet: Sheet, x: float, rows: dict[str, float], more: str) -> None:
    top, foot = max(rows.values()) + 0.7, min(rows.values()) - 0.4
    pen.frame(x + 0.4, top, x + 2.4, foot)
    length, farads = sheet.cable.length.nominal, sheet.cable.capacitance.nominal
    says = [more] * bool(more) + [show(farads, "F/m"), f"cable, {show(length, 'm')}"]
    for line, words in enumerate(says):
        pen.word((x + 1.4, top + 0.25 + 0.35 * line), words, "center")
    pen.word((x + 2.8, top + 0.25), "plug", "center")
    for name, y in rows.items():
        pen.wire((x, y), (x + 2.8, y))
        pen.at((x, y), "Dot")
        pen.at((x + 2.8, y), "Dot")
        pen.word((x + 1.4, y + 0.22), name, "center")
