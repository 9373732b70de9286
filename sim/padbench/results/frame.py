"""Where in the frame a poll falls, for the strip on the page."""

from dataclasses import dataclass

from padbench.parts import ConsoleTiming, console_timing
from padbench.routines.frames import Span, where_in_frame
from padbench.sheet import Sheet
from padbench.trials.scenario_run import ScenarioRun


@dataclass(frozen=True, slots=True)
class Frame:
    """A poll in a frame of a console.

    ``span`` are its lines, ``microseconds`` its length. ``start`` and ``share`` are parts of the
    frame (0 to 1), ``picture`` the part in which lines are drawn, ``sync`` where vertical sync
    begins.
    ``given``: its line was named, not taken to be that in which blanking begins.
    """

    console: str
    start: float
    share: float
    picture: float
    sync: float
    microseconds: float
    span: Span
    given: bool

    @property
    def parts(self) -> tuple[tuple[float, float], ...]:
        """(start, share) of what is drawn: two pieces where it reaches into the next frame."""
        over = self.start + self.share - 1
        if over <= 0:
            return ((self.start, self.share),)
        return (self.start, 1 - self.start), (0.0, min(over, self.start))


def frame_at(timing: ConsoleTiming, line: int | None, picoseconds: float) -> Frame:
    """What lasts so long from the start of a line on, or of blanking if none is named.

    That programs poll when vertical blanking begins is common practice. Raises ``ValueError`` for
    a line that the console does not have.
    """
    first = timing.blanking_from if line is None else line
    span = where_in_frame(timing, first, round(picoseconds / timing.cycle_ps))
    return Frame(
        console=timing.name,
        start=first / timing.lines,
        share=min(1.0, span.lines / timing.lines),
        picture=timing.picture_lines / timing.lines,
        sync=timing.sync_from / timing.lines,
        microseconds=picoseconds / 1e6,
        span=span,
        given=line is not None,
    )


def frame_of(sheet: Sheet, scenarios: tuple[ScenarioRun, ...]) -> Frame | None:
    """The sheet's poll as it was simulated, from the line that ``poll.line`` names on.

    None if no scenario has a whole poll to measure.
    """
    poll = sheet.poll
    routine = None
    if poll.routine is not None:
        from padbench.routines.poll import poll_of  # noqa: PLC0415 - most sheets have no routine

        routine = poll_of(poll)
    passes = poll.passes if routine is None else routine.passes
    for run in scenarios:
        reads = [pair.read for pair in run.reads[:passes]]
        if len(reads) == passes and all(read.clock_rises for read in reads):
            took = max(reads[-1].clock_rises[-1], reads[-1].samples[-1]) - reads[0].start_ps
            return frame_at(console_timing(poll.console), poll.line, took)
    return None
