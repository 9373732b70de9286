"""Tables of an inspection, for people."""

from collections.abc import Callable, Mapping, Sequence

from rich import box
from rich.table import Table

from padbench.capture.buttons_seen import Press
from padbench.capture.frame_seen import Place
from padbench.capture.measures import Statistics
from padbench.capture.reads import SeenRead
from padbench.core.buttons import spelled
from padbench.core.units import show
from padbench.results.inspect_page import remarks_of

__all__ = ["LINE_PS", "measures_table", "presses_table", "seen_table"]

LINE_PS = 63_555_556
"""One scan line, 1 / 15 734.266 Hz (SMPTE 170M; ITU-R BT.1700)."""


def _table(title: str, *heads: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, title=title, title_justify="left")
    for number, head in enumerate(heads):
        table.add_column(head, justify="right" if number else "left", overflow="fold")
    return table


def measures_table(
    measures: Mapping[str, Statistics], volts: Mapping[str, tuple[float, float]]
) -> Table:
    """Least, median and most of every width; scan lines for lengths, the rate for the period."""
    table = _table("Measured", "", "count", "least", "median", "most", "")
    line = measures["line period"].median if "line period" in measures else LINE_PS
    for name, found in measures.items():
        more = ""
        if name == "read length":
            more = f"{found.median / line:.2f} scan lines"
        elif name in ("poll period", "frame period") and found.median:
            more = f"{1e12 / found.median:.3f} a second"
        cells = (show(ps * 1e-12, "s", 4) for ps in (found.least, found.median, found.most))
        table.add_row(name, str(found.count), *cells, more)
    for name, (least, most) in volts.items():
        table.add_row(name, "", f"{least:.3g} V", "", f"{most:.3g} V", "")
    return table


def seen_table(
    reads: Sequence[SeenRead], place: Callable[[SeenRead], Place | None] | None = None
) -> Table:
    """One row a read; ``place`` says where in the frame, where the video sync was recorded."""
    heads = ["read", "at", "byte", "read as", "clocks", ""]
    table = _table("Reads", *heads, *([] if place is None else ["in the frame"]))
    for read in reads:
        table.add_row(
            str(read.number),
            f"{read.start_ps / 1e9:.4f} ms",
            f"{read.byte:08b}",
            spelled(read.byte),
            str(read.clocks),
            remarks_of(read),
            *([] if place is None else [_place(place(read))]),
        )
    return table


def _place(place: Place | None) -> str:
    if place is None:
        return "no sync near"
    if place.span is None:
        return f"line {place.after_sync:.1f} after sync"
    first, last = place.span.first_line, place.span.last_line
    lines = f"line {first}" if first == last else f"lines {first} to {last}"
    return f"{lines}, {place.part}"


def presses_table(presses: Sequence[Press]) -> Table:
    """When which button went down and up."""
    table = _table("Buttons", "button", "down at", "up at")
    for press in presses:
        cells = (
            "–" if when is None else f"{when / 1e9:.4f} ms" for when in (press.down_ps, press.up_ps)
        )
        table.add_row(press.button, *cells)
    return table
