"""A wiring plan as CSV, and as a drawing of the packages.

write_plan_csv(plan, out)
write_drawing(plan, out, title="My pad")
"""

import csv
from html import escape
from textwrap import wrap
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


_LINE, _WRAP, _SYMBOL = 12, 34, 58
"""Points between lines of small text, letters in one, and room for a pin's lead."""


def write_drawing(plan: WiringPlan, out: IO[str], *, title: str) -> None:
    """Each package from above, pin 1 at the upper left, with the net of every pin (SVG 1.1).

    An inverter before the load pin stands at the first package, as all load pins hang on one.
    """
    chips = [
        [pin for pin in plan.pins if pin.chip == chip]
        for chip in sorted({pin.chip for pin in plan.pins})
    ]
    inverted = any(need.what == "inverter" for need in plan.needs)
    said = [_wrapped(pin) for pin in plan.pins]
    pitch = 22 + _LINE * max(map(len, said))
    side = _SYMBOL + 12 + 6 * max(len(line) for lines in said for line in lines)
    # Room for the names of two pins that face each other, and a gap.
    names = max(
        len(f"{one.number} {one.name}") + len(f"{other.number} {other.name}")
        for pins in chips
        for one, other in zip(pins, reversed(pins), strict=True)
    )
    body = max(120, 8 * names + 40)
    tall = 64 + pitch * max(map(len, chips)) // 2
    wide = 2 * side + body
    out.write(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {tall * len(chips) + 8}"'
        ' font-family="sans-serif" font-size="13">\n'
        f"<title>{escape(title)}</title>\n"
        '<rect width="100%" height="100%" fill="white"/>\n'
    )
    for place, pins in enumerate(chips):
        name = (
            plan.part if len(chips) == 1 else f"{plan.part}, register {place + 1} of {len(chips)}"
        )
        _package(pins, name, (side, place * tall, body, pitch), inverted and place == 0, out)
    out.write("</svg>\n")


def _wrapped(pin: Pin) -> list[str]:
    return wrap(pin.goes_to, _WRAP)


def _package(
    pins: list[Pin], name: str, at: tuple[int, int, int, int], inverted: bool, out: IO[str]
) -> None:
    """``at`` is the left edge of the body, its top, its width, and the way from pin to pin."""
    left, top, body, pitch = at
    half, first, middle = len(pins) // 2, top + 58, left + body // 2
    out.write(
        f'<text x="{middle}" y="{top + 24}" text-anchor="middle" font-size="16">'
        f"{escape(name)}, from above</text>\n"
        f'<rect x="{left}" y="{first - 20}" width="{body}" height="{(half - 1) * pitch + 40}"'
        ' fill="#ece6d3" stroke="black"/>\n'
        f'<path d="M {middle - 10} {first - 20} A 10 10 0 0 0 {middle + 10} {first - 20}"'
        ' fill="white" stroke="black"/>\n'
    )
    for pin in pins:
        on_left = pin.number <= half
        row = pin.number - 1 if on_left else len(pins) - pin.number
        y = first + row * pitch
        edge, away = (left, -1) if on_left else (left + body, 1)
        inner, outer = ("start", "end") if on_left else ("end", "start")
        lead = edge + away * (_SYMBOL - 8)
        out.write(
            f'<line x1="{edge}" y1="{y}" x2="{lead}" y2="{y}" stroke="black"/>\n'
            f'<text x="{edge - away * 6}" y="{y + 5}" text-anchor="{inner}">'
            f"{pin.number} {escape(pin.name)}</text>\n"
        )
        if inverted and pin.net == "latch":
            # It points at the pin, with its bubble there.
            tip, foot = edge + away * 20, edge + away * 46
            out.write(
                f'<path class="inverter" d="M {foot} {y - 11} V {y + 11} L {tip} {y} Z"'
                ' fill="white" stroke="black"/>\n'
                f'<circle cx="{tip - away * 4}" cy="{y}" r="4" fill="white" stroke="black"/>\n'
            )
        out.write(
            f'<text x="{lead + away * 6}" y="{y + 4}" text-anchor="{outer}" font-weight="bold">'
            f"{escape(pin.net)}</text>\n"
        )
        for number, line in enumerate(_wrapped(pin), 1):
            out.write(
                f'<text x="{lead + away * 6}" y="{y + 4 + number * _LINE}" text-anchor="{outer}"'
                f' font-size="10">{escape(line)}</text>\n'
            )
