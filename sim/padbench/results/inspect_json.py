"""An inspection as JSON, written piece by piece: a long capture has millions of reads."""

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from padbench.capture.buttons_seen import Press
from padbench.capture.frame_seen import Place
from padbench.capture.measures import Statistics
from padbench.capture.reads import SeenRead
from padbench.core.buttons import pressed_in
from padbench.core.findings import Finding
from padbench.results.as_json import finding_object

__all__ = ["inspect_text", "read_object", "statistics_object"]


def inspect_text(
    verdict: str,
    head: Mapping[str, Any],
    findings: Iterable[Finding],
    statistics: Mapping[str, Statistics],
    presses: Iterable[Press],
    reads: Iterable[SeenRead],
    place: Callable[[SeenRead], Place | None] = lambda _: None,
) -> Iterator[str]:
    """The pieces of one JSON object; together they are one line.

    ``place`` says where in the frame a read falls, where the video sync was recorded.
    """
    made: dict[str, Any] = {
        "verdict": verdict,
        **head,
        "findings": [finding_object(found) for found in findings],
        "statistics": {name: statistics_object(name, s) for name, s in statistics.items()},
        "buttons": [{"button": p.button, "down_ps": p.down_ps, "up_ps": p.up_ps} for p in presses],
    }
    yield json.dumps(made, ensure_ascii=False)[:-1] + ', "reads": ['
    for number, read in enumerate(reads):
        yield (", " if number else "") + json.dumps(
            read_object(read) | _place_object(place(read)), ensure_ascii=False
        )
    yield "]}"


def read_object(read: SeenRead) -> dict[str, Any]:
    """One read; ``on_wire`` is what the pad had loaded, ``pressed`` what the console has of it."""
    return {
        "number": read.number,
        "start_ps": read.start_ps,
        "byte": read.byte,
        "pressed": list(read.pressed),
        "on_wire": list(pressed_in(read.held)),
        "clocks": read.clocks,
        "extra_clocks": list(read.extra),
        "complete": read.complete,
        "cut_short": read.cut_short,
        "undecided": list(pressed_in(read.undecided)),
    }


def _place_object(place: Place | None) -> dict[str, Any]:
    if place is None:
        return {}
    made: dict[str, Any] = {"lines_after_sync": round(place.after_sync, 2)}
    span = place.span
    if span is not None:
        made |= {
            "first_line": span.first_line,
            "last_line": span.last_line,
            "in_blanking": span.blanking,
            "in_picture": span.picture,
        }
    return {"frame": made}


def statistics_object(name: str, found: Statistics) -> dict[str, Any]:
    """Times in microseconds; of polls and frames also how many a second."""
    made: dict[str, Any] = {
        "count": found.count,
        "min": found.least / 1e6,
        "median": found.median / 1e6,
        "mean": found.mean / 1e6,
        "max": found.most / 1e6,
        "unit": "µs",
    }
    if name in ("poll period", "frame period") and found.median:
        made["rate"] = 1e12 / found.median
    return made
