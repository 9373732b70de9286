"""The schematic of a pad, its cable and its ports, as an engineer draws it.

    svg = schematic_svg(wiring_plan(sheet), broken=False)
    draw_schematic(plan, axes, broken=False)       # the same on axes of matplotlib

Needs the extra ``schematic`` (schemdraw), which is imported when a drawing is made.
"""

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, Literal

from padbench.circuit.design import least, most
from padbench.core.units import Value, show
from padbench.parts import Figure, PortKind
from padbench.sheet import Sheet
from padbench.wiring.faults import UNPLUGGED, shorts
from padbench.wiring.plan import Pin, WiringPlan

__all__ = ["draw_schematic", "schematic_svg"]

Point = tuple[float, float]
_Side = Literal["left", "center", "right"]

_CAUTION = "Unplug before you wire. Check with a meter which core is supply before you plug in."
_BROKEN = "This cannot work as it is: mend the sheet before you wire anything."

_PITCH = 1.15
"""Units from pin to pin; a unit is half an inch, the body of a resistor is one long."""

_CHIP = 5.9
"""Where a register's left edge stands: right of the pull-ups and the contacts."""

_WORD, _SMALL = 13, 11
"""Points of names, and of numbers and values."""


def schematic_svg(plan: WiringPlan, *, broken: bool) -> str:
    """The drawing as SVG 1.1; where the pad is ``broken`` it says so.

    Raises ``ValueError`` without schemdraw.
    """
    svg = _drawn("svg", plan, broken).get_imagedata("svg").decode()
    # Where its names are not known a browser would take a face with serifs.
    return str(svg.replace('font-family="sans"', 'font-family="sans-serif"'))


def draw_schematic(plan: WiringPlan, axes: Any, *, broken: bool) -> None:
    """The same on empty axes of matplotlib; their figure gets its size. Raises as above."""
    drawing = _drawn(axes, plan, broken)
    drawing.draw(show=False)
    box, edge = drawing.get_bbox(), 0.3
    axes.set_axis_off()
    axes.set(xlim=(box.xmin - edge, box.xmax + edge), ylim=(box.ymin - edge, box.ymax + edge))
    axes.figure.set_size_inches(axes.viewLim.width / 2, axes.viewLim.height / 2)


def _drawn(canvas: Any, plan: WiringPlan, broken: bool) -> Any:
    pen = _Pen(canvas)
    _pad(pen, plan.sheet, plan, broken)
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
        self.drawing.config(fontsize=_SMALL, lw=1.4, bgcolor="white", margin=0.3)

    def add(self, element: Any) -> Any:
        return self.drawing.add(element)

    def wire(self, *points: Point) -> None:
        for start, end in pairwise(points):
            self.add(self.of.Line().at(start).to(end))

    def between(self, kind: str, start: Point, end: Point, says: str = "") -> None:
        """A two-ended element, with its value beside it."""
        element = getattr(self.of, kind)().at(start).to(end)
        self.add(element.label(_plain(says), fontsize=_SMALL) if says else element)

    def at(self, kind: str, point: Point) -> None:
        """A sign that hangs on one point: Dot, Ground, Vdd, NoConnect, Terminal."""
        self.add(getattr(self.of, kind)().at(point).theta(0))

    def word(self, at: Point, says: str, align: _Side = "left", size: int = _SMALL) -> None:
        self.add(
            self.of.Label()
            .at(at)
            .theta(0)
            .label(_plain(says), ofst=0, halign=align, valign="center", fontsize=size)
        )

    def frame(self, left: float, top: float, right: float, foot: float) -> None:
        self.add(self.of.Rect((left, foot), (right, top), ls="--", lw=1).at((0, 0)).theta(0))


def _plain(says: str) -> str:
    """Names of users' own parts and ports with no sign that the library takes for markup."""
    signs = {"&": "＆", "$": "＄", "\\": "＼"}
    return "".join(signs.get(one, one if one.isprintable() else "?") for one in says)


