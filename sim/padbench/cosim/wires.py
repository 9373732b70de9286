"""Between scripts and the wires of an HDL run: what to drive, and the timeline of what came."""

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from itertools import accumulate
from typing import Any

import numpy as np

from padbench.core.buttons import BUTTONS
from padbench.core.pad import PadModel
from padbench.core.stimulus import ScriptedRead, Stimulus
from padbench.core.timeline import Timeline, Wire, Word
from padbench.core.wire_names import (
    CABLE_CLOCK,
    CABLE_DATA,
    CABLE_LATCH,
    CONSOLE_CLOCK,
    CONSOLE_DATA,
    CONSOLE_LATCH,
    CONSOLE_SAMPLE,
    CONTACTS_HELD,
    PAD_CLOCK,
    PAD_INPUTS,
    PAD_LOAD,
    PAD_SERIAL,
    contact,
)
from padbench.cosim.hdl_scenarios import edges_of
from padbench.cosim.job import PadRun, Poll, ReaderRun
from padbench.cosim.setting import Chosen
from padbench.model.contacts import inputs_word, passed_on
from padbench.model.driven import Line
from padbench.scenarios import Script
from padbench.scenarios.expect import closed_contacts

_ORDER = {"serial": 0, "buttons": 1, "latch": 2, "clock": 3, "reset": 4}


def serial_levels(pad: PadModel, reads: Sequence[ScriptedRead]) -> list[tuple[int, int | None]]:
    """(picoseconds, level) of the serial input; None is left open."""
    levels: list[tuple[int, int | None]] = [(0, pad.serial)]
    for read in reads:
        level = _serial(pad, read)
        if level != levels[-1][1]:
            levels.append((read.start, level))
    return levels


def _serial(pad: PadModel, read: ScriptedRead) -> int | None:
    return pad.serial if isinstance(read.serial, str) else read.serial


def pad_run(chosen: Chosen) -> PadRun:
    """Everything that is driven in one scenario, in time order.

    The design gets the contacts as they are: a policy for opposite directions is its own business.
    """
    pad, stimulus = chosen.setting.pad, chosen.script.stimulus
    edges = edges_of(chosen.script)
    actions: list[tuple[int, str, Any]] = [
        *((when, "serial", level) for when, level in serial_levels(pad, stimulus.reads)),
        *((when, "buttons", inputs_word(pad, byte)) for when, byte in stimulus.contacts),
        *_edge_actions("latch", edges.latch),
        *_edge_actions("clock", edges.clock),
        *(
            (when, "reset", level)
            for start, length in chosen.resets
            for when, level in ((start, 1), (start + length, 0))
        ),
    ]
    actions.sort(key=lambda action: (action[0], _ORDER[action[1]]))
    in_time = [action for action in actions if action[0] <= stimulus.end]
    return PadRun(chosen.scenario.name, stimulus.end, in_time)


def _edge_actions(role: str, line: Line) -> list[tuple[int, str, Any]]:
    return [(when, role, (line.start + count + 1) % 2) for count, when in enumerate(line.times)]


