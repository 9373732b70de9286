"""Which scenarios apply to a design, and what a scenario means to one that plays the console."""

from dataclasses import dataclass, replace
from itertools import pairwise

from padbench.cosim.job import Poll, ReaderRun
from padbench.cosim.setting import gridded
from padbench.scenarios import Expected, Scenario, Script, Setting

__all__ = ["Chosen", "choose", "reader_run"]


@dataclass(frozen=True)
class Chosen:
    """A scenario with its script on the grid; ``why_not`` says why it does not apply, if so."""

    scenario: Scenario
    script: Script
    why_not: str = ""


def choose(scenario: Scenario, setting: Setting, role: str, *, serial: bool) -> Chosen:
    """Make the script and see whether it applies; ``serial``: the design has that port."""
    script = scenario.build(setting)
    script = replace(script, stimulus=gridded(script.stimulus))
    if role == "pad":
        why = "" if serial else _needs_serial(script, setting)
    else:
        why = _not_for_reader(script, setting)
    if not why and role == "reader":
        script = replace(script, expected=tuple(map(_as_read, script.expected)))
    return Chosen(scenario, script, why)


def _needs_serial(script: Script, setting: Setting) -> str:
    ties = {read.serial for read in script.stimulus.reads} - {"as built", setting.pad.serial}
    return "the design has no port for the serial input" if ties else ""


def _not_for_reader(script: Script, setting: Setting) -> str:
    reads = script.stimulus.reads
    if script.passes != setting.passes:
        return f"it is about polls of {script.passes} reads, the reader makes {setting.passes}"
    if any(read.timing != setting.timing for read in reads) or any(
        later.start < read.start + read.length for read, later in pairwise(reads)
    ):
        return "it is about reads that a console makes in another way"
    if any(read.serial != "as built" for read in reads):
        return "it is about the pad's serial input"
    if script.breaks or any(
        read.start <= when <= read.start + read.length
        for read in reads
        for when, _ in script.stimulus.contacts
    ):
        return "contacts move inside a read, and a reader chooses that moment itself"
    return ""


def _as_read(expected: Expected) -> Expected:
    """A reader makes eight clocks; bits that the pad loses are the pad's doing."""
    return replace(expected, clocks=len(expected.bits))


def reader_run(chosen: Chosen, setting: Setting) -> ReaderRun:
    """The polls of a script, with a quarter more time than the sheet's poll takes."""
    script, passes = chosen.script, chosen.script.passes
    reads = script.stimulus.reads
    longest = passes * (setting.timing.length + setting.timing.latch_to_clock)
    polls = [
        Poll(
            held=script.expected[first].held,
            lost=[(read.stopped_bit, read.extra_clocks) for read in reads[first : first + passes]],
        )
        for first in range(0, len(reads), passes)
    ]
    return ReaderRun(chosen.scenario.name, longest + longest // 4, polls)
