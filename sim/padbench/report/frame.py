"""Where in the frame a poll falls, for the strip on the page."""

from dataclasses import dataclass

from padbench.console.frames import where_in_frame
from padbench.parts import console_timing
from padbench.sheet import Sheet
from padbench.verify.result import VerifyResult

__all__ = ["Frame", "frame_of"]

_LINE = 241
"""Where vertical blanking begins and programs usually poll (common practice, from memory)."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A poll in a frame of a console.

    ``start`` and ``share`` are parts of the frame (0 to 1), ``picture`` the part in which lines are
    drawn; ``microseconds`` and ``lines`` are the poll's length.
    """

    console: str
    start: float
    share: float
    picture: float
    microseconds: float
    lines: float
    first_line: int
    last_line: int
    in_picture: bool


def frame_of(sheet: Sheet, result: VerifyResult) -> Frame | None:
    """The sheet's poll as it was simulated, begun at the line in which blanking begins.

    None if no scenario has a whole poll to measure.
    """
    passes = sheet.poll.passes
    for run in result.scenarios:
        reads = [pair.read for pair in run.reads[:passes]]
        if len(reads) == passes and all(read.clock_rises for read in reads):
            took = max(reads[-1].clock_rises[-1], reads[-1].samples[-1]) - reads[0].start_ps
            break
    else:
        return None
    timing = console_timing(sheet.poll.console)
    cycles = round(took / timing.cycle_ps)
    span = where_in_frame(timing, _LINE, cycles)
    return Frame(
        console=timing.name,
        start=_LINE / timing.lines,
        share=min(1.0, span.lines / timing.lines),
        picture=timing.picture_lines / timing.lines,
        microseconds=took / 1e6,
        lines=span.lines,
        first_line=span.first_line,
        last_line=span.last_line,
        in_picture=span.picture,
    )
