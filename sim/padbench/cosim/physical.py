"""What breaks in a soldered pad that reads just like a design with a likely cause.

    in_a_pad(cause, sheet)        # ("the contact of A never closes", "pin 1, the input of A, …")

The faults of a design (`padbench.cosim.faults`) and those of a pad (`padbench.repair.dictionary`)
meet here: every held state is read of both. So neither has to name the other.
"""

from collections.abc import Iterator
from dataclasses import replace
from itertools import chain

import numpy as np

from padbench.core.pad import SOUND
from padbench.cosim.causes import Cause
from padbench.cosim.faults import PadFault, masking_faults, pad_faults
from padbench.repair.dictionary import EVERY_STATE, Dictionary
from padbench.repair.ranking import common
from padbench.repair.words import Words
from padbench.scenarios.timetable import Timetable
from padbench.sheet import Sheet
from padbench.sheet.model import Fault
from padbench.trials.trial import setting_of


def in_a_pad(cause: Cause, sheet: Sheet) -> tuple[str, ...]:
    """Faults of the sheet's own pad in words, the commonest first; none where nothing of it reads
    so, and of a pad that has no parts to look for faults in."""
    if cause.role != "pad" or sheet.chip.kind == "firmware" or sheet.pull_up.value is None:
        return ()
    port = sheet.works_with.ports[0]
    setting = setting_of(sheet, port, "fast").typed
    pad = replace(setting.pad, defect=SOUND)
    every = chain(pad_faults(pad), masking_faults(pad))
    made = next((one for one in every if (one.id, one.facts) == (cause.id, cause.facts)), None)
    if made is None:
        return ()
    words, faults = Words(sheet), [*faults_like(made, Dictionary.of(sheet, port))]
    return tuple(words.fault(fault) for fault in sorted(faults, key=lambda one: -common([one])))


def faults_like(made: PadFault, known: Dictionary) -> Iterator[Fault]:
    """Faults of a dictionary with a variant that reads, in every held state, as ``made`` does."""
    setting = replace(setting_of(known.sheet, known.port, "fast").typed, pad=known.pad)
    timetable = Timetable(setting, passes=1)
    # What a register powers up with is shifted out first.
    for held in (*[0] * (2 + known.pad.stages // 8), *EVERY_STATE.tolist()):
        timetable.hold(held)
        timetable.poll()
    first, reads = known.pad.first, [*made.gives(timetable.script(), known.pad)][-256:]
    sure, loose = np.zeros(256, np.int64), np.zeros(256, np.int64)
    for held, bits in enumerate(reads):
        for place, bit in enumerate(bits[first : first + 8]):
            sure[held] |= (bit is True) << 7 - place
            loose[held] |= (bit is None) << 7 - place
    if (known.fixed[0] == sure).all():  # as a sound pad, and so do many
        return
    alike = (known.fixed == sure).all(axis=1) & (known.random == loose).all(axis=1)
    still = [row for row in known.row_of[alike] if len(known.rows[row].variant.mix) == 1]
    yield from filter(None, (known.faults[place] for place in np.unique(known.fault_of[still])))