def reader_run(chosen: Chosen) -> ReaderRun:
    """The polls of a script, as asked of a reader and as its pad answers them."""
    script, setting = chosen.script, chosen.setting
    passes = setting.passes
    contacts = script.stimulus.contacts
    times = [when for when, _ in contacts]
    reads = script.stimulus.reads
    groups = [reads[first : first + script.passes] for first in range(0, len(reads), script.passes)]
    starts = [group[0].start for group in groups]
    ends = [group[-1].start + group[-1].length for group in groups]
    polls = []
    for place, (group, start, end) in enumerate(zip(groups, starts, ends, strict=True)):
        # The reader's end of a poll is the last rise of its clock, which it then leaves high.
        rise = end - group[-1].timing.clock_high
        until = starts[place + 1] if place + 1 < len(groups) else script.stimulus.end + 1
        moves = contacts[bisect_left(times, start) : bisect_left(times, until)]
        serial = _serial(setting.pad, group[0])
        polls.append(
            Poll(
                lost=[(read.stopped_bit, read.extra_clocks) for read in group],
                serial=1 if serial is None else serial,  # an open one gets a high level
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
    brisk = chosen.part == "exhaustive"
    answer = setting.pad.soonest if chosen.quick else None
    return ReaderRun(chosen.scenario.name, held, passes, wait + wait // 4, polls, brisk, answer)


def passed_words(pad: PadModel, stimulus: Stimulus) -> Iterator[tuple[int, int]]:
    """(picoseconds, word) of the inputs, behind the pad's policy for opposite directions."""
    for when, byte in passed_on(pad.policy, stimulus.contacts):
        yield when, inputs_word(pad, byte)


def pad_timeline(pad: PadModel, script: Script, base: int, data: Sequence[Any]) -> Timeline:
    """The timeline of one scenario; ``data`` is (times, levels) of the data line as recorded.

    Recorded times count from the start of the simulation, ``base`` is when the scenario began.
    """
    edges, stimulus = edges_of(script), script.stimulus
    end = stimulus.end
    latch, clock = edges.latch.wire(end), edges.clock.wire(end)
    line = _wire(data, base, end)
    samples = np.asarray(edges.samples, np.int64)
    moves = list(stimulus.contacts)
    return Timeline(
        end_ps=end,
        wires={
            **_seen_alike(moves, latch, clock, line),
            PAD_SERIAL: Wire.of(
                (when, 2 if level is None else level)
                for when, level in serial_levels(pad, stimulus.reads)
            ),
        },
        words={
            CONTACTS_HELD: Word.of(8, moves),
            PAD_INPUTS: Word.of(pad.stages, passed_words(pad, stimulus)),
        },
        events={CONSOLE_SAMPLE: samples[samples <= end]},
        notes=stimulus.notes,
    )


def reader_timeline(record: Mapping[str, Any]) -> Timeline:
    """The timeline of a reader's scenario from its record."""
    base, end = record["base"], record["end"] - record["base"] + 1
    latch, clock, data, valid = (
        _wire(record[role], base, end) for role in ("latch", "clock", "data", "valid")
    )
    moves = [(at - base, byte) for at, byte in record["contacts"]]
    counts = accumulate(count for _, count in record["lost"])
    lost = [(at - base, total) for (at, _), total in zip(record["lost"], counts, strict=True)]
    strobes = [(at - base, word) for at, word in record["strobes"]]
    return Timeline(
        end_ps=end,
        wires={**_seen_alike(moves, latch, clock, data), "reader.valid": valid},
        words={
            CONTACTS_HELD: Word.of(8, moves),
            "pad.lost": Word.of(32, [(0, 0), *lost]),
            "reader.held": Word.of(8, [(0, None), *strobes]),
        },
    )


def _wire(record: Sequence[Any], base: int, end: int) -> Wire:
    times, levels = record
    kept = [(max(0, at - base), level) for at, level in zip(times, levels, strict=True)]
    return Wire.of((at, level) for at, level in kept if at <= end)


def _seen_alike(
    moves: Sequence[tuple[int, int]], latch: Wire, clock: Wire, data: Wire
) -> dict[str, Wire]:
    """The contacts, and the lines that are the same for pad, cable and console."""
    times = [when for when, _ in moves]
    closed = np.asarray([byte for _, byte in moves])
    contacts = {
        contact(name): Wire.from_arrays(times, closed >> (7 - place) & 1)
        for place, name in enumerate(BUTTONS)
    }
    turned = np.asarray([1, 0, 2, 3], np.uint8)[data.levels]
    return {
        **contacts,
        **dict.fromkeys((PAD_LOAD, CABLE_LATCH, CONSOLE_LATCH), latch),
        **dict.fromkeys((PAD_CLOCK, CABLE_CLOCK, CONSOLE_CLOCK), clock),
        CABLE_DATA: data,
        CONSOLE_DATA: Wire.from_arrays(data.times, turned),
    }