def _pad(pen: _Pen, sheet: Sheet, plan: WiringPlan, broken: bool) -> None:
    several = len({pin.chip for pin in plan.pins})
    placed: list[_Chip] = []
    for chip in range(1, several + 1):
        pins = [pin for pin in plan.pins if pin.chip == chip]
        says = plan.part
        if several > 1:
            own = sheet.part.stages
            says += f", stages {(chip - 1) * own + 1}–{chip * own}"
        top = placed[-1].foot - 3.4 if placed else 0.0
        placed.append(_Chip(pen, pins, says, top))
        _inputs(pen, sheet, pins, placed[-1])
    plug = _lines(pen, sheet, placed)
    foot = placed[-1].foot - 1.6
    _ports(pen, sheet, plug, foot)
    cautions = [UNPLUGGED.strip()] * shorts(sheet) + [_BROKEN] * broken + [_CAUTION]
    for line, says in enumerate(cautions):
        pen.word((0, foot - 0.6 - 0.45 * line), says)


class _Chip:
    """A register with its supply: inputs on the left, all else on the right, data below."""

    def __init__(self, pen: _Pen, pins: Sequence[Pin], says: str, top: float) -> None:
        self.pins = pins
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
        self.right, self.foot = _CHIP + wide, top - high
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
            box.side(side, spacing=_PITCH, label_size=_WORD, pinlabel_size=_SMALL)
        made = pen.add(box.at((_CHIP, self.foot)).theta(0))
        self.at = {pin.name: made.absanchors[f"pin{pin.number}"] for pin in pins}
        self.out: Point | None = self.at[on[0].name] if on else None
        x, y = self.at["VDD"][0], self.at["VDD"][1] + 0.5
        pen.wire(self.at["VDD"], (x, y))
        pen.at("Dot", (x, y))
        pen.at("Vdd", (x, y))
        pen.between("Capacitor", (x, y), (x + 1.7, y), "100 nF")
        pen.at("Ground", (x + 1.7, y))
        pen.at("Ground", self.at["VSS"])
        pen.word((x - 0.7, self.foot - 0.7), says, "right", _WORD)


def _inputs(pen: _Pen, sheet: Sheet, pins: Sequence[Pin], chip: _Chip) -> None:
    """Pull-ups on the left, contacts to ground, and what is tied to supply."""
    pull_up = sheet.pull_up.value
    lifted = []
    for pin in pins:
        x, y = chip.at[pin.name]
        if pin.net in sheet.buttons:
            node = (2.2, y)
            pen.wire(node, (x, y))
            if pull_up is not None:
                lifted.append(y)
                pen.at("Dot", node)
                pen.between("Resistor", (0, y), node, show(pull_up.nominal, "Ω"))
            pen.wire(node, (node[0], y - 0.55), (2.4, y - 0.55))
            pen.between("Button", (2.4, y - 0.55), (3.4, y - 0.55))
            pen.at("GroundSignal", (3.4, y - 0.55))
            names = [name for name, stage in sheet.buttons.items() if stage == _stage(sheet, pin)]
            more = [f"{len(names) - 1} more"] if len(names) > 2 else names[1:]
            pen.word((3.65, y + 0.22), ", ".join([names[0], *more]))
        elif pin.name[1:].isdigit() and pin.name[0] == "P":
            lifted.append(y)
            pen.wire((0, y), (x, y))
    if lifted:
        pen.wire((0, min(lifted)), (0, max(lifted)))
        pen.at("Vdd", (0, max(lifted)))


def _stage(sheet: Sheet, pin: Pin) -> int:
    return (pin.chip - 1) * sheet.part.stages + int(pin.name[1:])


