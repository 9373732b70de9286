"""A wiring plan as CSV, and as a drawing of the packages.

write_plan_csv(plan, out)
write_drawing(plan, out, title="My pad")
"""

import csv
from html import escape
from typing import IO

from padbench.wiring.plan import Pin, Range, WiringPlan

__all__ = ["write_drawing", "write_plan_csv"]


def write_plan_csv(plan: WiringPlan, out: IO[str]) -> None:
    """One row a pin, volts in columns; empty where none can be foretold."""
    writer = csv.writer(out, lineterminator="\n")
    buttons = list(plan.pins[0].held)
    states = ["off", "idle", *(f"{button} held" for button in buttons)]
    heads = [f"{state} {end} (V)" for state in states for end in ("least", "most")]
    writer.writerow(["register", "pin", "name", "net", "goes to", "why", *heads])
    for pin in plan.pins:
        volts: list[Range | None] = [(0.0, 0.0), pin.idle, *pin.held.values()]
        writer.writerow(
            [pin.chip, pin.number, pin.name, pin.net, pin.goes_to, pin.why, *_cells(volts)]
        )


def _cells(volts: list[Range | None]) -> list[str]:
    return [
        text
        for pair in volts
        for text in (("", "") if pair is None else (f"{pair[0]:.4f}", f"{pair[1]:.4f}"))
    ]


_PITCH, _BODY, _WIDTH, _TOP = 34, 120, 640, 70


def write_drawing(plan: WiringPlan, out: IO[str], *, title: str) -> None:
    """Each package from above, pin 1 at the upper left, with the net of every pin (SVG 1.1)."""
    chips = max(pin.chip for pin in plan.pins)
    tall = _TOP + _PITCH * max(pin.number for pin in plan.pins) // 2 + 30
    out.write(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {tall * chips + 10}"'
        ' font-family="sans-serif" font-size="13">\n'
        f"<title>{escape(title)}</title>\n"
        '<rect width="100%" height="100%" fill="white"/>\n'
    )
    for chip in range(1, chips + 1):
        pins = [pin for pin in plan.pins if pin.chip == chip]
        name = plan.part if chips == 1 else f"{plan.part}, register {chip} of {chips}"
        _package(pins, name, (chip - 1) * tall, out)
    out.write("</svg>\n")


def _package(pins: list[Pin], name: str, top: int, out: IO[str]) -> None:
    half = len(pins) // 2
    left, right = (_WIDTH - _BODY) // 2, (_WIDTH + _BODY) // 2
    first = top + _TOP
    middle = _WIDTH // 2
    out.write(
        f'<text x="{middle}" y="{top + 28}" text-anchor="middle" font-size="16">'
        f"{escape(name)}, from above</text>\n"
        f'<rect x="{left}" y="{first - 20}" width="{_BODY}" height="{half * _PITCH + 6}"'
        ' fill="#eee" stroke="black"/>\n'
        f'<path d="M {middle - 10} {first - 20} A 10 10 0 0 0 {middle + 10} {first - 20}"'
        ' fill="white" stroke="black"/>\n'
    )
    for pin in pins:
        on_left = pin.number <= half
        row = pin.number - 1 if on_left else len(pins) - pin.number
        y = first + row * _PITCH
        edge, away = (left, -1) if on_left else (right, 1)
        inner, outer = ("start", "end") if on_left else ("end", "start")
        out.write(
            f'<line x1="{edge}" y1="{y}" x2="{edge + away * 30}" y2="{y}" stroke="black"/>\n'
            f'<text x="{edge - away * 6}" y="{y + 5}" text-anchor="{inner}">'
            f"{pin.number} {escape(pin.name)}</text>\n"
            f'<text x="{edge + away * 36}" y="{y}" text-anchor="{outer}" font-weight="bold">'
            f"{escape(pin.net)}</text>\n"
            f'<text x="{edge + away * 36}" y="{y + 13}" text-anchor="{outer}" font-size="10">'
            f"{escape(pin.goes_to)}</text>\n"
        )
