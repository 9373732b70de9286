"""Which scenarios apply to a design, and what a scenario means to one that plays the console."""

from dataclasses import dataclass, replace
from itertools import pairwise

from padbench.core.stimulus import ScriptedRead
from padbench.cosim.job import Poll, ReaderRun
from padbench.cosim.moments import ResetScript
from padbench.cosim.setting import gridded
from padbench.scenarios import Scenario, Script, Setting
from padbench.scenarios.expect import closed_contacts

__all__ = ["Chosen", "choose", "reader_run"]


@dataclass(frozen=True)
class Chosen:
    """A scenario with its script on the grid; ``why_not`` says why it does not apply, if so."""

    scenario: Scenario
    script: Script
    why_not: str = ""

    @property
    def resets(self) -> tuple[tuple[int, int], ...]:
        """(start, length) of each reset in the script, in picoseconds."""
        return self.script.resets if isinstance(self.script, ResetScript) else ()


def choose(
    scenario: Scenario, setting: Setting, role: str, *, serial: bool, reset: bool = False
) -> Chosen:
    """Make the script and see whether it applies; ``serial``, ``reset``: it has that port."""
    script = scenario.build(setting)
    script = replace(script, stimulus=gridded(script.stimulus))
    why = ""
    if isinstance(script, ResetScript) and not reset:
        why = "the design has no reset"
    elif role == "reader":
        why = _not_for_reader(script, setting)
    elif not serial:
        why = _needs_serial(script, setting)
    return Chosen(scenario, script, why)


def _needs_serial(script: Script, setting: Setting) -> str:
    ties = {read.serial for read in script.stimulus.reads} - {"as built", setting.pad.serial}
    return "the design has no port for the serial input" if ties else ""


def _not_for_reader(script: Script, setting: Setting) -> str:
    """A script of single reads does for a reader of two passes: the second is undisturbed."""
    reads = script.stimulus.reads
    if script.passes not in (1, setting.passes):
        return f"it is about polls of {script.passes} reads, the reader makes {setting.passes}"
    if isinstance(script, ResetScript):
        return ""
    if any(read.timing.clocks != setting.timing.clocks for read in reads):
        return "it is about what follows the eighth bit; a reader decides itself how far it reads"
    if any(read.timing != setting.timing for read in reads):
        return "it is about a latch of another length; a reader makes its latch itself"
    if any(later.start < read.start + read.length for read, later in pairwise(reads)):
        return "it is about a read that the console gives up; a reader ends its reads itself"
    return ""


def reader_run(chosen: Chosen, setting: Setting, *, brisk: bool = False) -> ReaderRun:
    """The polls of a script, as asked of a reader and as its pad answers them."""
    script, passes = chosen.script, setting.passes
    contacts = script.stimulus.contacts
    reads = script.stimulus.reads
    groups = [reads[first : first + script.passes] for first in range(0, len(reads), script.passes)]
    starts = [group[0].start for group in groups]
    ends = [group[-1].start + group[-1].length for group in groups]
    polls = []
    for place, (group, start, end) in enumerate(zip(groups, starts, ends, strict=True)):
        # The reader's end of a poll is the last rise of its clock, which it then leaves high.
        rise = end - group[-1].timing.clock_high
        until = starts[place + 1] if place + 1 < len(groups) else script.stimulus.end + 1
        moves = [(when, byte) for when, byte in contacts if start <= when < until]
        polls.append(
            Poll(
                lost=[(read.stopped_bit, read.extra_clocks) for read in group],
                serial=_serial(group[0], setting),
                inside=[(when - start, byte) for when, byte in moves if when < rise],
                after=[(when - rise, byte) for when, byte in moves if when >= rise],
                pause=until - rise,
                at_once=place > 0 and start <= ends[place - 1] and not chosen.resets,
                reset=next(
                    ((at - start, length) for at, length in chosen.resets if start <= at < until),
                    None,
                ),
            )
        )
    wait = passes * (setting.timing.length + setting.timing.latch_to_clock)
    held = closed_contacts(contacts, starts[0] - 1)
    return ReaderRun(chosen.scenario.name, held, passes, wait + wait // 4, polls, brisk)


def _serial(read: ScriptedRead, setting: Setting) -> int:
    """The level of the pad's serial input; one that is open gets a high one."""
    level = setting.pad.serial if isinstance(read.serial, str) else read.serial
    return 1 if level is None else level