def _lines(pen: _Pen, sheet: Sheet, chips: Sequence[_Chip]) -> Point:
    """Right of the registers: ties, the buses of a chain, resistors, cable. Top of its plug."""
    first, edge = chips[0], chips[0].right
    for chip, before in zip(chips, (None, *chips), strict=False):
        for pin in chip.pins:
            at = chip.at[pin.name]
            if pin.net == "open":
                pen.wire(at, (at[0] + 0.35, at[1]))
                pen.at("NoConnect", (at[0] + 0.35, at[1]))
            elif pin.name == "serial" and before is not None and before.out is not None:
                corner = edge + 0.9
                pen.wire(before.out, (corner, before.out[1]), (corner, at[1]), at)
            elif pin.name in ("serial", "clock-inhibit"):
                pen.at("Ground" if pin.net == "ground" else "Vdd", at)
    core = edge + (6.8 if sheet.chip.latch_inverted else 5.4)
    rows = _rows(first)
    for name, net in (("load", "latch"), ("clock", "clock")):
        y, bus = rows[net], edge + (1.5 if net == "latch" else 2.1)
        for chip in chips[1:]:
            pen.wire((bus, y), (bus, chip.at[name][1]), chip.at[name])
        for chip in chips[:-1] if len(chips) > 1 else ():
            pen.at("Dot", (bus, chip.at[name][1]))
        begin = chips[0].at[name]
        if net == "latch" and sheet.chip.latch_inverted:
            # It points at the pins, with its bubble there.
            inner, outer = (edge + 2.6, y), (edge + 4.2, y)
            pen.wire(begin, inner)
            pen.add(pen.logic.Not().at(outer).to(inner))
            pen.word((edge + 3.4, y + 0.8), "inverter", "center")
            begin = outer
        pen.wire(begin, (core, y))
        lift = getattr(sheet.resistors, f"{net}_to_supply")
        if lift is not None:
            x = core - 2.2
            pen.at("Dot", (x, y))
            pen.between("Resistor", (x, y), (x, y + 1.5))
            pen.at("Vdd", (x, y + 1.5))
            pen.word((x + 0.4, y + 0.75), show(lift.nominal, "Ω"))
    if (out := chips[-1].out) is not None:
        corner = edge + 2.8
        pen.wire(out, (corner, out[1]), (corner, rows["data"]), (core, rows["data"]))
    for net, sign in (("supply", "Vdd"), ("ground", "Ground")):
        pen.wire((core - 0.6, rows[net]), (core, rows[net]))
        pen.at(sign, (core - 0.6, rows[net]))
    return _cable(pen, sheet, core, rows)


def _rows(chip: _Chip) -> dict[str, float]:
    """Heights of the cable's cores, at the first register."""
    latch, clock = chip.at["load"][1], chip.at["clock"][1]
    return {
        "supply": latch + _PITCH,
        "latch": latch,
        "clock": clock,
        "data": clock - _PITCH,
        "ground": clock - 2 * _PITCH,
    }


def _cable(pen: _Pen, sheet: Sheet, x: float, rows: dict[str, float]) -> Point:
    top, foot = max(rows.values()) + 0.7, min(rows.values()) - 0.4
    pen.frame(x + 0.4, top, x + 2.4, foot)
    length, farads = sheet.cable.length.nominal, sheet.cable.capacitance.nominal
    pen.word((x + 1.4, top + 0.6), f"cable, {show(length, 'm')}", "center")
    pen.word((x + 1.4, top + 0.25), show(farads, "F/m"), "center")
    pen.word((x + 2.8, top + 0.25), "plug", "center")
    for name, y in rows.items():
        pen.wire((x, y), (x + 2.8, y))
        pen.at("Dot", (x, y))
        pen.at("Dot", (x + 2.8, y))
        pen.word((x + 1.4, y + 0.22), name, "center")
    return x + 2.8, top


_WIDE = 8.2
"""Units of a port's frame."""


