"""From the records of a simulation to a timeline: ``assemble(pad, stimulus, traces)``."""

from dataclasses import dataclass

import numpy as np

from padbench.core.buttons import BUTTONS
from padbench.core.pad import PadModel
from padbench.core.stimulus import Stimulus
from padbench.core.timeline import Timeline, Wire, Word
from padbench.core.wires import (
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
    PAD_STAGES,
    contact,
)
from padbench.model.edges import Edges, Line
from padbench.model.record import Log

__all__ = ["Traces", "assemble"]


@dataclass(frozen=True, slots=True)
class Traces:
    """What one run drove and what it recorded.

    ``latch`` and ``clock`` are the lines at the pad's end, ``load`` the register's load, active
    high; ``serial`` holds (picoseconds, level) of the serial input.
    """

    console: Edges
    latch: Line
    clock: Line
    load: Line
    serial: list[tuple[int, int]]
    contacts: Log
    inputs: Log
    data: Log
    inside: Log
    stages: Log
    doubts: Log


def assemble(pad: PadModel, stimulus: Stimulus, traces: Traces) -> Timeline:
    """All wires, words and sample moments of a run."""
    end = stimulus.end
    contacts = traces.contacts
    closed = np.asarray(contacts.values)
    latch, clock = traces.latch.wire(end), traces.clock.wire(end)
    data, inside, level = _wire(traces.data), _wire(traces.inside), pad.defect.data
    if level is not None:
        data, inside = Wire.of([(0, level)]), Wire.of([(0, (1, 0, 2)[level])])
    samples = np.asarray(traces.console.samples, np.int64)
    return Timeline(
        end_ps=end,
        wires={
            **{
                contact(name): Wire.from_arrays(contacts.times, closed >> (7 - place) & 1)
                for place, name in enumerate(BUTTONS)
            },
            PAD_LOAD: traces.load.wire(end),
            PAD_CLOCK: clock,
            PAD_SERIAL: Wire.of(traces.serial),
            CABLE_LATCH: latch,
            CABLE_CLOCK: clock,
            CABLE_DATA: data,
            CONSOLE_LATCH: traces.console.latch.wire(end),
            CONSOLE_CLOCK: traces.console.clock.wire(end),
            CONSOLE_DATA: inside,
        },
        words={
            CONTACTS_HELD: Word.of(8, zip(contacts.times, contacts.values, strict=True)),
            PAD_INPUTS: Word.of(
                pad.stages, zip(traces.inputs.times, traces.inputs.values, strict=True)
            ),
            PAD_STAGES: _stages(pad, traces),
        },
        events={CONSOLE_SAMPLE: samples[samples <= end]},
        notes=stimulus.notes,
    )


def _wire(log: Log) -> Wire:
    return Wire.from_arrays(log.times, log.values)


def _stages(pad: PadModel, traces: Traces) -> Word:
    """The register's content; unknown before the first load and wherever a stage is in doubt."""
    stages, doubts = traces.stages, traces.doubts
    values: list[int | None] = list(stages.values)
    if doubts.values:
        values = [
            None if doubt else value for value, doubt in zip(values, doubts.values, strict=True)
        ]
    return Word.of(pad.stages, zip([0, *stages.times], [None, *values], strict=True))
