"""Boards as a schematic editor would export them, in each of the three formats.

write(harbour("b"), "s-expression")          # the text of a netlist
"""

from dataclasses import dataclass, field, replace

BUTTONS = ("A", "B", "Select", "Start", "Up", "Down", "Left", "Right")
INPUTS = {8: 1, 7: 15, 6: 14, 5: 13, 4: 4, 3: 5, 2: 6, 1: 7}
"""Pins of the parallel inputs by stage: MC14021B, Motorola CMOS Logic Data."""

NAMES = {
    **{1: "P8", 2: "Q6", 3: "Q8", 4: "P4", 5: "P3", 6: "P2", 7: "P1", 8: "VSS"},
    **{9: "load", 10: "clock", 11: "serial", 12: "Q7", 13: "P5", 14: "P6", 15: "P7", 16: "VDD"},
}
"""All pins of that part, as the parts table calls them."""

FORMS = {"s-expression": "net", "IPC-D-356": "ipc", "SPICE": "cir"}
"""Names of the formats with the endings that the examples have."""


@dataclass(frozen=True)
class Part:
    """Value, pins with their nets, and names of pins where the symbol has some."""

    value: str
    pins: dict[str, str]
    names: dict[str, str] = field(default_factory=dict)


Parts = dict[str, Part]


def harbour(revision="b") -> Parts:
    """The replacement pad of the Harbour Street toy library, revision a, b or c."""
    chip = {16: "VCC", 8: "GND", 9: "LATCH", 10: "CLOCK", 3: "DATA", 11: "GND"}
    chip |= {INPUTS[8 - place]: name.upper() for place, name in enumerate(BUTTONS)}
    if revision == "a":
        chip |= {4: "DOWN", 5: "UP"}  # swapped on the board
        del chip[11]  # the track to ground was forgotten
    if revision == "c":
        chip = {17 - pin: net for pin, net in chip.items()}  # numbered from below
    parts = {"U1": Part("CD4021BE", {str(pin): net for pin, net in sorted(chip.items())})}
    for place, name in enumerate(BUTTONS, 1):
        value = "10k" if revision == "a" else "39k"
        parts[f"R{place}"] = Part(value, {"1": "VCC", "2": name.upper()})
        parts[f"SW{place}"] = Part(name, {"1": name.upper(), "2": "GND"})
    if revision != "a":
        parts["R9"] = Part("3.6k", {"1": "VCC", "2": "LATCH"})
        parts["R10"] = Part("3.6k", {"1": "VCC", "2": "CLOCK"})
    parts["C1"] = Part("100n", {"1": "VCC", "2": "GND"})
    cores = ("GND", "CLOCK", "LATCH", "DATA", "VCC")
    parts["J1"] = Part("Cable", {str(pin): net for pin, net in enumerate(cores, 1)})
    return parts


def adapter(pads=2, *, chained=True) -> Parts:
    """Several pads on one cable: a chain whose last register is the first pad's, or data lines."""
    one, parts = harbour(), {}
    for number in range(1, pads + 1):
        own = {name: f"P{number}_{name.upper()}" for name in BUTTONS}
        moved = {name.upper(): net for name, net in own.items()}
        if chained:
            moved["DATA"] = "DATA" if number == 1 else f"LINK{number}"
        else:
            moved["DATA"] = f"DATA{number}"
        for reference, part in one.items():
            if reference in ("J1", "R9", "R10"):
                continue
            pins = {pin: moved.get(net, net) for pin, net in part.pins.items()}
            if reference == "U1" and chained and number < pads:
                pins["11"] = f"LINK{number + 1}"
            name = f"U{number}" if reference == "U1" else f"{reference}0{number}"
            parts[name] = Part(part.value, pins)
    lines = ["DATA"] if chained else [f"DATA{number}" for number in range(1, pads + 1)]
    cores = ("GND", "CLOCK", "LATCH", "VCC", *lines)
    parts["J1"] = Part("Cable", {str(pin): net for pin, net in enumerate(cores, 1)})
    return {**parts, "R9": one["R9"], "R10": one["R10"]}


def changed(parts: Parts, **pins: dict[str, str | None]) -> Parts:
    """The board with some pins of some parts on other nets; None takes a pin off its net."""
    done = dict(parts)
    for reference, nets in pins.items():
        part = done[reference]
        after = {**part.pins, **nets}
        done[reference] = replace(part, pins={pin: net for pin, net in after.items() if net})
    return done


def write(parts: Parts, form: str, title: str = "Harbour Street replacement pad") -> str:
    return {"s-expression": _s_expression, "IPC-D-356": _ipc, "SPICE": _spice}[form](parts, title)


def _s_expression(parts: Parts, title: str) -> str:
    lines = ['(export (version "E")', f'  (design (title "{title}"))', "  (components"]
    nets: dict[str, list[str]] = {}
    for reference, part in parts.items():
        lines.append(f'    (comp (ref "{reference}") (value "{part.value}"))')
        for pin, net in part.pins.items():
            name = f' (pinfunction "{part.names[pin]}")' if pin in part.names else ""
            node = f'(node (ref "{reference}") (pin "{pin}"){name} (pintype "passive"))'
            nets.setdefault(net, []).append(node)
    lines[-1] += ")"
    lines.append("  (nets")
    for code, (net, nodes) in enumerate(sorted(nets.items()), 1):
        lines.append(f'    (net (code "{code}") (name "{net}")')
        lines += [f"      {node}" for node in nodes]
        lines[-1] += ")"
    return "\n".join(lines) + "))\n"


def _ipc(parts: Parts, title: str) -> str:
    lines = ["C  IPC-D-356A", f"P  JOB  {title}", "P  UNITS CUST 0"]
    for place, (reference, part) in enumerate(parts.items()):
        for pin, net in part.pins.items():
            record = f"317{net:<14}   {reference:<6}-{pin:<4}"
            lines.append(f"{record} D 394PA00X{place * 1000:+07d}Y{int(pin) * 1000:+07d}S0")
    return "\n".join([*lines, "999"]) + "\n"


def _spice(parts: Parts, title: str) -> str:
    kinds = {"SW": ("CONTACT", "1 2"), "J": ("CABLE", "1 2 3 4 5")}
    lines = [f"* {title}", f".subckt CD4021BE {' '.join(NAMES.values())}", ".ends"]
    lines += [line for name, pins in kinds.values() for line in (f".subckt {name} {pins}", ".ends")]
    for reference, part in parts.items():
        letters = reference.rstrip("0123456789")
        if letters == "U":
            nets = [part.pins.get(str(pin), f"NC{pin}") for pin in NAMES]
            lines.append(f"X{reference} {' '.join(nets)} {part.value}")
        elif letters in kinds:
            nets = [*part.pins.values()]
            lines.append(f"X{reference} {' '.join(nets)} {kinds[letters][0]}")
        else:
            lines.append(f"{reference} {' '.join(part.pins.values())} {part.value}")
    return "\n".join([*lines, ".end"]) + "\n"