def _ports(pen: _Pen, sheet: Sheet, plug: Point, foot: float) -> None:
    """Each kind of port of the sheet, joined to the plug by the names of the cores."""
    left = plug[0] + 0.8
    top = begin = plug[1] + 0.5
    for place, name in enumerate(sheet.works_with.ports):
        port = sheet.port(name)
        high = 5.4 + 1.3 * (port.data_pull_up is not None) + 1.0 * (port.data_pull_down is not None)
        if top < begin and top - high < foot:
            left, top = left + _WIDE + 0.4, begin
        pen.frame(left, top, left + _WIDE, top - high)
        pen.word((left + 0.3, top - 0.4), f"{'or: ' * (place > 0)}{name} port", size=_WORD)
        _port(pen, sheet, port, (left + 0.6, top))
        top -= high + 0.4


def _port(pen: _Pen, sheet: Sheet, port: PortKind, at: Point) -> None:
    x, top = at
    y = top - 1.3
    volts = show(_usual(port.supply or sheet.pad.supply), "V")
    _terminal(pen, (x, y), "supply")
    _way(pen, [("Diode", "")] if port.supply_diode else [], (x + 3.4, y), (x, y))
    pen.at("Vdd", (x + 3.4, y))
    pen.word((x + 3.7, y + 0.2), volts)
    _terminal(pen, (x + 5.2, y), "ground")
    pen.wire((x + 5.2, y), (x + 6.6, y))
    pen.at("Ground", (x + 6.6, y))

    y = top - 3.5
    _terminal(pen, (x, y), "latch, clock")
    node = (x + 2.5, y)
    pen.wire((x, y), node)
    if port.output_high_resistance is not None:
        ohms, high = show(most(port.output_high_resistance), "Ω"), port.output_high
        pen.at("Dot", node)
        pen.wire(node, (node[0], y + 1.1))
        chain = [("Switch", ""), ("Resistor", f"≤ {ohms}")]
        _way(pen, chain, (node[0], y + 1.1), (x + 5.9, y + 1.1), "Vdd")
        if high is not None:
            pen.word((x + 5.1, y + 0.8), f"{show(least(high), 'V')} to {show(most(high), 'V')}")
    chain = [("Switch", ""), ("Resistor", f"≤ {show(most(port.output_low_resistance), 'Ω')}")]
    _way(pen, [("Diode", "")] * port.diode + chain, node, (x + 6.9, y), "Ground")

    y = top - 4.7 - 1.3 * (port.data_pull_up is not None)
    _terminal(pen, (x, y), "data")
    node = (x + 2.2, y)
    _way(pen, [("Diode", "")] if port.data_diode else [], node, (x, y))
    up, down = (port.data_pull_up, 0.9, "Vdd"), (port.data_pull_down, -1.0, "Ground")
    for figure, step, sign in (up, down):
        if figure is not None:
            pen.at("Dot", node)
            pen.wire(node, (node[0], y + step))
            chain = [("Resistor", f"≥ {show(least(figure), 'Ω')}")]
            _way(pen, chain, (node[0], y + step), (x + 4.2, y + step), sign)
    pen.wire(node, (x + 4.6, y))
    pen.add(pen.logic.Buf().at((x + 4.6, y)).to((x + 6.0, y)))
    pen.word((x + 6.1, y), "is read")


def _usual(volts: Value | Figure) -> float:
    if isinstance(volts, Value):
        return volts.nominal
    return volts.typ if volts.typ is not None else least(volts)


def _terminal(pen: _Pen, at: Point, says: str) -> None:
    pen.word((at[0], at[1] + 0.28), says)
    pen.at("Dot", at)


def _way(
    pen: _Pen, chain: Sequence[tuple[str, str]], start: Point, end: Point, sign: str = ""
) -> None:
    """Elements in a row from one point to another, 1.4 units each, and a sign at its end."""
    here, way = start, 1 if end[0] > start[0] else -1
    for kind, says in chain:
        there = (here[0] + way * 1.4, here[1])
        pen.between(kind, here, there, says)
        here = there
    pen.wire(here, end)
    if sign:
        pen.at(sign, end)
