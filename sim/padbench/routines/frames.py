"""Where in the frame a read falls: lines, blanking and picture."""

from dataclasses import dataclass
from fractions import Fraction

from padbench.parts import ConsoleTiming


def lines_of(cycles: int, timing: ConsoleTiming) -> float:
    """How many scan lines so many CPU cycles last on this console."""
    return float(cycles / timing.cycles_per_line)


def microseconds_of(cycles: int, timing: ConsoleTiming) -> float:
    """How many microseconds so many CPU cycles last on this console."""
    return float(cycles * timing.cycle_ps / 10**6)


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of a frame: the lines it begins and ends in, and how many lines it lasts.

    ``blanking`` and ``picture``: whether any of it lies in vertical blanking, in drawn lines. The
    lines between the last drawn one and the start of blanking are neither. ``wraps``: it reaches
    into the next frame.
    """

    first_line: int
    last_line: int
    lines: float
    blanking: bool
    picture: bool
    wraps: bool


def where_in_frame(
    timing: ConsoleTiming, line: int, cycles: int, *, start: Fraction | int = 0
) -> Span:
    """Where a read of so many cycles lies that starts ``start`` cycles into a line.

    The frame is taken as a long one (not shortened). ``ValueError`` for a line it does not have.
    """
    if not 0 <= line < timing.lines:
        raise ValueError(f"line {line} is outside 0..{timing.lines - 1}; 0 is the first drawn")
    begin = line * timing.cycles_per_line + start
    end = begin + max(cycles - 1, 0)
    first, last = (int(at // timing.cycles_per_line) for at in (begin, end))
    within = {at % timing.lines for at in range(first, min(last, first + timing.lines) + 1)}
    return Span(
        first_line=first % timing.lines,
        last_line=last % timing.lines,
        lines=lines_of(cycles, timing),
        blanking=any(at >= timing.blanking_from for at in within),
        picture=any(at < timing.picture_lines for at in within),
        wraps=last >= timing.lines,
    )
